"""The main job: from a scenario to strength, failure probability, causes and proof load."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError
from jointrisk.reliability.streams import resolve_seed
from jointrisk.study import judgement
from jointrisk.study.backup import chance_without_backup
from jointrisk.study.band import Band, band
from jointrisk.study.cautions import warnings
from jointrisk.study.curves import NO_CURVES, figures
from jointrisk.study.geometry import geometry
from jointrisk.study.influence import influences
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.pulls import proof_answer
from jointrisk.study.results import Assessment
from jointrisk.study.running import host_of, run_of
from jointrisk.study.sample import TARGET_COV, weighted_sample

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.results import ProofAnswer, Strength
    from jointrisk.study.sample import Sample

WORST_COV = 0.35
"""Above this coefficient of variation no number is given."""
PULL_COV = 0.1
"""Wanted coefficient of variation of failure after a pull; the study `proof` asks for more [-]."""
DIFFERS = 0.005
"""Push strengths are shown where they differ from the pull by more than this share [-]."""


def assess(
    scenario: Scenario, *, seed: int | None = None, pool: Any = None, curves: bool = True
) -> Assessment:
    """Assess a scenario.

    Parameters
    ----------
    scenario : Scenario
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.
    curves : bool
        False leaves out the curves that only the page shows.

    Returns
    -------
    Assessment

    Raises
    ------
    EstimateError
        If the failure probability cannot be told to within a factor that means anything.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    sample, pulled = samples(scenario, used, pool)
    loaded = bool(scenario.loads)
    states = band(sample, used, pool, again=True) if loaded else Band(np.empty(0), np.empty(0))
    over, held = (states.life, states.life_again), (states.target, states.target_again)
    chance = judgement.failure_probability(sample, *over) if loaded else None
    _trust(sample)
    if chance is not None:
        chance = replace(chance, without_backup=chance_without_backup(scenario, used, pool))
    target = scenario.target
    ranking = influences(sample, used, pool) if loaded else ()
    proof = proof_answer(pulled)
    new = judgement.strength(sample, sample.outcome.rig_pull)
    aged = judgement.strength(sample, sample.outcome.pull)
    push = sample.outcome.push
    pushed = None if push is None else judgement.strength(sample, push)
    return Assessment(
        title=scenario.title,
        strength_new=new,
        strength_aged=aged,
        push_new=None,
        push_aged=pushed if pushed is not None and _differs(pushed, aged) else None,
        permitted_load=judgement.permitted_load(sample, target) if target else None,
        failure_probability=chance,
        target=judgement.target_verdict(sample, target, chance, *held) if target else None,
        modes=judgement.modes(sample) if loaded else (),
        ranking=ranking,
        proof=proof,
        geometry=geometry(scenario),
        assumptions=scenario.assumptions,
        warnings=warnings(sample, ranking),
        figures=figures(sample, states.life, _named_loads(proof), pulled) if curves else NO_CURVES,
        facts=_facts(sample),
        run=run_of(scenario, used),
        host=host_of(started, pool),
    )


def samples(scenario: Scenario, seed: int, pool: Any) -> tuple[Sample, Sample]:
    """Draw for the assessment, and for the pull: once for both where that tells enough of each."""
    if not scenario.loads or scenario.target is None:
        sample = weighted_sample(scenario, seed, pool)
        return sample, sample
    loads = tuple(given.load for given in scenario.pulls)
    pulled = pull_sample(scenario, seed, pool, loads, PULL_COV)
    if pulled.cov <= TARGET_COV:
        return replace(pulled, converged=True), pulled
    return weighted_sample(scenario, seed, pool), pulled


def _trust(sample: Sample) -> None:
    """Refuse to give a number that means nothing."""
    if sample.rods.scenario.loads and sample.cov > WORST_COV:
        raise EstimateError(
            f"the failure probability could not be told: after {sample.evaluations:,} draws its "
            f"coefficient of variation is {sample.cov:.0%} (wanted {WORST_COV:.0%} at most)"
        )


def _differs(push: Strength, pull: Strength) -> bool:
    return any(
        abs(getattr(push, name) / max(getattr(pull, name), 1e-12) - 1.0) > DIFFERS
        for name in pull.__dataclass_fields__
    )


def _named_loads(proof: ProofAnswer) -> tuple[float, ...]:
    loads = [pull.load_newton for pull in proof.pulls]
    return tuple(loads if proof.load_newton is None else [*loads, proof.load_newton])


def _facts(sample: Sample) -> dict[str, Any]:
    scenario = sample.rods.scenario
    mean = {key: variable.spread.mean for key, variable in scenario.variables.items()}
    wide, narrow = (mean[key] for key in scenario.fit)
    gap = (wide - narrow) / 2.0
    area = np.pi * (narrow + gap) * mean[f"{scenario.end}.overlap"]
    median = judgement.strength(sample, sample.outcome.rig_pull).median
    return {
        "rods": scenario.rods,
        "ends": 2,
        "life_years": scenario.life,
        "median_gap_mm": float(gap),
        "mean_shear_stress_at_median_mpa": float(median / area),
        "share_not_assembled": sample.left_out,
        "adhesive_class": scenario.adhesive_class,
        "evidence": scenario.evidence,
        "note": scenario.note,
    }
