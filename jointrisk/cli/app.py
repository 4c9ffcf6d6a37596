"""The command `jointrisk`: its commands, and the one place where errors become plain lines."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from jointrisk.cli import (
    assess,
    check,
    compare,
    fit,
    guide,
    learn,
    new,
    plan,
    proof,
    rank,
    rating,
    schema,
    single_lap,
    sweep,
)
from jointrisk.cli.status import Status
from jointrisk.errors import JointriskError

app = typer.Typer(
    help="How strong rods with bonded ends are, how likely one lets go, and how hard to pull them.",
    epilog="To start: jointrisk new plug-in-tube rods.toml, then check and assess that file. "
    "jointrisk guide lists the manual. "
    "Exit status: 0 done, 1 unexpected, 2 usage, 3 the file's content, 4 no trustworthy "
    "estimate, 5 target missed (only with --fail-above), 130 interrupted.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
app.command("new", short_help="Write a commented scenario to start from.")(new.command)
app.command("check", short_help="Print every resolved value and whose it is.")(check.command)
app.command("assess", short_help="Strength, failure probability, causes, pull.")(assess.command)
app.command("proof", short_help="How hard to pull; what a pull is worth.")(proof.command)
app.command("compare", short_help="Options side by side.")(compare.command)
app.command("rank", short_help="What the failure probability hangs on.")(rank.command)
app.command("sweep", short_help="One quantity over a range.")(sweep.command)
app.command("rating", short_help="How large the loads may be.")(rating.command)
app.command("learn", short_help="What finished pulls have taught.")(learn.command)
app.command("plan", short_help="Which test to make next, how many.")(plan.command)
app.command("fit", short_help="What broken coupons or rods say.")(fit.command)
app.command("single-lap", short_help="What broken lap coupons say.")(single_lap.command)
app.command("schema", short_help="Print the JSON Schema of a scenario or a result.")(schema.command)
app.command("guide", short_help="Read the manual, topic by topic.")(guide.command)


def _version(wanted: bool) -> None:
    if wanted:
        import jointrisk

        typer.echo(f"jointrisk {jointrisk.__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Take the options that stand before a command; each does its work when it is read."""


def main() -> None:
    """Run the command and leave with its status."""
    # small matrices: a second thread costs more than it brings, and could change a last digit
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app(prog_name="jointrisk")
    except JointriskError as problem:
        for line in str(problem).splitlines():
            typer.echo(line, err=True)
        sys.exit(problem.exit_status)
    except Exception as problem:
        _tell_unexpected(problem)
        sys.exit(Status.UNEXPECTED)


def _tell_unexpected(problem: Exception) -> None:
    """Say in one line that the mistake is ours; with -v show where it arose."""
    verbose = any(word == "--verbose" or word.strip("v") == "-" != word for word in sys.argv[1:])
    if verbose:
        import traceback

        traceback.print_exception(problem)
    what = " ".join(f"{type(problem).__name__}: {problem}".split())
    more = "" if verbose else "; the same command with -v shows where"
    typer.echo(f"jointrisk: a mistake in jointrisk, not in your file ({what}){more}", err=True)


if __name__ == "__main__":
    main()
