"""The pulls after which failure is to be known, and how well a sample knows it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.study.bench import life_chance, pull, rates_after
from jointrisk.study.pulls import enough, load_refusing, search
from jointrisk.study.sample import NEGLIGIBLE

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.bench import Bench

    Array = npt.NDArray[np.float64]

REFUSED = (0.002, 0.02)
"""Pulls looked at refuse these shares of all rods, and the most that one is willing to [-]."""
UNIMPORTANT = 0.1
"""Failure rarer than this share of the target, or without one of that with no pull, need not be
known well [-]."""
RELAXED = 3.0
"""By so much [-]."""
RELAXED_ASIDE = 1.5
"""By so much where the target does not come to be met, if it does somewhere [-]."""
FEW = 9
"""Loads at which a pilot is looked at first [-]."""
ASIDE = 0.3
"""What a pull counts at which the target does not come to be met, over one at which it does [-]."""


@dataclass(frozen=True, slots=True)
class Aims:
    """Pulls after which failure is to be known."""

    loads: tuple[float, ...]
    """[N]"""
    counts: tuple[float, ...]
    """What no pull counts, and each of the loads [-]."""
    target: float | None
    """Of the set [-]."""

    @staticmethod
    def of(bench: Bench, target: float | None, more: tuple[float, ...]) -> Aims:
        """Look for the pulls that matter on a pilot.

        Parameters
        ----------
        bench : Bench
        target : float, optional
            Chance of failure to meet, of the rods of the bench [-].
        more : tuple of float [N]
            Pulls that are asked about.
        """
        if not np.any(bench.outcome.in_rig > 0.0):
            return Aims((), (1.0,), target)
        proof = bench.scenario.proof
        shares = [share for share in REFUSED if share < proof.max_reject]
        limit = np.inf if proof.highest is None else proof.highest
        most = load_refusing(bench, proof.max_reject)
        found = {load_refusing(bench, share) for share in shares} | {most}
        edges: set[float] = set()
        wanted = bench.scenario.target
        if wanted is not None and target is not None:
            asked = replace(wanted, probability=target)
            windows = search(bench, asked, min(most, limit), None, points=FEW).windows
            edges = {window[0] for window in windows if window[0] > 0.0}
        loads = tuple(sorted({min(load, limit) for load in found | edges} | set(more)))
        meets = {min(edge, limit) for edge in edges}
        counts = (ASIDE, *(1.0 if not meets or load in meets else ASIDE for load in loads))
        return Aims(loads, counts, target)

    def terms(self, bench: Bench) -> Array:
        """Return weight times failure chance, with no pull and after each, (1 + loads, n) [-].

        Each is over the chance that the pull is held; a pull that too few draws hold is all 0.
        """
        terms = [bench.weight * life_chance(bench, bench.outcome)]
        for load in self.loads:
            pulled = pull(bench, load)
            passed = bench.weight * pulled.hold
            if not enough(passed):
                passed = np.zeros_like(passed)
            held = max(float(passed.mean()), np.finfo(float).tiny)
            terms.append(passed * life_chance(bench, rates_after(bench, pulled)) / held)
        return np.stack(terms)

    def shortfall(self, terms: Array) -> float:
        """Return the largest coefficient of variation, those that matter little relaxed [-]."""
        means = terms.mean(axis=1)
        seen = means > NEGLIGIBLE
        if not seen.any():
            return 0.0
        covs = terms[seen].std(axis=1) / np.sqrt(terms.shape[1]) / means[seen]
        asked = float(means[0]) if self.target is None else self.target
        covs = np.where(means[seen] < UNIMPORTANT * asked, covs / RELAXED, covs)
        aside = np.array([False, *(count < 1.0 for count in self.counts[1:])])[seen]
        covs = np.where(aside, covs / RELAXED_ASIDE, covs)
        return float(covs.max())

    def together(self, terms: Array) -> Array:
        """Return what each draw brings to all the questions, each by what it counts, (n,) [-]."""
        totals = terms.sum(axis=1, keepdims=True)
        shares = terms / np.where(totals > 0.0, totals, 1.0)
        return np.asarray(np.array(self.counts) @ shares)
