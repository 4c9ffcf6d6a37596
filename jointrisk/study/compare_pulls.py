"""The pull that an option needs, and what is left of it after the pull it gets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.reliability.interval import ratio_interval
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.compare_pairs import Terms
from jointrisk.study.compare_results import AfterPull, PullNeeded
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.pull_search import refused_by
from jointrisk.study.pulls import MOST_JOINTS, enough, life_chance, verdict
from jointrisk.study.results import Chance

if TYPE_CHECKING:
    from jointrisk.study.sample import Sample


@dataclass(frozen=True, slots=True)
class Left:
    """An option after its pull; as built where it gets none."""

    pulled: bool
    told: AfterPull | None
    terms: Terms | None
    """None where too few draws hold the pull to say."""


def pull_needed(sample: Sample) -> PullNeeded:
    """Look for the smallest pull that meets the target of an option."""
    bench = bench_of(sample, MOST_JOINTS)
    judged = verdict(bench)
    broken = None if judged.load is None else refused_by(bench, judged.load)
    return PullNeeded(judged.verdict, judged.reason, judged.load, broken)


def after_pull(sample: Sample, needed: PullNeeded) -> Left:
    """Pull the rods of an option: the largest pull it names, or else the one it needs."""
    named = max(sample.rods.scenario.pulls, key=lambda given: given.load, default=None)
    load = needed.load_newton if named is None else named.load
    if load is None:
        weight = sample.weight
        among = weight if sample.often else np.ones_like(weight)
        return Left(False, None, Terms(weight * sample.fails, among))
    bench = bench_of(sample)
    pulled = pull(bench, load)
    among = bench.weight * pulled.hold
    if not enough(among):
        return Left(True, None, None)
    fails = among * life_chance(bench, rates_after(bench, pulled))
    found = ratio_interval(fails, among, sample.component, CONFIDENCE)
    told = AfterPull(
        "" if named is None else named.label,
        load,
        Chance(found.estimate, found.low, min(found.high, 1.0)),
        refused_by(bench, load),
    )
    return Left(True, told, Terms(fails, among))
