"""Weights, pools, seeds and the count of the draws of the weighted sample."""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy import stats

from jointrisk.model import limit_state, rod_set
from jointrisk.spread import Gumbel, Lognormal, Normal, Uniform
from jointrisk.study import sample as room
from jointrisk.study.sample import evaluate, weighted_sample

GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.2)}


def glue(oracles):
    return oracles.lognormal(oracles.BOND, 0.12)


@pytest.fixture
def weak_pair(oracles):
    """Two rods of one batch in which weakness, bias and glue vary."""
    spreads = GLUE | {
        "weak_bonds.lone_weight": Uniform(0.005, 0.02),
        "weak_bonds.bad_batch_weight": 0.01,
    }
    loads = [oracles.load(Gumbel(1500.0, 300.0))]
    return oracles.plain(spreads, loads, rods=2, rods_per_batch=2, rig=(0.03, 0.02))


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_weights_average_to_one_within_their_error(oracles, weak_pair, seed):
    mean, error = oracles.mean_and_error(weighted_sample(weak_pair, seed).weight)
    assert error < 0.03
    assert abs(mean - 1.0) < 4.0 * error


def test_weights_are_bounded_by_the_guard(weak_pair):
    sample = weighted_sample(weak_pair, 1)
    guard = (sample.component == 0).mean()
    assert guard == pytest.approx(0.2, abs=0.001)
    assert sample.weight.max() <= (1.0 + 1e-9) / guard


def test_under_the_weights_the_plain_laws_come_back(oracles, weak_pair):
    """Mean and spread of a score, share of weak joints: those of the scenario, not the proposal."""
    sample = weighted_sample(weak_pair, 1)
    for column in range(sample.draws.u.shape[1]):
        score = sample.draws.u[:, column]
        for power, exact in ((1, 0.0), (2, 1.0)):
            mean, error = oracles.mean_and_error(sample.weight * score**power)
            assert abs(mean - exact) < 4.5 * error
    weak = sample.rods.weak_joints(sample.draws.labels).any(axis=0)
    mean, error = oracles.mean_and_error(sample.weight * weak)
    q = np.linspace(0.005, 0.02, 2001)
    exact = 0.99 * np.mean(1.0 - (1.0 - q) ** 4) + 0.01 * (1.0 - 0.2**4)
    assert oracles.agrees(mean, error, exact, closest=0.2)
    assert weak.mean() > 5.0 * exact


def test_same_draws_at_any_pool_and_others_at_another_seed(weak_pair):
    alone = weighted_sample(weak_pair, 0)
    with ThreadPoolExecutor(3) as pool:
        together = weighted_sample(weak_pair, 0, pool)
    assert np.array_equal(alone.weight, together.weight)
    assert np.array_equal(alone.outcome.rate, together.outcome.rate)
    other = weighted_sample(weak_pair, 1)
    assert not np.array_equal(alone.weight[:100], other.weight[:100])


def test_pieces_come_together_to_the_whole(weak_pair):
    rods = rod_set(weak_pair)
    rng = np.random.default_rng(3)
    u = rng.standard_normal((9000, rods.layout.dimension))
    labels = rng.random((9000, rods.layout.label_count)) < 0.3
    whole = evaluate(rods, u, labels)  # 4 joints: pieces of 4096 rows
    for rows in (slice(0, 700), slice(4090, 4100), slice(8999, 9000)):
        part = evaluate(rods, u[rows], labels[rows])
        for name in ("rig_pull", "pull", "weak_rod", "rate", "rod_rate", "mode_hazard", "bias"):
            assert np.array_equal(getattr(whole, name)[..., rows], getattr(part, name)), name
    assert whole.push is None


def test_weak_rods_are_those_with_a_weak_end(weak_pair):
    rods = rod_set(weak_pair)
    u = np.zeros((3, rods.layout.dimension))
    labels = np.zeros((3, rods.layout.label_count), dtype=bool)
    labels[1, 1] = labels[2, 4] = True  # after the batch: joint 0 (rod 0), joint 3 (rod 1)
    outcome = evaluate(rods, u, labels)
    assert outcome.weak_rod.tolist() == [[False, True, False], [False, False, True]]
    sound = outcome.pull[0, 0]
    assert outcome.pull == pytest.approx(np.where(outcome.weak_rod, 0.3 * sound, sound))


def test_without_the_rig_its_numbers_are_those_of_service(oracles):
    scenario = oracles.plain({"service.hottest": 50.0}, [oracles.load(Gumbel(900.0, 100.0))])
    rods = rod_set(scenario)
    u, labels = np.zeros((2, rods.layout.dimension)), np.zeros((2, 0), dtype=bool)
    outcome, bare = evaluate(rods, u, labels), evaluate(rods, u, labels, with_rig=False)
    assert outcome.rig_pull == pytest.approx(np.full((1, 2), oracles.BOND))
    assert np.array_equal(bare.rig_pull, bare.pull)
    assert outcome.pull == pytest.approx(bare.pull)
    assert outcome.pull.max() < 0.7 * oracles.BOND


def test_draws_are_counted_and_the_limit_of_draws_is_told(oracles, monkeypatch):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2600.0, 520.0))])
    enough = weighted_sample(scenario, 1)
    assert enough.converged
    assert enough.evaluations == room.PILOT_DRAWS + enough.weight.size
    monkeypatch.setattr(room, "MOST_ROWS", 256)
    monkeypatch.setattr(room, "MOST_BLOCKS", 3)
    short = weighted_sample(scenario, 1, target_cov=1e-4)
    assert not short.converged
    assert short.weight.size == 3 * 256
    assert short.evaluations == room.PILOT_DRAWS + 3 * 256


def test_drawing_stops_at_the_first_block_that_is_sharp_enough(oracles, monkeypatch):
    monkeypatch.setattr(room, "MOST_ROWS", 512)
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2600.0, 520.0))])
    for wanted in (0.04, 0.02):
        sample = weighted_sample(scenario, 1, target_cov=wanted)
        terms = sample.weight * sample.fails
        blocks = sample.weight.size // 512

        def cov(upto, terms=terms):
            part = terms[: 512 * upto]
            return part.std() / math.sqrt(part.size) / part.mean()

        assert cov(blocks) <= wanted
        assert all(cov(fewer) > wanted for fewer in range(1, blocks))


@pytest.mark.parametrize("rods", [1, 4, 40])
def test_joints_of_a_block_stay_within_the_limit(oracles, rods):
    full = rod_set(oracles.plain(GLUE, rods=rods))
    rows = room._rows(full, room.JOINTS_A_BLOCK, room.MOST_ROWS)
    assert math.log2(rows) == int(math.log2(rows))
    assert rows <= room.MOST_ROWS
    assert rows * full.layout.joints <= room.JOINTS_A_BLOCK
    assert rows * full.layout.joints * 2 > room.JOINTS_A_BLOCK or rows == room.MOST_ROWS


def test_sets_that_cannot_be_put_together_are_left_out(oracles):
    """Bore against insert: each of two joints fits by Phi(mean / sd) of the clearance."""
    sd = 0.15
    spreads = GLUE | {"tube.bore": Normal(13.0, sd), "plug.diameter": 12.8}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(2600.0, 520.0))])
    sample = weighted_sample(scenario, 1)
    gone = 1.0 - stats.norm.cdf(0.2 / sd) ** 2
    raw = sample.draws.weight
    mean, error = oracles.mean_and_error(raw * ~sample.outcome.assembles)
    assert sample.left_out == pytest.approx(mean)
    assert abs(mean - gone) < 4.0 * error < 0.2 * gone
    assert not np.any(sample.weight[~sample.outcome.assembles])
    whole, error = oracles.mean_and_error(sample.weight)
    assert abs(whole - 1.0) < 4.0 * error


def test_without_loads_the_draws_go_to_the_low_strengths(oracles):
    """The quantile that the target asks for is met by many draws, and it is the right one."""
    scenario = oracles.plain(GLUE, target=(1e-6, "life", "rod"))
    sample = weighted_sample(scenario, 1)
    low = glue(oracles).ppf(-np.expm1(0.5 * np.log1p(-1e-6)))
    found, error = oracles.mean_and_error(sample.weight * (sample.outcome.pull[0] < low))
    assert oracles.agrees(found, error, 1e-6, closest=0.1)
    assert not np.any(sample.fails)


def test_the_hottest_of_each_draw_is_read_back(oracles):
    fixed = weighted_sample(oracles.plain(GLUE, [oracles.load(Gumbel(2600.0, 520.0))]), 1)
    assert fixed.hottest.shape == fixed.weight.shape
    assert set(fixed.hottest.tolist()) == {23.0}
    scenario = oracles.plain(
        {"service.hottest": Normal(45.0, 3.0)}, [oracles.load(Gumbel(2900.0, 435.0))]
    )
    hot = weighted_sample(scenario, 1)
    mean, error = oracles.mean_and_error(hot.weight * hot.hottest)
    assert abs(mean - 45.0) < 4.0 * error


def test_more_load_and_more_years_fail_more_on_the_same_draws(oracles):
    loads = [oracles.load(Gumbel(2600.0, 520.0))]
    sample = weighted_sample(oracles.plain(GLUE, loads), 1)
    chances = []
    for years, mean in ((4.0, 2600.0), (5.0, 2600.0), (5.0, 2700.0), (50.0, 2700.0)):
        changed = oracles.plain(GLUE, [oracles.load(Gumbel(mean, 0.2 * mean))], life=years)
        outcome = evaluate(rod_set(changed), sample.draws.u, sample.draws.labels)
        chances.append(float((sample.weight * -np.expm1(-outcome.rate[0] * years)).mean()))
    assert chances == sorted(set(chances))


@pytest.mark.parametrize("life", [0.5, 1.0, 4.0])
def test_the_plain_limit_state_fails_beside_the_same_load(oracles, life):
    """Of what the limit state draws, the share that fails: one law, said two ways."""
    state = limit_state(oracles.plain({}, [oracles.load(Gumbel(3500.0, 875.0))], life=life))
    exact = -math.expm1(life * oracles.gumbel(3500.0, 0.25).logcdf(oracles.BOND))
    drawn = state.variables["load.jerk.size"]
    for factor, fails in ((0.999, True), (1.001, False)):
        size = drawn.isf(np.array([factor * exact]))
        assert bool(state.function({"load.jerk.size": size})[0] < 0.0) is fails
