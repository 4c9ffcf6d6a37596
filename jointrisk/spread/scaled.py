"""A spread stretched and moved along its axis.

Source: change of variable y = c x + s, with density f((y - s)/c)/c (any text on probability).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from jointrisk.spread.base import FloatArray, Spread, require_positive, set_numbers
from jointrisk.spread.maxima import nested, require_spread

__all__ = ["Scaled"]


@dataclass(frozen=True, slots=True)
class Scaled(Spread):
    """The spread of ``factor * x + shift`` where x has the spread `base`.

    Parameters
    ----------
    base : Spread [unit of the variable]
        Spread before.
    factor : float [-]
        Stretch, above 0.
    shift : float [unit of the variable]
        Added after the stretch.

    Raises
    ------
    InputError
        When `base` is no spread, a number is not finite, or `factor` is not above 0.
    """

    label: ClassVar[str] = "scaled"
    base: Spread
    factor: float = 1.0
    shift: float = 0.0

    def __post_init__(self) -> None:
        require_spread(self, "base", self.base)
        set_numbers(self, "factor", "shift")
        require_positive(self, "factor")

    @property
    def mean(self) -> float:
        """Mean [unit of the variable]."""
        return self.factor * self.base.mean + self.shift

    @property
    def sd(self) -> float:
        """Standard deviation [unit of the variable]."""
        return self.factor * self.base.sd

    @property
    def parameters(self) -> Mapping[str, float]:
        """Stretch, shift, and the numbers of the spread before."""
        return {"factor": self.factor, "shift": self.shift, **nested("base", self.base)}

    def _before(self, x: FloatArray) -> FloatArray:
        return np.asarray((x - self.shift) / self.factor)

    def _after(self, x: FloatArray) -> FloatArray:
        return np.asarray(self.factor * x + self.shift)

    def _tails(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        return self.base._tails(self._before(x))

    def _quantile(self, p: FloatArray, q: FloatArray) -> FloatArray:
        return self._after(self.base._quantile(p, q))

    def _from_normal(self, u: FloatArray) -> FloatArray:
        return self._after(self.base._from_normal(u))

    def _to_normal(self, x: FloatArray) -> FloatArray:
        return self.base._to_normal(self._before(x))

    def _logpdf(self, x: FloatArray) -> FloatArray:
        return np.asarray(self.base._logpdf(self._before(x)) - np.log(self.factor))

    def _jumps(self) -> FloatArray:
        return self._after(self.base._jumps())

    def __str__(self) -> str:
        return f"{self.factor:.6g} times ({self.base}) plus {self.shift:.6g}"
