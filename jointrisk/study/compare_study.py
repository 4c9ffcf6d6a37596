"""The study `compare`: options side by side, all on the same draws."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError, InputError, nearest
from jointrisk.reliability.streams import resolve_seed
from jointrisk.study import judgement
from jointrisk.study.assessment import WORST_COV
from jointrisk.study.band import Band
from jointrisk.study.common import common_draws
from jointrisk.study.compare_pairs import Terms, paired_ratio, told_apart
from jointrisk.study.compare_pulls import after_pull, pull_needed
from jointrisk.study.compare_results import Comparison, Difference, Option, Pair, Ratio
from jointrisk.study.compare_states import better, states_of
from jointrisk.study.compare_ties import dominated_by, letters, lowest, ties
from jointrisk.study.compare_warnings import TARGET_COV, warnings
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.results import Chance
from jointrisk.study.running import host_of, run_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Target
    from jointrisk.study.compare_pulls import Left
    from jointrisk.study.compare_results import PullNeeded
    from jointrisk.study.compare_states import States
    from jointrisk.study.sample import Sample


def compare(
    options: Mapping[str, Scenario],
    *,
    seed: int | None = None,
    pool: Any = None,
    baseline: str | None = None,
) -> Comparison:
    """Compare options: which fails less often, by how much, and whether that can be told.

    Parameters
    ----------
    options : mapping of str to Scenario
        Two or more by name, such as `jointrisk.load_options` returns.
    seed : int, optional
        By default that of the baseline; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.
    baseline : str, optional
        What the others are held against; by default the first.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If there are fewer than two options, one has no load, or there is no such baseline.
    EstimateError
        If the failure probability of an option cannot be told.
    """
    started = time.time()
    names = list(options)
    first = _checked(options, baseline)
    used = resolve_seed(options[first].seed if seed is None else seed)
    common, samples = common_draws(list(options.values()), used, pool, target_cov=TARGET_COV)
    for name, sample in zip(names, samples, strict=True):
        _trust(name, sample)
    states = states_of(common, samples, pool)
    needed = [pull_needed(sample) for sample in samples]
    left = [after_pull(*both) for both in zip(samples, needed, strict=True)]
    level = 1.0 - (1.0 - CONFIDENCE) / (len(names) * (len(names) - 1) / 2)
    pairs = _pairs(names, samples, states, left, level)
    made = [
        _option(name, options, first, sample, _band(states, at), needed[at], left[at])
        for at, (name, sample) in enumerate(zip(names, samples, strict=True))
    ]
    tied = ties(made, pairs)
    return Comparison(
        title=_title(options[first]),
        baseline=first,
        options=tuple(
            replace(
                option,
                letters=letters(option.name, tied),
                dominated_by=dominated_by(option, made, pairs),
            )
            for option in made
        ),
        pairs=pairs,
        groups=tied,
        lowest=lowest(made, tied),
        confidence=CONFIDENCE,
        confidence_of_pairs=level,
        evaluations=samples[0].evaluations,
        converged=common.converged,
        assumptions=options[first].assumptions,
        warnings=warnings(options, common.converged),
        run=_run(options, first, used, level),
        host=host_of(started, pool),
    )


def _checked(options: Mapping[str, Scenario], baseline: str | None) -> str:
    """Return the baseline, once there is something to compare."""
    names = list(options)
    if len(names) < 2:
        got = f"got only {names[0]!r}" if names else "got none"
        raise InputError(f"a comparison needs two options or more ({got})")
    for name, scenario in options.items():
        if not scenario.loads:
            raise InputError(f"option {name!r} has no load, so it has no failure to compare")
    if baseline is None:
        return names[0]
    if baseline not in options:
        close = nearest(baseline, names)
        listed = ", ".join(repr(name) for name in names)
        guess = f"did you mean {close!r}?" if close else f"expected one of {listed}"
        raise InputError(f"no such option to hold the others against (got {baseline!r}; {guess})")
    return baseline


def _trust(name: str, sample: Sample) -> None:
    """Refuse to give a number that means nothing."""
    error = sample.cov
    if error > WORST_COV:
        raise EstimateError(
            f"the failure probability of option {name!r} could not be told: after "
            f"{sample.evaluations:,} draws its coefficient of variation is {error:.0%} "
            f"(wanted {WORST_COV:.0%} at most)"
        )


def _option(
    name: str,
    options: Mapping[str, Scenario],
    baseline: str,
    sample: Sample,
    band: Band,
    needed: PullNeeded,
    left: Left,
) -> Option:
    """Return an option as it stands alone."""
    scenario = options[name]
    target = scenario.target
    chance = judgement.failure_probability(sample, band.life)
    told = None if target is None else judgement.target_verdict(sample, target, chance, band.target)
    return Option(
        name=name,
        title=scenario.title,
        differences=_differences(scenario, options[baseline]),
        rods=scenario.rods,
        failure_probability=chance,
        as_target=None if target is None else judgement.before_any_pull(sample, target),
        target=told,
        permitted_load=None if target is None else judgement.permitted_load(sample, target),
        strength_new=judgement.strength(sample, sample.outcome.rig_pull),
        strength_service=judgement.strength(sample, sample.outcome.pull),
        modes=judgement.modes(sample),
        pull=needed,
        after_pull=left.told,
        cost=scenario.cost,
        mass=scenario.mass,
        letters="",
        dominated_by=(),
    )


def _band(states: States | None, at: int) -> Band:
    return Band(np.empty(0), np.empty(0)) if states is None else states.bands[at]


def _pairs(
    names: Sequence[str],
    samples: Sequence[Sample],
    states: States | None,
    left: Sequence[Left],
    level: float,
) -> tuple[Pair, ...]:
    """Return each two options, the later one over the earlier."""
    often = any(sample.often for sample in samples)
    terms = [
        Terms(s.weight * s.fails, s.weight if often else np.ones_like(s.weight)) for s in samples
    ]
    component = samples[0].component
    pairs = []
    for second in range(len(names)):
        for first in range(second):
            share = None
            if states is not None:
                found = better(states, second, first)
                share = Chance(found.estimate, found.low, found.high)
            after = _after(left[second], left[first], component, level)
            ratio = _ratio(terms[second], terms[first], component, level)
            aim = _as_target(samples[second], samples[first], level)
            pairs.append(Pair(names[second], names[first], ratio, share, after, aim))
    return tuple(pairs)


def _as_target(one: Sample, other: Sample, level: float) -> Ratio | None:
    """Return the ratio as a target that both have counts it, where that is not over the life."""
    aims = [sample.rods.scenario.target for sample in (one, other)]
    aim = aims[0]
    if aim is None or aims[1] is None or _aim(aim) != _aim(aims[1]):
        return None
    of_one_rod = aim.scope == "rod" and max(one.rods.layout.rods, other.rods.layout.rods) > 1
    if aim.period == "life" and not of_one_rod:
        return None
    counted = []
    for sample in (one, other):
        year = judgement.worst_year(sample, aim)
        fails, gone = judgement.target_terms(sample.rods.scenario, sample.outcome, aim, year)
        weight = sample.weight
        among = weight if one.often or other.often else np.ones_like(weight)
        counted.append(Terms(weight * fails, among - weight * gone))
    return _ratio(counted[0], counted[1], one.component, level)


def _aim(target: Target) -> tuple[float, str, str]:
    return (target.probability, target.period, target.scope)


def _after(one: Left, other: Left, component: npt.NDArray[np.intp], level: float) -> Ratio | None:
    """Return the ratio after the pulls; None where there is none, or too few draws hold it."""
    if one.terms is None or other.terms is None or not (one.pulled or other.pulled):
        return None
    return _ratio(one.terms, other.terms, component, level)


def _ratio(one: Terms, other: Terms, component: npt.NDArray[np.intp], level: float) -> Ratio:
    found = paired_ratio(one, other, component, level)
    verdict = "not told apart"
    if told_apart(found):
        verdict = "lower" if found.estimate < 1.0 else "higher"
    return Ratio(found.estimate, found.low, found.high, verdict)


def _differences(scenario: Scenario, baseline: Scenario) -> tuple[Difference, ...]:
    """Return the resolved values in which a scenario departs from the baseline."""
    own = {entry.key: entry.value for entry in scenario.assumptions}
    there = {entry.key: entry.value for entry in baseline.assumptions}
    return tuple(
        Difference(key, own.get(key), there.get(key))
        for key in dict.fromkeys([*there, *own])
        if own.get(key) != there.get(key) and key != "seed"
    )


def _title(scenario: Scenario) -> str:
    return (
        scenario.title.removesuffix(f": {scenario.option}") if scenario.option else scenario.title
    )


def _run(options: Mapping[str, Scenario], baseline: str, seed: int, level: float) -> dict[str, Any]:
    base = run_of(options[baseline], seed)
    return {
        "seed": seed,
        "versions": base["versions"],
        "scenarios_sha256": {name: scenario.sha256 for name, scenario in options.items()},
        "options": {**base["options"], "confidence_of_pairs": level, "baseline": baseline},
    }
