"""`jointrisk fit`: what broken coupons or rods say of their spread."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jointrisk.cli.shared import (
    Json,
    NoColor,
    Out,
    Quiet,
    Verbose,
    report_folder,
    save_report,
    show_answer,
)

Table = Annotated[
    Path,
    typer.Argument(metavar="COUPONS", help='A CSV file with a column such as "strength [MPa]".'),
]
Column = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Head of the column of values, where more than one could be it.",
        show_default=False,
    ),
]


def command(
    file: Table,
    column: Column = None,
    out: Out = None,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say how broken coupons or rods scatter, how sure that is, and what to write.

    Columns headed held (or broke), batch and note add to it. Nothing is drawn at random.
    """
    import jointrisk
    from jointrisk.errors import ScenarioError

    folder = report_folder(file, None, out, json)
    try:
        result = jointrisk.fit(file, column=column)
    except ScenarioError as error:
        if column is None or error.problems[0].key != "column":
            raise
        raise typer.BadParameter(error.problems[0].what, param_hint="--column") from None
    show_answer(result, "fit_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)
