"""`jointrisk schema`: the JSON Schema of a scenario, or of a result's document."""

from __future__ import annotations

from typing import Annotated

import typer

from jointrisk.cli.shared import show

SCENARIO = "scenario"


def command(
    what: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="scenario, or the command whose --json document is meant: assess, proof, rank, "
            "compare, single-lap, sweep, rating, fit, learn, plan. Without it scenario.",
            show_default=False,
        ),
    ] = SCENARIO,
) -> None:
    """Print the JSON Schema of a scenario, for editors, or of what a command prints with --json."""
    import json

    show(json.dumps(_schema(what), indent=2, ensure_ascii=False) + "\n")


def _schema(what: str) -> object:
    """Return the schema; a word that names none is the command line's fault."""
    if what == SCENARIO:
        from jointrisk.scenario.read import schema

        return schema()
    from jointrisk.errors import nearest
    from jointrisk.report.result_schema import RESULTS, result_schema

    if what in RESULTS:
        return result_schema(what)
    known = [SCENARIO, *RESULTS]
    close = nearest(what, known)
    guess = f"; did you mean {close!r}?" if close else ""
    raise typer.BadParameter(
        f"got {what!r}; expected one of: {', '.join(known)}{guess}", param_hint="WHAT"
    )
