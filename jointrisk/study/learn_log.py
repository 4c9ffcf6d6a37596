"""A log of pulls as counts: which parts of which batch have gone through the same."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError, nearest

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.pull_log import Pull

    Array = npt.NDArray[np.float64]

KINDS = ("held", "broke at", "broke below")
SAME = 1e-9
"""Loads nearer to each other than this share are one [-]."""
Step = tuple[float, str]
"""One pull of a part: load [N] and kind."""
History = tuple[Step, ...]
"""All pulls of one part, in order."""


@dataclass(frozen=True, slots=True)
class Group:
    """Parts of one batch that have gone through the same."""

    batch: int
    history: int
    count: int


@dataclass(frozen=True, slots=True)
class Log:
    """Counts of what the parts of each batch have gone through."""

    rows: int
    batches: tuple[str, ...]
    histories: tuple[History, ...]
    counts: Array
    """Parts of each batch with each history, (B, H) [-]."""

    @property
    def parts(self) -> int:
        """Parts pulled [-]."""
        return int(self.counts.sum())

    @property
    def turns(self) -> int:
        """Largest number of pulls of one part, at least 1."""
        return max((len(history) for history in self.histories), default=1)

    @property
    def held(self) -> npt.NDArray[np.bool_]:
        """Which histories end with the part whole, (H,)."""
        return np.array([history[-1][1] == "held" for history in self.histories], dtype=bool)

    @property
    def groups(self) -> tuple[Group, ...]:
        """Every batch and history with a part, the most parts first."""
        found = [
            Group(int(b), int(h), int(self.counts[b, h])) for b, h in np.argwhere(self.counts > 0)
        ]
        return tuple(sorted(found, key=lambda group: (-group.count, group.batch, group.history)))

    def only(self, *, held: bool) -> Array:
        """Return the counts of the parts that held, or of those that broke, (B, H) [-]."""
        return self.counts * (self.held if held else ~self.held)


def log_of(pulls: Sequence[Pull]) -> Log:
    """Return a log as counts; its order plays no part but among pulls of one part.

    Parameters
    ----------
    pulls : sequence of Pull

    Raises
    ------
    InputError
        If a load is not a number above 0 N, a kind is none of the three, or a part was pulled
        again that had broken; all of them at once.
    """
    _check(pulls)
    steps: dict[tuple[str, str], list[Step]] = {}
    for pull in pulls:
        steps.setdefault((pull.batch, pull.part), []).append((float(pull.load), pull.kind))
    batches = tuple(dict.fromkeys(pull.batch for pull in pulls))
    counted: Counter[tuple[str, History]] = Counter()
    for (batch, _), given in steps.items():
        counted[batch, tuple(given)] += 1
    histories = tuple(sorted({history for _, history in counted}))
    order = sorted(batches)
    counts = np.zeros((len(batches), len(histories)))
    for (batch, history), count in counted.items():
        counts[order.index(batch), histories.index(history)] = count
    return Log(len(pulls), tuple(order), histories, counts)


def _check(pulls: Sequence[Pull]) -> None:
    wrong: list[str] = []
    broken: dict[tuple[str, str], int] = {}
    for pull in pulls:
        at = f"row {pull.row}, part {pull.part!r}"
        if not (np.isfinite(pull.load) and pull.load > 0.0):
            wrong.append(f"{at}: load must be finite and above 0 N, got {pull.load:g} N")
        if pull.kind not in KINDS:
            close = nearest(str(pull.kind), KINDS)
            hint = f"; did you mean {close!r}?" if close else ""
            wrong.append(f"{at}: kind must be one of {', '.join(KINDS)}, got {pull.kind!r}{hint}")
        elif pull.held != (pull.kind == "held"):
            wrong.append(f"{at}: held is {pull.held}, but kind is {pull.kind!r}; they must agree")
        key = (pull.batch, pull.part)
        if key in broken:
            wrong.append(f"{at}: it had broken in row {broken[key]} and cannot be pulled again")
        elif pull.kind != "held":
            broken[key] = pull.row
    if wrong:
        raise InputError("\n".join(wrong))
