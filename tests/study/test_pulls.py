"""What a pull refuses and leaves, and the verdict on it, against quadrature."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

import jointrisk
from jointrisk.spread import Gumbel, Lognormal, Normal, Uniform
from jointrisk.study import pulls
from jointrisk.study.assessment import PULL_COV
from jointrisk.study.bench import bench_of, pull, share_hurt
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
WEAK = GLUE | {"weak_bonds.lone_weight": 0.01}
MEAN, LOAD_COV = 2300.0, 0.2
SHARP = 0.01


@pytest.fixture
def jerk(oracles):
    return oracles.load(Gumbel(MEAN, LOAD_COV * MEAN))


def kept(oracles, mean=MEAN, years=4.0):
    return oracles.log_kept_yearly(oracles.gumbel(mean, LOAD_COV), years)


def rod_law(oracles, weak=0.0, points=8001):
    joint = oracles.mixed(oracles.lognormal(oracles.BOND, COV).cdf, weak, 0.3)
    return oracles.on_grid(oracles.weakest(joint, 2), 200.0, 40_000.0, points)


# Worth of one pull ------------------------------------------------------------------------------


@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.05, 0.0), (0.0, 0.05), (0.08, 0.04)])
@pytest.mark.parametrize("pull", [3000.0, 5500.0, 7500.0])
def test_what_a_pull_refuses_and_leaves(oracles, jerk, rig, pull):
    """One pull feels both joints; own error and bias of the gauge by quadrature."""
    sample = weighted_sample(oracles.plain(WEAK, [jerk], rig=rig), 1, target_cov=SHARP)
    found = pulls.pull_worth(bench_of(sample), "now", pull, None)
    after, refused = oracles.after_pull(
        *rod_law(oracles, 0.01), pull, kept(oracles), error=rig[0], bias_sd=rig[1]
    )
    assert found.reject_fraction == pytest.approx(refused, rel=0.08)
    assert found.fail_after == pytest.approx(after, rel=0.08)
    assert (found.label, found.load_newton, found.needed_newton) == ("now", pull, None)


@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.06, 0.05)])
@pytest.mark.parametrize("rods", [2, 4])
def test_a_set_passes_when_every_rod_has_held(oracles, jerk, rig, rods):
    """Own error to each pull, bias and load shared by all rods."""
    scenario = oracles.plain(WEAK, [jerk], rig=rig, rods=rods)
    sample = weighted_sample(scenario, 2, target_cov=0.02)
    found = pulls.pull_worth(bench_of(sample), "", 5000.0, None)
    after, refused = oracles.after_pull(
        *rod_law(oracles, 0.01), 5000.0, kept(oracles), error=rig[0], bias_sd=rig[1], rods=rods
    )
    assert found.fail_after == pytest.approx(after, rel=0.12)
    assert found.reject_fraction == pytest.approx(refused, rel=0.12)


@pytest.mark.parametrize("pull", [1500.0, 2400.0, 3500.0])
def test_share_of_weak_rods_that_a_pull_catches(oracles, jerk, pull):
    """A weak rod has one weak end or two: least of the two, given at least one."""
    q, law = 0.05, oracles.lognormal(oracles.BOND, COV).cdf
    spreads = GLUE | {"weak_bonds.lone_weight": q}
    sample = weighted_sample(oracles.plain(spreads, [jerk], rods=2), 3, target_cov=SHARP)
    found = pulls.pull_worth(bench_of(sample), "", pull, None)
    weak = law(np.array([pull / 0.3]))[0]
    sound = law(np.array([pull]))[0]
    holds = 2.0 * q * (1.0 - q) * (1.0 - weak) * (1.0 - sound) + q**2 * (1.0 - weak) ** 2
    exact = 1.0 - holds / (1.0 - (1.0 - q) ** 2)
    assert found.weak_caught_fraction == pytest.approx(exact, abs=0.03)


def test_without_weak_joints_no_share_of_them_is_told(oracles, jerk):
    sample = weighted_sample(oracles.plain(GLUE, [jerk]), 1)
    assert pulls.pull_worth(bench_of(sample), "", 4000.0, None).weak_caught_fraction is None


def test_without_loads_nothing_is_said_of_failures(oracles):
    sample = weighted_sample(oracles.plain(WEAK), 1)
    found = pulls.pull_worth(bench_of(sample), "", 7000.0, None)
    assert found.fail_after is None
    _, refused = oracles.after_pull(
        *rod_law(oracles, 0.01), 7000.0, kept(oracles), error=0.0, bias_sd=0.0
    )
    assert found.reject_fraction == pytest.approx(refused, rel=0.1)


def test_eleven_that_held_speak_for_the_twelfth(oracles):
    """A bad batch makes every joint weak; a set that held is hardly ever of a bad batch.

    Bayes by hand: all joints are certainly weak in a bad batch and never else.
    """
    bad, pull = 0.05, 2300.0
    spreads = GLUE | {
        "weak_bonds.bad_batch_weight": bad,
        "weak_bonds.share_in_bad_batch": 1.0,
    }
    jerk = oracles.load(Gumbel(1500.0, 300.0))
    scenario = oracles.plain(spreads, [jerk], rods=3, rods_per_batch=3)
    sample = weighted_sample(scenario, 4, target_cov=SHARP)
    found = pulls.pull_worth(bench_of(sample), "", pull, None)
    law, load = oracles.lognormal(oracles.BOND, COV).cdf, kept(oracles, 1500.0)
    failed = held = refused = 0.0
    for share, cdf in ((bad, lambda x: law(x / 0.3)), (1.0 - bad, law)):
        grid = oracles.on_grid(oracles.weakest(cdf, 2), 200.0, 40_000.0, 8001)
        holds = float(grid[1][grid[0] >= pull].sum()) ** 3
        after, gone = oracles.after_pull(*grid, pull, load, error=0.0, bias_sd=0.0, rods=3)
        failed, held, refused = (
            failed + share * holds * after,
            held + share * holds,
            refused + share * gone,
        )
    assert found.reject_fraction == pytest.approx(refused, rel=0.05)
    assert found.weak_caught_fraction == pytest.approx(refused / bad, abs=0.03)
    assert found.fail_after == pytest.approx(failed / held, rel=0.15)
    alone = oracles.plain(spreads, [jerk], rods=1)
    single = pulls.pull_worth(bench_of(weighted_sample(alone, 4, target_cov=SHARP)), "", pull, None)
    assert found.fail_after < 0.7 * single.fail_after


def test_a_harder_pull_refuses_more_and_more_of_the_weak_than_of_all(oracles, jerk):
    sample = weighted_sample(oracles.plain(WEAK, [jerk], rig=(0.05, 0.05)), 1)
    bench = bench_of(sample)
    found = [pulls.pull_worth(bench, "", pull, None) for pull in (500, 1500, 2500, 4500, 8000)]
    refused = [worth.reject_fraction for worth in found]
    assert refused == sorted(set(refused))
    caught = [worth.weak_caught_fraction for worth in found]
    assert caught == sorted(caught)
    assert all(c >= r for c, r in zip(caught, refused, strict=True))
    after = [worth.fail_after for worth in found]
    assert after == sorted(after, reverse=True)


def test_refusals_do_not_hang_on_the_loads_of_service(oracles):
    """The same pull on the same rods, asked about under two loads: within their errors."""
    found = []
    for mean in (1500.0, 3000.0):
        loads = [oracles.load(Gumbel(mean, 0.2 * mean))]
        sample = weighted_sample(oracles.plain(WEAK, loads), 5, target_cov=SHARP)
        found.append(pulls.pull_worth(bench_of(sample), "", 7000.0, None).reject_fraction)
    assert found[0] == pytest.approx(found[1], rel=0.1)


def test_a_pull_that_nothing_holds_leaves_nothing_to_speak_of(oracles, jerk):
    sample = weighted_sample(oracles.plain(GLUE, [jerk]), 1)
    found = pulls.pull_worth(bench_of(sample), "", 100.0 * oracles.BOND, None)
    assert found.reject_fraction == pytest.approx(1.0)
    assert found.fail_after is None


# Limits of a pull -------------------------------------------------------------------------------


@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.08, 0.05)])
@pytest.mark.parametrize("share", [0.02, 0.1, 0.4])
def test_the_load_that_breaks_a_share_of_all_rods(oracles, jerk, rig, share):
    sample = weighted_sample(oracles.plain(WEAK, [jerk], rig=rig), 1, target_cov=SHARP)
    found = pulls.load_refusing(bench_of(sample), share)
    _, refused = oracles.after_pull(
        *rod_law(oracles, 0.01), found, kept(oracles), error=rig[0], bias_sd=rig[1]
    )
    assert refused == pytest.approx(share, rel=0.08)


def test_the_lowest_limit_stands_first_and_is_named(oracles, jerk):
    for highest, first in ((900.0, "rig"), (50_000.0, "willing to break, 4 %")):
        scenario = oracles.plain(WEAK, [jerk], highest=highest, max_reject=0.04)
        sample = weighted_sample(scenario, 1)
        limits = pulls.pull_limits(bench_of(sample))
        assert first in limits[0][0]
        assert [load for _, load in limits] == sorted(load for _, load in limits)
        assert dict(limits)["the largest load of the rig"] == highest
    names = dict(pulls.pull_limits(bench_of(weighted_sample(oracles.plain(WEAK, [jerk]), 1))))
    assert not any("rig" in name for name in names)


@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.05, 0.0)])
def test_a_part_that_is_not_glued_limits_the_pull_where_one_in_a_hundred_breaks(oracles, jerk, rig):
    """Quantile of the tube's own strength; with the rig's own error by quadrature."""
    strength = Lognormal(30.0, 3.0)
    scenario = oracles.plain(WEAK | {"tube.tension_strength": strength}, [jerk], rig=rig)
    limits = pulls.pull_limits(bench_of(weighted_sample(scenario, 1, target_cov=SHARP)))
    (load,) = [load for name, load in limits if "tube breaks in tension in 1 %" in name]
    values = oracles.TUBE_AREA * strength.ppf(np.linspace(5e-6, 1 - 5e-6, 100_001))
    broken = float(oracles.refused(values, load, rig[0], 0.0).mean())
    assert broken == pytest.approx(0.01, rel=0.12)


# Verdicts ---------------------------------------------------------------------------------------


def answer(scenario, seed=1):
    return pulls.proof_answer(weighted_sample(scenario, seed))


def odds_in(reason):
    """Chances that a reason names as "about 1 in so many"."""
    return [1.0 / float(n.replace(",", "")) for n in re.findall(r"1 in ([0-9,]+)", reason)]


def newtons_in(reason):
    return [float(n.replace(",", "")) for n in re.findall(r"([0-9,]+) N\b", reason)]


WEAK_LOAD = 1500.0
"""Yearly load that sound bonds hardly feel and weak ones do."""


def weak_case(oracles, target, **more):
    loads = [oracles.load(Gumbel(WEAK_LOAD, 0.2 * WEAK_LOAD))]
    return oracles.plain(WEAK, loads, target=target, **more)


def weak_after(oracles, pull, years=4.0, rig=(0.0, 0.0), rods=1):
    load = oracles.log_kept_yearly(oracles.gumbel(WEAK_LOAD, 0.2), years)
    return oracles.after_pull(
        *rod_law(oracles, 0.01), pull, load, error=rig[0], bias_sd=rig[1], rods=rods
    )


@pytest.mark.parametrize(("period", "years"), [("life", 4.0), ("year", 1.0)])
@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.05, 0.03)])
def test_window_is_the_smallest_pull_after_which_the_target_holds(oracles, period, years, rig):
    target = 1e-4
    before = weak_after(oracles, 1.0, years)[0]
    assert before > 1.5 * target
    found = answer(weak_case(oracles, (target, period), rig=rig))
    assert (found.verdict, found.reachable) == ("window", True)
    pull = found.load_newton
    for factor, meets in ((1.05, True), (0.95, False)):
        assert bool(weak_after(oracles, factor * pull, years, rig)[0] <= target) is meets
    assert found.window[0] == pull < found.window[1] <= found.limits[0][1] * 1.001
    assert found.reject_fraction == pytest.approx(weak_after(oracles, pull, rig=rig)[1], rel=0.1)
    assert found.floor <= target
    assert odds_in(found.reason) == pytest.approx([target, before], rel=0.15)
    assert ("in the worst year" if period == "year" else "over the life") in found.reason
    if period == "life":
        assert 0.97 * target < found.fail_after <= target
    else:  # told over the life all the same, as every failure probability after a pull is
        assert found.fail_after > target
    assert found.damage_fraction == 0.0


def test_sound_rods_that_a_window_breaks_are_counted_apart(oracles):
    found = answer(weak_case(oracles, (1e-4, "life")))
    law = oracles.lognormal(oracles.BOND, COV).cdf
    exact = float(oracles.weakest(law, 2)(np.array([found.load_newton]))[0])
    assert found.sound_rejected_fraction == pytest.approx(exact, rel=0.3, abs=1e-6)
    assert found.sound_rejected_fraction < 0.1 * found.reject_fraction


def test_the_target_of_a_rod_asks_for_less_than_that_of_the_set(oracles):
    loads = {
        scope: answer(weak_case(oracles, (1e-4, "life", scope), rods=4)).load_newton
        for scope in ("rod", "set")
    }
    assert loads["rod"] < loads["set"]
    assert weak_after(oracles, 1.06 * loads["set"], rods=4)[0] <= 1e-4
    assert weak_after(oracles, 0.94 * loads["set"], rods=4)[0] > 1e-4


def test_not_needed_where_the_target_is_met_already(oracles):
    before = weak_after(oracles, 1.0)[0]
    found = answer(weak_case(oracles, (3.0 * before, "life")))
    assert found.verdict == "not needed"
    assert found.load_newton is found.window is found.fail_after is found.reject_fraction is None
    assert odds_in(found.reason) == pytest.approx([3.0 * before, before], rel=0.15)


@pytest.mark.parametrize("cap", [{"highest": 900.0}, {"max_reject": 0.002}])
def test_empty_where_a_limit_stops_short_of_the_pull_that_would_do(oracles, cap):
    target = 1e-4
    found = answer(weak_case(oracles, (target, "life"), **cap))
    assert (found.verdict, found.reachable) == ("empty", False)
    assert found.load_newton is None
    name, stop = found.limits[0]
    assert name in found.reason
    needed, stops = newtons_in(found.reason)
    assert stops == pytest.approx(stop, rel=0.01)
    assert needed > stops
    for factor, meets in ((1.06, True), (0.94, False)):
        assert bool(weak_after(oracles, factor * needed)[0] <= target) is meets
    share = float(re.search(r"break ([0-9.]+) %", found.reason)[1]) / 100.0
    assert share == pytest.approx(weak_after(oracles, needed)[1], rel=0.1)
    best = weak_after(oracles, stop)[0]
    assert found.floor == pytest.approx(best, rel=0.1)
    assert odds_in(found.reason) == pytest.approx([target, best], rel=0.15)


def test_unreachable_where_no_weakness_is_there_to_find(oracles, jerk):
    """All rods alike: what fails is the load's doing, and the floor is the chance itself."""
    scenario = oracles.plain({}, [oracles.load(Gumbel(3500.0, 875.0))], target=(1e-6, "life"))
    found = answer(scenario)
    exact = -math.expm1(4.0 * oracles.gumbel(3500.0, 0.25).logcdf(oracles.BOND))
    assert (found.verdict, found.reachable) == ("unreachable", False)
    assert found.floor == pytest.approx(exact, rel=1e-6)
    assert odds_in(found.reason) == pytest.approx([1e-6, exact, exact], rel=0.06)


@pytest.mark.parametrize(("gain", "said"), [(0.97, True), (0.9, False)])
def test_two_chances_that_read_the_same_are_told_as_no_better(oracles, monkeypatch, gain, said):
    """About 1 in 120 by three in a hundred is about 1 in 120."""
    before = 1.0 / 119.0
    sample = weighted_sample(weak_case(oracles, (1e-9, "life")), 1)
    found = pulls.verdict(bench_of(sample)).found
    monkeypatch.setattr(pulls, "before_any_pull", lambda *_: before)
    floor = replace(found, load=None, reachable=False, floor=gain * before)
    monkeypatch.setattr(pulls, "search", lambda *_, **__: floor)
    reason = pulls.verdict(bench_of(sample)).reason
    assert ("no better than without a pull (about 1 in 120)" in reason) is said
    assert (pulls.odds(gain * before) == pulls.odds(before)) is said


def test_no_pull_reaches_the_target_of_bonds_that_break_in_the_workshop(oracles, jerk):
    sample = weighted_sample(weak_case(oracles, (1e-4, "life")), 1)
    nothing = np.zeros_like(sample.outcome.rig_pull)
    broken = replace(sample, outcome=replace(sample.outcome, rig_pull=nothing))
    found = pulls.proof_answer(broken)
    assert (found.verdict, found.reachable, found.floor) == ("unreachable", False, None)
    assert "breaks in the workshop" in found.reason


def test_unreachable_where_heat_makes_the_weakness(oracles):
    """In the rig all rods are alike; in service the hottest day decides."""
    scenario = oracles.plain(
        {"service.hottest": Normal(50.0, 3.0)},
        [oracles.load(Gumbel(2500.0, 375.0))],
        target=(1e-5, "life"),
    )
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    found = pulls.proof_answer(sample)
    assert found.verdict == "unreachable"
    assert found.floor == pytest.approx(oracles.chance_of(sample)[0], rel=0.05)


@pytest.mark.parametrize(("target", "loads"), [(None, True), ((1e-4, "life"), False)])
def test_not_judged_without_a_target_or_a_load(oracles, jerk, target, loads):
    found = answer(oracles.plain(WEAK, [jerk] if loads else [], target=target, pulls=(1500.0,)))
    assert (found.verdict, found.reachable, found.limits) == ("not judged", None, ())
    assert ("no target" if target is None else "no load") in found.reason
    assert found.floor is None
    (worth,) = found.pulls  # what the pull does is told all the same
    assert worth.weak_caught_fraction > 0.0
    assert worth.needed_newton is None


def test_a_pull_already_done_is_told_the_one_it_would_take(oracles):
    found = answer(weak_case(oracles, (1e-4, "life"), pulls=(600.0, 2000.0)))
    assert [pull.label for pull in found.pulls] == ["pull 0", "pull 1"]
    assert [pull.load_newton for pull in found.pulls] == [600.0, 2000.0]
    assert {pull.needed_newton for pull in found.pulls} == {found.load_newton}
    for worth in found.pulls:
        after, refused = weak_after(oracles, worth.load_newton)
        assert worth.fail_after == pytest.approx(after, rel=0.1)
        assert worth.reject_fraction == pytest.approx(refused, rel=0.12, abs=1e-5)


def test_weak_bonds_that_keep_nothing_are_caught_by_the_lightest_pull(oracles):
    spreads = GLUE | {"weak_bonds.lone_weight": 5e-4, "weak_bonds.keeps": 0.0}
    sound = oracles.fail_chance(*rod_law(oracles), kept(oracles, 3300.0))
    assert sound > 1e-3
    loads = [oracles.load(Gumbel(3300.0, 0.2 * 3300.0))]
    found = answer(oracles.plain(spreads, loads, target=(sound + 5e-4, "life")))
    assert found.verdict == "window"
    assert found.load_newton > 0.0
    assert found.reject_fraction == pytest.approx(1e-3, rel=0.1)


def test_the_answer_does_not_hang_on_the_seed(oracles):
    loads = [answer(weak_case(oracles, (1e-4, "life")), seed).load_newton for seed in range(6)]
    assert np.std(loads) < 0.04 * np.mean(loads)


def test_a_load_that_never_hurts_needs_no_pull(oracles):
    found = answer(oracles.plain(GLUE, [oracles.load(Uniform(1.0, 2.0))], target=(1e-4, "life")))
    assert found.verdict == "not needed"
    assert "no failure seen" in found.reason


def test_a_window_tells_how_many_rods_it_hurts(oracles):
    """Of the rods that held, those of which a joint lost a hundredth of its strength."""
    hurts = {"proof.damage_from": 0.6, "proof.damage_most": 0.2}
    loads = [oracles.load(Gumbel(WEAK_LOAD, 0.2 * WEAK_LOAD))]
    bench = bench_of(weighted_sample(oracles.plain(GLUE | hurts, loads), 1, target_cov=SHARP))
    told = share_hurt(bench, pull(bench, 6000.0))
    reached = 6000.0 / (0.6 + 0.4 * 0.01 / 0.2)  # a joint below this strength is hurt
    values, chance = rod_law(oracles)
    exact = chance[(values >= 6000.0) & (values < reached)].sum() / chance[values >= 6000.0].sum()
    assert told == pytest.approx(exact, abs=0.02)


def test_the_assessment_gives_the_same_answer(oracles):
    """It draws for the pull as the study `proof` does, somewhat less of it."""
    scenario = weak_case(oracles, (1e-4, "life"), pulls=(800.0,))
    sample = pull_sample(scenario, 1, None, (800.0,), PULL_COV)
    assert jointrisk.assess(scenario, seed=1).proof == pulls.proof_answer(sample)


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "no failure seen"),
        (0.5, "50 %"),
        (0.25, "about 1 in 4"),
        (1 / 340.0, "about 1 in 340"),
        (1 / 123_456.0, "about 1 in 120,000"),
    ],
)
def test_odds_are_two_figures(chance, words):
    assert pulls.odds(chance) == words


def test_newtons_are_three_figures():
    assert pulls.newton(12_345.0) == "12,300 N"
    assert pulls.newton(7.0) == "7 N"
