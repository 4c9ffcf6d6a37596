"""The search for the factor on all loads at which a target is just met.

Draws that favour failure under the loads as written say little of loads half as large: they are
made anew at the factor found until it stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated, spans_until
from jointrisk.reliability.interval import Bounds, ratio_interval, weighted_interval
from jointrisk.study.bench import rates_after
from jointrisk.study.judgement import CONFIDENCE, year_value, years_looked_at
from jointrisk.study.sweep_points import FEW_GONE
from jointrisk.study.sweep_search import Bracket, crossing

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from jointrisk.scenario.types import Target
    from jointrisk.study.bench import Bench, Pulled

    Array = npt.NDArray[np.float64]

FARTHEST = 2.8
"""Logs of factors on either side of the one drawn for that are looked at in one round [-]."""
STEPS = 9
"""Factors looked at first in one round [-]."""
RANGE = (1e-3, 1e3)
"""Factors beyond these are not looked for [-]."""
ROUNDS = 6
CLOSE = 5e-4
"""Error of the log of a factor that does not matter [-]."""
AROUND = Bracket(-0.3, 0.3, 0.0, falls=False)
"""Logs of factors between which a root is looked for that is already near."""
SIDE = 0.05
"""Logs of the factor to either side of it in which the ends of its interval are looked for [-]."""


@dataclass(frozen=True, slots=True)
class Found:
    """A root in the factor; NaN where there is none."""

    verdict: str
    factor: float
    low: float
    high: float
    as_written: Bounds | None
    """Failure at the loads as written."""
    evaluations: int
    converged: bool


def find_factor(
    target: Target, draws: Callable[[float], tuple[Bench, Pulled]], near: float
) -> Found:
    """Look for the factor, with draws made anew at each one found until it stays.

    Parameters
    ----------
    target : Target
    draws : callable
        Factor on the loads to draws made for it, and what a pull has left of them.
    near : float [-]
        Log of a factor within which draws are good enough.
    """
    factor, total, step = 1.0, 0, np.inf
    as_written: Bounds | None = None
    for count in range(ROUNDS):
        bench, pulled = draws(factor)
        total += bench.sample.evaluations
        curve = Curve(bench, pulled, target, {})
        if count == 0:
            as_written = curve.at(0.0)
            if curve.at(float(np.log(RANGE[0]))).low > target.probability:
                return Found(
                    "unreachable", np.nan, np.nan, np.nan, as_written, total, converged=True
                )
        step = curve.root(whole=count == 0)
        beyond = not RANGE[0] < factor * np.exp(step) < RANGE[1]
        if abs(step) < near or beyond or count == ROUNDS - 1:
            break
        factor *= float(np.exp(step))
    if beyond:
        outcome = "beyond" if step > 0.0 else "unreachable"
        return Found(outcome, np.nan, np.nan, np.nan, as_written, total, converged=True)
    low, high = curve.sides(step)
    found, least, most = (factor * float(np.exp(x)) for x in (step, low, high))
    converged = bench.sample.converged and abs(step) < near
    return Found("rated", found, least, most, as_written, total, converged)


@dataclass(frozen=True, slots=True)
class Curve:
    """Failure over the log of the factor on the loads that the draws were made for."""

    bench: Bench
    pulled: Pulled
    target: Target
    known: dict[float, Bounds]

    def at(self, log_factor: float) -> Bounds:
        """Return failure at a factor, worked out once."""
        if log_factor not in self.known:
            factor = float(np.exp(log_factor))
            self.known[log_factor] = _bounds(self.bench, self.pulled, factor, self.target)
        return self.known[log_factor]

    def root(self, *, whole: bool) -> float:
        """Return the log of the smallest factor from which on the target is missed.

        Parameters
        ----------
        whole : bool
            Begin to look at the smallest factor: with a load that relieves, failure may rise
            towards both ends. Else only round the factor drawn for.

        Returns
        -------
        float [-]
            The end of what is looked at stands for a factor beyond it.
        """
        asked = self.target.probability
        if not whole:
            found = crossing(self.at, "estimate", AROUND, asked, (-FARTHEST, FARTHEST), CLOSE)
            if found is not None:
                return found
        below: float | None = None
        for x in (float(x) for x in np.linspace(-FARTHEST, FARTHEST, STEPS)):
            if self.at(x).estimate > asked:
                if below is None:
                    return -FARTHEST
                bracket = Bracket(below, x, 0.0, falls=False)
                found = crossing(self.at, "estimate", bracket, asked, (below, x), CLOSE)
                return x if found is None else found
            below = x
        return FARTHEST

    def sides(self, root: float) -> tuple[float, float]:
        """Return the interval of the log of the factor: where that of failure meets the target."""
        near = Bracket(root - SIDE, root + SIDE, 0.0, falls=False)
        ends = (root - FARTHEST, root + FARTHEST)
        asked = self.target.probability
        close = 4.0 * CLOSE
        low, high = (crossing(self.at, n, near, asked, ends, close) for n in ("high", "low"))
        return (ends[0] if low is None else low), (ends[1] if high is None else high)


def _bounds(bench: Bench, pulled: Pulled, factor: float, target: Target) -> Bounds:
    """Return failure at a factor on the loads, as the target counts it."""
    weight = bench.weight * pulled.hold
    fails, gone = _terms(bench, pulled, factor, target)
    terms, left = weight * fails, 1.0 - float((weight * gone).mean())
    component = bench.sample.component
    mean = float(terms.mean())
    if np.all(pulled.hold == 1.0) and left > 1.0 - FEW_GONE and mean < 0.5:
        guard = float(bench.sample.plan.proposal.shares[0])
        return weighted_interval(terms / left, component, CONFIDENCE, largest=1.0 / guard)
    return ratio_interval(terms, weight * (1.0 - gone), component, CONFIDENCE)


def _terms(bench: Bench, pulled: Pulled, factor: float, target: Target) -> tuple[Array, Array]:
    """Return each draw's chance to fail as the target counts it, and to be gone before, (n,)."""
    scenario = bench.scenario
    rates = rates_after(bench, pulled, factor)
    weight = bench.weight * pulled.hold
    edges = slice_edges(scenario)
    counted = rates.rate[:, None] if target.scope == "set" else rates.rod_rate
    if target.period == "life":
        fails = -np.expm1(-accumulated(counted, np.diff(edges))).mean(axis=0)
        return np.asarray(fails), np.zeros_like(fails)
    years = years_looked_at(edges)
    year = max(years, key=lambda y: year_value(scenario, rates, target, weight, y))
    before = accumulated(counted, spans_until(edges, float(year)))
    until = accumulated(counted, spans_until(edges, min(year + 1.0, float(edges[-1]))))
    gone = -np.expm1(-before)
    return np.asarray((-np.expm1(-until) - gone).mean(axis=0)), np.asarray(gone.mean(axis=0))
