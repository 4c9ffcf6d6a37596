from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gumbel_r

from jointrisk.model import loads
from jointrisk.model.draws import Change
from jointrisk.model.loads import (
    Hazard,
    exceed_rate,
    pushes,
    room_for,
    sustained_sum,
    typical_size,
)
from jointrisk.scenario.types import Load, Variable
from jointrisk.spread import Fixed, Gumbel, MaximumOf, MaximumOfEvents, Normal, Uniform


def hazard(scenario, values, pull, push, changes):
    """Return the rates of a life in one slice: (n,), (rods, n) and (modes, n)."""
    found = loads.hazard(scenario, values, [(pull, push)], (), changes)
    alone = loads.failure_rate(scenario, values, [(pull, push)], (), changes)
    np.testing.assert_allclose(alone, found.total, rtol=1e-12)
    return Hazard(found.total[0], found.rod[0], found.mode[0])


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


# --- against lives lived one by one --------------------------------------------------------

YEARS, LIVES = 4, 40_000
MEAN, SD = 500.0, 250.0
PULL = np.array([[1300.0, 1250.0, 1400.0], [1200.0, 1500.0, 1600.0]])  # two modes, three rods
PUSH = np.array([[1100.0, 1450.0, 1300.0], [1350.0, 1250.0, 1700.0]])


def named(kind, number, direction="pull", scope="all", rate=0.0, spread=None):
    """Return a load of its own name, Gumbel where no spread is given."""
    spread = spread or Gumbel(MEAN, SD)
    key = f"load.{number}.size"
    size = Variable(key, "x", spread, "N", scope, "scatter", "scenario", "", "given")
    return Load(str(number), kind, direction, size, scope, rate)


BETA = SD * np.sqrt(6) / np.pi
SIZES = gumbel_r(loc=MEAN - np.euler_gamma * BETA, scale=BETA)


def largest_of_life(load, rng):
    """Simulate the largest size in each life, (1 or rods, lives), none where nothing happened."""
    copies = 1 if load.scope == "all" else PULL.shape[1]
    largest = np.full(copies * LIVES, -np.inf)
    if load.kind == "event":
        counts = rng.poisson(load.rate * YEARS, copies * LIVES)
    else:
        counts = np.full(copies * LIVES, YEARS)
    whose = np.repeat(np.arange(copies * LIVES), counts)
    np.maximum.at(largest, whose, SIZES.rvs(counts.sum(), random_state=rng))
    return largest.reshape(copies, LIVES)


def lived(loads, steady, factor, rng):
    """Return which lives end in failure of any rod, of each rod and by each mode."""
    failed = np.zeros((*PULL.shape, LIVES), dtype=bool)
    for load in loads:
        size = factor * largest_of_life(load, rng)
        if load.direction in ("pull", "both"):
            failed |= steady + size > PULL[..., None]
        if load.direction in ("push", "both"):
            failed |= size - steady > PUSH[..., None]
    return failed.any(axis=(0, 1)), failed.any(axis=0), failed.any(axis=1)


def rates(make, loads, steady=0.0, factor=1.0, **how):
    """Return the hazard of `PULL` and `PUSH` under loads and one steady force."""
    preload = named("sustained", "steady", spread=Fixed(steady))
    scenario = replace(make(), loads=(*loads, preload))
    values = {
        "load.steady.size": np.full((1, 1), steady / factor),
        "model.load_factor": np.full((1, 1), factor),
    }
    return hazard(scenario, values, PULL[..., None], PUSH[..., None], how.get("changes", {}))


CASES = {
    "yearly pull": [("annual_maximum", "pull", "all", 0.0)],
    "yearly push of each rod": [("annual_maximum", "push", "rod", 0.0)],
    "yearly, either way": [("annual_maximum", "both", "all", 0.0)],
    "rare event": [("event", "pull", "all", 0.2)],
    "frequent event of each rod": [("event", "both", "rod", 3.0)],
    "three loads": [
        ("annual_maximum", "pull", "all", 0.0),
        ("event", "push", "rod", 0.5),
        ("event", "both", "all", 1.0),
    ],
}


@pytest.mark.parametrize(("steady", "factor"), [(0.0, 1.0), (150.0, 1.0), (-200.0, 1.1)])
@pytest.mark.parametrize("case", CASES)
def test_rates_are_those_of_lives_lived_one_by_one(make, case, steady, factor):
    loads = [
        named(kind, number, direction, scope, rate)
        for number, (kind, direction, scope, rate) in enumerate(CASES[case])
    ]
    found = rates(make, loads, steady, factor)
    rng = np.random.default_rng([len(case), int(abs(steady))])
    any_rod, by_rod, by_mode = lived(loads, steady, factor, rng)

    def check(rate, failed):
        chance = -np.expm1(-YEARS * rate)
        error = np.sqrt(chance * (1 - chance) / LIVES)
        assert abs(failed.mean() - chance) < 4.5 * error, (chance, failed.mean())
        assert 3 * error < chance  # there is something to see

    check(found.total[0], any_rod)
    for rod in range(3):
        check(found.rod[rod, 0], by_rod[rod])
    for mode in range(2):
        check(found.mode[mode, 0], by_mode[mode])


# --- against the distribution functions ----------------------------------------------------


def test_independent_loads_multiply_what_each_leaves(make):
    """F(x)^T of yearly maxima times exp(-n (1 - F(x))) of events, at each one's room."""
    loads = [named("annual_maximum", 0), named("event", 1, "push", rate=2.0)]
    found = rates(make, loads, steady=100.0)
    pulled = SIZES.cdf(PULL.min() - 100.0) ** YEARS
    pushed = np.exp(-2.0 * YEARS * SIZES.sf(PUSH.min() + 100.0))
    assert np.exp(-YEARS * found.total[0]) == pytest.approx(pulled * pushed, rel=1e-9)


def test_a_rate_of_the_set_lies_between_its_worst_rod_and_the_sum(make):
    for scope in ("all", "rod"):
        loads = [named("annual_maximum", 0, "both", scope), named("event", 1, "pull", scope, 0.7)]
        found = rates(make, loads)
        assert found.rod.max() <= found.total[0] * (1 + 1e-12)
        assert found.total[0] <= found.rod.sum() * (1 + 1e-12)
        assert found.mode.max() <= found.total[0] * (1 + 1e-12)
        assert found.total[0] <= found.mode.sum() * (1 + 1e-12)


def test_no_load_never_fails_a_rod(make):
    found = rates(make, [], steady=0.0)
    assert [found.total.max(), found.rod.max(), found.mode.max()] == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("steady", "modes", "rods"),
    [
        (1210.0, [False, True], [True, False, False]),
        (1260.0, [True, True], [True, True, False]),
        (-1110.0, [True, False], [True, False, False]),
        (-1260.0, [True, True], [True, True, False]),
        (1190.0, [False, False], [False, False, False]),
        (-1090.0, [False, False], [False, False, False]),
    ],
)
def test_where_a_sustained_load_alone_is_too_much_failure_is_certain(make, steady, modes, rods):
    found = rates(make, [], steady=steady)
    assert np.isinf(found.mode[:, 0]).tolist() == modes
    assert np.isinf(found.rod[:, 0]).tolist() == rods
    assert np.isinf(found.total[0]) == any(rods)
    with_load = rates(make, [named("event", 0, "both", rate=0.1)], steady=steady)
    assert np.isinf(with_load.total[0]) == any(rods)


def test_sustained_loads_add_up_with_their_signs_and_factor(make):
    loads = tuple(named("sustained", name, spread=Fixed(0.0)) for name in ("a", "b"))
    scenario = replace(make(), loads=(*loads, named("annual_maximum", 0)))
    values = {
        "load.a.size": np.array([[300.0, 100.0]]),
        "load.b.size": np.array([[-120.0, -400.0]]),
        "model.load_factor": np.full((1, 1), 1.5),
    }
    assert sustained_sum(scenario, values).tolist() == [[270.0, -450.0]]
    assert sustained_sum(replace(scenario, loads=()), values).tolist() == [[0.0]]


def test_a_sustained_load_of_each_rod_acts_on_that_rod(make):
    """A load factor and one steady force for each rod, (rods, n)."""
    preload = named("sustained", "steady", spread=Fixed(0.0), scope="rod")
    one = named("annual_maximum", 0)
    values = {
        "load.steady.size": np.array([[0.0], [200.0], [1500.0]]),
        "model.load_factor": np.ones((1, 1)),
    }
    found = hazard(replace(make(), loads=(one, preload)), values, PULL[..., None], None, {})
    for rod, room in ((0, 1200.0), (1, 1050.0)):
        assert found.rod[rod, 0] == pytest.approx(exceed_rate(one, np.float64(room)), rel=1e-12)
    assert np.isinf(found.rod[2, 0])


def test_a_load_factor_acts_as_a_load_so_much_larger(make):
    larger = rates(make, [named("annual_maximum", 0)], factor=1.25)
    spread = Gumbel(1.25 * MEAN, 1.25 * SD)
    plain = rates(make, [named("annual_maximum", 0, spread=spread)])
    np.testing.assert_allclose(larger.total, plain.total, rtol=1e-9)
    np.testing.assert_allclose(larger.mode, plain.mode, rtol=1e-9)


@pytest.mark.parametrize("kind", ["annual_maximum", "event"])
@pytest.mark.parametrize("change", [Change(0.5, 0.0), Change(1.0, 200.0), Change(1.4, -50.0)])
def test_a_changed_load_is_a_load_of_the_changed_spread(make, kind, change):
    one = named(kind, 0, "both", rate=0.8)
    spread = Gumbel(MEAN + change.shift, SD * change.squeeze)
    changed = rates(make, [one], steady=50.0, changes={one.size.key: change})
    plain = rates(make, [named(kind, 0, "both", rate=0.8, spread=spread)], steady=50.0)
    np.testing.assert_allclose(changed.total, plain.total, rtol=1e-9)
    np.testing.assert_allclose(changed.rod, plain.rod, rtol=1e-9)
    other = rates(make, [one], steady=50.0, changes={"load.9.size": change})
    assert other.total[0] == rates(make, [one], steady=50.0).total[0]


def test_a_load_squeezed_to_one_number_acts_at_that_number(make):
    one = named("annual_maximum", 0, spread=Normal(MEAN, SD))
    changes = {one.size.key: Change(squeeze=0.0, shift=650.0)}
    assert rates(make, [one], changes=changes).total[0] == 0.0
    changes = {one.size.key: Change(squeeze=0.0, shift=710.0)}
    assert np.isinf(rates(make, [one], changes=changes).total[0])


def test_room_is_what_the_steady_force_leaves_in_the_direction_asked():
    pull, push = np.full((1, 1, 1), 1000.0), np.full((1, 1, 1), 700.0)
    steady = np.full((1, 1), 200.0)
    asked = {way: named("event", 0, way, rate=1.0) for way in ("pull", "push", "both")}
    assert room_for(asked["pull"], pull, push, steady).item() == 800.0
    assert room_for(asked["push"], pull, push, steady).item() == 900.0
    assert room_for(asked["both"], pull, push, steady).item() == 800.0
    assert room_for(asked["both"], pull, push, -steady).item() == 500.0
    assert room_for(asked["both"], pull, None, -steady).item() == 1200.0


@given(st.floats(0.05, 30.0), st.floats(200.0, 3000.0), st.floats(0.1, 500.0))
def test_more_room_never_raises_the_rate(rate, size, more):
    for one in (named("annual_maximum", 0), named("event", 0, rate=rate)):
        near, far = exceed_rate(one, np.array([size, size + more]))
        assert 0.0 <= far <= near


def test_an_event_comes_no_oftener_than_it_happens():
    one = named("event", 0, rate=0.3)
    assert exceed_rate(one, np.array([0.0])).item() == pytest.approx(0.3, rel=1e-3)
    assert np.isinf(exceed_rate(one, np.array([-1.0]))).all()


def test_the_typical_size_of_an_event_that_seldom_comes_is_its_least():
    """Half the lives see none: no size is exceeded so often."""
    one = named("event", 0, rate=0.01, spread=Uniform(200.0, 300.0))
    assert typical_size(one, 5.0) == 200.0
