"""Resolving the rig: its kind, pull or push, how true its load is, how long it holds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.scenario import tables
from jointrisk.scenario.given import build
from jointrisk.scenario.ledger import YOURS, spread_text
from jointrisk.scenario.types import Proof, Rig

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.given import Given
    from jointrisk.scenario.ledger import Ledger
    from jointrisk.scenario.recipe import Whose
    from jointrisk.scenario.types import Pull

__all__ = ["LEVER", "resolve_proof"]

LEVER = "lever"
_HIGHEST = 0.5
"""Largest error and bias [-]."""
_LONGEST = 1.0
"""A pull is held for no longer [days]."""
_SECONDS = 365.25 * 86400.0
"""In a year."""


def resolve_proof(ledger: Ledger, pulls: Sequence[Pull]) -> Proof:
    """Return how a finished rod can be pulled."""
    name = None if ledger.broken("proof.rig") else ledger.given.get("proof.rig")
    row = None if name is None else tables.rigs()[name]
    if name is not None:
        ledger.assume("proof.rig", name, "scenario", *YOURS)
    error = _share(ledger, "proof.rig_error", None if row is None else row.error)
    ratio, arms = _lever(ledger, name, row)
    bias = _bias(ledger, row, arms)
    for key in ("proof.damage_from", "proof.damage_most"):
        ledger.variable(key)
    most = _share(ledger, "proof.most_to_refuse", None, highest=1.0, none=False)
    highest = _highest(ledger)
    use_from = None
    if row is not None and row.use_from is not None and highest is not None:
        use_from = (row.use_from.typical or 0.0) * highest
        _tell_range(ledger, use_from, row.use_from, pulls)
    direction = ledger.fact("proof.direction", ledger.given.get("proof.direction"))
    rig = Rig(name, ratio, _hold_time(ledger), use_from, direction or "pull")
    return Proof(error, bias, highest, most, rig)


def _share(
    ledger: Ledger,
    key: str,
    cell: tables.Cell | None,
    highest: float = _HIGHEST,
    *,
    none: bool = True,
) -> float:
    """Return a share of the load or of the rods, the rig's own where the file says nothing."""
    if ledger.broken(key):
        return 0.0
    if cell is not None and key not in ledger.given:
        value = float(cell.typical or 0.0)
        text = units.format_value(value, "-")
        ledger.assume(key, text, "default", cell.source, cell.confidence)
        return value
    value = ledger.one(key)
    if not 0 <= value <= highest or (value == 0 and not none):
        low = "0" if none else "above 0"
        ledger.problem(key, "is out of range", f"{value:g}", f"{low} to {highest:g}")
    return value


def _lever(
    ledger: Ledger, name: str | None, row: tables.RigRow | None
) -> tuple[float | None, float]:
    """Return the ratio of a lever, None where not given, and its standard deviation [-]."""
    key = "proof.lever_ratio"
    found: Given | None = ledger.given.get(key)
    if found is None or ledger.broken(key, "proof.rig"):
        return None, 0.0
    if name != LEVER:
        got = "no rig" if name is None else f'rig = "{name}"'
        ledger.problem(key, "is of a lever only", got, f'rig = "{LEVER}"')
        return None, 0.0
    if found.scope:
        ledger.problem(key, "has no scope: one lever makes all pulls", f'"{found.scope}"')
        return None, 0.0
    try:
        base = build(found, "normal", (0.0, math.inf))
    except InputError as problem:
        ledger.problem(key, str(problem))
        return None, 0.0
    mean, sd = float(base.mean), float(base.sd)
    if mean <= 0:
        ledger.problem(key, "is not above zero", f"{mean:g}")
        return None, 0.0
    if sd > _HIGHEST * mean:
        ledger.problem(key, "scatters too much", f"CoV {sd / mean:.3g}", f"0 to {_HIGHEST:g}")
        return None, 0.0
    ledger.assume(key, spread_text(base, "-"), "scenario", *(found.source or YOURS[0], YOURS[1]))
    return mean, sd / mean


def _bias(ledger: Ledger, row: tables.RigRow | None, arms: float) -> float:
    """Return the bias of gauge or weights with that of a lever's arms."""
    key = "proof.rig_bias"
    bias = _share(ledger, key, None if row is None else row.bias)
    source: Whose = ("scenario", "the spread of proof.lever_ratio", tables.CONFIDENCE["D"])
    if arms == 0 and row is not None and row.arms is not None and key not in ledger.given:
        arms = float(row.arms.typical or 0.0)
        source = ("default", row.arms.source, row.arms.confidence)
    if arms == 0:
        return bias
    ledger.assume("proof.arms_bias", units.format_value(arms, "-"), *source)
    return math.hypot(bias, arms)


def _hold_time(ledger: Ledger) -> float:
    """Return how long a pull is held [s]."""
    key = "proof.hold_time"
    if ledger.broken(key):
        return Rig().hold_time
    found: Given | None = ledger.given.get(key)
    row = tables.default(key)
    years = (found or row.given("time")).numbers["value"]
    seconds = years * _SECONDS
    if not 0 < seconds <= 86400.0 * _LONGEST * (1 + 1e-9):
        ledger.problem(key, "is out of range", found.text if found else "", "above 0 to 1 day")
    text = units.format_value(seconds, "s")
    if found is None:
        ledger.assume(key, text, "default", row.source, row.confidence)
    else:
        ledger.assume(key, text, "scenario", *YOURS)
    return seconds


def _highest(ledger: Ledger) -> float | None:
    """Return the largest load of the rig [N], None where not given."""
    key = "proof.highest"
    limit: Given | None = ledger.given.get(key)
    if limit is None or limit.plain is None:
        return None
    ledger.assume(key, units.format_value(limit.plain, "N"), "scenario", *YOURS)
    if limit.plain <= 0:
        ledger.problem(key, "is not above zero", limit.text)
    return limit.plain


def _tell_range(ledger: Ledger, use_from: float, cell: tables.Cell, pulls: Sequence[Pull]) -> None:
    """Write down where the use of the gauge begins, and warn of pulls below it."""
    text = units.format_value(use_from, "N")
    ledger.assume("proof.use_from", text, "default", cell.source, cell.confidence)
    low = [pull.label for pull in pulls if pull.load < use_from]
    if low:
        ledger.warn(
            "gauge-below-range",
            f"{' and '.join(low)}: below {text}, where the use of this gauge begins "
            f"({cell.source}). Take a gauge with a smaller range.",
        )
