"""A scenario with one quantity moved: what goes along, what stays, and what is refused."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import jointrisk
from jointrisk import scenario
from jointrisk.errors import InputError
from jointrisk.scenario.moved import GAP, LIFE, LOADS, movable, moved, place_of, read_place

LOADED = """
[target]
probability = 1e-4
period = "life"
[[load]]
name = "gust"
kind = "annual_maximum"
direction = "both"
size = { mean = "900 N", cov = 0.3, dist = "gumbel" }
[[load]]
name = "weight"
kind = "sustained"
size = "120 N"
[[load]]
name = "engine"
kind = "cycles"
rate = "1e5 per year"
size = { mean = "50 N", sd = "5 N" }
mean = { mean = "30 N", sd = "3 N" }
"""


@pytest.fixture
def rod(small):
    return scenario.load_text(small(after=LOADED))


def means(rod):
    found = {key: variable.spread.mean for key, variable in rod.variables.items()}
    for load in rod.loads:
        found[load.size.key] = load.size.spread.mean
        if load.mean is not None:
            found[load.mean.key] = load.mean.spread.mean
    return found


def test_what_can_be_moved(rod):
    found = movable(rod)
    assert found["plug.overlap"] == "mm"
    assert found["load.gust.size"] == "N"
    assert found["load.engine.mean"] == "N"
    assert (found[GAP], found[LOADS], found[LIFE]) == ("mm", "-", "years")
    assert LOADS not in movable(replace(rod, loads=()))


def test_only_the_one_moves(rod):
    before = means(rod)
    for key, value in (("plug.overlap", 31.0), ("load.gust.size", 700.0), ("tube.modulus", 9e4)):
        after = means(moved(rod, key, value))
        changed = {k for k in before if not math.isclose(before[k], after[k], rel_tol=1e-9)}
        assert changed == {key}
        assert after[key] == pytest.approx(value)
        assert place_of(moved(rod, key, value), key) == pytest.approx(value)


@pytest.mark.parametrize(
    ("key", "value", "kept"),
    [
        ("plug.overlap", 35.0, "sd"),
        ("tube.bore", 12.2, "sd"),
        ("adhesive.shear_strength", 30.0, "cov"),
        ("load.gust.size", 1800.0, "cov"),
        ("load.engine.size", 70.0, "cov"),
    ],
)
def test_its_scatter_goes_along(rod, key, value, kept):
    def spread_of(rod):
        sizes = {size.key: size for load in rod.loads for size in (load.size, load.mean) if size}
        return (sizes | dict(rod.variables))[key].spread

    before, after = spread_of(rod), spread_of(moved(rod, key, value))
    same = before.sd if kept == "sd" else before.sd / before.mean * value
    assert after.sd == pytest.approx(same, rel=1e-6)


def test_the_variables_and_the_loads_stay_one(rod):
    """A load's size stands in two places: both move."""
    changed = moved(rod, "load.gust.size", 700.0)
    assert changed.loads[0].size.spread.mean == pytest.approx(700.0)
    for load in changed.loads:
        if load.size.key in changed.variables:
            assert changed.variables[load.size.key] == load.size


@given(factor=st.floats(0.01, 50.0))
def test_all_loads_are_scaled_together(factor):
    rod = scenario.load_text(_SMALL + LOADED)
    before, after = means(rod), means(moved(rod, LOADS, factor))
    for key, mean in before.items():
        times = factor if key.startswith("load.") and key.rsplit(".", 1)[1] in _SIZES else 1.0
        assert after[key] == pytest.approx(times * mean, rel=1e-9), key


_SIZES = ("size", "mean")
_SMALL = """
schema = 1
[life]
duration = "10 years"
[rods]
length = "400 mm"
[tube]
material = "aluminium 6082-T6"
outer_diameter = "14 mm"
bore = "12 mm"
[plug]
material = "aluminium 6082-T6"
diameter = "11.6 mm"
overlap = "25 mm"
[adhesive]
class = "two-part toughened epoxy"
[service]
hottest = "45 degC"
coldest = "-10 degC"
humidity = 0.45
"""


def test_loads_scaled_twice_are_scaled_by_the_product(rod):
    once, twice = means(moved(rod, LOADS, 6.0)), means(moved(moved(rod, LOADS, 2.0), LOADS, 3.0))
    assert once == pytest.approx(twice)


def test_the_gap_moves_the_part_that_is_turned(rod):
    changed = moved(rod, GAP, 0.35)
    assert place_of(changed, GAP) == pytest.approx(0.35)
    assert changed.variables["plug.diameter"].spread.mean == pytest.approx(11.3)
    assert changed.variables["plug.diameter"].spread.sd == pytest.approx(0.02)
    assert changed.variables["tube.bore"] == rod.variables["tube.bore"]


def test_the_life(rod):
    assert moved(rod, LIFE, 3.0).life == 3.0
    assert place_of(rod, LIFE) == 10.0


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("plug.overlap", "2.5 cm", 25.0),
        ("plug.overlap", 25, 25.0),
        (GAP, "8 thou", 0.2032),
        (LOADS, "120 %", 1.2),
        (LIFE, "6 months", 0.5),
        ("service.hottest", "104 degF", 40.0),
        ("load.gust.size", "100 kgf", 980.665),
        ("weak_bonds.lone_weight", "1 %", 0.01),
    ],
)
def test_values_are_read_in_the_unit_of_the_quantity(rod, key, text, value):
    assert read_place(rod, key, text) == pytest.approx(value, rel=1e-3)


@pytest.mark.parametrize(
    ("key", "value", "match"),
    [
        ("plug.overlp", 3.0, r"plug\.overlp: .*did you mean plug\.overlap"),
        ("zzz", 3.0, r"zzz: the scenario has no such quantity to move$"),
        ("plug.overlap", math.inf, r"plug\.overlap: is not a finite number \(got inf\)"),
        ("plug.overlap", 0.0, r"plug\.overlap: is not above zero \(got 0 mm\)"),
        ("plug.overlap", 201.0, r"the two overlaps are longer than the rod \(got 201 mm\)"),
        ("plug.diameter", 12.0, r"plug\.diameter: leaves no gap for the glue \(got 12 mm\)"),
        ("tube.bore", 14.0, r"tube\.bore: leaves the tube no wall \(got 14 mm\)"),
        (GAP, 6.0, r"gap: leaves no room for the plug \(got 6 mm\)"),
        (GAP, 0.0, r"gap: is not above zero \(got 0 mm\)"),
        (LOADS, -1.0, r"loads: is not above zero"),
        ("weak_bonds.lone_weight", 1.2, r"weak_bonds\.lone_weight: .*expected 0 to 1"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_value(rod, key, value, match):
    with pytest.raises(InputError, match=match):
        moved(rod, key, value)


@pytest.mark.parametrize(
    ("text", "match"), [("25", "has no unit"), ("25 N", "force"), ("long", "long")]
)
def test_a_text_that_is_no_value_is_refused_under_its_key(rod, text, match):
    with pytest.raises(InputError, match=rf"^plug\.overlap: .*{match}"):
        read_place(rod, "plug.overlap", text)


def test_a_sleeve_is_what_is_turned():
    text = scenario.new("sleeve-over-tube")
    rod = scenario.load_text(text)
    changed = moved(rod, GAP, 0.25)
    assert place_of(changed, GAP) == pytest.approx(0.25)
    assert changed.variables["tube.outer_diameter"] == rod.variables["tube.outer_diameter"]
    assert changed.variables["sleeve.bore"] != rod.variables["sleeve.bore"]


def test_a_second_end_is_made_to_fit_too(small):
    text = small(after='[second_plug]\ndiameter = "11.5 mm"\n')
    changed = moved(scenario.load_text(text), GAP, 0.3)
    assert changed.variables["second_plug.diameter"].spread.mean == pytest.approx(11.4)


def test_a_plug_thinner_than_its_thread_is_refused():
    racer = jointrisk.load(Path(__file__).parents[2] / "scenarios/gravity-racer-drag-link.toml")
    with pytest.raises(
        InputError, match=r"plug\.diameter: leaves the plug no wall \(got 5\.5 mm\)"
    ):
        moved(racer, "plug.diameter", 5.5)
    with pytest.raises(InputError, match=r"gap: leaves the plug no wall \(got 5 mm\)"):
        moved(racer, GAP, 5.0)
