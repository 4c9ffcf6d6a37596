"""What the methods for sensitivity indices share: results, evaluations, even points, intervals.

An output is worked out in pieces of fixed size, so that a pool changes no byte, and only sums
by scramble are kept, so that memory does not grow with the number of draws.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from itertools import islice
from numbers import Integral
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtrit

from jointrisk.errors import EstimateError, InputError
from jointrisk.reliability.pools import Pool, mapped
from jointrisk.reliability.space import Space, Values, checked_margin
from jointrisk.reliability.streams import block_rng

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "NOTHING",
    "NOT_KNOWN",
    "SCRAMBLES",
    "Effects",
    "FailureIndices",
    "Function",
    "Indices",
    "Interval",
    "Moments",
    "called",
    "checked_confidence",
    "checked_count",
    "correlations",
    "even_scores",
    "in_waves",
    "named",
    "points_each",
    "ratio_over_scrambles",
    "refuse_undefined",
    "value_of",
]

Array = npt.NDArray[np.float64]
Interval = tuple[float, float]
Function = Callable[[Values], Any]

NOT_KNOWN: Interval = (0.0, 1.0)
NOTHING: Interval = (0.0, 0.0)
"""Of a constant."""
SCRAMBLES = 8
"""Independent scrambles of one Sobol' net: their scatter is the error."""
_TOGETHER = 2**7
"""Points of each scramble in one piece of work: pieces enough for a pool."""
_WAVE = 64
"""Pieces handed out before their results are added up."""
_BITS = 32
_LEAST, _MOST = 2.0 ** -(_BITS + 1), 1.0 - 2.0 ** -(_BITS + 1)
_MOST_SAMPLES = 2**28
_HOLDING = 40.0
"""With fewer draws than this holding the variance, it is not known well."""
_ROUNDING = 1e-12
"""An output that varies by less than this part of its size does not vary [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Result:
    """What every set of indices tells besides them."""

    mean: float
    """Of the output, in its unit."""
    variance: float
    """Of the output, in its unit squared."""
    confidence: float
    evaluations: int
    samples: int
    """Draws; each takes several evaluations."""
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Give one row a name, each index with its low and high end."""
        import pandas as pd

        columns: dict[str, list[Any]] = {}
        for name in [entry.name for entry in fields(self)]:
            value, interval = getattr(self, name), getattr(self, f"{name}_interval", None)
            if isinstance(value, Mapping) and interval is not None:
                columns.setdefault("name", list(value))
                columns[name] = list(value.values())
                columns[f"{name}_low"] = [low for low, _ in interval.values()]
                columns[f"{name}_high"] = [high for _, high in interval.values()]
        return pd.DataFrame(columns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Indices(_Result):
    """First and total indices by name, each with its interval."""

    first: dict[str, float]
    """Part of the variance that is expected to go when this variable is known [-]."""
    total: dict[str, float]
    """Part of the variance that is expected to stay when all others are known [-]."""
    first_interval: dict[str, Interval]
    total_interval: dict[str, Interval]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureIndices(Indices):
    """First and total indices of the failure event, and its probability."""

    probability: float
    probability_interval: Interval
    converged: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects(_Result):
    """Shares of the variance by variable or group: they sum to one."""

    effect: dict[str, float]
    """Share of the variance [-]."""
    effect_interval: dict[str, Interval]


# Arguments and calls -----------------------------------------------------------------------------


def checked_confidence(confidence: float) -> float:
    """Give the confidence, refusing what is not between 0 and 1."""
    if not 0.0 < confidence < 1.0:
        raise InputError(f"confidence must lie between 0 and 1, got {confidence:g}")
    return float(confidence)


def checked_count(name: str, value: object, least: int = 1) -> int:
    """Give a number of draws, refusing what is no integer of at least `least`."""
    if isinstance(value, bool | np.bool_) or not isinstance(value, Integral):
        raise InputError(f"{name} must be an integer >= {least}, got {value!r}")
    count = int(value)
    if not least <= count <= _MOST_SAMPLES:
        raise InputError(f"{name} must lie in {least}..{_MOST_SAMPLES:,}, got {count:,}")
    return count


def points_each(samples: object) -> tuple[int, tuple[str, ...]]:
    """Give the points of each scramble, a power of two, and a note where that adds draws."""
    asked = checked_count("samples", samples)
    points = max(2, 2 ** int(np.ceil(np.log2(asked / SCRAMBLES))))
    if points * SCRAMBLES == asked:
        return points, ()
    return points, (f"samples {asked:,} taken up to {points * SCRAMBLES:,}, a power of two",)


def called(function: Function, x: Values, n: int) -> Array:
    """Call a function of named values; give its checked output, (n,), 0 and 1 for False and True.

    It gets arrays of its own: what it may write into them changes nothing else.
    """
    found = np.asarray(function({name: np.array(values) for name, values in x.items()}))
    return checked_margin(found.astype(float) if found.dtype == bool else found, n, "function")


def value_of(space: Space, coordinate: int, scores: Array) -> Array:
    """Give the values of one coordinate at its scores, (n,)."""
    return np.asarray(space.spreads[coordinate].from_normal(scores), dtype=float)


def named(space: Space, scores: Array) -> Values:
    """Give every variable by name, (n,), from scores that hang together already, (n, d)."""
    found = dict.fromkeys(space.names, np.empty(0))
    found |= {name: np.full(scores.shape[0], float(value)) for name, value in space.constants}
    return found | {
        name: value_of(space, i, scores[:, i]) for i, name in enumerate(space.coordinates)
    }


def correlations(space: Space) -> Array:
    """Give the correlations of the scores, (d, d) [-]; what is rounding only is 0."""
    if space.factor is None:
        return np.eye(space.dim)
    found = space.factor @ space.factor.T
    return np.where(np.abs(found) < _ROUNDING, 0.0, found)


def refuse_undefined(undefined: int, evaluations: int) -> None:
    """Refuse an output that is not finite in some calls: its variance has no value."""
    if undefined:
        raise EstimateError(
            f"the output is NaN or infinite in {undefined:,} of {evaluations:,} calls of the "
            "function: its variance has no value; give these draws a finite output"
        )


# Points ------------------------------------------------------------------------------------------


def even_scores(seed: int, purpose: int, dim: int, points: int) -> Iterator[Array]:
    """Make scrambled Sobol' points as normal scores, all scrambles side by side.

    Parameters
    ----------
    seed, purpose : int
    dim : int
        Coordinates of a point.
    points : int
        Of each scramble, a power of two.

    Yields
    ------
    ndarray, (SCRAMBLES * n, dim) [-]
        Scramble after scramble, n points of each.

    References
    ----------
    Sobol' (1967); Matousek (1998), J. Complexity 14, 527, the scramble of scipy. From memory.
    """
    if dim == 0:
        yield np.zeros((points * SCRAMBLES, 0))
        return
    from scipy.stats import qmc

    rngs = (block_rng(seed, purpose, number) for number in range(SCRAMBLES))
    engines = [qmc.Sobol(dim, scramble=True, bits=_BITS, seed=rng) for rng in rngs]
    for start in range(0, points, _TOGETHER):
        n = min(_TOGETHER, points - start)
        uniform = np.concatenate([engine.random(n) for engine in engines])
        yield ndtri(np.clip(uniform, _LEAST, _MOST))


def in_waves(
    pool: Pool | None, function: Callable[[Any], Any], items: Iterator[Any]
) -> Iterator[Any]:
    """Apply a function to items in order, a pool at hand or not, few of them held at once."""
    while wave := list(islice(items, _WAVE)):
        yield from mapped(pool, function, wave)


# Sums and what they tell -------------------------------------------------------------------------


@dataclass(slots=True)
class Moments:
    """Sums of an output by scramble, about a centre near its mean."""

    centre: float = 0.0
    count: int = 0
    """Values of each scramble so far."""
    sums: Array = field(default_factory=lambda: np.zeros((4, SCRAMBLES)))
    """Of the first to fourth powers, (4, SCRAMBLES)."""
    low: float = np.inf
    high: float = -np.inf

    def add(self, values: Array) -> None:
        """Take in values, (SCRAMBLES, n)."""
        if not self.count:
            self.centre = float(values.mean())
        off = values - self.centre
        square = off**2
        powers = (off, square, off * square, square**2)
        self.sums = self.sums + np.array([power.sum(axis=1) for power in powers])
        self.count += values.shape[1]
        self.low = min(self.low, float(values.min()))
        self.high = max(self.high, float(values.max()))

    @property
    def offset(self) -> float:
        """Mean less the centre."""
        return float(self.sums[0].sum()) / (self.count * SCRAMBLES)

    @property
    def mean(self) -> float:
        """Mean of all values."""
        return self.centre + self.offset

    @property
    def variances(self) -> Array:
        """Mean square about the mean of all, by scramble, (SCRAMBLES,)."""
        first, second = self.sums[:2] / self.count
        return np.asarray(np.maximum(second - 2.0 * self.offset * first + self.offset**2, 0.0))

    @property
    def constant(self) -> bool:
        """Whether the values do not vary, but for rounding."""
        return self.high - self.low <= _ROUNDING * max(abs(self.low), abs(self.high))

    def notes(self) -> tuple[str, ...]:
        """Say where the variance is not known, or rests on few draws."""
        draws = self.count * SCRAMBLES
        if self.constant:
            return (
                f"the output is the same in all {draws:,} draws: every index is 0, unless it "
                "varies where no draw fell",
            )
        m, (s1, s2, s3, s4) = self.offset, self.sums.sum(axis=1)
        fourth = s4 - 4.0 * m * s3 + 6.0 * m**2 * s2 - 4.0 * m**3 * s1 + draws * m**4
        holding = (s2 - draws * m**2) ** 2 / fourth if fourth > 0 else np.inf
        if holding >= _HOLDING:
            return ()
        return (
            f"the variance rests on about {holding:.0f} of {draws:,} draws: the indices and "
            "their intervals are rough; for a rare failure use failure_sobol",
        )


def ratio_over_scrambles(num: Array, den: Array, confidence: float) -> tuple[float, Interval]:
    """Give a ratio of two means over scrambles with its interval, within 0 to 1.

    The error is that of the residuals ``num - ratio * den`` (delta method), the interval
    Student's t of their number less one.

    Parameters
    ----------
    num, den : ndarray, (SCRAMBLES,)
        One mean a scramble, in one unit.
    confidence : float
        [-].

    Returns
    -------
    float and tuple of float [-]
    """
    below = float(den.mean())
    ratio = float(num.mean()) / below
    error = float((num - ratio * den).std(ddof=1)) / np.sqrt(num.size) / below
    half = float(stdtrit(num.size - 1, 0.5 + 0.5 * confidence)) * error
    low, value, high = np.clip([ratio - half, ratio, ratio + half], 0.0, 1.0)
    return float(value), (float(low), float(high))
