"""Resolving the members: rods, tube, plug and thread."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.given import Given, build
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.types import Thread

if TYPE_CHECKING:
    from jointrisk.spread import Spread

__all__ = [
    "resolve_fit",
    "resolve_plug",
    "resolve_rods",
    "resolve_second",
    "resolve_thread",
    "resolve_tube",
]

_PLUG_CELLS = {"strength": "tension_strength", "modulus": "modulus", "expansion": "expansion"}
_COMPOSITE_ONLY = ("interlaminar_strength", "interlaminar_toughness")


def resolve_rods(ledger: Ledger) -> None:
    """Length, bow and offset of the load."""
    for key in ("rods.length", "tube.outer_diameter"):
        if key in ledger.given:
            ledger.variable(key)
    ledger.variable("rods.bow")
    offset = tables.default("rods.load_offset")
    outer = ledger.mean("tube.outer_diameter")
    low, high = (share * (outer or 1.0) for share in offset.row["share_of_outer_diameter"])
    fallback = Given("length", "", {}, never_outside=(low, high))
    if outer is not None or "rods.load_offset" in ledger.given:
        ledger.variable("rods.load_offset", fallback, offset)


def resolve_tube(ledger: Ledger) -> tuple[bool, tables.Points]:
    """Strengths and moduli of the tube; returns whether it has plies, and its heat curve."""
    material = _material(ledger, "tube")
    curve = tables.default("tube.strength_by_temperature")
    if material is None:
        return False, curve.points("metal")
    for name, cell in material.cells.items():
        ledger.variable(f"tube.{name}", _from_cell(name, cell), cell)
    for name in _COMPOSITE_ONLY:
        if not material.composite and f"tube.{name}" in ledger.given:
            ledger.problem(f"tube.{name}", "has no meaning: a metal tube has no plies")
    points: tables.Points | None = ledger.given.get("tube.strength_by_temperature")
    source, confidence = YOURS
    if points is None:
        points = curve.points("composite" if material.composite else "metal")
        source, confidence = curve.source, curve.confidence
    origin = "scenario" if "tube.strength_by_temperature" in ledger.given else "default"
    text = points_text(points, "degC")
    ledger.assume("tube.strength_by_temperature", text, origin, source, confidence)  # type: ignore[arg-type]
    return material.composite, points


def resolve_plug(ledger: Ledger, thread: Thread | None) -> None:
    """Strength, modulus, hole and glued length of the plug."""
    _plug_material(ledger, "plug")
    if "plug.overlap" in ledger.given:
        ledger.variable("plug.overlap")
    ledger.variable("plug.glued_share")
    ledger.variable("plug.off_centre")
    _hole(ledger, "plug", thread)


def resolve_second(ledger: Ledger, first: Thread | None) -> Thread | None:
    """Resolve what the second end has of its own, all else being as at the first."""
    thread = resolve_thread(ledger, "second_thread")
    threaded = [key for key in ledger.given if key.startswith("second_thread.")]
    if threaded and first is None and not ledger.broken("thread", "thread.size"):
        what = "the first end has no thread: give [thread] too"
        ledger.problem(threaded[0], what)
        return None
    _plug_material(ledger, "second_plug")
    for name in ("diameter", "overlap", "glued_share", "off_centre"):
        if f"second_plug.{name}" in ledger.given:
            ledger.variable(f"second_plug.{name}")
    if "second_thread.engagement" in ledger.given and thread is None:
        ledger.variable("second_thread.engagement")
    if thread is not None or "second_plug.bore" in ledger.given:
        _hole(ledger, "second_plug", thread)
    if "second_plug.diameter" in ledger.given and "plug.radial_gap" in ledger.given:
        what = "cannot stand beside plug.radial_gap: give tube.bore and plug.diameter instead"
        ledger.problem("second_plug.diameter", what)
    return thread


def _plug_material(ledger: Ledger, table: str) -> None:
    """Strength, modulus and expansion of a plug; of the second one only what is its own."""
    material = _material(ledger, table)
    for name, column in _PLUG_CELLS.items():
        key = f"{table}.{name}"
        if material is not None:
            cell = material.cells[column]
            ledger.variable(key, _from_cell(column, cell, fixed=name != "strength"), cell)
        elif table != "plug" and key in ledger.given:
            ledger.variable(key)


def _hole(ledger: Ledger, table: str, thread: Thread | None) -> None:
    drill = 0.0 if thread is None else thread.major_diameter - thread.pitch
    hole = tables.default("plug.bore")
    ledger.variable(f"{table}.bore", Given("length", "", {"value": drill}), hole)


def resolve_thread(ledger: Ledger, table: str = "thread") -> Thread | None:
    """Thread of the plug, or of the second one, and its engaged length."""
    size = ledger.given.get(f"{table}.size")
    if size is None:
        return None
    from jointrisk.mechanics import threads

    try:
        found = threads.find(size)
    except InputError as error:
        ledger.problem(f"{table}.size", str(error))
        return None
    ledger.assume(f"{table}.size", found.size, "scenario", *YOURS)
    row = tables.default("thread.engagement")
    length = row.row["times_major_diameter"] * found.major_diameter
    ledger.variable(f"{table}.engagement", Given("length", "", {"value": length}), row)
    return Thread(found.size, found.major_diameter, found.pitch)


def resolve_fit(ledger: Ledger) -> None:
    """Bore and plug diameter, of which one may come from the gap on one side."""
    keys = ("tube.bore", "plug.diameter", "plug.radial_gap")
    there = [key for key in keys if key in ledger.given]
    misspelt = any(key.startswith(("tube.", "plug.")) for key in ledger.skip)
    if ledger.broken(*keys) or (misspelt and len(there) != 2):
        for key in keys[:2]:
            if key in ledger.given:
                ledger.variable(key)
        return
    if len(there) != 2:
        ledger.problem(
            "plug.radial_gap",
            "bore, plug and gap fix each other: two are needed, no more",
            ", ".join(there) or "none of them",
            "two of tube.bore, plug.diameter and plug.radial_gap (the gap on one side)",
        )
        return
    if "plug.radial_gap" not in there:
        ledger.variable("tube.bore")
        ledger.variable("plug.diameter")
        return
    known, derived = sorted(keys[:2], key=lambda key: key not in ledger.given)
    _from_gap(ledger, known, derived, sign=-1.0 if derived == "plug.diameter" else 1.0)


def points_text(points: tables.Points, unit: str) -> str:
    """Return a curve in words."""
    return ", ".join(f"{y:g} at {units.format_value(x, unit)}" for x, y in points)


def _material(ledger: Ledger, table: str) -> tables.Material | None:
    name = ledger.given.get(f"{table}.material")
    if name is None:
        return None
    ledger.assume(f"{table}.material", name, "scenario", *YOURS)
    return tables.materials()[name]


def _from_cell(name: str, cell: tables.Cell, *, fixed: bool = False) -> Given:
    """Return a cell of the material table as a value with its scatter."""
    dimension = {"expansion": "expansion", "interlaminar_toughness": "toughness"}
    assert cell.typical is not None  # noqa: S101
    if cell.cov is None or fixed:
        return Given(dimension.get(name, "stress"), "", {"value": cell.typical})
    return Given(dimension.get(name, "stress"), "", {"mean": cell.typical, "cov": cell.cov})


def _from_gap(ledger: Ledger, known: str, derived: str, *, sign: float) -> None:
    """Derive one diameter from the other and the gap.

    The gap as written holds the scatter of both diameters, so the known one is held at its mean.
    """
    from jointrisk import spread

    written: Given = ledger.given[known]
    gap: Given = ledger.given["plug.radial_gap"]
    try:
        middle = float(build(written, "normal").mean)
        clear = build(gap, "normal")
        if float(clear.mean) <= 0:
            raise InputError(f"is not above zero (got {clear.mean:.4g} mm)")  # noqa: TRY301
        other = _straight(clear, middle, 2.0 * sign)
    except InputError as error:
        ledger.problem("plug.radial_gap", str(error))
        return
    ledger.put(QUANTITIES[known], spread.Fixed(middle), "scenario", *YOURS)
    names = {"tube.bore": "tube bore", "plug.diameter": "plug diameter"}
    source = f"{names[known]} and twice the gap on one side, which holds the scatter of both"
    row = QUANTITIES[derived]
    row = replace(row, scope=gap.scope or row.scope, kind=gap.kind or row.kind)
    ledger.put(row, other, "scenario", gap.source or source, "given")


def _straight(base: Spread, a: float, b: float) -> Spread:
    """Return the spread of a + b x for x with spread `base`."""
    from jointrisk import spread

    if isinstance(base, spread.Fixed):
        return spread.Fixed(a + b * base.value)
    if isinstance(base, spread.Normal):
        return spread.Normal(a + b * base.mean, abs(b) * base.sd)
    if isinstance(base, spread.Uniform):
        return spread.Uniform(*sorted((a + b * base.low, a + b * base.high)))
    if isinstance(base, spread.Triangular):
        low, high = sorted((a + b * base.low, a + b * base.high))
        return spread.Triangular(low, a + b * base.mode, high)
    if isinstance(base, spread.Truncated):
        low, high = sorted((a + b * base.low, a + b * base.high))
        return spread.Truncated(_straight(base.base, a, b), low, high)
    raise InputError(
        f"cannot be turned into a diameter (got {type(base).__name__.lower()}; expected a plain "
        "value, normal, uniform or triangular, or give both diameters)"
    )
