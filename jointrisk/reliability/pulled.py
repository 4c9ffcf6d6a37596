"""One weighted sample of pulled parts, read off at any load."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtri_exp

from jointrisk.reliability.interval import Bounds, ratio_interval
from jointrisk.reliability.screening import Screening, curve, pull_outcome, pull_terms

__all__ = ["RigSample", "Rows", "joined"]

Array = npt.NDArray[np.float64]
Values = dict[str, Array]


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of one cell, or of all."""

    weight: Array
    component: npt.NDArray[np.intp]
    x: Values
    bias: Array
    strength: Array
    fails: npt.NDArray[np.bool_]
    weak: npt.NDArray[np.bool_] | None
    uniform: Array


def joined(parts: list[Rows]) -> Rows:
    """Lay the rows of all cells end to end, and let their weights average to 1."""
    rows = pooled(parts)
    return replace(rows, weight=rows.weight.size * rows.weight)


def pooled(parts: list[Rows]) -> Rows:
    """Lay rows end to end."""
    weak = [part.weak for part in parts if part.weak is not None]
    return Rows(
        np.concatenate([part.weight for part in parts]),
        np.concatenate([part.component for part in parts]),
        {name: np.concatenate([part.x[name] for part in parts]) for name in parts[0].x},
        np.concatenate([part.bias for part in parts]),
        np.concatenate([part.strength for part in parts], axis=1),
        np.concatenate([part.fails for part in parts]),
        np.concatenate(weak, axis=1) if weak else None,
        np.concatenate([part.uniform for part in parts], axis=1),
    )


@dataclass(frozen=True, slots=True)
class RigSample:
    """One weighted sample that answers for every load."""

    rows: Rows
    error: float
    """Standard deviation of a pull's own error, as a share of the load [-]."""
    damaged: Callable[[Values, Array], Array] | None
    """Margin in service, (n,), of parts that survived the loads applied, (k, n) [N]."""

    @property
    def before(self) -> float:
        """Chance of failure with no pull [-]."""
        return float((self.rows.weight * self.rows.fails).sum() / self.rows.weight.sum())

    def fails(self, load: float) -> Array:
        """Whether each row fails in service given that all its parts held, (n,).

        Where the pull does damage, the own error of each pull is drawn given that the
        part held: the same uniform number at every load keeps the curve smooth.
        """
        rows = self.rows
        if self.damaged is None or load == 0.0:
            return rows.fails.astype(float)
        error = np.zeros(rows.strength.shape)
        if self.error > 0:
            score = (rows.strength / load - 1.0 - rows.bias) / self.error
            error = self.error * ndtri_exp(np.log(rows.uniform) + log_ndtr(score))
        applied = load * np.maximum(1.0 + rows.bias + error, 0.0)
        return (self.damaged(rows.x, applied) < 0).astype(float)

    def outcome(self, load: float) -> tuple[float, float]:
        """Failure after and refusal at one load."""
        rows = self.rows
        return pull_outcome(
            rows.weight,
            rows.strength,
            self.fails(load),
            load,
            rig_error_cov=self.error,
            bias=rows.bias,
        )

    def terms(self, load: float) -> tuple[Array, Array]:
        """Weight times chance to hold, and to be refused, (n,); a load of 0 is no pull."""
        rows = self.rows
        if load == 0.0:
            return rows.weight, np.zeros_like(rows.weight)
        return pull_terms(
            rows.weight, rows.strength, load, rig_error_cov=self.error, bias=rows.bias
        )

    def plus(self, other: RigSample) -> RigSample:
        """Add a sample from the same plan; each row then counts alike."""
        return replace(self, rows=pooled([self.rows, other.rows]))

    def failure(self, load: float, confidence: float) -> Bounds:
        """Chance of failure after a pull, with its interval."""
        hold, _ = self.terms(load)
        return ratio_interval(hold * self.fails(load), hold, self.rows.component, confidence)

    def refusal(self, load: float, confidence: float) -> Bounds:
        """Chance of refusal, with its interval."""
        if load == 0.0:
            return Bounds(0.0, 0.0, 0.0, 0.0)
        _, refused = self.terms(load)
        return ratio_interval(refused, self.rows.weight, self.rows.component, confidence)

    def scatter(self, load: float, wanted: float) -> Array:
        """Give what each row adds to the variance of both chances, (n,).

        The variances are relative ones, over the square of the coefficient of variation
        wanted of failure after [-].
        """
        hold, refused = self.terms(load)
        total = np.zeros(hold.size)
        for part, whole in (
            (hold * self.fails(load), hold),
            (refused, self.rows.weight),
        ):
            if part.sum() > 0:
                total += ((part / part.sum() - whole / whole.sum()) / wanted) ** 2
        return total

    def curve(self, loads: Array, confidence: float) -> Screening:
        """All measures with intervals."""
        rows = self.rows
        return curve(
            rows.weight,
            rows.strength,
            self.fails,
            loads,
            rig_error_cov=self.error,
            bias=rows.bias,
            is_weak=rows.weak,
            component=rows.component,
            confidence=confidence,
            fail_before=rows.fails.astype(float),
        )
