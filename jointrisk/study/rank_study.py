"""Which variable matters: the failure probability taken apart, four ways.

Plain effects lead (`rank_plain`): they speak of the rods that fail. What is not known is told
apart from what scatters (`rank_unknown`); then the design points of the leading modes
(`rank_form`) and the variance-based indices of margin and failure (`rank_indices`, `rank_event`).
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError, Problem, ScenarioError
from jointrisk.model.members import modes_of
from jointrisk.reliability.interval import ratio_interval
from jointrisk.reliability.streams import resolve_seed
from jointrisk.study.doubts import ledger
from jointrisk.study.judgement import CONFIDENCE, failure_probability, modes
from jointrisk.study.rank_event import event_indices
from jointrisk.study.rank_form import design_points
from jointrisk.study.rank_indices import margin_indices
from jointrisk.study.rank_plain import answers, mode_effects, ranked
from jointrisk.study.rank_results import ModeShare, Ranking
from jointrisk.study.rank_rows import stage
from jointrisk.study.rank_unknown import not_known
from jointrisk.study.results import Chance
from jointrisk.study.running import host_of, run_of
from jointrisk.study.sample import NEGLIGIBLE, weighted_sample

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.rank_results import Effect, Indices, NotKnown, Variable
    from jointrisk.study.results import FailureProbability
    from jointrisk.study.sample import Sample

TARGET_COV = 0.015
"""Wanted coefficient of variation of the failure probability [-]."""
WORST_COV = 0.35
"""Above this coefficient of variation nothing is ranked [-]."""
LEADING_SHARE, MOST_LEADING = 0.01, 3
"""Modes with a smaller share of the failures, or beyond so many, are not taken apart."""


def rank(scenario: Scenario, *, seed: int | None = None, pool: Any = None) -> Ranking:
    """Tell which variable the failure probability hangs on, in several ways.

    Parameters
    ----------
    scenario : Scenario
        With a load.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    Ranking

    Raises
    ------
    ScenarioError
        If no load is given: without one nothing fails.
    EstimateError
        If no draw fails, or the failure probability cannot be told closely enough.
    """
    started = time.time()
    if not scenario.loads:
        what = "is not given: without a load nothing fails, and nothing can be ranked by failure"
        raise ScenarioError(scenario.path, [Problem("load", what, expected="a [[load]] table")])
    used = resolve_seed(scenario.seed if seed is None else seed)
    sample = weighted_sample(scenario, used, pool, TARGET_COV)
    chance = _trusted(sample)
    rows = stage(sample, used, pool)
    found = answers(sample, rows, pool)
    leading = _leading(sample)
    names = modes_of(scenario)
    variables = ranked(found)
    unknown = not_known(sample, rows, chance.estimate, used, pool)
    margin = margin_indices(scenario, used, pool)
    event = event_indices(rows, chance.estimate, used, pool)
    doubts = ledger(sample, seed=used, pool=pool)
    return Ranking(
        title=scenario.title,
        failure_probability=Chance(chance.estimate, chance.low, chance.high),
        rods=scenario.rods,
        life_years=scenario.life,
        variables=variables,
        not_known=unknown,
        modes=_shares(sample, chance.estimate),
        mode_effects=mode_effects(rows, found, [(names.index(name), name) for name in leading]),
        design_points=design_points(scenario, leading),
        margin=margin,
        event=event,
        confidence=CONFIDENCE,
        evaluations=_evaluations(sample, rows.weight.size, len(found), margin, event),
        converged=sample.converged,
        notes=_notes(sample, variables, unknown, margin),
        assumptions=scenario.assumptions,
        run=run_of(scenario, used),
        host=host_of(started, pool),
        doubts=doubts,
    )


def _trusted(sample: Sample) -> FailureProbability:
    """Return the failure probability; refuse where ranking it would mean nothing."""
    terms = sample.weight * sample.fails
    mean = float(terms.mean())
    if mean < NEGLIGIBLE:
        raise EstimateError(
            f"after {sample.evaluations:,} draws the failure probability is below {NEGLIGIBLE:g}: "
            "nothing fails that could be ranked"
        )
    cov = float(terms.std() / np.sqrt(terms.size) / mean)
    if cov > WORST_COV:
        raise EstimateError(
            f"the failure probability could not be told: after {sample.evaluations:,} draws its "
            f"coefficient of variation is {cov:.0%} (wanted {WORST_COV:.0%} at most)"
        )
    return failure_probability(sample, np.empty(0))


def _leading(sample: Sample) -> list[str]:
    """Return the names of the modes that are taken apart, the largest share first."""
    found = [mode.name for mode in modes(sample) if mode.share >= LEADING_SHARE]
    return found[:MOST_LEADING]


def _shares(sample: Sample, whole: float) -> tuple[ModeShare, ...]:
    """Return the share of each mode, overlaps counted, with intervals."""
    hazard = sample.outcome.mode_hazard
    first = hazard.argmax(axis=0)
    fails = sample.weight * sample.fails
    names = modes_of(sample.rods.scenario)
    found = []
    for mode in modes(sample):
        place = names.index(mode.name)
        own = sample.weight * -np.expm1(-hazard[place])
        share = ratio_interval(fails * (first == place), fails, sample.component, CONFIDENCE)
        part = ratio_interval(own, fails, sample.component, CONFIDENCE)
        probability = Chance(*(min(float(end) * whole, 1.0) for end in part[:3]))
        found.append(ModeShare(mode.name, probability, Chance(*share[:3]), float(part.estimate)))
    return tuple(found)


def _evaluations(sample: Sample, rows: int, questions: int, margin: Indices, event: Indices) -> int:
    return sample.evaluations + rows * questions + margin.evaluations + event.evaluations


def _notes(
    sample: Sample,
    variables: tuple[Variable, ...],
    unknown: NotKnown | None,
    margin: Indices,
) -> tuple[str, ...]:
    """Return what a reader must know of how the numbers came about."""
    notes = []
    if not sample.converged:
        notes.append("the failure probability did not settle: intervals are wider than wanted")
    if sample.left_out > 0.0:
        notes.append(
            f"{sample.left_out:.2g} of sets cannot be put together; they count neither before "
            "nor after a change"
        )
    apart = [
        (v.name, e.measure)
        for v in variables
        for e in v.effects
        if e.check is not None and _disagree(e, e.check)
    ]
    notes += [
        f"{name}, {measure}: the two ways to work it out disagree by more than twice their errors"
        for name, measure in apart
    ]
    if unknown is not None and unknown.unseen:
        notes.append(f"{unknown.unseen} of {unknown.states:,} states of the unknowns never failed")
    return (*notes, *margin.notes)


def _disagree(effect: Effect, check: Chance) -> bool:
    """Tell whether two ways differ by more than twice their errors: of a hundred some do by one."""
    logs = [[np.log(max(x, 1e-300)) for x in (e.low, e.high)] for e in (effect, check)]
    wide = float(np.hypot(*(0.5 * (high - low) for low, high in logs)))
    apart = abs(np.log(max(effect.value, 1e-300) / max(check.estimate, 1e-300)))
    return bool(apart > 2.0 * wide)
