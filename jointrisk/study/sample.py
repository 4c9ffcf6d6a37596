"""One weighted sample of a set of rods that serves every number of an assessment."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.bond import BOND_MODES, WALL
from jointrisk.model.loads import accumulated
from jointrisk.model.rodset import RIG_BIAS, rod_set
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.streams import BLOCK, block_rng
from jointrisk.study.proposal import Plan, first_plan, refined_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from jointrisk.model.resistance import Resistance
    from jointrisk.model.rodset import RodSet
    from jointrisk.reliability.mixture import Draw
    from jointrisk.scenario.types import Scenario

    Array = npt.NDArray[np.float64]
    Map = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]

PILOT, MAIN, BAND, RANK, PULL, COMMON, RANKED, DOUBTS, LEARN = 1, 2, 3, 4, 5, 6, 7, 8, 9
"""Purposes of the random streams."""
PLAN_TESTS = 10
PILOT_DRAWS = 2**11
JOINTS_A_PILOT = 2**14
"""Draws of the pilot are at most this over the joints of a set, and at most `PILOT_DRAWS`."""
JOINTS_AT_ONCE = 2**14
"""Joints worked out in one call: small enough for the arrays to stay in the cache."""
JOINTS_A_BLOCK = 2**16
"""Draws of one block are at most this over the joints of a set, and at most `MOST_ROWS`."""
MOST_ROWS = BLOCK
MOST_BLOCKS = 16
LEAST_SHARE = 0.01
NEGLIGIBLE = 1e-15
"""A failure probability below this is not told more closely."""
TARGET_COV = 0.04


@dataclass(frozen=True, slots=True)
class Outcome:
    """What evaluated draws came to; rows as drawn."""

    rig_pull: Array
    """Weakest link of each new rod in the rig, pull [N], (rods, n)."""
    rig_push: Array | None
    """The same, push; None where the rig pulls or was left out."""
    pull: Array
    """The same in service, pull [N], (rods, n)."""
    push: Array | None
    """The same, push [N], (rods, n)."""
    weak_rod: npt.NDArray[np.bool_]
    """Whether the rod has a weak joint, (rods, n)."""
    hazard: Array
    """Failure rate of the set given everything else, added up over the life [-], (n,)."""
    rod_hazard: Array
    """The same, each rod, (rods, n)."""
    mode_hazard: Array
    """The same, each mode, (modes, n)."""
    rate: Array
    """Failure rate of the set in each slice of the life [1/years], (slices, n)."""
    rod_rate: Array
    """The same, each rod, (slices, rods, n)."""
    broken: npt.NDArray[np.bool_]
    """Rods of which a bond holds nothing though time has not undone it, (rods, n)."""
    steady: Array
    """Largest share of its strength that a steady load takes of a bond [-], (n,)."""
    bias: Array
    """Bias of the rig's gauge [-], (n,)."""
    assembles: npt.NDArray[np.bool_]
    """(n,)"""
    bounded: npt.NDArray[np.bool_]
    """(n,)"""
    toughness_governs: npt.NDArray[np.bool_]
    """(joints, n)"""
    rig_joint: Array
    """Bond of each joint in the rig [N], (joints, n); of no joint where the rig was left out."""
    bond_pull: Array
    """What the bonds hold in a pull in each slice of the life, before wear [N],
    (slices, joints, n)."""
    bond_push: Array | None
    """The same in a push; None where no bond is pushed."""

    @property
    def in_rig(self) -> Array:
        """Weakest link of each rod the way that the rig loads it [N], (rods, n)."""
        return self.rig_pull if self.rig_push is None else self.rig_push


@dataclass(frozen=True, slots=True)
class Sample:
    """Weighted draws of a set: the mean of weight times anything is its expectation."""

    rods: RodSet
    plan: Plan
    draws: Draw
    weight: Array
    """Nominal over sampling density, 0 for sets that cannot be put together, (n,) [-]."""
    component: npt.NDArray[np.intp]
    outcome: Outcome
    evaluations: int
    converged: bool
    left_out: float
    """Share of sets that cannot be put together [-]."""
    seed: int = 0
    block_rows: int = MOST_ROWS
    """Draws of one block: each block is a sample of its own."""

    @property
    def life(self) -> float:
        """Life [years]."""
        return self.rods.scenario.life

    def mean(self, chance: Array) -> float:
        """Return the expectation of a chance given each draw, (n,) [-].

        Where most sets fail the weights are normalised: a plain weighted mean may pass 1 there.
        """
        terms = float((self.weight * chance).mean())
        return terms / float(self.weight.mean()) if self.often else terms

    @property
    def often(self) -> bool:
        """Whether more sets fail than hold."""
        return bool((self.weight * self.fails).mean() > 0.5)

    @property
    def hottest(self) -> Array:
        """Hottest temperature in service of each draw, (n,) [degC]."""
        values = self.rods.values(self.draws.u)["service.hottest"]
        return np.asarray(np.broadcast_to(values, (1, self.weight.size))[0])

    @property
    def wall_matters(self) -> bool:
        """Whether the tube wall makes up one failure in a hundred or more.

        With a back-up it always counts: behind one a joint fails by the back-up's name.
        """
        if self.rods.scenario.backup is not None:
            return True
        terms = self.weight * self.fails
        wall = self.outcome.mode_hazard.argmax(axis=0) == BOND_MODES.index(WALL)
        return bool(terms[wall].sum() >= LEAST_SHARE * terms.sum())

    @property
    def fails(self) -> Array:
        """Chance of failure over the life of each draw, (n,) [-]."""
        return -np.expm1(-self.outcome.hazard)

    @property
    def cov(self) -> float:
        """Coefficient of variation of the failure probability; 0 where that is negligible [-]."""
        terms = self.weight * self.fails
        mean = float(terms.mean())
        if mean < NEGLIGIBLE:
            return 0.0
        return float(terms.std() / np.sqrt(terms.size) / mean)


def evaluate(
    rods: RodSet,
    u: Array,
    labels: npt.NDArray[np.bool_],
    pool: Any = None,
    *,
    with_rig: bool = True,
    with_wall: bool = True,
) -> Outcome:
    """Work out draws in pieces that fit the cache, over a pool where one is given."""
    step = max(256, JOINTS_AT_ONCE // rods.layout.joints)
    starts = range(0, u.shape[0], step)

    def piece(start: int) -> Outcome:
        rows = slice(start, start + step)
        return _evaluate(rods, u[rows], labels[rows], with_rig, with_wall)

    return _joined(list(map(piece, starts) if pool is None else pool.map(piece, starts)))


def _evaluate(
    rods: RodSet, u: Array, labels: npt.NDArray[np.bool_], with_rig: bool, with_wall: bool
) -> Outcome:
    n = u.shape[0]
    values = rods.values(u, keys=rods.strength_keys | {RIG_BIAS}, labels=labels)
    strength = rods.resistance(values, labels, with_rig=with_rig, with_wall=with_wall)
    rates = rods.hazard(values, strength)
    years = np.diff(slice_edges(rods.scenario))
    ends = strength.weak.reshape(rods.layout.rods, -1, n)
    return Outcome(
        rig_pull=strength.rig_pull,
        rig_push=strength.rig_push,
        pull=strength.pull_rod,
        push=strength.push_rod,
        weak_rod=np.asarray(ends.any(axis=1)),
        hazard=accumulated(rates.total, years),
        rod_hazard=accumulated(rates.rod, years),
        mode_hazard=accumulated(rates.mode, years),
        rate=rates.total,
        rod_rate=rates.rod,
        broken=strength.broken_rod,
        steady=strength.steady,
        bias=np.broadcast_to(values[RIG_BIAS], (1, n))[0],
        assembles=strength.assembles,
        bounded=strength.bounded,
        toughness_governs=strength.toughness_governs,
        **_bonds(strength, with_rig),
    )


def _bonds(strength: Resistance, kept: bool) -> dict[str, Any]:
    """Return what a pull needs to know of each joint, or of none where nothing will be pulled."""
    none: Array = np.empty((0, strength.weak.shape[1]))
    if not kept:
        return {"rig_joint": none, "bond_pull": none, "bond_push": None}
    pulls = [bearing.pull for bearing in strength.bearings]
    pushes = [bearing.push for bearing in strength.bearings if bearing.push is not None]
    return {
        "rig_joint": strength.rig_joint,
        "bond_pull": np.stack(pulls),
        "bond_push": np.stack(pushes) if pushes else None,
    }


def _joined(parts: list[Outcome]) -> Outcome:
    fields: dict[str, Any] = {}
    for name in Outcome.__dataclass_fields__:
        arrays = [getattr(part, name) for part in parts]
        fields[name] = None if arrays[0] is None else np.concatenate(arrays, axis=-1)
    return Outcome(**fields)


def share_of_blocks(sample: Sample, joints: int) -> Sample:
    """Return the first blocks of a sample, of so many joints at most but one block at least."""
    block = sample.block_rows * sample.rods.layout.joints
    rows = max(1, joints // block) * sample.block_rows
    if rows >= sample.weight.size:
        return sample
    cut: dict[str, Any] = {}
    for name in Outcome.__dataclass_fields__:
        part = getattr(sample.outcome, name)
        cut[name] = None if part is None else part[..., :rows]
    draws = sample.draws
    return replace(
        sample,
        draws=type(draws)(
            draws.u[:rows], draws.labels[:rows], draws.component[:rows], draws.log_weight[:rows]
        ),
        weight=sample.weight[:rows],
        component=sample.component[:rows],
        outcome=Outcome(**cut),
    )


def weighted_sample(
    scenario: Scenario, seed: int, pool: Any = None, target_cov: float = TARGET_COV
) -> Sample:
    """Draw and evaluate until the failure probability is known well enough.

    Parameters
    ----------
    scenario : Scenario
    seed : int
    pool : object with ``map``, optional
    target_cov : float
        Wanted coefficient of variation of the failure probability [-].
    """
    full, single = rod_set(scenario), rod_set(scenario, rods=1)
    plan = first_plan(single, full)
    pilot = pilot_block(full, plan, seed)
    pilot_out = evaluate(full, pilot.u, pilot.labels, pool, with_rig=False)
    interest = _interest(scenario, pilot.weight * pilot_out.assembles, pilot_out)
    plan = refined_plan(plan, pilot.component, interest)
    draws: list[Draw] = []
    outcomes: list[Outcome] = []
    cov = np.inf
    while len(draws) < MOST_BLOCKS and not cov <= target_cov:
        block = main_block(full, plan, seed, len(draws))
        draws.append(block)
        outcomes.append(evaluate(full, block.u, block.labels, pool))
        cov = _cov(scenario, draws, outcomes)
    pilots = pilot.weight.size
    return joined_sample(full, plan, seed, draws, outcomes, pilots, cov <= target_cov)


def pilot_block(rods: RodSet, plan: Plan, seed: int) -> Draw:
    """Draw the pilot of a plan."""
    return _block(rods, plan, seed, PILOT, 0, _rows(rods, JOINTS_A_PILOT, PILOT_DRAWS))


def main_block(rods: RodSet, plan: Plan, seed: int, number: int) -> Draw:
    """Draw one block of the sample itself."""
    return _block(rods, plan, seed, MAIN, number, _rows(rods, JOINTS_A_BLOCK, MOST_ROWS))


def _rows(rods: RodSet, joints: int, most: int) -> int:
    """Return how many draws keep to so many joints: a power of two, at least 256."""
    return int(np.clip(2 ** int(np.log2(joints / rods.layout.joints)), 256, most))


def _block(rods: RodSet, plan: Plan, seed: int, purpose: int, block: int, rows: int) -> Draw:
    return draw(plan.proposal, rows, block_rng(seed, purpose, block), rods.label_chance)


def _interest(scenario: Scenario, weight: Array, outcome: Outcome) -> Array:
    """Return what a pilot draw brings: to failure, or without loads to the lowest strengths."""
    if scenario.loads:
        return weight * -np.expm1(-outcome.hazard)
    weakest = outcome.pull.min(axis=0)
    order = np.argsort(weakest)
    below = np.cumsum(weight[order]) / weight.size
    asked = scenario.target.probability if scenario.target else 1e-3
    last = weakest[order[min(int(np.searchsorted(below, asked)), below.size - 1)]]
    return np.asarray(weight * (weakest <= last))


def _cov(scenario: Scenario, draws: list[Draw], outcomes: list[Outcome]) -> float:
    terms = np.concatenate(
        [
            _interest(scenario, d.weight * o.assembles, o)
            for d, o in zip(draws, outcomes, strict=True)
        ]
    )
    mean = float(terms.mean())
    if mean < NEGLIGIBLE:
        return 0.0
    return float(terms.std() / np.sqrt(terms.size) / mean)


def joined_sample(
    rods: RodSet,
    plan: Plan,
    seed: int,
    draws: list[Draw],
    outcomes: list[Outcome],
    pilots: int,
    converged: bool,
) -> Sample:
    """Lay evaluated blocks end to end, and leave out sets that cannot be put together."""
    joined = type(draws[0])(
        u=np.concatenate([d.u for d in draws]),
        labels=np.concatenate([d.labels for d in draws]),
        component=np.concatenate([d.component for d in draws]),
        log_weight=np.concatenate([d.log_weight for d in draws]),
    )
    outcome = _joined(outcomes)
    weight = joined.weight
    left_out = 0.0
    if not outcome.assembles.all():
        left_out = float((weight * ~outcome.assembles).mean())
        weight = weight * outcome.assembles / max(1.0 - left_out, np.finfo(float).tiny)
    return Sample(
        rods=rods,
        plan=plan,
        draws=joined,
        weight=weight,
        component=joined.component,
        outcome=outcome,
        evaluations=pilots + weight.size,
        converged=converged,
        left_out=left_out,
        seed=seed,
        block_rows=draws[0].log_weight.size,
    )
