"""What the answers of all commands are put together from, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.plain import bold, wrap
from jointrisk.report.sentences import mark

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

LABEL = 10
"""Characters of the column of words before the first lines [-]."""
BEFORE_A_PULL = "Before you pull or trust a rod"


def headline(lines: Sequence[tuple[str, str]], color: bool, width: int) -> str:
    """Return labelled paragraphs."""
    done = []
    for label, sentence in lines:
        line = wrap(mark(sentence), width, label.ljust(LABEL), " " * LABEL)
        done.append(bold(label, color) + line[len(label) :])
    return "\n".join(done)


def listed(head: str, lines: Sequence[str], color: bool, width: int) -> str:
    """Return a heading and lines under it, "" without lines."""
    if not lines:
        return ""
    return "\n".join([bold(head, color), *(wrap(mark(x), width, "  ", "    ") for x in lines)])


def warned(warnings: Sequence[Any], color: bool, width: int) -> str:
    """Return the warnings, each by its code."""
    return listed("Warnings", [f"{w.code}: {w.text}" for w in warnings], color, width)


def cautioned(color: bool, width: int, head: str = BEFORE_A_PULL) -> str:
    """Return the cautions that stand at the end of every answer, the first in full."""
    first, *others = CAUTIONS
    lines = [f"{first.head} {first.text}", *(caution.head for caution in others)]
    return listed(head, lines, color, width)


def assumed(assumptions: Sequence[Any], color: bool, width: int) -> list[str]:
    """Return every value with its source, those of the file and the defaults apart."""
    return [
        listed(title, values([e for e in assumptions if e.origin == origin]), color, width)
        for origin, title in (("scenario", "Your values"), ("default", "Defaults"))
    ]


def values(assumptions: Sequence[Any]) -> list[str]:
    """Return a line a value, with its source."""
    return [f"{e.key}: {e.value} ({e.source}; {e.confidence})" for e in assumptions]


def ran(
    run: Mapping[str, Any],
    host: Mapping[str, Any],
    color: bool,
    width: int,
    first: Sequence[str] = (),
) -> str:
    """Return the facts of the run, `first` some lines of the result's own."""
    told = {**run, **host}.items()
    lines = [f"{key}: {flat(value)}" for key, value in told if value is not None]
    return listed("Run", [*first, *lines], color, width)


def flat(value: object) -> str:
    """Return a mapping as "key value, key value"; anything else as text."""
    if isinstance(value, dict):
        return ", ".join(f"{key} {entry}" for key, entry in value.items())
    return str(value)
