"""What the commands share: how options are read and where text goes."""

from __future__ import annotations

import os
import re
import shutil
import sys
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from concurrent.futures import Executor


def whole_number(least: int) -> object:
    """Return a reader of whole numbers of at least `least`, for an option."""

    def read(raw: str | int) -> int:
        try:
            value = int(raw)
        except ValueError:
            value = least - 1
        if value < least:
            raise typer.BadParameter(f"got {raw!r}; expected a whole number, {least} or more")
        return value

    return read


File = Annotated[Path, typer.Argument(metavar="FILE", help="The scenario, a TOML file.")]
Option = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="One of the file's options, by its name. Without it the file as written.",
        show_default=False,
    ),
]
Seed = Annotated[
    int | None,
    typer.Option(
        parser=whole_number(0),
        metavar="N",
        help="Start of the random numbers. Without it the file's seed, so that two runs agree.",
        show_default=False,
    ),
]
Jobs = Annotated[
    int,
    typer.Option(
        parser=whole_number(1),
        metavar="N",
        help="Threads to work with. The numbers are the same for any.",
    ),
]
Out = Annotated[
    Path | None,
    typer.Option(
        metavar="FOLDER",
        help="Where the report goes. Without it STEM-report in the working folder, "
        "or STEM-OPTION-report.",
        show_default=False,
    ),
]
Json = Annotated[
    bool,
    typer.Option("--json", help="Print one JSON document; write no folder unless --out is given."),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No notes, only the answer and errors.")]
Verbose = Annotated[
    int,
    typer.Option(
        "--verbose",
        "-v",
        count=True,
        help="Add every assumption and the facts of the run; show where an error arose.",
        show_default=False,
    ),
]
NoColor = Annotated[bool, typer.Option("--no-color", help="Plain letters on a terminal too.")]


def read_force(raw: str) -> str:
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


def report_folder(file: Path, option: str | None, out: Path | None, json: bool) -> Path | None:
    """Return the folder of the report, None for none; refuse early what cannot be a folder."""
    if json and out is None:
        return None
    words = "" if option is None else "-" + "-".join(re.findall(r"\w+", option.lower()))
    folder = out if out is not None else Path(f"{file.stem}{words}-report")
    if folder.exists() and not folder.is_dir():
        raise typer.BadParameter(f"{folder} is a file; name a folder", param_hint="--out")
    return folder


@contextmanager
def pool_of(jobs: int) -> Iterator[Executor | None]:
    """Give threads to work with, None for one; on the way out nothing is waited for."""
    if jobs == 1:
        yield None
        return
    from concurrent.futures import ThreadPoolExecutor

    pool = ThreadPoolExecutor(jobs)
    try:
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def show(text: str) -> None:
    """Write data to standard output; a reader who has left is no error."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def note(text: str, *, quiet: bool = False) -> None:
    """Write a line that is not data to standard error, unless quiet."""
    if not quiet:
        typer.echo(text, err=True)


def working(*, quiet: bool) -> None:
    """Tell whoever sits at the terminal that this takes a while, unless quiet."""
    if not quiet and sys.stderr.isatty():
        note("working; this takes some seconds")


def show_answer(result: Any, teller: str, *, json: bool, plain: bool, verbose: int) -> None:
    """Print a result, as its document or as the module `teller` of the report room tells it."""
    if json:
        from jointrisk.report.document import json_text

        show(json_text(result))
        return
    text = import_module(f"jointrisk.report.{teller}").text
    show(text(result, color=color(plain), width=width(), verbose=verbose))


def save_report(result: Any, folder: Path | None, *, quiet: bool) -> Path | None:
    """Write the report where one is wanted, say where, and return its page."""
    if folder is None:
        return None
    from jointrisk.report import save

    page, _ = save(result, folder)
    note(f"report: {page}", quiet=quiet)
    return page


def width() -> int:
    """Return the characters in a line of standard output; 0 when it goes to no terminal.

    The variable COLUMNS rules where it is set.
    """
    if not sys.stdout.isatty() and not os.environ.get("COLUMNS"):
        return 0
    return shutil.get_terminal_size().columns


def color(no_color: bool) -> bool:
    """Return whether standard output may have bold letters."""
    if no_color or os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    return sys.stdout.isatty() and os.environ.get("TERM") != "dumb"
