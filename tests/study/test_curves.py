"""The curves of the pictures against the closed laws they show."""

import math

import numpy as np
import pytest

from jointrisk.spread import Gumbel, Lognormal, Uniform
from jointrisk.study import pulls
from jointrisk.study.bench import bench_of
from jointrisk.study.curves import POINTS, WIDEST, figures
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
WEAK = GLUE | {"weak_bonds.lone_weight": 0.02}
MEAN = 2300.0


def cdf(oracles, weak=0.0):
    joint = oracles.mixed(oracles.lognormal(oracles.BOND, COV).cdf, weak, 0.3)
    return oracles.weakest(joint, 2)


@pytest.fixture(scope="module")
def sample(oracles):
    scenario = oracles.plain(WEAK, [oracles.load(Gumbel(MEAN, 0.2 * MEAN))], rig=(0.04, 0.03))
    return weighted_sample(scenario, 1, target_cov=0.01)


@pytest.fixture(scope="module")
def drawn(sample):
    return figures(sample, np.array([1e-4, 1e-3]), (1500.0,))


def inside(curve, exact, *, of=0.85, slack=0.02):
    """Whether the intervals hold the exact curve about as often as they say."""
    low = np.array(curve.low) * (1.0 - slack)
    high = np.array(curve.high) * (1.0 + slack)
    return np.mean((low <= exact) & (exact <= high)) >= of


def test_strength_is_the_law_of_the_weaker_end(oracles, drawn):
    for curve in (drawn.strength_new, drawn.strength_service):
        exact = cdf(oracles, 0.02)(np.array(curve.load))
        assert inside(curve, exact)
        seen = exact > 1e-3
        assert np.array(curve.value)[seen] == pytest.approx(exact[seen], rel=0.12)


def test_strength_rises_over_a_grid_that_spans_the_rods(drawn):
    curve = drawn.strength_service
    assert len(curve.load) == POINTS
    assert np.all(np.diff(curve.load) > 0.0)
    assert np.all(np.diff(curve.value) >= 0.0)
    assert curve.value[0] <= 1e-3
    assert curve.value[-1] >= 0.99 * WIDEST[1]
    assert max(curve.high) <= 1.0


def test_heat_moves_the_curve_of_service_alone(oracles):
    scenario = oracles.plain(
        GLUE | {"service.hottest": 50.0}, [oracles.load(Gumbel(1500.0, 300.0))]
    )
    found = figures(weighted_sample(scenario, 1, target_cov=0.01), np.empty(0), ())
    left = np.interp(50.0, *zip(*scenario.strength_by_temperature, strict=True))
    loads = np.array(found.strength_new.load)
    assert np.array(found.strength_new.load).tolist() == list(found.strength_service.load)
    assert inside(found.strength_service, cdf(oracles)(loads / left))
    assert inside(found.strength_new, cdf(oracles)(loads))


def test_the_largest_load_of_the_life_is_exact(oracles):
    """Years and events side by side: the chance that any is above, to nine figures."""
    yearly, event = oracles.gumbel(MEAN, 0.2), oracles.lognormal(1500.0, 0.4)
    loads = [
        oracles.load(Gumbel(MEAN, 0.2 * MEAN), name="year"),
        oracles.load(Lognormal(1500.0, 600.0), "event", rate=3.0, name="knock"),
        oracles.load(Gumbel(10.0, 0.1), "sustained", name="weight"),
    ]
    found = figures(weighted_sample(oracles.plain(GLUE, loads), 1), np.empty(0), ())
    size = np.array(found.load_exceeded.load)
    kept = oracles.log_kept_yearly(yearly)(size) + oracles.log_kept_events(event, 3.0)(size)
    assert np.array(found.load_exceeded.value) == pytest.approx(-np.expm1(kept), rel=1e-9)
    assert found.load_exceeded.low == found.load_exceeded.value == found.load_exceeded.high


def test_failures_after_a_pull_by_quadrature(oracles, drawn):
    curve = drawn.fail_after_pull
    kept = oracles.log_kept_yearly(oracles.gumbel(MEAN, 0.2))
    values, mass = oracles.on_grid(cdf(oracles, 0.02), 200.0, 40_000.0, 4001)
    exact = np.array(
        [
            oracles.after_pull(values, mass, load, kept, error=0.04, bias_sd=0.03)
            for load in curve.load
        ]
    )
    assert inside(curve, exact[:, 0])
    assert inside(drawn.reject, exact[:, 1])
    told = exact[:, 1] > 1e-3
    assert np.array(drawn.reject.value)[told] == pytest.approx(exact[told, 1], rel=0.12)
    few = exact[:, 1] < 0.9
    assert np.array(curve.value)[few] == pytest.approx(exact[few, 0], rel=0.25)


def test_curves_are_those_of_the_worth_of_single_pulls(sample, drawn):
    for index in (0, 12, 25, 33):
        load = drawn.reject.load[index]
        worth = pulls.pull_worth(bench_of(sample), "", load, None)
        assert drawn.reject.value[index] == pytest.approx(worth.reject_fraction, rel=1e-9)
        assert drawn.reject_weak.value[index] == pytest.approx(worth.weak_caught_fraction)
        assert drawn.fail_after_pull.value[index] == pytest.approx(worth.fail_after, rel=1e-9)


def test_a_pull_catches_more_of_the_weak_than_of_all(drawn):
    assert np.all(np.array(drawn.reject_weak.value) >= np.array(drawn.reject.value))
    for curve in (drawn.reject, drawn.reject_weak):
        assert np.all(np.diff(curve.value) >= 0.0)
        assert np.all((np.array(curve.low) <= curve.value) & (curve.value <= np.array(curve.high)))


def test_loads_named_lie_in_the_range_of_the_pulls(oracles, sample, drawn):
    least = min(drawn.strength_new.load)
    for named in ((0.2 * least,), (), (0.5 * least, 4000.0)):
        loads = figures(sample, np.empty(0), named).reject.load
        assert loads[0] == pytest.approx(min(least, *named, max(loads)))
        assert all(loads[0] * (1 - 1e-9) <= load <= loads[-1] for load in named)


def test_curves_that_mean_nothing_are_left_out(oracles):
    bare = figures(weighted_sample(oracles.plain(GLUE), 1), np.empty(0), ())
    assert bare.load_exceeded is bare.fail_after_pull is bare.reject_weak is None
    assert len(bare.reject.load) == POINTS
    loaded = oracles.plain(GLUE, [oracles.load(Gumbel(MEAN, 0.2 * MEAN))])
    assert figures(weighted_sample(loaded, 1), np.empty(0), ()).reject_weak is None


def test_the_band_is_carried_as_it_is(drawn):
    assert drawn.band == (1e-4, 1e-3)


def test_nothing_random_makes_one_step(oracles):
    """All rods alike: none below the strength, all above; a bounded load never reaches it."""
    scenario = oracles.plain({}, [oracles.load(Uniform(100.0, 200.0))])
    found = figures(weighted_sample(scenario, 1), np.empty(0), ())
    assert max(found.load_exceeded.value) == 0.0
    assert found.strength_new.load == pytest.approx([oracles.BOND] * POINTS)
    assert set(found.strength_new.value) <= {0.0, 1.0}
    assert math.isclose(found.reject.load[-1], oracles.BOND, rel_tol=1e-9)
