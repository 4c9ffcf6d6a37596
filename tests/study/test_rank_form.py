"""Design points against a search of their own, by scipy."""

import math

import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from jointrisk.model.bond import BOND_MODES
from jointrisk.model.members import PULL_MEMBERS
from jointrisk.spread import Gumbel, Lognormal, Normal, Uniform
from jointrisk.study.rank_form import design_points

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
COHESION = BOND_MODES[0]


def nearest(margin, dimension):
    """Distance and squares of the cosines of the nearest point of margin 0, from many starts."""
    starts = [[-2.0 if i == j else 0.5 for j in range(dimension)] for i in range(dimension)]
    starts += [[2.0 if i == j else -0.5 for j in range(dimension)] for i in range(dimension)]
    inside = {"bounds": [(-8.0, 8.0)] * dimension, "tol": 1e-12}
    found = [
        minimize(lambda u: u @ u, start, constraints={"type": "eq", "fun": margin}, **inside)
        for start in starts
    ]
    best = min((f for f in found if f.success), key=lambda f: f.fun)
    return math.sqrt(best.fun), best.x**2 / best.fun


def log_of(mean, cov):
    s = math.sqrt(math.log1p(cov**2))
    return lambda u: math.log(mean) - 0.5 * s * s + s * u


def largest(oracles, mean, cov, years=4.0):
    law = oracles.gumbel(mean, cov)
    return lambda u: law.ppf(norm.cdf(u) ** (1.0 / years))


def shares(point):
    return {entry.variable: entry.share for entry in point.directions}


@pytest.mark.parametrize("mean", [900.0, 1800.0])
def test_glue_overlap_and_load(oracles, mean):
    """R = c s l of one joint, D the largest of four years: three scores."""
    spreads = GLUE | {"plug.overlap": Normal(20.0, 2.0)}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(mean, 0.25 * mean))])
    glue, load = log_of(oracles.BOND, COV), largest(oracles, mean, 0.25)
    beta, parts = nearest(
        lambda u: glue(u[0]) + math.log((20.0 + 2.0 * u[1]) / 20.0) - math.log(load(u[2])), 3
    )
    (point,) = design_points(scenario, [COHESION])
    assert (point.joint, point.end, point.converged) == ("sound", "either", True)
    assert point.modes == (COHESION,)
    assert point.beta == pytest.approx(beta, abs=0.01)
    keys = ("adhesive.shear_strength", "plug.overlap", "load.jerk.size")
    assert [shares(point)[key] for key in keys] == pytest.approx(list(parts), abs=0.01)
    towards = {entry.variable: entry.towards for entry in point.directions}
    assert towards == dict(zip(keys, ("low", "low", "high"), strict=True))
    assert sum(shares(point).values()) == pytest.approx(1.0, abs=0.005)


def test_a_weak_joint_is_nearer_than_a_sound_one(oracles):
    """Strength times what a weak bond keeps, uniform: two lognormals would be another point."""
    spreads = GLUE | {
        "weak_bonds.lone_weight": 0.01,
        "weak_bonds.keeps": Uniform(0.2, 0.6),
    }
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(900.0, 180.0))])
    glue, load = log_of(oracles.BOND, COV), largest(oracles, 900.0, 0.2)
    beta, parts = nearest(
        lambda u: glue(u[0])
        + math.log(0.2 + 0.4 * norm.cdf(u[1]))
        - math.log(load(u[2])),
        3,
    )  # fmt: skip
    sound, weak = design_points(scenario, [COHESION])
    assert (sound.joint, weak.joint) == ("sound", "weak")
    assert weak.beta == pytest.approx(beta, abs=0.02)
    keys = ("adhesive.shear_strength", "weak_bonds.keeps", "load.jerk.size")
    assert [shares(weak)[key] for key in keys] == pytest.approx(list(parts), abs=0.02)
    assert sound.beta > weak.beta + 1.0


def test_a_member_is_searched_by_itself(oracles):
    tension = PULL_MEMBERS[0]
    mean = 100.0 * oracles.TUBE_AREA
    spreads = GLUE | {"tube.tension_strength": Lognormal(100.0, 10.0)}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(5000.0, 1000.0))])
    strength, load = log_of(mean, 0.1), largest(oracles, 5000.0, 0.2)
    beta, parts = nearest(lambda u: strength(u[0]) - math.log(load(u[1])), 2)
    (point,) = design_points(scenario, [tension])
    assert (point.modes, point.joint) == ((tension,), "any")
    assert point.beta == pytest.approx(beta, abs=0.01)
    assert shares(point)["tube.tension_strength"] == pytest.approx(parts[0], abs=0.01)


def test_correlated_variables_are_told_together(oracles):
    """ln R the sum of two correlated normal logs: their part is that of the variance of the sum."""
    pair = ("adhesive.shear_strength", "model.bond_factor")
    spreads = {pair[0]: Lognormal(10.0, 1.0), pair[1]: Lognormal(1.0, 0.15)}
    facts = {"correlations": {pair: 0.5}}
    base = oracles.plain(spreads, [oracles.load(Gumbel(1800.0, 360.0))], **facts)
    variables = dict(base.variables)
    from dataclasses import replace

    variables[pair[0]] = replace(variables[pair[0]], scope="all")
    (point,) = design_points(replace(base, variables=variables), [COHESION])
    s, t = (math.sqrt(math.log1p(c**2)) for c in (0.1, 0.15))
    rho = math.log1p(0.5 * 0.1 * 0.15) / (s * t)
    spread = math.sqrt(s * s + t * t + 2 * rho * s * t)
    load = largest(oracles, 1800.0, 0.2)
    middle = math.log(oracles.BOND) - 0.5 * (s * s + t * t)
    beta, parts = nearest(lambda u: middle + spread * u[0] - math.log(load(u[1])), 2)
    assert point.beta == pytest.approx(beta, abs=0.01)
    assert shares(point)[", ".join(pair)] == pytest.approx(parts[0], abs=0.01)
    assert "and" in next(e.name for e in point.directions if e.variable == ", ".join(pair))


def test_rods_of_which_most_fail_have_no_point(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(12_000.0, 1200.0))])
    (point,) = design_points(scenario, [COHESION])
    assert (point.beta, point.directions, point.converged) == (None, (), False)


def test_a_cliff_of_heat_is_met(oracles):
    """Above the stop the glue holds nothing: the only way to fail, with no slope towards it."""
    spreads = GLUE | {"service.hottest": Normal(40.0, 8.0)}
    scenario = oracles.plain(
        spreads,
        [oracles.load(Gumbel(300.0, 15.0))],
        hard_stop_temperature=60.0,
        strength_by_temperature=((0.0, 1.0), (100.0, 1.0)),
    )
    point = design_points(scenario, [COHESION])[0]
    assert point.beta == pytest.approx(2.5, abs=0.01)
    assert shares(point) == pytest.approx({"service.hottest": 1.0}, abs=1e-6)
