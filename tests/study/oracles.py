"""Rods of one or two random quantities, and their answers by quadrature.

`plain` gives a rod of which nothing varies: tube and insert of one metal (no misfit), glue over
the whole overlap, so tough that the whole overlap yields. Its bond then holds `BOND` at either
end. A test gives back the spread of the one or two quantities it asks about.

The answers use numpy and scipy.stats alone. A law of strength is a fine grid of values with
the chance of each, cut from its distribution function.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
from scipy import stats
from scipy.special import ndtr

import jointrisk
from jointrisk.scenario.types import Load, Proof, Pull, Target, Variable
from jointrisk.spread import Fixed

STRENGTH, OVERLAP = 10.0, 20.0
BOND = STRENGTH * math.pi * 13.0 * OVERLAP
"""Force of one bond [N]: stress times the middle circle of the layer, 13 mm, times overlap."""
TUBE_AREA = math.pi * (8.0**2 - 6.6**2)
"""Section of the tube [mm2]."""
YEARS = 4.0

TEXT = """
schema = 1
title = "plain rod"
[life]
duration = "4 years"
[rods]
count = 1
length = "300 mm"
[tube]
material = "aluminium 6082-T6"
outer_diameter = "16 mm"
bore = "13.2 mm"
[plug]
material = "aluminium 6082-T6"
diameter = "12.8 mm"
overlap = "20 mm"
glued_share = 1.0
off_centre = 0.0
[adhesive]
class = "two-part toughened epoxy"
evidence = "own pulls"
shear_strength = "10 MPa"
shear_modulus = "600 MPa"
toughness = "1000 N/mm"
[weak_bonds]
lone_weight = 0.0
bad_batch_weight = 0.0
[batch]
bond_factor = 1.0
[model]
bond_factor = 1.0
load_factor = 1.0
gap_factor_exponent = 0.0
[service]
workshop_temperature = "23 degC"
hottest = "23 degC"
coldest = "23 degC"
humidity = 0.4
"""
FAR_OFF = {
    "tube.tension_strength": 1e5,
    "tube.compression_strength": 1e5,
    "rods.length": 50.0,
    "rods.bow": 0.0,
    "rods.load_offset": 0.0,
    "evidence.factor": 1.0,
    "weak_bonds.keeps": 0.3,
    "weak_bonds.share_in_bad_batch": 0.8,
    "proof.damage_from": 0.75,
    "proof.damage_most": 0.0,
}
"""Plain values that keep the members out of the way and weakness to one number."""


@cache
def _base():
    return jointrisk.load_text(TEXT)


def plain(spreads=None, loads=(), *, target=None, pulls=(), rig=(0.0, 0.0), **facts):
    """Return a scenario of plain values but for `spreads`, by key; a number is a plain value.

    `rig` is the rig's own scatter and the standard deviation of its bias, `pulls` [N].
    """
    base = _base()
    changed = {key: Fixed(variable.spread.mean) for key, variable in base.variables.items()}
    for key, given in (FAR_OFF | (spreads or {})).items():
        assert key in changed, key
        changed[key] = Fixed(float(given)) if isinstance(given, int | float) else given
    variables = {
        key: replace(variable, spread=changed[key]) for key, variable in base.variables.items()
    }
    variables |= {load.size.key: load.size for load in loads}
    values = {
        "variables": variables,
        "loads": tuple(loads),
        "target": None if target is None else wanted(*target),
        "pulls": tuple(Pull(f"pull {number}", load) for number, load in enumerate(pulls)),
        "proof": Proof(*rig, facts.pop("highest", None), facts.pop("max_reject", 0.1)),
        "life": YEARS,
    }
    return replace(base, **(values | facts))


def wanted(probability, period="life", scope="set"):
    return Target(probability, period, scope, "")


def load(spread, kind="annual_maximum", direction="pull", *, scope="all", rate=0.0, name="jerk"):
    """Return a load; of a sustained one the direction does not count."""
    key = f"load.{name}.size"
    size = Variable(key, f"load {name}", spread, "N", scope, "scatter", "scenario", "", "given")
    return Load(name, kind, direction, size, scope, rate)


# Laws by scipy.stats ----------------------------------------------------------------------------


def gumbel(mean, cov):
    """Return scipy's law of largest values of this mean and coefficient of variation."""
    beta = mean * cov * math.sqrt(6.0) / math.pi
    return stats.gumbel_r(mean - np.euler_gamma * beta, beta)


def lognormal(mean, cov):
    s = math.sqrt(math.log1p(cov**2))
    return stats.lognorm(s, scale=mean * math.exp(-0.5 * s * s))


def log_kept_yearly(law, years=YEARS):
    """Return x [N] -> log of the chance that no year's largest is above x."""
    return lambda x: np.where(x < 0.0, -np.inf, years * law.logcdf(x))


def log_kept_events(law, rate, years=YEARS):
    """Return x [N] -> log of the chance that no event of a Poisson process is above x."""
    return lambda x: np.where(x < 0.0, -np.inf, -rate * years * law.sf(x))


# Laws on a grid ---------------------------------------------------------------------------------


def on_grid(cdf, low, high, points=40_001):
    """Return values and the chance of each, the log of the value in even steps."""
    edges = np.geomspace(low, high, points)
    below = cdf(edges)
    return np.sqrt(edges[1:] * edges[:-1]), np.diff(below)


def weakest(cdf, count):
    """Return the distribution function of the least of `count` independent draws."""
    return lambda x: -np.expm1(count * np.log1p(-np.minimum(cdf(x), 1.0 - 1e-16)))


def mixed(cdf, weak_chance, keeps):
    """Return the distribution function of a joint that is weak by chance."""
    return lambda x: (1.0 - weak_chance) * cdf(x) + weak_chance * cdf(x / keeps)


def fail_chance(values, chance, log_kept):
    """Return the chance that a strength of this law does not outlive the loads [-]."""
    return float(np.sum(chance * -np.expm1(log_kept(values))))


def bias_grid(sd, points=161):
    """Return values of the gauge's bias and their chances."""
    if sd == 0.0:
        return np.zeros(1), np.ones(1)
    z = np.linspace(-6.0, 6.0, points)
    weight = np.exp(-0.5 * z * z)
    return sd * z, weight / weight.sum()


def refused(values, pull, error, bias):
    """Return the chance that a rod of each strength breaks in a pull aimed at `pull` [N]."""
    spare = values / pull - 1.0 - bias
    return (spare < 0.0).astype(float) if error == 0.0 else ndtr(-spare / error)


def after_pull(values, chance, pull, log_kept, *, error, bias_sd, rods=1):
    """Return chance of failure of a set that held, and share of rods refused.

    The rods are independent but for the bias and the load, which all of them share.
    """
    largest = np.exp(log_kept(values))  # the law of the largest load of the life
    steps = np.diff(np.concatenate([[0.0], largest, [1.0]]))
    failed = held = share = 0.0
    for bias, weight in zip(*bias_grid(bias_sd), strict=True):
        gone = refused(values, pull, error, bias)
        keeps = chance * (1.0 - gone)
        above = np.concatenate([np.cumsum(keeps[::-1])[::-1], [0.0]])
        both = keeps.sum() ** rods
        failed += weight * (both - np.sum(steps * above**rods))
        held += weight * both
        share += weight * np.sum(chance * gone)
    return failed / held, share


# What a weighted sample says --------------------------------------------------------------------


def mean_and_error(terms):
    """Return the mean of terms and its standard error."""
    return float(terms.mean()), float(terms.std() / math.sqrt(terms.size))


def chance_of(sample):
    """Return the failure probability of a sample and its standard error [-]."""
    return mean_and_error(sample.weight * sample.fails)


def agrees(found, error, exact, *, within=4.0, closest=0.05):
    """Tell whether an estimate is that of the oracle, and sharp enough to tell."""
    assert error < closest * exact, (found, error, exact)
    return abs(found - exact) < within * error + 1e-4 * exact
