"""`jointrisk rating`: how large the loads may be, as built and after a pull."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

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
    pool_of,
    read_force,
    report_folder,
    save_report,
    show_answer,
    working,
)

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario


Pull = Annotated[
    list[str] | None,
    typer.Option(
        "--pull",
        parser=read_force,
        metavar="FORCE",
        help='Rate the rods after this pull too, such as "750 N"; once for each. '
        "Without it those of the file.",
        show_default=False,
    ),
]


def command(
    file: File,
    pull: Pull = None,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say how large all loads may be for the target still to hold: the number for the part."""
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _needs_both(scenario)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.rating(scenario, pulls=pull or None, seed=seed, pool=pool)
    show_answer(result, "rating_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)


def _needs_both(scenario: Scenario) -> None:
    from jointrisk.errors import Problem, ScenarioError

    problems = []
    if not scenario.loads:
        problems.append(Problem("load", "the file names no load, so there is nothing to rate"))
    if scenario.target is None:
        what = "the file names no target, so no load can be rated against one"
        problems.append(Problem("target", what))
    if problems:
        raise ScenarioError(scenario.path, problems)
