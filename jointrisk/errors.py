"""The exception family: what is wrong, where, the value found, what is allowed.

Library code raises these and never prints nor exits; the command line turns each
into plain lines on stderr and one exit status.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["EstimateError", "InputError", "JointriskError", "Problem", "ScenarioError", "nearest"]


class JointriskError(Exception):
    """Base of every error this package raises on purpose."""

    exit_status = 1


class InputError(JointriskError, ValueError):
    """An argument of a function is outside what it allows."""


class EstimateError(JointriskError):
    """No trustworthy estimate could be made."""

    exit_status = 4


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file.

    ``key`` is the dotted key, with an index for array tables (``load[2].size``),
    or "" for the file as a whole.
    """

    key: str
    what: str
    got: str = ""
    expected: str = ""

    def line(self, file: str) -> str:
        """Return ``FILE: key: what (got …; expected …)`` as one line."""
        detail = "; ".join(
            part
            for part in (
                f"got {self.got}" if self.got else "",
                f"expected {self.expected}" if self.expected else "",
            )
            if part
        )
        head = ": ".join(part for part in (file, self.key, self.what) if part)
        return " ".join((f"{head} ({detail})" if detail else head).split())


class ScenarioError(JointriskError):
    """A scenario cannot be used; carries every problem of the file at once."""

    exit_status = 3

    def __init__(self, file: str, problems: Iterable[Problem]) -> None:
        self.file = file
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(problem.line(file) for problem in self.problems))


def nearest(name: str, allowed: Sequence[str]) -> str | None:
    """Return the allowed name closest to `name`, or None where none is close."""
    found = get_close_matches(name.lower(), [a.lower() for a in allowed], n=1, cutoff=0.6)
    if not found:
        return None
    return next(a for a in allowed if a.lower() == found[0])
