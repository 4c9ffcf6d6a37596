"""What acts across the glue: peel against the plies, and a gap that heat changes."""

import math

import numpy as np
import pytest

import jointrisk
from jointrisk.model.rodset import rod_set
from jointrisk.scenario import new
from jointrisk.study import mouth

TEXT = """
schema = 1
[life]
duration = "10 years"
[rods]
length = "300 mm"
[tube]
material = "{tube}"
outer_diameter = "{outer} mm"
bore = "14.4 mm"
{peel}
[plug]
material = "{plug}"
diameter = "14 mm"
overlap = "25 mm"
bore = "0 mm"
[adhesive]
class = "two-part toughened epoxy"
evidence = "own pulls"
shear_strength = "30 MPa"
shear_modulus = "600 MPa"
cure_temperature = "20 degC"
[service]
workshop_temperature = "20 degC"
hottest = "{hot} degC"
coldest = "{cold} degC"
humidity = 0.3
{loads}
"""
PULL = """
[[load]]
name = "jerk"
kind = "annual_maximum"
direction = "{}"
size = {{ mean = "{} N", cov = 0.2 }}
"""


PULLED = PULL.format("pull", 900)
HUM = """
[[load]]
name = "hum"
kind = "cycles"
size = "2 kN"
mean = "500 N"
rate = "9 / year"
"""


def read(*, loads=PULLED, **words):
    usual = {"tube": "carbon tube, pultruded", "plug": "aluminium 6082-T6", "outer": 18}
    usual |= {"hot": 30, "cold": 10, "peel": ""}
    return jointrisk.load_text(TEXT.format(loads=loads, **(usual | words)))


def told(scenario):
    found = [*mouth._peel(rod_set(scenario)), *mouth._thermal_gap(scenario)]
    return {warning.code: warning.text for warning in found}


# The largest pull --------------------------------------------------------------------------------


def largest_of(mean, years):
    """Median of the largest of `years` Gumbel years with a CoV of 0.2."""
    scale = 0.2 * mean * math.sqrt(6) / math.pi
    return mean - np.euler_gamma * scale + scale * math.log(years / math.log(2))


def test_it_is_the_middling_one_of_the_life_and_counts_what_is_always_there():
    factor = read().variables["model.load_factor"].spread.mean
    assert mouth.largest_pull(read()) == pytest.approx(factor * largest_of(900, 10))
    steady = '\n[[load]]\nname = "spring"\nkind = "sustained"\nsize = "{} N"\n'
    for size in (150, -400):
        loads = PULL.format("both", 900) + steady.format(size)
        wanted = factor * (largest_of(900, 10) + size)
        assert mouth.largest_pull(read(loads=loads)) == pytest.approx(wanted)
    assert mouth.largest_pull(read(loads=HUM)) == pytest.approx(2500 * factor)


def test_a_push_does_not_peel():
    scenario = read(loads=PULL.format("push", 9e5), peel='peel_strength = "0.01 MPa"')
    assert mouth.largest_pull(scenario) == 0.0
    assert told(scenario) == {}
    assert told(read(loads="")) == {}


# Peel --------------------------------------------------------------------------------------------


def by_hand(scenario, pull):
    """Return the peel at the mouth from the numbers of the file alone, the layer elastic."""
    mean = {key: float(found.spread.ppf(0.5)) for key, found in scenario.variables.items()}
    length = 25.0 * mean["plug.glued_share"]
    r, gap, outer = 7.0, 0.2, mean["tube.outer_diameter"] / 2
    tube = mean["tube.modulus"] * math.pi * (outer**2 - (r + gap) ** 2)
    plug = 70e3 * math.pi * r**2
    compliance = (r + gap / 2) * math.log(1 + gap / r) / 600.0
    rate = math.sqrt(2 * math.pi * (r + gap / 2) * (1 / tube + 1 / plug) / compliance)
    along = rate * length
    shear = pull * (1 / tube + math.cosh(along) / plug) / (compliance * rate * math.sinh(along))
    h, middle = outer - r - gap, (outer + r + gap) / 2
    layer = 2 * 600.0 * (1 - 0.38) / (1 - 2 * 0.38) / gap
    hoop = 10e3 * h / middle**2
    bending = mean["tube.modulus"] * h**3 / 12 / (1 - 0.3**2)
    b = ((layer + hoop) / 4 / bending) ** 0.25
    reach = (2 * b + rate) / (2 * b**2 + 2 * b * rate + rate**2)
    return shear * h * b**2 * layer / (layer + hoop) * reach


def test_the_stress_is_that_of_a_wall_on_an_elastic_layer():
    scenario = read()
    found = mouth.mouth_tension(rod_set(scenario), 500.0)
    np.testing.assert_allclose(found, by_hand(scenario, 500.0), rtol=1e-9)


def test_a_layer_that_yields_passes_on_no_more():
    rods = rod_set(read())
    least, most, beyond = (mouth.mouth_tension(rods, pull).max() for pull in (1e3, 1e6, 1e8))
    assert least < most == beyond


def test_a_pull_beyond_what_the_plies_hold_is_warned_of_with_figures_and_remedies():
    low = read(peel='peel_strength = "0.2 MPa"')
    said = told(low)["peel-at-the-mouth"]
    stress = mouth.mouth_tension(rod_set(low), mouth.largest_pull(low)).max()
    pull = mouth.largest_pull(low)
    for part in (f"{float(f'{stress:.2g}'):g} MPa", f"{float(f'{pull:.2g}'):,g} N", "0.2 MPa"):
        assert part in said
    for remedy in ("taper", "fillet", "softer", "thicker layer", "not counted"):
        assert remedy in said
    edge = [read(peel=f'peel_strength = "{float(stress * f)!r} MPa"') for f in (0.999, 1.001)]
    assert ["peel-at-the-mouth" in told(one) for one in edge] == [True, False]


def test_a_metal_tube_has_no_plies_to_part():
    assert told(read(tube="steel S355", loads=PULL.format("pull", 1e6))).keys() <= {"thermal-gap"}


def test_a_thinner_wall_peels_less():
    stress = [mouth.mouth_tension(rod_set(read(outer=d)), 500.0).max() for d in (16, 18, 22)]
    assert stress == sorted(stress)


def test_a_sleeve_tears_at_the_tube_s_plies():
    text = new("sleeve-over-tube").replace(
        'bore = "7 mm"', 'bore = "7 mm"\npeel_strength = "1e-3 MPa"'
    )
    scenario = jointrisk.load_text(text)
    assert "mouth of the sleeve" in told(scenario)["peel-at-the-mouth"]


# The gap -----------------------------------------------------------------------------------------


def test_an_aluminium_plug_over_60_k():
    """(23.5e-6 - 0) x 7 mm x 60 K = 0.00987 mm, at most, 4.9 % of 0.2 mm; a bit more is told."""
    ((change, gap),) = mouth.gap_changes(read(), -40.0)
    assert change == pytest.approx(23.5e-6 * 7.0 * 60.0)
    assert change == pytest.approx(0.010, abs=2e-4)
    assert gap == pytest.approx(0.2)
    assert "thermal-gap" not in told(read(cold=-40))
    said = told(read(cold=-45))["thermal-gap"]
    for part in ("20 °C", "-45 °C", "coldest", "0.2 mm", "opens by up to 0.011 mm", "5.3 %"):
        assert part in said
    for remedy in ("titanium", "steel", "thicker", "softer", "not counted"):
        assert remedy in said


def test_heat_closes_it():
    assert "hottest" in told(read(hot=90))["thermal-gap"]
    assert "closes by up to 0.012 mm" in told(read(hot=90))["thermal-gap"]


def test_titanium_and_metal_tubes_change_it_less():
    assert told(read(cold=-45, plug="titanium Ti-6Al-4V")) == {}
    metal = read(tube="aluminium 6082-T6")
    ((change, _),) = mouth.gap_changes(metal, -40.0)
    assert change == pytest.approx(23.5e-6 * (7.2 - 7.0) * -60.0)
    steel = read(tube="steel S355", cold=-90)
    ((change, _),) = mouth.gap_changes(steel, -90.0)
    assert change == pytest.approx((11.5e-6 * 7.2 - 23.5e-6 * 7.0) * -110.0)


def test_a_steel_end_is_not_told_to_be_of_steel():
    said = told(read(plug="steel S355", cold=-120))["thermal-gap"]
    assert "titanium" not in said
    assert "A thicker and softer layer lessens it" in said


def test_a_metal_tube_s_change_is_exact():
    said = told(read(tube="steel S355", cold=-120))["thermal-gap"]
    assert "up to" not in said
    assert "opens by 0.011 mm" in said


def test_a_sleeve_opens_in_heat():
    text = new("sleeve-over-tube").replace(
        'material = "steel S355"\nouter', 'material = "aluminium 6082-T6"\nouter'
    )
    scenario = jointrisk.load_text(text)
    cure = scenario.variables["adhesive.cure_temperature"].spread.mean
    ((warm, gap),) = mouth.gap_changes(scenario, cure + 50.0)
    assert warm == pytest.approx(23.5e-6 * 5.15 * 50.0)
    assert gap == pytest.approx(0.15)


def test_the_worse_of_two_ends_is_told():
    text = TEXT.format(
        tube="carbon tube, pultruded", plug="titanium Ti-6Al-4V", outer=18, hot=30, cold=-45,
        peel="", loads="",
    ) + '[second_plug]\nmaterial = "aluminium 6082-T6"\n'  # fmt: skip
    scenario = jointrisk.load_text(text)
    changes = [change for change, _ in mouth.gap_changes(scenario, -45.0)]
    assert changes == pytest.approx([8.8e-6 * 7 * 65, 23.5e-6 * 7 * 65])
    assert "0.011 mm" in told(scenario)["thermal-gap"]
