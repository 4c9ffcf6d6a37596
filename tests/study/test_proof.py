"""The study `proof`: verdict, what would open a window, years, and the document."""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import jointrisk
from jointrisk.errors import InputError
from jointrisk.scenario.types import Pull
from jointrisk.spread import Gumbel, Lognormal, Normal
from jointrisk.study import proof_study
from jointrisk.study.proof_study import proof

COV, MEAN = 0.12, 1500.0
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
WEAK = GLUE | {"weak_bonds.lone_weight": 0.01}


def jerk(oracles, mean=MEAN):
    return oracles.load(Gumbel(mean, 0.2 * mean))


def left(oracles, pull, mean=MEAN, rods=1, years=4.0, rig=(0.0, 0.0)):
    joint = oracles.mixed(oracles.lognormal(oracles.BOND, COV).cdf, 0.01, 0.3)
    grid = oracles.on_grid(oracles.weakest(joint, 2), 200.0, 40_000.0, 8001)
    log_kept = oracles.log_kept_yearly(oracles.gumbel(mean, 0.2), years)
    return oracles.after_pull(*grid, pull, log_kept, error=rig[0], bias_sd=rig[1], rods=rods)


@pytest.fixture(scope="module")
def window(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-4, "life"), rods=2, rods_per_batch=2)
    return proof(scenario, pulls=[600.0, "2 kN", Pull("bench", 3000.0)], seed=3)


def test_the_window_and_what_its_pull_is_worth(oracles, window):
    assert (window.verdict, window.reachable) == ("window", True)
    best = window.best
    assert best.load_newton == window.load_newton == window.windows[0][0]
    for factor, meets in ((1.03, True), (0.97, False)):
        assert bool(left(oracles, factor * window.load_newton, rods=2)[0] <= 1e-4) is meets
    after, refused = left(oracles, best.load_newton, rods=2)
    assert best.fail_after.estimate == pytest.approx(after, rel=0.08)
    assert best.fail_after.low < after < best.fail_after.high
    assert best.reject.estimate == pytest.approx(refused, rel=0.05)
    assert best.reject.low < refused < best.reject.high
    assert best.spoiled_in_run == pytest.approx(2 * best.reject.estimate)
    assert best.spoiled_per_100 == pytest.approx(100 * best.reject.estimate)
    assert best.meets_target
    assert best.years_after == 4.0
    assert best.fail_after_unhurt == pytest.approx(best.fail_after.estimate)
    assert best.hurt == 0.0
    assert window.openers == ()


def test_a_break_too_rare_to_be_seen_is_told_as_at_most_so_rare():
    """Nothing aims at breaks of less than 1 in a billion; of failure no such thing is said."""
    values = np.array([3e-12, 2e-5])
    ends = np.array([[2e-12, 4e-12], [1e-5, 4e-5]])
    table = SimpleNamespace(
        reject=values, reject_interval=ends, fail_after=values, fail_after_interval=ends
    )
    rare, seen = proof_study._chances(table, "reject")
    assert (rare.low, rare.estimate, rare.high) == (0.0, 3e-12, 1e-9)
    assert (seen.low, seen.estimate, seen.high) == (1e-5, 2e-5, 4e-5)
    assert proof_study._chances(table, "fail_after")[0].low == 2e-12
    assert ends[0, 0] == 2e-12


def test_years_for_which_the_target_holds(oracles, window):
    """Failure by t after a pull, in closed form, comes to the target at the years told."""
    for effect in window.pulls:
        for load, years in ((1.0, effect.years_before), (effect.load_newton, effect.years_after)):
            if years < 4.0:
                assert left(oracles, load, rods=2, years=years)[0] == pytest.approx(1e-4, rel=0.08)
            else:
                assert left(oracles, load, rods=2)[0] < 1.05e-4
    assert window.pulls[0].years_before < 1.0


def test_pulls_are_given_in_newtons_in_words_or_with_a_label(oracles, window):
    assert [effect.load_newton for effect in window.pulls] == [600.0, 2000.0, 3000.0]
    assert [effect.label for effect in window.pulls] == ["600 N", "2000 N", "bench"]
    assert {effect.needed_newton for effect in window.pulls} == {window.load_newton}
    caught = [effect.reject_weak.estimate for effect in window.pulls]
    assert caught == sorted(caught)


def test_the_scenarios_own_pulls_are_judged_where_none_are_given(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-4, "life"), pulls=(700.0,))
    (effect,) = proof(scenario).pulls
    assert (effect.label, effect.load_newton) == ("pull 0", 700.0)
    assert proof(scenario, pulls=()).pulls == ()


@pytest.mark.parametrize("given", [0.0, -5.0, math.inf, math.nan])
def test_a_pull_must_be_a_load(oracles, given):
    scenario = oracles.plain(WEAK, [jerk(oracles)])
    with pytest.raises(InputError, match=f"got {given:g} N"):
        proof(scenario, pulls=[given])


def test_a_pull_in_the_wrong_unit_is_refused(oracles):
    with pytest.raises(InputError, match="75 kg"):
        proof(oracles.plain(WEAK, [jerk(oracles)]), pulls=["75 kg"])


def test_the_curve_over_the_load(oracles, window):
    curve = window.curve
    loads = np.array(curve.load_newton)
    assert np.all(np.diff(loads) > 0.0)
    assert {600.0, 2000.0, 3000.0, window.load_newton} <= set(curve.load_newton)
    for measure in (curve.reject, curve.reject_weak, curve.reject_sound):
        values = [chance.estimate for chance in measure]
        assert values == sorted(values)
        assert all(c.low <= c.estimate <= c.high for c in measure)
    for load, chance in zip(curve.load_newton, curve.reject, strict=True):
        exact = left(oracles, load)[1]
        allowed = max(0.12 * exact, 1e-9, 0.75 * (chance.high - chance.low))
        assert abs(chance.estimate - exact) < allowed  # 3 standard errors
        if exact > 1e-3:
            assert chance.estimate == pytest.approx(exact, rel=0.12)
    frame = window.to_frame()
    assert list(frame["load_newton"]) == list(loads)
    assert {"fail_after_low", "fail_after_high", "reject_weak", "hurt"} <= set(frame.columns)


def test_the_document_has_no_nan_and_every_number(window):
    text = json.dumps(window.to_dict(), allow_nan=False)
    document = json.loads(text)
    assert document["best"]["fail_after"]["estimate"] == window.best.fail_after.estimate
    assert document["limits"][0]["load_newton"] == window.limits[0][1]
    assert len(document["curve"]["fail_after"]) == len(window.curve.load_newton)
    assert document["policies"][0]["code"] == "all"
    assert document["next_rod"]["pulled"] == 1


def test_the_same_numbers_at_any_number_of_workers(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-4, "life"), rig=(0.03, 0.02))
    with ThreadPoolExecutor(3) as workers:
        told = [proof(scenario, seed=5, pool=pool).to_dict() for pool in (None, None, workers)]
    for document in told:
        del document["host"]
    assert told[0] == told[1] == told[2]


# What would open a window -----------------------------------------------------------------------


def opening(found):
    return {opener.name for opener in found.openers if opener.opens}


def test_a_stronger_rig_opens_what_the_rig_closes(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-4, "life"), highest=900.0)
    found = proof(scenario)
    assert found.verdict == "empty"
    assert "a stronger rig" in opening(found)
    assert "breaking up to half of all rods" not in opening(found)
    assert "a stronger rig" in found.reason
    assert found.openers[0].opens


def test_more_broken_rods_open_what_the_wish_to_break_few_closes(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-4, "life"), max_reject=0.002)
    found = proof(scenario)
    assert found.verdict == "empty"
    assert "breaking up to half of all rods" in opening(found)


@pytest.mark.parametrize(("target", "opens"), [(1.2e-3, False), (1e-3, True)])
def test_lighter_loads_open_what_is_the_loads_own_doing(oracles, target, opens):
    """All rods alike: failure is that of the load alone, 0.8 times as large by closed form."""
    law = oracles.gumbel(3500.0, 0.25)
    exact = {f: -math.expm1(4.0 * law.logcdf(oracles.BOND / f)) for f in (1.0, 0.8)}
    asked = target if not opens else 2.0 * exact[0.8]
    scenario = oracles.plain({}, [oracles.load(Gumbel(3500.0, 875.0))], target=(asked, "life"))
    found = proof(scenario)
    if exact[1.0] <= asked:
        assert found.verdict == "not needed"
        return
    assert found.verdict == "unreachable"
    (lighter,) = [o for o in found.openers if o.name == "loads a fifth smaller"]
    assert lighter.best == pytest.approx(exact[0.8], rel=1e-3)
    assert lighter.opens is (exact[0.8] <= asked)
    (shorter,) = [o for o in found.openers if o.name == "half the life"]
    assert shorter.best == pytest.approx(-math.expm1(2.0 * law.logcdf(oracles.BOND)), rel=1e-3)


def test_less_heat_opens_what_heat_closes(oracles):
    hot = {"service.hottest": Normal(52.0, 3.0)}
    scenario = oracles.plain(hot, [oracles.load(Gumbel(2500.0, 375.0))], target=(1e-5, "life"))
    found = proof(scenario)
    assert found.verdict == "unreachable"
    cooler = oracles.plain({"service.hottest": Normal(42.0, 3.0)}, scenario.loads)
    exact = jointrisk.assess(cooler, curves=False).failure_probability.estimate
    (told,) = [o for o in found.openers if o.name == "10 K less heat in service"]
    assert told.best == pytest.approx(exact, rel=0.15)


def test_nothing_is_tried_where_a_pull_does(window):
    assert window.openers == ()
    assert "given" not in window.reason


# Edges ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("target", "loads"), [(None, True), ((1e-4, "life"), False)])
def test_not_judged_without_a_target_or_a_load(oracles, target, loads):
    scenario = oracles.plain(WEAK, [jerk(oracles)] if loads else [], target=target, pulls=(1500.0,))
    found = proof(scenario)
    assert (found.verdict, found.reachable, found.load_newton) == ("not judged", None, None)
    assert found.openers == found.windows == ()
    (effect,) = found.pulls
    assert effect.meets_target is effect.years_after is None
    assert effect.reject.estimate > 0.0
    json.dumps(found.to_dict(), allow_nan=False)


def test_a_target_for_the_worst_year(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(5e-5, "year"))
    found = proof(scenario)
    assert found.target_period == "year"
    for factor, meets in ((1.03, True), (0.97, False)):
        after = left(oracles, factor * found.load_newton, years=1.0)[0]
        assert bool(after <= 5e-5) is meets
    assert found.best.years_before == 0.0
    assert found.best.years_after == 4.0


def test_too_hard_a_pull_leaves_nothing_to_speak_of(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-9, "life"))
    (effect,) = proof(scenario, pulls=[10.0 * oracles.BOND]).pulls
    assert effect.reject.estimate == pytest.approx(1.0)
    assert math.isnan(effect.fail_after.estimate)
    assert effect.as_target is effect.meets_target is None


def test_every_bond_broken_in_the_workshop(oracles):
    scenario = oracles.plain({"model.bond_factor": 1e-30}, [jerk(oracles)], target=(1e-4, "life"))
    found = proof(replace(scenario, seed=2))
    assert found.verdict in ("unreachable", "empty")
    json.dumps(found.to_dict(), allow_nan=False)
