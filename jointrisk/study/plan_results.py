"""What the study `plan` returns: frozen results that hold every number a report may show.

Probabilities and shares [-], loads [N]. A *state* is one set of values of everything that is not
known; the failure probability of a state is over the scatter alone. Intervals are those of the
sum (draws, states, simulated outcomes), not of what is not known.
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
KINDS = ("coupon", "rod", "pull", "gauge", "gap", "overlap", "settle")
"""Kinds of candidates, in the order in which they are made."""
COST_KEYS = ("coupon", "rod", "pull", "gauge", "gap", "overlap")
"""What a cost may be given of: one coupon broken, one rod pulled to break, one rod pulled to the
load (and, where it breaks, lost), a better gauge, measuring the gaps or the overlaps of one rod."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing to test, measure or settle, and what it is expected to bring."""

    key: str
    """Name for programs: kind and count, such as "coupon:6", "rod:2", "pull:29", "pull:set",
    "gauge:4", "gap", "overlap", "settle:model.bond_factor"."""
    kind: str
    """One of `KINDS`."""
    name: str
    """What is done, in plain words."""
    count: int
    """Parts that are broken, pulled or measured; 0 where something is settled [-]."""
    load_newton: float | None
    """Of the pulls; None where nothing is pulled to a load."""
    doable: bool
    """False: a bound, the value of knowing one unknown exactly, however that may be done."""
    speaks_to: tuple[tuple[str, str], ...]
    """Unknowns that it tells something of: (key, plain words), those that it tells most of first;
    empty where it tells of sizes of these rods and not of anything that is not known."""
    to_make: int
    """Parts to be made for it beyond the rods of service; rods that hold may serve later [-]."""
    uses_up: float
    """Parts lost on average: all that are broken, of those pulled the ones that break [-]."""
    cost: float | None
    """In the money of the costs given; None where none was given for this kind."""
    p05: float
    """Band of the failure probability expected after it, as the target counts it (else of the set
    over its life): averages of the logs over what may come out. After a pull: of rods that held."""
    p50: float
    p95: float
    width: Chance
    """Expected natural log of the upper end of that band over the lower one."""
    high: Chance
    """Expected upper end of that band (plain average)."""
    width_drop: Chance
    """Of `width` from what the band is before."""
    comes_out: tuple[float, float]
    """The average failure probability will then come out between these, 9 times in 10."""
    wrong_before: Chance | None
    """Chance to be wrong about the target if one decides now; None without a target. Of "gap" and
    "overlap": about these very rods, which is another question than about any such rods."""
    wrong_after: Chance | None
    """The same, expected, with what the test has told."""
    wrong_drop: Chance | None
    """The first less the second, on the same states."""
    chance_met: Chance | None
    """Share of the states that meet the target after it: changed only by a pull that screens."""
    chance_clear: Chance | None
    """Chance that the target then lies outside the band, so that it is plainly met or missed."""
    fail_after: Chance | None
    """Expected failure probability of a set whose rods all held, as the target counts it; None
    where the test does not screen the rods of service."""
    gain: Chance
    """What the ranking goes by: `wrong_drop`, or `width_drop` (see `TestPlan.measure`). Of "gauge"
    what it brings beyond the candidate named in `beside`, which is done without it."""
    brings: bool
    """Whether `gain` is told from nothing, and large enough to matter."""
    rank: int
    """1 for the best; those whose intervals overlap share one. Bounds are ranked by themselves."""
    gain_per_cost: float | None
    """`gain` over `cost`; None without a cost above 0."""
    beside: str
    """Of "gauge": key of the candidate that it is to be held against; else ""."""
    note: str
    """What it does not tell, in a plain sentence."""

    @property
    def screens(self) -> bool:
        """Whether it also sorts the rods of service."""
        return self.fail_after is not None


@dataclass(frozen=True, slots=True)
class Before:
    """What there is before any test, as the target counts it (else of the set over its life)."""

    failure: Chance
    """Average over what is not known."""
    p05: float
    p50: float
    p95: float
    width: Chance
    """Natural log of `p95` over `p05`."""
    chance_met: Chance | None
    """Share of the states that meet the target; None without one."""
    wrong: Chance | None
    """Chance to be wrong about it if one decides now by what is likelier. With everything that is
    not known settled it would be 0: no test can bring more than this."""
    clear: bool | None
    """Whether the target lies outside the band already."""


@dataclass(frozen=True, slots=True)
class SuccessRun:
    """How many parts must hold, none breaking, to show that a share of all parts holds."""

    reliability: float
    """Share of all parts that hold the pull [-]."""
    confidence: float
    """[-]"""
    pulls: int
    """ln(1 - confidence) / ln(reliability), rounded up."""
    all_hold: Chance | None
    """Chance that so many rods of this making all hold the pull of the plan; None without one."""


@dataclass(frozen=True, slots=True)
class TestPlan:
    """Which test to make next, and how many."""

    __test__ = False  # the name begins like a test of pytest's

    title: str
    verdict: str
    """"test": `next_key` is worth doing; "pull": the target is likelier missed than met and no test
    changes that, but after the pull of the rods of service that `next_key` names it is likelier
    met; "met everywhere", "missed everywhere": (nearly) every state meets or misses the target as
    the rods are, so that nothing learned can change the answer; "nothing tells": it is open, and no
    test here helps; "all is known"."""
    reason: str
    """The verdict in one or two plain sentences with its numbers."""
    next_key: str | None
    """Of the cheapest candidate (without costs: the fewest parts to make or lose) of those that
    bring at least four fifths of what the best one brings; None with no test to recommend. Where it
    is missed in every state, or no test changes the answer: the pull after which the target is met
    on average and in more than half of the states, where there is one."""
    measure: str
    """What `gain` is: "wrong decision" (with a target that is open) or "band width"."""
    before: Before
    candidates: tuple[Candidate, ...]
    """What can be done, best first, then bounds ("settle"), best first."""
    success_runs: tuple[SuccessRun, ...]
    pull_newton: float | None
    """The pull of the pulls to a load."""
    pull_origin: str
    """Where it comes from: the label of a pull of the scenario, or plain words."""
    target: float | None
    target_period: str | None
    """"life", or "year" for the worst one."""
    target_scope: str | None
    """"set" or "rod"."""
    rods: int
    life_years: float
    costs: Mapping[str, float]
    """As given, by kind; empty without."""
    states: int
    """States of what is not known that were worked out."""
    outcomes: int
    """Outcomes simulated for each candidate."""
    unexplained: Chance
    """Share of the variance of the log of the failure probability that the fitted surface does not
    explain; no test is taken to tell anything of it."""
    confidence: float
    """Of every interval."""
    evaluations: int
    converged: bool
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    @property
    def next(self) -> Candidate | None:
        """The candidate to do next."""
        return next((each for each in self.candidates if each.key == self.next_key), None)

    @property
    def doable(self) -> tuple[Candidate, ...]:
        """Candidates that can be done, best first."""
        return tuple(each for each in self.candidates if each.doable)

    @property
    def bounds(self) -> tuple[Candidate, ...]:
        """What it would bring to settle each unknown, best first."""
        return tuple(each for each in self.candidates if not each.doable)

    def to_dict(self) -> dict[str, Any]:
        """Return the document: unrounded, null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        for candidate in fields["candidates"]:
            candidate["speaks_to"] = [
                {"variable": key, "name": name} for key, name in candidate["speaks_to"]
            ]
        made: dict[str, Any] = clean({"schema_version": SCHEMA_VERSION, **fields})
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return the candidates, one row each; each chance with low and high end."""
        import pandas as pd

        return pd.DataFrame([_row(candidate) for candidate in self.candidates])


def _row(candidate: Candidate) -> dict[str, Any]:
    names = ("key", "kind", "name", "count", "load_newton", "doable", "to_make", "uses_up")
    row: dict[str, Any] = {name: getattr(candidate, name) for name in names}
    row |= {"cost": candidate.cost, "rank": candidate.rank, "brings": candidate.brings}
    row |= {"p05": candidate.p05, "p50": candidate.p50, "p95": candidate.p95}
    row["comes_out_low"], row["comes_out_high"] = candidate.comes_out
    chances = ("gain", "width", "high", "width_drop", "wrong_before", "wrong_after", "wrong_drop")
    for name in (*chances, "chance_met", "chance_clear", "fail_after"):
        chance = getattr(candidate, name)
        row[name] = None if chance is None else chance.estimate
        row[f"{name}_low"] = None if chance is None else chance.low
        row[f"{name}_high"] = None if chance is None else chance.high
    row["gain_per_cost"] = candidate.gain_per_cost
    return row
