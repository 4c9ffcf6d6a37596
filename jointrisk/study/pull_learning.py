"""Where to draw so that failures that a pull leaves are seen: learned from pilots of one rod.

Each round draws one rod by what the rounds before have taught. Around the failures that each pull
leaves lies a further component, one for each kind of rod (sound, weak, latent, of a bad batch):
the weighted mean of such draws (cross-entropy, Rubinstein & Kroese 2004, from memory). The shares
of all components are those under which the failures seen are likeliest, found by expectation and
maximisation of the mixture with the densities held (Dempster, Laird & Rubin 1977, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.layout import ENDS
from jointrisk.reliability.mixture import Proposal, draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.bench import bench_of, pull
from jointrisk.study.proposal import GUARD_SHARE, Plan, laid_plan
from jointrisk.study.pull_aims import Aims
from jointrisk.study.pull_patterns import pull_patterns
from jointrisk.study.sample import PILOT, evaluate, joined_sample

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.reliability.mixture import Draw
    from jointrisk.study.bench import Bench
    from jointrisk.study.proposal import Pattern

    Array = npt.NDArray[np.float64]

ROUNDS = 3
DRAWS = 2**12
"""Draws of one round [-]."""
FEWEST = 8.0
"""Effective draws of one kind that give a component, at least [-]."""
SURE = 2.0
"""Coordinates whose mean is nearer to 0 than this many of its errors are taken as 0 [-]."""
KIND_SHARE = 0.03
"""Failures of kinds of rods rarer than this share get no component of their own [-]."""
SPREAD_SHARE = 0.25
"""Share that all components together have evenly, whatever the pilots saw [-]."""
STEPS = 30
LEAST_SHARE = 0.003
"""A component that was learned and has less than this is dropped [-]."""
LEAST = 1e-300


def learned_plan(
    single: RodSet,
    full: RodSet,
    seed: int,
    pool: Any,
    target: float | None,
    loads: tuple[float, ...],
) -> Plan:
    """Return the proposal for a set, learned from pilots of one rod.

    Parameters
    ----------
    single, full : RodSet
        The same scenario with one rod, and with all.
    seed : int
    pool : object with ``map``, optional
    target : float, optional
        Chance of failure to meet, of one rod [-].
    loads : tuple of float [N]
        Pulls that are asked about.
    """
    patterns = pull_patterns(single)
    found = len(patterns)
    plan = laid_plan(patterns, single, single)
    shares = np.full(len(patterns) + 1, np.nan)
    for turn in range(ROUNDS):
        one = _pilot(single, plan, seed, turn, pool)
        aims = Aims.of(one, target, loads)
        terms = aims.terms(one)
        patterns = [*patterns, *_components(one, aims, terms)]
        plan = laid_plan(patterns, single, single)
        shares = _shares(plan, single, one.sample.draws, aims.together(terms))
        kept = [n for n, own in enumerate(shares[1:]) if n < found or own >= LEAST_SHARE]
        patterns = [patterns[n] for n in kept]
        shares = shares[[0, *(n + 1 for n in kept)]]
        plan = _with_shares(laid_plan(patterns, single, single), shares)
    return _with_shares(laid_plan(patterns, single, full), shares)


def _pilot(single: RodSet, plan: Plan, seed: int, turn: int, pool: Any) -> Bench:
    """Draw and evaluate a pilot of one rod."""
    drawn = draw(plan.proposal, DRAWS, block_rng(seed, PILOT, 1 + turn), single.label_chance)
    outcome = evaluate(single, drawn.u, drawn.labels, pool)
    return bench_of(joined_sample(single, plan, seed, [drawn], [outcome], 0, converged=False))


def _with_shares(plan: Plan, shares: Array) -> Plan:
    """Give each pattern its share, evenly inside it; the guard its own."""
    if shares.size == 1:
        return plan
    of_pattern = shares.copy()
    of_pattern[1:] *= (1.0 - GUARD_SHARE) / shares[1:].sum()
    of_pattern[0] = GUARD_SHARE
    each = of_pattern[plan.pattern] / np.bincount(plan.pattern)[plan.pattern]
    proposal = Proposal(each / each.sum(), plan.proposal.directions, plan.proposal.forced)
    return Plan(proposal, plan.pattern)


def _shares(plan: Plan, single: RodSet, drawn: Draw, terms: Array) -> Array:
    """Return the share of each pattern under which the draws are likeliest, by their terms, (P,).

    The first is the guard's, which stays as it is.
    """
    count = int(plan.pattern.max()) + 1
    even = np.full(count, (1.0 - GUARD_SHARE) / max(count - 1, 1))
    even[0] = GUARD_SHARE
    rows = np.flatnonzero(terms > 0.0)
    if count == 1 or rows.size == 0:
        return even
    weight = terms[rows] / terms[rows].sum()
    density = _densities(plan, single, drawn.u[rows], drawn.labels[rows])
    shares = even
    for _ in range(STEPS):
        mixed = density * shares
        brought = weight @ (mixed / np.maximum(mixed.sum(axis=1, keepdims=True), LEAST))
        shares = brought * (1.0 - GUARD_SHARE) / max(float(brought[1:].sum()), LEAST)
        shares[0] = GUARD_SHARE
    shares[1:] = SPREAD_SHARE * even[1:] + (1.0 - SPREAD_SHARE) * shares[1:]
    return shares


def _densities(plan: Plan, single: RodSet, u: Array, labels: npt.NDArray[np.bool_]) -> Array:
    """Return the density of each pattern over the nominal one at each draw, (n, P) [-]."""
    directions, forced = plan.proposal.directions, plan.proposal.forced
    ratio = np.exp(u @ directions.T - 0.5 * np.sum(directions**2, axis=1))
    for label in range(forced.shape[1]):
        tied = ~np.isnan(forced[:, label])
        if not tied.any():
            continue
        chance = single.label_chance(label, u, labels[:, :label])
        nominal = np.where(labels[:, label], chance, 1.0 - chance)
        own = forced[tied, label]
        asked = np.where(labels[:, label, None], own, 1.0 - own)
        ratio[:, tied] *= asked / np.maximum(nominal, LEAST)[:, None]
    inside = np.bincount(plan.pattern)
    member = (plan.pattern[:, None] == np.arange(inside.size)) / inside
    return np.asarray(ratio @ member)


def _components(one: Bench, aims: Aims, terms: Array) -> list[Pattern]:
    """Return the middle of the failures that each pull leaves, by kind of rod, with its labels."""
    found = []
    for load, brought in zip((0.0, *aims.loads), terms, strict=True):
        total = float(brought.sum())
        if not total > 0.0:
            continue
        u, labels = _weaker_first(one, load)
        kinds, kind = np.unique(labels, axis=0, return_inverse=True)
        for number, names in enumerate(kinds):
            own = np.where(kind.ravel() == number, brought, 0.0)
            effective = own.sum() ** 2 / max(float((own**2).sum()), LEAST)
            if own.sum() < KIND_SHARE * total or effective < FEWEST:
                continue
            point = own @ u / own.sum()
            point = np.where(np.abs(point) * np.sqrt(effective) > SURE, point, 0.0)
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
