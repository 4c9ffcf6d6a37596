"""`jointrisk new`: a commented scenario to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jointrisk.cli.shared import Quiet, note, show


def command(
    kind: Annotated[
        str | None,
        typer.Argument(metavar="KIND", help="The kind of rod; without it the kinds are listed."),
    ] = None,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="File to write; without it KIND.toml."),
    ] = None,
    quiet: Quiet = False,
) -> None:
    """Write a commented scenario to start from."""
    from jointrisk import scenario
    from jointrisk.errors import nearest

    kinds = scenario.kinds()
    if kind is None:
        longest = max(len(name) for name in kinds)
        show("".join(f"{name.ljust(longest)}  {line}\n" for name, line in kinds.items()))
        return
    if kind not in kinds:
        close = nearest(kind, list(kinds))
        guess = f"; did you mean {close!r}?" if close else ""
        raise typer.BadParameter(
            f"got {kind!r}; expected one of: {', '.join(kinds)}{guess}", param_hint="KIND"
        )
    path = file if file is not None else Path(f"{kind}.toml")
    _write(path, scenario.new(kind))
    note(f"wrote {path}; change it to your rods, then: jointrisk check {path}", quiet=quiet)


def _write(path: Path, text: str) -> None:
    """Write a file that must not exist yet."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise typer.BadParameter(
            f"{path} exists and is left as it is; name another file", param_hint="FILE"
        ) from None
    except OSError as problem:
        raise typer.BadParameter(
            f"cannot write {path}: {problem.strerror}", param_hint="FILE"
        ) from None
