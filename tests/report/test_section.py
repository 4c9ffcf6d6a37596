import re
import runpy
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.report import section_words
from jointrisk.report.section import section
from jointrisk.report.section_sheet import (
    BARS,
    HIGHEST,
    LENS,
    MARGIN,
    PER_MM,
    SCALES,
    THIN,
    WIDTH,
    lay_out,
    lens_scale,
    round_down,
)

END = runpy.run_path(str(Path(__file__).with_name("invented.py")))["end"]
BARE = {"thread": None, "thread_major_diameter_mm": None, "thread_engagement_mm": None}
LENGTH = 465.0


@st.composite
def ends(draw):
    """Any end that goes together: hole < plug < bore < outside, glue within the overlap."""
    outer = draw(st.floats(3.0, 400.0))
    bore = outer * draw(st.floats(0.5, 0.98))
    plug = bore * draw(st.floats(0.7, 0.9999))
    hole = plug * draw(st.just(0.0) | st.floats(0.05, 0.9))
    overlap = outer * draw(st.floats(0.05, 15.0))
    sizes = {
        "tube_outer_mm": outer,
        "tube_bore_mm": bore,
        "plug_diameter_mm": plug,
        "plug_bore_mm": hole,
        "radial_gap_mm": 0.5 * (bore - plug),
        "overlap_mm": overlap,
        "wetted_overlap_mm": overlap * draw(st.floats(0.1, 1.0)),
        "shoulder": draw(st.booleans()),
    }
    if hole > 0.0 and draw(st.booleans()):
        sizes["thread_major_diameter_mm"] = min(1.2 * hole, 0.95 * plug)
        sizes["thread_engagement_mm"] = overlap * draw(st.floats(0.1, 2.0))
    else:
        sizes |= BARE
    if draw(st.booleans()):
        sizes |= _over(outer, draw)
    return END(**sizes), 2.0 * overlap + outer * draw(st.floats(0.1, 100.0))


def _over(tube, draw):
    """What differs where a sleeve goes over the tube."""
    gap = tube * draw(st.floats(1e-4, 0.2))
    bore = tube + 2.0 * gap
    outside = bore * draw(st.floats(1.02, 2.0))
    sizes = {
        "kind": "sleeve",
        "tube_bore_mm": tube * draw(st.just(0.0) | st.floats(0.1, 0.95)),
        "plug_diameter_mm": None,
        "plug_bore_mm": None,
        "sleeve_outer_mm": outside,
        "sleeve_bore_mm": bore,
        "radial_gap_mm": gap,
    }
    if draw(st.booleans()):
        return sizes | BARE
    major = outside * draw(st.floats(0.1, 0.9))
    engagement = tube * draw(st.floats(0.1, 5.0))
    thread = {"thread": "M6", "thread_major_diameter_mm": major, "thread_drill_mm": 0.8 * major}
    return sizes | thread | {"thread_engagement_mm": engagement}


def sleeve(**changes):
    """One end with a sleeve."""
    sizes = {
        "kind": "sleeve",
        "plug_diameter_mm": None,
        "plug_bore_mm": None,
        "sleeve_outer_mm": 22.0,
        "sleeve_bore_mm": 19.0,
        "radial_gap_mm": 0.9,
        "thread_drill_mm": 5.0,
    }
    return END(**(sizes | changes))


def tree(text):
    return ElementTree.fromstring(text)  # noqa: S314 - our own text


def points(path):
    return [tuple(map(float, pair.split())) for pair in re.findall(r"[-\d.]+ [-\d.]+", path)]


def hatched(root, part):
    """Return the boxes (left, top, right, bottom) of the shapes with one hatching."""
    found = []
    for shape in root.iter():
        if part not in shape.get("fill", ""):
            continue
        if shape.tag == "path":
            across, down = zip(*points(shape.get("d")), strict=True)
            found.append((min(across), min(down), max(across), max(down)))
        else:
            x, y, w, h = (float(shape.get(name)) for name in ("x", "y", "width", "height"))
            found.append((x, y, x + w, y + h))
    return found


def words(root):
    return [text.text for text in root.iter("text")]


def test_the_sizes_on_the_drawing_are_the_real_ones_times_one_scale():
    """Along and across: what a ruler finds on a page printed at 100 %."""
    end = END(radial_gap_mm=0.9, tube_bore_mm=15.1, plug_diameter_mm=13.3)
    root, scale = tree(section(end, LENGTH, "j")), lay_out(end, LENGTH).scale

    def real(units):
        return pytest.approx(units / PER_MM / scale, abs=0.01)

    upper, lower = hatched(root, "j-tube")[:2]
    assert end.tube_outer_mm == real(lower[3] - upper[1])
    assert end.tube_bore_mm == real(lower[1] - upper[3])
    above, below = hatched(root, "j-plug")[:2]
    assert end.plug_diameter_mm == real(below[3] - above[1])
    assert end.plug_bore_mm == real(below[1] - above[3])
    assert end.overlap_mm == real(upper[2] - above[0])
    for layer in hatched(root, "j-glue")[:2]:
        assert end.radial_gap_mm == real(layer[3] - layer[1])
        assert end.wetted_overlap_mm == real(layer[2] - layer[0])
        assert layer[2] == pytest.approx(upper[2])


def test_glue_lies_between_plug_and_tube_and_is_drawn_over_their_outlines():
    end = END(radial_gap_mm=0.9, tube_bore_mm=15.1, plug_diameter_mm=13.3)
    root = tree(section(end, LENGTH, "j"))
    layers, walls, plug = (hatched(root, f"j-{part}") for part in ("glue", "tube", "plug"))
    assert layers[0][1] == pytest.approx(walls[0][3], abs=0.02)
    assert layers[0][3] == pytest.approx(plug[0][1], abs=0.02)
    assert layers[1][1] == pytest.approx(plug[1][3], abs=0.02)
    assert layers[1][3] == pytest.approx(walls[1][1], abs=0.02)


def test_a_thin_layer_is_shown_enlarged_with_a_bar_of_its_own():
    text = section(END(), LENGTH, "j")
    root = tree(text)
    assert "glue (A)" in words(root)
    assert "A" in words(root)
    assert f'<circle r="{LENS:g}" stroke-width' in text
    bars = [word for word in words(root) if re.fullmatch(r"[\d.]+ mm", word)]
    assert bars == ["10 mm", "0.2 mm"]
    (layer,) = [box for box in hatched(root, "j-glue") if box[0] == -LENS]
    assert (layer[3] - layer[1]) / PER_MM / lens_scale(END()) == pytest.approx(0.18, rel=0.01)
    assert f"{section_words.ratio(lens_scale(END()))}." in " ".join(
        section_words.remarks(END(), LENGTH)
    )


def test_a_thick_layer_needs_no_detail():
    end = END(plug_diameter_mm=11.1, radial_gap_mm=2.0, wetted_overlap_mm=19.0)
    text = section(end, LENGTH, "j")
    assert "glue (A)" not in text
    assert "<g clip-path" not in text
    assert not any("circle A" in said for said in section_words.remarks(end, LENGTH))
    assert not any("dry part" in said for said in section_words.remarks(end, LENGTH))


@pytest.mark.parametrize(("gap", "said"), [(0.02, "less than a hairline"), (0.18, "too thin to")])
def test_thin_is_said_in_words(gap, said):
    end = END(plug_diameter_mm=15.1 - 2 * gap, radial_gap_mm=gap)
    assert said in " ".join(section_words.remarks(end, LENGTH))


def test_bars_have_the_length_they_name():
    end = END()
    text = section(end, LENGTH, "j")
    for scale, (path, length) in zip(
        (lay_out(end, LENGTH).scale, lens_scale(end)),
        re.findall(r'<path d="([^"]+)" stroke-width="1.4"/><text [^>]*>([\d.]+) mm<', text),
        strict=True,
    ):
        across = [x for x, _ in points(path)]
        assert (max(across) - min(across)) / PER_MM / scale == pytest.approx(float(length))


def test_dimension_lines_run_from_edge_to_edge_and_carry_size_and_unit():
    root = tree(section(END(), LENGTH, "j"))
    assert {"overlap 19 mm", "glued 16.6 mm", "M6 14 mm"} <= set(words(root))
    sheet = lay_out(END(), LENGTH)
    level = [points(p.get("d")) for p in root.iter("path") if p.get("stroke-width") == ".6"]
    spans = [(a[0], b[0]) for a, b in (line for line in level if len(line) == 2) if a[1] == b[1]]
    assert (pytest.approx(sheet.inner, abs=0.01), pytest.approx(sheet.mouth, abs=0.01)) in spans
    lengths = {round((b - a) / sheet.per_mm, 1) for a, b in spans}
    assert {19.0, 14.0} <= lengths


def test_hatchings_differ_by_more_than_colour():
    text = section(END(), LENGTH, "j")
    tiles = dict(re.findall(r'<pattern id="j-(\w+)"(.*?)</pattern>', text))
    assert set(tiles) == {"tube", "plug", "glue"}
    assert "rotate(45)" in tiles["tube"]
    assert "rotate(-45)" in tiles["plug"]
    assert "circle" in tiles["glue"]
    for part in ("tube", "plug"):
        assert "#" not in tiles[part]


def test_colours_are_the_pages_own():
    text = section(END(), LENGTH, "j")
    assert 'stroke="currentColor"' in text
    assert not re.sub(r"var\(--(?:mark|ground), #[0-9a-f]+\)", "", text).count("#a84300")
    used = set(re.findall(r"#[0-9a-f]{3,6}\b", re.sub(r"url\(#[^)]*\)", "", text)))
    assert used == {"#a84300", "#fff"}


def test_without_thread_and_hole_the_plug_is_one_piece_and_says_so():
    end = END(plug_bore_mm=0.0, **BARE)
    root = tree(section(end, LENGTH, "j"))
    inner = lay_out(end, LENGTH).inner
    bodies = [box for box in hatched(root, "j-plug") if box[0] == pytest.approx(inner, abs=0.01)]
    assert len(bodies) == 1
    assert bodies[0][3] - bodies[0][1] == pytest.approx(14.74 * 2.5 * PER_MM, abs=0.02)
    assert "plug 14.74 mm, solid" in words(root)
    assert not any("thread" in word for word in words(root))
    assert "thread" not in section_words.describe(end, LENGTH)[1]
    assert ("hole in the plug", "none") in section_words.sizes(end, LENGTH)


def test_a_shoulder_covers_the_tube_end():
    def body(shoulder):
        root = tree(section(END(shoulder=shoulder), LENGTH, "j"))
        return hatched(root, "j-plug")[0], hatched(root, "j-tube")[0]

    plug, wall = body(True)
    assert plug[1] == pytest.approx(wall[1], abs=0.02)
    plug, wall = body(False)
    assert plug[1] > wall[3]
    assert ("shoulder against the tube", "yes") in section_words.sizes(END(shoulder=True), LENGTH)


def test_the_text_alternative_tells_every_size_in_sentences():
    title, seen = section_words.describe(END(), LENGTH)
    assert title == "Section through the joint"
    for size in ("465 mm", "17.2 mm", "15.1 mm", "14.74 mm", "5 mm", "19 mm", "0.18 mm",
                 "16.6 mm", "M6", "14 mm", "No shoulder"):  # fmt: skip
        assert size in seen
    assert all(re.match(r"[A-Z]", said) for said in seen.split(". "))
    text = section(END(), LENGTH, "j")
    assert f'<desc id="j-desc">{seen}</desc>' in text
    assert 'role="img" aria-labelledby="j-title j-desc"' in text


def test_names_of_a_thread_are_escaped():
    text = section(END(thread='1/4"<20'), LENGTH, "j")
    assert "&lt;20" in text
    tree(text)


def test_the_scale_is_told_as_drawings_do():
    assert section_words.ratio(2.5) == "2.5\N{NO-BREAK SPACE}:\N{NO-BREAK SPACE}1"
    assert section_words.ratio(0.4) == "1\N{NO-BREAK SPACE}:\N{NO-BREAK SPACE}2.5"
    assert section_words.ratio(1.0) == "1\N{NO-BREAK SPACE}:\N{NO-BREAK SPACE}1"


@given(value=st.floats(1e-4, 1e4), steps=st.sampled_from([SCALES, BARS]))
def test_round_scales_are_never_above_and_never_far_below(value, steps):
    found = round_down(value, steps)
    assert found <= value * (1 + 1e-6)
    worst = max(b / a for a, b in pairwise((*steps, 10.0)))
    assert found >= value / worst * (1 - 1e-6)


@settings(max_examples=80, deadline=None)
@given(drawn=ends())
def test_whatever_the_sizes_everything_lies_on_the_sheet(drawn):
    end, length = drawn
    text = section(end, length, "j")
    root = tree(text)
    height = float(root.get("viewBox").split()[3])
    for part in ("tube", end.kind, "glue"):
        for left, top, right, bottom in hatched(root, f"j-{part}"):
            if left == -LENS:
                continue
            assert left >= MARGIN - 3.0
            assert right <= WIDTH - MARGIN + 0.02
            assert 0.0 <= top <= bottom <= height
    outer = end.widest_mm * lay_out(end, length).per_mm
    assert outer <= HIGHEST * (1 + 1e-9)
    assert not re.search(r"nan|inf|e[-+]\d", re.sub(r"<(title|desc).*?</\1>", "", text))


@settings(max_examples=80, deadline=None)
@given(drawn=ends())
def test_words_stay_on_the_sheet_and_clear_of_one_another(drawn):
    """Letters reckoned at 6.6 units wide and 8 high, the size of the type they are set in."""
    root = tree(section(*drawn, "j"))
    boxes = []
    for text in root.iter("text"):
        wide = 6.6 * len(text.text)
        x = (
            float(text.get("x"))
            - {"start": 0, "middle": 0.5, "end": 1}[text.get("text-anchor")] * wide
        )
        y = float(text.get("y"))
        boxes.append((x, y - 8.0, x + wide, y, text.text))
        assert x >= -1.0, text.text
        assert x + wide <= WIDTH + 1.0, text.text
    for i, one in enumerate(boxes):
        for two in boxes[i + 1 :]:
            apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
            assert apart, (one[4], two[4])


@settings(max_examples=30, deadline=None)
@given(drawn=ends())
def test_the_detail_is_there_where_the_layer_is_thin_and_its_glue_fills_a_third_or_more(drawn):
    end, length = drawn
    sheet = lay_out(end, length)
    assert sheet.thin == (end.radial_gap_mm * sheet.per_mm < THIN)
    assert ("glue (A)" in section(end, length, "j")) == sheet.thin
    if sheet.thin:
        share = end.radial_gap_mm * lens_scale(end) * PER_MM / (2.0 * LENS)
        assert 0.29 <= share <= 0.46
        assert lens_scale(end) > sheet.scale


def test_the_same_end_draws_the_same_bytes():
    assert section(END(), LENGTH, "j") == section(replace(END()), LENGTH, "j")


# Sleeves -----------------------------------------------------------------------------------------


def test_a_sleeve_is_drawn_over_the_tube_to_scale():
    end = sleeve()
    root, scale = tree(section(end, LENGTH, "j")), lay_out(end, LENGTH).scale

    def real(units):
        return pytest.approx(units / PER_MM / scale, abs=0.01)

    upper, lower = hatched(root, "j-tube")[:2]
    assert end.tube_outer_mm == real(lower[3] - upper[1])
    above, below = hatched(root, "j-sleeve")[:2]
    assert end.sleeve_outer_mm == real(below[3] - above[1])
    assert end.thread_drill_mm == real(below[1] - above[3])
    assert end.overlap_mm == real(upper[2] - above[0])
    layers = hatched(root, "j-glue")[:2]
    assert layers[0][1] == pytest.approx(above[1] + 1.5 * PER_MM * scale, abs=0.02)
    assert layers[0][3] == pytest.approx(upper[1], abs=0.02)
    assert layers[1][1] == pytest.approx(lower[3], abs=0.02)
    assert not hatched(root, "j-plug")
    assert {"sleeve", "tube", "glue", "sleeve 22 mm, bore 19 mm"} <= set(words(root))


def test_the_thread_of_a_sleeve_lies_past_the_tube():
    end = sleeve(thread_engagement_mm=30.0)
    sheet = lay_out(end, LENGTH)
    assert sheet.face - 30.0 * sheet.per_mm > sheet.mouth


def test_a_sleeve_without_thread_is_one_piece_and_a_solid_rod_says_so():
    end = sleeve(**BARE, thread_drill_mm=0.0, tube_bore_mm=0.0)
    root = tree(section(end, LENGTH, "j"))
    assert len(hatched(root, "j-sleeve")) == 2  # the piece and its hatching in the key
    _, seen = section_words.describe(end, LENGTH)
    assert "17.2 mm outside and solid" in seen
    assert "A sleeve of 22 mm outside diameter with a bore of 19 mm goes 19 mm over it." in seen
    assert "plug" not in " ".join([seen, *section_words.remarks(end, LENGTH)])
    rows = dict(section_words.sizes(end, LENGTH))
    assert (rows["sleeve, outside"], rows["sleeve, bore"]) == ("22 mm", "19 mm")
    assert rows["tube, bore"] == "solid"


@pytest.mark.parametrize(("seat", "said"), [(True, "sleeve bears on"), (False, "does not bear on")])
def test_whether_the_tube_sits_in_the_sleeve_is_said(seat, said):
    assert said in section_words.describe(sleeve(shoulder=seat), LENGTH)[1]
