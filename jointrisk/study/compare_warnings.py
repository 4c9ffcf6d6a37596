"""What makes options unlike in more than is compared, and what each is warned of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jointrisk.scenario.types import Warning_

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from jointrisk.scenario.types import Scenario

TARGET_COV = 0.02
"""Wanted coefficient of variation of each failure probability [-]."""


def _target(scenario: Scenario) -> object:
    aim = scenario.target
    return None if aim is None else (aim.probability, aim.period, aim.scope)


def _currency(scenario: Scenario) -> object:
    return None if scenario.cost is None else scenario.cost.currency


UNLIKE: tuple[tuple[str, Callable[[Scenario], Any], str], ...] = (
    (
        "targets-differ",
        _target,
        "The options have different targets: each verdict is of the option's own.",
    ),
    (
        "lives-differ",
        lambda scenario: scenario.life,
        "The options serve for different times: each failure probability is that of its own life.",
    ),
    (
        "rods-differ",
        lambda scenario: scenario.rods,
        "The options have different numbers of rods: each failure probability is that of its own "
        "set.",
    ),
    (
        "currencies-differ",
        _currency,
        "Not all costs are given in the same currency: such costs are not held against each other.",
    ),
)
"""Code, what must be alike, and what is said where it is not."""


def warnings(options: Mapping[str, Scenario], converged: bool) -> tuple[Warning_, ...]:
    """Return warnings of the comparison, then those that all share, then each option's own."""
    scenarios = list(options.values())
    found = [
        Warning_(code, text)
        for code, of, text in UNLIKE
        if len({of(scenario) for scenario in scenarios}) > 1
    ]
    if not converged:
        text = (
            "At least one failure probability is less certain than wanted (coefficient of "
            f"variation above {100 * TARGET_COV:g} %) at the limit of draws: see the intervals."
        )
        found.append(Warning_("not-converged", text))
    shared = set.intersection(*(set(scenario.warnings) for scenario in scenarios))
    found += [entry for entry in scenarios[0].warnings if entry in shared]
    for name, scenario in options.items():
        own = [entry for entry in scenario.warnings if entry not in shared]
        found += [Warning_(entry.code, f"{name}: {entry.text}") for entry in own]
    return tuple(found)
