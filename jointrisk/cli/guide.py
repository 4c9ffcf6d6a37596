"""`jointrisk guide`: the manual."""

from __future__ import annotations

from typing import Annotated

import typer

from jointrisk.cli.shared import show


def command(
    topic: Annotated[
        str | None,
        typer.Argument(metavar="TOPIC", help="What to read; without it the topics are listed."),
    ] = None,
) -> None:
    """Print a topic of the manual, or list the topics in reading order."""
    from jointrisk import guide
    from jointrisk.errors import InputError

    if topic is None:
        listed = guide.topics()
        longest = max(len(entry.name) for entry in listed)
        show("".join(f"{entry.name.ljust(longest)}  {entry.title}\n" for entry in listed))
        return
    try:
        found = guide.text(topic)
    except InputError as problem:
        raise typer.BadParameter(str(problem), param_hint="TOPIC") from None
    show(found)
