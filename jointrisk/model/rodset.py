"""A set of rods: named variables, labels, and what they make of its resistances and loads."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import OWN, slice_edges, unread_keys
from jointrisk.model.backup import backup_force
from jointrisk.model.bond import BOND_MODES
from jointrisk.model.draws import (
    Change,
    CorrelatedGroup,
    correlate,
    correlated_groups,
    placed,
    values_of,
)
from jointrisk.model.layout import Layout, lay_out
from jointrisk.model.loads import Hazard, accumulated, failure_rate, hazard, pushes
from jointrisk.model.members import TIMED, member_resistance, modes_of
from jointrisk.model.pulled import DAMAGE_FROM, DAMAGE_MOST
from jointrisk.model.resistance import (
    Resistance,
    bond_states,
    joint_force,
    joint_wear,
    resistance,
    with_members,
)
from jointrisk.scenario.types import Variable
from jointrisk.spread import Fixed, Normal

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    from jointrisk.model.bond import Bools
    from jointrisk.model.layout import Floats
    from jointrisk.scenario.types import Scenario

RIG_BIAS = "proof.rig_bias"
KEEPS, LATENT_KEEPS = "weak_bonds.keeps", "weak_bonds.latent_keeps"
NO_CHANGES: dict[str, Change] = {}
NOT_OF_STRENGTH = frozenset(
    {
        "weak_bonds.lone_weight",
        "weak_bonds.bad_batch_weight",
        "weak_bonds.share_in_bad_batch",
        "weak_bonds.latent_weight",
        DAMAGE_FROM,
        DAMAGE_MOST,
        RIG_BIAS,
    }
)
"""What only labels and pulls have to do with."""


@dataclass(frozen=True, slots=True)
class RodSet:
    """One set of rods of a scenario, ready to be drawn.

    A draw is a row of independent normal scores (`layout.dimension` of them) and a row of
    labels (`layout.label_count`).
    """

    scenario: Scenario
    variables: Mapping[str, Variable]
    layout: Layout
    groups: tuple[CorrelatedGroup, ...]
    push: bool
    """Whether any load can push."""

    def values(
        self,
        u: Floats,
        changes: Mapping[str, Change] = NO_CHANGES,
        keys: Collection[str] | None = None,
        labels: Bools | None = None,
    ) -> dict[str, Floats]:
        """Return the drawn values by key, (copies, n), in the units of the house.

        Parameters
        ----------
        u : ndarray, (n, dimension) [-]
            Independent normal scores.
        changes : mapping of str to Change
        keys : collection of str, optional
            Those asked for, by default all; `strength_keys` will do for `resistance` and `hazard`.
        labels : ndarray of bool, (n, label_count), optional
            Those that `resistance` will be asked with. What a weak joint keeps is then worked
            out for weak joints alone, and is NaN for the others.
        """
        scores = correlate(u, self.layout, self.groups)
        variables = self.variables
        if keys is not None:
            variables = {key: variable for key, variable in variables.items() if key in keys}
        read = None
        if labels is not None:
            read = {KEEPS: self.weak_joints(labels), LATENT_KEEPS: self.latent_joints(labels)}
        return values_of(scores, variables, self.layout, changes, read)

    @property
    def strength_keys(self) -> frozenset[str]:
        """Keys of the variables that `resistance` and `hazard` read."""
        return frozenset(self.variables) - NOT_OF_STRENGTH

    def label_chance(
        self, label: int, u: Floats, labels: Bools, changes: Mapping[str, Change] = NO_CHANGES
    ) -> Floats:
        """Return the chance that `label` is true given scores and earlier labels, (n,) [-]."""
        return self.label_chances(u, changes)(label, labels)

    def label_chances(
        self, u: Floats, changes: Mapping[str, Change] = NO_CHANGES
    ) -> Callable[[int, Bools], Floats]:
        """Return the chance of any label as a function of it and of earlier labels.

        What labels share is worked out once: cheaper than `label_chance` label by label.
        """

        @cache
        def weight(name: str, copy: int = 0) -> Floats:
            return self._weight(f"weak_bonds.{name}", u, copy, changes)

        @cache
        def in_bad_batch(batch: int) -> Floats:
            return np.maximum(weight("share_in_bad_batch", batch), weight("lone_weight"))

        def chance(label: int, labels: Bools) -> Floats:
            n, bad = u.shape[0], self.layout.bad_batch_labels
            if label < bad.stop:
                return np.broadcast_to(weight("bad_batch_weight"), (n,))
            if label >= self.layout.weak_joint_labels.stop:
                return np.broadcast_to(weight("latent_weight"), (n,))
            lone = weight("lone_weight")
            if bad.stop == 0:
                return np.broadcast_to(lone, (n,))
            joint = label - self.layout.weak_joint_labels.start
            batch = int(self.layout.batch_of_joint[joint])
            return np.where(labels[:, batch], in_bad_batch(batch), lone)

        return chance

    def _weight(self, key: str, u: Floats, copy: int, changes: Mapping[str, Change]) -> Floats:
        variable = self.variables[key]
        columns = self.layout.columns.get(key)
        value: Floats
        if columns is None:
            value = np.full(1, variable.spread.mean)
        else:
            column = columns.start + min(copy, columns.stop - columns.start - 1)
            tied = tuple(group for group in self.groups if key in group.keys)
            scores = correlate(u, self.layout, tied)[:, column]
            value = variable.spread.from_normal(np.ascontiguousarray(scores))
        if key in changes:
            value = changes[key].apply(value, variable.spread.mean)
        return np.asarray(np.clip(value, 0.0, 1.0))

    def latent_joints(self, labels: Bools) -> Bools:
        """Return which joints damp undoes, (joints, n), from labels (n, L)."""
        where = self.layout.latent_joint_labels
        if where.stop == where.start:
            return np.zeros((self.layout.joints, labels.shape[0]), dtype=bool)
        return np.ascontiguousarray(labels[:, where].T)

    def weak_joints(self, labels: Bools) -> Bools:
        """Return which joints are weak, (joints, n), from labels (n, L)."""
        where = self.layout.weak_joint_labels
        if where.stop == where.start:
            return np.zeros((self.layout.joints, labels.shape[0]), dtype=bool)
        return np.ascontiguousarray(labels[:, where].T)

    def resistance(
        self,
        values: Mapping[str, Floats],
        labels: Bools,
        *,
        with_rig: bool = True,
        with_wall: bool = True,
    ) -> Resistance:
        """Return the resistances of every rod for drawn values and labels (n, L)."""
        return resistance(
            self.scenario,
            self.layout,
            placed(values, self.layout),
            self.weak_joints(labels),
            self.latent_joints(labels),
            with_push=self.push,
            with_rig=with_rig,
            with_wall=with_wall,
        )

    def bond_states(self) -> list[dict[str, bool]]:
        """Return the states of service that `joint_force` can tell apart, as its arguments."""
        return bond_states(self.scenario, with_push=self.push)

    def joint_force(self, values: Mapping[str, Floats], labels: Bools, **state: bool) -> Floats:
        """Return what one limit holds in one state of service, each joint [N], (joints, n)."""
        return joint_force(
            self.scenario,
            self.layout,
            placed(values, self.layout),
            self.weak_joints(labels),
            self.latent_joints(labels),
            **state,
        )

    def joint_wear(self, values: Mapping[str, Floats], labels: Bools) -> dict[str, Floats]:
        """Return how far each joint is from giving way in time, by mode, (joints, n) [-]."""
        return joint_wear(
            self.scenario,
            self.layout,
            placed(values, self.layout),
            self.weak_joints(labels),
            self.latent_joints(labels),
            with_push=self.push,
        )

    def with_members(self, strength: Resistance, values: Mapping[str, Floats]) -> Resistance:
        """Return `strength` with its members worked out anew, its bonds as they are."""
        return with_members(self.scenario, self.layout, strength, placed(values, self.layout))

    def backup_force(
        self, values: Mapping[str, Floats], n: int
    ) -> tuple[Floats, Floats | None] | None:
        """Return what each joint's back-up holds in a pull and in a push [N], (joints, n)."""
        own = placed(values, self.layout)
        pull, push = (
            backup_force(self.scenario, self.layout, own, n, push=push) for push in (False, True)
        )
        return None if pull is None else (pull, push if self.push else None)

    def member_resistance(
        self, values: Mapping[str, Floats], n: int, *, push: bool
    ) -> dict[str, Floats]:
        """Return the resistance of every member in one direction [N], (rods, n), by mode name."""
        return member_resistance(
            self.scenario, self.layout, placed(values, self.layout), n, push=push
        )

    def hazard(
        self,
        values: Mapping[str, Floats],
        strength: Resistance,
        changes: Mapping[str, Change] = NO_CHANGES,
    ) -> Hazard:
        """Return the yearly failure rates of service, slice by slice of the life."""
        slices = [(service.pull, service.push) for service in strength.slices]
        return hazard(self.scenario, values, slices, self._gone, changes)

    @property
    def _gone(self) -> list[int]:
        """Modes that fail without a load where their resistance is 0."""
        names = modes_of(self.scenario)
        gone = [names.index(mode) for mode in TIMED if mode in names]
        if self.scenario.cycles:  # the first of them finds a bond that holds nothing
            gone += range(len(BOND_MODES))
        return gone

    def failure_rate(
        self,
        values: Mapping[str, Floats],
        strength: Resistance,
        changes: Mapping[str, Change] = NO_CHANGES,
    ) -> Floats:
        """Return the yearly failure rate of the set in each slice, (slices, n) [1/years].

        What `hazard` calls `total`, without asking what fails.
        """
        slices = [(service.pull, service.push) for service in strength.slices]
        return failure_rate(self.scenario, values, slices, self._gone, changes)

    def failure_chance(
        self,
        values: Mapping[str, Floats],
        strength: Resistance,
        changes: Mapping[str, Change] = NO_CHANGES,
    ) -> Floats:
        """Return the chance that any rod fails over the life, given each draw, (n,) [-]."""
        years = np.diff(slice_edges(self.scenario))
        return -np.expm1(-accumulated(self.failure_rate(values, strength, changes), years))


def rod_set(scenario: Scenario, rods: int | None = None) -> RodSet:
    """Build the set of a scenario.

    Parameters
    ----------
    scenario : Scenario
    rods : int, optional
        Number of rods [-]; by default the scenario's.
    """
    variables = {
        key: variable for key, variable in scenario.variables.items() if variable.kind is not None
    }
    for key in unread_keys(scenario):
        variables.pop(key, None)
    for load in scenario.loads:
        if load.lasting:
            variables[load.size.key] = load.size
        else:
            variables.pop(load.size.key, None)
    variables[RIG_BIAS] = _rig_bias(scenario)
    if scenario.ages:
        variables[OWN] = _own_ageing()
    layout = lay_out(scenario, variables, scenario.rods if rods is None else rods)
    groups = correlated_groups(scenario, variables, layout)
    return RodSet(scenario, variables, layout, groups, pushes(scenario))


def _own_ageing() -> Variable:
    return Variable(
        key=OWN,
        label="how a joint ages in its own way",
        spread=Normal(0.0, 1.0),
        unit="-",
        scope="joint",
        kind="scatter",
        origin="default",
        source="",
        confidence="",
    )


def _rig_bias(scenario: Scenario) -> Variable:
    sd = scenario.proof.rig_bias_sd
    return Variable(
        key=RIG_BIAS,
        label="bias of the rig's gauge",
        spread=Normal(0.0, sd) if sd > 0.0 else Fixed(0.0),
        unit="-",
        scope="all",
        kind="scatter",
        origin="scenario",
        source="",
        confidence="",
    )
