"""A lengthwise section through one bonded end, drawn to scale as SVG text."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from jointrisk.report.section_sheet import (
    BARS,
    LENS,
    MARGIN,
    PER_MM,
    WIDTH,
    Sheet,
    lay_out,
    lens_scale,
    round_down,
)
from jointrisk.report.section_words import describe, mm, ratio

if TYPE_CHECKING:
    from jointrisk.study.results import JointGeometry

ROW = 21.0
LETTER = 6.6
"""Widest mean width of a letter."""


def section(end: JointGeometry, rod_length: float, name: str) -> str:
    """Draw one bonded end.

    Parameters
    ----------
    end : JointGeometry
        Sizes of the end [mm].
    rod_length : float
        Pin to pin [mm].
    name : str
        A word that no other figure on the page has: every id begins with it.

    Returns
    -------
    str
        SVG to stand inside a page whose style sheet names ``--ground`` and ``--mark``.
    """
    sheet = lay_out(end, rod_length)
    metal = _plug(sheet, end, name) if end.kind == "plug" else _sleeve(sheet, end, name)
    parts = [_patterns(name, end), _tube(sheet, end, name), metal]
    parts += [_thread(sheet, end), _glue(sheet, end, name), _axis(sheet), _names(sheet, end)]
    low, rows = _dimensions(sheet, end)
    parts += [rows, _scale_bar(low + ROW, sheet)]
    low += ROW + 12.0
    if sheet.thin:
        parts.append(_lens(low + LENS + 4.0, end, name))
        parts.append(_key(118.0, low + 8.0, end, name))
        low += 2.0 * LENS + 30.0
    else:
        parts.append(_key(MARGIN, low + 8.0, end, name))
        low += 22.0 * (3 if end.thread is None else 4) + 8.0
    title, seen = describe(end, rod_length)
    return (
        f'<svg viewBox="0 0 {WIDTH:g} {low:.0f}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc" fill="none" stroke="currentColor" '
        'stroke-width=".8">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(seen)}</desc>\n'
        + "\n".join(filter(None, parts))
        + "</svg>\n"
    )


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _path(points: list[tuple[float, float]], more: str = "", *, closed: bool = False) -> str:
    drawn = "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
    return f'<path d="M{drawn}{"Z" if closed else ""}"{more}/>'


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    """Write words on a ground that covers the lines under them."""
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" text-anchor="{anchor}" style="font: 11px \'DejaVu Sans\', '
        "sans-serif; fill: currentColor; stroke: var(--ground, #fff); stroke-width: 3; "
        f'paint-order: stroke">{escape(words)}</text>'
    )


def _box(x: float, y: float, width: float, height: float, more: str) -> str:
    return f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"{more}/>'


def _hatched(name: str, part: str) -> str:
    return f' fill="url(#{name}-{part})"'


def _patterns(name: str, end: JointGeometry) -> str:
    """Define the hatchings: close rising strokes, wide falling ones, dots on a solid ground."""
    tile = 'patternUnits="userSpaceOnUse"'
    return (
        f'<defs><pattern id="{name}-tube" {tile} width="4" height="4" '
        'patternTransform="rotate(45)"><path d="M2 0V4"/></pattern>'
        f'<pattern id="{name}-{end.kind}" {tile} width="8" height="8" '
        'patternTransform="rotate(-45)"><path d="M4 0V8"/></pattern>'
        f'<pattern id="{name}-glue" {tile} width="5" height="5"><g stroke="none">'
        '<path d="M0 0H5V5H0Z" style="fill: var(--mark, #a84300)"/>'
        '<circle cx="2.5" cy="2.5" r="1" style="fill: var(--ground, #fff)"/></g></pattern>'
        f'<clipPath id="{name}-lens"><circle r="{LENS:g}"/></clipPath></defs>'
    )


def _tube(sheet: Sheet, end: JointGeometry, name: str) -> str:
    """Draw both cut walls, broken off on the left."""
    near, far = sheet.across(end.tube_bore_mm), sheet.across(end.tube_outer_mm)
    drawn = []
    for side in (-1.0, 1.0):
        low, high = sheet.axis + side * near, sheet.axis + side * far
        broken = [(0.0, 1.0), (2.5, 0.6), (-2.5, 0.4), (0.0, 0.0)]
        points = [(sheet.mouth, low), (sheet.mouth, high)]
        points += [(sheet.left + x, low + share * (high - low)) for x, share in broken]
        drawn.append(_path(points, _hatched(name, "tube"), closed=True))
    return "".join(drawn)


def _plug(sheet: Sheet, end: JointGeometry, name: str) -> str:
    """Draw the cut plug: two halves round its hole, or one piece."""
    body, hole = sheet.across(end.inner_mm), sheet.across(end.plug_bore_mm or 0.0)
    outside = sheet.across(end.tube_outer_mm) if end.shoulder else body
    edge = [(sheet.inner, body), (sheet.mouth, body)]
    edge += [(sheet.mouth, outside), (sheet.face, outside)]
    more = _hatched(name, "plug")
    if hole <= 0.0:
        whole = [(x, sheet.axis - y) for x, y in edge]
        whole += [(x, sheet.axis + y) for x, y in reversed(edge)]
        return _path(whole, more, closed=True)
    edge += [(sheet.face, hole), (sheet.inner, hole)]
    halves = [
        _path([(x, sheet.axis + side * y) for x, y in edge], more, closed=True)
        for side in (-1.0, 1.0)
    ]
    ends = [
        _path([(x, sheet.axis - hole), (x, sheet.axis + hole)]) for x in (sheet.inner, sheet.face)
    ]
    return "".join(halves + ends)


def _sleeve(sheet: Sheet, end: JointGeometry, name: str) -> str:
    """Draw the cut sleeve: two halves round tube, hole and thread, or one piece."""
    body, bore = sheet.across(end.widest_mm), sheet.across(end.outer_mm)
    hole = sheet.across(end.thread_drill_mm)
    edge = [(sheet.inner, bore), (sheet.inner, body), (sheet.face, body)]
    seat = [(sheet.mouth, hole), (sheet.mouth, bore)]
    more = _hatched(name, "sleeve")
    if hole <= 0.0:
        whole = [(x, sheet.axis - y) for x, y in (seat[1], *edge)]
        whole += [(x, sheet.axis + y) for x, y in (*reversed(edge), seat[1])]
        return _path(whole, more, closed=True)
    edge += [(sheet.face, hole), *seat]
    halves = [
        _path([(x, sheet.axis + side * y) for x, y in edge], more, closed=True)
        for side in (-1.0, 1.0)
    ]
    ends = [
        _path([(x, sheet.axis - hole), (x, sheet.axis + hole)]) for x in (sheet.mouth, sheet.face)
    ]
    return "".join(halves + ends)


def _thread(sheet: Sheet, end: JointGeometry) -> str:
    """Draw the thread as drawings do: a thin line at its major diameter, a stroke at its end."""
    if end.thread_major_diameter_mm is None or end.thread_engagement_mm is None:
        return ""
    far = sheet.across(end.thread_major_diameter_mm)
    start = _thread_start(sheet, end.thread_engagement_mm)
    lines = [
        _path([(start, sheet.axis + y), (sheet.face, sheet.axis + y)], ' stroke-width=".5"')
        for y in (-far, far)
    ]
    stop = _path([(start, sheet.axis - far), (start, sheet.axis + far)], ' stroke-width="1.4"')
    return "".join([*lines, stop])


def _thread_start(sheet: Sheet, engagement: float) -> float:
    """Return where the thread ends inside."""
    return max(sheet.face - engagement * sheet.per_mm, sheet.inner)


def _glue(sheet: Sheet, end: JointGeometry, name: str) -> str:
    """Draw the glue at its true thickness, over the outlines that it lies between.

    A layer too thin for dots is filled: as it falls they would show in one place and not
    in another.
    """
    length = end.wetted_overlap_mm * sheet.per_mm
    thick = end.radial_gap_mm * sheet.per_mm
    filled = ' style="fill: var(--mark, #a84300)"' if sheet.thin else _hatched(name, "glue")
    more = filled + ' stroke="none"'
    tops = (
        sheet.axis - sheet.across(end.outer_mm),
        sheet.axis + sheet.across(end.inner_mm),
    )
    return "".join(_box(sheet.mouth - length, top, length, thick, more) for top in tops)


def _axis(sheet: Sheet) -> str:
    ends = [(sheet.left - 8.0, sheet.axis), (sheet.face + 8.0, sheet.axis)]
    return _path(ends, ' stroke-width=".6" stroke-dasharray="14 3 2 3"')


def _names(sheet: Sheet, end: JointGeometry) -> str:
    """Write the parts' names above, each with a line to its part."""
    thin = sheet.thin
    glue = sheet.mouth - 0.6 * end.wetted_overlap_mm * sheet.per_mm
    layer = sheet.axis - sheet.across(0.5 * (end.outer_mm + end.inner_mm))
    plug = 0.5 * (sheet.mouth + sheet.face)
    body = sheet.axis - sheet.across(0.5 * (_body(end) + _hole(end)))
    wall = sheet.axis - sheet.across(0.5 * (end.tube_outer_mm + end.tube_bore_mm))
    half = 0.5 * LETTER * len(end.kind)
    over_plug = min(plug, WIDTH - half - 0.8)
    over_glue = max(min(glue, over_plug - half - 32.8), 60.0)
    over_plug = max(over_plug, over_glue + half + 32.8)
    tube = min(sheet.left + 20.0, over_glue - 46.0)
    drawn = []
    for x, word, place in (
        (tube, "tube", (max(tube, sheet.left + 6.0), wall)),
        (over_glue, "glue (A)" if thin else "glue", (glue, layer - (5.0 if thin else 0.0))),
        (over_plug, end.kind, (plug, body)),
    ):
        drawn.append(_path([(x, 15.0), place], ' stroke-width=".6"'))
        if word != "glue (A)":
            spot = f'cx="{_n(place[0])}" cy="{_n(place[1])}"'
            drawn.append(f'<circle {spot} r="1.5" fill="currentColor" stroke="none"/>')
        drawn.append(_text(x, 11.0, word, "middle"))
    if thin:
        drawn.append(f'<circle cx="{_n(glue)}" cy="{_n(layer)}" r="5"/>')
    return "".join(drawn)


def _body(end: JointGeometry) -> float:
    """Return the outside diameter of the metal end past the tube [mm]."""
    return end.inner_mm if end.kind == "plug" else end.widest_mm


def _hole(end: JointGeometry) -> float:
    """Return the diameter of the hole in the metal end past the tube [mm]."""
    return end.thread_drill_mm if end.plug_bore_mm is None else end.plug_bore_mm


def _dimensions(sheet: Sheet, end: JointGeometry) -> tuple[float, str]:
    """Draw the dimension lines below, the shortest first; return where they end."""
    unit, mouth = sheet.per_mm, sheet.mouth
    spans = [(sheet.inner, mouth, f"overlap {mm(end.overlap_mm)}")]
    if end.wetted_overlap_mm < end.overlap_mm * (1.0 - 1e-9):
        glued = f"glued {mm(end.wetted_overlap_mm, 3)}"
        spans.append((mouth - end.wetted_overlap_mm * unit, mouth, glued))
    if end.thread is not None and end.thread_engagement_mm is not None:
        start = _thread_start(sheet, end.thread_engagement_mm)
        spans.append((start, sheet.face, f"{end.thread} {mm(end.thread_engagement_mm)}"))
    spans.sort(key=lambda span: span[1] - span[0])
    top = sheet.axis + sheet.across(end.widest_mm)
    lines, words = [], []
    for row, (start, stop, label) in enumerate(spans, 1):
        y = top + row * ROW
        lines += [
            _path([(x, top + 3.0), (x, y + 3.0)], ' stroke-width=".4"') for x in (start, stop)
        ]
        ticks = "".join(_path([(x - 2.5, y + 2.5), (x + 2.5, y - 2.5)]) for x in (start, stop))
        lines.append(_path([(start, y), (stop, y)], ' stroke-width=".6"') + ticks)
        # clear of the line that comes down from the mouth
        inside = min(stop, mouth) if start < mouth else stop
        wide = len(label) * LETTER
        if wide < inside - start - 8.0:
            words.append(_text(0.5 * (start + inside), y - 3.5, label, "middle"))
        elif wide < start - 6.0:
            words.append(_text(start - 6.0, y + 3.5, label, "end"))
        else:
            words.append(_text(stop + 6.0, y + 3.5, label))
    return top + len(spans) * ROW, "".join(lines + words)


def _bar(x: float, y: float, per_mm: float, most: float) -> str:
    """Draw a scale bar of at most `most` units with its length in mm."""
    length = round_down(most / per_mm, BARS)
    end = x + length * per_mm
    line = _path([(x, y - 3.0), (x, y), (end, y), (end, y - 3.0)], ' stroke-width="1.4"')
    return line + _text(end + 6.0, y + 2.0, mm(length))


def _scale_bar(y: float, sheet: Sheet) -> str:
    told = _text(WIDTH - MARGIN, y + 2.0, f"printed {ratio(sheet.scale)}", "end")
    return _bar(MARGIN, y, sheet.per_mm, 100.0) + told


def _lens(y: float, end: JointGeometry, name: str) -> str:
    """Draw the glue between its two faces enlarged in a circle, with a bar of its own."""
    unit = lens_scale(end) * PER_MM
    half = 0.5 * end.radial_gap_mm * unit
    wall = 0.5 * (end.widest_mm - end.outer_mm) * unit
    around, within = ("tube", "plug") if end.kind == "plug" else ("sleeve", "tube")
    hole = end.tube_bore_mm if end.plug_bore_mm is None else end.plug_bore_mm
    body = 0.5 * (end.inner_mm - hole) * unit
    x, wide = MARGIN + LENS, 2.0 * LENS
    layers = (
        (-half - min(wall, wide), min(wall, wide), around),
        (-half, 2.0 * half, "glue"),
        (half, min(body, wide), within),
    )
    drawn = "".join(
        _box(-LENS, top, wide, thick, _hatched(name, part)) for top, thick, part in layers
    )
    return (
        f'<g transform="translate({_n(x)} {_n(y)})"><g clip-path="url(#{name}-lens)">{drawn}</g>'
        f'<circle r="{LENS:g}" stroke-width="1.2"/></g>'
        + _text(MARGIN, y - LENS + 9.0, "A")
        + _bar(MARGIN + 4.0, y + LENS + 15.0, unit, 52.0)
    )


def _key(x: float, y: float, end: JointGeometry, name: str) -> str:
    """Name each hatching with the sizes of its part."""
    hole = f"hole {mm(_hole(end))}" if _hole(end) > 0.0 else "solid"
    metal = f"plug {mm(end.inner_mm)}, {hole}"
    if end.kind == "sleeve":
        metal = f"sleeve {mm(end.widest_mm)}, bore {mm(end.outer_mm)}"
    bore = f"bore {mm(end.tube_bore_mm)}" if end.tube_bore_mm > 0.0 else "solid"
    rows = [
        ("tube", f"tube {mm(end.tube_outer_mm)}, {bore}"),
        ("glue", f"glue {mm(end.radial_gap_mm)} on each side"),
        (end.kind, metal),
    ]
    drawn = []
    for row, (part, words) in enumerate(rows):
        top = y + 22.0 * row
        drawn.append(_box(x, top, 22.0, 12.0, _hatched(name, part)))
        drawn.append(_text(x + 30.0, top + 10.0, words))
    if end.thread is not None:
        top = y + 66.0
        drawn.append(_path([(x, top + 8.0), (x + 22.0, top + 8.0)], ' stroke-width="1.2"'))
        drawn.append(_path([(x, top + 4.0), (x + 22.0, top + 4.0)], ' stroke-width=".5"'))
        drawn.append(_text(x + 30.0, top + 10.0, f"thread {end.thread}"))
    return "".join(drawn)
