"""Indices of the margin: dealt digits, closed forms, correlated variables."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.rank_indices import dealt, margin_indices

LOAD = 1500.0


def test_digits_are_dealt_to_two_independent_uniform_numbers():
    x = (np.arange(2**16) + 0.5) / 2**16
    first, second = dealt(x)
    cells, _, _ = np.histogram2d(first, second, bins=16, range=[[0, 1], [0, 1]])
    assert np.all(cells == 2**8)  # a grid: every cell has its share exactly
    assert float(first[np.searchsorted(x, 0.5)]) == pytest.approx(0.5, abs=0.005)
    for part in (first, second):
        assert part.min() > 0.0
        assert part.max() < 1.0
        assert stats.kstest(part, "uniform").statistic < 0.01


@pytest.mark.parametrize("edge", [0.0, 2.0**-53, 1.0 - 2.0**-53, 1.0])
def test_edges_stay_inside(edge):
    for part in dealt(np.array([edge])):
        assert 0.0 < float(part[0]) < 1.0


def log_variances(oracles):
    """Variances of ln of the weakest of two bonds, and of the largest load of four years."""
    values, mass = oracles.on_grid(
        oracles.weakest(oracles.lognormal(oracles.BOND, 0.2).cdf, 2), 500.0, 60_000.0
    )
    sizes, chance = oracles.on_grid(
        lambda x: np.exp(4.0 * oracles.gumbel(LOAD, 0.2).logcdf(x)), 300.0, 40_000.0
    )

    def variance(x, p):
        mean = np.sum(p * np.log(x)) / p.sum()
        return float(np.sum(p * (np.log(x) - mean) ** 2) / p.sum())

    return variance(values, mass), variance(sizes, chance)


def test_indices_of_an_additive_margin(oracles):
    """ln R + ln f - ln D: every index is its part of the variance, first and total alike.

    The glue of either end is one variable, though the weaker end counts.
    """
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 2.0),
        "model.bond_factor": Lognormal(1.0, 0.2),
    }
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(LOAD, 0.2 * LOAD))], rods=3)
    glue, load = log_variances(oracles)
    parts = {
        "adhesive.shear_strength": glue,
        "model.bond_factor": math.log1p(0.04),
        "load.jerk.size": load,
    }
    whole = sum(parts.values())
    found = margin_indices(scenario, 3)
    assert found.together == ()
    entries = {entry.variable: entry for entry in found.entries}
    assert set(entries) == set(parts)
    for key, part in parts.items():
        for index in (entries[key].first, entries[key].total):
            assert index.estimate == pytest.approx(part / whole, abs=0.03), key
            assert index.low - 0.02 < part / whole < index.high + 0.02
    assert [e.rank for e in found.entries] == sorted(e.rank for e in found.entries)


def test_what_acts_through_others_is_named(oracles):
    """A weak bond's share matters only where a bond is weak, and the other way round."""
    from jointrisk.spread import Uniform

    spreads = {"weak_bonds.lone_weight": 0.2, "weak_bonds.keeps": Uniform(0.1, 0.9)}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(LOAD, 0.02 * LOAD))])
    found = margin_indices(scenario, 3)
    assert {"weak joint", "weak_bonds.keeps"} == set(found.together)


def test_correlated_variables_get_shapley_effects(oracles):
    """Two correlated normal logs: each has half of what both share (Owen & Prieur 2017)."""
    pair = ("evidence.factor", "model.bond_factor")
    a, b, given = 0.2, 0.15, 0.6
    spreads = {pair[0]: Lognormal(1.0, a), pair[1]: Lognormal(1.0, b)}
    scenario = oracles.plain(
        spreads, [oracles.load(Gumbel(LOAD, 0.2 * LOAD))], correlations={pair: given}
    )
    found = margin_indices(scenario, 3)
    assert "Shapley" in found.method
    s, t = (math.sqrt(math.log1p(c**2)) for c in (a, b))
    rho = math.log1p(given * a * b) / (s * t)
    load = log_variances(oracles)[1]
    whole = s * s + t * t + 2 * rho * s * t + load
    half = 0.5 * rho**2 * (s * s - t * t)
    truth = {
        pair[0]: s * s + rho * s * t - half,
        pair[1]: t * t + rho * s * t + half,
        "load.jerk.size": load,
    }
    entries = {entry.variable: entry.total.estimate for entry in found.entries}
    assert sum(entries.values()) == pytest.approx(1.0, abs=0.02)
    for key, part in truth.items():
        assert entries[key] == pytest.approx(part / whole, abs=0.03), key
    assert all(entry.first is None for entry in found.entries)


def test_a_rod_that_holds_nothing_is_no_farther_out_than_a_twentieth(oracles):
    """Above the stop the strength is 0 and its log has no end: the index stays that of a switch."""
    from jointrisk.spread import Normal

    spreads = {"service.hottest": Normal(40.0, 10.0), "model.bond_factor": Lognormal(1.0, 0.6)}
    base = oracles.plain(spreads, [oracles.load(Gumbel(LOAD, 30.0))])
    scenario = replace(
        base, hard_stop_temperature=60.0, strength_by_temperature=((0.0, 1.0), (100.0, 1.0))
    )
    found = {entry.variable: entry.total.estimate for entry in margin_indices(scenario, 3).entries}
    p = float(stats.norm.sf(2.0))
    spread = math.log1p(0.36)
    middle = math.log(oracles.BOND) - 0.5 * spread - math.log(LOAD * 1.02)
    switch = p * (1 - p) * (middle + math.log(20.0)) ** 2
    assert found["service.hottest"] == pytest.approx(switch / (switch + (1 - p) * spread), abs=0.1)
