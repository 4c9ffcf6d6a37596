"""`jointrisk compare`: options side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointrisk.cli.shared import (
    Jobs,
    Json,
    NoColor,
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

FOLDER = Path("options.toml")
"""Names the folder of the report where several files are compared."""

Files = Annotated[
    list[Path],
    typer.Argument(
        metavar="FILE...",
        help="One scenario, for it and all its options; or several, each as written.",
    ),
]
Options = Annotated[
    list[str] | None,
    typer.Option(
        "--option",
        metavar="NAME",
        help="Of one file only these options, once for each; 'as written' is one too.",
        show_default=False,
    ),
]
Baseline = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="What the others are held against: an option, or a file's name without its ending. "
        "Without it the first.",
        show_default=False,
    ),
]


def command(
    files: Files,
    option: Options = None,
    baseline: Baseline = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say which option fails less often, by how much, and whether that can be told.

    All options are worked out on the same random numbers.
    """
    import jointrisk

    folder = report_folder(files[0] if len(files) == 1 else FOLDER, None, out, json)
    options = _one(files[0], option) if len(files) == 1 else _several(files, option)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.compare(options, seed=seed, pool=pool, baseline=baseline)
    show_answer(result, "compare_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)


def _one(file: Path, wanted: list[str] | None) -> dict[str, Scenario]:
    """Return the options of one file, all or those wanted."""
    import jointrisk
    from jointrisk.errors import InputError, nearest

    found = jointrisk.load_options(file)
    if len(found) < 2:
        what = 'has no options to compare; write some as [options."NAME"], or name a second file'
        raise InputError(f"{file}: {what}")
    for name in wanted or ():
        if name not in found:
            close = nearest(name, list(found))
            listed = ", ".join(repr(other) for other in found)
            guess = f"did you mean {close!r}?" if close else f"expected one of {listed}"
            raise typer.BadParameter(f"no such option (got {name!r}; {guess})")
    return {name: found[name] for name in wanted or found}


def _several(files: list[Path], wanted: list[str] | None) -> dict[str, Scenario]:
    """Return each file as written, by its name without the ending."""
    import jointrisk

    if wanted:
        raise typer.BadParameter("goes with one file", param_hint="--option")
    there: dict[str, Path] = {}
    for file in files:
        if file.stem in there:
            both = f"{there[file.stem]} and {file}"
            raise typer.BadParameter(f"two files have the same name {file.stem!r}: {both}")
        there[file.stem] = file
    return {name: jointrisk.load(file) for name, file in there.items()}
