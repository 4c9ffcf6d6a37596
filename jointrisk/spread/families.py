"""Spreads given by closed formulas from the normal score: no iteration anywhere.

Normal and lognormal go straight from the score to the value. Uniform and triangular
measure from the nearer end. Sources: Johnson, Kotz and Balakrishnan, *Continuous Univariate
Distributions* vol. 1 (2nd ed. 1994), ch. 13 (normal), 14 (lognormal); vol. 2 (1995), ch. 26
(uniform, triangular).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray, Spread, either, require_positive, set_numbers

__all__ = ["Lognormal", "Normal", "Triangular", "Uniform"]

LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))


class _Scored(Spread):
    """A family whose value and normal score follow from each other directly."""

    __slots__ = ()
    scored: ClassVar[bool] = True

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        z = self._to_normal(x)
        return special.ndtr(z), special.ndtr(-z)

    def _upper(self, x: FloatArray) -> FloatArray:
        above: FloatArray = special.ndtr(-self._to_normal(x))
        return above

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        z = special.ndtri(np.minimum(p, q))
        return self._from_normal(np.where(p < q, z, -z))


@dataclass(frozen=True, slots=True)
class Normal(_Scored):
    """Normal spread.

    Parameters
    ----------
    mean : float [unit of the variable]
        Mean.
    sd : float [unit of the variable]
        Standard deviation, above 0.

    Raises
    ------
    InputError
        When a parameter is no finite number or `sd` is not above 0.
    """

    label: ClassVar[str] = "normal"
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "sd")
        require_positive(self, "sd")

    def _from_normal(self, u: FloatArray) -> FloatArray:
        return self.mean + self.sd * u

    def _to_normal(self, x: FloatArray) -> FloatArray:
        return (x - self.mean) / self.sd

    def _logpdf(self, x: FloatArray) -> FloatArray:
        z = (x - self.mean) / self.sd
        return -0.5 * z * z - (LOG_ROOT_TWO_PI + float(np.log(self.sd)))


@dataclass(frozen=True, slots=True)
class Lognormal(_Scored):
    """Lognormal spread, by the mean and standard deviation of the variable itself.

    The log of the variable is normal with variance s² = ln(1 + (sd/mean)²) and mean
    ln(mean) − s²/2.

    Parameters
    ----------
    mean : float [unit of the variable]
        Mean of the variable (never of its log), above 0.
    sd : float [unit of the variable]
        Standard deviation of the variable (never of its log), above 0.

    Raises
    ------
    InputError
        When a parameter is no finite number or not above 0.
    """

    label: ClassVar[str] = "lognormal"
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "sd")
        require_positive(self, "mean", "sd")

    @property
    def log_sd(self) -> float:
        """Standard deviation of the log [-]."""
        return float(np.sqrt(np.log1p((self.sd / self.mean) ** 2)))

    @property
    def log_mean(self) -> float:
        """Mean of the log, which is the log of the median [log of the unit]."""
        return float(np.log(self.mean) - 0.5 * self.log_sd**2)

    @classmethod
    def from_log(cls, log_mean: float, log_sd: float) -> Lognormal:
        """Return the lognormal spread whose log has this mean and standard deviation.

        Parameters
        ----------
        log_mean : float [log of the unit]
            Mean of the log.
        log_sd : float [-]
            Standard deviation of the log, above 0.
        """
        if not log_sd > 0.0:
            raise InputError(f"lognormal: log_sd must be above 0, got {log_sd:g}")
        mean = float(np.exp(log_mean + 0.5 * log_sd**2))
        return cls(mean, mean * float(np.sqrt(np.expm1(log_sd**2))))

    def _from_normal(self, u: FloatArray) -> FloatArray:
        return np.exp(self.log_mean + self.log_sd * u)

    def _to_normal(self, x: FloatArray) -> FloatArray:
        return (np.log(np.maximum(x, 0.0)) - self.log_mean) / self.log_sd

    def _logpdf(self, x: FloatArray) -> FloatArray:
        log_x = np.log(np.maximum(x, 0.0))
        z = (log_x - self.log_mean) / self.log_sd
        inside = -0.5 * z * z - LOG_ROOT_TWO_PI - np.log(self.log_sd) - log_x
        return np.where(x > 0.0, inside, -np.inf)


@dataclass(frozen=True, slots=True)
class Uniform(Spread):
    """Uniform spread: every value between two ends is as likely as any other.

    Parameters
    ----------
    low : float [unit of the variable]
        Lower end.
    high : float [unit of the variable]
        Upper end, above `low`.

    Raises
    ------
    InputError
        When an end is no finite number or `high` is not above `low`.
    """

    label: ClassVar[str] = "uniform"
    low: float
    high: float

    def __post_init__(self) -> None:
        set_numbers(self, "low", "high")
        if not self.low < self.high:
            raise InputError(
                f"uniform: high must be above low = {self.low:g}, got {self.high:g}"
                " (a number without spread is Fixed(value))"
            )

    @property
    def mean(self) -> float:
        """Mean [unit of the variable]."""
        return 0.5 * (self.low + self.high)

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        return (self.high - self.low) / float(np.sqrt(12.0))

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        width = self.high - self.low
        x = np.clip(x, self.low, self.high)
        return (x - self.low) / width, (self.high - x) / width

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        width = self.high - self.low
        return np.where(p < q, self.low + width * p, self.high - width * q)

    def _from_normal(self, u: FloatArray) -> FloatArray:
        tail: FloatArray = (self.high - self.low) * special.ndtr(-np.abs(u))
        return np.subtract(either(np.signbit(u), self.low, self.high), np.copysign(tail, u))

    def _logpdf(self, x: FloatArray) -> FloatArray:
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, -np.log(self.high - self.low), -np.inf)


@dataclass(frozen=True, slots=True)
class Triangular(Spread):
    """Triangular spread: a least, a most likely and a largest value.

    Parameters
    ----------
    low : float [unit of the variable]
        Least value.
    mode : float [unit of the variable]
        Most likely value, from `low` to `high`.
    high : float [unit of the variable]
        Largest value, above `low`.

    Raises
    ------
    InputError
        When a parameter is no finite number, `high` is not above `low`, or `mode` is
        outside them.
    """

    label: ClassVar[str] = "triangular"
    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        set_numbers(self, "low", "mode", "high")
        if not self.low < self.high:
            raise InputError(
                f"triangular: high must be above low = {self.low:g}, got {self.high:g}"
                " (a number without spread is Fixed(value))"
            )
        if not self.low <= self.mode <= self.high:
            raise InputError(
                f"triangular: mode must be within low to high, {self.low:g} to {self.high:g},"
                f" got {self.mode:g}"
            )

    @property
    def mean(self) -> float:
        """Mean [unit of the variable]."""
        return (self.low + self.mode + self.high) / 3.0

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        left, right = self.mode - self.low, self.high - self.mode
        return float(np.sqrt((left**2 + right**2 + left * right) / 18.0))

    @property
    def _areas(self) -> tuple[float, float]:
        """Squares that turn a distance from either end into a probability."""
        width = self.high - self.low
        return width * (self.mode - self.low), width * (self.high - self.mode)

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        left, right = self._areas
        x = np.clip(x, self.low, self.high)
        p = (x - self.low) ** 2 / left if left else 0.0 * x
        q = (self.high - x) ** 2 / right if right else 0.0 * x
        below = (x < self.mode) if right else x <= self.high
        below = below | np.isnan(x)
        return np.where(below, p, 1.0 - q), np.where(below, 1.0 - p, q)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        left, right = self._areas
        below = p * (self.high - self.low) <= self.mode - self.low
        low_side = self.low + np.sqrt(left * p)
        return np.where(below, low_side, self.high - np.sqrt(right * q))

    def _from_normal(self, u: FloatArray) -> FloatArray:
        left, right = self._areas
        z = special.ndtri((self.mode - self.low) / (self.high - self.low))  # score of the mode
        below = np.asarray(u <= z if left else np.zeros(u.shape, dtype=bool))
        side = either(below, 1.0, -1.0)
        tail: FloatArray = special.ndtr(side * u)  # at the end that is nearer
        return either(below, self.low, self.high) + side * np.sqrt(
            either(below, left, right) * tail
        )

    def _logpdf(self, x: FloatArray) -> FloatArray:
        left, right = self._areas
        below = (x < self.mode) | (right == 0.0)
        density = np.where(below, (x - self.low) / (left or 1.0), (self.high - x) / (right or 1.0))
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, np.log(np.maximum(2.0 * density, 0.0)), -np.inf)
