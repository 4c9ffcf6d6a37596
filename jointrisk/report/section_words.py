"""A bonded end in words: what its drawing shows, how to read it, and its sizes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.section_sheet import lay_out, lens_scale
from jointrisk.report.words import number

if TYPE_CHECKING:
    from jointrisk.study.results import JointGeometry

HAIRLINE = 0.25
"""Line width on paper below which a layer cannot be told from a line [mm]."""


def describe(end: JointGeometry, rod_length: float) -> tuple[str, str]:
    """Return a title and, in full sentences, what the drawing shows."""
    said = [
        f"Lengthwise section through one end of a rod of {mm(rod_length)}, to scale.",
        f"The tube is {mm(end.tube_outer_mm)} outside "
        + (f"with a bore of {mm(end.tube_bore_mm)}." if end.tube_bore_mm > 0.0 else "and solid."),
        _metal(end),
        f"The layer of glue between them is {mm(end.radial_gap_mm)} thick on each side and "
        f"covers {mm(end.wetted_overlap_mm, 3)} of that overlap on average.",
    ]
    if end.thread is not None and end.thread_engagement_mm is not None:
        engaged = mm(end.thread_engagement_mm)
        said.append(f"In the {end.kind} a thread {end.thread} is engaged over {engaged}.")
    if end.kind == "plug":
        seat = f"{'A' if end.shoulder else 'No'} shoulder of the plug bears"
    else:
        seat = f"The bottom of the sleeve {'bears' if end.shoulder else 'does not bear'}"
    said.append(f"{seat} on the end of the tube.")
    return "Section through the joint", " ".join(said)


def _metal(end: JointGeometry) -> str:
    """Say what the metal end is and how far it goes in or over."""
    if end.kind == "sleeve":
        return (
            f"A sleeve of {mm(end.widest_mm)} outside diameter with a bore of "
            f"{mm(end.outer_mm)} goes {mm(end.overlap_mm)} over it."
        )
    hole = f"with a hole of {mm(end.plug_bore_mm)}," if end.plug_bore_mm else "solid,"
    return f"A plug of {mm(end.inner_mm)} diameter, {hole} reaches {mm(end.overlap_mm)} into it."


def remarks(end: JointGeometry, rod_length: float) -> list[str]:
    """Say how the drawing is to be read: scale, thin layers, what the file does not tell."""
    sheet = lay_out(end, rod_length)
    said = [
        f"Drawn to scale, the same along and across: {ratio(sheet.scale)} where the page is "
        "printed at 100 %; elsewhere go by the bar."
    ]
    if sheet.thin:
        paper = end.radial_gap_mm * sheet.scale
        thin = "less than a hairline" if paper < HAIRLINE else "too thin to read"
        said.append(
            f"On paper the glue is {mm(paper, 2)} thick, {thin}: circle A shows it "
            f"{ratio(lens_scale(end))}."
        )
    if end.wetted_overlap_mm < end.overlap_mm * (1.0 - 1e-9):
        where = "the inner end" if end.kind == "plug" else "the mouth of the sleeve"
        said.append(f"Where the dry part lies is not known; it is drawn at {where}.")
    past = "stands out of the tube" if end.kind == "plug" else "reaches past the tube"
    said.append(f"How far the {end.kind} {past} is not in the file.")
    return said


def sizes(end: JointGeometry, rod_length: float) -> list[tuple[str, str]]:
    """Return the sizes as rows of words and values."""
    rows = [
        ("tube, outside", mm(end.tube_outer_mm)),
        ("tube, bore", mm(end.tube_bore_mm) if end.tube_bore_mm > 0.0 else "solid"),
        ("tube wall", mm(0.5 * (end.tube_outer_mm - end.tube_bore_mm))),
        *_metal_sizes(end),
        ("glue, thickness on each side", mm(end.radial_gap_mm)),
        ("overlap", mm(end.overlap_mm)),
        ("of it glued, on average", mm(end.wetted_overlap_mm, 3)),
    ]
    if end.thread is not None and end.thread_engagement_mm is not None:
        rows.append(("thread", f"{end.thread}, {mm(end.thread_engagement_mm)} engaged"))
    bears = "shoulder" if end.kind == "plug" else "bottom of the sleeve"
    rows.append((f"{bears} against the tube", "yes" if end.shoulder else "no"))
    rows.append(("rod, pin to pin", mm(rod_length)))
    return rows


def _metal_sizes(end: JointGeometry) -> list[tuple[str, str]]:
    if end.kind == "sleeve":
        return [("sleeve, outside", mm(end.widest_mm)), ("sleeve, bore", mm(end.outer_mm))]
    hole = mm(end.plug_bore_mm) if end.plug_bore_mm else "none"
    return [("plug", mm(end.inner_mm)), ("hole in the plug", hole)]


def mm(value: float, digits: int = 4) -> str:
    """Return a length [mm] with its unit."""
    return f"{number(value, digits)} mm"


def ratio(scale: float) -> str:
    """Return a scale as drawings name it: "2.5 : 1" enlarges, "1 : 2" makes smaller."""
    big, small = number(max(scale, 1.0)), number(max(1.0 / scale, 1.0))
    return f"{big}\N{NO-BREAK SPACE}:\N{NO-BREAK SPACE}{small}"
