"""Spreads whose one tail is e^(−t) for a simple power or exponential t of the value.

Exponential, Weibull and the Gumbel spread for minima have P(X > x) = e^(−t); the Gumbel
spread for maxima and the Fréchet spread have P(X ≤ x) = e^(−t). The other tail is
1 − e^(−t), kept exact by expm1.

Sources: Johnson, Kotz and Balakrishnan, *Continuous Univariate Distributions* vol. 1
(2nd ed. 1994), ch. 19 (exponential), 21 (Weibull); vol. 2 (1995), ch. 22 (extreme values).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray, Spread, neg_log, require_positive, set_numbers

__all__ = ["Exponential", "Frechet", "Gumbel", "GumbelMin", "Weibull"]

EULER = float(np.euler_gamma)
NORMAL, NOTHING = 700.0, 746.0
"""Up to the first z the double e^(−z) has all its digits, from the second on it is 0."""
ROOT_SIX_OVER_PI = float(np.sqrt(6.0) / np.pi)


class _ExpTail(Spread):
    """A family by t(x): the upper tail is e^(−t), or the lower one if `for_maxima`."""

    __slots__ = ()
    for_maxima: ClassVar[bool] = False

    def _t(self, x: FloatArray) -> FloatArray:
        """Return t(x), 0 to inf."""
        raise NotImplementedError

    def _of_t(self, t: FloatArray) -> FloatArray:
        """Return the value x at t."""
        raise NotImplementedError

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        """Return ln|dt/dx|."""
        raise NotImplementedError

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = self._t(x)
        near, far = np.exp(-t), -np.expm1(-t)
        return (near, far) if self.for_maxima else (far, near)

    def _upper(self, x: FloatArray) -> FloatArray:
        t = self._t(x)
        return -np.expm1(-t) if self.for_maxima else np.exp(-t)

    def _neg_log_lower(self, x: FloatArray) -> FloatArray:
        t = self._t(x)
        return t if self.for_maxima else neg_log(-np.expm1(-t), np.exp(-t))

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        return self._of_t(neg_log(p, q) if self.for_maxima else neg_log(q, p))

    def _from_normal(self, u: FloatArray) -> FloatArray:
        return self._of_t(-special.log_ndtr(u if self.for_maxima else -u))

    def _logpdf(self, x: FloatArray) -> FloatArray:
        t = self._t(x)
        slope = self._log_slope(x, t)
        return np.where(np.isneginf(slope), -np.inf, slope - t)


@dataclass(frozen=True, slots=True)
class Exponential(_ExpTail):
    """Exponential spread beyond a least value; the standard deviation is mean − shift.

    Parameters
    ----------
    mean : float [unit of the variable]
        Mean of the variable, shift included; above `shift`.
    shift : float [unit of the variable]
        Least value.

    Raises
    ------
    InputError
        When a parameter is no finite number or `mean` is not above `shift`.
    """

    label: ClassVar[str] = "exponential"
    mean: float
    shift: float = 0.0

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "shift")
        if not self.mean > self.shift:
            raise InputError(
                f"exponential: mean must be above shift = {self.shift:g}, got {self.mean:g}"
            )

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        return self.mean - self.shift

    def _t(self, x: FloatArray) -> FloatArray:
        return np.maximum(x - self.shift, 0.0) / self.sd

    def _of_t(self, t: FloatArray) -> FloatArray:
        return self.shift + self.sd * t

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        return np.where(x >= self.shift, -np.log(self.sd), -np.inf)


@dataclass(frozen=True, slots=True)
class Weibull(_ExpTail):
    """Weibull spread: t = ((x − shift)/scale)^shape.

    Parameters
    ----------
    shape : float [-]
        Weibull modulus, above 0; the larger, the narrower.
    scale : float [unit of the variable]
        Distance beyond `shift` that 63.2 % do not reach, above 0.
    shift : float [unit of the variable]
        Least value.

    Raises
    ------
    InputError
        When a parameter is no finite number, or `shape` or `scale` not above 0.
    """

    label: ClassVar[str] = "Weibull"
    shape: float
    scale: float
    shift: float = 0.0

    def __post_init__(self) -> None:
        set_numbers(self, "shape", "scale", "shift")
        require_positive(self, "shape", "scale")

    @property
    def mean(self) -> float:
        """Mean, shift + scale·Γ(1 + 1/shape) [unit of the variable]."""
        return self.shift + self.scale * float(special.gamma(1.0 + 1.0 / self.shape))

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        return self.scale * _gamma_sd(1.0 / self.shape)

    def _t(self, x: FloatArray) -> FloatArray:
        return (np.maximum(x - self.shift, 0.0) / self.scale) ** self.shape

    def _of_t(self, t: FloatArray) -> FloatArray:
        return self.shift + self.scale * t ** (1.0 / self.shape)

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        y = np.maximum(x - self.shift, 0.0) / self.scale
        inside = np.log(self.shape / self.scale) + special.xlogy(self.shape - 1.0, y)
        return np.where(x >= self.shift, inside, -np.inf)


@dataclass(frozen=True, slots=True)
class Frechet(_ExpTail):
    """Fréchet spread for maxima with a heavy tail: t = ((x − shift)/scale)^(−shape).

    Parameters
    ----------
    shape : float [-]
        Tail exponent, above 0; the mean is infinite up to 1, the standard deviation up to 2.
    scale : float [unit of the variable]
        Distance beyond `shift` that 36.8 % do not exceed, above 0.
    shift : float [unit of the variable]
        Least value.

    Raises
    ------
    InputError
        When a parameter is no finite number, or `shape` or `scale` not above 0.
    """

    label: ClassVar[str] = "Fréchet"
    for_maxima: ClassVar[bool] = True
    shape: float
    scale: float
    shift: float = 0.0

    def __post_init__(self) -> None:
        set_numbers(self, "shape", "scale", "shift")
        require_positive(self, "shape", "scale")

    @property
    def mean(self) -> float:
        """Mean, shift + scale·Γ(1 − 1/shape); infinite for shape ≤ 1 [unit of the variable]."""
        if self.shape <= 1.0:
            return float(np.inf)
        return self.shift + self.scale * float(special.gamma(1.0 - 1.0 / self.shape))

    @property
    def sd(self) -> float:
        """Standard deviation; infinite for shape ≤ 2 [unit of the variable]."""
        return float(np.inf) if self.shape <= 2.0 else self.scale * _gamma_sd(-1.0 / self.shape)

    def _t(self, x: FloatArray) -> FloatArray:
        return (np.maximum(x - self.shift, 0.0) / self.scale) ** -self.shape

    def _of_t(self, t: FloatArray) -> FloatArray:
        return self.shift + self.scale * t ** (-1.0 / self.shape)

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        y = np.maximum(x - self.shift, 0.0) / self.scale
        inside = np.log(self.shape / self.scale) - (self.shape + 1.0) * np.log(y)
        return np.where(np.isinf(t), -np.inf, inside)


@dataclass(frozen=True, slots=True)
class Gumbel(_ExpTail):
    """Gumbel spread for maxima: t = e^(−(x − mode)/β), β = sd·√6/π, mode = mean − γβ.

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

    label: ClassVar[str] = "Gumbel (maxima)"
    for_maxima: ClassVar[bool] = True
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "sd")
        require_positive(self, "sd")

    @property
    def beta(self) -> float:
        """Scale β [unit of the variable]."""
        return self.sd * ROOT_SIX_OVER_PI

    @property
    def mode(self) -> float:
        """Most likely value [unit of the variable]."""
        return self.mean - EULER * self.beta

    def _t(self, x: FloatArray) -> FloatArray:
        return _decayed((x - self.mode) / self.beta)

    def _of_t(self, t: FloatArray) -> FloatArray:
        return self.mode - self.beta * np.log(t)

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        return -(x - self.mode) / self.beta - float(np.log(self.beta))


@dataclass(frozen=True, slots=True)
class GumbelMin(_ExpTail):
    """Gumbel spread for minima, the mirror of `Gumbel`: t = e^((x − mode)/β).

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

    label: ClassVar[str] = "Gumbel (minima)"
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "sd")
        require_positive(self, "sd")

    @property
    def beta(self) -> float:
        """Scale β [unit of the variable]."""
        return self.sd * ROOT_SIX_OVER_PI

    @property
    def mode(self) -> float:
        """Most likely value [unit of the variable]."""
        return self.mean + EULER * self.beta

    def _t(self, x: FloatArray) -> FloatArray:
        return np.exp((x - self.mode) / self.beta)

    def _of_t(self, t: FloatArray) -> FloatArray:
        return self.mode + self.beta * np.log(t)

    def _log_slope(self, x: FloatArray, t: FloatArray) -> FloatArray:
        return (x - self.mode) / self.beta - float(np.log(self.beta))


def _decayed(z: FloatArray) -> FloatArray:
    """Return e^(−z) without the slow path that `np.exp` takes below a double's normal range."""
    result = np.asarray(np.exp(-np.minimum(z, NORMAL)))
    far = z > NORMAL
    if far.any():
        result *= ~far
        edge = far & (z < NOTHING)
        if edge.any():
            np.exp(-z, out=result, where=edge)
    return result


def _gamma_sd(e: float) -> float:
    """Return √(Γ(1 + 2e) − Γ(1 + e)²), without the cancellation at small e [-]."""
    first = float(special.gammaln(1.0 + e))
    second = float(special.gammaln(1.0 + 2.0 * e))
    with np.errstate(over="ignore"):
        return float(np.exp(first) * np.sqrt(np.expm1(second - 2.0 * first)))
