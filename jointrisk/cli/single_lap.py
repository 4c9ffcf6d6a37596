"""`jointrisk single-lap`: what broken lap coupons say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointrisk.cli.shared import NoColor, color, note, show, width
from jointrisk.cli.status import Status

if TYPE_CHECKING:
    from jointrisk.errors import ScenarioError

FLAGS = {
    "yield_strength": "--yield",
    "bond_line": "--bond-line",
    "adhesive_class": "--class",
}
"""Options whose name is not the key with two dashes before it."""


def _option(flag: str, metavar: str, told: str) -> typer.models.OptionInfo:
    return typer.Option(flag, metavar=metavar, help=told, show_default=False)  # type: ignore[no-any-return]


Text = str | None


def command(
    glued_width: Annotated[Text, _option("--width", "LENGTH", "Of the glued face.")] = None,
    overlap: Annotated[Text, _option("--overlap", "LENGTH", "Along the pull.")] = None,
    thickness: Annotated[Text, _option("--thickness", "LENGTH", "Of one strip.")] = None,
    material: Annotated[
        Text, _option("--material", "NAME", "Of the strips; guide members lists the names.")
    ] = None,
    modulus: Annotated[
        Text, _option("--modulus", "STRESS", "Stiffness of the strips, where not of the table.")
    ] = None,
    yield_strength: Annotated[
        Text, _option("--yield", "STRESS", "Yield strength of the strips, likewise.")
    ] = None,
    bond_line: Annotated[
        Text,
        _option("--bond-line", "LENGTH", "Thickness of the layer; guide coupon has the default."),
    ] = None,
    adhesive_class: Annotated[
        Text, _option("--class", "NAME", "Of the adhesive; guide adhesive lists the names.")
    ] = None,
    load: Annotated[
        list[str] | None, _option("--load", "FORCE", "At which one broke; once for each coupon.")
    ] = None,
    loads: Annotated[
        Path | None, _option("--loads", "FILE", 'CSV file with a column headed "load [N]".')
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
    no_color: NoColor = False,
) -> None:
    """Say what broken single-lap coupons tell of the adhesive's shear strength.

    Values carry their units, such as "25 mm" or "5.2 kN"; guide coupon shows a whole line.
    """
    import jointrisk
    from jointrisk.errors import ScenarioError

    try:
        result = jointrisk.single_lap(
            width=glued_width,
            overlap=overlap,
            thickness=thickness,
            load=load,
            loads_file=loads,
            material=material,
            modulus=modulus,
            yield_strength=yield_strength,
            bond_line=bond_line,
            adhesive_class=adhesive_class,
        )
    except ScenarioError as problem:
        raise typer.Exit(_tell(problem)) from None
    if json:
        from jointrisk.report.document import json_text

        show(json_text(result))
    else:
        from jointrisk.report.coupon import text

        show(text(result, color=color(no_color), width=width()))


def _tell(error: ScenarioError) -> Status:
    """Write a line for each problem, options by their own names; return whose fault it is."""
    from dataclasses import replace

    from jointrisk.scenario.coupon import KEYS

    usage = False
    for problem in error.problems:
        if problem.key in KEYS:
            usage = True
            problem = replace(problem, key=FLAGS.get(problem.key, f"--{problem.key}"))
        note(problem.line(""))
    return Status.USAGE if usage else Status.CONTENT
