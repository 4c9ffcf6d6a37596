"""The study `rating`: against quadrature, scaling laws, the permitted load, and a pull."""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

import jointrisk
from jointrisk.errors import InputError
from jointrisk.scenario.types import Pull, Target
from jointrisk.spread import Fixed, Gumbel, Lognormal, Normal
from jointrisk.study.rating_study import rating
from jointrisk.study.sweep_study import spaced, sweep

COV, JERK = 0.12, 2500.0
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
WEAK = GLUE | {"weak_bonds.lone_weight": 0.01}


def jerk(oracles, mean=JERK):
    return oracles.load(Gumbel(mean, 0.2 * mean))


def strengths(oracles, *, weak=0.0, share=1.0):
    """Strength of one rod, its weaker end, on a grid; bonds `share` as strong as usual."""
    bond = share * oracles.BOND
    joint = oracles.mixed(oracles.lognormal(bond, COV).cdf, weak, 0.3)
    return oracles.on_grid(oracles.weakest(joint, 2), 0.01 * bond, 5.0 * bond, 8001)


def kept(oracles, factor, steady=0.0):
    law = oracles.log_kept_yearly(oracles.gumbel(factor * JERK, 0.2), oracles.YEARS)
    return lambda x: law(x - factor * steady)


def root(function, target, low=0.01, high=20.0):
    return brentq(lambda f: math.log(max(function(f), 1e-300) / target), low, high)


def exact(oracles, target, **strength):
    grid = strengths(oracles, **strength)
    return root(lambda f: oracles.fail_chance(*grid, kept(oracles, f)), target)


def holds(entry, truth):
    """Tell whether a factor is the truth: within a fiftieth, and 3.3 standard errors."""
    half = 0.5 * (entry.high - entry.low)
    assert entry.verdict == "rated"
    assert entry.low < entry.factor < entry.high
    return abs(entry.factor - truth) < min(0.02 * truth, 1.7 * half + 1e-3 * truth)


# As built ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("target", [0.1, 1e-3, 1e-6])
@pytest.mark.parametrize("seed", [0, 1])
def test_as_built_against_quadrature(oracles, target, seed):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(target, "life"))
    found = rating(scenario, seed=seed)
    truth = exact(oracles, target)
    assert holds(found.as_built, truth)
    assert found.as_built.meets is (truth > 1.0)
    (load,) = found.as_built.loads
    assert (load.name, load.unit, load.written) == ("jerk", "N", JERK)
    assert load.rated == pytest.approx(found.as_built.factor * JERK)
    assert (load.low, load.high) == pytest.approx(
        (found.as_built.low * JERK, found.as_built.high * JERK)
    )


def test_weak_bonds(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(3e-3, "life"))
    assert holds(rating(scenario).as_built, exact(oracles, 3e-3, weak=0.01))


def test_a_known_load_alone_is_the_permitted_load(oracles):
    """One load that is known: the rating is the permitted load of `assess`, and a quantile."""
    scenario = oracles.plain(GLUE, [oracles.load(Fixed(1500.0))], target=(1e-3, "life"))
    entry = rating(scenario).as_built
    law = oracles.lognormal(oracles.BOND, COV)
    truth = law.ppf(-math.expm1(0.5 * math.log1p(-1e-3))) / 1500.0
    assert holds(entry, truth)
    told = jointrisk.assess(scenario, curves=False).permitted_load
    assert entry.loads[0].rated == pytest.approx(told.newton, rel=0.03)
    assert entry.loads[0].low < told.high
    assert entry.loads[0].high > told.low


def test_a_steady_load_grows_with_the_others(oracles):
    loads = [jerk(oracles), oracles.load(Fixed(800.0), "sustained", name="spring")]
    scenario = oracles.plain(GLUE, loads, target=(1e-3, "life"))
    grid = strengths(oracles)
    truth = root(lambda f: oracles.fail_chance(*grid, kept(oracles, f, 800.0)), 1e-3)
    found = rating(scenario).as_built
    assert holds(found, truth)
    assert [load.rated / load.written for load in found.loads] == pytest.approx([found.factor] * 2)


def test_a_yearly_target_of_one_rod(oracles):
    scenario = oracles.plain(
        GLUE, [jerk(oracles)], target=(1e-3, "year", "rod"), rods=3, rods_per_batch=3
    )
    grid = strengths(oracles)

    def yearly(f):
        law = oracles.log_kept_yearly(oracles.gumbel(f * JERK, 0.2), 1.0)
        return oracles.fail_chance(*grid, law)

    assert holds(rating(scenario).as_built, root(yearly, 1e-3))


def test_agrees_with_a_sweep_of_the_loads(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(3e-3, "life"))
    swept = sweep(scenario, "loads", spaced(scenario, "loads", 0.1, 2.0, 11), seed=4)
    assert rating(scenario, seed=5).as_built.factor == pytest.approx(swept.largest.value, rel=0.02)


# What is not known ------------------------------------------------------------------------------


def test_the_cautious_factor_is_that_of_the_bad_end(oracles):
    """Bonds are a common unknown factor as strong: the 95 % level of failure is at its 5 %."""
    doubt = GLUE | {"model.bond_factor": Lognormal(1.0, 0.15)}
    scenario = oracles.plain(doubt, [jerk(oracles)], target=(1e-3, "life"))
    found = rating(scenario, seed=2)
    share = oracles.lognormal(1.0, 0.15).ppf(0.05)
    assert found.cautious_verdict == "rated"
    assert found.cautious_factor == pytest.approx(exact(oracles, 1e-3, share=share), rel=0.03)
    assert found.cautious_factor < found.as_built.factor


def test_where_all_is_known_there_is_nothing_to_allow_for(oracles):
    found = rating(oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life")))
    assert (found.cautious_verdict, found.cautious_factor) == ("all is known", None)


# After a pull -----------------------------------------------------------------------------------


@pytest.mark.parametrize("lighter", [1.0, 4.0])
def test_after_pulls_against_quadrature(oracles, lighter):
    """Where the loads may be much larger the draws are made anew; the pull stays as it is."""
    load = jerk(oracles, JERK / lighter)
    scenario = oracles.plain(WEAK, [load], target=(1e-3, "life"), rig=(0.03, 0.0))
    found = rating(scenario, pulls=[1500.0, "3 kN", Pull("bench", 4500.0)], seed=3)
    grid = strengths(oracles, weak=0.01)
    own = found.after_pull[-3:]
    assert [entry.label for entry in own] == ["1500 N", "3000 N", "bench"]
    for entry in own:

        def after(f, pull=entry.pull_newton):
            log_kept = kept(oracles, f / lighter)
            return oracles.after_pull(*grid, pull, log_kept, error=0.03, bias_sd=0.0)[0]

        assert holds(entry, root(after, 1e-3)), entry
    factors = [found.as_built.factor, *(entry.factor for entry in own)]
    assert factors == sorted(factors)


def test_the_pull_of_proof_makes_the_factor_one(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles, 1500.0)], target=(1e-4, "life"))
    found = rating(scenario)
    assert found.proof_verdict == "window"
    first, best = found.after_pull
    assert first.factor == pytest.approx(1.0, abs=0.02)
    assert first.label == "the smallest pull that meets the target"
    assert best.pull_newton > first.pull_newton
    assert best.factor > first.factor


def test_no_pull_is_added_where_none_is_needed(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(0.5, "life"))
    found = rating(scenario)
    assert (found.proof_verdict, found.after_pull) == ("not needed", ())
    assert found.as_built.meets is True


def test_a_pull_that_nothing_holds_is_not_told(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    entry = rating(scenario, pulls=[1e6]).after_pull[-1]
    assert (entry.verdict, entry.factor, entry.loads) == ("not told", None, ())
    assert math.isnan(entry.failure.estimate)


# Verdicts ---------------------------------------------------------------------------------------


def test_unreachable_where_no_load_is_small_enough(oracles):
    """Glue that heat takes all strength from fails with any load."""
    hot = GLUE | {"service.hottest": Normal(70.0, 15.0)}
    base = oracles.plain(hot, [jerk(oracles)], target=(1e-4, "life"))
    scenario = replace(base, hard_stop_temperature=75.0)
    found = rating(scenario)
    assert found.as_built.verdict == "unreachable"
    assert (found.as_built.factor, found.as_built.loads) == (None, ())
    assert found.as_built.meets is False
    assert found.cautious_verdict == "unreachable"


@pytest.mark.parametrize(
    ("facts", "match"),
    [({"loads": ()}, "names no load"), ({"target": None}, "names no target")],
)
def test_a_load_and_a_target_are_needed(oracles, facts, match):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    with pytest.raises(InputError, match=match):
        rating(replace(scenario, **facts))


@pytest.mark.parametrize("given", [0.0, -5.0, math.inf, math.nan])
def test_a_pull_must_be_a_load(oracles, given):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    with pytest.raises(InputError, match=f"got {given:g} N"):
        rating(scenario, pulls=[given])


# Invariants -------------------------------------------------------------------------------------


@settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))
@given(times=st.floats(0.3, 3.0), seed=st.integers(0, 99))
def test_loads_times_as_large_leave_the_factor_over_as_much(oracles, times, seed):
    one = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    two = oracles.plain(GLUE, [jerk(oracles, times * JERK)], target=(1e-3, "life"))
    first, second = rating(one, seed=seed, pulls=()).as_built, rating(two, seed=seed).as_built
    assert second.factor * times == pytest.approx(first.factor, rel=0.02)


def test_a_harder_target_asks_for_smaller_loads(oracles):
    base = oracles.plain(WEAK, [jerk(oracles)], target=(1e-3, "life"))
    targets = [Target(p, "life", "set", "") for p in (1e-4, 1e-3, 1e-2)]
    factors = [rating(replace(base, target=target)).as_built.factor for target in targets]
    assert factors == sorted(factors)


def test_the_same_bytes_at_any_number_of_workers(oracles):
    doubt = WEAK | {"model.bond_factor": Lognormal(1.0, 0.1)}
    scenario = oracles.plain(doubt, [jerk(oracles)], target=(1e-3, "life"), pulls=(1500.0,))
    with ThreadPoolExecutor(2) as workers:
        told = [rating(scenario, seed=0, pool=pool).to_dict() for pool in (None, workers)]
    for document in told:
        del document["host"]
    assert json.dumps(told[0], allow_nan=False) == json.dumps(told[1], allow_nan=False)


def test_the_document_and_the_frame(oracles):
    scenario = oracles.plain(WEAK, [jerk(oracles)], target=(1e-3, "life"), pulls=(1e6,))
    found = rating(scenario)
    document = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert document["as_built"]["factor"] == found.as_built.factor
    assert document["after_pull"][-1]["failure"]["estimate"] is None
    frame = found.to_frame()
    assert list(frame["label"]) == [entry.label for entry in found.entries]
