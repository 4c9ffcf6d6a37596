"""Resolving the bond: adhesive, what its evidence is worth, surfaces, weak bonds, batch, model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, cast

from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.given import Given
from jointrisk.scenario.ledger import YOURS, Ledger
from jointrisk.scenario.members import points_text

if TYPE_CHECKING:
    from jointrisk.scenario.tables import Adhesive, Cell, Points
    from jointrisk.scenario.types import Origin

__all__ = ["Bond", "resolve_bond"]

Evidence = Literal["class default", "data sheet", "own coupons", "own pulls"]
_LABORATORY = ("class default", "data sheet")
_MOST_GAIN = 1 / 0.6
"""A surface better than a workshop's cannot give more than the laboratory's strength."""


@dataclass(frozen=True, slots=True)
class Bond:
    """The plain facts of the bond; its numbers are in the ledger."""

    adhesive_class: str
    evidence: Evidence
    toughness_given: bool
    strength_by_temperature: Points
    hard_stop: float
    gap_factor: Points


def resolve_bond(ledger: Ledger) -> Bond:
    """Resolve everything about the bond."""
    name = ledger.given.get("adhesive.class")
    row = tables.adhesives()[name or tables.UNKNOWN_CLASS]
    if name is not None:
        ledger.assume("adhesive.class", name, "scenario", *YOURS)
    evidence = _evidence(ledger)
    _numbers(ledger, row)
    failure_strain = "adhesive.failure_strain" in ledger.given
    if failure_strain and "adhesive.toughness" in ledger.given:
        ledger.problem(
            "adhesive.failure_strain",
            "says the same as adhesive.toughness in another way: one of them is enough",
            "both",
        )
    _surfaces(ledger, evidence)
    for key in _PLAIN:
        ledger.variable(key)
    hard_stop, curve = _heat(ledger, row)
    gap = tables.default("adhesive.gap_factor")
    points = gap.points()
    ledger.assume(
        "adhesive.gap_factor", points_text(points, "mm"), "default", gap.source, gap.confidence
    )
    return Bond(name or "", evidence, not failure_strain, curve, hard_stop, points)


_PLAIN = (
    "weak_bonds.lone_weight",
    "weak_bonds.bad_batch_weight",
    "weak_bonds.share_in_bad_batch",
    "weak_bonds.keeps",
    "batch.bond_factor",
    "model.bond_factor",
    "model.load_factor",
    "model.gap_factor_exponent",
    "model.toughness_exponent",
)


def _evidence(ledger: Ledger) -> Evidence:
    """Return how the adhesive's strength is known, and enter what that is worth."""
    named = ledger.given.get("adhesive.evidence")
    strength = "adhesive.shear_strength" in ledger.given
    if named is None and strength:
        named = "data sheet"
        ledger.assume(
            "adhesive.evidence", named, "default", "strength given, evidence not", _JUDGED
        )
        ledger.warn(
            "evidence-not-stated",
            "adhesive.shear_strength is given without adhesive.evidence: it is taken as a data "
            "sheet's number, of which a workshop reaches about 0.6. Write evidence = "
            '"own coupons" or "own pulls" if you measured it.',
        )
    elif named is None:
        named = "class default"
        ledger.assume("adhesive.evidence", named, "default", "nothing of your own given", _JUDGED)
    else:
        ledger.assume("adhesive.evidence", named, "scenario", *YOURS)
        missing = not strength and not ledger.broken("adhesive.shear_strength")
        if named != "class default" and missing:
            ledger.problem(
                "adhesive.shear_strength",
                f'is missing, though evidence = "{named}" says where it comes from',
            )
    row = tables.default(f"evidence.{named}")
    ledger.enter(
        QUANTITIES["evidence.factor"], row.given("ratio"), "default", row.source, row.confidence
    )
    return cast("Evidence", named)


_JUDGED = tables.CONFIDENCE["J"]


def _numbers(ledger: Ledger, row: Adhesive) -> None:
    """Strength, modulus and toughness of the adhesive, with the range of its class."""
    _ranged(ledger, "shear_strength", row.shear_strength, given="adhesive.shear_strength")
    modulus = row.shear_modulus
    assert modulus.low is not None and modulus.high is not None  # noqa: S101, PT018
    between = {"p05": modulus.low, "p95": modulus.high}
    ledger.variable("adhesive.shear_modulus", Given("stress", "", between), modulus)
    strain = "adhesive.failure_strain" in ledger.given
    if strain:
        ledger.variable("adhesive.failure_strain")
    _ranged(
        ledger,
        "toughness",
        row.toughness,
        given="adhesive.failure_strain" if strain else "adhesive.toughness",
    )


def _ranged(ledger: Ledger, name: str, cell: Cell, *, given: str) -> None:
    """Enter a quantity's scatter and, where the class speaks for it, the range of the class."""
    key = f"adhesive.{name}"
    quantity = QUANTITIES[key]
    assert cell.typical and cell.low and cell.high and cell.cov  # noqa: S101, PT018
    if given == key:
        numbers = {"mean": cell.typical, "cov": cell.cov}
        ledger.variable(key, Given(quantity.dimension, "", numbers), cell)
    own = given in ledger.given
    spread_of_class = Given("ratio", "", {"value": 1.0})
    source, confidence = "no range: the number is your own", "given"
    if not own:
        # Median 1, and as wide as the class: the square root of high over low on either side.
        width = (cell.high / cell.low) ** 0.5
        spread_of_class = Given("ratio", "", {"p05": 1 / width, "p95": width})
        source, confidence = cell.source, cell.confidence
    origin: Origin = "scenario" if own else "default"
    ledger.enter(QUANTITIES[f"{key}_range"], spread_of_class, origin, source, confidence)


def _surfaces(ledger: Ledger, evidence: Evidence) -> None:
    """Strength ratios of the two surfaces against the surface of the evidence."""
    surface = ledger.given.get("adhesive.evidence_surface")
    base = surface or "abraded and wiped"
    if evidence != "own pulls" or surface:
        origin: Origin = "scenario" if surface else "default"
        source, mark = YOURS if surface else ("base of the table for laboratory figures", _JUDGED)
        ledger.assume("adhesive.evidence_surface", base, origin, source, mark)
    _other_end(ledger)
    for member in (ledger.end, "tube", *(("second_plug", "second_tube") * (ledger.end == "plug"))):
        key = f"preparation.{member}"
        used = ledger.given.get(key)
        if member.startswith("second") and used is None:
            continue  # as at the first end
        if evidence == "own pulls" and not _differs(ledger, key, used, surface):
            found = Given("ratio", "", {"value": 1.0})
            source = "your own pulls already contain the surface"
            ledger.enter(QUANTITIES[key], found, "default", source, "arithmetic")
        elif isinstance(used, Given):
            ledger.variable(key)
        elif not ledger.broken(key):
            _named(ledger, key, used, base, evidence)


def _other_end(ledger: Ledger) -> None:
    """Refuse the surface of a metal end that is not there."""
    other = "sleeve" if ledger.end == "plug" else "plug"
    if f"preparation.{other}" in ledger.given:
        what = f"there is no {other}: write preparation.{ledger.end}"
        ledger.problem(f"preparation.{other}", what)


def _differs(ledger: Ledger, key: str, used: str | Given | None, surface: str | None) -> bool:
    """Return whether a preparation stands beside own pulls that were made on another one."""
    if used is None or used == surface or (isinstance(used, str) and surface is None):
        return False
    ledger.warn(
        "preparation-already-contained",
        f'{key} is given beside evidence = "own pulls": pulls of like rods already contain the '
        "surface. The ratio is applied on top; leave it out if the pulled rods were the same.",
    )
    return True


def _named(ledger: Ledger, key: str, used: str | None, base: str, evidence: Evidence) -> None:
    """Enter the ratio of two rows of the table."""
    origin: Origin = "scenario" if used else "default"
    taken = used or tables.default(key).value
    row, against = tables.preparations()[taken], tables.preparations()[base]
    ratio = row.ratio / against.ratio
    if evidence in _LABORATORY:
        ratio = min(ratio, _MOST_GAIN)
    elif ratio > 1:
        ledger.warn(
            "surface-gain-not-counted",
            f"{key}: {taken} is a better surface than that of your own tests ({base}), but no more "
            "strength is counted than those tests showed.",
        )
    source = f"{taken} against {base}: {row.source}"
    if not used:
        source = f"{tables.default(key).source}; {source}"
    confidence = row.confidence if against.confidence != "from memory" else against.confidence
    found = Given("ratio", "", {"mean": ratio, "cov": row.cov})
    ledger.enter(QUANTITIES[key], found, origin, source, confidence)


def _heat(ledger: Ledger, row: Adhesive) -> tuple[float, Points]:
    """Hard stop [degC] and the strength left on the way to it."""
    cure = Given("temperature", "", {"value": row.cure_temperature})
    ledger.variable("adhesive.cure_temperature", cure, row)
    stop = ledger.given.get("adhesive.hard_stop_temperature")
    hard_stop = row.glass_transition if stop is None else cast("float", stop.plain)
    source, mark = (row.source, row.confidence) if stop is None else YOURS
    origin: Origin = "default" if stop is None else "scenario"
    text = points_text(((hard_stop, 0.0),), "degC").removeprefix("0 at ")
    dry = "dry glass transition of the class: " if stop is None else ""
    ledger.assume("adhesive.hard_stop_temperature", text, origin, dry + source, mark)
    points: Points | None = ledger.given.get("adhesive.strength_by_temperature")
    if points is not None:
        shown = points_text(points, "degC")
        ledger.assume("adhesive.strength_by_temperature", shown, "scenario", *YOURS)
        return hard_stop, points
    line = tables.default("adhesive.strength_by_temperature")
    reference, middle = 23.0, 60.0
    points = ((reference, 1.0), (middle, row.strength_at_60))
    if row.glass_transition > middle:
        points += ((row.glass_transition, line.row["left_at_hard_stop"]),)
    shown = points_text(points, "degC")
    ledger.assume(
        "adhesive.strength_by_temperature", shown, "default", line.source, line.confidence
    )
    return hard_stop, points
