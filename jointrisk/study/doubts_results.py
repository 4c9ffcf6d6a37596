"""What the ledger of assumptions returns: what each could be instead, and what that does.

Probabilities and ratios [-]. Where there is a target, `counted` is the failure probability as the
target counts it (period and scope); every verdict is that of the average over what is not known.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from jointrisk.study.results import clean

if TYPE_CHECKING:
    import pandas as pd

    from jointrisk.study.results import Chance

How = Literal["as it is", "same draws", "own draws"]
VERDICT_BY = "average over what is not known"


@dataclass(frozen=True, slots=True)
class End:
    """The answer with one thing taken otherwise."""

    value: str
    """What is taken, in words with units."""
    failure: float
    """Failure probability of the set over its life."""
    ratio: float
    """Of `failure` to what it is now."""
    ratio_low: float
    ratio_high: float
    counted: float | None
    """As the target counts it; None without one."""
    counted_low: float | None
    counted_high: float | None
    met: bool | None
    """Whether `counted` meets the target; None where its interval holds it, or without one."""
    method: How
    """ "same draws": worked out on draws of the scenario as it is; "own draws": on a sample of its
    own, where those draws say too little."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One default or judgement, and the answer at the best and the worst it could be."""

    key: str
    question: str
    """"value", "settled", "scatter", "family" or "tail"."""
    name: str
    value: str
    """What is taken now."""
    source: str
    confidence: str
    range_source: str
    """Of the alternatives."""
    range_confidence: str
    low: End
    """With the lowest failure probability, the optimistic one; found by working it out."""
    high: End
    """With the highest, the pessimistic one."""
    moves: float
    """Powers of ten between the lowest and the highest failure probability, as it is included; down
    to the upper bound of the lowest where nothing failed there."""
    moves_low: float
    moves_high: float
    turns: bool
    """Whether it alone changes the verdict on the target."""
    decides: bool
    """Whether it is the one that decides the answer, or not told apart from it."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is held against, and what the target counts as it is."""

    probability: float
    period: str
    """"life" or "year", the worst one."""
    scope: str
    """"set" or "rod"."""
    counted: Chance
    met: bool | None
    """By the average; None where the sampling interval holds the target."""


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every assumption of a scenario, those that move the answer farthest first."""

    failure: Chance | None
    """Of the set over its life as it is; None without a load or where it cannot be told."""
    life_years: float
    target: Target | None
    confidence: float
    """Of the intervals: sampling error alone."""
    entries: tuple[Entry, ...]
    unread: tuple[str, ...]
    """Keys of assumptions that this scenario makes no use of."""
    reasons: tuple[tuple[str, str], ...]
    """Keys of defaults of which nothing is asked, each with why."""
    evaluations: int
    """Draws worked out for the ledger."""

    @property
    def deciding(self) -> tuple[Entry, ...]:
        """The entry that decides the answer, or those that tie for it."""
        return tuple(entry for entry in self.entries if entry.decides)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        found = asdict(self)
        found["reasons"] = dict(self.reasons)
        found["deciding"] = [f"{entry.key}: {entry.question}" for entry in self.deciding]
        found["verdict_by"] = VERDICT_BY
        for part in (found["target"], *_ends(found["entries"])):
            if part is not None:
                part["met"] = _said(part["met"], judged=self.target is not None)
        result: dict[str, Any] = clean(found)
        return result

    def to_frame(self) -> pd.DataFrame:
        """Return a frame with one row for each entry."""
        import pandas as pd

        return pd.DataFrame([_flat(entry) for entry in self.entries])


def _said(met: bool | None, *, judged: bool) -> bool | str | None:
    """Return a verdict as JSON has it: true, false, "undecided", or null without a target."""
    return "undecided" if met is None and judged else met


def _ends(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [entry[side] for entry in entries for side in ("low", "high")]


def _flat(entry: Entry) -> dict[str, Any]:
    plain = {k: v for k, v in asdict(entry).items() if k not in ("low", "high")}
    for side in ("low", "high"):
        plain |= {f"{side}_{k}": v for k, v in asdict(getattr(entry, side)).items()}
    return plain
