"""What `rank` returns: which variable matters, told in several ways.

Factors say what a probability is multiplied by [-]; probabilities and shares [-]. Entries stand
strongest first; entries with the same `rank` are not told apart by the draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from jointrisk.study.results import clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption
    from jointrisk.study.doubts_results import Ledger
    from jointrisk.study.results import Chance

How = Literal["weighted anew", "run again"]
Kind = Literal["scatter", "not known"]


@dataclass(frozen=True, slots=True)
class Effect:
    """What the failure probability is multiplied by when one variable changes."""

    measure: str
    """The change in words, such as "spread halved"."""
    value: float
    low: float
    high: float
    how: How
    """ "weighted anew": from the density of the changed spread over that of the draws; "run again":
    the changed rods worked out on the same random numbers."""
    effective: float | None
    """Effective number of the failing draws under the changed weights; None where weights cannot
    tell (no density, a changed spread beyond the old one, too few draws left)."""
    check: Chance | None
    """What the other way gives; None where there is none."""


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable and every change of it that was tried."""

    variable: str
    """Key in the scenario."""
    name: str
    """Plain words."""
    kind: Kind
    rank: int
    """1 for the strongest of its kind; the same where two are not told apart."""
    leading: str
    """The measure that moves the failure probability most."""
    effects: tuple[Effect, ...]

    def effect(self, measure: str) -> Effect:
        """Return the effect of one measure."""
        return next(entry for entry in self.effects if entry.measure == measure)


@dataclass(frozen=True, slots=True)
class Unknown:
    """One thing that is not known, and what it would bring to settle it."""

    variable: str
    name: str
    unit: str
    rank: int
    low_value: float
    """Its value that is passed by 95 in 100 [`unit`]."""
    high_value: float
    """Its value that is passed by 5 in 100 [`unit`]."""
    at_low: Chance
    """Failure probability if it turned out at `low_value`."""
    at_high: Chance
    left_p05: float
    """Lower end of the band that is left when it is settled, on average."""
    left_p95: float
    first: Chance
    """Share of the variance of the log of the failure probability that it causes alone."""
    total: Chance
    """The same, with its part in what it causes together with others."""


@dataclass(frozen=True, slots=True)
class NotKnown:
    """What is not known, kept apart from what scatters."""

    p05: float
    p50: float
    p95: float
    """The band of the failure probability over what is not known."""
    unknowns: tuple[Unknown, ...]
    shares_told: bool
    """False where the band is so narrow that noise hides what causes it; the unknowns then stand
    in the order of the failure probabilities at their ends."""
    unexplained: Chance
    """Share of the variance that no curve of one unknown and no product of two explains."""
    middle: Chance
    """Failure probability if every unknown sat at its median: scatter alone is left."""
    states: int
    """States of the unknowns that the band and the shares are from."""
    unseen: int
    """States of which no draw failed; they count in the band and not in the shares."""


@dataclass(frozen=True, slots=True)
class Direction:
    """A variable's part in a design point."""

    variable: str
    name: str
    share: float
    """Square of its direction cosine; the shares of a point sum to 1."""
    towards: Literal["low", "high", "both"]
    """Which way from its middle the point lies; "both" for several variables together."""


@dataclass(frozen=True, slots=True)
class DesignPoint:
    """The likeliest way in which one mode comes about, of one rod over the life."""

    modes: tuple[str, ...]
    """What lets go there; several where one direction serves them alike."""
    joint: Literal["sound", "weak", "undone by damp", "any"]
    """Of which joints; "any" for members."""
    end: Literal["either", "first", "second"]
    beta: float | None
    """Distance from the origin of standard normal scores; None where most such rods fail."""
    converged: bool
    """False where the strength has a cliff and the nearest crossing found stands in."""
    directions: tuple[Direction, ...]
    """The largest share first."""


@dataclass(frozen=True, slots=True)
class Index:
    """Share of a variance that one variable causes."""

    variable: str
    name: str
    rank: int
    first: Chance | None
    """Alone; None where it was not asked."""
    total: Chance
    """With its part in what it causes together with others; of correlated variables the Shapley
    effect."""


@dataclass(frozen=True, slots=True)
class Indices:
    """Variance-based indices of one quantity."""

    of: str
    """What they are of, in words."""
    method: str
    entries: tuple[Index, ...]
    together: tuple[str, ...]
    """Keys whose total is above their first by more than a tenth, its interval included."""
    evaluations: int
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ModeShare:
    """One way to fail among the failures."""

    name: str
    probability: Chance
    share: Chance
    """Of the failures in which it is the likeliest way; these sum to 1."""
    overlapping: float
    """Its probability over that of any failure; several may come about, so these sum to more."""


@dataclass(frozen=True, slots=True)
class ModeEffect:
    """What the probability of one mode is multiplied by when one variable changes."""

    mode: str
    variable: str
    name: str
    measure: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Ranking:
    """Which variable matters."""

    title: str
    failure_probability: Chance
    """Of the set over its life, with its sampling error."""
    rods: int
    life_years: float
    variables: tuple[Variable, ...]
    """Plain effects of all that has a spread: what scatters, then what is not known."""
    not_known: NotKnown | None
    """None where everything is known."""
    modes: tuple[ModeShare, ...]
    mode_effects: tuple[ModeEffect, ...]
    design_points: tuple[DesignPoint, ...]
    margin: Indices
    event: Indices
    confidence: float
    evaluations: int
    converged: bool
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]
    doubts: Ledger | None = None
    """Every assumption at its best and at its worst."""

    def of_kind(self, kind: Kind) -> tuple[Variable, ...]:
        """Return the variables that scatter, or those not known."""
        return tuple(entry for entry in self.variables if entry.kind == kind)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document; null in place of NaN."""
        document: dict[str, Any] = clean({"schema_version": 1, **plain(self)})
        document["doubts"] = None if self.doubts is None else self.doubts.to_dict()
        return document

    def to_frame(self) -> pd.DataFrame:
        """Return the plain effects: variable, name, kind, rank, measure, value, low, high, how."""
        import pandas as pd

        rows = [
            (v.variable, v.name, v.kind, v.rank, e.measure, e.value, e.low, e.high, e.how)
            for v in self.variables
            for e in v.effects
        ]
        columns = ["variable", "name", "kind", "rank", "measure", "value", "low", "high", "how"]
        return pd.DataFrame(rows, columns=columns)
