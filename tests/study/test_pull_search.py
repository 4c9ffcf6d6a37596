"""The search on few evaluations finds every window of a curve that is known."""

import numpy as np
import pytest

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.bench import bench_of
from jointrisk.study.pull_search import find_pull, middling, of_all, refused_by
from jointrisk.study.sample import share_of_blocks, weighted_sample

TARGET = 1e-4


@pytest.fixture(scope="module")
def bench(oracles):
    spreads = {"adhesive.shear_strength": Lognormal(10.0, 1.2), "weak_bonds.lone_weight": 0.01}
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    return bench_of(weighted_sample(oracles.plain(spreads, [jerk], rig=(0.03, 0.0)), 1))


def counted(curve):
    """Return the curve and the list of loads at which it was asked."""
    asked = []

    def after(load):
        asked.append(load)
        return curve(load)

    return after, asked


@pytest.mark.parametrize("turn", [2.0, 3.0, 5.0])
def test_every_window_of_a_wave_is_found(bench, turn):
    """log10 of the curve is a sine of the log of the load: its crossings are known."""
    curve, asked = counted(lambda x: TARGET * 10.0 ** np.sin(turn * np.log(x / 1000.0)))
    found = find_pull(bench, curve, TARGET, 1.0, 6000.0, None)
    lowest = asked[0]
    crossings = 1000.0 * np.exp(np.pi * np.arange(-20, 20) / turn)
    inside = crossings[(crossings > lowest) & (crossings < 6000.0)]
    edges = [e for window in found.windows for e in window if lowest * 1.001 < e < 5999.0]
    assert edges == pytest.approx(inside, rel=2e-3)
    assert found.floor == pytest.approx(0.1 * TARGET, rel=0.02)
    assert len(asked) < 140


def test_a_step_is_found_by_halving(bench):
    curve, asked = counted(lambda x: 1e-2 if x < 1234.5 else 1e-9)
    found = find_pull(bench, curve, TARGET, 1e-2, 6000.0, None)
    assert found.load == pytest.approx(1234.5, rel=2e-3)
    assert found.load >= 1234.5
    assert len(asked) < 70


def test_the_load_found_meets_the_target_itself(bench):
    curve, asked = counted(lambda x: 1e-2 * (300.0 / x) ** 3.7)
    found = find_pull(bench, curve, TARGET, 1.0, 6000.0, None)
    assert found.load in asked
    assert curve(found.load) <= TARGET
    assert found.load == pytest.approx(300.0 * 100.0 ** (1 / 3.7), rel=2e-3)


def test_loads_that_break_too_many_rods_do_not_count(bench):
    curve, _ = counted(lambda x: 1e-2 * (300.0 / x) ** 2)
    found = find_pull(bench, curve, 1e-9, 1.0, 20_000.0, 0.05)
    assert not found.reachable
    assert refused_by(bench, found.highest) == pytest.approx(0.05, rel=0.02)
    assert found.floor_load == pytest.approx(found.highest, rel=1e-3)


def test_nothing_known_counts_as_failure(bench):
    curve, _ = counted(lambda x: np.nan if x > 2000.0 else 1e-3)
    found = find_pull(bench, curve, TARGET, 1e-2, 6000.0, None)
    assert not found.reachable
    assert found.floor == pytest.approx(1e-3)


def test_a_middling_rod_is_the_median_of_the_lesser_of_two(bench, oracles):
    law = oracles.weakest(oracles.lognormal(oracles.BOND, 0.12).cdf, 2)
    assert float(law(np.array([middling(bench)]))[0]) == pytest.approx(0.5, abs=0.03)


def test_the_first_blocks_of_a_sample_are_a_sample(oracles):
    """A share of a long sample is the start of it, and says the same within its errors."""
    spreads = {"adhesive.shear_strength": Lognormal(10.0, 1.2)}
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    whole = weighted_sample(oracles.plain(spreads, [jerk]), 1, target_cov=0.004)
    part = share_of_blocks(whole, 1)
    rows = part.weight.size
    assert rows == whole.block_rows < whole.weight.size
    assert np.array_equal(part.outcome.rig_pull, whole.outcome.rig_pull[:, :rows])
    assert np.array_equal(part.draws.u, whole.draws.u[:rows])
    assert share_of_blocks(whole, 2**30) is whole
    first, second = (oracles.chance_of(each) for each in (part, whole))
    assert abs(first[0] - second[0]) < 4.0 * np.hypot(first[1], second[1])


def test_of_all_is_a_weighted_mean(bench):
    assert of_all(bench, np.full(bench.outcome.rig_pull.shape, 0.3)) == pytest.approx(0.3)


def test_the_load_has_the_interval_of_its_curve_turned_on_its_side(bench):
    """A curve of constant slope, known to within a factor on each side: the ends are known."""
    curve, _ = counted(lambda x: 1e-2 * (300.0 / x) ** 3.7)

    def bounds(load):
        return 0.8 * curve(load), 1.3 * curve(load)

    found = find_pull(bench, curve, TARGET, 1.0, 6000.0, None, bounds=bounds)
    low, high = found.load_interval
    assert low == pytest.approx(found.load * 0.8 ** (1 / 3.7), rel=0.01)
    assert high == pytest.approx(found.load * 1.3 ** (1 / 3.7), rel=0.01)
    assert find_pull(bench, curve, TARGET, 1.0, 6000.0, None).load_interval is None


def test_no_high_end_where_no_admissible_load_is_surely_enough(bench):
    curve, _ = counted(lambda x: 1e-2 * (300.0 / x) ** 3.7)
    only_just = 1.05 * 300.0 * 100.0 ** (1 / 3.7)
    found = find_pull(
        bench, curve, TARGET, 1.0, only_just, None, bounds=lambda x: (0.8 * curve(x), 2 * curve(x))
    )
    assert found.reachable
    assert found.load_interval[1] == np.inf


def test_what_is_known_is_not_worked_out_again(bench):
    curve, _ = counted(lambda x: 1e-2 * (300.0 / x) ** 3.7)
    alone = find_pull(bench, curve, TARGET, 1.0, 6000.0, None)
    known = {float(x): (curve(x), 0.0) for x in np.geomspace(20.0, 9000.0, 60)}
    again, asked = counted(lambda x: 1e-2 * (300.0 / x) ** 3.7)
    found = find_pull(bench, again, TARGET, 1.0, 6000.0, None, known=known)
    assert found.load == pytest.approx(alone.load, rel=2e-3)
    assert not set(asked) & set(known)
    assert len(asked) < 20
