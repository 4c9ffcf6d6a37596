"""What a file may say of the second end, and what is refused."""

import tomllib

import pytest

import jointrisk
from jointrisk import scenario
from jointrisk.errors import ScenarioError

START = scenario.new("plug-in-tube")


def read(more="", start=START):
    return jointrisk.load_text(start + "\n" + more)


def problems(more, start=START):
    with pytest.raises(ScenarioError) as caught:
        read(more, start)
    return {problem.key: problem for problem in caught.value.problems}


def test_nothing_said_means_alike():
    found = read()
    assert not found.second_keys
    assert found.second_thread is None
    assert len(found.at_ends("plug.overlap")) == 1


def test_what_is_said_is_the_second_end_s_own():
    found = read('[second_plug]\noverlap = { mean = "31 mm", sd = "1 mm" }')
    assert dict(found.second_keys) == {"plug.overlap": "second_plug.overlap"}
    first, other = found.at_ends("plug.overlap")
    assert other.spread.mean == pytest.approx(31.0)
    assert other.label == f"{first.label}, second end"
    assert (other.origin, other.scope) == ("scenario", "joint")


def test_another_material_brings_its_numbers():
    found = read('[second_plug]\nmaterial = "titanium Ti-6Al-4V"')
    assert found.variables["second_plug.modulus"].spread.mean == pytest.approx(114_000.0)
    assert found.variables["second_plug.expansion"].spread.mean == pytest.approx(8.8e-6)
    assert found.variables["second_plug.strength"].spread.mean == pytest.approx(900.0)
    assert "second_plug.overlap" not in found.variables


def test_another_thread_brings_its_drill_and_engagement():
    found = read('[second_thread]\nsize = "M8"')
    assert found.second_thread.major_diameter == pytest.approx(8.0)
    assert found.variables["second_plug.bore"].spread.mean == pytest.approx(6.75)
    assert found.variables["second_thread.engagement"].spread.mean == pytest.approx(12.0)


def test_another_preparation_is_counted_against_the_evidence():
    text = START.replace("[preparation]", '[preparation]\nsecond_plug = "degreased"')
    found = jointrisk.load_text(text)
    low, usual = found.at_ends("preparation.plug")[::-1]
    assert low.spread.mean < 0.7 * usual.spread.mean


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        ('[second_plug]\ndiametre = "9 mm"', "second_plug.diametre", "diameter"),
        ('[second_plug]\nradial_gap = "0.2 mm"', "second_plug.radial_gap", "[plug]"),
        ('[second_plug]\ndiameter = "40 mm"', "second_plug.diameter", "does not go into"),
        ('[second_plug]\noverlap = "4 m"', "second_plug.overlap", "as long as the rod"),
        ('[second_plug]\nbore = "40 mm"', "second_plug.bore", "not smaller than the plug"),
        ('[second_thread]\nsize = "M5.3"', "second_thread.size", "M5.3"),
    ],
)
def test_faults_name_the_second_end(more, key, words):
    found = problems(more)
    assert key in found
    assert words in str(found[key])


def test_a_second_thread_needs_a_first():
    raw = tomllib.loads(START)
    assert "thread" in raw
    start, _, rest = START.partition("[thread]")
    without = start + rest[rest.index("\n[") :]
    assert "first end has no thread" in str(
        problems('[second_thread]\nsize = "M6"', without)["second_thread.size"]
    )


def test_a_quantity_apart_cannot_go_with_one_that_is_not():
    pair = '[[correlation]]\nbetween = ["plug.diameter", "plug.overlap"]\nvalue = 0.4\n'
    more = pair + '[second_plug]\noverlap = { mean = "30 mm", sd = "1 mm" }'
    found = problems(more)
    assert "of its own at the second end" in str(found["correlation[1].between"])
