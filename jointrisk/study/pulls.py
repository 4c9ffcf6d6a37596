"""The pull that screens weak rods, and what given pulls are worth.

A rod is pulled once and holds when its weakest link is above the applied load; what the pull
takes of joints that hold it counts. A set counts as passed when all its rods held.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated, spans_until
from jointrisk.reliability.interval import ratio_interval
from jointrisk.study.bench import (
    bench_of,
    chance_refused,
    life_chance,
    pull,
    rates_after,
    share_hurt,
)
from jointrisk.study.judgement import (
    CONFIDENCE,
    before_any_pull,
    target_value,
    year_value,
    years_looked_at,
)
from jointrisk.study.pull_search import GRID, NOTHING, find_pull, of_all, refused_by
from jointrisk.study.results import ProofAnswer, PullWorth
from jointrisk.study.way import said_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from jointrisk.reliability.interval import Bounds
    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.scenario.types import Target
    from jointrisk.study.bench import Bench, Pulled
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

__all__ = [
    "MOST_BROKEN",
    "Verdict",
    "enough",
    "life_chance",
    "load_refusing",
    "proof_answer",
    "pull_limits",
    "pull_worth",
    "search",
    "sound_refused",
    "verdict",
]

MOST_BROKEN = 0.5
"""Beyond it a pull leaves too little to be called one [-]."""
FEWEST_SURVIVORS = 100.0
"""Effective draws that must hold a pull before anything is said of what it leaves [-]."""
MEMBER_SHARE = 0.01
"""A pull is not to break more rods than this share in a part that is not glued [-]."""
MOST_JOINTS = 2**17
"""Joints that an assessment looks at in the rig."""
MOST_TRIES = 60
NEAR = 4.0
"""Normal scores of a share about that of the one looked for between which a line is trusted."""
INWARD = 0.02
"""Share of the bracket by which a try lies beyond the line, now on one side, now on the other."""
CLOSE = 1e-6
LEAST, MOST = 1e-300, 1.0 - 1e-16
SMALL_CHANGE = 0.02
"""Best values nearer than this to what there is without a pull count as no better [-]."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a pull meets the target, and which."""

    verdict: str
    """"window", "empty", "unreachable", "not needed", or "not judged" (no load or no target)."""
    reason: str
    found: ScreeningLoad | None
    """The search up to the limits; None where nothing was searched."""
    limits: tuple[tuple[str, float], ...]
    """What caps the load: (plain words, [N]), lowest first."""
    before: float | None
    """Failure probability with no pull, as the target counts it [-]."""

    @property
    def load(self) -> float | None:
        """Smallest pull that meets the target [N]."""
        return self.found.load if self.found is not None and self.verdict == "window" else None

    @property
    def reachable(self) -> bool | None:
        """Whether an admissible pull meets the target; None where that is not judged."""
        if self.verdict in ("empty", "unreachable"):
            return False
        return None if self.found is None else self.found.reachable

    @property
    def load_interval(self) -> tuple[float | None, float | None]:
        """Loads between which it lies, by sampling [N].

        The high one is None where the sample leaves open whether any admissible pull does.
        """
        if self.load is None or self.found is None or self.found.load_interval is None:
            return None, None
        low, high = self.found.load_interval
        return low, high if np.isfinite(high) else None


def proof_answer(sample: Sample) -> ProofAnswer:
    """Return the proof load of a scenario and the worth of the pulls it names."""
    bench = bench_of(sample)
    judged = verdict(bench)
    found, load = judged.found, judged.load
    worth = None if load is None else pull_worth(bench, "", load, None)
    most = load_refusing(bench, MOST_BROKEN) if judged.limits else 0.0
    return ProofAnswer(
        reachable=judged.reachable,
        load_newton=load,
        load_low=judged.load_interval[0],
        load_high=judged.load_interval[1],
        window=found.windows[0] if found is not None and load is not None else None,
        verdict=judged.verdict,
        reason=said_of(bench.scenario, judged.reason),
        reject_fraction=None if worth is None else worth.reject_fraction,
        sound_rejected_fraction=None if load is None else sound_refused(bench, load),
        fail_after=None if worth is None else worth.fail_after,
        floor=None if found is None else found.floor,
        damage_fraction=None if load is None else share_hurt(bench, pull(bench, load)),
        limits=tuple(limit for limit in judged.limits if limit[1] <= most or "rig" in limit[0]),
        pulls=tuple(
            pull_worth(bench, given.label, given.load, load) for given in bench.scenario.pulls
        ),
        direction=bench.scenario.proof.rig.direction,
    )


def verdict(bench: Bench, known: Mapping[float, tuple[float, float]] = NOTHING) -> Verdict:
    """Look for the smallest pull that meets the target, and say why where there is none.

    Parameters
    ----------
    bench : Bench
    known : mapping of float to tuple of float
        As of `find_pull`.
    """
    scenario = bench.scenario
    target = scenario.target
    if target is None or not scenario.loads:
        missing = "no load" if not scenario.loads else "no target"
        reason = f"The scenario names {missing}, so no pull can be judged against one."
        return Verdict("not judged", reason, None, (), None)
    before = before_any_pull(bench.sample, target)
    if not np.any(bench.outcome.in_rig > 0.0):
        reason = "Every bond breaks in the workshop already, by unlike expansion alone."
        return Verdict("unreachable", reason, None, (), before)
    limits = pull_limits(bench)
    found = search(bench, target, limits[0][1], scenario.proof.max_reject, known, ends=True)
    period = "in the worst year" if target.period == "year" else "over the life"
    wanted = f"the target ({odds(target.probability)} {period})"
    if before <= target.probability:
        reason = f"{wanted.capitalize()} is met without a pull ({odds(before)})."
        return Verdict("not needed", reason, found, limits, before)
    if found.reachable:
        reason = (
            f"It is the smallest pull after which {wanted} is met; without a pull it is "
            f"{odds(before)}."
        )
        return Verdict("window", reason, found, limits, before)
    return _none_within(bench, target, Verdict("", "", found, limits, before), known)


def _none_within(
    bench: Bench, target: Target, so_far: Verdict, known: Mapping[float, tuple[float, float]]
) -> Verdict:
    """Tell a pull that is only out of bounds from one that there is not."""
    everything = search(bench, target, load_refusing(bench, MOST_BROKEN), None, known)
    found, limits, before = so_far.found, so_far.limits, so_far.before
    assert found is not None and before is not None  # noqa: S101, PT018
    if everything.load is not None:
        broken = refused_by(bench, everything.load)
        reason = (
            f"A pull of {newton(everything.load)} would meet the target "
            f"({odds(target.probability)}), but the limit is {newton(limits[0][1])} "
            f"({limits[0][0]}); that pull would break {100 * broken:.2g} % of all rods. Up to "
            f"the limit the best is {odds(found.floor)}."
        )
        return Verdict("empty", reason, found, limits, before)
    best = everything.floor
    reason = (
        f"No pull meets the target ({odds(target.probability)}): the best that one can do "
        f"without breaking more than half of the rods is {odds(best)}, "
    )
    if best > (1.0 - SMALL_CHANGE) * before or odds(best) == odds(before):
        reason += f"no better than without a pull ({odds(before)})."
    else:
        reason += f"at {newton(everything.floor_load)}; without a pull it is {odds(before)}."
    return Verdict("unreachable", f"{reason} {_what_is_left(bench)}", found, limits, before)


def _what_is_left(bench: Bench) -> str:
    return (
        "What is left is not weakness that a pull today can show."
        if not np.any(bench.most > 0.0)
        else "What is left is not weakness that a pull today can show, or the pull itself does."
    )


def search(
    bench: Bench,
    target: Target,
    highest: float,
    max_reject: float | None,
    known: Mapping[float, tuple[float, float]] = NOTHING,
    *,
    ends: bool = False,
    points: int = GRID,
) -> ScreeningLoad:
    """Look for every window of loads up to `highest` [N] that meets the target.

    With `ends` the smallest of them gets an interval, from sampling alone; `points` is how many
    loads are worked out at first.
    """

    def after(load: float) -> float:
        pulled = pull(bench, load)
        weight = bench.weight * pulled.hold
        if not enough(weight):
            return np.nan
        return target_value(bench.scenario, rates_after(bench, pulled), target, weight)

    def bounds(load: float) -> tuple[float, float]:
        found = target_bounds(bench, pull(bench, load), target)
        return found.low, found.high

    before = before_any_pull(bench.sample, target)
    return find_pull(
        bench,
        after,
        target.probability,
        before,
        highest,
        max_reject,
        known=known,
        bounds=bounds if ends else None,
        points=points,
    )


def target_bounds(bench: Bench, pulled: Pulled, target: Target) -> Bounds:
    """Return failure of sets that held a pull as the target counts it, with its interval [-].

    Of a yearly target in the year that is the worst of those sets.
    """
    scenario, weight = bench.scenario, bench.weight * pulled.hold
    rates = rates_after(bench, pulled)
    by_rod = rates.rate[:, None] if target.scope == "set" else rates.rod_rate
    edges = slice_edges(scenario)
    begins, ends = 0.0, float(edges[-1])
    if target.period == "year":
        years = years_looked_at(edges)
        values = [year_value(scenario, rates, target, weight, year) for year in years]
        begins = float(years[int(np.argmax(values))])
        ends = min(begins + 1.0, ends)
    left, later = (
        np.exp(-accumulated(by_rod, spans_until(edges, time))).mean(axis=0)
        for time in (begins, ends)
    )
    fails = np.maximum(left - later, 0.0)
    return ratio_interval(weight * fails, weight * left, bench.sample.component, CONFIDENCE)


def pull_limits(bench: Bench) -> tuple[tuple[str, float], ...]:
    """Return what caps the load, (plain words, [N]), the lowest first."""
    proof = bench.scenario.proof
    limits = [
        (
            f"the share of rods one is willing to break, {100 * proof.max_reject:g} %",
            load_refusing(bench, proof.max_reject),
        )
    ]
    limits += [
        (f"{name} in {100 * MEMBER_SHARE:g} % of the rods", load)
        for name, force in bench.other.reached.items()
        if np.isfinite(load := load_refusing(bench, MEMBER_SHARE, force))
    ]
    if proof.highest is not None:
        limits.append(("the largest load of the rig", proof.highest))
    return tuple(sorted(limits, key=lambda limit: limit[1]))


def load_refusing(bench: Bench, share: float, strength: Array | None = None) -> float:
    """Return the load that a share of all rods would not hold [N], by lines and halves.

    Parameters
    ----------
    bench : Bench
    share : float [-]
    strength : ndarray, (rods, n) [N], optional
        Of one part of each rod; by default of its weakest link.
    """
    strengths = bench.outcome.in_rig if strength is None else strength
    positive = strengths[(strengths > 0.0) & np.isfinite(strengths)]
    if positive.size == 0:
        return np.inf
    low, high = np.log(0.5 * float(positive.min())), np.log(2.0 * float(positive.max()))
    at_low = at_high = np.nan
    for turn in range(MOST_TRIES):
        middle = 0.5 * (low + high)
        near = abs(at_low) < NEAR and abs(at_high) < NEAR
        if near and turn % 3:  # every third try halves, whatever the curve is like
            middle = low - at_low * (high - low) / (at_high - at_low)
            middle += (1.0 - 2.0 * (turn % 3 - 1)) * INWARD * (high - low)
            middle = min(max(middle, low), high)
        refused = of_all(bench, chance_refused(bench, float(np.exp(middle)), strength))
        value = float(ndtri(min(max(refused, LEAST), MOST)) - ndtri(share))
        low, at_low = (low, at_low) if value > 0.0 else (middle, value)
        high, at_high = (middle, value) if value > 0.0 else (high, at_high)
        if high - low < CLOSE or -CLOSE < at_low <= 0.0:
            break
    return float(np.exp(low))


def pull_worth(bench: Bench, label: str, load: float, needed: float | None) -> PullWorth:
    """Return what a pull of `load` [N] is worth."""
    pulled = pull(bench, load)
    weight = bench.weight[None, :]
    weak = weight * bench.outcome.weak_rod
    total_weak = float(weak.sum())
    fail_after = None
    passed = bench.weight * pulled.hold
    if bench.scenario.loads and enough(passed):
        fails = life_chance(bench, rates_after(bench, pulled))
        fail_after = float((passed * fails).sum() / passed.sum())
    caught = float((weak * pulled.refused).sum() / total_weak) if total_weak else None
    return PullWorth(
        label=label,
        load_newton=load,
        fail_after=fail_after,
        reject_fraction=of_all(bench, pulled.refused),
        weak_caught_fraction=caught,
        needed_newton=needed,
    )


def enough(weight: Array) -> bool:
    """Tell whether enough draws hold a pull, by their weights, to say what it leaves."""
    return bool(weight.sum() ** 2 >= FEWEST_SURVIVORS * (weight**2).sum() > 0.0)


def sound_refused(bench: Bench, load: float) -> float:
    """Return the share of rods without a weak joint that break in a pull [-]."""
    sound = bench.weight * ~bench.outcome.weak_rod
    return float((sound * chance_refused(bench, load)).sum() / sound.sum())


def newton(load: float) -> str:
    """Return a force in words, three figures."""
    return f"{float(f'{load:.3g}'):,.0f} N"


def odds(chance: float) -> str:
    """Return a chance in words, two figures."""
    if chance <= 0.0:
        return "no failure seen"
    if chance > 0.4:
        return f"{100 * chance:.0f} %"
    scale = 10 ** max(int(np.floor(np.log10(1.0 / chance))) - 1, 0)
    return f"about 1 in {round(1.0 / chance / scale) * scale:,}"
