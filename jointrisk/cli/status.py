"""Exit statuses of the command."""

from __future__ import annotations

from enum import IntEnum


class Status(IntEnum):
    """What the command tells the shell."""

    DONE = 0
    UNEXPECTED = 1
    """Our mistake, or a file or folder that the system refuses."""
    USAGE = 2
    """The command line itself is at fault."""
    CONTENT = 3
    """The file's content is at fault."""
    NO_ESTIMATE = 4
    """No trustworthy estimate could be made."""
    TARGET_MISSED = 5
    """Only with --fail-above."""
    INTERRUPTED = 130
