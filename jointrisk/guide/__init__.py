"""The manual: one topic a file, the numbers of the default tables filled in when it is read."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from jointrisk.errors import InputError, nearest

__all__ = ["Topic", "text", "topics"]

_ORDER = (
    "start",
    "scenario",
    "spreads",
    "units",
    "evidence",
    "adhesive",
    "fit",
    "coupon",
    "preparation",
    "gap",
    "overlap",
    "sleeve",
    "limits",
    "temperature",
    "mouth",
    "weak-bonds",
    "ageing",
    "cycles",
    "members",
    "in-line",
    "loads",
    "linkages",
    "target",
    "probability",
    "ranking",
    "rank",
    "assumptions",
    "indices",
    "proof",
    "learning",
    "planning",
    "sweep",
    "rating",
    "compare",
    "report",
    "cautions",
    "sources",
    "defaults",
)
"""The order in which to read; a topic NAME is the file NAME.md beside this one."""


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic of the manual."""

    name: str
    title: str
    """One line."""


def topics() -> tuple[Topic, ...]:
    """Return the topics in reading order."""
    return tuple(Topic(name, _raw(name).split("\n", 1)[0].lstrip("# ")) for name in _ORDER)


def text(name: str) -> str:
    """Return a topic as plain text with a line end, no line longer than 78 characters.

    Raises
    ------
    InputError
        No such topic; the message names the nearest.
    """
    if name not in _ORDER:
        close = nearest(name, _ORDER)
        guess = f"did you mean {close!r}?" if close else f"expected one of: {', '.join(_ORDER)}"
        raise InputError(f"no such topic (got {name!r}; {guess})")
    from jointrisk.guide.fill import filled

    return filled(_raw(name))


def _raw(name: str) -> str:
    return (files("jointrisk.guide") / f"{name}.md").read_text("utf-8")
