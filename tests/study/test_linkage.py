"""Levers and moments in an assessment, against quadrature over what is drawn of them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from jointrisk.scenario.types import Variable
from jointrisk.spread import Fixed, Gumbel, Lognormal, Uniform
from jointrisk.study.cautions import _typical_load
from jointrisk.study.curves import figures
from jointrisk.study.influence import influences
from jointrisk.study.judgement import failure_probability
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
SIZE, RATIO, WIDE = 700.0, 3.0, 0.15
KEY = {name: f"load.jerk.{name}" for name in ("arm_ratio", "angle", "dynamic_factor")}


def linked(oracles, factors, *, mean=SIZE, reach=1.0, rods=1):
    """Return a scenario with one Gumbel load and what lies between it and the rod, by name."""
    own = {
        KEY[name]: Variable(
            KEY[name],
            name,
            spread if not isinstance(spread, float) else Fixed(spread),
            "deg" if name == "angle" else "-",
            "all",
            "scatter",
            "scenario",
            "",
            "given",
        )
        for name, spread in factors.items()
    }
    load = replace(
        oracles.load(Gumbel(mean, 0.2 * mean)),
        reach=reach,
        ratios=tuple(KEY[name] for name in factors if name != "angle"),
        angle=KEY["angle"] if "angle" in factors else "",
    )
    scenario = oracles.plain(GLUE, [load], rods=rods)
    return replace(scenario, variables={**scenario.variables, **own})


def over_ratio(chance, mean=RATIO, cov=WIDE):
    """Return the mean of a function of a lognormal ratio, by Gauss and Hermite."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    s = math.sqrt(math.log1p(cov**2))
    ratios = mean * np.exp(s * nodes - s * s / 2.0)
    return sum(w * chance(r) for w, r in zip(weights / weights.sum(), ratios, strict=True))


def fails(oracles, factor, joints=2):
    """Return the chance of failure at one force in the rod over the load."""
    law, load = oracles.lognormal(oracles.BOND, COV).cdf, oracles.gumbel(SIZE, 0.2)
    grid = oracles.on_grid(oracles.weakest(law, joints), 100.0, 60_000.0)
    return oracles.fail_chance(*grid, lambda x: oracles.log_kept_yearly(load)(x / factor))


@pytest.mark.parametrize("rods", [1, 2])
def test_a_ratio_that_varies_by_quadrature(oracles, rods):
    scenario = linked(oracles, {"arm_ratio": Lognormal(RATIO, WIDE * RATIO)}, rods=rods)
    found, error = oracles.chance_of(weighted_sample(scenario, 1, target_cov=0.01))
    exact = over_ratio(lambda r: fails(oracles, r, 2 * rods))
    assert oracles.agrees(found, error, exact)
    assert exact > 1.5 * fails(oracles, RATIO, 2 * rods)


def test_an_angle_that_varies_by_quadrature(oracles):
    scenario = linked(oracles, {"arm_ratio": 2.0, "angle": Uniform(30.0, 80.0)})
    found, error = oracles.chance_of(weighted_sample(scenario, 1, target_cov=0.01))
    nodes, weights = np.polynomial.legendre.leggauss(40)
    angles = np.radians(55.0 + 25.0 * nodes)
    at = [fails(oracles, 2.0 / math.sin(angle)) for angle in angles]
    assert oracles.agrees(found, error, float(np.dot(weights / 2.0, at)))


def test_a_moment_over_its_arm_is_a_force(oracles):
    """84 N m on 40 mm are 2100 N."""
    scenario = linked(oracles, {}, mean=SIZE * RATIO / 25.0, reach=25.0)
    found, error = oracles.chance_of(weighted_sample(scenario, 1, target_cov=0.01))
    assert oracles.agrees(found, error, fails(oracles, RATIO))


def test_factors_of_one_change_nothing(oracles):
    """Constants have no draws of their own, so not a digit moves."""
    ones = {"arm_ratio": 1.0, "angle": 90.0, "dynamic_factor": 1.0}
    plain, same = (
        failure_probability(weighted_sample(linked(oracles, how, mean=2100.0), 1), np.empty(0))
        for how in ({}, ones)
    )
    assert same == plain


def test_a_ratio_is_the_same_as_a_size_so_much_larger(oracles):
    by_ratio, by_size = (
        failure_probability(weighted_sample(linked(oracles, how, mean=mean), 1), np.empty(0))
        for how, mean in (({"arm_ratio": RATIO}, SIZE), ({}, RATIO * SIZE))
    )
    assert by_ratio.estimate == pytest.approx(by_size.estimate, rel=1e-6)
    assert by_ratio.low == pytest.approx(by_size.low, rel=1e-6)


# Curves, ranking, warnings ------------------------------------------------------------------------


def test_the_curve_of_loads_is_of_the_force_in_the_rod(oracles):
    load = oracles.log_kept_yearly(oracles.gumbel(SIZE, 0.2))
    found = figures(weighted_sample(linked(oracles, {"arm_ratio": RATIO}), 1), np.empty(0), ())
    size = np.array(found.load_exceeded.load)
    exact = -np.expm1(load(size / RATIO))
    assert np.array(found.load_exceeded.value) == pytest.approx(exact, rel=1e-9)
    assert found.load_exceeded.low == found.load_exceeded.high
    varied = linked(oracles, {"arm_ratio": Lognormal(RATIO, WIDE * RATIO)})
    curve = figures(weighted_sample(varied, 1, target_cov=0.01), np.empty(0), ()).load_exceeded
    size = np.array(curve.load)
    exact = over_ratio(lambda r: -np.expm1(load(size / r)))
    seen = exact > 1e-4
    assert seen.sum() > 10
    assert np.array(curve.value)[seen] == pytest.approx(exact[seen], rel=0.1)
    held = (np.array(curve.low) * 0.98 <= exact) & (exact <= np.array(curve.high) * 1.02)
    assert held.mean() >= 0.85


def ranked(scenario):
    found = influences(weighted_sample(scenario, 1), 1)
    return {(entry.variable, entry.measure): entry.value for entry in found}


def test_what_is_asked_of_a_lever_and_an_angle(oracles):
    scenario = linked(oracles, {"arm_ratio": 2.6, "angle": 60.0})
    found = ranked(scenario)
    factor = 2.6 / math.sin(math.radians(60.0))
    longer = fails(oracles, 1.1 * factor) / fails(oracles, factor)
    assert found[KEY["arm_ratio"], "mean a tenth higher"] == pytest.approx(longer, rel=0.06)
    flatter = fails(oracles, 2.6 / math.sin(math.radians(55.0))) / fails(oracles, factor)
    assert found[KEY["angle"], "mean 5 deg lower"] == pytest.approx(flatter, rel=0.06)
    assert flatter > 1.15


def test_halving_the_spread_of_a_ratio(oracles):
    scenario = linked(oracles, {"arm_ratio": Lognormal(RATIO, WIDE * RATIO)})
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    s = math.sqrt(math.log1p(WIDE**2))
    ratios = RATIO + 0.5 * (RATIO * np.exp(s * nodes - s * s / 2.0) - RATIO)
    at = [fails(oracles, ratio) for ratio in ratios]
    halved = float(np.dot(weights / weights.sum(), at)) / over_ratio(lambda r: fails(oracles, r))
    found = ranked(scenario)[KEY["arm_ratio"], "spread halved"]
    assert found == pytest.approx(halved, rel=0.12)
    assert halved < 0.8


def test_an_angle_above_a_right_one_is_asked_to_open_further(oracles):
    found = ranked(linked(oracles, {"arm_ratio": 2.6, "angle": 120.0}))
    assert (KEY["angle"], "mean 5 deg higher") in found


def test_warnings_take_the_force_in_the_rod(oracles):
    """The middling largest of three yearly maxima, times 4/sin(30 deg): F**years at a half."""
    scenario = linked(oracles, {"arm_ratio": 4.0, "angle": 30.0})
    years = scenario.life
    middle = oracles.gumbel(SIZE, 0.2).ppf(0.5 ** (1.0 / years))
    assert _typical_load(scenario) == pytest.approx(8.0 * middle, rel=1e-9)
    (one,) = scenario.loads
    steady = replace(one, kind="sustained", reach=-2.0)
    assert _typical_load(replace(scenario, loads=(steady,))) == pytest.approx(16.0 * SIZE)
    mean = replace(one.size, key="load.jerk.mean", spread=Fixed(-100.0))
    cycles = replace(one, kind="cycles", mean=mean, reach=-1.0)
    assert _typical_load(replace(scenario, loads=(cycles,))) == pytest.approx(8.0 * (SIZE + 100.0))
