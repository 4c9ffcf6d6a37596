"""From normal scores to physical values of every variable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.spread.copula import GaussianCopula

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.bond import Bools
    from jointrisk.model.layout import Floats, Layout
    from jointrisk.scenario.types import Scenario, Variable


ROD_TABLES = ("tube.", "rods.")
NOT_PLACED = ("load", "proof", "part")
AT_JOINT = ("tube.bore", "tube.outer_diameter")
"""Sizes of the tube that each of its ends has a draw of."""


@dataclass(frozen=True, slots=True)
class Change:
    """A changed spread: drawn to its mean by `squeeze`, then moved by `shift`.

    A `squeeze` of 0.5 halves the standard deviation and keeps the mean and the family.
    """

    squeeze: float = 1.0
    shift: float = 0.0

    def apply(self, values: Floats, mean: float) -> Floats:
        """Return the values under the changed spread, same shape and unit."""
        return mean + (values - mean) * self.squeeze + self.shift


@dataclass(frozen=True, slots=True)
class CorrelatedGroup:
    """Variables of one scope that are correlated with each other."""

    keys: tuple[str, ...]
    factor: Floats
    """Lower Cholesky factor of the correlation of the normal scores, (k, k)."""


def correlated_groups(
    scenario: Scenario, variables: Mapping[str, Variable], layout: Layout
) -> tuple[CorrelatedGroup, ...]:
    """Collect the correlated variables into groups that can be drawn apart."""
    pairs = {
        pair: value
        for pair, value in scenario.correlations.items()
        if pair[0] in layout.columns and pair[1] in layout.columns and value != 0.0
    }
    groups: list[set[str]] = []
    for first, second in pairs:
        touching = [group for group in groups if first in group or second in group]
        merged = {first, second}.union(*touching) if touching else {first, second}
        groups = [group for group in groups if group not in touching] + [merged]
    result = []
    for group in groups:
        keys = tuple(key for key in layout.columns if key in group)
        inside = {pair: value for pair, value in pairs.items() if pair[0] in group}
        copula = GaussianCopula(keys, inside, [variables[key].spread for key in keys], of="values")
        result.append(CorrelatedGroup(keys, np.asarray(copula.factor)))
    return tuple(result)


def correlate(scores: Floats, layout: Layout, groups: tuple[CorrelatedGroup, ...]) -> Floats:
    """Return scores (n, d) [-] in which the groups are correlated."""
    if not groups:
        return scores
    scores = scores.copy()
    for group in groups:
        independent = np.stack([scores[:, layout.columns[key]] for key in group.keys])
        mixed = np.einsum("ij,jnc->inc", group.factor, independent)
        for position, key in enumerate(group.keys):
            scores[:, layout.columns[key]] = mixed[position]
    return scores


def placed(values: Mapping[str, Floats], layout: Layout) -> dict[str, Floats]:
    """Return the values laid over what they belong to: rods for tube and rod, joints for the rest.

    Parameters
    ----------
    values : mapping of str to ndarray, (copies, n)
    layout : Layout

    Returns
    -------
    dict of str to ndarray, (1, n), (rods, n) or (joints, n)
        Of the two ends' own values one array, under the key of the first.
    """
    found = dict(values)
    for key in layout.scopes:
        if key in values and key.partition(".")[0] not in NOT_PLACED:
            on_rod = key.startswith(ROD_TABLES) and key not in AT_JOINT
            found[key] = laid(values, key, layout, on_rod=on_rod)
    for first, second in layout.second.items():
        ends = [_of_end(values, key, layout) for key in (first, second)]
        n = max(end.shape[1] for end in ends)
        shape = (layout.rods, n)
        both = np.stack([np.broadcast_to(end, shape) for end in ends], axis=1)
        found[first] = both.reshape(layout.joints, n)
    return found


def laid(values: Mapping[str, Floats], key: str, layout: Layout, *, on_rod: bool) -> Floats:
    """Return the values of one key for each rod, or else for each joint, (1, n) where all share."""
    scope = layout.scopes.get(key)
    if scope == "batch":
        return values[key][np.asarray(layout.batch_of_rod) if on_rod else layout.batch_of_joint]
    if scope == "rod" and not on_rod:
        return values[key][layout.rod_of_joint]
    return values[key]


def _of_end(values: Mapping[str, Floats], key: str, layout: Layout) -> Floats:
    """Return the values of one end of each rod, (rods, n) or (1, n)."""
    batch = np.asarray(layout.batch_of_rod)
    return values[key][batch] if layout.scopes.get(key) == "batch" else values[key]


def values_of(
    scores: Floats,
    variables: Mapping[str, Variable],
    layout: Layout,
    changes: Mapping[str, Change],
    read: Mapping[str, Bools] | None = None,
) -> dict[str, Floats]:
    """Return each variable's values, (copies, n), or (1, 1) for a constant.

    Parameters
    ----------
    scores : ndarray, (n, d) [-]
        Correlated normal scores.
    variables : mapping of str to Variable
    layout : Layout
    changes : mapping of str to Change
        Changed spreads by key; others stay.
    read : mapping of str to ndarray of bool, (copies, n), optional
        Where a variable will be read at all; elsewhere it is NaN.
    """
    read = read or {}
    values: dict[str, Floats] = {}
    drawn: Floats
    for key, variable in variables.items():
        columns = layout.columns.get(key)
        if columns is None:
            drawn = np.full((1, 1), variable.spread.mean)
        else:
            own = np.ascontiguousarray(scores[:, columns].T)
            if key in read and read[key].shape == own.shape:
                drawn = np.full(own.shape, np.nan)
                drawn[read[key]] = variable.spread.from_normal(own[read[key]])
            else:
                drawn = variable.spread.from_normal(own)
        if key in changes:
            drawn = changes[key].apply(drawn, variable.spread.mean)
        values[key] = drawn
    return values
