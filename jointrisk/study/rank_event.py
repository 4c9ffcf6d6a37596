"""Total indices of the failure itself: what the event hangs on, rather than the margin.

A variable is drawn anew in every row picked from the main sample, and its total index is the
chance that this turns a failure into none,

    T = P(fails as it is, holds with the variable anew)/(p (1 - p)),

under the same loads both times (the total index of an indicator; Wei, Lu & Hao 2012, from
memory). Loads that come anew all the time are not drawn but integrated exactly: with h and h'
the failure rates that one load gives a row before and after, both times hold with the chance
exp(-sum over loads of max(h, h')), since a load that both bear is one that the weaker bears.
The index of the loads themselves is E[f (1 - f)]/(p (1 - p)), f the failure chance of a row.

A label (a joint is weak, a batch is bad) is a uniform number below its chance; it stays where
its chance is drawn anew, and is drawn anew where the label is asked about. Correlated variables
are drawn anew together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated
from jointrisk.reliability.interval import ratio_interval
from jointrisk.reliability.streams import block_rng
from jointrisk.study.rank_indices import LABELS, Player, ordered
from jointrisk.study.rank_results import Indices
from jointrisk.study.results import Chance
from jointrisk.study.sample import RANKED

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from jointrisk.model.layout import Layout
    from jointrisk.model.resistance import Resistance
    from jointrisk.model.rodset import RodSet
    from jointrisk.study.influence import Rows
    from jointrisk.study.rank_rows import Stage

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

SMALLEST = 1e-12
LOADS = "loads"
"""Key of all loads that come anew, together."""


@dataclass(frozen=True, slots=True)
class _Rates:
    """Failure rates added up over the life, by load: each of the set, or of every rod."""

    by_load: tuple[Array, ...]
    """(1, n) of a load that all rods meet alike, else (rods, n) [-]."""
    assembles: Bools

    @property
    def holds(self) -> Array:
        """Chance to hold, (n,) [-]."""
        return np.asarray(np.exp(-sum(rate.sum(axis=0) for rate in self.by_load)))


def event_indices(rows: Stage, whole: float, seed: int, pool: Any = None) -> Indices:
    """Return the total index of every variable for the failure of the set over its life.

    Parameters
    ----------
    rows : Stage
    whole : float
        Failure probability of the set over its life [-].
    seed : int
    pool : object with ``map``, optional
    """
    rods = rows.rods
    players = _players(rods)
    tasks = [(player, number) for player in players for number in range(len(rows.pieces))]
    before = [_rates(rods, piece.values, piece.strength) for piece in rows.pieces]

    def turned(task: tuple[Player, int]) -> Array:
        player, number = task
        place = players.index(player)
        rng = block_rng(seed, RANKED, 1000 * (place + 1) + number)
        return _turned(rods, rows.pieces[number], before[number], player, rng)

    found = list(map(turned, tasks) if pool is None else pool.map(turned, tasks))
    size = len(rows.pieces)
    fails = np.concatenate([1.0 - each.holds for each in before])
    told = [
        (
            player,
            None,
            _index(rows, np.concatenate(found[place * size : (place + 1) * size]), whole),
        )
        for place, player in enumerate(players)
    ]
    variable = [load.size.label for load in rods.scenario.loads if not load.lasting]
    if variable:
        name = variable[0] if len(variable) == 1 else "the loads that come anew, together"
        told.append((Player(LOADS, name, ()), None, _index(rows, fails * (1.0 - fails), whole)))
    return Indices(
        of="the failure of any rod over the life",
        method="total index of the event, from the draws of this study",
        entries=ordered(told),
        together=(),
        evaluations=len(players) * fails.size,
        notes=(),
    )


def _index(rows: Stage, terms: Array, whole: float) -> Chance:
    """Return the mean of terms over p (1 - p), with its interval."""
    ratio = ratio_interval(rows.weight * np.maximum(terms, 0.0), rows.weight * rows.before.whole)
    ends = np.clip(np.array(ratio[:3]) / max(1.0 - whole, SMALLEST), 0.0, 1.0)
    return Chance(*(float(end) for end in ends))


def _players(rods: RodSet) -> list[Player]:
    """Return what is drawn anew together: a key, correlated keys, or one kind of label."""
    tied = [group.keys for group in rods.groups]
    alone = [
        (key,)
        for key in rods.layout.columns
        if not any(key in keys for keys in tied) and not key.startswith("proof.")
    ]
    found = [
        Player(", ".join(keys), " and ".join(rods.variables[key].label for key in keys), keys)
        for keys in alone + tied
    ]
    kinds = _labels(rods.layout)
    return found + [Player(kind, LABELS[kind], ()) for kind in kinds]


def _labels(layout: Layout) -> dict[str, slice]:
    kinds = {
        "bad batch": layout.bad_batch_labels,
        "weak joint": layout.weak_joint_labels,
        "latent joint": layout.latent_joint_labels,
    }
    return {kind: own for kind, own in kinds.items() if own.stop > own.start}


def _turned(
    rods: RodSet, rows: Rows, before: _Rates, player: Player, rng: np.random.Generator
) -> Array:
    """Return the chance that a row fails as it is and holds with the player anew, (n,) [-]."""
    u = rows.u.copy()
    for key in player.names:
        columns = rods.layout.columns[key]
        u[:, columns] = rng.standard_normal((u.shape[0], columns.stop - columns.start))
    anew = _labels(rods.layout).get(player.key, slice(0, 0))
    labels = _labels_anew(rods, rows, u, anew, rng)
    values = rods.values(u)
    strength = rods.resistance(values, labels, with_rig=False, with_wall=rows.wall)
    after = _rates(rods, values, strength)
    pairs = zip(before.by_load, after.by_load, strict=True)
    both = np.exp(-sum(np.maximum(one, other).sum(axis=0) for one, other in pairs))
    turned = np.where(after.assembles, after.holds - both, 0.0)
    return np.asarray(turned * before.assembles)


def _labels_anew(
    rods: RodSet, rows: Rows, u: Array, anew: slice, rng: np.random.Generator
) -> Bools:
    """Return the labels of changed scores (n, d): the same uniform number against its chance."""
    uniform = rng.random(rows.labels.shape)
    fresh = rng.random(rows.labels.shape)
    labels = np.zeros_like(rows.labels)
    for label in range(rods.layout.label_count):
        held = rows.labels[:, label]
        was = rods.label_chance(label, rows.u, rows.labels)
        drawn = np.where(held, uniform[:, label] * was, was + uniform[:, label] * (1.0 - was))
        if anew.start <= label < anew.stop:
            drawn = fresh[:, label]
        labels[:, label] = drawn < rods.label_chance(label, u, labels)
    return labels


def _rates(rods: RodSet, values: Mapping[str, Array], strength: Resistance) -> _Rates:
    """Return the failure rates by load; where no load comes anew, of what is there all the time."""
    lasting = tuple(load for load in rods.scenario.loads if load.lasting)
    comes = [load for load in rods.scenario.loads if not load.lasting]
    years = np.diff(slice_edges(rods.scenario))
    found = []
    for loads in [(*lasting, load) for load in comes] or [lasting]:
        one = replace(rods, scenario=replace(rods.scenario, loads=loads))
        hazard = one.hazard(values, strength)
        alike = len(loads) == len(lasting) or loads[-1].scope == "all"
        total = accumulated(hazard.total[:, None] if alike else hazard.rod, years)
        found.append(total)
    return _Rates(tuple(found), strength.assembles)
