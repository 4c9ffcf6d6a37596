"""A scenario with every feature at once against plain NumPy that counts lives one by one.

`straight_everything` beside this file holds the scenario as text, draws and counts, and shares no
code with the package. The package answers with three seeds: their mean has to agree within three
standard errors of both sides, with the back-up and without.
"""

from __future__ import annotations

import json
import runpy
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import jointrisk
from jointrisk.model import rod_set
from jointrisk.study import judgement, pulls
from jointrisk.study import sample as sampling
from jointrisk.study.backup import without_backup
from jointrisk.study.bench import bench_of
from jointrisk.study.proposal import first_plan

HERE = Path(__file__).parent
SCRIPT = HERE / "straight_everything.py"
SEEDS = (11, 1, 2)  # the first is the scenario's own
KINDS = ("pinned", "plain")
YEARS = 6
LARGEST = 3


@pytest.fixture(scope="module")
def counting():
    """The script, started so that it runs beside the package."""
    command = [sys.executable, "-W", "error", str(SCRIPT)]
    job = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    yield job
    job.kill()
    job.communicate()


@pytest.fixture(scope="module")
def samples(counting):
    """The package's samples by kind, one for each seed; the search for weak points is done once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(HERE))
        text = runpy.run_path(str(SCRIPT))["TEXT"]
        scenario = jointrisk.load_text(text)
        found = {}
        for kind, each in zip(KINDS, (scenario, without_backup(scenario)), strict=True):
            plan = first_plan(rod_set(each, rods=1), rod_set(each))
            patch.setattr(sampling, "first_plan", lambda *_, plan=plan: plan)
            found[kind] = [sampling.weighted_sample(each, seed) for seed in SEEDS]
    return found


@pytest.fixture(scope="module")
def own(counting, samples):
    """The script's figures, each with its standard error."""
    output, _ = counting.communicate(timeout=240)
    assert counting.returncode == 0
    return {key: (x["value"], x["error"]) for key, x in json.loads(output).items()}


def chances(samples, kind):
    return [judgement.failure_probability(each, np.empty(0)) for each in samples[kind]]


def share_of_error(chance):
    """Standard error of a failure probability over itself, from its two-sided 95 % interval."""
    return (chance.high - chance.low) / (2 * 1.96 * chance.estimate)


def mean_of(sample, x):
    """Weighted mean of what each draw has, and its standard error."""
    terms = sample.weight * x
    return terms.mean(), terms.std() / np.sqrt(terms.size)


def agree(own, found):
    """Three standard errors of both sides; the seeds' own scatter counts where it is larger."""
    values, errors = np.array(found).T
    error = max(np.sqrt(np.mean(errors**2)), values.std(ddof=1)) / np.sqrt(len(values))
    value, own_error = own
    assert 0 < own_error < 0.2 * value
    assert values.mean() == pytest.approx(value, rel=0, abs=3 * np.hypot(own_error, error))


@pytest.mark.parametrize("kind", KINDS)
def test_life_of_the_set_and_of_one_rod(own, samples, kind):
    found = [(chance, share_of_error(chance)) for chance in chances(samples, kind)]
    agree(own[f"{kind} life"], [(c.estimate, e * c.estimate) for c, e in found])
    agree(own[f"{kind} rod"], [(c.per_rod, e * c.per_rod) for c, e in found])


@pytest.mark.parametrize("kind", KINDS)
def test_worst_year(own, samples, kind):
    found = chances(samples, kind)
    worst = own[f"{kind} year {found[0].worst_year_number}"]
    agree(worst, [(c.worst_year, share_of_error(c) * c.worst_year) for c in found])
    for year in range(1, YEARS + 1):
        value, error = own[f"{kind} year {year}"]
        assert value - worst[0] < 3 * np.hypot(error, worst[1])


@pytest.mark.parametrize("kind", KINDS)
def test_the_most_frequent_ways_to_fail(own, samples, kind):
    modes = {m.name: m.probability for m in judgement.modes(samples[kind][0])}
    assert {f"{kind} {name}" for name in modes} <= own.keys()
    largest = sorted(modes, key=modes.__getitem__)[-LARGEST:]
    for name in largest:
        found = []
        for each in samples[kind]:
            index = judgement.modes_of(each.rods.scenario).index(name)
            found.append(mean_of(each, -np.expm1(-each.outcome.mode_hazard[index])))
            told = {m.name: m.probability for m in judgement.modes(each)}[name]
            assert told == pytest.approx(found[-1][0], rel=0.05)
        agree(own[f"{kind} {name}"], found)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("state", "field"), [("new", "rig_pull"), ("aged", "pull"), ("pushed", "push")]
)
def test_median_strength(own, samples, kind, state, field):
    found = []
    for each in samples[kind]:
        by_rod = getattr(each.outcome, field)
        values = by_rod.ravel()
        order = np.argsort(values)
        below = np.cumsum(np.broadcast_to(each.weight, by_rod.shape).ravel()[order])
        spread = 0.5 * np.sqrt((each.weight**2).sum()) / each.weight.sum()  # of a share of a half
        around = np.interp([0.5 - spread, 0.5 + spread], below / below[-1], values[order])
        median = judgement.strength(each, by_rod).median
        found.append((median, np.diff(around).item() / 2))
    agree(own[f"{kind} {state}"], found)


@pytest.mark.parametrize("kind", KINDS)
def test_the_pull_named_in_the_scenario(own, samples, kind):
    refused, after = [], []
    for each, chance in zip(samples[kind], chances(samples, kind), strict=True):
        (given,) = each.rods.scenario.pulls
        worth = pulls.pull_worth(bench_of(each), given.label, given.load, None)
        broken, error = mean_of(each, (each.outcome.rig_pull < given.load).mean(axis=0))
        refused.append((worth.reject_fraction, error / broken * worth.reject_fraction))
        after.append((worth.fail_after, share_of_error(chance) * worth.fail_after))
    agree(own[f"{kind} refused"], refused)
    agree(own[f"{kind} after"], after)
