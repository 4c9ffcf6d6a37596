"""`jointrisk sweep`: one quantity over a range, or two."""

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
    pool_of,
    report_folder,
    save_report,
    show_answer,
    whole_number,
    working,
)

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario

Key = Annotated[
    str,
    typer.Argument(
        metavar="KEY",
        help='What to move: a key of the file such as plug.overlap, or "gap", "loads", '
        '"life.duration".',
    ),
]


def _end(flag: str, told: str) -> typer.models.OptionInfo:
    return typer.Option(flag, metavar="VALUE", help=told, show_default=False)  # type: ignore[no-any-return]


def _points(flag: str, told: str) -> typer.models.OptionInfo:
    read: Any = whole_number(2)
    return typer.Option(flag, parser=read, metavar="N", help=told)  # type: ignore[no-any-return]


Low = Annotated[str, _end("--from", 'Where the range begins, such as "10 mm".')]
High = Annotated[str, _end("--to", "Where it ends.")]
Points = Annotated[int, _points("--points", "Values worked out.")]
And = Annotated[
    str | None,
    typer.Option(
        "--and",
        metavar="KEY",
        help="A second quantity: failure is mapped over both.",
        show_default=False,
    ),
]
Low2 = Annotated[str | None, _end("--from2", "Where the range of the second begins.")]
High2 = Annotated[str | None, _end("--to2", "Where it ends.")]
Points2 = Annotated[int, _points("--points2", "Values of the second.")]


def command(
    file: File,
    key: Key,
    low: Low,
    high: High,
    points: Points = 25,
    second: And = None,
    low2: Low2 = None,
    high2: High2 = None,
    points2: Points2 = 9,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Follow failure over a range, and find the smallest value that meets the target.

    Says too where more of it stops paying, and why.
    """
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    _needs_load(scenario)
    values = _range(scenario, key, low, high, points, "")
    other = None
    if second is not None:
        if low2 is None or high2 is None:
            raise typer.BadParameter("--and asks for --from2 and --to2", param_hint="--and")
        other = (second, _range(scenario, second, low2, high2, points2, "2"))
        _bounded(points, points2)
    elif low2 is not None or high2 is not None:
        raise typer.BadParameter("--from2 and --to2 ask for --and KEY", param_hint="--and")
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.sweep(scenario, key, values, second=other, seed=seed, pool=pool)
    show_answer(result, "sweep_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)


def _needs_load(scenario: Scenario) -> None:
    from jointrisk.errors import Problem, ScenarioError

    if not scenario.loads:
        what = "the file names no load, so there is no failure probability to follow"
        raise ScenarioError(scenario.path, [Problem("load", what)])


def _bounded(points: int, points2: int) -> None:
    from jointrisk.study.sweep_map import MOST_CELLS

    if points * points2 > MOST_CELLS:
        raise typer.BadParameter(
            f"a map has at most {MOST_CELLS} cells, such as 15 by 15 (got {points} by {points2})",
            param_hint="--points",
        )


def _range(
    scenario: Scenario, key: str, low: str, high: str, points: int, number: str
) -> list[float]:
    """Return the values of a range; what is wrong is a matter of usage."""
    from jointrisk.errors import InputError
    from jointrisk.scenario.moved import moved, place_of, read_place
    from jointrisk.study.sweep_study import spaced

    def read(text: str, flag: str) -> float:
        try:
            value = read_place(scenario, key, text)
            moved(scenario, key, value)
        except InputError as problem:
            raise typer.BadParameter(str(problem), param_hint=flag) from None
        return value

    try:
        place_of(scenario, key)
    except InputError as problem:
        hint = "KEY" if not number else "--and"
        raise typer.BadParameter(str(problem), param_hint=hint) from None
    first, last = read(low, f"--from{number}"), read(high, f"--to{number}")
    try:
        return spaced(scenario, key, first, last, points)
    except InputError as problem:
        raise typer.BadParameter(str(problem), param_hint=f"--to{number}") from None
