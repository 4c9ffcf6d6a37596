"""What the study `sweep` returns: a frozen result that holds every number a report may show.

Values of the quantity in its own unit, loads and strengths [N], probabilities and shares [-].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, Warning_
    from jointrisk.study.results import Chance, Mode, PermittedLoad

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is moved."""

    key: str
    label: str
    unit: str
    """Of its values; "-" for a plain number."""
    written: float
    """Where it stands in the scenario."""


@dataclass(frozen=True, slots=True)
class SweepPoint:
    """The set with the quantity at one value; NaN where it cannot be put together."""

    value: float
    failure: Chance
    """Of the set over its life."""
    as_target: Chance | None
    """As the target counts it; None without one."""
    meets: bool | None
    """Whether the target is met; None where sampling cannot tell, or without a target."""
    ratio: Chance
    """Failure over the life, over that of the scenario as written, on the same draws."""
    modes: tuple[Mode, ...]
    causes: tuple[tuple[str, float], ...]
    """Kinds of failure, each with its share of all, the largest first."""
    permitted: PermittedLoad | None
    one_in_100_below: float
    """Strength that 1 rod in 100 is below, in service [N]."""
    left_out: float
    """Share of sets that cannot be put together, which the other numbers leave out."""

    @property
    def judged(self) -> Chance:
        """Failure as the target counts it, over the life without one."""
        return self.failure if self.as_target is None else self.as_target


@dataclass(frozen=True, slots=True)
class Band:
    """Failure as the target counts it, over what is not known."""

    p05: float
    p50: float
    p95: float
    chance_met: float
    """Chance that the target is met, given what is not known [-]."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A value at which the target comes to be met, or ceases to."""

    value: float
    low: float | None
    """Lower end of its interval from sampling; None: beyond the range."""
    high: float | None
    failure: Chance
    """As the target counts it, at the value."""
    band: Band | None
    """At the value; None where all is known."""
    of_range: bool
    """True where the range ends before the target ceases to be met."""


@dataclass(frozen=True, slots=True)
class Window:
    """Values between which the target is met."""

    start: Edge
    end: Edge


@dataclass(frozen=True, slots=True)
class Knee:
    """Where more of the quantity stops paying."""

    verdict: str
    """"knee", "pays throughout" (up to the end or the best value), "pays nowhere", or "not told"
    (too few values)."""
    direction: str
    """"more" or "less": which way brings failure down."""
    value: float | None
    """Beyond it a step lowers failure by less than the share of the rule."""
    rule: str
    causes: tuple[tuple[str, float], ...]
    """Kinds of failure there, each with its share, the largest first."""
    strength_gain: float | None
    """What a step there adds to the strength that 1 rod in 100 is below, as a share."""
    reason: str
    """The same in one sentence; "" where there is no knee."""


@dataclass(frozen=True, slots=True)
class SweepMap:
    """Failure over two quantities; rows along the second, columns along the first."""

    second: Quantity
    values: tuple[float, ...]
    """Of the second quantity."""
    failure: tuple[tuple[Chance, ...], ...]
    """As the target counts it, over the life without one; NaN where nothing fits together."""
    meets: tuple[tuple[bool | None, ...], ...]
    crossings: tuple[tuple[float, ...], ...]
    """For each of the second quantity, values of the first at which the target comes to be met
    or ceases to, read off between the points."""
    draws: int
    """Draws behind each cell."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One quantity over a range, or two."""

    title: str
    quantity: Quantity
    points: tuple[SweepPoint, ...]
    as_written: SweepPoint
    verdict: str
    """"met everywhere", "met in part", "unreachable within the range", or "not judged"."""
    windows: tuple[Window, ...]
    best: SweepPoint
    """Where failure is lowest, of the values worked out."""
    knee: Knee
    map: SweepMap | None
    target: float | None
    target_period: str | None
    target_scope: str | None
    rods: int
    life_years: float
    confidence: float
    evaluations: int
    """Sets worked out for the curve."""
    converged: bool
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    @property
    def smallest(self) -> Edge | None:
        """Smallest value that meets the target where a smaller one does not, None without one."""
        edges = [window.start for window in self.windows if not window.start.of_range]
        return edges[0] if edges else None

    @property
    def largest(self) -> Edge | None:
        """Largest value that meets the target where a larger one does not, None without one."""
        edges = [window.end for window in self.windows if not window.end.of_range]
        return edges[-1] if edges else None

    def to_dict(self) -> dict[str, Any]:
        """Return the document: unrounded, null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        made: dict[str, Any] = clean({"schema_version": SCHEMA_VERSION, **fields})
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return the curve, one row a value."""
        import pandas as pd

        return pd.DataFrame([_row(point) for point in self.points])


def _row(point: SweepPoint) -> dict[str, Any]:
    row: dict[str, Any] = {"value": point.value}
    for name in ("failure", "as_target", "ratio"):
        found = getattr(point, name)
        if found is not None:
            ends = ("estimate", "low", "high")
            row |= {f"{name}{'' if end == 'estimate' else '_' + end}": getattr(found, end)
                    for end in ends}  # fmt: skip
    row["meets"] = point.meets
    if point.permitted is not None:
        row["permitted_newton"] = point.permitted.newton
    row["one_in_100_below_newton"] = point.one_in_100_below
    row["left_out"] = point.left_out
    return row | {f"share: {mode.name}": mode.share for mode in point.modes}
