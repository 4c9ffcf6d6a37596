"""Variance-based indices of the weakest margin of one rod.

By `reliability.sobol` on the plain limit state of one rod. Both ends of a rod are
alike, so what each end has a draw of is one player: a single uniform number is dealt, digit by
digit, into one for either end, which leaves both uniform and independent. The margin is
ln(strength/load), kept between 1/20 and 20: a rod that holds nothing, or meets no load, is no
farther out than that. Its variance speaks of ordinary rods, not of the rare ones that fail.

Where variables are correlated, the Shapley effects share the variance out instead
(`reliability.shapley`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from jointrisk.model.limit_state import limit_state
from jointrisk.reliability import shapley, sobol
from jointrisk.spread import Uniform
from jointrisk.study.rank_plain import tied_ranks
from jointrisk.study.rank_results import Index, Indices
from jointrisk.study.results import Chance

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.model.limit_state import LimitState
    from jointrisk.scenario.types import Scenario
    from jointrisk.spread import Spread

    Array = npt.NDArray[np.float64]
    Told = tuple["Player", Chance | None, Chance]

SAMPLES = 2**11
CLIP = float(np.log(20.0))
"""Margins ln(R/D) farther out than this count as this [-]."""
TOGETHER = 0.1
"""A total index this much above the first is worth a word [-]."""
DIGITS = 26
"""Binary digits of each of two numbers dealt from one."""
LABELS = {
    "bad batch": "whether a batch came out bad",
    "weak joint": "whether a joint came out weak",
    "latent joint": "whether damp undoes a joint",
}
"""What the labels of the limit state are called."""


@dataclass(frozen=True, slots=True)
class Player:
    """Variables of the limit state that are told as one."""

    key: str
    name: str
    names: tuple[str, ...]


def margin_indices(scenario: Scenario, seed: int, pool: Any = None) -> Indices:
    """Return the indices of the weakest margin of one rod over the life."""
    limit = limit_state(replace(scenario, rods=1))
    players = _players(scenario, limit)

    def margin(x: Mapping[str, Array]) -> Array:
        return np.clip(limit.function(x), -CLIP, CLIP)

    if limit.correlation:
        return _by_shapley(limit, margin, players, seed, pool)
    return _by_sobol(limit, margin, players, seed, pool)


def _players(scenario: Scenario, limit: LimitState) -> list[Player]:
    """Collect the copies of each key; what belongs to the rig alone is left out."""
    names: dict[str, list[str]] = {}
    for name in limit.variables:
        key = name.partition("[")[0].partition(", slice")[0]
        if not key.startswith("proof."):
            names.setdefault(key, []).append(name)
    told = {key: variable.label for key, variable in scenario.variables.items()}
    told |= {load.size.key: load.size.label for load in scenario.loads} | LABELS
    told |= {"ageing.own": "how a joint ages in its own way"}
    return [Player(key, told.get(key, key), tuple(own)) for key, own in names.items()]


def _by_sobol(
    limit: LimitState,
    margin: Callable[[Mapping[str, Array]], Array],
    players: Sequence[Player],
    seed: int,
    pool: Any,
) -> Indices:
    spreads: dict[str, Spread] = {}
    for player in players:
        pair = len(player.names) == 2
        own = {player.key: Uniform(0.0, 1.0)} if pair else limit.variables
        spreads |= {name: own[name] for name in ((player.key,) if pair else player.names)}

    def function(x: Mapping[str, Array]) -> Array:
        return margin(_undealt(limit, players, x))

    found = sobol(function, spreads, samples=SAMPLES, seed=seed, pool=pool)
    told = [
        (
            player,
            _summed(found.first, found.first_interval, player),
            _summed(found.total, found.total_interval, player),
        )
        for player in players
    ]
    return Indices(
        of="the weakest margin of one rod, ln(strength/load)",
        method="Sobol' indices",
        entries=ordered(told),
        together=_together(told),
        evaluations=found.evaluations,
        notes=tuple(found.notes),
    )


def _undealt(
    limit: LimitState, players: Sequence[Player], x: Mapping[str, Array]
) -> dict[str, Array]:
    """Return the values of every variable from those of the players, (n,) each."""
    n = next(iter(x.values())).size
    values = {
        name: np.full(n, spread.mean)
        for name, spread in limit.variables.items()
        if name.startswith("proof.")
    }
    for player in players:
        if len(player.names) != 2:
            values |= {name: x[name] for name in player.names}
            continue
        for name, part in zip(player.names, dealt(x[player.key]), strict=True):
            values[name] = limit.variables[name].from_normal(ndtri(part))
    return values


def dealt(x: Array) -> tuple[Array, Array]:
    """Deal the binary digits of numbers in (0, 1), (n,), to two numbers in (0, 1), (n,) each.

    Two independent uniform numbers from one. Odd digits go to the first, even ones to the second.
    """
    whole = np.minimum((x * 2.0 ** (2 * DIGITS)).astype(np.uint64), np.uint64(2**52 - 1))
    first, second = (_every_second(whole >> np.uint64(shift)) for shift in (1, 0))
    step = 0.5**DIGITS
    return (first + 0.5) * step, (second + 0.5) * step


def _every_second(digits: npt.NDArray[np.uint64]) -> Array:
    """Return every second binary digit, from the last one on, as whole numbers."""
    found = digits & np.uint64(0x5555555555555555)
    for shift, mask in (
        (1, 0x3333333333333333),
        (2, 0x0F0F0F0F0F0F0F0F),
        (4, 0x00FF00FF00FF00FF),
        (8, 0x0000FFFF0000FFFF),
        (16, 0x00000000FFFFFFFF),
    ):
        found = (found | (found >> np.uint64(shift))) & np.uint64(mask)
    return found.astype(np.float64)


def _summed(
    values: Mapping[str, float], intervals: Mapping[str, tuple[float, float]], player: Player
) -> Chance:
    """Return the index of a player; of several slices of the life the sum."""
    names = [player.key] if player.key in values else list(player.names)
    ends = np.sum([intervals[name] for name in names], axis=0)
    value = float(sum(values[name] for name in names))
    return Chance(value, float(ends[0]), float(ends[1]))


def _by_shapley(
    limit: LimitState,
    margin: Callable[[Mapping[str, Array]], Array],
    players: Sequence[Player],
    seed: int,
    pool: Any,
) -> Indices:
    groups = {player.key: player.names for player in players}
    rest = {name: limit.variables[name].mean for name in limit.variables}
    used = {name: limit.variables[name] for player in players for name in player.names}

    def function(x: Mapping[str, Array]) -> Array:
        n = next(iter(x.values())).size
        fixed = {name: np.full(n, mean) for name, mean in rest.items() if name not in x}
        return margin({**x, **fixed})

    tied = {pair: value for pair, value in limit.correlation.items() if set(pair) <= set(used)}
    found = shapley(function, used, correlation=tied, groups=groups, seed=seed, pool=pool)
    told = [
        (player, None, Chance(found.effect[player.key], *found.effect_interval[player.key]))
        for player in players
    ]
    return Indices(
        of="the weakest margin of one rod, ln(strength/load)",
        method="Shapley effects, since variables are correlated",
        entries=ordered(told),
        together=(),
        evaluations=found.evaluations,
        notes=tuple(found.notes),
    )


def ordered(told: Sequence[Told]) -> tuple[Index, ...]:
    """Return the entries by their total, ties marked where intervals overlap."""
    order = sorted(told, key=lambda entry: -entry[2].estimate)
    ranks = tied_ranks(order, lambda a, b: a[2].low <= b[2].high)
    return tuple(
        Index(player.key, player.name, rank, first, total)
        for (player, first, total), rank in zip(order, ranks, strict=True)
    )


def _together(told: Sequence[Told]) -> tuple[str, ...]:
    """Return the keys that act through others: total above first by a tenth and their errors."""
    return tuple(
        player.key
        for player, first, total in sorted(told, key=lambda entry: -entry[2].estimate)
        if first is not None
        and total.estimate - first.estimate > TOGETHER
        and total.low > first.high
    )
