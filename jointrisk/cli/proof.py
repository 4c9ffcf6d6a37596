"""`jointrisk proof`: the pull that shows weak rods, or what a given pull is worth."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from jointrisk.cli.shared import (
    File,
    Jobs,
    Json,
    NoColor,
    Option,
    Out,
    Quiet,
    Seed,
    Verbose,
    color,
    note,
    pool_of,
    report_folder,
    show,
    width,
)


def _read_force(raw: str) -> str:
    """Return a force as written, once it is known to be one."""
    from jointrisk import units
    from jointrisk.errors import InputError

    try:
        newton = units.parse(raw, "force")
    except InputError as problem:
        raise typer.BadParameter(str(problem)) from None
    if newton <= 0.0:
        raise typer.BadParameter(f"is not above zero (got {raw!r})")
    return raw


Load = Annotated[
    list[str] | None,
    typer.Option(
        parser=_read_force,
        metavar="FORCE",
        help='A pull to judge, such as "750 N"; once for each. Without it those of the file.',
        show_default=False,
    ),
]


def command(
    file: File,
    load: Load = None,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say how hard to pull every finished rod, what that leaves, and what your pull is worth.

    Writes a shop card to pull by where a pull meets the target.
    """
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    if not quiet and sys.stderr.isatty():
        note("working; this takes some seconds")
    with pool_of(jobs) as pool:
        result = jointrisk.proof(scenario, pulls=load or None, seed=seed, pool=pool)
    if json:
        from jointrisk.report.document import json_text

        show(json_text(result))
    else:
        from jointrisk.report.proof_text import text

        show(text(result, color=color(no_color), width=width(), verbose=verbose))
    if folder is not None:
        from jointrisk.report import save

        page, _ = save(result, folder)
        note(f"report: {page}", quiet=quiet)
        if result.verdict == "window":
            note(f"shop card: {page.with_name('card.html')}", quiet=quiet)
