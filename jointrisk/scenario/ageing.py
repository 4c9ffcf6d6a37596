"""Resolving what time in service does to a bond: damp, a steady load, cycles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.ledger import Ledger
    from jointrisk.scenario.types import Load

__all__ = ["resolve_ageing"]

MOST_SLICES = 24
_DAMP = (
    "ageing.wet_share",
    "ageing.wetting_time",
    "ageing.own_scatter",
    "weak_bonds.latent_weight",
    "weak_bonds.latent_keeps",
)
_CYCLES = ("ageing.fatigue_exponent", "ageing.fatigue_height", "ageing.damage_at_failure")
_STEADY = "ageing.steady_share"


def resolve_ageing(ledger: Ledger, slices: int | None, loads: Sequence[Load]) -> dict[str, Any]:
    """Resolve how a bond ages; return the plain facts of it."""
    count = ledger.fact("life.slices", slices) or 1
    if count > MOST_SLICES:
        ledger.problem("life.slices", "is out of range", str(count), f"1 to {MOST_SLICES}")
    for key in _DAMP:
        ledger.variable(key)
    repeated = [load for load in loads if load.kind == "cycles"]
    for key in _CYCLES:
        if repeated or key in ledger.given:
            ledger.variable(key)
    steady = any(load.kind == "sustained" for load in loads)
    if steady or _STEADY in ledger.given:
        ledger.variable(_STEADY)
    drawn = ledger.variables.get(_STEADY)
    fails = steady and drawn is not None and float(drawn.spread.sd) > 0.0
    return {"slices": count, "steady_fails": fails}
