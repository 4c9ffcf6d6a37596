"""How long a set keeps to its target."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.model.ageing import slice_edges
from jointrisk.study.judgement import target_value, year_value, years_looked_at

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.bench import Rates
    from jointrisk.study.sample import Outcome

    Array = npt.NDArray[np.float64]

HALVINGS = 30


def years_at_target(
    scenario: Scenario, rates: Outcome | Rates, target: Target, weight: Array
) -> float:
    """Return the years for which the target holds, at most the life [years].

    Of a target for the life, the longest life after which no more than its share has failed; of
    a yearly one, the start of the first year in which more than that of those left fails.

    Parameters
    ----------
    scenario : Scenario
    rates : Outcome or Rates
        Failure rates of service.
    target : Target
    weight : ndarray, (n,) [-]
        Of each draw, given what is known of the set.
    """
    edges = slice_edges(scenario)
    life = float(edges[-1])
    if target.period == "year":  # while the strength stays as it is no later year is worse
        for year in years_looked_at(edges):
            if year_value(scenario, rates, target, weight, year) > target.probability:
                return float(year)
        return life
    if target_value(scenario, rates, target, weight) <= target.probability:
        return life
    low, high = 0.0, life
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        met = target_value(scenario, rates, target, weight, middle) <= target.probability
        low, high = (middle, high) if met else (low, middle)
    return low
