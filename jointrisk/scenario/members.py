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
from jointrisk.scenario.types import FITS, Thread

if TYPE_CHECKING:
    from jointrisk.spread import Spread

__all__ = [
    "resolve_end",
    "resolve_fit",
    "resolve_rods",
    "resolve_second",
    "resolve_thread",
    "resolve_tube",
]

_END_CELLS = {"strength": "tension_strength", "modulus": "modulus", "expansion": "expansion"}
_COMPOSITE_ONLY = ("interlaminar_strength", "interlaminar_toughness", "peel_strength")


def resolve_rods(ledger: Ledger) -> None:
    """Length, bow and offset of the load."""
    for key in ("rods.length", "tube.outer_diameter"):
        if key in ledger.given and key not in FITS[ledger.end] and _plain(ledger, key):
            ledger.variable(key)
    ledger.variable("rods.bow")
    offset = tables.default("rods.load_offset")
    outer = _mean(ledger, "tube.outer_diameter")
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


def resolve_end(ledger: Ledger, thread: Thread | None) -> None:
    """Strength, modulus, sizes and glued length of the metal end."""
    end = ledger.end
    _end_material(ledger, end)
    for key in ("plug.overlap", "sleeve.overlap", "sleeve.outer_diameter"):
        if key.startswith(end) and key in ledger.given:
            ledger.variable(key)
    ledger.variable(f"{end}.glued_share")
    ledger.variable(f"{end}.off_centre")
    if end == "plug":
        _hole(ledger, "plug", thread)
        return
    bore = ledger.given.get("tube.bore")
    if bore is None and not ledger.broken("tube.bore"):
        ledger.problem("tube.bore", "is missing", "", '"10 mm", or "0 mm" for a solid rod')
    elif bore is not None and _plain(ledger, "tube.bore"):
        ledger.enter(replace(QUANTITIES["tube.bore"], above_zero=False), bore, "scenario", *YOURS)


def resolve_second(ledger: Ledger, first: Thread | None) -> Thread | None:
    """Resolve what the second end has of its own, all else being as at the first."""
    if ledger.end == "sleeve":
        for key in ledger.given:
            if "second_" in key:
                ledger.problem(key, "both ends of a rod with sleeves are alike: leave it out")
        return None
    thread = resolve_thread(ledger, "second_thread")
    threaded = [key for key in ledger.given if key.startswith("second_thread.")]
    if threaded and first is None and not ledger.broken("thread", "thread.size"):
        what = "the first end has no thread: give [thread] too"
        ledger.problem(threaded[0], what)
        return None
    _end_material(ledger, "second_plug")
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


def _end_material(ledger: Ledger, table: str) -> None:
    """Strength, modulus and expansion of a metal end; of the second only what is its own."""
    material = _material(ledger, table)
    for name, column in _END_CELLS.items():
        key = f"{table}.{name}"
        if material is not None:
            cell = material.cells[column]
            ledger.variable(key, _from_cell(column, cell, fixed=name != "strength"), cell)
        elif table == "second_plug" and key in ledger.given:
            ledger.variable(key)


def _plain(ledger: Ledger, key: str) -> bool:
    """Return whether a size without part in the fit is one value, as it must be."""
    if ledger.given[key].text:
        return True
    what = f"takes one value, not a spread: the gap of a {ledger.end} does not hang on it"
    ledger.problem(key, what, "a table", 'a text such as "14.2 mm"')
    return False


def _mean(ledger: Ledger, key: str) -> float | None:
    """Return the mean of a length, resolved or still as written; None where it has a problem."""
    written = ledger.given.get(key)
    if key in ledger.variables or not isinstance(written, Given):
        return ledger.mean(key)
    try:
        return float(build(written, "normal").mean)
    except InputError:
        return None  # told where the length itself is resolved


def _hole(ledger: Ledger, table: str, thread: Thread | None) -> None:
    drill = 0.0 if thread is None else thread.major_diameter - thread.pitch
    hole = tables.default("plug.bore")
    ledger.variable(f"{table}.bore", Given("length", "", {"value": drill}), hole)


def resolve_thread(ledger: Ledger, table: str = "thread") -> Thread | None:
    """Thread of the metal end, or of the second one, and its engaged length."""
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
    """Resolve the two diameters at the glue, of which one may come from the gap on one side."""
    gap = f"{ledger.end}.radial_gap"
    keys = (*FITS[ledger.end], gap)
    there = [key for key in keys if key in ledger.given]
    misspelt = any(key.startswith(("tube.", f"{ledger.end}.")) for key in ledger.skip)
    if ledger.broken(*keys) or (misspelt and len(there) != 2):
        for key in keys[:2]:
            if key in ledger.given:
                ledger.variable(key)
        return
    if len(there) != 2:
        ledger.problem(
            gap,
            f"bore, {'plug' if ledger.end == 'plug' else 'tube'} and gap fix each other: "
            "two are needed, no more",
            ", ".join(there) or "none of them",
            f"two of {keys[0]}, {keys[1]} and {gap} (the gap on one side)",
        )
        return
    if gap not in there:
        ledger.variable(keys[0])
        ledger.variable(keys[1])
        return
    known, derived = sorted(keys[:2], key=lambda key: key not in ledger.given)
    _from_gap(ledger, known, derived, sign=-1.0 if derived == keys[1] else 1.0)


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

    key = f"{ledger.end}.radial_gap"
    written: Given = ledger.given[known]
    gap: Given = ledger.given[key]
    try:
        middle = float(build(written, "normal").mean)
        clear = build(gap, "normal")
        if float(clear.mean) <= 0:
            raise InputError(f"is not above zero (got {clear.mean:.4g} mm)")  # noqa: TRY301
        other = _straight(clear, middle, 2.0 * sign)
    except InputError as error:
        ledger.problem(key, str(error))
        return
    ledger.put(QUANTITIES[known], spread.Fixed(middle), "scenario", *YOURS)
    given = QUANTITIES[known].label
    source = f"{given} and twice the gap on one side, which holds the scatter of both"
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
