"""Failure over two quantities at once, on common draws and at bounded cost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import InputError
from jointrisk.study.common import common_draws
from jointrisk.study.results import Chance
from jointrisk.study.sweep_points import NOT_KNOWN, as_chance, buildable, judged_bounds, meets
from jointrisk.study.sweep_results import SweepMap

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.sweep_results import Quantity

    Rows = tuple[tuple[Chance, ...], ...]

MOST_CELLS = 225
JOINTS = 3 * 2**18
"""Joints worked out at most for all cells, about."""
TARGET_COV = 0.06
"""Wanted coefficient of variation of failure at the cells that the draws are made for [-]."""
ALONG = 3
"""Values of each quantity spread over its range that the draws are made for [-]."""
LEAST = 1e-300


def map_of(
    scenario: Scenario,
    move: Callable[[float, float], Scenario],
    values: Sequence[float],
    second: Quantity,
    second_values: Sequence[float],
    seed: int,
    pool: Any = None,
) -> SweepMap:
    """Return failure on a grid of two quantities.

    Parameters
    ----------
    scenario : Scenario
        As written.
    move : callable
        Values of the first and of the second quantity to the scenario with both there.
    values, second_values : sequence of float
    second : Quantity
    seed : int
    pool : object with ``map``, optional

    Raises
    ------
    InputError
        If there are more than 225 cells.
    """
    cells = len(values) * len(second_values)
    if cells > MOST_CELLS:
        raise InputError(
            f"a map has at most {MOST_CELLS} cells, such as 15 by 15 "
            f"(got {len(values)} by {len(second_values)})"
        )
    ends = [(x, y) for x in (values[0], values[-1]) for y in (second_values[0], second_values[-1])]
    inside = [(x, y) for x in _spread(values) for y in _spread(second_values)]
    anchors = [scenario, *(move(x, y) for x, y in dict.fromkeys([*ends, *inside]))]
    share = len(anchors) / (cells + len(anchors))
    common, _ = common_draws(
        anchors,
        seed,
        pool,
        searched=range(1 + len(ends)),
        with_rig=False,
        target_cov=TARGET_COV,
        most_joints=max(1, int(share * JOINTS)),
    )
    target = scenario.target
    rows: Rows = tuple(
        tuple(_cell(common.sample(move(x, y), pool, with_rig=False), target) for x in values)
        for y in second_values
    )  # fmt: skip
    asked = None if target is None else target.probability
    return SweepMap(
        second=second,
        values=tuple(second_values),
        failure=rows,
        meets=tuple(
            tuple(None if asked is None else meets(cell, asked) for cell in row) for row in rows
        ),
        crossings=tuple(() if asked is None else _crossings(values, row, asked) for row in rows),
        draws=sum(block.log_weight.size for block in common.blocks),
    )


def _spread(values: Sequence[float]) -> list[float]:
    """Return some values spread over a range."""
    places = sorted({round(i) for i in np.linspace(0, len(values) - 1, ALONG)})
    return [values[place] for place in places]


def _cell(sample: Any, target: Target | None) -> Chance:
    return as_chance(judged_bounds(sample, target)) if buildable(sample) else NOT_KNOWN


def _crossings(values: Sequence[float], row: Sequence[Chance], target: float) -> tuple[float, ...]:
    """Return the values between which a row crosses the target: straight lines of the log."""
    x = np.array(values)
    room = np.log([max(cell.estimate, LEAST) / target for cell in row])
    met = room <= 0.0
    swaps = np.flatnonzero((met[1:] != met[:-1]) & np.isfinite(room[1:]) & np.isfinite(room[:-1]))
    share = room[swaps] / (room[swaps] - room[swaps + 1])
    return tuple(float(value) for value in x[swaps] + share * (x[swaps + 1] - x[swaps]))
