"""How many parts must hold, none breaking, to show a reliability: the success run.

    n = ln(1 - C) / ln(R), rounded up:

with n parts that all hold, a share R of all parts holds, at confidence C: were it less, n parts
would all hold less often than 1 - C. Source: binomial with no failure (Lipson & Sheth 1973,
"Statistical design and analysis of engineering experiments", and common practice; from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.study.plan_results import SuccessRun
from jointrisk.study.plan_rods import broken_none
from jointrisk.study.plan_worth import GROUPS, chance_of

if TYPE_CHECKING:
    from jointrisk.study.plan_rods import Rig, Rods
    from jointrisk.study.plan_states import Board

SHOWN = ((0.80, 0.90), (0.90, 0.90), (0.90, 0.95), (0.95, 0.95), (0.99, 0.90), (0.99, 0.95))
"""Reliability and confidence of each line of the table [-]."""
ROUNDING = 1e-12


def parts_without_failure(reliability: float, confidence: float) -> int:
    """Return how many parts must all hold to show a reliability at a confidence.

    Parameters
    ----------
    reliability : float
        Share of all parts that holds, above 0 and below 1 [-].
    confidence : float
        Above 0 and below 1 [-].

    Returns
    -------
    int

    Raises
    ------
    InputError
        If either is not between 0 and 1.

    Notes
    -----
    Source: see the head of the module.
    """
    for name, value in (("reliability", reliability), ("confidence", confidence)):
        if not 0.0 < value < 1.0:
            raise InputError(f"{name} must be above 0 and below 1, got {value:g}")
    exact = math.log1p(-confidence) / math.log(reliability)
    return max(1, math.ceil(exact * (1.0 - ROUNDING)))


def success_runs(
    rods: Rods, board: Board, rig: Rig, load: float | None, batch: int
) -> tuple[SuccessRun, ...]:
    """Return the table of success runs, with the chance that rods of this making pass each.

    Parameters
    ----------
    rods : Rods
    board : Board
    rig : Rig
    load : float, optional
        Of the pulls [N].
    batch : int
        Rods of one batch [-].
    """
    lines = []
    for reliability, confidence in SHOWN:
        pulls = parts_without_failure(reliability, confidence)
        hold = None
        if load is not None:
            each = broken_none(rods, load, rig, pulls, batch)
            groups = [board.group != out for out in range(-1, GROUPS)]
            hold = chance_of(np.array([each[own].mean() for own in groups]), 0.0, 1.0)
        lines.append(SuccessRun(reliability, confidence, pulls, hold))
    return tuple(lines)
