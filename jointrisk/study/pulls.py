"""The pull that screens weak rods, and what given pulls are worth.

A rod is pulled once and holds when its weakest link is above the applied load. Damage by
the pull itself is not counted yet. A set counts as passed when all its rods held.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.loads import find_load
from jointrisk.reliability.screening import refused_chance
from jointrisk.study.judgement import before_any_pull, strength, target_value
from jointrisk.study.results import ProofAnswer, PullWorth

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.scenario.types import Target
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

MOST_BROKEN = 0.5
"""Beyond it a pull leaves too little to be called one [-]."""
FEWEST_SURVIVORS = 100.0
"""Effective draws that must hold a pull before anything is said of what it leaves [-]."""
GRID = 41
"""Loads at which a window is looked for [-]."""
LOWEST_SHARE = 0.01
"""Lowest load looked at, as a share of the strength of a middling rod [-]."""


def proof_answer(sample: Sample) -> ProofAnswer:
    """Return the proof load of a scenario and the worth of the pulls it names."""
    scenario = sample.rods.scenario
    target = scenario.target
    if target is None or not scenario.loads:
        missing = "no load" if not scenario.loads else "no target"
        reason = f"The scenario names {missing}, so no pull can be judged against one."
        return _answer(sample, None, "not judged", reason, ())
    before = before_any_pull(sample, target)
    if not np.any(sample.outcome.rig_pull > 0.0):
        reason = "Every bond breaks in the workshop already, by unlike expansion alone."
        return _answer(sample, None, "unreachable", reason, ())
    period = "in the worst year" if target.period == "year" else "over the life"
    limits = pull_limits(sample)
    cap = limits[0][1]
    found = _find(sample, target, cap, scenario.proof.max_reject)
    if before <= target.probability:
        reason = (
            f"The target ({_odds(target.probability)} {period}) is met without a pull "
            f"({_odds(before)})."
        )
        return _answer(sample, found, "not needed", reason, limits)
    if found.reachable:
        reason = (
            f"It is the smallest pull after which the target ({_odds(target.probability)} "
            f"{period}) is met; without a pull it is {_odds(before)}."
        )
        return _answer(sample, found, "window", reason, limits)
    everything = _find(sample, target, load_refusing(sample, MOST_BROKEN), None)
    if everything.reachable and everything.load is not None:
        refused = _refused(sample, everything.load)
        reason = (
            f"A pull of {_newton(everything.load)} would meet the target "
            f"({_odds(target.probability)}), but {limits[0][0]} stops at {_newton(limits[0][1])}; "
            f"that pull would break {100 * refused:.2g} % of all rods. Up to the limit the best is "
            f"{_odds(found.floor)}."
        )
        return _answer(sample, found, "empty", reason, limits)
    reason = (
        f"No pull meets the target ({_odds(target.probability)}): the best that one can do without "
        f"breaking more than half of the rods is {_odds(everything.floor)}. What is left is not "
        "weakness that a pull today can show."
    )
    return _answer(sample, found, "unreachable", reason, limits)


def pull_limits(sample: Sample) -> tuple[tuple[str, float], ...]:
    """Return what caps the load, (plain words, [N]), the lowest first."""
    proof = sample.rods.scenario.proof
    limits = [
        (
            f"the share of rods one is willing to break ({100 * proof.max_reject:g} %)",
            load_refusing(sample, proof.max_reject),
        )
    ]
    if proof.highest is not None:
        limits.append(("the largest load of the rig", proof.highest))
    return tuple(sorted(limits, key=lambda limit: limit[1]))


def load_refusing(sample: Sample, share: float) -> float:
    """Return the load that a share of all rods would not hold [N], by bisection."""
    strengths = sample.outcome.rig_pull
    positive = strengths[strengths > 0.0]
    low, high = float(positive.min()) * 0.5, float(positive.max()) * 2.0
    for _ in range(40):
        middle = np.sqrt(low * high)
        low, high = (low, middle) if _refused(sample, middle) > share else (middle, high)
    return float(low)


def held(refused: Array) -> Array:
    """Return the chance that every rod holds, (n,) [-], from each one's refusal, (rods, n)."""
    return np.asarray(np.prod(1.0 - refused, axis=0))


def pull_worth(sample: Sample, label: str, load: float, needed: float | None) -> PullWorth:
    """Return what a pull of `load` [N] is worth."""
    refused = _each_refused(sample, load)
    weight = sample.weight[None, :]
    weak = weight * sample.outcome.weak_rod
    total_weak = float(weak.sum())
    fail_after = None
    if sample.rods.scenario.loads:
        passed = sample.weight * held(refused)
        if _enough(passed):
            fail_after = float((passed * sample.fails).sum() / passed.sum())
    return PullWorth(
        label=label,
        load_newton=load,
        fail_after=fail_after,
        reject_fraction=_share(sample, refused),
        weak_caught_fraction=float((weak * refused).sum() / total_weak) if total_weak else None,
        needed_newton=needed,
    )


def _find(
    sample: Sample, target: Target, highest: float, max_reject: float | None
) -> ScreeningLoad:
    middling = strength(sample, sample.outcome.rig_pull).median
    lowest = LOWEST_SHARE * (middling or float(sample.outcome.rig_pull.max()))

    def point(load: float) -> tuple[float, float]:
        refused = _each_refused(sample, load)
        weight = sample.weight * held(refused)
        share = _share(sample, refused)
        if not _enough(weight):
            return np.nan, share
        return target_value(sample, target, weight), share

    found = find_load(
        point,
        target=target.probability,
        highest=max(highest, lowest),
        lowest=min(lowest, highest),
        max_reject=None if max_reject is None else min(1.0, max_reject * (1.0 + 1e-6)),
        points=GRID,
    )
    if found.load != 0.0:
        return found
    # met at the lowest load looked at: a touch shows the rods that hold nothing
    first, *others = found.windows
    touch = min(lowest, highest)
    return replace(found, load=touch, windows=((touch, max(first[1], touch)), *others))


def _answer(
    sample: Sample,
    found: ScreeningLoad | None,
    verdict: str,
    reason: str,
    limits: tuple[tuple[str, float], ...],
) -> ProofAnswer:
    load = found.load if found is not None and verdict == "window" else None
    worth = None if load is None else pull_worth(sample, "", load, None)
    return ProofAnswer(
        reachable=None if found is None else found.reachable,
        load_newton=load,
        window=found.windows[0] if found is not None and load is not None else None,
        verdict=verdict,
        reason=reason,
        reject_fraction=None if worth is None else worth.reject_fraction,
        sound_rejected_fraction=None if load is None else _sound_refused(sample, load),
        fail_after=None if worth is None else worth.fail_after,
        floor=None if found is None else found.floor,
        damage_fraction=None,
        limits=limits,
        pulls=tuple(
            pull_worth(sample, pull.label, pull.load, load) for pull in sample.rods.scenario.pulls
        ),
    )


def _enough(weight: Array) -> bool:
    """Tell whether enough draws hold a pull, by their weights, to say what it leaves."""
    return bool(weight.sum() ** 2 >= FEWEST_SURVIVORS * (weight**2).sum() > 0.0)


def _each_refused(sample: Sample, load: float) -> Array:
    """Return the chance that each rod breaks in the pull, (rods, n) [-]."""
    return refused_chance(
        sample.outcome.rig_pull,
        load,
        rig_error_cov=sample.rods.scenario.proof.rig_error_cov,
        bias=sample.outcome.bias,
    )


def _refused(sample: Sample, load: float) -> float:
    """Return the share of all rods that break in the pull [-]."""
    return _share(sample, _each_refused(sample, load))


def _share(sample: Sample, each: Array) -> float:
    """Return the share of all rods refused [-], from the chance of each, (rods, n)."""
    return float((sample.weight * each).sum() / sample.weight.sum() / each.shape[0])


def _sound_refused(sample: Sample, load: float) -> float:
    sound = sample.weight * ~sample.outcome.weak_rod
    return float((sound * _each_refused(sample, load)).sum() / sound.sum())


def _newton(load: float) -> str:
    return f"{float(f'{load:.3g}'):,.0f} N"


def _odds(chance: float) -> str:
    if chance <= 0.0:
        return "no failure seen"
    if chance > 0.4:
        return f"{100 * chance:.0f} %"
    scale = 10 ** max(int(np.floor(np.log10(1.0 / chance))) - 1, 0)
    return f"about 1 in {round(1.0 / chance / scale) * scale:,}"
