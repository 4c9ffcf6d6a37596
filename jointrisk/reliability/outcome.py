"""What a method hands back before the variables are named."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from jointrisk.reliability.form import DesignPoint
from jointrisk.reliability.interval import Bounds
from jointrisk.reliability.space import Cell, Problem

__all__ = [
    "Outcome",
    "both_note",
    "cell_names",
    "labels_alone",
    "short_note",
    "undefined_note",
]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A probability, its interval and what it cost."""

    bounds: Bounds
    """NaN interval and standard error where nothing was drawn."""
    evaluations: int
    undefined: int = 0
    """Calls whose margin is NaN; they count as failures."""
    defined: float = float("nan")
    """The estimate if NaN counted as no failure [-]; NaN where it is not known."""
    settled: bool = True
    """False where the method could not do its work, whatever the scatter."""
    points: tuple[tuple[Cell, DesignPoint], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def cov(self) -> float:
        """Coefficient of variation [-]; inf when nothing failed, NaN when nothing was drawn."""
        found = self.bounds
        if np.isnan(found.standard_error):
            return float("nan")
        return found.standard_error / found.estimate if found.estimate > 0 else float("inf")


def cell_names(cells: Iterable[Cell]) -> str:
    """Name up to four cells by their labels."""
    return "; ".join(
        ", ".join(f"{name} = {value:g}" for name, value in cell.labels) or "all"
        for cell in list(cells)[:4]
    )


def labels_alone(problem: Problem) -> Outcome:
    """Try every combination of labels: nothing is random."""
    cells = problem.space.cells
    margins = [float(problem.margin(np.zeros((1, 0)), cell)[0]) for cell in cells]
    chance = np.array([cell.probability for cell in cells])
    undefined = np.isnan(margins)
    exact = float(chance @ ~(np.array(margins) >= 0))
    return Outcome(
        Bounds(exact, exact, exact, 0.0),
        len(cells),
        int(undefined.sum()),
        exact - float(chance @ undefined),
        notes=("labels alone: every combination was tried, the value is exact",),
    )


def undefined_note(undefined: int, n: int) -> tuple[str, ...]:
    """Say how many margins were NaN."""
    if not undefined:
        return ()
    return (f"the margin is NaN in {undefined:,} of {n:,} draws; they count as failures",)


def both_note(estimate: float, defined: float, low: float) -> tuple[str, ...]:
    """Give both values where it matters what a NaN is taken for."""
    if not defined < low:
        return ()
    return (f"{estimate:.4g} if a NaN margin is a failure, {defined:.4g} if it is none",)


def short_note(cov: float, target: float, n: int) -> str:
    """Say what is missing and what it would take."""
    needed = n * (cov / target) ** 2
    return (
        f"not converged: coefficient of variation {cov:.3g} after {n:,} draws, "
        f"{target:g} asked for; about {needed:,.0f} draws would do"
    )
