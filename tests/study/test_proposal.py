"""Where the draws go: points of the known design point, shares by what a pilot brought."""

import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from jointrisk.model import rod_set
from jointrisk.scenario.types import second_of
from jointrisk.spread import Fixed, Gumbel, Lognormal, Normal, Uniform
from jointrisk.study import proposal as room
from jointrisk.study.proposal import Plan, first_plan, refined_plan
from jointrisk.study.sample import weighted_sample

RACER = Path(__file__).parents[2] / "scenarios" / "gravity-racer-drag-link.toml"
PUSHED = """
[ageing]
steady_share = { mean = 0.3, cov = 0.2 }

[backup]
kind = "cross pin"
diameter = "3 mm"
shear_strength = { mean = "300 MPa", cov = 0.05 }
end_distance = { mean = "10 mm", sd = "0.3 mm" }

[[load]]
name = "kerb"
kind = "annual_maximum"
direction = "push"
size = { mean = "600 N", cov = 0.3 }

[[load]]
name = "spring"
kind = "sustained"
size = { mean = "200 N", cov = 0.1 }
"""
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.2)}
SOUND, WEAK, MEMBER = room.SOUND_LEVELS, room.WEAK_LEVELS, room.MEMBER_LEVELS


@pytest.fixture
def jerk(oracles):
    return oracles.load(Gumbel(2800.0, 560.0))


def plan_of(scenario):
    full, single = rod_set(scenario), rod_set(scenario, rods=1)
    return full, first_plan(single, full)


def lengths(directions):
    return np.sort(np.linalg.norm(directions, axis=1))


def test_one_joint_at_a_time_and_downhill(oracles, jerk):
    """The glue of either end alone decides: points on its axis, weaker, at the distances asked."""
    full, plan = plan_of(oracles.plain(GLUE, [jerk]))
    directions = plan.proposal.directions[1:]
    assert directions.shape == (2 * len(SOUND), 2)
    assert np.all(directions <= 0.0)
    assert np.all((directions != 0.0).sum(axis=1) == 1)
    for column in range(2):
        along = -directions[directions[:, column] != 0.0, column]
        assert np.sort(along) == pytest.approx(SOUND)
    assert full.layout.dimension == 2


def test_the_point_of_lowest_margin_of_two_spreads_is_the_closed_one(oracles):
    """ln R = ln a + ln b: the point lies along (sa, sb) of the logs, in proportion."""
    spreads = {
        "model.bond_factor": Lognormal(1.0, 0.2),
        "batch.bond_factor": Lognormal(1.0, 0.1),
    }
    full, plan = plan_of(oracles.plain(spreads, [oracles.load(Gumbel(2800.0, 560.0))]))
    s = {key: math.sqrt(math.log1p(cov**2)) for key, cov in zip(spreads, (0.2, 0.1), strict=True)}
    unit = np.zeros(2)
    for key, slope in s.items():
        unit[full.layout.columns[key]] = -slope
    unit /= np.linalg.norm(unit)
    directions = plan.proposal.directions[1:]
    assert lengths(directions) == pytest.approx(SOUND)
    assert directions @ unit == pytest.approx(np.linalg.norm(directions, axis=1), rel=1e-4)


def test_a_load_factor_that_is_not_known_is_moved_up(oracles, jerk):
    full, plan = plan_of(oracles.plain({"model.load_factor": Lognormal(1.0, 0.2)}, [jerk]))
    (column,) = range(*full.layout.columns["model.load_factor"].indices(10))
    assert np.sort(plan.proposal.directions[1:, column]) == pytest.approx(SOUND)


@pytest.mark.parametrize("rods", [1, 2, 5])
def test_every_joint_of_the_set_is_looked_at_alike(oracles, jerk, rods):
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01}
    full, plan = plan_of(oracles.plain(spreads, [jerk], rods=rods))
    assert full.layout.dimension == 2 * rods
    shift = np.abs(plan.proposal.directions)
    assert np.ptp(shift.sum(axis=0)) < 1e-9
    forced = (plan.proposal.forced == 1.0).sum(axis=0)
    assert np.ptp(forced) == 0 < forced.min()
    per_pattern = Counter(plan.pattern.tolist())
    assert per_pattern.pop(0) == 1
    assert set(per_pattern.values()) == {2 * rods}


def test_the_guard_is_the_plain_density_and_shares_are_even_beside_it(oracles, jerk):
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01}
    _, plan = plan_of(oracles.plain(spreads, [jerk], rods=2))
    shares, pattern = plan.proposal.shares, plan.pattern
    assert shares.sum() == pytest.approx(1.0)
    assert shares[0] == pytest.approx(room.GUARD_SHARE) == plan.proposal.guard_share
    assert not plan.proposal.directions[0].any()
    assert np.isnan(plan.proposal.forced[0]).all()
    by_pattern = np.bincount(pattern, shares)[1:]
    assert by_pattern == pytest.approx(np.full(len(SOUND) + len(WEAK), 0.8 / by_pattern.size))


def test_weak_joints_are_forced_and_searched_from_the_middle_on(oracles, jerk):
    """Weak at distance 0 too: a weak joint of middling glue fails often enough."""
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01}
    _, plan = plan_of(oracles.plain(spreads, [jerk]))
    forced = plan.proposal.forced
    weak = (forced == 1.0).any(axis=1)
    assert np.all(np.isnan(forced) | (forced == 1.0))
    assert np.all((forced[weak] == 1.0).sum(axis=1) == 1)
    assert lengths(plan.proposal.directions[weak]) == pytest.approx(np.repeat(WEAK, 2))
    assert lengths(plan.proposal.directions[~weak][1:]) == pytest.approx(np.repeat(SOUND, 2))


def test_a_weak_joint_is_moved_at_its_own_end(oracles, jerk):
    full, plan = plan_of(oracles.plain(GLUE | {"weak_bonds.lone_weight": 0.01}, [jerk], rods=3))
    first = full.layout.weak_joint_labels.start
    for direction, forced in zip(plan.proposal.directions, plan.proposal.forced, strict=True):
        moved = np.flatnonzero(direction)
        joints = np.flatnonzero(forced == 1.0) - first
        if joints.size and moved.size:
            assert moved.tolist() == joints.tolist()


def test_a_bad_batch_is_forced_as_a_whole_its_joints_left_to_chance(oracles, jerk):
    spreads = GLUE | {"weak_bonds.bad_batch_weight": 0.01}
    full, plan = plan_of(oracles.plain(spreads, [jerk], rods=4, rods_per_batch=2))
    bad = full.layout.bad_batch_labels
    assert (bad.start, bad.stop) == (0, 2)
    forced = plan.proposal.forced == 1.0
    for batch in range(2):
        rows = forced[:, batch]
        assert rows.any()
        assert not forced[rows][:, bad.stop :].any()
    assert np.all(forced.sum(axis=1) <= 1)


def test_an_unknown_chance_of_weakness_is_tilted_by_its_log_slope(oracles):
    """Weight uniform: at the middle d ln q / du = (b - a) phi(0) / q."""
    low, high = 0.01, 0.05
    spreads = GLUE | {"weak_bonds.lone_weight": Uniform(low, high)}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(1500.0, 300.0))])
    full, plan = plan_of(scenario)
    column = full.layout.columns["weak_bonds.lone_weight"].start
    slope = (high - low) / math.sqrt(2.0 * math.pi) / (0.5 * (low + high))
    weak = (plan.proposal.forced == 1.0).any(axis=1)
    assert plan.proposal.directions[weak, column] == pytest.approx(
        np.full(weak.sum(), slope), rel=1e-3
    )
    assert not plan.proposal.directions[~weak, column].any()


def test_members_are_searched_where_a_load_could_find_them(oracles, jerk):
    """A tube ten times as strong is out of reach of any load; one twice the load is not."""
    counts = []
    for strength in (100.0, 2000.0):
        spreads = GLUE | {"tube.tension_strength": Lognormal(strength, 0.05 * strength)}
        full, plan = plan_of(oracles.plain(spreads, [jerk]))
        column = full.layout.columns["tube.tension_strength"].start
        moved = plan.proposal.directions[:, column]
        counts.append(np.count_nonzero(moved))
        if moved.any():
            assert np.sort(-moved[moved != 0.0]) == pytest.approx(MEMBER)
    assert counts == [len(MEMBER), 0]


def test_a_strut_is_searched_only_where_something_pushes(oracles):
    spreads = {"tube.modulus": Lognormal(70_000.0, 7000.0), "rods.length": 700.0}
    found = {}
    for direction in ("pull", "push", "both"):
        load = oracles.load(Gumbel(900.0, 180.0), direction=direction)
        _, plan = plan_of(oracles.plain(spreads, [load]))
        found[direction] = plan.proposal.directions.shape[0] - 1
    assert found == {"pull": 0, "push": len(MEMBER), "both": len(MEMBER)}


def two_overlaps(oracles, first, second, loads, **more):
    """Return a rod whose ends have overlaps of their own, (mean, sd) each [mm]."""
    key = "plug.overlap"
    scenario = oracles.plain({key: Normal(*first)}, loads, **more)
    one = scenario.variables[key]
    other = replace(one, key=second_of(key), spread=Normal(*second))
    return replace(scenario, variables=dict(scenario.variables) | {other.key: other})


def test_ends_that_differ_are_each_searched_at_their_own(oracles, jerk):
    """Two ends alike but said apart: half the points move each end, none both."""
    scenario = two_overlaps(oracles, (20.0, 0.5), (20.0, 0.5), [jerk], rods=2)
    full, plan = plan_of(scenario)
    for name in ("plug.overlap", "second_plug.overlap"):
        columns = full.layout.columns[name]
        assert columns.stop - columns.start == 2
        moved = plan.proposal.directions[:, columns]
        assert np.sort(-moved[moved != 0.0]) == pytest.approx(np.repeat(SOUND, 2))
    assert np.all((plan.proposal.directions != 0.0).sum(axis=1) <= 1)


@pytest.mark.parametrize("swap", [False, True])
def test_ends_that_differ_fail_each_by_its_own_law(oracles, swap):
    ends = [(20.0, 1.0), (19.0, 1.5)]
    scenario = two_overlaps(oracles, *(ends[::-1] if swap else ends), [rare_load(oracles, 3500.0)])
    exact = of_two_ends(oracles, ends, 3500.0)
    found = oracles.chance_of(weighted_sample(scenario, 1, target_cov=0.01))
    assert oracles.agrees(*found, exact, within=5.0, closest=0.1)


def rare_load(oracles, mean):
    return oracles.load(Gumbel(mean, 0.1 * mean))


def of_two_ends(oracles, ends, mean):
    """Failure probability by quadrature over the weaker of two ends of normal overlap."""
    each = oracles.BOND / 20.0
    first, second = (stats.norm(m * each, s * each) for m, s in ends)
    grid = oracles.on_grid(
        lambda x: first.cdf(x) + first.sf(x) * second.cdf(x), 50.0, 40_000.0, 200_001
    )
    return oracles.fail_chance(*grid, oracles.log_kept_yearly(oracles.gumbel(mean, 0.1)))


# A least of several limits has the slope of the one that governs in the middle: one that is
# stronger there but scatters more makes the failures and has to be searched on its own.


@pytest.mark.parametrize("swap", [False, True])
def test_the_end_that_scatters_more_is_found_behind_the_weaker_one(oracles, swap):
    """20 mm, sd 3 beside 17 mm, sd 0.2: nearly all failures are the first one's, 9e-7."""
    ends = [(20.0, 3.0), (17.0, 0.2)]
    exact = of_two_ends(oracles, ends, 2000.0)
    assert exact == pytest.approx(9.3e-7, rel=0.02)
    scenario = two_overlaps(oracles, *(ends[::-1] if swap else ends), [rare_load(oracles, 2000.0)])
    found = oracles.chance_of(weighted_sample(scenario, 2))
    assert oracles.agrees(*found, exact, closest=0.2)


def test_a_wall_that_scatters_more_is_found_behind_the_bond(oracles):
    """Wall of 14 MPa, CoV 0.25, a rod, beside a bond of 10 MPa, CoV 0.02, a joint."""
    base = oracles.plain(
        {"adhesive.shear_strength": Lognormal(10.0, 0.2)},
        [rare_load(oracles, 2500.0)],
        tube_is_composite=True,
        wall_strength_by_temperature=((23.0, 1.0),),
    )
    own = {
        "tube.interlaminar_strength": Lognormal(14.0, 3.5),
        "tube.interlaminar_toughness": Fixed(1000.0),
    }
    modulus = base.variables["tube.modulus"]
    added = {key: replace(modulus, key=key, spread=spread) for key, spread in own.items()}
    wall, bond = oracles.lognormal(1.4 * oracles.BOND, 0.25), oracles.lognormal(oracles.BOND, 0.02)
    least = oracles.weakest(bond.cdf, 2)
    grid = oracles.on_grid(lambda x: wall.cdf(x) + wall.sf(x) * least(x), 50.0, 40_000.0, 200_001)
    exact = oracles.fail_chance(*grid, oracles.log_kept_yearly(oracles.gumbel(2500.0, 0.1)))
    assert exact == pytest.approx(1.5e-7, rel=0.02)
    scenario = replace(base, variables=dict(base.variables) | added)
    found = oracles.chance_of(weighted_sample(scenario, 2))
    assert oracles.agrees(*found, exact, closest=0.2)


def test_with_nothing_to_move_the_guard_draws_all(oracles, jerk):
    _, plan = plan_of(oracles.plain({}, [jerk]))
    assert plan.proposal.shares == pytest.approx([1.0])
    assert plan.pattern.tolist() == [0]


def test_without_loads_the_search_goes_to_low_strength_all_the_same(oracles):
    _, plan = plan_of(oracles.plain(GLUE))
    assert lengths(plan.proposal.directions[1:]) == pytest.approx(np.repeat(SOUND, 2))
    assert np.all(plan.proposal.directions <= 0.0)


# Shares after a pilot ---------------------------------------------------------------------------


@pytest.fixture
def plan(oracles, jerk):
    return plan_of(oracles.plain(GLUE, [jerk], rods=2))[1]


def test_patterns_are_given_shares_by_what_they_brought(plan):
    """A quarter even, three quarters by what came, all beside the guard."""
    patterns = int(plan.pattern.max())
    assert patterns == len(SOUND)
    brought = {1: 3.0, 2: 1.0}
    component = np.array([int(np.flatnonzero(plan.pattern == p)[0]) for p in brought])
    refined = refined_plan(plan, component, np.array(list(brought.values())))
    found = np.bincount(refined.pattern, refined.proposal.shares)
    assert found[0] == pytest.approx(room.GUARD_SHARE)
    for number in range(1, patterns + 1):
        exact = 0.25 / patterns + 0.75 * brought.get(number, 0.0) / 4.0
        assert found[number] == pytest.approx(0.8 * exact)
    inside = refined.proposal.shares[refined.pattern == 1]
    assert np.ptp(inside) < 1e-12
    assert np.array_equal(refined.proposal.directions, plan.proposal.directions)


def test_what_the_guard_brought_gives_no_pattern_more(plan):
    terms = np.array([5.0, 1.0])
    both = refined_plan(plan, np.array([0, 1]), terms)
    alone = refined_plan(plan, np.array([1]), terms[1:])
    assert both.proposal.shares == pytest.approx(alone.proposal.shares)


def test_a_pilot_that_brought_nothing_changes_nothing(plan):
    assert refined_plan(plan, np.array([1, 2]), np.zeros(2)) is plan
    assert refined_plan(plan, np.array([0]), np.ones(1)) is plan


def test_a_plan_of_the_guard_alone_stays(oracles, jerk):
    alone = plan_of(oracles.plain({}, [jerk]))[1]
    assert refined_plan(alone, np.zeros(4, dtype=np.intp), np.ones(4)) is alone


def test_draws_go_where_failure_is(oracles, jerk):
    """The middling chance of failure of a draw, against that under the plain density."""
    sample = weighted_sample(oracles.plain(GLUE, [jerk]), 1)
    assert sample.fails.mean() > 30.0 * (sample.weight * sample.fails).mean()
    assert isinstance(sample.plan, Plan)


def test_spread_values_of_no_spread_have_no_column(oracles, jerk):
    full, _ = plan_of(oracles.plain(GLUE | {"plug.overlap": Fixed(18.0)}, [jerk]))
    assert set(full.layout.columns) == {"adhesive.shear_strength"}


def test_a_push_on_a_shoulder_beside_a_back_up_and_a_steady_load_is_searched():
    """The shoulder bears the push and the pin is not asked: no room is looked for behind it."""
    import jointrisk

    text = RACER.read_text(encoding="utf-8")
    text = text.replace('length = "465 mm"', 'length = "465 mm"\nshoulder = true')
    text = text[: text.index("[[load]]")] + text[text.index("[[pull]]") :]
    text += PUSHED
    scenario = jointrisk.load_text(text)
    assert scenario.steady_fails
    assert scenario.backup
    assert scenario.shoulder
    _, plan = plan_of(scenario)
    assert np.all(np.isfinite(plan.proposal.directions))
