import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jointrisk.model.loads import exceed_rate, hazard, pushes, typical_size
from jointrisk.scenario.types import Load, Variable
from jointrisk.spread import Gumbel, MaximumOf, MaximumOfEvents, Uniform


def load(kind, spread, rate=0.0, direction="pull", scope="all"):
    size = Variable("load.x.size", "x", spread, "N", "all", "scatter", "scenario", "", "given")
    return Load("x", kind, direction, size, scope, rate)


@given(st.floats(1.0, 40.0), st.floats(0.0, 3000.0))
def test_years_of_annual_maxima_are_the_power_of_one_year(years, size):
    """P(largest of T years <= x) = F(x)**T: order statistics of independent years."""
    spread = Gumbel(500.0, 120.0)
    kept = np.exp(-years * exceed_rate(load("annual_maximum", spread), np.float64(size)))
    assert kept == pytest.approx(MaximumOf(spread, years).cdf(np.float64(size)), rel=1e-9)


@given(st.floats(0.05, 30.0), st.floats(0.0, 3000.0))
def test_events_follow_the_poisson_formula(expected, size):
    """P(largest <= x) = exp(-n (1 - F(x))): thinning of a Poisson process."""
    spread = Gumbel(500.0, 120.0)
    kept = np.exp(-exceed_rate(load("event", spread, rate=expected), np.float64(size)))
    assert kept == pytest.approx(MaximumOfEvents(spread, expected).cdf(np.float64(size)), rel=1e-9)


def test_far_tails_keep_their_digits():
    spread = Gumbel(500.0, 120.0)
    size = np.float64(5000.0)
    rate = exceed_rate(load("annual_maximum", spread), size)
    assert 0.0 < rate < 1e-18
    assert rate == pytest.approx(spread.sf(size), rel=1e-12)


def test_a_bounded_load_never_exceeds_its_bound_and_always_its_floor():
    bounded = load("annual_maximum", Uniform(100.0, 200.0))
    assert exceed_rate(bounded, np.array([250.0, 50.0])).tolist() == [0.0, np.inf]


@pytest.mark.parametrize("kind", ["annual_maximum", "event"])
def test_typical_size_is_the_quantile_of_the_life(kind):
    spread = Gumbel(500.0, 120.0)
    one = load(kind, spread, rate=2.0)
    life = MaximumOf(spread, 5.0) if kind == "annual_maximum" else MaximumOfEvents(spread, 10.0)
    for exceeded in (0.5, 1e-6):
        assert life.sf(np.float64(typical_size(one, 5.0, exceeded))) == pytest.approx(exceeded)


def factors(extra=None):
    return {"model.load_factor": np.ones((1, 1)), **(extra or {})}


def test_loads_of_each_rod_multiply_and_shared_loads_do_not(make):
    scenario = make((("pull", "900 N"),), rods=2)
    pull = np.full((1, 2, 1), 1500.0)
    shared = hazard(scenario, factors(), pull, None, {})
    one = scenario.loads[0]
    own = make((("pull", "900 N"),), rods=2)
    object.__setattr__(own.loads[0], "scope", "rod")
    apart = hazard(own, factors(), pull, None, {})
    single = exceed_rate(one, np.float64(1500.0))
    assert shared.total[0] == pytest.approx(single)
    assert apart.total[0] == pytest.approx(2 * single)
    assert shared.rod[:, 0] == pytest.approx(np.array([single, single]))


SUSTAINED = """
[[load]]
name = "preload"
kind = "sustained"
size = "{size}"
"""


def test_a_sustained_pull_takes_from_the_room_for_pulls_and_gives_to_pushes(make):
    scenario = make((("pull", "900 N"), ("push", "900 N")), more=SUSTAINED.format(size="300 N"))
    key = next(one.size.key for one in scenario.loads if one.kind == "sustained")
    values = factors({key: np.full((1, 1), 300.0)})
    strong = np.full((1, 1, 1), 1e9)
    limited = np.full((1, 1, 1), 1500.0)
    one = scenario.loads[-1]
    pulled = hazard(scenario, values, limited, strong, {}).total[0]
    pushed = hazard(scenario, values, strong, limited, {}).total[0]
    assert pulled == pytest.approx(exceed_rate(one, np.float64(1200.0)), rel=1e-6)
    assert pushed == pytest.approx(exceed_rate(one, np.float64(1800.0)), rel=1e-6)
    assert np.isinf(hazard(scenario, values, np.full((1, 1, 1), 299.0), strong, {}).total[0])


def test_pushes_are_asked_only_where_a_load_can_push(make):
    assert not pushes(make((("pull", "900 N"),)))
    assert pushes(make((("both", "900 N"),)))
    assert pushes(make((("pull", "900 N"),), more=SUSTAINED.format(size="-300 N")))
    assert not pushes(make((("pull", "900 N"),), more=SUSTAINED.format(size="300 N")))
