import itertools
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from jointrisk.report import style


@pytest.fixture(scope="module")
def axes():
    return Figure().subplots()


def _labels(axis):
    return [label.get_text() for label in axis.get_ticklabels()]


def test_ticks_of_chances_are_words(axes):
    style.chance_axis(axes.yaxis, 1e-4, 1.0)
    assert sorted(_labels(axes.yaxis)) == sorted(
        ["certain", "1 in 10", "1 in 100", "1 in 1,000", "1 in 10,000"]
    )


def test_a_long_axis_of_chances_names_every_other_decade(axes):
    style.chance_axis(axes.yaxis, 1e-7, 1.0)
    assert _labels(axes.yaxis) == ["certain", "1 in 100", "1 in 10,000", "1 in 1 million"]


@settings(max_examples=40, deadline=None)
@given(st.integers(-7, -1), st.integers(1, 7))
def test_labels_of_chances_stand_at_their_values(exponent, decades):
    axes = Figure().subplots()
    style.chance_axis(axes.xaxis, 10.0**exponent, min(1.0, 10.0 ** (exponent + decades)))
    ticks, labels = axes.get_xticks(), _labels(axes.xaxis)
    assert len(ticks) == len(labels) >= 1
    for tick, label in zip(ticks, labels, strict=True):
        if label != "certain":
            told = label.replace(",", "").replace(" million", "e6").removeprefix("1 in ")
            assert tick * float(told) == pytest.approx(1.0)


@settings(max_examples=60, deadline=None)
@given(st.floats(1.0, 1e5), st.floats(0.3, 4.0))
def test_labels_of_loads_leave_each_other_room(low, decades):
    """On an axis 290 points long a label is some 45 points wide."""
    axes = Figure().subplots()
    style.load_axis(axes, low, low * 10**decades)
    places = [math.log10(tick / low) / decades * 290 for tick in axes.get_xticks()]
    assert all(b - a > 45 for a, b in itertools.pairwise(places))


@settings(max_examples=30, deadline=None)
@given(st.floats(1.0, 1e5), st.floats(1.05, 4.0))
def test_an_axis_of_loads_has_at_least_one_label_over_a_decade(low, decades):
    axes = Figure().subplots()
    style.load_axis(axes, low, low * 10**decades)
    assert len(axes.get_xticks()) >= 1


def test_loads_change_to_kilonewton(axes):
    style.load_axis(axes, 900.0, 22000.0)
    assert _labels(axes.xaxis) == ["1,000 N", "2,000 N", "5,000 N", "10 kN", "20 kN"]


@pytest.mark.parametrize(("low", "high"), [(0.0, 100.0), (5.0, 5.0), (0.0, 0.0)])
def test_loads_without_a_range_still_make_an_axis(axes, low, high):
    style.load_axis(axes, low, high)
    left, right = axes.get_xlim()
    assert 0.0 < left < right


def test_a_canvas_has_the_house_width_and_shares_its_axis():
    with style.house_style():
        figure, rows = style.canvas(4.0, rows=2, ratios=(2.0, 1.0))
    assert figure.get_size_inches() == pytest.approx([style.WIDTH, 4.0])
    assert len(rows) == 2
    rows[0].set_xlim(3, 9)
    assert rows[1].get_xlim() == (3, 9)


def test_svg_keeps_what_is_referred_to_and_drops_other_ids():
    with style.house_style():
        figure, (axes,) = style.canvas(2.0)
        axes.plot([0, 1, 2], [0, 1, 0])
    text = style.svg(figure, "one", "t", "d")
    ids = set(re.findall(r' id="([^"]+)"', text))
    wanted = set(re.findall(r"url\(#([^)]+)\)", text)) | set(re.findall(r'href="#([^"]+)"', text))
    assert ids == wanted | {"one-title", "one-desc"}
    assert wanted
    assert all(name.startswith("one-") for name in ids)


def test_svg_scales_with_the_page():
    with style.house_style():
        figure, _ = style.canvas(2.0)
    head = style.svg(figure, "x", "t", "d").partition(">")[0]
    assert 'viewBox="0 0 360 144"' in head
    assert "width=" not in head
    assert "height=" not in head
