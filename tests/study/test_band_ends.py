"""How well the ends of the band are known, against laws whose percentiles are exact."""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy import stats

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study import assess, judgement
from jointrisk.study.band import band, hypercube
from jointrisk.study.band_ends import (
    GROUPS,
    REFERENCE,
    equally_likely,
    quantile_interval,
    quantiles,
    share_interval,
)
from jointrisk.study.sample import weighted_sample

LEVELS = np.array([0.05, 0.5, 0.95])
STATES = 320
SLOPES = np.array([1.2, -0.7, 0.3, 0.0, 0.0])
MODEL = {"model.bond_factor": Lognormal(1.0, 0.15), "model.load_factor": Lognormal(1.0, 0.2)}
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.0)}
NONE = np.empty((0, 0))


def made(seed, law, noise=0.0, states=STATES, dimension=5):
    """Return scores, noisy chances, variances and a reference for a law of the log of p."""
    rng = np.random.default_rng(seed)
    scores = hypercube(rng, states, dimension)
    exact = np.exp(law(scores, rng))
    wide = math.sqrt(math.log1p(noise**2))
    chance = exact * np.exp(wide * rng.standard_normal(states) - 0.5 * wide**2)
    reference = hypercube(rng, REFERENCE, dimension)
    return scores, chance, (noise * chance) ** 2, reference


def straight(z, rng):
    return -6.0 + z @ SLOPES


def with_a_rest(z, rng):
    return straight(z, rng) + 0.4 * rng.standard_normal(z.shape[0])


def product(z, rng):
    return -6.0 + z[:, 0] * (1.0 + 0.3 * z[:, 1])


def exact_ends(law):
    """Quantiles of the log: normal laws exactly, others by a million plain draws."""
    if law is straight:
        return -6.0 + stats.norm.ppf(LEVELS) * np.linalg.norm(SLOPES)
    if law is with_a_rest:
        return -6.0 + stats.norm.ppf(LEVELS) * math.hypot(np.linalg.norm(SLOPES), 0.4)
    rng = np.random.default_rng(99)
    return np.quantile(law(rng.standard_normal((10**6, 5)), rng), LEVELS)


@pytest.mark.parametrize(
    ("law", "noise"), [(straight, 0.3), (with_a_rest, 0.0), (with_a_rest, 0.3), (product, 0.3)]
)
def test_intervals_of_the_ends_hold_and_are_not_wide(law, noise):
    """Normal ends (closed form): held in nine of ten runs, about as wide as they scatter."""
    exact = exact_ends(law)
    found, ends = [], []
    for seed in range(25):
        own = equally_likely(*made(seed, law, noise), again=True)
        found.append(np.log(quantiles(own[0], LEVELS)))
        ends.append([np.log(quantile_interval(*own, level, 0.95)) for level in LEVELS])
    found, ends = np.array(found), np.array(ends)
    held = (ends[..., 0] <= exact) & (exact <= ends[..., 1])
    assert np.all(held.mean(axis=0) >= 0.85)
    assert held.mean() >= 0.9
    half = np.median(ends[..., 1] - ends[..., 0], axis=0) / 2.0
    # 25 seeds tell the scatter to 30 %; tests/benchmarks/band_ends.py tells more
    assert np.all(half <= 1.9 * 1.96 * found.std(axis=0, ddof=1))
    assert np.all(np.abs(found.mean(axis=0) - exact) < 0.06)


def test_a_fit_tells_the_lower_end_closer_than_sorted_states(oracles):
    found, alone = [], []
    for seed in range(30):
        scores, chance, variance, reference = made(seed, with_a_rest)
        own, _ = equally_likely(scores, chance, variance, reference, again=False)
        found.append(np.log(np.quantile(own, 0.05)))
        alone.append(np.log(np.quantile(chance, 0.05)))
    assert np.std(found) < 0.75 * np.std(alone)


def test_a_fit_that_is_wrong_does_no_harm():
    """A step where one unknown passes nought: two heaps of states, told by the rests."""

    def step(z, rng):
        return np.where(z[:, 0] > 1.0, -2.0, -7.0) + 0.3 * rng.standard_normal(z.shape[0])

    own, again = equally_likely(*made(3, step), again=True)
    share = 1.0 - stats.norm.cdf(1.0)
    assert np.mean(own > math.exp(-4.5)) == pytest.approx(share, abs=0.03)
    assert np.log(np.quantile(own, 0.05)) == pytest.approx(-7.0 + 0.3 * -1.6, abs=0.25)
    low, high = share_interval(own, again, math.exp(-4.5), 0.95)
    assert low < 1.0 - share < high


@pytest.mark.parametrize("noise", [0.1, 0.5])
def test_noise_alone_makes_a_band_of_no_width(noise):
    own, _ = equally_likely(*made(1, lambda z, rng: np.full(z.shape[0], -6.0), noise), again=False)
    low, high = np.quantile(own, (0.05, 0.95))
    assert high / low < 1.0 + noise
    assert np.median(own) == pytest.approx(math.exp(-6.0), rel=0.03 + 0.15 * noise**2)


def test_states_without_a_failure_count_as_none():
    scores, chance, variance, reference = made(2, with_a_rest)
    chance[scores[:, 0] < np.quantile(scores[:, 0], 0.1)] = 0.0
    own, again = equally_likely(scores, chance, variance, reference, again=True)
    assert np.mean(own == 0.0) == pytest.approx(0.1, abs=0.01)
    low, high = quantile_interval(own, again, 0.05, 0.95)
    assert low == 0.0 <= high
    assert np.all(np.diff(own) >= 0.0)


def test_too_few_states_or_too_many_without_failure_are_not_fitted():
    few = made(1, straight, states=40)
    assert equally_likely(*few, again=True) is None
    scores, chance, variance, reference = made(1, straight)
    chance[: STATES // 2] = 0.0
    assert equally_likely(scores, chance, variance, reference, again=True) is None
    many = made(1, straight, states=100, dimension=5)
    wide = np.random.default_rng(1).standard_normal((100, 60))
    assert equally_likely(wide, *many[1:3], np.zeros((10, 60)), again=False) is None


@pytest.mark.parametrize("states", [64, 100, 320])
def test_no_chance_is_above_one_at_any_number_of_states(states):
    def often(z, rng):
        return np.minimum(-0.1 + z @ SLOPES, 0.0)

    own, again = equally_likely(*made(5, often, 0.1, states), again=True)
    assert own.shape == (states,)
    assert again.shape == (GROUPS, states)
    for values in (own, again):
        assert np.all((values >= 0.0) & (values <= 1.0))
    assert np.all(quantile_interval(own, again, 0.95, 0.95) <= 1.0)


# Intervals of states alone ----------------------------------------------------------------------


def test_without_groups_a_quantile_has_the_interval_of_independent_states():
    """The share of independent states below it is a binomial count: held in 95 of 100."""
    rng = np.random.default_rng(1)
    held = []
    for _ in range(1000):
        values = np.sort(rng.random(STATES))
        low, high = quantile_interval(values, NONE, 0.05, 0.95)
        assert low <= np.quantile(values, 0.05) <= high
        held.append(low <= 0.05 <= high)
    assert 0.94 <= np.mean(held) <= 0.99


@pytest.mark.parametrize("share", [0, 1, 16, 160, 320])
def test_without_groups_a_share_has_the_exact_interval_of_a_count(share):
    """SciPy's exact binomial interval."""
    values = np.arange(1, STATES + 1) / 1000.0
    found = share_interval(values, NONE, share / 1000.0, 0.95)
    exact = stats.binomtest(share, STATES).proportion_ci(0.95, method="exact")
    assert found == pytest.approx([exact.low, exact.high])


def test_a_share_told_closer_by_the_groups_has_a_narrower_interval():
    values = np.sort(np.random.default_rng(2).random(STATES))
    alike = np.tile(values, (GROUPS, 1))
    wide = share_interval(values, NONE, 0.3, 0.95)
    narrow = share_interval(values, alike, 0.3, 0.95)
    assert wide[0] < narrow[0] < np.mean(values <= 0.3) < narrow[1] < wide[1]


# Whole scenarios --------------------------------------------------------------------------------


def test_the_ends_of_two_factors_lie_in_their_intervals(oracles):
    """One strength, a factor on it and on the load: the quotient is lognormal (closed form).

    The chance falls steadily with the quotient, so its percentiles are those of the quotient.
    """
    scenario = oracles.plain(MODEL, [oracles.load(Gumbel(3000.0, 600.0))])
    sample, law = weighted_sample(scenario, 1), oracles.gumbel(3000.0, 0.2)
    wide = np.log1p(np.array([0.15, 0.2]) ** 2)
    middle = 0.5 * (wide[1] - wide[0])
    quotient = np.exp(middle - stats.norm.ppf(LEVELS) * math.sqrt(wide.sum()))
    exact = np.log(-np.expm1(4.0 * law.logcdf(quotient * oracles.BOND)))
    held = []
    for seed in range(12):
        found = band(sample, seed, again=True)
        ends = [quantile_interval(found.life, found.life_again, q, 0.95) for q in LEVELS]
        low, high = np.log(np.array(ends)).T
        held.append((low <= exact) & (exact <= high))
        assert np.log(quantiles(found.life, LEVELS)) == pytest.approx(exact, rel=0.05)
    assert np.mean(held) >= 0.85


def test_same_groups_at_any_pool_and_the_band_is_the_same_without_them(oracles):
    sample = weighted_sample(oracles.plain(MODEL | GLUE, [oracles.load(Gumbel(3e3, 600.0))]), 0)
    alone = band(sample, 0, again=True)
    with ThreadPoolExecutor(3) as pool:
        assert np.array_equal(alone.life_again, band(sample, 0, pool, again=True).life_again)
    bare = band(sample, 0)
    assert np.array_equal(alone.life, bare.life)
    assert bare.life_again.shape == (0, bare.life.size)


@pytest.fixture(scope="module")
def answer(oracles):
    target = (1e-3, "year", "rod")
    return assess(
        oracles.plain(MODEL | GLUE, [oracles.load(Gumbel(3e3, 600.0))], target=target), seed=3
    )


def test_the_document_holds_intervals_round_the_ends(answer):
    told = answer.to_dict()
    ends = told["failure_probability"]["band"]
    assert list(ends)[:3] == ["p05", "p50", "p95"]
    for name in ("p05", "p50", "p95"):
        low, high = ends[f"{name}_interval"]
        assert 0.0 < low < ends[name] < high < 1.0
    low, high = told["target"]["chance_met_interval"]
    assert 0.0 <= low <= told["target"]["chance_met"] <= high <= 1.0
    assert told["target"]["close"] is False


def test_all_known_has_no_interval_of_a_band(oracles):
    told = assess(oracles.plain(GLUE, [oracles.load(Gumbel(3000.0, 600.0))]), seed=3).to_dict()
    assert told["failure_probability"]["band"]["p05_interval"] is None


# Verdicts ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def judged(oracles):
    """A sample, its headline, and states with groups about it."""
    sample = weighted_sample(oracles.plain(MODEL, [oracles.load(Gumbel(3000.0, 600.0))]), 1)
    found = band(sample, 1, again=True)
    chance = judgement.failure_probability(sample, found.life, found.life_again)
    return sample, found, chance


def verdict(oracles, judged, asked):
    sample, found, chance = judged
    target = oracles.wanted(asked)
    return judgement.target_verdict(sample, target, chance, found.life, found.life_again)


@pytest.mark.parametrize(
    ("end", "factor", "met", "close"),
    [
        ("p95", 1.005, True, True),
        ("p95", 0.995, None, True),
        ("p95", 3.0, True, False),
        ("p95", 0.5, None, False),
        ("p05", 0.995, False, True),
        ("p05", 1.005, None, True),
        ("p05", 0.3, False, False),
    ],
)
def test_a_verdict_within_the_error_of_an_end_says_so(oracles, judged, end, factor, met, close):
    asked = factor * getattr(judged[2], f"band_{end}")
    found = verdict(oracles, judged, asked)
    assert (found.met, found.close) == (met, close)
    low, high = found.chance_met_interval
    assert low <= found.chance_met <= high


def test_no_verdict_of_another_seed_differs_without_a_word(oracles, judged):
    """Six sets of states, targets all over the band: two verdicts, then one of them is close."""
    sample, _, chance = judged
    found = [band(sample, seed, again=True) for seed in range(6)]
    for asked in np.geomspace(0.5 * chance.band_p05, 2.0 * chance.band_p95, 25):
        target = oracles.wanted(float(asked))
        told = [
            judgement.target_verdict(sample, target, chance, one.life, one.life_again)
            for one in found
        ]
        if len({one.met for one in told}) > 1:
            assert any(one.close for one in told)


def test_all_known_and_near_the_target_is_close(oracles):
    sample = weighted_sample(oracles.plain(GLUE, [oracles.load(Gumbel(3000.0, 600.0))]), 1)
    chance = judgement.failure_probability(sample, np.empty(0))
    near, far = (
        judgement.target_verdict(sample, oracles.wanted(f * chance.estimate), chance, np.empty(0))
        for f in (1.001, 3.0)
    )
    assert (near.met, near.close, near.chance_met_interval) == (True, True, (0.0, 1.0))
    assert (far.met, far.close, far.chance_met_interval) == (True, False, (1.0, 1.0))
