"""`jointrisk plan`: which test to make next, and how many parts to give it."""

from __future__ import annotations

import math
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
    report_folder,
    save_report,
    show_answer,
    working,
)

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario

Cost = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME=NUMBER",
        help='What one part of a test costs, such as "coupon=4"; once for each of coupon, rod, '
        "pull, gauge, gap, overlap, all in the same money. Without it parts are counted.",
        show_default=False,
    ),
]


def command(
    file: File,
    cost: Cost = None,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say which test to make next and how many: coupons, rods to break, pulls, a measurement."""
    import jointrisk

    costs = read_costs(cost or [])
    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _needs_a_load(scenario)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.plan(scenario, costs=costs or None, seed=seed, pool=pool)
    show_answer(result, "plan_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)


def _needs_a_load(scenario: Scenario) -> None:
    from jointrisk.errors import Problem, ScenarioError

    if not scenario.loads:
        what = "the file names no load, so there is nothing to plan tests for"
        raise ScenarioError(scenario.path, [Problem("load", what)])


def read_costs(raw: list[str]) -> dict[str, float]:
    """Return the cost of one part by the kind of test; all that is wrong is told at once."""
    costs: dict[str, float] = {}
    wrong = []
    for entry in raw:
        name, _, number = (part.strip() for part in entry.partition("="))
        problem = _problem(name, number, costs)
        if problem:
            wrong.append(f"{problem} (got {entry!r})")
        else:
            costs[name] = float(number)
    if wrong:
        raise typer.BadParameter("; ".join(wrong), param_hint="--cost")
    return costs


def _problem(name: str, number: str, known: dict[str, float]) -> str:
    """Return what is wrong with one cost, "" where nothing is."""
    from jointrisk.errors import nearest
    from jointrisk.study.plan_results import COST_KEYS

    if name not in COST_KEYS:
        close = nearest(name, COST_KEYS)
        guess = f"did you mean {close!r}?" if close else f"expected one of {', '.join(COST_KEYS)}"
        return f"no such test: {name!r}; {guess}"
    if name in known:
        return f"the cost of {name!r} is given twice"
    try:
        value = float(number)
    except ValueError:
        return f"the cost of {name!r} is not a number; write it as {name}=4.50"
    if not math.isfinite(value) or value < 0.0:
        return f"the cost of {name!r} must be a number, 0 or more"
    return ""
