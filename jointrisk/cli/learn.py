"""`jointrisk learn`: what finished pulls have taught."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointrisk.cli.assess import TARGET, FailAbove
from jointrisk.cli.shared import (
    Jobs,
    Json,
    NoColor,
    Option,
    Out,
    Quiet,
    Seed,
    Verbose,
    note,
    pool_of,
    report_folder,
    save_report,
    show,
    show_answer,
    working,
)
from jointrisk.cli.status import Status

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.learn_results import Learnt

File = Annotated[
    Path | None, typer.Argument(metavar="FILE", help="The scenario, a TOML file.")
]  # fmt: skip
Pulls = Annotated[
    Path | None,
    typer.Argument(metavar="PULLS", help="The log, a CSV file; guide learning has its columns."),
]
Blank = Annotated[bool, typer.Option("--blank", help="Print a log to fill in, and nothing else.")]


def command(
    file: File = None,
    pulls: Pulls = None,
    blank: Blank = False,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    fail_above: FailAbove = None,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say what the pulls of a log change: failure, glue, weak bonds, rods that held and the next.

    With --fail-above the failure probability is that of a set not pulled, with the log known.
    """
    import jointrisk
    from jointrisk.scenario import pull_log

    if blank:
        show(pull_log.blank())
        return
    if file is None or pulls is None:
        missing = "FILE" if file is None else "PULLS"
        raise typer.BadParameter("is missing", param_hint=missing)
    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _check_limit(fail_above, scenario)
    log = pull_log.read_pulls(pulls)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.learn(scenario, log, seed=seed, pool=pool)
    show_answer(result, "learn_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)
    _leave_if_no_answer(result)
    _leave_if_above(fail_above, result)


def _check_limit(limit: str | float | None, scenario: Scenario) -> None:
    if limit is not None and not scenario.loads:
        raise typer.BadParameter(
            "the file names no load, so there is no failure probability", param_hint="--fail-above"
        )
    if limit == TARGET and scenario.target is None:
        raise typer.BadParameter("the file has no target", param_hint="--fail-above")


def _leave_if_no_answer(result: Learnt) -> None:
    from jointrisk.report.learn_sentences import no_answer, trusted
    from jointrisk.report.sentences import mark

    if trusted(result):
        return
    note(mark(no_answer(result)))
    raise typer.Exit(Status.NO_ESTIMATE)


def _leave_if_above(limit: str | float | None, result: Learnt) -> None:
    """Leave with the status of a missed target, and say in one line why."""
    from jointrisk.report.words import chance

    if limit is None:
        return
    after = result.after
    if limit == TARGET:
        if after is not None and after.met is True:
            return
        undecided = after is not None and after.target is not None and after.met is None
        note("target undecided" if undecided else "target missed")
    else:
        if after is not None and after.life.estimate <= float(limit):
            return
        found = chance(after.life.estimate if after else None)
        note(f"failure probability with the log known {found} is above {chance(float(limit))}")
    raise typer.Exit(Status.TARGET_MISSED)
