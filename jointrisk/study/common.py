"""Several scenarios on the same random numbers.

What differs between two options is known far better than either of them when both are worked
out from the same draws. Options may differ in what they are made of, so their draws are matched
by what each stands for: "the overlap of joint 3", "the batch factor of batch 0". One that only
some options have is drawn too and left aside by the others.

The draws favour what makes any of the options fail: each brings the points of its own search,
and the weights are against the whole mixture. A share of weak bonds that differs between options
changes weights, not draws.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import InputError
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.mixture import Draw, Proposal, draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.proposal import Plan, first_plan, refined_plan
from jointrisk.study.sample import (
    COMMON,
    PILOT,
    Sample,
    evaluate,
    joined_sample,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.sample import Outcome

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]
    Places = npt.NDArray[np.intp]
    Name = tuple[str, str, int]

ROWS = 2**12
"""Draws of one block [-]."""
PILOT_ROWS = 2**11
JOINTS_A_BLOCK = 2**17
"""Joints of all options worked out for one block, about: fewer draws where this is passed."""
FEWEST_ROWS = 2**9
MOST_JOINTS = 2**21
"""Joints of all options worked out at most."""
TARGET_COV = 0.04
NEAR = 1.2
"""Points with the same labels nearer than this serve as one [-]."""
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class _Union:
    """Columns and labels of all options, each thing that is drawn once."""

    columns: Mapping[Name, int]
    labels: Mapping[Name, int]

    def columns_of(self, rods: RodSet) -> Places:
        """Return the place of each column of one option, (d,)."""
        return np.array([self.columns[name] for name in column_names(rods)], dtype=np.intp)

    def labels_of(self, rods: RodSet) -> Places:
        """Return the place of each label of one option, (L,)."""
        return np.array([self.labels[name] for name in _label_names(rods)], dtype=np.intp)


@dataclass(frozen=True, slots=True)
class Common:
    """Draws that serve any option whose variables are among those they were made for."""

    union: _Union
    plan: Plan
    """Over the union."""
    blocks: tuple[Draw, ...]
    chances: tuple[RodSet, ...]
    """Options whose chances of labels, averaged, those of the draws are."""
    seed: int
    pilots: int
    converged: bool
    """Whether the failure probability of every option it was made for is known well enough."""

    def sample(self, scenario: Scenario, pool: Any = None, *, with_rig: bool = True) -> Sample:
        """Work out one option on the draws.

        Parameters
        ----------
        scenario : Scenario
        pool : object with ``map``, optional
        with_rig : bool
            False leaves out what only a pull needs.

        Raises
        ------
        InputError
            If it has a variable that was not drawn.
        """
        rods = rod_set(scenario)
        new = [name for name in column_names(rods) if name not in self.union.columns]
        new += [name for name in _label_names(rods) if name not in self.union.labels]
        if new:
            raise InputError(f"{new[0][0]} is not among what the draws were made for")
        draws = [self._own(rods, block) for block in self.blocks]
        return self.of(rods, draws, [_worked_out(rods, own, pool, with_rig) for own in draws])

    def of(self, rods: RodSet, draws: list[Draw], outcomes: list[Outcome]) -> Sample:
        """Return the sample of an option whose draws are worked out."""
        plan = Plan(_projected(self.plan.proposal, self.union, rods), self.plan.pattern)
        sample = joined_sample(
            rods, plan, self.seed, draws, outcomes, self.pilots, converged=self.converged
        )
        return replace(sample, converged=sample.cov <= TARGET_COV)

    def _own(self, rods: RodSet, block: Draw) -> Draw:
        return _own(self.union, self.chances, rods, block)


def common_draws(
    scenarios: Sequence[Scenario],
    seed: int,
    pool: Any = None,
    *,
    searched: Sequence[int] | None = None,
    with_rig: bool = True,
    target_cov: float = TARGET_COV,
    most_joints: int = MOST_JOINTS,
) -> tuple[Common, list[Sample]]:
    """Draw for several scenarios together until each one's failure probability is known.

    Parameters
    ----------
    scenarios : sequence of Scenario
        One or more, each with a load.
    seed : int
    pool : object with ``map``, optional
    searched : sequence of int, optional
        Which of them bring points of their own search; by default all. For a quantity that
        moves over a range a few suffice.
    with_rig : bool
        False leaves out what only a pull needs.
    target_cov : float [-]
        Wanted coefficient of variation of each failure probability.
    most_joints : int
        Joints of all options that are worked out at most.

    Returns
    -------
    Common, list of Sample
        The samples in the order of `scenarios`, rows alike: row k of each is the same draw.
    """
    sets = [rod_set(scenario) for scenario in scenarios]
    union = _union(sets)
    chances = _different_chances(sets)
    picked = range(len(sets)) if searched is None else searched
    plan = _laid(union, [sets[index] for index in picked])
    pilot = _draw(union, chances, plan, PILOT_ROWS, block_rng(seed, PILOT, 2))
    terms = np.zeros(pilot.log_weight.size)
    for rods in sets:
        own = _own(union, chances, rods, pilot)
        outcome = _worked_out(rods, own, pool, with_rig=False)
        brought = own.weight * outcome.assembles * -np.expm1(-outcome.hazard)
        terms += brought / max(float(brought.sum()), TINY)
    plan = refined_plan(plan, pilot.component, terms)
    each = sum(rods.layout.joints for rods in sets)
    rows = int(np.clip(2 ** int(np.log2(JOINTS_A_BLOCK / each)), FEWEST_ROWS, ROWS))
    common = Common(union, plan, (), chances, seed, pilot.log_weight.size, converged=False)
    draws: list[list[Draw]] = [[] for _ in sets]
    outcomes: list[list[Outcome]] = [[] for _ in sets]
    samples: list[Sample] = []
    short = np.inf
    while not short <= target_cov and len(common.blocks) * rows * each < most_joints:
        rng = block_rng(seed, COMMON, len(common.blocks))
        block = _draw(union, chances, plan, rows, rng)
        common = replace(common, blocks=(*common.blocks, block))
        for number, rods in enumerate(sets):
            draws[number].append(_own(union, chances, rods, block))
            outcomes[number].append(_worked_out(rods, draws[number][-1], pool, with_rig))
        parts = zip(sets, draws, outcomes, strict=True)
        samples = [common.of(rods, own, done) for rods, own, done in parts]
        short = max(sample.cov for sample in samples)
    return replace(common, converged=bool(short <= target_cov)), samples


def _worked_out(rods: RodSet, own: Draw, pool: Any, with_rig: bool) -> Outcome:
    return evaluate(rods, own.u, own.labels, pool, with_rig=with_rig)


def column_names(rods: RodSet) -> list[Name]:
    """Return what each column of an option stands for, in its order."""
    layout = rods.layout
    first_of = {second: first for first, second in layout.second.items()}
    names: list[Name] = []
    for key, columns in layout.columns.items():  # in the order of the columns
        scope = layout.scopes[key]
        for copy in range(columns.stop - columns.start):
            if scope == "first end":
                names.append((key, "joint", 2 * copy))
            elif scope == "second end":
                names.append((first_of.get(key, key), "joint", 2 * copy + 1))
            else:
                names.append((key, scope, copy))
    return names


def _label_names(rods: RodSet) -> list[Name]:
    layout = rods.layout
    kinds = (
        ("bad batch", layout.bad_batch_labels),
        ("weak joint", layout.weak_joint_labels),
        ("latent joint", layout.latent_joint_labels),
    )
    return [(kind, "label", i) for kind, own in kinds for i in range(own.stop - own.start)]


def _union(sets: Sequence[RodSet]) -> _Union:
    """Collect what any option draws; labels by kind, since a later one asks the earlier."""
    columns: dict[Name, int] = {}
    for rods in sets:
        for name in column_names(rods):
            columns.setdefault(name, len(columns))
    named = dict.fromkeys(name for rods in sets for name in _label_names(rods))
    order = ("bad batch", "weak joint", "latent joint")
    ranked = sorted(named, key=lambda name: (order.index(name[0]), name[2]))
    return _Union(columns, {name: place for place, name in enumerate(ranked)})


def _different_chances(sets: Sequence[RodSet]) -> tuple[RodSet, ...]:
    """Return one option of each kind whose chances of labels differ."""
    kept: dict[str, RodSet] = {}
    for rods in sets:
        weights = {key: v for key, v in rods.variables.items() if key.startswith("weak_bonds.")}
        names = [name for name in column_names(rods) if name[0] in weights]
        told = (weights, names, _label_names(rods), [(g.keys, g.factor) for g in rods.groups])
        kept.setdefault(repr(told), rods)
    return tuple(kept.values())


def _draw(
    union: _Union, chances: Sequence[RodSet], plan: Plan, rows: int, rng: np.random.Generator
) -> Draw:
    names = list(union.labels)

    def chance(label: int, u: Array, labels: Bools) -> Array:
        return _chance(union, chances, names[label], u, labels)

    return draw(plan.proposal, rows, rng, chance)


def _chance(union: _Union, chances: Sequence[RodSet], name: Name, u: Array, labels: Bools) -> Array:
    """Return the chance of a label, averaged over the options that have it, (n,) [-]."""
    found = []
    for rods in chances:
        own = _label_names(rods)
        if name not in own:
            continue
        before = union.labels_of(rods)[: own.index(name)]
        columns = union.columns_of(rods)
        chance = rods.label_chance(own.index(name), u[:, columns], labels[:, before])
        found.append(np.broadcast_to(chance, (u.shape[0],)))
    return np.asarray(np.mean(found, axis=0))


def _own(union: _Union, chances: Sequence[RodSet], rods: RodSet, block: Draw) -> Draw:
    """Return the draws of one option, weighted by its own chances of the labels."""
    columns, places = union.columns_of(rods), union.labels_of(rods)
    u, labels = np.ascontiguousarray(block.u[:, columns]), block.labels[:, places]
    log_weight = block.log_weight
    if len(chances) > 1:
        log_weight = log_weight.copy()
        with np.errstate(divide="ignore", invalid="ignore"):  # log 0: cannot happen here
            for label, name in enumerate(_label_names(rods)):
                drawn = _chance(union, chances, name, block.u, block.labels)
                own = rods.label_chance(label, u, labels[:, :label])
                held = labels[:, label]
                ratio = np.where(held, own / np.maximum(drawn, TINY), (1.0 - own) / (1.0 - drawn))
                log_weight += np.log(ratio)
    return Draw(u, labels, block.component, log_weight)


def _laid(union: _Union, sets: Sequence[RodSet]) -> Plan:
    """Lay the searches of several options into one plan, points near each other once."""
    directions = [np.zeros(len(union.columns))]
    forcings = [np.full(len(union.labels), np.nan)]
    pattern = [0]
    for rods in sets:
        plan = first_plan(rod_set(rods.scenario, rods=1), rods)
        columns, places = union.columns_of(rods), union.labels_of(rods)
        start = max(pattern)
        for number in range(1, int(plan.pattern.max()) + 1):
            inside = np.flatnonzero(plan.pattern == number)
            laid = np.zeros((inside.size, len(union.columns)))
            laid[:, columns] = plan.proposal.directions[inside]
            tied = np.full((inside.size, len(union.labels)), np.nan)
            tied[:, places] = plan.proposal.forced[inside]
            # of a larger set the joints beyond those of a smaller one are new
            new = [i for i in range(inside.size) if _is_new(laid[i], tied[i], directions, forcings)]
            start += bool(new)
            directions += [laid[i] for i in new]
            forcings += [tied[i] for i in new]
            pattern += [start] * len(new)
    numbers = np.array(pattern, dtype=np.intp)
    shares = np.bincount(numbers)[numbers].astype(float)
    shares = 1.0 / shares
    shares *= 0.8 / max(shares[1:].sum(), TINY)
    shares[0] = 1.0 - shares[1:].sum()
    return Plan(Proposal(shares, np.stack(directions), np.stack(forcings)), numbers)


def _is_new(point: Array, forced: Array, points: list[Array], forcings: list[Array]) -> bool:
    """Tell whether no point with the same labels lies near."""
    for other, labels in zip(points[1:], forcings[1:], strict=True):
        alike = np.array_equal(forced, labels, equal_nan=True)
        if alike and np.linalg.norm(point - other) < NEAR:
            return False
    return True


def _projected(proposal: Proposal, union: _Union, rods: RodSet) -> Proposal:
    """Return a proposal over the variables of one option only."""
    columns, places = union.columns_of(rods), union.labels_of(rods)
    return Proposal(proposal.shares, proposal.directions[:, columns], proposal.forced[:, places])
