"""Spreads made of single values: one fixed number, and numbers as observed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray, Spread, set_numbers

__all__ = ["Empirical", "Fixed"]


@dataclass(frozen=True, slots=True)
class Fixed(Spread):
    """A number without spread.

    Parameters
    ----------
    value : float [unit of the variable]
        The number.

    Raises
    ------
    InputError
        When `value` is no finite number.
    """

    label: ClassVar[str] = "fixed"
    value: float

    def __post_init__(self) -> None:
        set_numbers(self, "value")

    @property
    def mean(self) -> float:
        """The number itself [unit of the variable]."""
        return self.value

    @property
    def sd(self) -> float:
        """Zero [unit of the variable]."""
        return 0.0

    @property
    def atoms(self) -> tuple[tuple[float, float], ...]:
        """The number, with probability one."""
        return ((self.value, 1.0),)

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        p = np.where(np.isnan(x), np.nan, np.where(x >= self.value, 1.0, 0.0))
        return p, 1.0 - p

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        return np.where(np.isnan(p), np.nan, self.value)

    def _from_normal(self, u: FloatArray) -> FloatArray:
        return np.where(np.isnan(u), np.nan, self.value)

    def _logpdf(self, x: FloatArray) -> FloatArray:
        return np.full(x.shape, -np.inf)

    def _jumps(self) -> FloatArray:
        return np.array([self.value])


@dataclass(frozen=True, slots=True)
class Empirical(Spread):
    """Numbers as observed, each as likely as any other; nothing between or beyond them.

    The distribution function is a staircase; `sd` is that of these numbers (divisor n),
    not an estimate for the population they came from.

    Parameters
    ----------
    values : sequence of float, (n,) [unit of the variable]
        Observed numbers, at least one.

    Raises
    ------
    InputError
        When there are no numbers or one of them is not finite.
    """

    label: ClassVar[str] = "as observed"
    values: Sequence[float]
    _distinct: FloatArray = field(init=False, repr=False, compare=False)
    _count: FloatArray = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        try:
            array = np.asarray(self.values, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError(f"as observed: values must be numbers, got {self.values!r}") from None
        if array.ndim != 1 or not array.size:
            raise InputError(
                "as observed: values must be a list of at least one number,"
                f" got an array of shape {array.shape}"
            )
        bad = np.flatnonzero(~np.isfinite(array))
        if bad.size:
            raise InputError(
                f"as observed: values must be finite, got {array[bad[0]]:g} at place {bad[0]}"
            )
        distinct, counts = np.unique(array, return_counts=True)
        object.__setattr__(self, "values", tuple(array.tolist()))
        object.__setattr__(self, "_distinct", distinct)
        object.__setattr__(self, "_count", np.cumsum(counts).astype(np.float64))

    @property
    def mean(self) -> float:
        """Mean of the numbers [unit of the variable]."""
        return float(np.mean(self.values))

    @property
    def sd(self) -> float:
        """Standard deviation of the numbers, divisor n [unit of the variable]."""
        return float(np.std(self.values))

    @property
    def parameters(self) -> Mapping[str, float]:
        """How many numbers, with their mean and standard deviation."""
        return {"numbers": float(len(self.values)), "mean": self.mean, "sd": self.sd}

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        n = self._count[-1]
        below = np.concatenate([[0.0], self._count])
        count = below[np.searchsorted(self._distinct, x, side="right")]
        count = np.where(np.isnan(x), np.nan, count)
        return count / n, (n - count) / n

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        n = self._count[-1]
        slack = 8.0 * np.finfo(float).eps  # so that the 0.07 quantile of 100 is the seventh
        # The first value whose share reaches p, asked of whichever tail is the smaller.
        from_low = np.searchsorted(self._count, p * n * (1.0 - slack), side="left")
        left_over = (n - self._count)[::-1]
        few = np.searchsorted(left_over, q * n * (1.0 + slack), side="right")
        from_high = self._count.size - few
        at = np.where(p < q, from_low, np.maximum(from_high, 0))
        found = self._distinct[np.minimum(at, self._distinct.size - 1)]
        return np.where(np.isnan(p), np.nan, found)

    def _logpdf(self, x: FloatArray) -> FloatArray:
        return np.full(x.shape, -np.inf)

    def _jumps(self) -> FloatArray:
        return self._distinct
