"""What the studies return: frozen results that hold every number a report may show.

Loads and strengths [N], probabilities and shares [-], times [years].
"""

from __future__ import annotations

import math
from dataclasses import dataclass, is_dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, End, Warning_


@dataclass(frozen=True, slots=True)
class Curve:
    """A quantity over loads, with the interval of its sampling error."""

    load: tuple[float, ...]
    """[N]"""
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Strength:
    """Weakest link of one rod [N]."""

    median: float
    one_in_100_below: float
    one_in_1000_below: float


@dataclass(frozen=True, slots=True)
class PermittedLoad:
    """Largest load of the life at which the target still holds [N]."""

    newton: float
    low: float
    high: float
    basis: str


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability with the interval of its sampling error [-]."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FailureProbability:
    """Failure probability of the set over the life, with both kinds of uncertainty."""

    estimate: float
    low: float
    high: float
    confidence: float
    band_p05: float
    band_p50: float
    band_p95: float
    beta: float
    period_years: float
    basis: str
    per_rod: float
    worst_year: float
    worst_year_number: int
    method: str
    evaluations: int
    without_backup: Chance | None = None
    """The same without pin and hole of the back-up; None where there is none."""
    band_p05_interval: tuple[float, float] | None = None
    """Between what the lower end of the band lies, by its sampling error; None where it was not
    worked out."""
    band_p50_interval: tuple[float, float] | None = None
    band_p95_interval: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class TargetVerdict:
    """The target, and whether it is met given what is not known."""

    probability: float
    period_years: float
    scope: str
    met: bool | None
    """None: undecided, the target lies inside the band."""
    chance_met: float | None
    """None where no load is given."""
    source: str
    chance_met_interval: tuple[float, float] | None = None
    """Between what it lies, by its sampling error."""
    close: bool = False
    """Whether the verdict is another one somewhere within the sampling errors of what it is
    held against."""


@dataclass(frozen=True, slots=True)
class Mode:
    """One way to fail: its probability, and its share of the failures."""

    name: str
    probability: float
    share: float


@dataclass(frozen=True, slots=True)
class Influence:
    """What the failure probability is multiplied by when one variable changes."""

    variable: str
    """Key in the scenario."""
    name: str
    """Plain words."""
    measure: str
    """"spread halved" or "mean a tenth higher" (or the step named in its place)."""
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PullWorth:
    """What one given pull is worth."""

    label: str
    load_newton: float
    fail_after: float | None
    """Failure probability of a set whose rods all held; None where no load is given."""
    reject_fraction: float
    """Share of all rods that would break in it."""
    weak_caught_fraction: float | None
    """Share of the rods with a weak joint that would break in it; None without weak joints."""
    needed_newton: float | None
    """The pull that would meet the target instead; None where none does."""


@dataclass(frozen=True, slots=True)
class ProofAnswer:
    """The pull that screens weak rods, or why there is none."""

    reachable: bool | None
    load_newton: float | None
    load_low: float | None
    """Loads between which it lies, by sampling alone; None without one."""
    load_high: float | None
    """None where the sample leaves open whether any admissible pull meets the target."""
    window: tuple[float, float] | None
    verdict: str
    """"window", "empty", "unreachable", "not needed", or "not judged" (no load or no target)."""
    reason: str
    """The verdict in one or two plain sentences with its numbers."""
    reject_fraction: float | None
    sound_rejected_fraction: float | None
    fail_after: float | None
    floor: float | None
    damage_fraction: float | None
    limits: tuple[tuple[str, float], ...]
    """What caps the load: (plain words, [N]), lowest first."""
    pulls: tuple[PullWorth, ...]
    direction: str = "pull"
    """What the rig does: "pull" or "push"."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Curves for the pictures; not part of the JSON document."""

    strength_new: Curve
    """Chance that the weakest link of one rod, as built, is below the load."""
    strength_service: Curve
    """The same in service (hot or cold)."""
    load_exceeded: Curve | None
    """Chance that the largest load of the life is above the load."""
    fail_after_pull: Curve | None
    """Failure probability after a pull of that load that all rods held."""
    reject: Curve
    """Share of rods that break in a pull of that load."""
    reject_weak: Curve | None
    band: tuple[float, ...]
    """Failure probability at equally likely states of what is not known, sorted."""


@dataclass(frozen=True, slots=True)
class JointGeometry:
    """Nominal sizes of one bonded end, the means of what was judged [mm]."""

    tube_outer_mm: float
    tube_bore_mm: float
    """0: a solid rod."""
    plug_diameter_mm: float | None
    """None where the metal end is a sleeve."""
    plug_bore_mm: float | None
    """0: the plug is solid."""
    radial_gap_mm: float
    """On one side."""
    overlap_mm: float
    wetted_overlap_mm: float
    """Overlap times the mean share of it that is glued."""
    thread: str | None
    """Size, such as "M6"; None without a thread."""
    thread_major_diameter_mm: float | None
    thread_engagement_mm: float | None
    shoulder: bool
    """True where a flange of the plug, or the bottom of the sleeve, bears on the tube's end."""
    kind: End = "plug"
    sleeve_outer_mm: float | None = None
    """None where the metal end is a plug."""
    sleeve_bore_mm: float | None = None
    thread_drill_mm: float = 0.0
    """Hole under the thread in the solid part of a sleeve; 0 without a thread."""

    @property
    def inner_mm(self) -> float:
        """Diameter inside the glue."""
        return self.tube_outer_mm if self.plug_diameter_mm is None else self.plug_diameter_mm

    @property
    def outer_mm(self) -> float:
        """Diameter round the glue."""
        return self.tube_bore_mm if self.sleeve_bore_mm is None else self.sleeve_bore_mm

    @property
    def widest_mm(self) -> float:
        """Outside diameter of the joint."""
        return self.tube_outer_mm if self.sleeve_outer_mm is None else self.sleeve_outer_mm


@dataclass(frozen=True, slots=True)
class RodGeometry:
    """Nominal sizes of one rod [mm]."""

    rod_length_mm: float
    """Pin to pin."""
    ends: tuple[JointGeometry, ...]
    """One where both ends are alike, else the first and the second."""


@dataclass(frozen=True, slots=True)
class Assessment:
    """The answer of the main job."""

    title: str
    strength_new: Strength
    strength_aged: Strength
    push_new: Strength | None
    """Where it differs from the pull."""
    push_aged: Strength | None
    permitted_load: PermittedLoad | None
    failure_probability: FailureProbability | None
    target: TargetVerdict | None
    modes: tuple[Mode, ...]
    ranking: tuple[Influence, ...]
    proof: ProofAnswer
    geometry: RodGeometry
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    figures: Figures
    facts: Mapping[str, Any]
    """Plain facts for the page: rods, ends, life_years, median gap, nominal mean shear
    stress at the median strength, share that cannot be assembled, period names."""
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document of the contract; null in place of NaN."""
        document: dict[str, Any] = clean(
            {
                "schema_version": 1,
                "title": self.title,
                "strength": _strength_dict(self),
                "permitted_load": _fields(self.permitted_load),
                "failure_probability": _failure_dict(self.failure_probability),
                "target": _target_dict(self.target),
                "modes": [_fields(mode) for mode in self.modes],
                "ranking": [_fields(entry) for entry in self.ranking],
                "proof": _proof_dict(self.proof),
                "geometry": _geometry_dict(self.geometry),
                "assumptions": [_fields(entry) for entry in self.assumptions],
                "warnings": [_fields(entry) for entry in self.warnings],
                "run": dict(self.run),
                "host": dict(self.host),
            }
        )
        return document

    def to_frame(self) -> pd.DataFrame:
        """Return the headline numbers as a frame with columns quantity, value, low, high, unit."""
        import pandas as pd

        new, aged = self.strength_new, self.strength_aged
        rows: list[tuple[str, float, float, float, str]] = [
            ("median strength, new", new.median, math.nan, math.nan, "N"),
            ("one rod in 100 is weaker, new", new.one_in_100_below, math.nan, math.nan, "N"),
            ("one rod in 1000 is weaker, new", new.one_in_1000_below, math.nan, math.nan, "N"),
            ("median strength, in service", aged.median, math.nan, math.nan, "N"),
        ]
        if self.permitted_load is not None:
            load = self.permitted_load
            rows.append(("permitted load", load.newton, load.low, load.high, "N"))
        if self.failure_probability is not None:
            chance = self.failure_probability
            rows.append(("failure probability", chance.estimate, chance.low, chance.high, "-"))
            rows.append(
                (
                    "band of what is not known",
                    chance.band_p50,
                    chance.band_p05,
                    chance.band_p95,
                    "-",
                )
            )
        return pd.DataFrame(rows, columns=["quantity", "value", "low", "high", "unit"])


def _fields(item: Any) -> dict[str, Any] | None:
    if item is None:
        return None
    return {name: getattr(item, name) for name in item.__dataclass_fields__}


def _strength_dict(result: Assessment) -> dict[str, Any]:
    new, aged = _fields(result.strength_new) or {}, _fields(result.strength_aged) or {}
    if result.push_new is not None:
        new["push"] = _fields(result.push_new)
    if result.push_aged is not None:
        aged["push"] = _fields(result.push_aged)
    return {"new": new, "aged": aged}


def _failure_dict(chance: FailureProbability | None) -> dict[str, Any] | None:
    document = _fields(chance)
    if document is None:
        return None
    ends = ("p05", "p50", "p95")
    names = [*ends, *(f"{end}_interval" for end in ends)]
    document["band"] = {name: document.pop(f"band_{name}") for name in names}
    document["worst_year"] = {
        "estimate": document.pop("worst_year"),
        "year": document.pop("worst_year_number"),
    }
    document["without_backup"] = _fields(document["without_backup"])
    return document


def _target_dict(target: TargetVerdict | None) -> dict[str, Any] | None:
    document = _fields(target)
    if document is not None and document["met"] is None:
        document["met"] = "undecided" if document["chance_met"] is not None else None
    return document


def _proof_dict(proof: ProofAnswer) -> dict[str, Any]:
    document = _fields(proof) or {}
    document["limits"] = [{"name": name, "load_newton": load} for name, load in proof.limits]
    document["pulls"] = [_fields(pull) for pull in proof.pulls]
    return document


def _geometry_dict(geometry: RodGeometry) -> dict[str, Any]:
    document = _fields(geometry) or {}
    document["ends"] = [_fields(end) for end in geometry.ends]
    return document


def plain(value: Any) -> Any:
    """Return a result, or a part of one, as dictionaries and lists all the way down."""
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, tuple | list):
        return [plain(entry) for entry in value]
    if hasattr(value, "items"):
        return {key: plain(entry) for key, entry in value.items()}
    return value


def clean(value: Any) -> Any:
    """Replace NaN and infinities by None, tuples by lists, NumPy scalars by Python's."""
    if isinstance(value, dict):
        return {key: clean(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [clean(entry) for entry in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
