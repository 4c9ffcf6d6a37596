"""An assessment of rods with sleeves: sizes, ranking, warnings, and a closed form."""

import json
import math

import pytest
from scipy import stats

import jointrisk
from jointrisk.model.members import SLEEVE
from jointrisk.scenario import new
from jointrisk.study.geometry import geometry

TEXT = """
schema = 1
[life]
duration = "1 years"
[rods]
length = "120 mm"
[tube]
material = "aluminium 7075-T6"
outer_diameter = { mean = "12 mm", sd = "0.03 mm" }
bore = "0 mm"
[sleeve]
material = "aluminium 7075-T6"
outer_diameter = "18 mm"
bore = { mean = "12.4 mm", sd = "SD mm" }
overlap = "20 mm"
glued_share = 1.0
off_centre = 0.0
[adhesive]
class = "two-part toughened epoxy"
evidence = "own pulls"
shear_strength = { mean = "10 MPa", cov = 0.15, scope = "rod" }
toughness = "1000 N/mm"
[weak_bonds]
lone_weight = 0.0
bad_batch_weight = 0.0
[batch]
bond_factor = 1.0
[model]
bond_factor = 1.0
load_factor = 1.0
gap_factor_exponent = 0.0
[service]
workshop_temperature = "23 degC"
hottest = "23 degC"
coldest = "23 degC"
humidity = 0.3
[[load]]
name = "jerk"
kind = "annual_maximum"
direction = "pull"
size = { mean = "4 kN", cov = 0.2 }
"""


@pytest.fixture(scope="module")
def found():
    text = TEXT.replace("SD mm", "0.02 mm") + '[thread]\nsize = "M6"\n'
    return jointrisk.assess(jointrisk.load_text(text), curves=False)


def test_the_sizes_are_those_of_the_file():
    (end,) = geometry(jointrisk.load_text(new("sleeve-over-tube"))).ends
    assert end.kind == "sleeve"
    assert (end.tube_outer_mm, end.tube_bore_mm) == (10.0, 7.0)
    assert (end.sleeve_outer_mm, end.sleeve_bore_mm) == (13.0, pytest.approx(10.3))
    assert end.radial_gap_mm == pytest.approx(0.15)
    assert (end.plug_diameter_mm, end.plug_bore_mm) == (None, None)
    assert (end.inner_mm, end.outer_mm, end.widest_mm) == (10.0, end.sleeve_bore_mm, 13.0)
    assert end.wetted_overlap_mm == pytest.approx(0.875 * 20.0)
    assert end.thread_drill_mm == pytest.approx(5.0)


def test_a_bond_that_yields_fails_by_strength_times_area(found):
    """The gap's scatter moves the middle of the layer by a thousandth: left out here."""
    area = 2.0 * math.pi * 6.1 * 20.0
    s = math.sqrt(math.log1p(0.15**2) + math.log1p(0.08**2))
    mean_log = math.log(10.0 * area) - s**2 / 2.0
    scale = 0.2 * 4000.0 * math.sqrt(6.0) / math.pi
    load = stats.gumbel_r(4000.0 - 0.5772156649 * scale, scale)
    exact = stats.lognorm(s, scale=math.exp(mean_log)).expect(load.sf, lb=1e3, ub=4e4)
    chance = found.failure_probability
    assert chance.estimate == pytest.approx(exact, rel=0.05)
    assert chance.low * 0.97 < exact < chance.high * 1.03


def test_the_gap_is_asked_about_by_both_diameters(found):
    names = {entry.variable: entry.name for entry in found.ranking}
    assert names["sleeve.bore - tube.outer_diameter"] == "gap between sleeve and tube"
    assert not {"sleeve.bore", "tube.outer_diameter"} & set(names)
    assert "sleeve.strength" in names


def test_modes_and_warnings_speak_of_the_sleeve(found):
    assert SLEEVE in {mode.name for mode in found.modes}
    told = {warning.code: warning.text for warning in found.warnings}
    assert "without holding the sleeve" in told["lock-nut-torque"]
    torque = 10.0 * 2.0 * math.pi * 6.1**2 * 20.0 / 1000.0
    assert f"about {float(f'{torque:.2g}'):g} N m" in told["lock-nut-torque"]


def test_facts_are_of_the_layer(found):
    assert found.facts["median_gap_mm"] == pytest.approx(0.2)
    stress = found.facts["mean_shear_stress_at_median_mpa"]
    area = math.pi * 12.2 * 20.0
    assert stress * area == pytest.approx(found.strength_new.median)


def test_the_document_names_the_kind(found):
    (end,) = json.loads(json.dumps(found.to_dict()))["geometry"]["ends"]
    assert (end["kind"], end["sleeve_outer_mm"], end["plug_diameter_mm"]) == ("sleeve", 18.0, None)


def test_sleeves_that_do_not_go_over_their_tubes_are_left_out():
    text = TEXT.replace("SD mm", "0.15 mm")
    assessed = jointrisk.assess(jointrisk.load_text(text), curves=False)
    told = {warning.code: warning.text for warning in assessed.warnings}
    assert "sleeve that does not go over its tube" in told["parts-do-not-fit"]
    none = stats.norm.sf(0.4 / math.hypot(0.15, 0.03))
    share = 1.0 - (1.0 - none) ** 2
    assert assessed.facts["share_not_assembled"] == pytest.approx(share, rel=0.25)
