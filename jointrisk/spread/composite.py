"""Spreads made of others: cut off at ends, and mixed.

Sources: Johnson, Kotz and Balakrishnan, *Continuous Univariate Distributions* vol. 1
(2nd ed. 1994), sec. 10.1 of ch. 13 (truncation); McLachlan and Peel, *Finite Mixture
Models* (2000), ch. 1 (mixtures).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import MOST_ATOMS, FloatArray, Spread, either, score, set_numbers
from jointrisk.spread.maxima import nested, require_spread
from jointrisk.spread.moments import moments
from jointrisk.spread.solve import find_root

__all__ = ["Mixture", "Truncated"]

CANCELS = 1e-4
"""A difference of tails smaller than this share of them is integrated instead."""
LITTLE = 0.1
"""Up to this much cut off, a normal score stays in the half of its tail."""


@dataclass(frozen=True, slots=True)
class Truncated(Spread):
    """A spread of which only the values from `low` to `high` occur.

    Parameters
    ----------
    base : Spread [unit of the variable]
        Spread before the cut.
    low : float [unit of the variable]
        Least value kept; −inf for no cut.
    high : float [unit of the variable]
        Largest value kept; inf for no cut.

    Raises
    ------
    InputError
        When `base` is no spread, `high` is not above `low`, or nothing is left between them.
    """

    label: ClassVar[str] = "truncated"
    base: Spread
    low: float = -np.inf
    high: float = np.inf
    _at_low: tuple[float, float] = field(init=False, repr=False, compare=False)
    _at_high: tuple[float, float] = field(init=False, repr=False, compare=False)
    _mass: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        require_spread(self, "base", self.base)
        set_numbers(self, "low", "high", infinite=True)
        if not self.low < self.high:
            raise InputError(f"truncated: high must be above low = {self.low:g}, got {self.high:g}")
        before = np.nextafter(self.low, -np.inf) if self.low in self.base._jumps() else self.low
        with np.errstate(all="ignore"):
            p, q = self.base._tails(np.array([before, self.high]))
        mass = p[1] - p[0] if p[1] < 0.5 else q[0] - q[1] if q[0] < 0.5 else 1.0 - p[0] - q[1]
        if not mass > 0.0:
            raise InputError(
                f"truncated: nothing of ({self.base}) is left between low = {self.low:g}"
                f" and high = {self.high:g}"
            )
        object.__setattr__(self, "_at_low", (float(p[0]), float(q[0])))
        object.__setattr__(self, "_at_high", (float(p[1]), float(q[1])))
        object.__setattr__(self, "_mass", float(mass))

    @property
    def mean(self) -> float:
        """Mean [unit of the variable]."""
        return moments(self, not np.isfinite(self.base.sd))[0]

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        return moments(self, not np.isfinite(self.base.sd))[1]

    @property
    def parameters(self) -> Mapping[str, float]:
        """The ends and the numbers of the spread before the cut."""
        return {"low": self.low, "high": self.high, **nested("base", self.base)}

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        outside = x < self.low  # an atom at `low` must not reach down to these
        x = np.clip(x, self.low, self.high)
        p, q = self.base._tails(x)
        below = np.where(p <= 0.5, p - self._at_low[0], self._at_low[1] - q) / self._mass
        above = np.where(q <= 0.5, q - self._at_high[1], self._at_high[0] - p) / self._mass
        below = self._integrated(below, self._at_low, x, self.low, 1.0)
        above = self._integrated(above, self._at_high, x, self.high, -1.0)
        p, q = np.clip(below, 0.0, 1.0), np.clip(above, 0.0, 1.0)
        return np.where(outside, 0.0, p), np.where(outside, 1.0, q)

    def _upper(self, x: FloatArray) -> FloatArray:
        if np.isfinite(self.high):
            return self._tails(x)[1]
        above = self.base._upper(np.maximum(x, self.low)) / self._mass
        outside, above = x < self.low, np.minimum(above, 1.0)
        return np.where(outside, 1.0, above) if outside.any() else above

    def _from_normal(self, u: FloatArray) -> FloatArray:
        off_low, off_high = self._at_low[0], self._at_high[1]
        near = special.ndtr(-np.abs(u))
        cut = max(min(self._at_low), min(self._at_high))
        close = np.any(near * self._mass < CANCELS * cut)
        if not self.base.scored or max(off_low, off_high) > LITTLE or close:
            return super(Truncated, self)._from_normal(u)
        low = u < 0.0
        tail = near * self._mass + either(low, off_low, off_high)
        scores = either(low, 1.0, -1.0) * special.ndtri(tail)
        return np.clip(self.base._from_normal(scores), self.low, self.high)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        p_base = self._at_low[0] + p * self._mass
        x = self.base._quantile(p_base, self._at_high[1] + q * self._mass)
        x = np.clip(x, self.low, self.high)
        x = self._near_edge(x, p, self._at_low, self.low, 1.0)
        return self._near_edge(x, q, self._at_high, self.high, -1.0)

    def _cancels(self, share: FloatArray, at_edge: tuple[float, float]) -> npt.NDArray[np.bool_]:
        """Return where a tail beside a cut, (n,), is next to nothing of the tails there."""
        return share * self._mass < CANCELS * min(at_edge)

    def _between(self, x: FloatArray, edge: float, side: float) -> FloatArray:
        """Return the probability between a cut and a value close by, as a share of what is kept."""
        node, weight = np.polynomial.legendre.leggauss(8)
        half = 0.5 * side * (x - edge)
        at = edge + side * half[..., None] * (1.0 + node)
        return half * (np.exp(self.base._logpdf(at)) @ weight) / self._mass

    def _integrated(
        self,
        share: FloatArray,
        at_edge: tuple[float, float],
        x: FloatArray,
        edge: float,
        side: float,
    ) -> FloatArray:
        """Return a tail beside a cut, from the density where the difference cancels."""
        close = self._cancels(share, at_edge) & np.isfinite(x)
        if not np.isfinite(edge) or not close.any() or self.base._jumps().size:
            return share
        share = np.array(share)
        share[close] = self._between(x[close], edge, side)
        return share

    def _near_edge(
        self,
        x: FloatArray,
        share: FloatArray,
        at_edge: tuple[float, float],
        edge: float,
        side: float,
    ) -> FloatArray:
        """Return quantiles beside a cut by Newton steps on the integrated density."""
        close = self._cancels(share, at_edge)
        if not np.isfinite(edge) or not close.any() or self.base._jumps().size:
            return x
        slope = float(np.exp(self.base._logpdf(np.array(edge)))) / self._mass
        if not 0.0 < slope < np.inf:
            return x
        x, goal = np.array(x), share[close]
        away = goal / slope
        for _ in range(4):
            at = edge + side * away
            density = np.exp(self.base._logpdf(at)) / self._mass
            away = away - (self._between(at, edge, side) - goal) / density
        x[close] = edge + side * away
        return x

    def _logpdf(self, x: FloatArray) -> FloatArray:
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, self.base._logpdf(x) - np.log(self._mass), -np.inf)

    def _jumps(self) -> FloatArray:
        jumps = self.base._jumps()
        return jumps[(jumps >= self.low) & (jumps <= self.high)]

    def __str__(self) -> str:
        return f"({self.base}) kept from {self.low:.6g} to {self.high:.6g}"


@dataclass(frozen=True, slots=True)
class Mixture(Spread):
    """One of several spreads, each with its chance: most parts one way, a few another.

    Parameters
    ----------
    parts : sequence of (float, Spread), (k,) [- and unit of the variable]
        Weights, not negative and adding up to 1, with their spreads.

    Raises
    ------
    InputError
        When there are no parts, one is no pair of number and spread, a weight is negative,
        or the weights do not add up to 1 within 1e-9.
    """

    label: ClassVar[str] = "mixture"
    parts: Sequence[tuple[float, Spread]]

    def __post_init__(self) -> None:
        try:
            parts = tuple((float(weight), spread) for weight, spread in self.parts)
        except (TypeError, ValueError):
            raise InputError(
                f"mixture: parts must be pairs of weight and spread, got {self.parts!r}"
            ) from None
        for place, (weight, spread) in enumerate(parts, start=1):
            require_spread(self, f"part {place}", spread)
            if not 0.0 <= weight <= 1.0 + 1e-9:
                raise InputError(f"mixture: weight {place} must be from 0 to 1, got {weight:g}")
        total = sum(weight for weight, _ in parts)
        if not abs(total - 1.0) <= 1e-9:
            raise InputError(f"mixture: the weights must add up to 1, got {total:.10g}")
        object.__setattr__(self, "parts", tuple((w / total, s) for w, s in parts if w > 0.0))

    @property
    def mean(self) -> float:
        """Mean [unit of the variable]."""
        return float(sum(w * s.mean for w, s in self.parts))

    @property
    def sd(self) -> float:
        """Standard deviation, between the parts and inside them [unit of the variable]."""
        if not all(np.isfinite(s.sd) for _, s in self.parts):
            return float(np.inf)
        centre = self.mean
        return float(np.sqrt(sum(w * (s.sd**2 + (s.mean - centre) ** 2) for w, s in self.parts)))

    @property
    def atoms(self) -> tuple[tuple[float, float], ...] | None:
        """Values and their probabilities where every part has only atoms, else None."""
        found: dict[float, float] = {}
        for weight, spread in self.parts:
            if spread.atoms is None:
                return None
            for value, chance in spread.atoms:
                found[value] = found.get(value, 0.0) + weight * chance
        return tuple(sorted(found.items())) if len(found) <= MOST_ATOMS else None

    @property
    def parameters(self) -> Mapping[str, float]:
        """Weights and numbers of the parts."""
        numbers: dict[str, float] = {}
        for place, (weight, spread) in enumerate(self.parts, start=1):
            numbers[f"weight {place}"] = weight
            numbers.update(nested(f"part {place}", spread))
        return numbers

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        p, q = np.zeros(x.shape), np.zeros(x.shape)
        for weight, spread in self.parts:
            p_part, q_part = spread._tails(x)
            p, q = p + weight * p_part, q + weight * q_part
        return p, q

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        u = np.ravel(score(p, q))
        grid = _grid(self)
        low, high = self._bracket(p, q)
        low = np.maximum(low, grid[np.searchsorted(GRID, u - ROUNDING)])
        high = np.minimum(high, grid[np.searchsorted(GRID, u + ROUNDING) + 1])
        return self._solve(u, np.minimum(low, high), high).reshape(np.shape(p))

    def _bracket(self, p: FloatArray, q: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the least and largest quantile of any part: the mixture's lies between."""
        each = np.array([np.ravel(spread._quantile(p, q)) for _, spread in self.parts])
        return each.min(axis=0), each.max(axis=0)

    def _solve(self, u: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
        """Return the values at scores u, (n,), from brackets."""
        low, high = self._between_jumps(u, low, high)
        x = np.where(u > 0.0, high, low)
        todo = np.flatnonzero((low < high) & np.isfinite(low) & np.isfinite(high) & np.isfinite(u))
        if todo.size:
            goal = u[todo]
            x[todo] = find_root(
                lambda at, i: score(*self._tails(at)) - goal[i], low[todo], high[todo]
            )
        return x

    def _between_jumps(
        self, u: FloatArray, low: FloatArray, high: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return brackets narrowed to between two atoms, or to the atom that holds the score."""
        jumps = self._jumps()
        if not jumps.size:
            return low, high
        after = score(*self._tails(jumps))
        before = score(*self._tails(np.nextafter(jumps, -np.inf)))
        place = np.searchsorted(after, u, side="left")
        ends = np.concatenate([[-np.inf], jumps, [np.inf]])
        here = np.minimum(place, jumps.size - 1)
        at_jump = (place < jumps.size) & (before[here] < u)
        low = np.where(at_jump, jumps[here], np.maximum(low, ends[place]))
        high = np.where(at_jump, jumps[here], np.minimum(high, ends[place + 1]))
        return np.minimum(low, high), high

    def _logpdf(self, x: FloatArray) -> FloatArray:
        each = np.array([np.log(w) + s._logpdf(x) for w, s in self.parts])
        return np.asarray(np.logaddexp.reduce(each, axis=0))

    def _jumps(self) -> FloatArray:
        return np.unique(np.concatenate([s._jumps() for _, s in self.parts]))

    def __str__(self) -> str:
        return " or ".join(f"{w:.6g} × ({s})" for w, s in self.parts)


GRID = np.linspace(-37.5, 37.5, 1201)
ROUNDING = 1e-9
"""Scores closer than this to a node of the grid are bracketed by its neighbours as well."""


@lru_cache(maxsize=256)
def _grid(mixture: Mixture) -> FloatArray:
    """Return the mixture's values at the scores `GRID`, open ended: brackets for all others."""
    p, q = special.ndtr(GRID), special.ndtr(-GRID)
    values = mixture._solve(GRID, *mixture._bracket(p, q))
    return np.concatenate([[-np.inf], values, [np.inf]])
