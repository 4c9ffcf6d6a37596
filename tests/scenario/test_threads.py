"""Threads as a file names them: sizes, drill, engaged length, both ends, and what is refused."""

import re

import pytest

from jointrisk import scenario
from jointrisk.errors import ScenarioError
from jointrisk.mechanics import threads
from jointrisk.spread import Fixed

# Tapping drills [mm]: ISO 2306 and common drill tables for inch sizes, from memory.
DRILLS = {
    "M3": 2.5, "M4": 3.3, "M5": 4.2, "M6": 5.0, "M8": 6.8, "M10": 8.5, "M8x1": 7.0,
    "M10x1": 9.0, "M10x1.25": 8.8, "10-32": 4.1, "1/4-28": 5.5, "1/4-20": 5.1, "5/16-24": 6.9,
    "3/8-24": 8.5,
}  # fmt: skip


@pytest.fixture
def read(small):
    """Return a function that reads the small scenario with tables put after it."""

    def resolved(after, *changes):
        return scenario.load_text(small(*changes, after=after))

    return resolved


def value(found, key):
    spread = found.variables[key].spread
    assert isinstance(spread, Fixed)
    return spread.value


def marks(found, key):
    (row,) = [row for row in found.assumptions if row.key == key]
    return row.origin, row.value


@pytest.mark.parametrize("size", DRILLS)
def test_the_hole_in_the_plug_is_the_tapping_drill(read, size):
    """Major diameter less pitch, which drills follow within 0.1 mm."""
    found = read(f'[thread]\nsize = "{size}"\n')
    assert value(found, "plug.bore") == pytest.approx(DRILLS[size], abs=0.1)
    assert marks(found, "plug.bore")[0] == "default"


@pytest.mark.parametrize("size", [name for name in threads.sizes() if threads.find(name)
                                  .major_diameter < 11.6])  # fmt: skip
def test_every_size_that_fits_is_taken_with_one_and_a_half_diameters(read, size):
    found = read(f'[thread]\nsize = "{size}"\n')
    known = threads.find(size)
    got = (found.thread.size, found.thread.major_diameter, found.thread.pitch)
    assert got == (size, known.major_diameter, known.pitch)
    assert value(found, "thread.engagement") == pytest.approx(1.5 * known.major_diameter)
    assert marks(found, "thread.size") == ("scenario", size)
    assert marks(found, "thread.engagement")[0] == "default"
    assert found.second_thread is None


@pytest.mark.parametrize(
    ("written", "size"),
    [("m6", "M6"), ("M8 x 1", "M8x1"), ("1/4-28 UNF", "1/4-28"), ("#10-32", "10-32")],
)
def test_a_size_is_listed_by_its_plain_name(read, written, size):
    found = read(f'[thread]\nsize = "{written}"\n')
    assert found.thread.size == size
    assert marks(found, "thread.size") == ("scenario", size)


def test_without_a_thread_nothing_of_one_is_there(read):
    found = read("")
    assert found.thread is None
    assert not [key for key in found.variables if "thread" in key]
    assert value(found, "plug.bore") == 0.0


def test_an_engaged_length_of_your_own(read):
    found = read('[thread]\nsize = "M6"\nengagement = { mean = "7 mm", sd = "0.5 mm" }\n')
    engaged = found.variables["thread.engagement"]
    assert (engaged.spread.mean, engaged.spread.sd) == pytest.approx((7.0, 0.5))
    assert (engaged.origin, engaged.unit, engaged.scope) == ("scenario", "mm", "joint")


def test_a_scattering_engaged_length_never_falls_to_nothing(read):
    found = read('[thread]\nsize = "M6"\nengagement = { mean = "4 mm", sd = "1 mm" }\n')
    assert found.variables["thread.engagement"].spread.ppf(1e-300) > 0.0


def test_an_inch_length_is_engaged_in_millimetres(read):
    found = read('[thread]\nsize = "1/4-28"\nengagement = "0.375 in"\n')
    assert value(found, "thread.engagement") == pytest.approx(9.525)


# --- the second end ------------------------------------------------------------------------


def test_the_second_end_s_thread_stands_beside_the_first(read):
    found = read('[thread]\nsize = "M6"\n[second_thread]\nsize = "M8x1"\n')
    assert (found.thread.size, found.second_thread.size) == ("M6", "M8x1")
    assert value(found, "plug.bore") == pytest.approx(5.0)
    assert value(found, "second_plug.bore") == pytest.approx(7.0)
    assert value(found, "thread.engagement") == pytest.approx(9.0)
    assert value(found, "second_thread.engagement") == pytest.approx(12.0)
    keys = dict(found.second_keys)
    assert keys == {
        "plug.bore": "second_plug.bore",
        "thread.engagement": "second_thread.engagement",
    }


def test_only_the_engaged_length_may_differ(read):
    found = read('[thread]\nsize = "M6"\n[second_thread]\nengagement = "5 mm"\n')
    assert found.second_thread is None
    assert value(found, "second_thread.engagement") == pytest.approx(5.0)
    assert "second_plug.bore" not in found.variables


def test_a_hole_of_your_own_at_the_second_end_beats_its_drill(read):
    more = '[thread]\nsize = "M6"\n[second_thread]\nsize = "M8"\n[second_plug]\nbore = "4 mm"\n'
    found = read(more)
    assert value(found, "second_plug.bore") == 4.0
    assert value(found, "plug.bore") == pytest.approx(5.0)


# --- what is refused -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "line"),
    [
        ('[thread]\nsize = "M66"\n', r"thread\.size: unknown thread size 'M66'.*M6"),
        ('[thread]\nsize = "M8x2"\n', r"thread\.size: .*'M8x2'.*M8, M8x0\.75, M8x1"),
        ("[thread]\nsize = 6\n", r"thread\.size: takes a text in quotes \(got 6\)"),
        ('[thread]\nengagement = "8 mm"\n', r"thread\.size: is missing"),
        ('[thread]\nsize = "M6"\npitch = "1 mm"\n', r"thread\.pitch: unknown key.*engagement"),
        ('[thread]\nsize = "M6"\nengagement = "0 mm"\n', r"engagement: is not above zero.*0 mm"),
        ('[thread]\nsize = "M6"\nengagement = "-3 mm"\n', r"not above zero \(got -3 mm\)"),
        ('[thread]\nsize = "M6"\nengagement = "3 MPa"\n', r"thread\.engagement: .*3 MPa"),
        (
            '[thread]\nsize = "M6"\nengagement = { mean = "4 mm", sd = "2 mm" }\n',
            r"thread\.engagement: is normal but must stay above zero \(got a mean 2 sd",
        ),
        ('[thread]\nsize = "M12"\n', r"thread\.size: leaves nothing .*M12.*below the plug's 11\.6"),
        (
            '[thread]\nsize = "M6"\n[second_thread]\nsize = "M12"\n',
            r"second_thread\.size: leaves nothing .*M12.*11\.6 mm",
        ),
        ('[thread]\nsize = "M16"\n', r"thread\.size: leaves nothing .*M16.*11\.6 mm"),
        ('[second_thread]\nsize = "M6"\n', r"second_thread\.size: the first end has no thread"),
        ('[second_thread]\nengagement = "5 mm"\n', r"second_thread\.engagement: the first end"),
    ],
)
def test_a_thread_that_cannot_be_names_key_and_value(read, more, line):
    with pytest.raises(ScenarioError) as caught:
        read(more)
    lines = str(caught.value).splitlines()
    assert len(lines) == 1, lines
    assert re.search(line, lines[0]), lines
