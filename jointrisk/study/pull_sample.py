"""The weighted sample that `proof` works on: good for what a pull leaves, too.

A pilot of one rod tells which pulls matter (those that refuse few rods, some, and as many as one
is willing to lose, and those at which the target comes to be met), and around which draws the
failures lie that each of them leaves: the proposal gets a component there (the weighted mean of
such draws: cross-entropy, Rubinstein & Kroese 2004, from memory). A pilot of the whole set then
gives every component its share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.layout import ENDS
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.proposal import laid_plan, refined_plan
from jointrisk.study.pull_patterns import pull_patterns
from jointrisk.study.pulls import enough, life_chance, load_refusing, search
from jointrisk.study.sample import (
    NEGLIGIBLE,
    PILOT,
    evaluate,
    joined_sample,
    main_block,
    pilot_block,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.reliability.mixture import Draw
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.bench import Bench
    from jointrisk.study.proposal import Pattern
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

REFUSED = (0.002, 0.02)
"""Pulls looked at refuse these shares of all rods, and the most that one is willing to [-]."""
ONE_ROD_DRAWS = 2**12
FEWEST = 10.0
"""Effective draws of one kind that give a component, at least [-]."""
KIND_SHARE = 0.05
"""Failures of kinds of rods rarer than this share get no component of their own [-]."""
MOST_JOINTS = 2**17
TARGET_COV = 0.04
UNIMPORTANT = 0.1
"""Failure rarer than this share of the target need not be known well [-]."""
RELAXED = 3.0
"""By so much [-]."""


def pull_sample(
    scenario: Scenario,
    seed: int,
    pool: Any = None,
    loads: tuple[float, ...] = (),
    target_cov: float = TARGET_COV,
) -> Sample:
    """Draw and evaluate until failure is known well enough before and after a pull.

    Parameters
    ----------
    scenario : Scenario
        With a load.
    seed : int
    pool : object with ``map``, optional
    loads : tuple of float [N]
        Pulls that are asked about.
    target_cov : float
        Wanted coefficient of variation of each failure probability [-].
    """
    full, single = rod_set(scenario), rod_set(scenario, rods=1)
    patterns = pull_patterns(single)
    one = _one_rod(single, patterns, seed, pool)
    target = scenario.target
    asked = None if target is None else target.probability
    rods = scenario.rods if target is not None and target.scope == "set" else 1
    more = _components(one, _Aims.of(one, None if asked is None else asked / rods, loads))
    plan = laid_plan([*patterns, *more], single, full)
    pilot = pilot_block(full, plan, seed)
    first = evaluate(full, pilot.u, pilot.labels, pool)
    bench = bench_of(joined_sample(full, plan, seed, [pilot], [first], 0, converged=False))
    aims = _Aims.of(bench, asked, loads)
    plan = refined_plan(plan, pilot.component, _together(aims.terms(bench)))
    draws: list[Draw] = []
    outcomes: list[Outcome] = []
    found: list[Array] = []
    short, joints = np.inf, 0
    while joints < MOST_JOINTS and not short <= target_cov:
        draws.append(main_block(full, plan, seed, len(draws)))
        outcomes.append(evaluate(full, draws[-1].u, draws[-1].labels, pool))
        joints += draws[-1].log_weight.size * full.layout.joints
        block = joined_sample(full, plan, seed, draws[-1:], outcomes[-1:], 0, converged=False)
        found.append(aims.terms(bench_of(block)))
        short = aims.shortfall(np.concatenate(found, axis=1))
    pilots = pilot.log_weight.size
    return joined_sample(full, plan, seed, draws, outcomes, pilots, converged=short <= target_cov)


def _one_rod(single: RodSet, patterns: list[Pattern], seed: int, pool: Any) -> Bench:
    """Draw and evaluate a pilot of one rod."""
    plan = laid_plan(patterns, single, single)
    rng = block_rng(seed, PILOT, 1)
    drawn = draw(plan.proposal, ONE_ROD_DRAWS, rng, single.label_chance)
    outcome = evaluate(single, drawn.u, drawn.labels, pool)
    return bench_of(joined_sample(single, plan, seed, [drawn], [outcome], 0, converged=False))


@dataclass(frozen=True, slots=True)
class _Aims:
    """Pulls after which failure is to be known."""

    loads: tuple[float, ...]
    """[N]"""
    target: float | None
    """Of the set [-]."""

    @staticmethod
    def of(bench: Bench, target: float | None, more: tuple[float, ...]) -> _Aims:
        """Look for the pulls that matter on a pilot."""
        if not np.any(bench.outcome.rig_pull > 0.0):
            return _Aims((), target)
        proof = bench.scenario.proof
        shares = [share for share in REFUSED if share < proof.max_reject]
        limit = np.inf if proof.highest is None else proof.highest
        most = load_refusing(bench, proof.max_reject)
        found = {load_refusing(bench, share) for share in shares} | {most}
        wanted = bench.scenario.target
        if wanted is not None and target is not None:
            asked = type(wanted)(target, wanted.period, wanted.scope, wanted.source)
            edges = search(bench, asked, min(most, limit), None).windows
            found |= {edge for window in edges for edge in window if edge > 0.0}
        return _Aims(tuple(sorted({min(load, limit) for load in found} | set(more))), target)

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
        if self.target is not None:
            covs = np.where(means[seen] < UNIMPORTANT * self.target, covs / RELAXED, covs)
        return float(covs.max())


def _components(one: Bench, aims: _Aims) -> list[tuple[Array, Array]]:
    """Return the middle of the failures that each pull leaves, by kind of rod, with its labels."""
    found = []
    for load, terms in zip((0.0, *aims.loads), aims.terms(one), strict=True):
        total = float(terms.sum())
        if not total > 0.0:
            continue
        u, labels = _weaker_first(one, load)
        kinds, kind = np.unique(labels, axis=0, return_inverse=True)
        for number, names in enumerate(kinds):
            own = np.where(kind.ravel() == number, terms, 0.0)
            if own.sum() < KIND_SHARE * total or own.sum() ** 2 < FEWEST * (own**2).sum():
                continue
            point = (own[:, None] * u).sum(axis=0) / own.sum()
            forced = np.where(names, 1.0, np.nan)
            found.append((point, forced))
    return found


def _weaker_first(one: Bench, load: float) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return scores and labels with the end that is the weaker in service as the first one.

    Where the ends differ they stay as they are.
    """
    layout, draws = one.rods.layout, one.sample.draws
    u, labels = draws.u.copy(), draws.labels.copy()
    if layout.second:
        return u, labels
    share = pull(one, load).share if load > 0.0 else 1.0
    first, second = one.outcome.bond_pull[-1] * share
    swap = second < first
    for key, columns in layout.columns.items():
        if layout.scopes[key] == "joint":
            assert columns.stop - columns.start == ENDS  # noqa: S101
            u[swap, columns] = u[swap, columns][:, ::-1]
    for own in (layout.weak_joint_labels, layout.latent_joint_labels):
        if own.stop > own.start:
            labels[swap, own] = labels[swap, own][:, ::-1]
    return u, labels


def _together(terms: Array) -> Array:
    """Return what each draw brings to all the questions, each counted alike, (n,) [-]."""
    totals = terms.sum(axis=1, keepdims=True)
    return np.asarray((terms / np.where(totals > 0.0, totals, 1.0)).sum(axis=0))
