"""What the study `rating` returns: a frozen result that holds every number a report may show.

Factors and probabilities [-], loads [N] or, where a load is a moment, [N m].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, Warning_
    from jointrisk.study.results import Chance

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True)
class RatedLoad:
    """One load at the rating."""

    name: str
    kind: str
    unit: str
    written: float
    """Average of its size in the scenario."""
    rated: float
    """The same, times the factor."""
    low: float
    high: float
    """Interval from sampling."""


@dataclass(frozen=True, slots=True)
class Rated:
    """The largest factor on all loads at which the target still holds, as built or after a pull."""

    label: str
    pull_newton: float | None
    """None: as built."""
    verdict: str
    """"rated", "unreachable" (not even without load), "beyond" (at any load looked at), or
    "not told" (too few rods hold the pull)."""
    factor: float | None
    low: float | None
    high: float | None
    """Interval of the factor from sampling."""
    failure: Chance
    """At the loads as written, as the target counts it."""
    meets: bool | None
    """Whether the target is met there; None where sampling cannot tell."""
    loads: tuple[RatedLoad, ...]
    """Empty without a factor."""


@dataclass(frozen=True, slots=True)
class Rating:
    """How large the loads may be."""

    title: str
    as_built: Rated
    cautious_factor: float | None
    """As built: the factor at which the target is met in 19 of 20 states of what is not known;
    None where all is known, or there is no such factor."""
    cautious_verdict: str
    """"rated", "unreachable", "beyond", or "all is known"."""
    after_pull: tuple[Rated, ...]
    proof_verdict: str
    """What `proof` says of a pull at the loads as written."""
    target: float
    target_period: str
    target_scope: str
    rods: int
    life_years: float
    confidence: float
    evaluations: int
    converged: bool
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    @property
    def entries(self) -> tuple[Rated, ...]:
        """All that is rated, as built first."""
        return (self.as_built, *self.after_pull)

    def to_dict(self) -> dict[str, Any]:
        """Return the document: unrounded, null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        made: dict[str, Any] = clean({"schema_version": SCHEMA_VERSION, **fields})
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return what is rated, one row each."""
        import pandas as pd

        names = ("label", "pull_newton", "verdict", "factor", "low", "high", "meets")
        rows = [{name: getattr(entry, name) for name in names} for entry in self.entries]
        for row, entry in zip(rows, self.entries, strict=True):
            row["failure_as_written"] = entry.failure.estimate
        return pd.DataFrame(rows)
