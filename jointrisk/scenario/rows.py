"""The resolved values of a scenario as rows, for a table that a person reads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jointrisk.scenario.types import Assumption, Origin, Scenario, Variable

__all__ = ["Row", "describe"]


@dataclass(frozen=True, slots=True)
class Row:
    """One resolved value. Numbers are in `unit`, and None for facts without a spread."""

    key: str
    label: str
    value: str
    """As text with units."""
    origin: Origin
    source: str
    confidence: str
    scope: str = ""
    kind: str = ""
    unit: str = ""
    mean: float | None = None
    cov: float | None = None
    """Standard deviation over mean [-]; None where that says nothing."""
    q05: float | None = None
    q50: float | None = None
    q95: float | None = None


def describe(scenario: Scenario) -> list[Row]:
    """Return one row for every resolved value of a scenario, in the order it was resolved.

    Parameters
    ----------
    scenario : Scenario
        What `load` returned.

    Returns
    -------
    list of Row
    """
    return [_row(entry, scenario.variables.get(entry.key)) for entry in scenario.assumptions]


def _row(entry: Assumption, variable: Variable | None) -> Row:
    if variable is None:
        label = entry.key.split(".")[-1].replace("_", " ")
        return Row(entry.key, label, entry.value, entry.origin, entry.source, entry.confidence)
    base = variable.spread
    mean, sd = float(base.mean), float(base.sd)
    meaningful = mean != 0 and math.isfinite(sd) and variable.unit != "degC"
    q05, q50, q95 = (float(base.ppf(q)) for q in (0.05, 0.5, 0.95))
    return Row(
        entry.key,
        variable.label,
        entry.value,
        entry.origin,
        entry.source,
        entry.confidence,
        variable.scope,
        variable.kind,
        variable.unit,
        mean,
        sd / abs(mean) if meaningful else None,
        q05,
        q50,
        q95,
    )
