"""What the study `proof` returns: a frozen result with every number its page may show.

Loads [N], probabilities and shares [-], times [years]. A chance that cannot be told, since too
few draws hold so hard a pull, is NaN here and null in the document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import Chance, clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, Rig, Warning_


@dataclass(frozen=True, slots=True)
class ProofCurve:
    """What pulls of rising load refuse and leave; one entry a load."""

    load_newton: tuple[float, ...]
    reject: tuple[Chance, ...]
    """Share of all rods that break in the pull."""
    reject_weak: tuple[Chance, ...] | None
    """Share of the rods with a weak joint; None without weak joints."""
    reject_sound: tuple[Chance, ...]
    """Share of the rods without one."""
    fail_after: tuple[Chance, ...]
    """Failure over the life of a set whose rods all held."""
    fail_after_unhurt: tuple[float, ...]
    """The same if a pull did no damage."""
    as_target: tuple[float, ...] | None
    """Failure as the target counts it; None without a target."""
    hurt: tuple[float, ...]
    """Share of the rods that held of which a joint lost one percent of its strength or more."""


@dataclass(frozen=True, slots=True)
class PullEffect:
    """What one pull is worth."""

    label: str
    load_newton: float
    reject: Chance
    """Share of all rods that break in it."""
    reject_weak: Chance | None
    reject_sound: Chance
    all_hold: float
    """Chance that no rod of the set breaks."""
    fail_before: float
    """Failure of the set over its life with no pull."""
    fail_after: Chance
    """The same of a set whose rods all held."""
    fail_after_unhurt: float
    """The same if the pull did no damage."""
    as_target_before: float | None
    """Failure as the target counts it, with no pull; None without a target."""
    as_target: float | None
    meets_target: bool | None
    hurt: float
    """Share of the rods that held and were hurt."""
    spoiled_in_run: float
    """Rods that break when every rod of the set is pulled once [-]."""
    spoiled_per_100: float
    years_before: float | None
    """Years that the target holds with no pull, at most the life; None without a target."""
    years_after: float | None
    needed_newton: float | None
    """The pull that meets the target; None where none does or none is needed."""


@dataclass(frozen=True, slots=True)
class Opener:
    """One change that might make a pull reach the target, tried on the same draws."""

    name: str
    """What is changed, in plain words."""
    best: float
    """Failure as the target counts it after the best admissible pull, with the change."""
    load_newton: float
    """That pull."""
    opens: bool
    """Whether the target is met."""


@dataclass(frozen=True, slots=True)
class Policy:
    """One way to use pulls of the same load."""

    code: str
    """"all", "replace", "drop batch", "drop batch at 2" and "at 3", "some", "twice",
    "again after a year"."""
    name: str
    """What is done, in plain words."""
    fail: Chance
    """Failure of an accepted set over its life; NaN where too few draws tell it."""
    ratio: Chance
    """The same over that of "all", on the same draws: 1 leaves as much; 0 to no limit."""
    spoiled: float
    """Rods broken or thrown away for each set that is tried [-]."""
    accepted: float
    """Chance that a set is accepted at the first try."""
    note: str = ""
    """How it is counted, where that is not plain."""


@dataclass(frozen=True, slots=True)
class NextRod:
    """What pulls of other rods of its batch say of a rod that was not pulled."""

    pulled: int
    """Rods of its batch that held [-]."""
    load_newton: float
    fail_before: Chance
    """Failure of one rod over the life, knowing nothing."""
    fail_after: Chance
    """The same, the others having held."""
    ratio: Chance
    """The second over the first, on the same draws."""


@dataclass(frozen=True, slots=True)
class Proof:
    """The answer of the study `proof`."""

    title: str
    verdict: str
    """"window", "empty", "unreachable", "not needed", or "not judged" (no load or no target)."""
    reason: str
    reachable: bool | None
    load_newton: float | None
    """Smallest pull that meets the target."""
    load_low: float | None
    """Loads between which it lies, by sampling alone; None without one."""
    load_high: float | None
    """None where the sample leaves open whether any admissible pull meets the target."""
    windows: tuple[tuple[float, float], ...]
    """Every range of admissible pulls that meets it: with damage there may be several."""
    floor: float | None
    """Best that any admissible pull leaves, as the target counts it."""
    floor_newton: float | None
    """The pull that leaves it; 0: none."""
    target: float | None
    """Failure probability to meet."""
    target_period: str | None
    """"life", or "year" for the worst one."""
    target_scope: str | None
    """"set" or "rod"."""
    fail_before: Chance
    """Failure of the set over its life with no pull."""
    best: PullEffect | None
    """The smallest pull that meets the target; None without one."""
    pulls: tuple[PullEffect, ...]
    """Pulls asked about."""
    limits: tuple[tuple[str, float], ...]
    """What caps the load: (plain words, [N]), lowest first."""
    openers: tuple[Opener, ...]
    """What was tried where no pull meets the target; those that open a window first."""
    policies: tuple[Policy, ...]
    policy_newton: float | None
    """Load of the pulls of `policies` and `next_rod`."""
    next_rod: NextRod | None
    """None where no batch has two rods."""
    curve: ProofCurve
    rods: int
    life_years: float
    rig: Rig
    rig_error: float
    """Scatter from pull to pull [-]."""
    rig_bias: float
    """Standard deviation of the gauge's bias [-]."""
    rig_highest_newton: float | None
    rig_temperature: float
    """Of rods and rig in the pull [degC]."""
    most_to_refuse: float
    confidence: float
    """Of every interval."""
    evaluations: int
    converged: bool
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Return the document; null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        fields["limits"] = [{"name": name, "load_newton": load} for name, load in self.limits]
        document: dict[str, Any] = clean({"schema_version": 1, **fields})
        return document

    def to_frame(self) -> pd.DataFrame:
        """Return the curve with one row a load; each chance with low and high end."""
        import pandas as pd

        curve = self.curve
        columns: dict[str, Any] = {"load_newton": curve.load_newton}
        for name in ("reject", "reject_weak", "reject_sound", "fail_after"):
            chances = getattr(curve, name)
            if chances is not None:
                columns[name] = [chance.estimate for chance in chances]
                columns[f"{name}_low"] = [chance.low for chance in chances]
                columns[f"{name}_high"] = [chance.high for chance in chances]
        columns["fail_after_unhurt"] = curve.fail_after_unhurt
        if curve.as_target is not None:
            columns["as_target"] = curve.as_target
        columns["hurt"] = curve.hurt
        return pd.DataFrame(columns)
