"""What every one-dimensional spread can do.

A *spread* says how a number scatters. A family supplies a few hooks: the two tail
probabilities at a value (`_tails`), the value at two tail probabilities (`_quantile`) and
the log-density (`_logpdf`). Everything public follows from these.

Both tails travel side by side, each as accurate as a double can hold it, since 1 − p throws
away all there is to know where p is close to one. A double holds a probability down to
about 1e-308, a normal score of ∓37.5; further out the values saturate at the ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import TYPE_CHECKING, ClassVar, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from jointrisk.errors import InputError

__all__ = ["DEFAULT_SEED", "FloatArray", "Spread"]

FloatArray: TypeAlias = npt.NDArray[np.float64]

DEFAULT_SEED = 20240229
"""Seed of `Spread.sample` when none is given, so that two runs agree."""

MOST_ATOMS = 64
"""A spread of more atoms than this is not worth listing."""


class Spread:
    """Base of all spreads: one random number, its tails and its moments.

    A value at an atom (a single value of finite probability) has many normal scores;
    `to_normal` gives the one in the middle of the atom's probability. The density is
    infinite at an atom.
    """

    __slots__ = ()
    label: ClassVar[str] = "spread"
    scored: ClassVar[bool] = False
    """True where value and normal score follow from each other without a probability between."""

    if TYPE_CHECKING:

        @property
        def mean(self) -> float:
            """Mean, infinite where it is infinite."""

        @property
        def sd(self) -> float:
            """Standard deviation, infinite where it is infinite."""

    # ------------------------------------------------------------------ hooks of a family

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return P(X ≤ x) and P(X > x), each without cancellation."""
        raise NotImplementedError

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        """Return the value with P(X ≤ x) = p and P(X > x) = q, where p + q = 1."""
        raise NotImplementedError

    def _logpdf(self, x: FloatArray) -> FloatArray:
        """Return the log-density."""
        raise NotImplementedError

    def _upper(self, x: FloatArray) -> FloatArray:
        """Return P(X > x) alone, for families where one tail costs less than both."""
        return self._tails(x)[1]

    def _neg_log_lower(self, x: FloatArray) -> FloatArray:
        """Return −ln P(X ≤ x)."""
        return neg_log(*self._tails(x))

    def _from_normal(self, u: FloatArray) -> FloatArray:
        near: FloatArray = special.ndtr(-np.abs(u))
        far, low = 1.0 - near, u < 0.0
        return self._quantile(np.where(low, near, far), np.where(low, far, near))

    def _to_normal(self, x: FloatArray) -> FloatArray:
        p, q = self._tails(x)
        scores = score(p, q)
        jumps = self._jumps()
        if not jumps.size:
            return scores
        at = np.isin(x, jumps)
        p_left, q_left = self._tails(np.nextafter(x, -np.inf))
        middle = score(0.5 * p + 0.5 * p_left, 0.5 * q + 0.5 * q_left)
        return np.where(at, middle, scores)

    def _jumps(self) -> FloatArray:
        """Return the values at which the distribution function jumps, sorted."""
        return np.empty(0)

    # ------------------------------------------------------------------ what users call

    def cdf(self, x: npt.ArrayLike) -> FloatArray:
        """Return the probability of a value at or below `x`.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [-]
            P(X ≤ x), accurate to its last digits in the lower tail.
        """
        with np.errstate(all="ignore"):
            return self._tails(as_array(x))[0][()]

    def sf(self, x: npt.ArrayLike) -> FloatArray:
        """Return the probability of a value above `x`.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [-]
            P(X > x), accurate to its last digits in the upper tail.
        """
        with np.errstate(all="ignore"):
            return self._upper(as_array(x))[()]

    def neg_log_cdf(self, x: npt.ArrayLike) -> FloatArray:
        """Return minus the log of the probability of a value at or below `x`.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [-]
            −ln P(X ≤ x): small and exact in the upper tail, inf where there is no such value.
        """
        with np.errstate(all="ignore"):
            return self._neg_log_lower(as_array(x))[()]

    def logpdf(self, x: npt.ArrayLike) -> FloatArray:
        """Return the log of the density, finite where the density itself underflows.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [log of 1/unit]
            Log-density, −inf outside the support, +inf at an atom.
        """
        with np.errstate(all="ignore"):
            array = as_array(x)
            result = np.where(np.isnan(array), np.nan, self._logpdf(array))
            jumps = self._jumps()
            return np.where(np.isin(array, jumps), np.inf, result)[()] if jumps.size else result[()]

    def pdf(self, x: npt.ArrayLike) -> FloatArray:
        """Return the density.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [1/unit]
            Density, zero outside the support, infinite at an atom.
        """
        with np.errstate(all="ignore"):
            return np.exp(self.logpdf(x))

    def ppf(self, q: npt.ArrayLike) -> FloatArray:
        """Return the value that a share `q` lies at or below.

        Parameters
        ----------
        q : array_like, (n,) [-]
            Probabilities, 0 to 1.

        Returns
        -------
        ndarray, (n,) [unit of the variable]
            Quantile; NaN where `q` is not a probability.
        """
        with np.errstate(all="ignore"):
            p = as_probability(q)
            return self._quantile(p, 1.0 - p)[()]

    def isf(self, q: npt.ArrayLike) -> FloatArray:
        """Return the value that a share `q` lies above.

        Parameters
        ----------
        q : array_like, (n,) [-]
            Probabilities, 0 to 1.

        Returns
        -------
        ndarray, (n,) [unit of the variable]
            Upper quantile; NaN where `q` is not a probability.
        """
        with np.errstate(all="ignore"):
            p = as_probability(q)
            return self._quantile(1.0 - p, p)[()]

    def from_normal(self, u: npt.ArrayLike) -> FloatArray:
        """Return the value whose rank among its likes is that of `u` in a standard normal.

        Parameters
        ----------
        u : array_like, (n,) [-]
            Standard normal scores; accurate for −37 ≤ u ≤ 37.

        Returns
        -------
        ndarray, (n,) [unit of the variable]
            F⁻¹(Φ(u)), taken through the nearer tail.
        """
        with np.errstate(all="ignore"):
            return self._from_normal(as_array(u))[()]

    def to_normal(self, x: npt.ArrayLike) -> FloatArray:
        """Return the standard normal score of `x`, the inverse of `from_normal`.

        Parameters
        ----------
        x : array_like, (n,) [unit of the variable]
            Values.

        Returns
        -------
        ndarray, (n,) [-]
            Φ⁻¹(F(x)), taken through the nearer tail; ∓inf outside the support.
        """
        with np.errstate(all="ignore"):
            return self._to_normal(as_array(x))[()]

    def sample(
        self, n: int | tuple[int, ...], rng: np.random.Generator | int | None = None
    ) -> FloatArray:
        """Draw independent values.

        Parameters
        ----------
        n : int or tuple of int [-]
            Number of draws, or shape of the array of draws.
        rng : Generator, int or None [-]
            A numpy Generator (used on from where it stands), a seed (0 is a seed), or None
            for a fixed default seed.

        Returns
        -------
        ndarray, (n,) [unit of the variable]
            Draws, `from_normal` of standard normal draws.
        """
        return self.from_normal(generator(rng).standard_normal(n))

    # ------------------------------------------------------------------ description

    @property
    def atoms(self) -> tuple[tuple[float, float], ...] | None:
        """Values and their probabilities where there is nothing else, else None."""
        values = self._jumps()
        if not 0 < values.size <= MOST_ATOMS:
            return None
        weights = jump_weights(self, values)
        if abs(float(weights.sum()) - 1.0) > 1e-9:
            return None
        return tuple(zip(values.tolist(), weights.tolist(), strict=True))

    @property
    def parameters(self) -> Mapping[str, float]:
        """Names and values of the numbers that define the spread, for printing."""
        assert is_dataclass(self)  # noqa: S101 - tells the type checker
        return {f.name: float(getattr(self, f.name)) for f in fields(self) if f.init}

    def __str__(self) -> str:
        """Return the family and its numbers, leaving out those at their default."""
        assert is_dataclass(self)  # noqa: S101 - tells the type checker
        default = {f.name: f.default for f in fields(self) if f.default is not MISSING}
        parts = [
            f"{name} {value:.6g}"
            for name, value in self.parameters.items()
            if name not in default or default[name] != value
        ]
        return ", ".join([self.label, *parts])


# ---------------------------------------------------------------------- helpers of families


def as_array(x: npt.ArrayLike) -> FloatArray:
    """Return `x` as an array of doubles, (n,)."""
    return np.asarray(x, dtype=np.float64)


def as_probability(q: npt.ArrayLike) -> FloatArray:
    """Return `q` as an array of doubles, NaN where it is not within 0 to 1."""
    p = as_array(q)
    return np.where((p >= 0.0) & (p <= 1.0), p, np.nan)


def either(first: npt.NDArray[np.bool_], one: float, other: float) -> FloatArray:
    """Return `one` where `first` is true, else `other`: `np.where` for two numbers, in less time.

    `np.where` looks at every entry and guesses wrong at half of them if they follow no pattern.
    """
    return np.array([other, one]).take(first.view(np.int8), mode="clip")


def score(p: FloatArray, q: FloatArray) -> FloatArray:
    """Return the normal score with lower tail p and upper tail q, from the smaller one."""
    z: FloatArray = special.ndtri(np.minimum(p, q))
    return np.where(p < q, z, -z)


def neg_log(p: FloatArray, q: FloatArray) -> FloatArray:
    """Return −ln p, exact also where p is close to one and q = 1 − p is small."""
    return np.where(q < 0.5, -np.log1p(-q), -np.log(p))


def generator(rng: np.random.Generator | int | None) -> np.random.Generator:
    """Return `rng` itself, or a new generator from the seed given or the default one."""
    if isinstance(rng, np.random.Generator):
        return rng
    return np.random.default_rng(DEFAULT_SEED if rng is None else rng)


def set_numbers(spread: Spread, *names: str, infinite: bool = False) -> None:
    """Turn the named fields of a frozen spread into floats, refusing all that is no number."""
    for name in names:
        value = getattr(spread, name)
        if isinstance(value, bool | str | bytes):
            raise InputError(f"{spread.label}: {name} must be a number, got {value!r}")
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise InputError(f"{spread.label}: {name} must be a number, got {value!r}") from None
        if np.isnan(number) or (np.isinf(number) and not infinite):
            raise InputError(f"{spread.label}: {name} must be a finite number, got {number:g}")
        object.__setattr__(spread, name, number)


def require_positive(spread: Spread, *names: str) -> None:
    """Refuse named fields that are not above zero."""
    for name in names:
        value = getattr(spread, name)
        if value > 0.0:
            continue
        hint = " (a number without spread is Fixed(value))" if name == "sd" and not value else ""
        raise InputError(f"{spread.label}: {name} must be above 0, got {value:g}{hint}")


def jump_weights(spread: Spread, values: FloatArray) -> FloatArray:
    """Return the probability of each atom at `values`, (k,) [-]."""
    with np.errstate(all="ignore"):
        p, q = spread._tails(values)
        p_left, q_left = spread._tails(np.nextafter(values, -np.inf))
        return np.where(p_left < 0.5, p - p_left, q_left - q)
