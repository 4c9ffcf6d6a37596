"""The weighted sample that `proof` works on: good for what a pull leaves, too.

The proposal is learned from pilots of one rod; a pilot of the whole set tells which pulls matter
for it: those that refuse few rods, some, and as many as one is willing to lose, and those at
which the target comes to be met. Blocks are drawn until failure is known well enough before and
after each of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.rodset import rod_set
from jointrisk.study.bench import bench_of
from jointrisk.study.pull_aims import Aims
from jointrisk.study.pull_learning import learned_plan
from jointrisk.study.sample import evaluate, joined_sample, main_block, pilot_block

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.reliability.mixture import Draw
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

MOST_JOINTS = 3 * 2**16
"""Joints at which drawing ends, whatever is known by then [-]."""
TARGET_COV = 0.05


def pull_sample(
    scenario: Scenario,
    seed: int,
    pool: Any = None,
    loads: tuple[float, ...] = (),
    target_cov: float = TARGET_COV,
) -> Sample:
    """Draw and evaluate until failure is known well enough before and after a pull.

    Parameters
    ----------
    scenario : Scenario
        With a load.
    seed : int
    pool : object with ``map``, optional
    loads : tuple of float [N]
        Pulls that are asked about.
    target_cov : float
        Wanted coefficient of variation of each failure probability [-].
    """
    full, single = rod_set(scenario), rod_set(scenario, rods=1)
    target = scenario.target
    asked = None if target is None else target.probability
    rods = scenario.rods if target is not None and target.scope == "set" else 1
    of_one = None if asked is None else asked / rods
    plan = learned_plan(single, full, seed, pool, of_one, loads)
    pilot = pilot_block(full, plan, seed)
    first = evaluate(full, pilot.u, pilot.labels, pool)
    bench = bench_of(joined_sample(full, plan, seed, [pilot], [first], 0, converged=False))
    aims = Aims.of(bench, asked, loads)
    draws: list[Draw] = []
    outcomes: list[Outcome] = []
    found: list[Array] = []
    short, joints = np.inf, 0
    while joints < MOST_JOINTS and not short <= target_cov:
        draws.append(main_block(full, plan, seed, len(draws)))
        outcomes.append(evaluate(full, draws[-1].u, draws[-1].labels, pool))
        joints += draws[-1].log_weight.size * full.layout.joints
        block = joined_sample(full, plan, seed, draws[-1:], outcomes[-1:], 0, converged=False)
        found.append(aims.terms(bench_of(block)))
        short = aims.shortfall(np.concatenate(found, axis=1))
    pilots = pilot.log_weight.size
    return joined_sample(full, plan, seed, draws, outcomes, pilots, converged=short <= target_cov)
