"""`jointrisk assess`: the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

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
    note,
    pool_of,
    report_folder,
    save_report,
    show_answer,
    working,
)
from jointrisk.cli.status import Status

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.results import Assessment

TARGET = "target"


def _read_limit(raw: str) -> str | float:
    if raw == TARGET:
        return raw
    try:
        value = float(raw)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 1.0:
        raise typer.BadParameter(f"got {raw!r}; expected a probability from 0 to 1, or {TARGET!r}")
    return value


FailAbove = Annotated[
    Any,
    typer.Option(
        parser=_read_limit,
        metavar="P",
        help="Leave with status 5 when the failure probability is above P; "
        "'target': unless the file's target is met.",
        show_default=False,
    ),
]


def command(
    file: File,
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
    """Strength, failure probability, what fails, what it hangs on, and the pull."""
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _check_limit(fail_above, scenario)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.assess(scenario, seed=seed, pool=pool, curves=folder is not None)
    show_answer(result, "text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)
    _leave_if_above(fail_above, result)


def _check_limit(limit: str | float | None, scenario: Scenario) -> None:
    if limit is None:
        return
    if not scenario.loads:
        raise typer.BadParameter(
            "the file names no load, so there is no failure probability", param_hint="--fail-above"
        )
    if limit == TARGET and scenario.target is None:
        raise typer.BadParameter("the file has no target", param_hint="--fail-above")


def _leave_if_above(limit: str | float | None, result: Assessment) -> None:
    """Leave with the status of a missed target, and say in one line why."""
    from jointrisk.report.words import chance

    if limit is None:
        return
    if limit == TARGET:
        if result.target is not None and result.target.met is True:
            return
        undecided = result.target is not None and result.target.met is None
        note("target undecided" if undecided else "target missed")
    else:
        found = result.failure_probability
        if found is not None and found.estimate <= float(limit):
            return
        note(
            f"failure probability {chance(found.estimate if found else None)} "
            f"is above {chance(float(limit))}"
        )
    raise typer.Exit(Status.TARGET_MISSED)
