"""The band of what is not known against monotone maps, where its percentiles are exact."""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from jointrisk.model import rod_set
from jointrisk.spread import Gumbel, Lognormal, Uniform
from jointrisk.study import band as room
from jointrisk.study import judgement
from jointrisk.study.band import band, hypercube, unknown_columns
from jointrisk.study.sample import weighted_sample

MODEL = {"model.bond_factor": Lognormal(1.0, 0.15)}
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.0)}
LEVELS = (0.05, 0.5, 0.95)


def strong_to_weak(oracles, share, cov=0.15):
    """Model factor that a share of the states of the band lies above."""
    return oracles.lognormal(1.0, cov).isf(share)


@pytest.mark.parametrize(("mean", "cov"), [(4500.0, 0.2), (2500.0, 0.2), (3000.0, 0.35)])
def test_percentiles_where_the_model_factor_alone_is_not_known(oracles, mean, cov):
    """All strength is one number times the factor: the percentiles are those of the factor."""
    scenario = oracles.plain(MODEL, [oracles.load(Gumbel(mean, cov * mean))])
    states = band(weighted_sample(scenario, 1), 1).life
    law = oracles.gumbel(mean, cov)
    for level in LEVELS:
        factor = strong_to_weak(oracles, level)
        exact = -math.expm1(4.0 * law.logcdf(factor * oracles.BOND))
        # one state more or less is all the room there is
        around = [
            -math.expm1(4.0 * law.logcdf(strong_to_weak(oracles, level + step) * oracles.BOND))
            for step in (-1.5 / states.size, 1.5 / states.size)
        ]
        assert around[0] < np.quantile(states, level) < around[1]
        assert np.quantile(states, level) == pytest.approx(exact, rel=0.15)


def test_all_states_lie_on_the_curve_of_the_factor(oracles):
    """Evenly filled: the k-th state has its factor in the k-th of so many equal shares."""
    scenario = oracles.plain(MODEL, [oracles.load(Gumbel(3000.0, 600.0))])
    states = band(weighted_sample(scenario, 2), 2).life
    law = oracles.gumbel(3000.0, 0.2)
    edges = np.concatenate([[0.0], np.linspace(0.0, 1.0, states.size + 1)[1:-1], [1.0]])
    limits = -np.expm1(4.0 * law.logcdf(strong_to_weak(oracles, edges) * oracles.BOND))
    assert np.all(limits[:-1] * (1 - 1e-9) <= states)
    assert np.all(states <= limits[1:] * (1 + 1e-9))


def test_scatter_is_averaged_inside_each_state(oracles):
    """Glue varies from joint to joint, the factor is not known: quadrature state by state."""
    scenario = oracles.plain(MODEL | GLUE, [oracles.load(Gumbel(3000.0, 600.0))])
    states = band(weighted_sample(scenario, 3), 3).life
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2))
    least = oracles.weakest(oracles.lognormal(oracles.BOND, 0.1).cdf, 2)
    values, chance = oracles.on_grid(least, 500.0, 40_000.0)
    for level in LEVELS:
        factor = strong_to_weak(oracles, level)
        exact = oracles.fail_chance(factor * values, chance, kept)
        assert np.quantile(states, level) == pytest.approx(exact, rel=0.25)
    # and the width is that of the factor, not that plus the noise of small samples
    levels = [strong_to_weak(oracles, level) for level in (0.05, 0.95)]
    ends = [oracles.fail_chance(factor * values, chance, kept) for factor in levels]
    found = np.log(np.quantile(states, 0.95) / np.quantile(states, 0.05))
    assert found == pytest.approx(math.log(ends[1] / ends[0]), rel=0.1)


@pytest.mark.parametrize("rods", [1, 4])
def test_states_average_to_the_whole(oracles, rods):
    """Law of total probability, by quadrature over factor and glue."""
    scenario = oracles.plain(MODEL | GLUE, [oracles.load(Gumbel(3000.0, 600.0))], rods=rods)
    found = [band(weighted_sample(scenario, seed), seed).life.mean() for seed in (4, 5, 6)]
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2))
    least = oracles.weakest(oracles.lognormal(oracles.BOND, 0.1).cdf, 2 * rods)
    values, chance = oracles.on_grid(least, 500.0, 40_000.0, 4001)
    z = np.linspace(-6.0, 6.0, 301)
    share = stats.norm.pdf(z) / stats.norm.pdf(z).sum()
    s = math.sqrt(math.log1p(0.15**2))
    factors = np.exp(s * z - 0.5 * s * s)
    exact = sum(
        p * oracles.fail_chance(f * values, chance, kept)
        for p, f in zip(share, factors, strict=True)
    )
    assert np.mean(found) == pytest.approx(exact, rel=0.06)  # evenly filled: no noise of the factor


def test_an_unknown_share_of_weak_joints_makes_the_band(oracles):
    """Sound joints never fail: the chance is that of a weak one among two, a known curve."""
    spreads = GLUE | {"weak_bonds.lone_weight": Uniform(0.002, 0.05)}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(1200.0, 120.0))])
    states = band(weighted_sample(scenario, 5), 5).life
    kept = oracles.log_kept_yearly(oracles.gumbel(1200.0, 0.1))
    law = oracles.lognormal(oracles.BOND, 0.1)
    for level in LEVELS:
        q = 0.002 + 0.048 * level
        least = oracles.weakest(oracles.mixed(law.cdf, q, 0.3), 2)
        exact = oracles.fail_chance(*oracles.on_grid(least, 200.0, 40_000.0), kept)
        assert np.quantile(states, level) == pytest.approx(exact, rel=0.2)


def test_what_scatters_makes_no_band(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(3000.0, 600.0))])
    found = band(weighted_sample(scenario, 1), 1)
    assert found.life.size == found.target.size == 0


def test_an_unknown_that_moves_nothing_leaves_a_band_of_no_width(oracles):
    """The exponent of the gap at a gap of factor 1; what is left is noise, taken out again."""
    spreads = GLUE | {"model.gap_factor_exponent": Uniform(0.5, 1.5)}
    loads = [oracles.load(Gumbel(3000.0, 600.0))]
    states = band(weighted_sample(oracles.plain(spreads, loads), 6), 6).life
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2))
    least = oracles.weakest(oracles.lognormal(oracles.BOND, 0.1).cdf, 2)
    exact = oracles.fail_chance(*oracles.on_grid(least, 500.0, 40_000.0), kept)
    assert np.quantile(states, 0.95) < 1.25 * np.quantile(states, 0.05)
    assert np.median(states) == pytest.approx(exact, rel=0.1)


def test_columns_of_lack_of_knowledge_only(oracles):
    spreads = MODEL | GLUE | {"weak_bonds.lone_weight": Uniform(0.0, 0.1)}
    rods = rod_set(oracles.plain(spreads, [oracles.load(Gumbel(3000.0, 600.0))], rods=2))
    given = unknown_columns(rods)
    assert given.sum() == 2
    for key in ("model.bond_factor", "weak_bonds.lone_weight"):
        assert given[rods.layout.columns[key]].all()
    assert not given[rods.layout.columns["adhesive.shear_strength"]].any()


# The target's own band --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("period", "scope", "years"), [("life", "rod", 4.0), ("year", "set", 1.0), ("year", "rod", 1.0)]
)
def test_the_band_of_the_target_is_of_its_own_period_and_scope(oracles, period, scope, years):
    """Three rods of one strength, a load each its own."""
    loads = [oracles.load(Gumbel(3000.0, 600.0), scope="rod")]
    scenario = oracles.plain(MODEL, loads, rods=3, target=(1e-3, period, scope))
    found = band(weighted_sample(scenario, 7), 7)
    law = oracles.gumbel(3000.0, 0.2)
    for level in LEVELS:
        force = strong_to_weak(oracles, level) * oracles.BOND
        met = 3 if scope == "set" else 1
        exact = -math.expm1(met * years * law.logcdf(force))
        assert np.quantile(found.target, level) == pytest.approx(exact, rel=0.12)
        whole = -math.expm1(12.0 * law.logcdf(force))
        assert np.quantile(found.life, level) == pytest.approx(whole, rel=0.12)


def test_without_a_target_both_are_the_same(oracles):
    found = band(weighted_sample(oracles.plain(MODEL, [oracles.load(Gumbel(3000.0, 600.0))]), 1), 1)
    assert np.array_equal(found.life, found.target)


@pytest.mark.parametrize("share", [0.2, 0.7])
def test_chance_that_the_target_is_met_is_that_of_the_factor(oracles, share):
    law = oracles.gumbel(3000.0, 0.2)
    force = strong_to_weak(oracles, share) * oracles.BOND
    asked = -math.expm1(4.0 * law.logcdf(force))
    scenario = oracles.plain(MODEL, [oracles.load(Gumbel(3000.0, 600.0))], target=(asked,))
    sample = weighted_sample(scenario, 8)
    states = band(sample, 8)
    chance = judgement.failure_probability(sample, states.life)
    found = judgement.target_verdict(sample, scenario.target, chance, states.target)
    assert found.chance_met == pytest.approx(share, abs=1.01 / states.life.size)
    assert found.met is None


# Draws ------------------------------------------------------------------------------------------


def test_same_states_at_any_pool_and_others_at_another_seed(oracles):
    scenario = oracles.plain(MODEL | GLUE, [oracles.load(Gumbel(3000.0, 600.0))])
    sample = weighted_sample(scenario, 0)
    alone = band(sample, 0).life
    with ThreadPoolExecutor(3) as pool:
        assert np.array_equal(alone, band(sample, 0, pool).life)
    assert not np.array_equal(alone, band(sample, 1).life)


def test_more_load_moves_every_state_up(oracles):
    found = [
        band(weighted_sample(oracles.plain(MODEL, [oracles.load(Gumbel(m, 600.0))]), 1), 1).life
        for m in (2500.0, 3000.0, 3500.0)
    ]
    assert np.all(found[0] < found[1])
    assert np.all(found[1] < found[2])


@given(st.integers(2, 60), st.integers(1, 4), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_the_hypercube_has_one_score_in_each_equal_share(count, dimension, seed):
    scores = hypercube(np.random.default_rng(seed), count, dimension)
    assert scores.shape == (count, dimension)
    cell = np.floor(stats.norm.cdf(scores) * count).astype(int)
    assert np.array_equal(np.sort(cell, axis=0), np.tile(np.arange(count)[:, None], dimension))


# Noise taken out --------------------------------------------------------------------------------


@pytest.mark.parametrize("noise", [0.05, 0.3])
def test_noise_of_known_size_is_taken_out_of_the_width(noise):
    """Lognormal states of known spread times lognormal noise: the spread comes back."""
    rng = np.random.default_rng(5)
    true = np.exp(-7.0 + 0.6 * rng.standard_normal(20_000))
    s = math.sqrt(math.log1p(noise**2))
    seen = true * np.exp(s * rng.standard_normal(true.size) - 0.5 * s * s)
    found = room._without_noise(seen, (noise * seen) ** 2)
    assert np.log(found).std() == pytest.approx(0.6, rel=0.02)
    assert np.log(found).mean() == pytest.approx(-7.0, abs=0.02)


def test_noise_larger_than_the_width_draws_all_states_together():
    found = room._without_noise(np.array([1e-3, 2e-3, 3e-3]), np.array([1e-4, 1e-4, 1e-4]))
    assert np.ptp(np.log(found)) == pytest.approx(0.0, abs=1e-12)


def test_states_without_a_failure_stay_at_none_and_none_is_above_one():
    chance = np.array([0.0, 0.2, 0.9, 0.99])
    found = room._without_noise(chance, np.array([0.0, 0.0, 0.05, 0.05]))
    assert found[0] == 0.0
    assert found.max() <= 1.0
    one = np.array([0.0, 0.0, 3e-4])
    assert np.array_equal(room._without_noise(one, np.zeros(3)), one)
