"""Largest of several draws: of a given number, or of a random number of events.

Sources: Gumbel, *Statistics of Extremes* (1958), ch. 1 (largest of n); Coles, *An
Introduction to Statistical Modeling of Extreme Values* (2001), ch. 7 (Poisson events).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from jointrisk.errors import InputError
from jointrisk.spread.base import FloatArray, Spread, neg_log, require_positive, set_numbers
from jointrisk.spread.extremes import Gumbel
from jointrisk.spread.moments import moments

__all__ = ["MaximumOf", "MaximumOfEvents"]


@dataclass(frozen=True, slots=True)
class MaximumOf(Spread):
    """Largest of `count` independent draws: distribution function F^count.

    Parameters
    ----------
    base : Spread [unit of the variable]
        Spread of one draw.
    count : float [-]
        Number of draws, at least 1; may be fractional (a draw a year for 12.5 years).

    Raises
    ------
    InputError
        When `base` is no spread or `count` is below 1.
    """

    label: ClassVar[str] = "largest of several"
    base: Spread
    count: float

    def __post_init__(self) -> None:
        require_spread(self, "base", self.base)
        set_numbers(self, "count")
        if self.count < 1.0:
            raise InputError(f"{self.label}: count must be at least 1, got {self.count:g}")

    @property
    def mean(self) -> float:
        """Mean; for a Gumbel base its mean + β·ln(count) [unit of the variable]."""
        if isinstance(self.base, Gumbel):
            return self.base.mean + self.base.beta * float(np.log(self.count))
        return moments(self, not np.isfinite(self.base.sd))[0]

    @property
    def sd(self) -> float:
        """Standard deviation; that of the base for a Gumbel base [unit of the variable]."""
        return (
            self.base.sd
            if isinstance(self.base, Gumbel)
            else moments(self, not np.isfinite(self.base.sd))[1]
        )

    @property
    def parameters(self) -> Mapping[str, float]:
        """The count and the numbers of one draw."""
        return {"count": self.count, **nested("base", self.base)}

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = self.count * neg_log(*self.base._tails(x))
        return np.exp(-t), -np.expm1(-t)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        t = neg_log(p, q) / self.count
        return self.base._quantile(np.exp(-t), -np.expm1(-t))

    def _logpdf(self, x: FloatArray) -> FloatArray:
        fewer = (self.count - 1.0) * neg_log(*self.base._tails(x))
        inside = np.log(self.count) + self.base._logpdf(x) - fewer
        return np.where(np.isnan(inside), -np.inf, inside)

    def _jumps(self) -> FloatArray:
        return self.base._jumps()

    def __str__(self) -> str:
        return f"largest of {self.count:.6g} × ({self.base})"


@dataclass(frozen=True, slots=True)
class MaximumOfEvents(Spread):
    """Largest of a Poisson number of events: e^(−n(1 − F(x))) for x ≥ 0, and 0 if none.

    No event happens with probability e^(−n): an atom at 0. Events below 0 count as none.

    Parameters
    ----------
    base : Spread [unit of the variable]
        Spread of the size of one event.
    expected_count : float [-]
        Expected number of events n, above 0.

    Raises
    ------
    InputError
        When `base` is no spread or `expected_count` is not above 0.
    """

    label: ClassVar[str] = "largest of events"
    base: Spread
    expected_count: float

    def __post_init__(self) -> None:
        require_spread(self, "base", self.base)
        set_numbers(self, "expected_count")
        require_positive(self, "expected_count")

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
        """The expected count and the numbers of one event."""
        return {"expected_count": self.expected_count, **nested("base", self.base)}

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = self.expected_count * self.base._tails(x)[1]
        p, q = np.exp(-t), -np.expm1(-t)
        return np.where(x < 0.0, 0.0, p), np.where(x < 0.0, 1.0, q)

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        q_one = neg_log(p, q) / self.expected_count
        none = q_one >= 1.0
        q_one = np.minimum(q_one, 1.0)
        found = np.maximum(self.base._quantile(1.0 - q_one, q_one), 0.0)
        return np.where(none, 0.0, found)

    def _logpdf(self, x: FloatArray) -> FloatArray:
        t = self.expected_count * self.base._tails(x)[1]
        inside = np.log(self.expected_count) + self.base._logpdf(x) - t
        return np.where(x > 0.0, inside, -np.inf)

    def _jumps(self) -> FloatArray:
        jumps = self.base._jumps()
        return np.concatenate([[0.0], jumps[jumps > 0.0]])

    def __str__(self) -> str:
        return f"largest of some {self.expected_count:.6g} events × ({self.base})"


def require_spread(owner: Spread, name: str, value: object) -> None:
    """Refuse what is no spread."""
    if not isinstance(value, Spread):
        raise InputError(f"{owner.label}: {name} must be a spread, got {value!r}")


def nested(name: str, spread: Spread) -> dict[str, float]:
    """Return the parameters of a spread inside another, ``base.mean`` and the like."""
    return {f"{name}.{key}": value for key, value in spread.parameters.items()}
