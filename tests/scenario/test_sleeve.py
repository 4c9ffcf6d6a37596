"""What a file says of a sleeve over the tube, and what is refused."""

import tomllib

import pytest

from jointrisk import scenario
from jointrisk.errors import ScenarioError
from jointrisk.spread import Fixed, Normal, Uniform

START = scenario.new("sleeve-over-tube")
BORE = 'bore = { mean = "10.3 mm", sd = "0.02 mm" }'
METAL = '[sleeve]\nmaterial = "steel S355"'
OUTSIDE = 'outer_diameter = { mean = "10 mm", sd = "0.03 mm" }'


def read(*changes, after=""):
    text = START
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return scenario.load_text(text + after)


def problems(*changes, after=""):
    with pytest.raises(ScenarioError) as caught:
        read(*changes, after=after)
    return {problem.key: problem.line("") for problem in caught.value.problems}


def of(metal):
    return (METAL, METAL.replace("steel S355", metal))


def codes(found):
    return {warning.code for warning in found.warnings}


def test_its_numbers_stand_under_its_own_keys():
    found = read()
    assert found.end == "sleeve"
    assert found.glued == ("sleeve", "tube")
    assert found.fit == ("sleeve.bore", "tube.outer_diameter")
    assert not [key for key in found.variables if "plug" in key]
    assert not [entry.key for entry in found.assumptions if "plug" in entry.key]
    raw = tomllib.loads(START)["sleeve"]
    assert {f"sleeve.{key}" for key in raw} <= {entry.key for entry in found.assumptions}


def test_material_brings_modulus_expansion_and_strength():
    found = read().variables
    assert found["sleeve.modulus"].spread.mean == pytest.approx(210e3)
    assert found["sleeve.expansion"].spread.mean == pytest.approx(11.5e-6)
    assert found["sleeve.strength"].spread.mean == pytest.approx(510.0)
    assert (found["sleeve.bore"].scope, found["tube.outer_diameter"].scope) == ("joint", "joint")


def test_bore_from_the_gap_holds_the_scatter_of_both():
    gap = 'radial_gap = { never_outside = ["0.1 mm", "0.2 mm"] }'
    found = read((BORE, gap)).variables
    assert found["tube.outer_diameter"].spread == Fixed(10.0)
    bore = found["sleeve.bore"].spread
    assert isinstance(bore, Uniform)
    assert (bore.low, bore.high) == pytest.approx((10.2, 10.4))


def test_the_tube_s_outside_takes_a_spread_with_a_sleeve_only():
    assert read().variables["tube.outer_diameter"].spread == Normal(10.0, 0.03)
    plug = scenario.new("plug-in-tube").replace('outer_diameter = "14 mm"', OUTSIDE)
    with pytest.raises(ScenarioError, match=r"tube.outer_diameter: takes one value.* plug"):
        scenario.load_text(plug)


def test_a_solid_rod_has_a_bore_of_nothing():
    assert read(('bore = "7 mm"', 'bore = "0 mm"')).variables["tube.bore"].spread == Fixed(0.0)
    with pytest.raises(ScenarioError, match=r"tube.bore.*0 mm.*solid rod"):
        read(('bore = "7 mm"\n', ""))


@pytest.mark.parametrize(
    ("changes", "key", "said"),
    [
        ([(BORE, 'bore = "9.9 mm"')], "sleeve.bore", ["does not go over", "9.9 mm", "10 mm"]),
        ([(BORE, 'bore = "10 mm"')], "sleeve.bore", ["10 mm", "above the tube's 10 mm"]),
        (
            [('outer_diameter = "13 mm"', 'outer_diameter = "10.2 mm"')],
            "sleeve.outer_diameter",
            ["leaves no wall", "10.2 mm", "10.3 mm"],
        ),
        ([('bore = "7 mm"', 'bore = "11 mm"')], "tube.bore", ["no wall", "11 mm", "10 mm"]),
        (
            [('bore = "7 mm"', 'bore = { mean = "7 mm", sd = "0.1 mm" }')],
            "tube.bore",
            ["one value, not a spread", "sleeve"],
        ),
        ([(BORE + "\n", "")], "sleeve.radial_gap", ["two are needed", "sleeve.bore"]),
        (
            [(BORE, BORE + '\nradial_gap = "0.15 mm"')],
            "sleeve.radial_gap",
            ["two are needed, no more", "tube.outer_diameter"],
        ),
        ([('size = "M6"', 'size = "M16"')], "thread.size", ["nothing of the sleeve", "13 mm"]),
        ([("sleeve = ", "plug = ")], "preparation.plug", ["no plug", "preparation.sleeve"]),
        ([(BORE, 'gap = "0.2 mm"')], "sleeve.gap", ["sleeve.radial_gap", "sleeve.bore"]),
        ([(METAL, "[sleeve]")], "sleeve.material", ["is missing"]),
    ],
)
def test_what_is_wrong_is_named_with_its_value(changes, key, said):
    found = problems(*changes)
    assert key in found, found
    for word in said:
        assert word in found[key]


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ('[second_plug]\noverlap = "30 mm"\n', "second_plug.overlap"),
        ('[second_thread]\nsize = "M5"\n', "second_thread.size"),
    ],
)
def test_both_ends_are_alike(more, key):
    found = problems(after="\n" + more)
    assert list(found) == [key]
    assert "alike" in found[key]


def test_exactly_one_of_plug_and_sleeve():
    plug = scenario.new("plug-in-tube")
    table = plug[plug.index("[plug]") : plug.index("[thread]")]
    assert "not both" in problems(after="\n" + table)["sleeve"]
    start, stop = START.index("[sleeve]"), START.index("[thread]")
    with pytest.raises(ScenarioError, match=r"plug: is missing.*\[plug\] or \[sleeve\]"):
        scenario.load_text(START[:start] + START[stop:])


def test_a_plug_has_no_sleeve_s_surface():
    text = scenario.new("plug-in-tube").replace('plug = "abraded', 'sleeve = "abraded')
    with pytest.raises(ScenarioError, match=r"preparation.sleeve: there is no sleeve"):
        scenario.load_text(text)


def test_an_option_may_turn_the_plug_into_a_sleeve():
    text = scenario.new("plug-in-tube")
    text += """
[options."sleeve"]
without = ["plug", "preparation.plug", "tube.bore"]
tube.bore = "12 mm"
sleeve.material = "titanium Ti-6Al-4V"
sleeve.outer_diameter = "18 mm"
sleeve.bore = "14.4 mm"
sleeve.overlap = "25 mm"
"""
    plug, sleeve = (scenario.load_text(text, option=name) for name in (None, "sleeve"))
    assert (plug.end, sleeve.end) == ("plug", "sleeve")
    assert sleeve.variables["sleeve.strength"].spread.mean == pytest.approx(900.0)


def test_exact_sizes_are_warned_of_by_their_keys():
    found = read((BORE, 'bore = "10.3 mm"'), (OUTSIDE, 'outer_diameter = "10 mm"'))
    (said,) = [w.text for w in found.warnings if w.code == "no-scatter"]
    assert "sleeve.bore" in said
    assert "tube.outer_diameter" in said
    gap = read((BORE, 'radial_gap = "0.15 mm"'), (OUTSIDE, 'outer_diameter = "10 mm"'))
    (said,) = [w.text for w in gap.warnings if w.code == "no-scatter"]
    assert "sleeve.radial_gap" in said
    assert "tube.outer_diameter" not in said


@pytest.mark.parametrize(
    ("bore", "code"),
    [
        ('"11.2 mm"', "gap-wide"),
        ('"10.08 mm"', "gap-narrow"),
        ('{ mean = "10.2 mm", sd = "0.3 mm" }', "gap-may-vanish"),
    ],
)
def test_gaps_that_do_badly_are_warned_of(bore, code):
    assert code in codes(read((BORE, f"bore = {bore}")))
    assert code not in codes(read())


def test_sleeves_that_would_meet():
    found = read(('length = "400 mm"', 'length = "35 mm"'))
    (said,) = [w.text for w in found.warnings if w.code == "overlap-long"]
    assert "sleeves would meet" in said
    assert "40 mm" in said


@pytest.mark.parametrize(
    ("metal", "said"),
    [("aluminium 6082-T6", "anodised sleeve"), ("steel S355", "less than aluminium")],
)
def test_metal_on_carbon_corrodes_and_what_helps_is_named(metal, said):
    found = read(of(metal))
    (text,) = [w.text for w in found.warnings if w.code == "corrosion"]
    assert said in text
    assert "glass" in text


def test_titanium_and_glass_say_nothing_of_corrosion():
    assert "corrosion" not in codes(read(of("titanium Ti-6Al-4V")))
    glass = ("carbon tube, pultruded", "glass tube, pultruded")
    assert "corrosion" not in codes(read(of("aluminium 6082-T6"), glass))


BACKUP = """
[backup]
kind = "cross pin"
diameter = "{}"
material = "steel S355"
end_distance = "8 mm"
"""


def test_a_back_up_goes_through_sleeve_and_tube():
    found = read(after=BACKUP.format("2.5 mm"))
    bearing = found.variables["backup.insert_bearing_strength"].spread.mean
    assert bearing == pytest.approx(1.5 * 510.0)
    assert "12 mm" in {e.key: e.value for e in found.assumptions}["backup.insert_end_distance"]
    wide = problems(after=BACKUP.format("10 mm"))["backup.diameter"]
    assert "nothing of the tube" in wide
    assert "below 10 mm" in wide


def test_peel_strength_is_a_composite_tube_s():
    assert read().variables["tube.peel_strength"].spread == Fixed(35.0)
    own = read(('bore = "7 mm"', 'bore = "7 mm"\npeel_strength = "28 MPa"'))
    assert own.variables["tube.peel_strength"].spread == Fixed(28.0)
    metal = ("carbon tube, pultruded", "aluminium 6082-T6")
    assert "tube.peel_strength" not in read(metal).variables
    found = problems(metal, ('bore = "7 mm"', 'bore = "7 mm"\npeel_strength = "28 MPa"'))
    assert "no plies" in found["tube.peel_strength"]
