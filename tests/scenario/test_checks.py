"""Limits of the checks that look at several values, on either side of each."""

import itertools

import pytest

from jointrisk import scenario, spread
from jointrisk.errors import InputError, ScenarioError
from jointrisk.scenario.ledger import spread_text
from jointrisk.scenario.members import points_text
from jointrisk.scenario.problems import dotted, keys_of
from jointrisk.scenario.shape import File, Rods


def codes(text):
    return {warning.code for warning in scenario.load_text(text).warnings}


def holds(text):
    try:
        scenario.load_text(text)
    except ScenarioError:
        return False
    return True


PLUG = 'diameter = { mean = "11.6 mm", sd = "0.02 mm" }'
BORE = 'bore = { mean = "12 mm", sd = "0.03 mm" }'
OVERLAP = 'overlap = { mean = "25 mm", sd = "0.5 mm" }'


@pytest.mark.parametrize(
    ("old", "new", "below", "above"),
    [
        (PLUG, 'diameter = "{} mm"', 11.99, 12.01),
        (BORE, 'bore = "{} mm"', 13.99, 14.01),
        ("[plug]", '[plug]\nbore = "{} mm"', 11.59, 11.61),
        (OVERLAP, 'overlap = "{} mm"', 399.0, 401.0),
        ("[plug]", "[plug]\nglued_share = {}", 1.0, 1.001),
        ("[plug]", "[plug]\noff_centre = {}", 0.95, 0.951),
        ("[rods]", "[rods]\nend_fixity = {}", 2.0, 2.01),
        ("[rods]", "[proof]\nrig_bias = {}\n[rods]", 0.5, 0.51),
        ("[rods]", "[proof]\nmost_to_refuse = {}\n[rods]", 1.0, 1.01),
        ("[service]", "[weak_bonds]\nlone_weight = {}\n[service]", 1.0, 1.01),
        ("[service]", "[target]\nprobability = {}\n[service]", 0.999, 1.0),
        ("[service]", "[target]\nindex = {}\n[service]", 8.0, 8.1),
        ("[service]", "[rods.bow]\nvalue = {}\n[service]", 0.1, 0.11),
    ],
)
def test_upper_limits_hold_to_the_digit(small, old, new, below, above):
    assert holds(small((old, new.format(below))))
    assert not holds(small((old, new.format(above))))


@pytest.mark.parametrize(
    ("new", "above", "below"),
    [
        ("[rods]\nend_fixity = {}", 0.5, 0.49),
        ("[proof]\nrig_error = {}\n[rods]", 0.0, -0.01),
        ("[proof]\nmost_to_refuse = {}\n[rods]", 0.001, 0.0),
        ("[weak_bonds]\nlone_weight = {}\n[rods]", 0.0, -0.01),
        ("[target]\nprobability = {}\n[rods]", 1e-12, 0.0),
        ("[target]\nindex = {}\n[rods]", 0.01, 0.0),
        ("[rods]\ncount = {}", 1, 0),
        ("[batch]\nrods = {}\n[rods]", 1, 0),
    ],
)
def test_lower_limits_hold_to_the_digit(small, new, above, below):
    assert holds(small(("[rods]", new.format(above))))
    assert not holds(small(("[rods]", new.format(below))))


@pytest.mark.parametrize(
    ("code", "old", "new", "quiet", "loud"),
    [
        ("gap-wide", PLUG, 'diameter = "{} mm"', 11.01, 10.98),
        ("gap-narrow", PLUG, 'diameter = "{} mm"', 11.89, 11.92),
        # Scatter of the gap on one side: sqrt(0.03² + 0.02²) / 2 = 0.0180 mm; twice that.
        ("gap-may-vanish", PLUG, 'diameter = {{ mean = "{} mm", sd = "0.02 mm" }}', 11.92, 11.935),
        ("overlap-long", OVERLAP, 'overlap = "{} mm"', 200.0, 200.1),
        ("hotter-than-adhesive", 'hottest = "45 degC"', 'hottest = "{} degC"', 64.9, 65.0),
    ],
)
def test_warnings_start_where_they_say(small, code, old, new, quiet, loud):
    assert code not in codes(small((old, new.format(quiet))))
    assert code in codes(small((old, new.format(loud))))


def test_a_curve_that_ends_below_the_heat_is_warned(small):
    curve = '[adhesive]\nstrength_by_temperature = [["20 degC", 1], ["{} degC", 0.7]]'
    assert "hotter-than-curve" in codes(small(("[adhesive]", curve.format(44))))
    assert "hotter-than-curve" not in codes(small(("[adhesive]", curve.format(45))))


def test_warnings_name_their_figures(small):
    text = small((PLUG, 'diameter = "10.8 mm"'), ('hottest = "45 degC"', 'hottest = "70 degC"'))
    said = {w.code: w.text for w in scenario.load_text(text).warnings}
    assert "0.6 mm" in said["gap-wide"]
    assert "70 °C" in said["hotter-than-adhesive"]
    assert "65 °C" in said["hotter-than-adhesive"]
    assert "plug.diameter is given" in said["no-scatter"]


def test_codes_are_words_with_hyphens_and_sentences_end(small):
    text = small((PLUG, 'diameter = "10.8 mm"'), ('hottest = "45 degC"', ""))
    for warning in scenario.load_text(text).warnings:
        assert warning.code == warning.code.lower().replace(" ", "-")
        assert warning.text.endswith(".")


FAULTS = [
    (PLUG, 'diameter = "12.5 mm"'),
    ('hottest = "45 degC"', 'hottest = "-45 degC"'),
    ("[rods]", "[rods]\ncount = 0"),
    ("[service]", "[weak_bonds]\nkeeps = 2\n[service]"),
    ('material = "carbon tube, roll-wrapped"', 'material = "wood"'),
    ("schema = 1", "schema = 1\nseed = true"),
]


@pytest.mark.parametrize(("first", "second"), list(itertools.combinations(FAULTS, 2)))
def test_any_two_faults_are_both_told(small, problems, first, second):
    alone = problems(small(first)) + problems(small(second))
    assert sorted(problems(small(first, second))) == sorted(alone)


def test_faults_come_in_the_order_of_a_file(small, problems):
    keys = [line.split(": ")[1].split(".")[0] for line in problems(small(*FAULTS))]
    order = list(keys_of(File))
    assert keys == sorted(keys, key=order.index)
    assert len(keys) == len(FAULTS)


@pytest.mark.parametrize(
    ("base", "unit", "text"),
    [
        (spread.Fixed(25.0), "MPa", "25 MPa"),
        (spread.Fixed(23.5e-6), "1/K", "23.5e-6/K"),
        (spread.Normal(12.0, 0.03), "mm", "12 mm on average, sd 0.03 mm, normal"),
        (spread.Normal(40.0, 5.0), "degC", "40 °C on average, sd 5 K, normal"),
        (spread.Lognormal(25.0, 2.5), "MPa", "25 MPa on average, CoV 0.1, lognormal"),
        (spread.Gumbel(400.0, 100.0), "N", "400 N on average, CoV 0.25, gumbel"),
        (spread.Normal(-90.0, 9.0), "N", "-90 N on average, CoV 0.1, normal"),
        (spread.Normal(0.0, 9.0), "N", "0 N on average, sd 9 N, normal"),
        (spread.Uniform(0.75, 1.0), "-", "anywhere from 0.75 to 1"),
        (spread.Triangular(0.0, 1.0, 2.0), "-", "from 0 to 2, most likely 1"),
        (
            spread.Truncated(spread.Lognormal(0.01, 0.02), 0.0, 0.5),
            "-",
            "0.01 on average, CoV 2, lognormal, cut from 0 to 0.5",
        ),
    ],
)
def test_spreads_in_words(base, unit, text):
    assert spread_text(base, unit) == text


def test_curves_in_words():
    assert points_text(((23.0, 1.0), (60.0, 0.55)), "degC") == "1 at 23 °C, 0.55 at 60 °C"


@pytest.mark.parametrize(
    ("loc", "text"),
    [
        ((), ""),
        (("tube",), "tube"),
        (("tube", "bore"), "tube.bore"),
        (("load", 0, "size"), "load[1].size"),
        (("load", 11), "load[12]"),
    ],
)
def test_places_count_from_one(loc, text):
    assert dotted(loc) == text


def test_keys_are_those_of_the_file_not_of_the_code():
    assert keys_of(File)["schema"] == "schema_"
    assert set(keys_of(Rods)) == {
        *("count", "length", "end_fixity", "bow", "load_offset", "shoulder"),
        *("cost_per_rod", "mass_per_rod"),
    }


def test_a_share_s_beta_lies_within_its_own_limits(small):
    said = "[plug]\noff_centre = { mean = 0.9, sd = 0.02 }"
    base = scenario.load_text(small(("[plug]", said))).variables["plug.off_centre"].spread
    assert base == spread.Beta(0.0, 0.95, 0.9, 0.02)
    # On [a, b] the variance is below (mean - a)(b - mean): here 0.9 * 0.05, sd below 0.2121.
    with pytest.raises(ScenarioError, match=r"plug\.off_centre.*0\.212"):
        scenario.load_text(small(("[plug]", said.replace("0.02", "0.22"))))


def test_an_unattainable_sd_is_an_input_error_of_the_spread():
    with pytest.raises(InputError):
        spread.Beta(0.0, 0.95, 0.9, 0.22)
