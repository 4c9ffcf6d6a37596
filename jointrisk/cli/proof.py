"""`jointrisk proof`: the pull that shows weak rods, or what a given pull is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from jointrisk.cli.assess import TARGET, FailAbove
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
    read_force,
    report_folder,
    save_report,
    show_answer,
    working,
)
from jointrisk.cli.status import Status

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.proof_results import Proof


Load = Annotated[
    list[str] | None,
    typer.Option(
        parser=read_force,
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
    fail_above: FailAbove = None,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say how hard to pull every finished rod, what that leaves, and what your pull is worth.

    Writes a shop card to pull by where a pull meets the target. With --fail-above the failure
    probability is the one after the pull to make, or after each --load, as the target counts it.
    """
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _check_limit(fail_above, scenario)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.proof(scenario, pulls=load or None, seed=seed, pool=pool)
    show_answer(result, "proof_text", json=json, plain=no_color, verbose=verbose)
    page = save_report(result, folder, quiet=quiet)
    if page is not None and result.verdict == "window":
        note(f"shop card: {page.with_name('card.html')}", quiet=quiet)
    _leave_if_above(fail_above, result, given=bool(load))


def _check_limit(limit: str | float | None, scenario: Scenario) -> None:
    if limit is not None and not scenario.loads:
        raise typer.BadParameter(
            "the file names no load, so there is no failure probability", param_hint="--fail-above"
        )
    if limit == TARGET and scenario.target is None:
        raise typer.BadParameter("the file has no target", param_hint="--fail-above")


def _leave_if_above(limit: str | float | None, result: Proof, *, given: bool) -> None:
    """Leave with the status of a missed target, and say in one line why."""
    from jointrisk.report.words import chance

    if limit is None:
        return
    most = result.target if limit == TARGET else float(limit)
    found = max(_left(result, given=given), key=lambda value: math.inf if value is None else value)
    if most is None or (found is not None and found <= most):
        return
    told = "is not known" if found is None else f"{chance(found)} is above {chance(most)}"
    note(f"failure probability after the pull {told}")
    raise typer.Exit(Status.TARGET_MISSED)


def _left(result: Proof, *, given: bool) -> list[float | None]:
    """Return what the pulls given leave, or the pull to make; else the best there is to be had.

    Without a target no pull is looked for: those of the file count, or no pull at all.
    """
    if result.target is not None and not given and result.best is None:
        return [result.floor]
    named = given or result.target is None
    effects = result.pulls if named else tuple(filter(None, [result.best]))
    left: list[float | None] = [] if effects else [result.fail_before.estimate]
    for effect in effects:
        after = effect.fail_after.estimate if result.target is None else effect.as_target
        left.append(after if after is not None and math.isfinite(after) else None)
    return left
