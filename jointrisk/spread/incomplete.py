"""Spreads by the incomplete gamma and beta functions: gamma, beta, Student's t.

Each tail is asked for by its own function, never as one minus the other.

Sources: Johnson, Kotz and Balakrishnan, *Continuous Univariate Distributions* vol. 1
(2nd ed. 1994), ch. 17 (gamma); vol. 2 (1995), ch. 25 (beta), 28 (t). Beta tail series:
NIST *Digital Library of Mathematical Functions*, eq. 8.17.8.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy import special

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray, Spread, require_positive, set_numbers

__all__ = ["Beta", "Gamma", "StudentT"]

DEEP = 1e-200
"""Below this the library's incomplete beta function loses digits to underflow inside it."""
MOST_TERMS = 20_000
"""Of the series for a deep tail; far fewer do."""


@dataclass(frozen=True, slots=True)
class Gamma(Spread):
    """Gamma spread, by its mean and standard deviation; least value 0.

    Parameters
    ----------
    mean : float [unit of the variable]
        Mean, above 0.
    sd : float [unit of the variable]
        Standard deviation, above 0.

    Raises
    ------
    InputError
        When a parameter is no finite number or not above 0.
    """

    label: ClassVar[str] = "gamma"
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "sd")
        require_positive(self, "mean", "sd")

    @property
    def shape(self) -> float:
        """Shape (mean/sd)² [-]."""
        return (self.mean / self.sd) ** 2

    @property
    def scale(self) -> float:
        """Scale sd²/mean [unit of the variable]."""
        return self.sd * (self.sd / self.mean)

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        y = np.maximum(x, 0.0) / self.scale
        return special.gammainc(self.shape, y), special.gammaincc(self.shape, y)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        a = self.shape
        y = _by_tail(
            p, q, lambda t: special.gammaincinv(a, t), lambda t: special.gammainccinv(a, t)
        )
        return self.scale * y

    def _logpdf(self, x: FloatArray) -> FloatArray:
        y = np.maximum(x, 0.0) / self.scale
        inside = special.xlogy(self.shape - 1.0, y) - y - special.gammaln(self.shape)
        return np.where((x >= 0.0) & np.isfinite(x), inside - np.log(self.scale), -np.inf)


@dataclass(frozen=True, slots=True)
class Beta(Spread):
    """Beta spread between two ends, by its mean and standard deviation.

    With m = (mean − low)/(high − low) and v the variance on that scale the exponents are
    a = m·(m(1 − m)/v − 1) and b = (1 − m)·(m(1 − m)/v − 1).

    Parameters
    ----------
    low : float [unit of the variable]
        Lower end.
    high : float [unit of the variable]
        Upper end, above `low`.
    mean : float [unit of the variable]
        Mean, strictly between the ends.
    sd : float [unit of the variable]
        Standard deviation, above 0 and below √((mean − low)(high − mean)).

    Raises
    ------
    InputError
        When a parameter is no finite number or outside its range.
    """

    label: ClassVar[str] = "beta"
    low: float
    high: float
    mean: float
    sd: float

    def __post_init__(self) -> None:
        set_numbers(self, "low", "high", "mean", "sd")
        if not self.low < self.high:
            raise InputError(f"beta: high must be above low = {self.low:g}, got {self.high:g}")
        if not self.low < self.mean < self.high:
            raise InputError(
                f"beta: mean must be strictly between low and high, {self.low:g} to"
                f" {self.high:g}, got {self.mean:g}"
            )
        require_positive(self, "sd")
        limit = float(np.sqrt((self.mean - self.low) * (self.high - self.mean)))
        if not self.sd < limit:
            raise InputError(
                f"beta: sd must be below {limit:.6g}, the most that a mean of {self.mean:g}"
                f" between {self.low:g} and {self.high:g} can have, got {self.sd:g}"
            )

    @property
    def exponents(self) -> tuple[float, float]:
        """Exponents a (at the lower end) and b (at the upper end) [-]."""
        width = self.high - self.low
        m, rest = (self.mean - self.low) / width, (self.high - self.mean) / width
        total = m * rest / (self.sd / width) ** 2 - 1.0
        return m * total, rest * total

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b = self.exponents
        width = self.high - self.low
        x = np.clip(x, self.low, self.high)
        y, rest = (x - self.low) / width, (self.high - x) / width
        near_low = y <= 0.5
        p = np.where(near_low, _beta_tail(a, b, y), special.betaincc(b, a, rest))
        q = np.where(near_low, special.betaincc(a, b, y), _beta_tail(b, a, rest))
        return np.where(np.isnan(x), x, p), np.where(np.isnan(x), x, q)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        a, b = self.exponents
        low, high = self.low, self.high
        return _by_tail(
            p,
            q,
            lambda t: _from_end(a, b, t, low, high),
            lambda t: _from_end(b, a, t, high, low),
        )

    def _logpdf(self, x: FloatArray) -> FloatArray:
        a, b = self.exponents
        width = self.high - self.low
        y, rest = (x - self.low) / width, (self.high - x) / width
        inside = special.xlogy(a - 1.0, y) + special.xlogy(b - 1.0, rest)
        inside = inside - special.betaln(a, b) - np.log(width)
        return np.where((y >= 0.0) & (rest >= 0.0), inside, -np.inf)


@dataclass(frozen=True, slots=True)
class StudentT(Spread):
    """Student's t, moved and scaled.

    Parameters
    ----------
    mean : float [unit of the variable]
        Centre; the mean where there is one (`dof` above 1).
    scale : float [unit of the variable]
        Scale, above 0; the standard deviation is scale·√(dof/(dof − 2)), infinite for
        `dof` up to 2.
    dof : float [-]
        Degrees of freedom, above 0.

    Raises
    ------
    InputError
        When a parameter is no finite number, or `scale` or `dof` not above 0.
    """

    label: ClassVar[str] = "Student's t"
    mean: float
    scale: float
    dof: float

    def __post_init__(self) -> None:
        set_numbers(self, "mean", "scale", "dof")
        require_positive(self, "scale", "dof")

    @property
    def sd(self) -> float:
        """Standard deviation; infinite for dof ≤ 2 [unit of the variable]."""
        if self.dof <= 2.0:
            return float(np.inf)
        return self.scale * float(np.sqrt(self.dof / (self.dof - 2.0)))

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        half = 0.5 * self.dof
        t = (x - self.mean) / self.scale
        ratio = np.abs(t) / np.sqrt(self.dof)
        share = 1.0 / (1.0 + ratio * ratio)
        rest = ratio / (1.0 / ratio + ratio)
        inner = special.betaincc(0.5, half, np.where(ratio < 1.0, rest, 0.5))
        outer = _beta_tail(half, 0.5, np.where(ratio < 1.0, 0.5, share))
        tail = 0.5 * np.where(ratio < 1.0, inner, outer)
        far = np.exp(-self.dof * np.log(ratio) - np.log(self.dof) - special.betaln(half, 0.5))
        tail = np.where(ratio > 1e50, far, tail)
        return np.where(t < 0.0, tail, 1.0 - tail), np.where(t < 0.0, 1.0 - tail, tail)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        half = 0.5 * self.dof
        tail = np.minimum(p, q)
        share = _beta_value(half, 0.5, 2.0 * tail)
        rest = special.betainccinv(0.5, half, 2.0 * tail)
        log_far = -np.log(tail) - np.log(self.dof) - special.betaln(half, 0.5)
        ratio = np.where(share > 1e-100, np.sqrt(rest / share), np.exp(log_far / self.dof))
        t = np.sqrt(self.dof) * ratio
        return np.asarray(self.mean + self.scale * np.where(p < q, -t, t))

    def _logpdf(self, x: FloatArray) -> FloatArray:
        half = 0.5 * self.dof
        ratio = (x - self.mean) / self.scale / np.sqrt(self.dof)
        power = np.where(np.abs(ratio) > 1e8, 2.0 * np.log(np.abs(ratio)), np.log1p(ratio**2))
        scale = np.log(self.scale) + 0.5 * np.log(self.dof) + special.betaln(half, 0.5)
        return np.asarray(-(half + 0.5) * power - scale)


_Part = Callable[[FloatArray], FloatArray]


def _by_tail(p: FloatArray, q: FloatArray, lower: _Part, upper: _Part) -> FloatArray:
    """Return `lower` of p where that is the smaller tail, else `upper` of q."""
    p, q = np.asarray(p), np.asarray(q)
    low = np.asarray(p < q)
    out = np.empty(p.shape)
    out[low], out[~low] = lower(p[low]), upper(q[~low])
    return out


def _from_end(a: float, b: float, tail: FloatArray, end: float, other: float) -> FloatArray:
    """Return values whose tail lies towards `end`, measured from whichever end is nearer."""
    y = _beta_value(a, b, tail)
    x = end + (other - end) * y
    far = y > 0.5
    x[far] = other - (other - end) * special.betainccinv(b, a, tail[far])
    return x


def _log_beta_tail(a: float, b: float, log_y: FloatArray) -> FloatArray:
    """Return ln I_y(a, b) by the series about y = 0 (DLMF 8.17.8), for a deep lower tail.

    The terms are summed here: `scipy.special.hyp2f1` gives NaN for large a + b. Above the mean,
    where the series is slow, the tail is not deep and the function itself serves.
    """
    y = np.exp(log_y)
    below = y < (a + 1.0) / (a + b + 2.0)
    z = np.where(below, y, 0.0)
    term, series = np.ones_like(z), np.ones_like(z)
    for n in range(MOST_TERMS):
        term = term * (z * ((a + b + n) / (a + 1.0 + n)))
        series = series + term
        if not np.any(term > 1e-17 * series):
            break
    start = a * log_y + b * np.log1p(-y) - np.log(a) - special.betaln(a, b)
    with np.errstate(divide="ignore"):  # only looked at where it is not deep
        plain = np.log(special.betainc(a, b, y))
    return np.asarray(np.where(below, start + np.log(series), plain))


def _beta_tail(a: float, b: float, y: FloatArray) -> FloatArray:
    """Return I_y(a, b), y at most one half, by its log where it is next to nothing."""
    p = np.asarray(special.betainc(a, b, y))
    deep = (p < DEEP) & (y > 0.0) & (y <= 0.5)
    p[deep] = np.exp(_log_beta_tail(a, b, np.log(np.asarray(y)[deep])))
    return p


def _beta_value(a: float, b: float, p: FloatArray) -> FloatArray:
    """Return y of I_y(a, b) = p, by Newton steps in ln y where it is next to nothing."""
    p = np.asarray(p)
    y = np.asarray(special.betaincinv(a, b, p))
    first = (np.log(p) + np.log(a) + special.betaln(a, b)) / a
    deep = (p > 0.0) & (((p < DEEP) & (first < 0.0)) | (first < -600.0) | np.isnan(y))
    if not deep.any():
        return y
    goal, near = np.log(p[deep]), np.minimum(first[deep], np.log(0.5))
    for _ in range(6):
        z = np.exp(near)
        log_p = _log_beta_tail(a, b, near)
        log_slope = a * near + (b - 1.0) * np.log1p(-z) - special.betaln(a, b)
        near = np.minimum(near + (goal - log_p) * np.exp(log_p - log_slope), np.log(0.5))
    y[deep] = np.exp(near)
    return y
