"""Where proof draws, what it leaves out, and how its intervals of ratios are made."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk.model.rodset import rod_set
from jointrisk.reliability.mixture import draw
from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study import bench as benches
from jointrisk.study import pull_learning, pulls
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.proof_ratios import about, given, ratio_of
from jointrisk.study.proposal import laid_plan
from jointrisk.study.pull_aims import Aims
from jointrisk.study.pull_patterns import pull_patterns
from jointrisk.study.pull_sample import pull_sample

COV = 0.12
SPREADS = {
    "adhesive.shear_strength": Lognormal(10.0, 10.0 * COV),
    "weak_bonds.lone_weight": 0.01,
}


def scenario_of(oracles, **more):
    jerk = oracles.load(Gumbel(1500.0, 300.0))
    return oracles.plain(SPREADS, [jerk], rig=(0.03, 0.02), **more)


@pytest.fixture(scope="module")
def bench(oracles):
    damage = {"proof.damage_from": 0.7, "proof.damage_most": 0.4}
    scenario = scenario_of(oracles, target=(1e-4, "life"))
    jerks = scenario.loads
    return bench_of(
        pull_sample(oracles.plain(SPREADS | damage, list(jerks), rig=(0.03, 0.02)), 2, None, ())
    )


def test_densities_are_those_that_weigh_the_draws(oracles):
    """One over the weight is the mixture of the densities of the patterns, by their shares."""
    single = rod_set(scenario_of(oracles), rods=1)
    plan = laid_plan(pull_patterns(single), single, single)
    drawn = draw(plan.proposal, 512, np.random.default_rng(1), single.label_chance)
    density = pull_learning._densities(plan, single, drawn.u, drawn.labels)
    counted = np.bincount(drawn.component, minlength=plan.pattern.size) / 512
    patterns = np.bincount(plan.pattern, counted)
    even = counted.max() if plan.pattern.size == patterns.size else None
    mixed = density @ patterns
    near = drawn.log_weight > -20.0
    loose = 0.6 if even is None else 1e-9  # shares inside a pattern differ by a draw or so
    assert mixed[near] == pytest.approx(np.exp(-drawn.log_weight[near]), rel=loose)


def test_shares_go_where_the_failures_lie(oracles):
    single = rod_set(scenario_of(oracles), rods=1)
    plan = laid_plan(pull_patterns(single), single, single)
    drawn = draw(plan.proposal, 2048, np.random.default_rng(1), single.label_chance)
    for pattern in (1, int(plan.pattern.max())):
        own = np.flatnonzero(plan.pattern == pattern)[0]
        terms = np.where(drawn.component == own, 1.0, 0.0)
        shares = pull_learning._shares(plan, single, drawn, terms)
        assert shares.sum() == pytest.approx(1.0)
        assert shares.min() > 0.0
        brought = pull_learning._densities(plan, single, drawn.u, drawn.labels)[terms > 0.0]
        likely = np.log(brought @ shares).mean()
        even = np.full(shares.size, (1.0 - shares[0]) / (shares.size - 1))
        even[0] = shares[0]
        assert likely > np.log(brought @ even).mean() + 0.1


def test_draws_left_out_change_next_to_nothing(bench, monkeypatch):
    for load in (1500.0, 4000.0, 5500.0):
        pulled = pull(bench, load)
        weight = bench.weight * pulled.hold
        left = (weight * life_chance(bench, rates_after(bench, pulled))).sum()
        monkeypatch.setattr(benches, "UNIMPORTANT", 0.0)
        every = (weight * life_chance(bench, rates_after(bench, pulled))).sum()
        monkeypatch.undo()
        unhurt = (weight * life_chance(bench, bench.outcome)).sum()
        assert left == pytest.approx(every, abs=2e-4 * unhurt)


def test_no_pull_hurts_more_than_the_worst(bench):
    for load in (3000.0, 5000.0):
        rates = rates_after(bench, pull(bench, load))
        assert np.all(life_chance(bench, rates) <= bench.worst * (1.0 + 1e-9) + 1e-15)


@pytest.mark.parametrize("share", [1e-3, 0.02, 0.1, 0.5, 0.95])
def test_the_load_that_a_share_does_not_hold(bench, share):
    found = pulls.load_refusing(bench, share)
    spare = bench.outcome.rig_pull / found - 1.0 - bench.bias
    refused = (bench.weight * ndtr(-spare / bench.error)).sum() / bench.weight.sum()
    assert refused == pytest.approx(share, rel=1e-4)
    assert refused <= share


def test_what_matters_where_the_target_comes_to_be_met(oracles):
    scenario = scenario_of(oracles, target=(1e-4, "life"))
    found = bench_of(pull_sample(scenario, 4))
    aims = Aims.of(found, 1e-4, (500.0,))
    assert 500.0 in aims.loads
    (meets,) = [load for load, count in zip(aims.loads, aims.counts[1:], strict=True) if count == 1]
    assert meets == pytest.approx(pulls.verdict(found).load, rel=0.02)
    assert aims.shortfall(aims.terms(found)) <= 0.05 or not found.sample.converged


def test_the_ratio_of_the_same_is_one_without_doubt(bench):
    fails = life_chance(bench, bench.outcome)
    one = given(bench, np.ones_like(fails), fails)
    assert ratio_of(bench, one, one).low == ratio_of(bench, one, one).high == 1.0
    none = given(bench, np.ones_like(fails), np.zeros_like(fails))
    assert none.chance.low == none.chance.estimate == 0.0 < none.chance.high
    assert ratio_of(bench, none, one).estimate == 0.0 < ratio_of(bench, none, one).high
    assert np.isnan(ratio_of(bench, one, none).estimate)


def test_a_ratio_scatters_over_samples_as_its_interval_says(bench):
    """Rows drawn anew within each component, many times: the scatter of the log of the ratio."""
    rng = np.random.default_rng(3)
    weight, component = bench.weight, bench.sample.component
    pulled = pull(bench, 3000.0)
    before, after = (
        life_chance(bench, bench.outcome),
        life_chance(bench, rates_after(bench, pulled)),
    )
    told = ratio_of(
        bench, given(bench, pulled.hold, after), given(bench, np.ones_like(before), before)
    )
    order = np.argsort(component, kind="stable")
    counts = np.bincount(component)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    logs = []
    for _ in range(200):
        picks = order[
            starts[component] + (rng.random(component.size) * counts[component]).astype(int)
        ]
        w, held = weight[picks], weight[picks] * pulled.hold[picks]
        quotient = (held * after[picks]).sum() / held.sum() / ((w * before[picks]).sum() / w.sum())
        logs.append(np.log(quotient))
    half = 0.5 * np.log(told.high / told.low) / 1.96
    assert half == pytest.approx(np.std(logs), rel=0.25)  # 200 draws: 5 % of scatter, and skew


def test_a_value_about_which_nothing_is_known_reaches_its_most():
    found = about(0.3, 5.0)
    assert (found.estimate, found.high) == (0.3, 1.0)
    assert 0.0 < found.low < 1e-4


def test_bench_without_loads_asks_for_no_rates(oracles):
    scenario = replace(scenario_of(oracles), loads=(), target=None)
    single = rod_set(scenario)
    assert single.scenario.loads == ()
    found = bench_of(pull_sample(scenario, 1))
    assert np.all(found.worst == 1.0)
