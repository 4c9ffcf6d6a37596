"""Resolving what else is in line with the rod: rod ends, a mechanical back-up, other parts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from jointrisk import units
from jointrisk.errors import InputError
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import Quantity
from jointrisk.scenario.given import Given, read_given
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.types import FITS, Backup, Part, RodEnd, Thread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.scenario.shape import PartTable
    from jointrisk.scenario.types import Scope

__all__ = ["resolve_backup", "resolve_parts", "resolve_rod_end"]

_PLANES = {"cross pin": 2, "bolt": 2, "screw": 1}
"""Sections in which each kind is sheared; so many walls it bears on too [-]."""
_MUCH_GLUE = 0.02
"""Share of the glued area that a hole may take without a word [-]."""


def resolve_parts(ledger: Ledger, tables_: Sequence[PartTable]) -> tuple[Part, ...]:
    """Return the other parts in line whose limits could be read."""
    parts = []
    names: dict[str, int] = {}
    for number, table in enumerate(tables_, start=1):
        at = f"part[{number}]"
        if table.name is None:
            continue
        if table.name in names:
            other = f"part[{names[table.name]}]"
            ledger.problem(f"{at}.name", f"is the name of {other} too", f'"{table.name}"')
            continue
        names[table.name] = number
        if table.pull is None and table.push is None:
            if not ledger.broken(at, f"{at}.pull", f"{at}.push"):
                ledger.problem(at, "holds nothing: give pull, push or both", f'"{table.name}"')
            continue
        parts.append(_part(ledger, at, table))
    return tuple(parts)


def _part(ledger: Ledger, at: str, table: PartTable) -> Part:
    name = table.name or ""
    place = _said(ledger, f"part.{name}.at", table.at, "part.at")
    in_rig = _said(ledger, f"part.{name}.in_rig", table.in_rig, "part.in_rig")
    part = Part(name, place, in_rig)
    for direction in ("pull", "push"):
        force = getattr(table, direction)
        if force is not None:
            scope: Scope = "rod" if place == "rod" else "joint"
            label = f"{name}, what it holds in a {direction}"
            key = part.key(direction)
            row = Quantity(key, label, "force", scope, above_zero=True)
            before = len(ledger.problems)
            ledger.enter(row, force, "scenario", *YOURS)
            told = ledger.problems[before:]
            ledger.problems[before:] = [replace(p, key=f"{at}.{direction}") for p in told]
    return part


def _said(ledger: Ledger, key: str, value: Any, default: str) -> Any:
    """Return a fact of one entry of a list, or its default, and write it down."""
    row = tables.default(default)
    taken = row.value if value is None else value
    text = taken if isinstance(taken, str) else "yes" if taken else "no"
    if value is None:
        ledger.assume(key, text, "default", row.source, row.confidence)
    else:
        ledger.assume(key, text, "scenario", *YOURS)
    return taken


# Rod ends --------------------------------------------------------------------------------------


def resolve_rod_end(ledger: Ledger) -> RodEnd | None:
    """Return the rod end screwed into each plug, None where the file names none."""
    if not _named(ledger, "rod_end"):
        return None
    if "rod_end.static_rating" in ledger.given:
        ledger.variable("rod_end.static_rating")
    ledger.variable("rod_end.strength_ratio")
    use = ledger.given.get("rod_end.use")
    if use is not None:
        ledger.assume("rod_end.use", use, "scenario", *YOURS)
    shank = _shank(ledger)
    in_rig = ledger.fact("rod_end.in_rig", ledger.given.get("rod_end.in_rig"))
    return RodEnd(use, shank, bool(in_rig))


def _named(ledger: Ledger, table: str) -> bool:
    return any(key.startswith(f"{table}.") for key in ledger.given)


def _shank(ledger: Ledger) -> Thread | None:
    """Return the thread of the rod end's shank, which is judged apart where it is given."""
    from jointrisk.mechanics import threads

    size = ledger.given.get("rod_end.shank")
    if size is None:
        if "rod_end.shank_strength" in ledger.given and not ledger.broken("rod_end.shank"):
            what = "has no meaning without rod_end.shank, the size of its thread"
            ledger.problem("rod_end.shank_strength", what)
        return None
    ledger.variable("rod_end.shank_strength")
    try:
        found = threads.find(size)
    except InputError as error:
        ledger.problem("rod_end.shank", str(error))
        return None
    ledger.assume("rod_end.shank", found.size, "scenario", *YOURS)
    return Thread(found.size, found.major_diameter, found.pitch)


# The back-up -----------------------------------------------------------------------------------


def resolve_backup(ledger: Ledger) -> Backup | None:
    """Return the pin, bolt or screw through tube and insert, None where the file names none.

    Tube, plugs and their fit are resolved before.
    """
    if not _named(ledger, "backup"):
        return None
    kind = ledger.given.get("backup.kind")
    if kind is not None:
        ledger.assume("backup.kind", kind, "scenario", *YOURS)
    for key in ("backup.diameter", "backup.end_distance", "backup.insert_end_distance"):
        if key in ledger.given:
            ledger.variable(key)
    across = ledger.mean("backup.diameter")
    if across is not None or "backup.hole" in ledger.given:
        close = Given("length", "", {"value": across or 0.0})
        ledger.variable("backup.hole", close, tables.default("backup.hole"))
    _pin(ledger)
    _walls(ledger)
    _check_hole(ledger, kind)
    return Backup(kind or "", _PLANES.get(kind or "", 2), _PLANES.get(kind or "", 2))


def _pin(ledger: Ledger) -> None:
    """Shear strength of the pin, its own or that of its material."""
    key, name = "backup.shear_strength", ledger.given.get("backup.material")
    if name is not None:
        ledger.assume("backup.material", name, "scenario", *YOURS)
    if key in ledger.given:
        ledger.variable(key)
    elif name is None:
        if not ledger.broken(key, "backup.material"):
            ledger.problem(key, "is missing", "", "shear_strength, or the material of the pin")
    elif tables.materials()[name].composite:
        ledger.problem("backup.material", "is not a metal", f'"{name}"')
    else:
        row, cell = tables.default(key), tables.materials()[name].cells["tension_strength"]
        ratio = row.row["times_tensile_strength"]
        fallback = _about((ratio * (cell.typical or 0.0), cell.cov or 0.0))
        told = replace(
            cell, source=f"{ratio:g} of the tensile strength ({row.source}); {cell.source}"
        )
        ledger.variable(key, fallback, told)


def _about(pair: tuple[float, float]) -> Given:
    """Return a stress of a mean [MPa] and a coefficient of variation [-]."""
    mean, cov = pair
    if cov == 0.0:
        return Given("stress", "", {"value": mean})
    return Given("stress", "", {"mean": mean, "cov": cov})


def _walls(ledger: Ledger) -> None:
    """Strengths of tube and insert round the hole, the weaker insert's for both."""
    tube = tables.materials().get(ledger.given.get("tube.material", ""))
    plugs = _plugs(ledger)
    sides: list[tuple[str, list[tuple[tables.Material, str]]]] = [("insert", plugs)]
    if tube is not None:
        sides.insert(0, ("tube", [(tube, "tube.tension_strength")]))
        row = tables.default("backup.stress_concentration")
        taken = row.row["composite" if tube.composite else "metal"]
        ledger.variable("backup.stress_concentration", read_given(taken, "ratio"), row)
    for side, members in sides:
        for what, limit in (("bearing", _bearing), ("shear", _wall_shear)):
            row = tables.default(f"backup.{'wall_' * (what == 'shear')}{what}_strength")
            found = [limit(ledger, row, material, key) for material, key in members]
            weaker = min((pair for pair in found if pair is not None), default=None)
            key = f"backup.{side}_{what}_strength"
            if weaker is not None or key in ledger.given:
                ledger.variable(key, _about(weaker or (0.0, 0.0)), row)


def _plugs(ledger: Ledger) -> list[tuple[tables.Material, str]]:
    """Return material and key of the strength of each metal end, once where they are alike."""
    first = ledger.given.get(f"{ledger.end}.material")
    found = []
    for table in ledger.ends:
        name, key = ledger.given.get(f"{table}.material", first), f"{table}.strength"
        if name is not None and key in ledger.variables:
            found.append((tables.materials()[name], key))
    return found


def _bearing(
    ledger: Ledger, row: tables.Default, material: tables.Material, key: str
) -> tuple[float, float] | None:
    """Return bearing strength [MPa] and its CoV; None where the strength could not be read."""
    if not material.composite:
        return _times(ledger, key, row.row["metal_times_tensile_strength"])
    most = _own(ledger, key, material, "compression_strength")
    return min(units.parse(row.row["composite"], "stress"), most), row.row["composite_cov"]


def _wall_shear(
    ledger: Ledger, row: tables.Default, material: tables.Material, key: str
) -> tuple[float, float] | None:
    """Return shear strength in the wall [MPa] and its CoV; None where it could not be read."""
    if not material.composite:
        return _times(ledger, key, row.row["metal_times_tensile_strength"])
    plies = _own(ledger, key, material, "interlaminar_strength")
    share = row.row["composite_times_interlaminar_strength"]
    return share * plies, material.cells["interlaminar_strength"].cov or 0.0


def _times(ledger: Ledger, key: str, ratio: float) -> tuple[float, float] | None:
    """Return a multiple of a resolved strength with its scatter."""
    found = ledger.variables.get(key)
    if found is None:
        return None
    mean = float(found.spread.mean)
    return ratio * mean, float(found.spread.sd) / mean


def _own(ledger: Ledger, key: str, material: tables.Material, name: str) -> float:
    """Return a strength of the tube as resolved, or of a plug as its material has it [MPa]."""
    resolved = ledger.mean(f"tube.{name}") if key.startswith("tube.") else None
    return resolved if resolved is not None else material.cells[name].typical or 0.0


def _check_hole(ledger: Ledger, kind: str | None) -> None:
    """Refuse a hole that does not fit pin, insert and ends; warn of the glue it takes."""
    pin, hole = ledger.mean("backup.diameter"), ledger.mean("backup.hole")
    if hole is None or hole <= 0.0:
        return
    if pin is not None and hole < pin:
        ledger.problem("backup.hole", "is smaller than the pin", _mm(hole), f"{_mm(pin)} or more")
    key = "backup.hole" if "backup.hole" in ledger.given else "backup.diameter"
    inner: tuple[str, ...] = ("plug.diameter", "second_plug.diameter")
    if ledger.end == "sleeve":
        inner = FITS["sleeve"][1:]
    found = [ledger.mean(name) for name in inner]
    narrow = min((across for across in found if across is not None), default=None)
    if narrow is not None and hole >= narrow:
        what = f"leaves nothing of the {inner[0].split('.')[0]}"
        ledger.problem(key, what, _mm(hole), f"below {_mm(narrow)}")
        return
    _check_ends(ledger, hole)
    overlap = _shortest(ledger)
    if overlap is not None and narrow is not None:
        taken = _PLANES.get(kind or "", 2) * hole**2 / 4.0 / (narrow * overlap)
        if taken > _MUCH_GLUE:
            ledger.warn(
                "backup-hole-in-bond",
                f"the hole of the back-up takes about {100 * taken:.2g} % of the glued area, "
                f"which is not counted by itself: lower {ledger.end}.glued_share by as much.",
            )


def _check_ends(ledger: Ledger, hole: float) -> None:
    """Refuse a hole that cuts an end, or lies past the insert."""
    half, mouth = hole / 2.0, ledger.mean("backup.end_distance")
    for name in ("end_distance", "insert_end_distance"):
        distance = ledger.mean(f"backup.{name}")
        if distance is not None and 0.0 < distance <= half:
            what = "lies inside the hole, which would cut the end"
            ledger.problem(f"backup.{name}", what, _mm(distance), f"above {_mm(half)}")
            return
    overlap = _shortest(ledger)
    if mouth is None or overlap is None or ledger.broken("backup.insert_end_distance"):
        return
    if "backup.insert_end_distance" not in ledger.given:
        row = tables.default("backup.insert_end_distance")
        told = f"{_mm(max(overlap - mouth, 0.0))} on average"
        ledger.assume("backup.insert_end_distance", told, "default", row.source, row.confidence)
        if mouth + half >= overlap:
            what = "puts the hole past the insert's inner end"
            most = f"below {_mm(overlap - half)}, or a longer insert's insert_end_distance"
            ledger.problem("backup.end_distance", what, _mm(mouth), most)


def _shortest(ledger: Ledger) -> float | None:
    """Return the shorter mean overlap of the two ends [mm]."""
    found = [ledger.mean(f"{table}.overlap") for table in ledger.ends]
    return min((length for length in found if length is not None), default=None)


def _mm(value: float) -> str:
    return units.format_value(value, "mm")
