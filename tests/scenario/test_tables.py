"""The default tables against the pages they come from, and that no row lacks its source."""

import math
import tomllib
from importlib.resources import files

import pytest
from scipy import stats

from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES

CONFIDENCES = {
    "read in the source",
    "as quoted",
    "abstract only",
    "arithmetic",
    "from memory",
    "judgement, no source",
}

# Petrie, Handbook of Adhesives and Sealants, table 6.5 (as quoted): mean lap shear [psi] on
# aluminium; the last two rows from memory.
PETRIE_PSI = {
    "best": 3091,
    "etched": 2800,
    "anodised": 1935,
    "grit blasted": 1751,
    "abraded and wiped": 1540,
    "degreased": 837,
    "as received": 444,
}

# JCSS Probabilistic Model Code, part 1, one year, normal relative cost of safety measure.
JCSS_INDEX = {"nuisance": (3.7, 1e-4), "injury": (4.2, 1e-5), "death": (4.4, 5e-6)}


def all_rows():
    for name, row in tables.adhesives().items():
        for key in ("shear_strength", "shear_modulus", "toughness"):
            yield f"{name}.{key}", getattr(row, key)
    for name, row in tables.materials().items():
        for key, cell in row.cells.items():
            yield f"{name}.{key}", cell
    yield from tables.preparations().items()
    names = tomllib.loads(
        (files("jointrisk.scenario") / "data" / "defaults.toml").read_text("utf-8")
    )
    for key in names:
        yield key, tables.default(key)


@pytest.mark.parametrize(("name", "row"), list(all_rows()))
def test_every_row_says_where_it_comes_from(name, row):
    assert row.confidence in CONFIDENCES, name
    assert len(row.source) > 5, name


@pytest.mark.parametrize("name", [name for name in PETRIE_PSI if name != "best"])
def test_preparation_ratios_are_the_table_over_its_best(name):
    ratio = PETRIE_PSI[name] / PETRIE_PSI["best"]
    assert tables.preparations()[name].ratio == pytest.approx(ratio, abs=0.006)


@pytest.mark.parametrize("name", list(JCSS_INDEX))
def test_targets_are_the_code_s(name):
    row = tables.targets()[name]
    assert (row.index, row.probability) == JCSS_INDEX[name]
    # The code prints rounded probabilities beside its indices.
    assert row.probability == pytest.approx(stats.norm.sf(row.index), rel=0.35)
    assert "licensed" in row.source


@pytest.mark.parametrize("name", list(tables.adhesives()))
def test_class_ranges_hold_their_typical_value(name):
    row = tables.adhesives()[name]
    for cell in (row.shear_strength, row.toughness):
        assert cell.low < cell.typical < cell.high
        assert 0.02 < cell.cov < 0.3
        # The range is entered about the typical value with its width kept, so the middle of
        # the range must not lie far from it.
        assert math.sqrt(cell.low * cell.high) == pytest.approx(cell.typical, rel=0.15)
    assert row.shear_modulus.low < row.shear_modulus.high
    assert 0 < row.strength_at_60 < 1


@pytest.mark.parametrize("quantity", ["shear_strength", "shear_modulus", "toughness"])
def test_the_unknown_class_spans_all_others(quantity):
    rows = dict(tables.adhesives())
    unknown = getattr(rows.pop(tables.UNKNOWN_CLASS), quantity)
    others = [getattr(row, quantity) for row in rows.values()]
    assert unknown.low == min(cell.low for cell in others)
    assert unknown.high == max(cell.high for cell in others)


def test_the_unknown_class_is_no_more_heatproof_than_any_other():
    rows = dict(tables.adhesives())
    unknown = rows.pop(tables.UNKNOWN_CLASS)
    assert unknown.glass_transition <= min(row.glass_transition for row in rows.values())
    assert unknown.strength_at_60 <= min(row.strength_at_60 for row in rows.values())
    assert unknown.cure_temperature == min(row.cure_temperature for row in rows.values())


@pytest.mark.parametrize("name", list(tables.materials()))
def test_members_are_physically_possible(name):
    row = tables.materials()[name]
    modulus, shear = row.cells["modulus"].typical, row.cells["shear_modulus"].typical
    assert 0 < row.cells["tension_strength"].typical < 0.05 * modulus
    assert row.composite == ("interlaminar_strength" in row.cells) == ("peel_strength" in row.cells)
    if row.composite:  # resin across, not fibres along
        assert 20.0 <= row.cells["peel_strength"].typical <= 50.0
    if not row.composite:
        # Isotropic: G = E / 2(1 + nu) with nu of metals between 0.27 and 0.36.
        assert 0.26 < modulus / (2 * shear) - 1 < 0.37


def test_the_gap_factor_is_flat_where_joints_do_best():
    points = dict(tables.default("adhesive.gap_factor").points())
    assert points[0.1] == points[0.25] == 1.0
    assert points[0.5] == 0.85
    assert points[1.0] == 0.75
    assert points[0.0] < points[0.05] < 1.0
    assert list(points) == sorted(points)


def test_every_quantity_that_may_be_left_out_has_a_default():
    metal = ("modulus", "expansion", "strength")
    ends = tuple(f"{end}.{name}" for end in ("plug", "sleeve") for name in metal)
    from_tables = ("tube.", "adhesive.", *ends)
    must_be_given = {"rods.length", "plug.overlap", "plug.diameter", "rod_end.static_rating"}
    must_be_given |= {"sleeve.overlap", "sleeve.bore", "sleeve.outer_diameter"}
    special = {"evidence.factor", "thread.engagement", "rods.load_offset"}
    special |= {key for key in QUANTITIES if key.startswith("backup.")}  # by pin and material
    for key, quantity in QUANTITIES.items():
        if "second_" in key:  # what the second end does not say is as at the first
            continue
        if key.startswith(from_tables) or key in must_be_given | special:
            continue
        if key.startswith("preparation."):
            assert tables.default(key).value in tables.preparations()
            continue
        assert tables.default(key).given(quantity.dimension)


def test_the_worth_of_evidence_falls_from_own_pulls_to_a_data_sheet():
    rows = [
        tables.default(f"evidence.{name}").given("ratio").numbers
        for name in ("own pulls", "own coupons", "data sheet")
    ]
    assert [row["mean"] for row in rows] == [1.0, 1.0, 0.6]
    assert [row["cov"] for row in rows] == [0.08, 0.20, 0.30]
    same = tables.default("evidence.class default").given("ratio").numbers
    assert same == rows[-1]
