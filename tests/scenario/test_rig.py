"""The rig that pulls: rows of the table, the lever's arms, hold time, range of the gauge."""

import math
import re

import pytest

from jointrisk import scenario
from jointrisk.scenario import tables

# ISO 7500-1, limits of the classes 0.5, 1, 2, 3 (from memory): relative accuracy within +-c % of
# the reading, repeat within a span of c %.
CLASSES = (0.5, 1, 2, 3)
WORKSHOP = {"crane scale": (0.001, 0.005), "lever": (0.03, 0.05), "dead weight": (0.0, 0.012)}


def read(small, said):
    return scenario.load_text(small(after=f"\n[proof]\n{said}\n"))


def told(found, key):
    (entry,) = [entry for entry in found.assumptions if entry.key == key]
    return entry


def total(row):
    return math.sqrt(sum(c.typical**2 for c in (row.error, row.bias, row.arms) if c is not None))


@pytest.mark.parametrize("number", CLASSES)
def test_a_jack_with_a_gauge_is_of_its_class(number):
    row = tables.rigs()[f"jack, gauge class {number}"]
    assert row.bias.typical == pytest.approx(number / 100 / math.sqrt(3), rel=0.02)
    hand, repeat = 0.01, number / 100 / math.sqrt(12)
    assert row.error.typical == pytest.approx(math.hypot(hand, repeat), rel=0.01)
    assert "ISO 7500-1" in row.bias.source
    assert (row.bias.confidence, row.error.confidence) == ("from memory", "judgement, no source")


@pytest.mark.parametrize("name", ["lever", "dead weight"])
def test_workshop_rigs_are_as_good_in_all_as_their_source_says(name):
    low, high = WORKSHOP[name]
    assert low <= total(tables.rigs()[name]) <= high


def test_a_hanging_scale_is_within_its_range():
    low, high = WORKSHOP["crane scale"]
    assert low <= tables.rigs()["crane scale"].bias.typical <= high


def test_a_load_cell_is_used_from_a_tenth_of_its_range():
    row = tables.rigs()["load cell"]
    assert row.use_from.typical == 0.1
    assert row.bias.typical == 1 / 400  # ASTM E74, class A, as quoted
    assert "E74" in row.use_from.source


@pytest.mark.parametrize("name", list(tables.rigs()))
def test_every_row_has_its_source_and_is_what_a_scenario_gets(small, name):
    row = tables.rigs()[name]
    for cell in filter(None, (row.error, row.bias, row.arms, row.use_from)):
        assert 0 < cell.typical <= 0.5
        assert len(cell.source) > 5
        assert cell.confidence in tables.CONFIDENCE.values()
    found = read(small, f'rig = "{name}"')
    assert found.proof.rig.name == name
    assert found.proof.rig_error_cov == row.error.typical
    arms = 0.0 if row.arms is None else row.arms.typical
    assert found.proof.rig_bias_sd == pytest.approx(math.hypot(row.bias.typical, arms))
    for key, cell in (("proof.rig_error", row.error), ("proof.rig_bias", row.bias)):
        entry = told(found, key)
        assert (entry.origin, entry.source, entry.confidence) == (
            "default",
            cell.source,
            cell.confidence,
        )
    assert told(found, "proof.rig").value == name


def test_without_a_rig_all_is_as_it_was(small):
    found = read(small, "")
    proof = found.proof
    assert (proof.rig_error_cov, proof.rig_bias_sd) == (0.03, 0.03)
    assert (proof.rig.name, proof.rig.lever_ratio, proof.rig.use_from) == (None, None, None)
    assert "proof.rig" not in {entry.key for entry in found.assumptions}


def test_what_the_file_says_beats_the_row(small):
    proof = read(small, 'rig = "lever"\nrig_error = "4 %"\nrig_bias = "6 %"').proof
    assert (proof.rig_error_cov, proof.rig_bias_sd) == (0.04, 0.06)


@pytest.mark.parametrize(
    ("said", "bias"),
    [
        ("lever_ratio = 5", math.hypot(0.01, 0.03)),
        ('lever_ratio = { mean = 5, cov = "2 %" }', math.hypot(0.01, 0.02)),
        ("lever_ratio = { mean = 5, sd = 0.05 }", math.hypot(0.01, 0.01)),
        ('lever_ratio = { mean = 5, sd = 0.05 }\nrig_bias = "3 %"', math.hypot(0.03, 0.01)),
        ('lever_ratio = 5\nrig_bias = "3 %"', 0.03),
    ],
)
def test_the_tolerance_of_the_arms_is_part_of_the_bias(small, said, bias):
    found = read(small, f'rig = "lever"\n{said}')
    assert found.proof.rig.lever_ratio == pytest.approx(5.0)
    assert found.proof.rig_bias_sd == pytest.approx(bias)
    assert found.proof.rig_error_cov == 0.02
    assert told(found, "proof.lever_ratio").origin == "scenario"


def test_limits_of_the_arms_are_a_spread_as_well(small):
    found = read(small, 'rig = "lever"\nlever_ratio = { never_outside = [4.8, 5.2] }').proof
    assert found.rig.lever_ratio == pytest.approx(5.0)
    assert found.rig_bias_sd == pytest.approx(math.hypot(0.01, 0.4 / math.sqrt(12) / 5))


@pytest.mark.parametrize(("said", "seconds"), [("30 s", 30), ("5 min", 300), ("1 day", 86400)])
def test_the_hold_time(small, said, seconds):
    found = read(small, f'hold_time = "{said}"')
    assert found.proof.rig.hold_time == pytest.approx(seconds)
    assert told(found, "proof.hold_time").value == f"{seconds} s"


def test_the_hold_time_is_a_minute_and_says_why(small):
    found = read(small, "")
    entry = told(found, "proof.hold_time")
    assert (found.proof.rig.hold_time, entry.value) == (pytest.approx(60.0), "60 s")
    assert "ISO 4210-5" in entry.source
    assert entry.confidence == "as quoted"


def test_the_rig_pulls_unless_the_file_says_that_it_pushes(small):
    found = read(small, "")
    assert (found.proof.rig.direction, found.proof.rig.pushes) == ("pull", False)
    assert told(found, "proof.direction").origin == "default"
    pushes = read(small, 'direction = "push"')
    assert (pushes.proof.rig.direction, pushes.proof.rig.pushes) == ("push", True)
    assert told(pushes, "proof.direction").value == "push"
    assert told(pushes, "proof.direction").origin == "scenario"


@pytest.mark.parametrize(("shoulder", "warned"), [("true", True), ("false", False)])
@pytest.mark.parametrize("direction", ["pull", "push"])
def test_a_push_that_a_shoulder_takes_past_the_bonds_is_warned_of(
    small, direction, shoulder, warned
):
    said = ("[rods]", f"[rods]\nshoulder = {shoulder}")
    text = small(said, after=f'\n[proof]\ndirection = "{direction}"\n')
    found = scenario.load_text(text)
    assert found.rig_spares_bonds == (warned and direction == "push")
    codes = [warning.code for warning in found.warnings]
    assert ("push-passes-bonds" in codes) == found.rig_spares_bonds


def test_a_push_without_a_name_is_called_one(small):
    said = '[[pull]]\nload = "900 N"\n[proof]\ndirection = "push"\n'
    assert [pull.label for pull in scenario.load_text(small(after=said)).pulls] == ["push 1"]


@pytest.mark.parametrize(("pull", "warned"), [("900 N", True), ("1.2 kN", False)])
def test_a_pull_below_the_range_of_the_gauge_is_warned_of(small, pull, warned):
    said = f'[[pull]]\nlabel = "bench"\nload = "{pull}"\n[proof]\nrig = "load cell"\n'
    found = scenario.load_text(small(after=f'{said}highest = "10 kN"\n'))
    assert found.proof.rig.use_from == pytest.approx(1000.0)
    texts = [w.text for w in found.warnings if w.code == "gauge-below-range"]
    assert bool(texts) == warned
    if warned:
        assert texts[0].startswith("bench: below 1000 N")


def test_a_gauge_whose_largest_load_is_not_known_has_no_range(small):
    assert read(small, 'rig = "load cell"').proof.rig.use_from is None


@pytest.mark.parametrize(
    ("said", "key", "parts"),
    [
        ('rig = "levr"', "rig", ['got "levr"', '"lever"']),
        ('rig = "winch"', "rig", ['"dead weight"', '"jack, gauge class 0.5"']),
        ("lever_ratio = 4", "lever_ratio", ["got no rig", 'rig = "lever"']),
        ('rig = "load cell"\nlever_ratio = 4', "lever_ratio", ['got rig = "load cell"']),
        ('rig = "lever"\nlever_ratio = -2', "lever_ratio", ["above zero", "got -2"]),
        ('rig = "lever"\nlever_ratio = 0', "lever_ratio", ["above zero", "got 0"]),
        ('rig = "lever"\nlever_ratio = { mean = 2, sd = 3 }', "lever_ratio", ["CoV 1.5", "0.5"]),
        ('rig = "lever"\nlever_ratio = "4 mm"', "lever_ratio", ["length", '"4 mm"']),
        (
            'rig = "lever"\nlever_ratio = { mean = 4, cov = 0.1, scope = "rod" }',
            "lever_ratio",
            ["one lever makes all pulls", '"rod"'],
        ),
        ('hold_time = "0 s"', "hold_time", ["got 0 s", "above 0 to 1 day"]),
        ('hold_time = "2 days"', "hold_time", ["got 2 days", "1 day"]),
        ('hold_time = "3 mm"', "hold_time", ["length", '"3 mm"']),
    ],
)
def test_what_is_wrong_is_named_once(small, problems, said, key, parts):
    (line,) = problems(small(after=f"\n[proof]\n{said}\n"))
    assert f"proof.{key}:" in line
    for part in parts:
        assert part in line


def test_a_bad_rig_hides_no_other_fault(small, problems):
    said = '[proof]\nrig = "levr"\nlever_ratio = 4\nhold_time = "-1 s"\n'
    lines = problems(small(after=said))
    assert [re.search(r"proof\.\w+", line)[0] for line in lines] == [
        "proof.rig",
        "proof.hold_time",
    ]
