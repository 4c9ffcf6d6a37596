"""The section of `rank` on what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.draws import Change
from jointrisk.study.rank_plain import ratio_to_before, tied_ranks
from jointrisk.study.rank_results import NotKnown, Unknown
from jointrisk.study.rank_rows import fails_under
from jointrisk.study.rank_states import TAILS, shares, states
from jointrisk.study.results import Chance

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.reliability.interval import Bounds
    from jointrisk.scenario.types import Variable
    from jointrisk.study.rank_rows import Stage
    from jointrisk.study.rank_states import Shares
    from jointrisk.study.sample import Sample

SMALLEST = 1e-300
WIDEST = 0.5
"""Shares whose intervals are wider say nothing [-]."""


def not_known(
    sample: Sample, rows: Stage, whole: float, seed: int, pool: Any = None
) -> NotKnown | None:
    """Return what it would bring to settle each unknown; None where all is known.

    Parameters
    ----------
    sample : Sample
    rows : Stage
    whole : float
        Failure probability of the set over its life, which the ratios are of [-].
    seed : int
    pool : object with ``map``, optional
    """
    drawn = states(sample, seed, pool)
    if drawn is None:
        return None
    found = shares(drawn)
    variables = sample.rods.variables
    keys = list(found.first)
    asked = [{key: _settled(variables[key], tail)} for key in keys for tail in TAILS]
    asked.append({key: _settled(variables[key], 0.5) for key in keys})
    fails = fails_under(rows.rods, rows.pieces, asked, pool)
    chances = [_chance(ratio_to_before(rows, each), whole) for each in fails]
    told = all(entry.high - entry.low < WIDEST for entry in found.total.values())
    return NotKnown(
        *found.band,
        unknowns=_ordered(keys, variables, chances, found, told),
        shares_told=told,
        unexplained=found.unexplained,
        middle=chances[-1],
        states=drawn.asked,
        unseen=drawn.asked - drawn.logs.size,
    )


def _settled(variable: Variable, level: float) -> Change:
    """Return the change that leaves one value: the one that a share `level` lies below."""
    value = float(variable.spread.ppf(np.float64(level)))
    return Change(squeeze=0.0, shift=value - float(variable.spread.mean))


def _chance(ratio: Bounds, whole: float) -> Chance:
    return Chance(*(min(float(each) * whole, 1.0) for each in ratio[:3]))


def _ordered(
    keys: list[str],
    variables: Mapping[str, Variable],
    chances: list[Chance],
    found: Shares,
    told: bool,
) -> tuple[Unknown, ...]:
    """Return the unknowns by their share of the variance, or by what their ends do."""
    ends = {key: (chances[2 * i], chances[2 * i + 1]) for i, key in enumerate(keys)}
    strength = {key: found.total[key] if told else _swing(*ends[key]) for key in keys}
    order = sorted(keys, key=lambda key: -strength[key].estimate)
    ranks = tied_ranks(order, lambda a, b: strength[a].low <= strength[b].high)
    entries = []
    for key, rank in zip(order, ranks, strict=True):
        variable = variables[key]
        low, high = (float(variable.spread.ppf(np.float64(tail))) for tail in TAILS)
        entries.append(
            Unknown(
                variable=key,
                name=variable.label,
                unit=variable.unit,
                rank=rank,
                low_value=low,
                high_value=high,
                at_low=ends[key][0],
                at_high=ends[key][1],
                left_p05=found.left[key][0],
                left_p95=found.left[key][1],
                first=found.first[key],
                total=found.total[key],
            )
        )
    return tuple(entries)


def _swing(one: Chance, other: Chance) -> Chance:
    """Return the log of the larger over the smaller of two failure probabilities."""
    small, large = sorted((one, other), key=lambda chance: chance.estimate)
    low, middle, high = (
        float(np.log(max(top, SMALLEST) / max(bottom, SMALLEST)))
        for top, bottom in (
            (large.low, small.high),
            (large.estimate, small.estimate),
            (large.high, small.low),
        )
    )
    return Chance(middle, max(low, 0.0), high)
