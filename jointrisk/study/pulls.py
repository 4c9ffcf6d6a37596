"""The pull that screens weak rods, and what given pulls are worth.

A rod is pulled once and holds when its weakest link is above the applied load; what the pull
takes of joints that hold it counts. A set counts as passed when all its rods held.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated
from jointrisk.study.bench import bench_of, chance_refused, pull, rates_after, share_hurt
from jointrisk.study.judgement import before_any_pull, target_value
from jointrisk.study.pull_search import find_pull, of_all, refused_by
from jointrisk.study.results import ProofAnswer, PullWorth

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.scenario.types import Target
    from jointrisk.study.bench import Bench, Rates
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

MOST_BROKEN = 0.5
"""Beyond it a pull leaves too little to be called one [-]."""
FEWEST_SURVIVORS = 100.0
"""Effective draws that must hold a pull before anything is said of what it leaves [-]."""
MEMBER_SHARE = 0.01
"""A pull is not to break more rods than this share in a part that is not glued [-]."""
MOST_JOINTS = 2**17
"""Joints that an assessment looks at in the rig."""
HALVINGS = 24
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


def proof_answer(sample: Sample) -> ProofAnswer:
    """Return the proof load of a scenario and the worth of the pulls it names."""
    bench = bench_of(sample, MOST_JOINTS)
    judged = verdict(bench)
    found, load = judged.found, judged.load
    worth = None if load is None else pull_worth(bench, "", load, None)
    most = load_refusing(bench, MOST_BROKEN) if judged.limits else 0.0
    return ProofAnswer(
        reachable=None if found is None else found.reachable,
        load_newton=load,
        window=found.windows[0] if found is not None and load is not None else None,
        verdict=judged.verdict,
        reason=judged.reason,
        reject_fraction=None if worth is None else worth.reject_fraction,
        sound_rejected_fraction=None if load is None else sound_refused(bench, load),
        fail_after=None if worth is None else worth.fail_after,
        floor=None if found is None else found.floor,
        damage_fraction=None if load is None else share_hurt(bench, pull(bench, load)),
        limits=tuple(limit for limit in judged.limits if limit[1] <= most or "rig" in limit[0]),
        pulls=tuple(
            pull_worth(bench, given.label, given.load, load) for given in bench.scenario.pulls
        ),
    )


def verdict(bench: Bench) -> Verdict:
    """Look for the smallest pull that meets the target, and say why where there is none."""
    scenario = bench.scenario
    target = scenario.target
    if target is None or not scenario.loads:
        missing = "no load" if not scenario.loads else "no target"
        reason = f"The scenario names {missing}, so no pull can be judged against one."
        return Verdict("not judged", reason, None, (), None)
    before = before_any_pull(bench.sample, target)
    if not np.any(bench.outcome.rig_pull > 0.0):
        reason = "Every bond breaks in the workshop already, by unlike expansion alone."
        return Verdict("unreachable", reason, None, (), before)
    limits = pull_limits(bench)
    found = search(bench, target, limits[0][1], scenario.proof.max_reject)
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
    return _none_within(bench, target, Verdict("", "", found, limits, before))


def _none_within(bench: Bench, target: Target, so_far: Verdict) -> Verdict:
    """Tell a pull that is only out of bounds from one that there is not."""
    everything = search(bench, target, load_refusing(bench, MOST_BROKEN), None)
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
    if best > (1.0 - SMALL_CHANGE) * before:
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


def search(bench: Bench, target: Target, highest: float, max_reject: float | None) -> ScreeningLoad:
    """Look for every window of loads up to `highest` [N] that meets the target."""

    def after(load: float) -> float:
        pulled = pull(bench, load)
        weight = bench.weight * pulled.hold
        if not enough(weight):
            return np.nan
        return target_value(bench.scenario, rates_after(bench, pulled), target, weight)

    before = before_any_pull(bench.sample, target)
    return find_pull(bench, after, target.probability, before, highest, max_reject)


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
    """Return the load that a share of all rods would not hold [N], by bisection.

    Parameters
    ----------
    bench : Bench
    share : float [-]
    strength : ndarray, (rods, n) [N], optional
        Of one part of each rod; by default of its weakest link.
    """
    strengths = bench.outcome.rig_pull if strength is None else strength
    positive = strengths[(strengths > 0.0) & np.isfinite(strengths)]
    if positive.size == 0:
        return np.inf
    low, high = float(positive.min()) * 0.5, float(positive.max()) * 2.0
    for _ in range(HALVINGS):
        middle = np.sqrt(low * high)
        refused = of_all(bench, chance_refused(bench, middle, strength))
        low, high = (low, middle) if refused > share else (middle, high)
    return float(low)


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


def life_chance(bench: Bench, rates: Rates | Outcome) -> Array:
    """Return the chance that any rod of each draw fails over the life, (n,) [-]."""
    spans = np.diff(slice_edges(bench.scenario))
    return np.asarray(-np.expm1(-accumulated(rates.rate, spans)))


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
