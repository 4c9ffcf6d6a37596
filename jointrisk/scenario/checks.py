"""What the resolved values mean together: faults that stop, and warnings that do not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jointrisk import units
from jointrisk.scenario import tables
from jointrisk.scenario.types import FITS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.scenario.ledger import Ledger
    from jointrisk.scenario.types import Load, Thread

__all__ = ["check_together"]

_WIDE_GAP = 0.5
_NARROW_GAP = 0.05
_NEED_SCATTER = (
    "plug.overlap",
    "sleeve.overlap",
    "second_plug.diameter",
    "second_plug.overlap",
    "adhesive.shear_strength",
)
_BOTH = ("first", "second_plug")


def check_together(ledger: Ledger, fields: Mapping[str, Any]) -> None:
    """Look at values side by side, as far as they could be read."""
    if ledger.end == "sleeve":
        _check_sleeve(ledger)
    else:
        _check_fit(ledger, "plug")
        if any(key.startswith("second_plug.") for key in ledger.variables):
            _check_fit(ledger, "second_plug")
    _check_thread(ledger, fields["thread"], fields["second_thread"])
    _check_tube(ledger)
    _check_length(ledger)
    _check_heat(ledger, fields["hard_stop_temperature"], fields["strength_by_temperature"])
    _warn_adhesive(ledger)
    _warn_scatter(ledger, fields["loads"])
    _warn_corrosion(ledger)
    if fields["proof"].rig.pushes and fields["shoulder"]:
        ledger.warn(
            "push-passes-bonds",
            "the rig pushes, and a shoulder takes the push past the bonds: such a push shows "
            "nothing of a weak bond.",
        )


def _mm(value: float) -> str:
    return units.format_value(value, "mm")


def _own(ledger: Ledger, table: str, name: str) -> str:
    """Return the key of an end's number: the second has what it does not say as the first."""
    key = f"{table}.{name}"
    return key if key in ledger.variables else f"{ledger.end}.{name}"


def _check_sleeve(ledger: Ledger) -> None:
    wide, across = FITS["sleeve"]
    bore, tube, outer = (ledger.mean(key) for key in (wide, across, "sleeve.outer_diameter"))
    if bore is not None and outer is not None and outer <= bore:
        most = f"above the bore of {_mm(bore)}"
        ledger.problem("sleeve.outer_diameter", "leaves no wall", _mm(outer), most)
    if bore is None or tube is None:
        return
    if bore <= tube:
        got, least = _mm(bore), f"above the tube's {_mm(tube)}"
        ledger.problem(wide, "the sleeve does not go over the tube", got, least)
    else:
        _warn_gap(ledger, wide, across)


def _check_fit(ledger: Ledger, table: str) -> None:
    wide, across, hollow = "tube.bore", _own(ledger, table, "diameter"), _own(ledger, table, "bore")
    if table != "plug" and across == "plug.diameter" and hollow == "plug.bore":
        return
    bore, plug, hole = (ledger.mean(key) for key in (wide, across, hollow))
    if hollow in ledger.given and plug is not None and hole is not None and hole >= plug:
        ledger.problem(hollow, "is not smaller than the plug", _mm(hole), f"below {_mm(plug)}")
    if bore is None or plug is None or (table != "plug" and across == "plug.diameter"):
        return
    if plug >= bore:
        got, most = _mm(plug), f"below the bore of {_mm(bore)}"
        ledger.problem(across, "the plug does not go into the tube", got, most)
        return
    _warn_gap(ledger, wide, across)


def _warn_gap(ledger: Ledger, wide: str, across: str) -> None:
    """Warn of a gap at which a joint does not do well."""
    gap = ((ledger.mean(wide) or 0.0) - (ledger.mean(across) or 0.0)) / 2
    spreads = (ledger.variables[wide].spread, ledger.variables[across].spread)
    sd = sum(float(found.sd) ** 2 for found in spreads) ** 0.5 / 2
    if sd > 0 and gap < 2 * sd:
        ledger.warn(
            "gap-may-vanish",
            f"the gap on one side is {_mm(gap)} with a scatter of {_mm(sd)}: a good part of "
            "the pairs cannot be put together. They are left out and counted.",
        )
    if gap > _WIDE_GAP:
        ledger.warn("gap-wide", f"the gap on one side is {_mm(gap)}; joints do best near 0.2 mm.")
    elif gap < _NARROW_GAP:
        ledger.warn(
            "gap-narrow", f"the gap on one side is {_mm(gap)}: adhesive is scraped off on assembly."
        )


def _check_thread(ledger: Ledger, *threads: Thread | None) -> None:
    """Refuse a thread that leaves nothing of its metal end."""
    size = "diameter" if ledger.end == "plug" else "outer_diameter"
    for table, thread in zip(ledger.ends, threads, strict=False):
        plug = ledger.mean(_own(ledger, table, size))
        own = thread or threads[0]
        if plug is None or own is None or (table == "second_plug" and ledger.broken("thread.size")):
            continue
        if own.major_diameter >= plug:
            key = "second_thread.size" if table == "second_plug" and thread else "thread.size"
            most = f"below the {ledger.end}'s {_mm(plug)}"
            ledger.problem(key, f"leaves nothing of the {ledger.end}", f"{own.size}", most)


def _check_tube(ledger: Ledger) -> None:
    bore, outer = ledger.mean("tube.bore"), ledger.mean("tube.outer_diameter")
    if bore is not None and outer is not None and bore >= outer:
        most = f"below the outside diameter of {_mm(outer)}"
        ledger.problem("tube.bore", "leaves no wall", _mm(bore), most)


def _check_length(ledger: Ledger) -> None:
    keys = [_own(ledger, table, "overlap") for table in _BOTH]
    length, overlaps = ledger.mean("rods.length"), [ledger.mean(key) for key in keys]
    if length is None or length <= 0:
        return
    for key, overlap in dict(zip(keys, overlaps, strict=True)).items():
        if overlap is not None and overlap >= length:
            got, most = _mm(overlap), f"below the rod's {_mm(length)}"
            ledger.problem(key, "is as long as the rod", got, most)
            return
    both = sum(overlap or 0.0 for overlap in overlaps)
    if both > length:
        ledger.warn(
            "overlap-long",
            f"the two overlaps, {_mm(both)} together, are longer than the rod's {_mm(length)}: "
            f"the two {ledger.end}s would meet.",
        )


def _check_heat(ledger: Ledger, hard_stop: float, curve: tables.Points) -> None:
    hot, cold = ledger.mean("service.hottest"), ledger.mean("service.coldest")
    if hot is None or cold is None:
        return
    shown = units.format_value(hot, "degC")
    if hot < cold:
        least = f"at least service.coldest, {units.format_value(cold, 'degC')}"
        ledger.problem("service.hottest", "is colder than the coldest", shown, least)
    stop = units.format_value(hard_stop, "degC")
    if hot >= hard_stop:
        ledger.warn(
            "hotter-than-adhesive",
            f"service reaches {shown}, at or above {stop} where this adhesive is counted as "
            "carrying nothing.",
        )
    elif hot > curve[-1][0]:
        last = units.format_value(curve[-1][0], "degC")
        ledger.warn(
            "hotter-than-curve",
            f"service reaches {shown}, but adhesive.strength_by_temperature ends at {last}: "
            "its last value is kept.",
        )


def _warn_adhesive(ledger: Ledger) -> None:
    if ledger.given.get("adhesive.class") == tables.UNKNOWN_CLASS:
        ledger.warn(
            "adhesive-unknown",
            "the adhesive's class is not known: the widest range over all classes is taken. "
            "Naming the class narrows the answer more than any sampling.",
        )


def _warn_scatter(ledger: Ledger, loads: Sequence[Load]) -> None:
    """Name the main numbers that are given as exact though they differ from part to part."""
    fit, gap = FITS[ledger.end], f"{ledger.end}.radial_gap"
    keys = (*fit, *_NEED_SCATTER)
    plain = [key for key in keys if getattr(ledger.given.get(key), "plain", None)]
    if gap in ledger.given:
        plain = [key for key in plain if key not in fit]
        if ledger.given[gap].plain:
            plain.append(gap)
    exact = [load for load in loads if not load.lasting and load.size.spread.sd == 0]
    plain += [f'the {load.size.key.split(".")[-1]} of load "{load.name}"' for load in exact]
    if plain:
        verb = "is" if len(plain) == 1 else "are"
        ledger.warn(
            "no-scatter",
            f"{', '.join(plain)} {verb} given as one exact value. Real parts and loads differ; "
            "write { mean = …, sd = … } or never_outside = […], or the answer comes out too good.",
        )


def _warn_corrosion(ledger: Ledger) -> None:
    parts = ("tube", *ledger.ends)
    tube, *metals = (str(ledger.given.get(f"{part}.material", "")) for part in parts)
    if not tube.startswith("carbon"):
        return
    if any(metal.startswith("aluminium") for metal in metals):
        ledger.warn(
            "corrosion",
            "aluminium that touches carbon corrodes where it is damp, and no number here counts "
            f"that. Keep them apart: glass beads or a glass ply in the gap, anodised {ledger.end}; "
            "or take titanium, which hardly minds.",
        )
    elif any(metal.startswith("steel") for metal in metals):
        ledger.warn(
            "corrosion",
            "plain steel rusts faster where it touches carbon and is damp, though less than "
            "aluminium: glass beads in the gap keep them apart, paint or plating the water off.",
        )
