"""What a mechanical back-up is worth: the same rods without pin and hole."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.study import judgement
from jointrisk.study.results import Chance
from jointrisk.study.sample import weighted_sample

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario

TABLE = "backup."


def chance_without_backup(scenario: Scenario, seed: int, pool: Any = None) -> Chance | None:
    """Return the failure probability of a scenario's rods without their back-up.

    Parameters
    ----------
    scenario : Scenario
    seed : int
    pool : object with ``map``, optional

    Returns
    -------
    Chance or None
        Of the set over its life [-]; None where there is no back-up or no load.
    """
    if scenario.backup is None or not scenario.loads:
        return None
    sample = weighted_sample(without_backup(scenario), seed, pool)
    found = judgement.failure_probability(sample, np.empty(0))
    return Chance(found.estimate, found.low, found.high)


def without_backup(scenario: Scenario) -> Scenario:
    """Return a scenario without its back-up: no pin, and no hole either."""
    variables = {k: v for k, v in scenario.variables.items() if not k.startswith(TABLE)}
    correlations = {
        pair: value
        for pair, value in scenario.correlations.items()
        if not any(key.startswith(TABLE) for key in pair)
    }
    return replace(scenario, backup=None, variables=variables, correlations=correlations)
