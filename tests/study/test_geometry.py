import tomllib
from pathlib import Path

import pytest

import jointrisk
from jointrisk.study.geometry import geometry

FILE = Path("scenarios/gravity-racer-drag-link.toml")


@pytest.fixture(scope="module")
def written():
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def mm(value):
    return float((value["mean"] if isinstance(value, dict) else value).removesuffix(" mm"))


def test_the_sizes_are_those_of_the_file(written):
    rod = geometry(jointrisk.load(FILE))
    (end,) = rod.ends
    assert rod.rod_length_mm == mm(written["rods"]["length"])
    assert end.tube_outer_mm == mm(written["tube"]["outer_diameter"])
    assert end.tube_bore_mm == pytest.approx(mm(written["tube"]["bore"]), rel=1e-6)
    assert end.plug_diameter_mm == pytest.approx(mm(written["plug"]["diameter"]), rel=1e-6)
    assert end.overlap_mm == pytest.approx(mm(written["plug"]["overlap"]), rel=1e-6)
    assert end.thread == written["thread"]["size"]
    assert end.thread_engagement_mm == pytest.approx(mm(written["thread"]["engagement"]), rel=1e-6)


def test_the_gap_on_both_sides_fills_the_bore_and_an_m6_is_six_millimetres():
    (end,) = geometry(jointrisk.load(FILE)).ends
    assert end.plug_diameter_mm + 2 * end.radial_gap_mm == pytest.approx(end.tube_bore_mm)
    assert end.thread_major_diameter_mm == 6.0
    assert end.plug_bore_mm < end.thread_major_diameter_mm


def test_glue_reaches_no_further_than_the_overlap():
    scenario = jointrisk.load(FILE)
    (end,) = geometry(scenario).ends
    share = scenario.variables["plug.glued_share"].spread.mean
    assert end.wetted_overlap_mm / end.overlap_mm == pytest.approx(share)
    assert 0.0 < share <= 1.0


def test_without_thread_and_with_a_shoulder():
    text = FILE.read_text(encoding="utf-8")
    start = text.index("[thread]")
    text = text[:start] + text[text.index("[adhesive]") :]
    text = text.replace('length = "465 mm"', 'length = "465 mm"\nshoulder = true')
    (end,) = geometry(jointrisk.load_text(text)).ends
    assert (end.thread, end.thread_major_diameter_mm, end.thread_engagement_mm) == (None,) * 3
    assert end.shoulder is True
    assert end.plug_bore_mm == 0.0


def test_other_units_of_the_file_come_out_in_millimetres():
    text = FILE.read_text(encoding="utf-8").replace('"17.2 mm"', '"0.75 in"')
    (end,) = geometry(jointrisk.load_text(text)).ends
    assert end.tube_outer_mm == pytest.approx(0.75 * 25.4)


def test_ends_that_differ_are_two_and_alike_in_what_is_not_said():
    text = FILE.read_text(encoding="utf-8")
    text += '\n[second_plug]\noverlap = "27 mm"\n[second_thread]\nsize = "M5"\n'
    first, second = geometry(jointrisk.load_text(text)).ends
    assert (first.overlap_mm, second.overlap_mm) == (pytest.approx(19.0), pytest.approx(27.0))
    assert (first.thread, second.thread) == ("M6", "M5")
    assert second.plug_bore_mm == pytest.approx(4.2)
    assert second.plug_diameter_mm == first.plug_diameter_mm
