"""What the study `learn` returns: a frozen result that holds every number a report may show.

Loads [N], probabilities and shares [-], information [bits]. A chance that cannot be told is NaN
here and null in the document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, Warning_

SCHEMA_VERSION = 1
FAR_OFF = 1e-3
"""Chance of being so far off below which nothing that follows from a log is told [-]."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """A failure probability with both kinds of uncertainty [-]."""

    estimate: float
    """Averaged over what is not known."""
    low: float
    high: float
    """Interval of the estimate from sampling alone."""
    p05: float
    p50: float
    p95: float
    """Band over what is not known; all three the estimate where all is known."""


@dataclass(frozen=True, slots=True)
class SetOutlook:
    """Failure of a new set of the scenario, its rods not pulled, before or after learning."""

    life: Outlook
    """Over the whole life."""
    target: Outlook | None
    """As the target counts it (its period and scope); None without a target."""
    chance_met: float | None
    """Share of the states of what is not known in which the target is met; None without one."""
    met: bool | None
    """None: undecided, the target lies inside the band, or there is no target."""


@dataclass(frozen=True, slots=True)
class RodOutlook:
    """Failure of one rod over its life, before the log was known and after."""

    kind: str
    """"held": a rod of the log that held, hurt by its pull as far as pulls hurt; "next": a rod of
    a batch of the log that was not pulled; "new batch": a rod of a batch that was not seen."""
    batch: str | None
    """None for "new batch"."""
    load_newton: float | None
    """Largest load that the rod held; None unless `kind` is "held"."""
    count: int
    """Rods of the log like it; 0 unless `kind` is "held"."""
    before: float
    """Failure over its life of any rod of the scenario, not pulled, before the log was known."""
    after: Outlook


@dataclass(frozen=True, slots=True)
class LearntUnknown:
    """One thing that was not known, or that all pulls had in common, before and after."""

    key: str
    name: str
    """Plain words."""
    unit: str
    prior_mean: float
    prior_p05: float
    prior_p50: float
    prior_p95: float
    posterior_mean: float
    posterior_p05: float
    posterior_p50: float
    posterior_p95: float
    shift: float
    """How far the mean of its normal score moved, in standard deviations of before [-]."""
    narrowed: float
    """Standard deviation of its normal score, after over before [-]: 1 where nothing was
    learnt."""


@dataclass(frozen=True, slots=True)
class WeakShare:
    """Share of joints of a new batch that are weak [-], over what is not known."""

    before_mean: float
    before_p95: float
    after_mean: float
    after_p95: float


@dataclass(frozen=True, slots=True)
class PullGroup:
    """Pulls of one batch with the same load and result, and what they taught by themselves."""

    batch: str
    load_newton: float
    kind: str
    """"held", "broke at" or "broke below"."""
    count: int
    chance_before: float
    """Chance that a rod of a new batch holds that load, before the log was known."""
    chance_after: float
    """The same after it."""
    information: float
    """What these pulls alone teach of what all rods have in common [bits]."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """How the log sits with what the file led one to expect."""

    found: bool
    """True where the log would be a rare one by the file: see `p_breaks` and `p_loads`."""
    breaks: int
    """Parts that broke, of those counted; parts pulled until they broke are not counted."""
    counted: int
    """Parts counted."""
    breaks_expected: float
    """By the file alone."""
    breaks_p05: float
    breaks_p95: float
    """Between which the file alone expected them."""
    p_breaks: float | None
    """Chance, by the file alone, of a number of breaks at least so far off either way [-]; None
    where nothing was counted."""
    p_loads: float | None
    """The same of the average breaking load of parts pulled until they broke; None without any."""
    loads_middle: float | None
    """Their middle breaking load, geometric [N]; None without any."""
    loads_expected: float | None
    """The same as expected by the file alone [N]."""
    text: str
    """In plain words; "" where nothing is strange."""

    @property
    def far_off(self) -> bool:
        """Whether such a log is next to impossible by the file, so that its models say nothing."""
        return any(p is not None and p < FAR_OFF for p in (self.p_breaks, self.p_loads))


@dataclass(frozen=True, slots=True)
class ReadingCurve:
    """Chance that one rod breaks at or below a reading of the rig, of a batch not seen."""

    load_newton: tuple[float, ...]
    before: tuple[float, ...]
    after: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Learnt:
    """What finished pulls have taught."""

    title: str
    pulls: int
    """Rows of the log."""
    parts: int
    """Parts pulled, some of them perhaps more than once."""
    held: int
    """Parts that held all their pulls."""
    broke: int
    batches: tuple[str, ...]
    """Names of the batches of the log, in its order."""
    batches_told: tuple[str, ...]
    """Those of which `rods` tells: the ones with most parts."""
    before: SetOutlook | None
    """None where the scenario names no load."""
    after: SetOutlook | None
    """None, too, where the log is far off what the file can explain."""
    rods: tuple[RodOutlook, ...]
    """Of each batch told first the rods that held, then the next one; at last a new batch.
    Empty where the scenario names no load, or the log is far off."""
    unknowns: tuple[LearntUnknown, ...]
    """Most learnt first."""
    weak: WeakShare | None
    """None without weak bonds."""
    groups: tuple[PullGroup, ...]
    """What taught most first."""
    information: float
    """What the whole log teaches of what all rods have in common [bits]."""
    information_held: float
    """What the pulls that held would teach without the others [bits]."""
    information_broke: float
    """What the breaks would teach without the others [bits]."""
    taught_nothing: bool
    """True where the log hardly moves anything, whatever it says."""
    conflict: Conflict
    curve: ReadingCurve
    target: float | None
    target_period: str | None
    target_scope: str | None
    rods_of_set: int
    life_years: float
    confidence: float
    """Of the intervals from sampling."""
    states: int
    """States of what is not known that were looked at."""
    effective_states: float
    """Of them, by their weights after the log [-]."""
    rounds: int
    """Rounds of drawing states, the first from the file alone."""
    evaluations: int
    """Joints worked out in the rig."""
    converged: bool
    """False: too few states fit the log for the numbers to be trusted, or it is `far_off`; then
    nothing is told of what would follow."""
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Return the document: unrounded, null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        made: dict[str, Any] = clean({"schema_version": SCHEMA_VERSION, **fields})
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return what was learnt of each unknown, one row each."""
        import pandas as pd

        names = LearntUnknown.__dataclass_fields__
        rows = [{name: getattr(entry, name) for name in names} for entry in self.unknowns]
        return pd.DataFrame(rows, columns=list(names))
