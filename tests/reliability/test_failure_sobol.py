"""Indices of the failure event: labels, ties to the plain estimator, what is not known."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.reliability import failure_indices, failure_sobol, sobol
from jointrisk.reliability.estimates import Estimate
from jointrisk.reliability.failure_aims import Aim, doubted, joined
from jointrisk.reliability.failure_indices import _Run
from jointrisk.reliability.failure_pairs import Pairs, _mirror
from jointrisk.reliability.failure_regions import (
    _shrunk,
    _stripped,
    further_regions,
    weighed,
)
from jointrisk.reliability.importance import Weighted, importance
from jointrisk.reliability.interval import Bounds
from jointrisk.reliability.space import Problem, Space
from jointrisk.reliability.streams import block_rng

UNIT = spread.Normal(0.0, 1.0)
PAIR = {"a": UNIT, "b": UNIT}
WEAK = spread.Mixture([(0.995, spread.Fixed(0.0)), (0.005, spread.Fixed(1.0))])
HALF = spread.Mixture([(0.7, spread.Fixed(0.0)), (0.3, spread.Fixed(1.0))])


def margin(x):
    return 4.0 - 0.8 * x["a"] - 0.6 * x["b"]


def inside(interval, value):
    return interval[0] <= value <= interval[1]


def test_agrees_with_the_indices_of_an_indicator_where_both_see_failures():
    def bent(x):
        return 2.0 - x["a"] - 0.1 * x["b"] ** 2 * x["c"]

    laws = PAIR | {"c": spread.Lognormal(1.0, 0.5)}
    plain = sobol(lambda x: bent(x) < 0, laws, samples=2**15)
    found = failure_sobol(bent, laws, target_cov=0.025)
    assert found.probability == pytest.approx(plain.mean, rel=0.05)
    for name in laws:
        assert found.first[name] == pytest.approx(plain.first[name], abs=0.03)
        assert found.total[name] == pytest.approx(plain.total[name], abs=0.03)


def test_labels_by_formula():
    """A rare weak label w and a common one v lower the strength: nested failure sets."""

    def weakened(x):
        return margin(x) - 2.0 * x["w"] - 0.5 * x["v"]

    chance = {(w, v): ndtr(-(4 - 2 * w - 0.5 * v)) for w in (0, 1) for v in (0, 1)}
    of_w, of_v = [0.995, 0.005], [0.7, 0.3]
    given_w = [sum(of_v[v] * chance[w, v] for v in (0, 1)) for w in (0, 1)]
    p = np.dot(of_w, given_w)
    found = failure_sobol(weakened, PAIR | {"w": WEAK, "v": HALF}, target_cov=0.025, seed=0)
    assert inside(found.probability_interval, p)
    first = (np.dot(of_w, np.square(given_w)) - p**2) / (p * (1 - p))
    assert found.first["w"] == pytest.approx(first, rel=0.1)
    gap = sum(of_v[v] * (chance[1, v] - chance[0, v]) for v in (0, 1))
    assert found.total["w"] == pytest.approx(gap * 0.005 * 0.995 / (p * (1 - p)), rel=0.1)
    gap = sum(of_w[w] * (chance[w, 1] - chance[w, 0]) for w in (0, 1))
    assert found.total["v"] == pytest.approx(gap * 0.21 / (p * (1 - p)), rel=0.1)


def test_labels_alone_are_exact():
    """a of 0, 0, 1 and b of 0 to 3; failure where b > 1 + a: p = 5/12."""
    laws = {"a": spread.Empirical([0, 0, 1]), "b": spread.Empirical([0, 1, 2, 3])}
    found = failure_sobol(lambda x: 1 + x["a"] - x["b"], laws)
    p = 5 / 12
    assert found.probability == pytest.approx(p)
    of_a = (2 / 3 * 0.5**2 + 1 / 3 * 0.25**2 - p**2) / (p * (1 - p))
    of_b = (1 / 4 * (2 / 3) ** 2 + 1 / 4 - p**2) / (p * (1 - p))
    assert found.first == pytest.approx({"a": of_a, "b": of_b})
    assert found.total == pytest.approx({"a": 1 - of_b, "b": 1 - of_a})
    assert found.first_interval["b"] == pytest.approx((of_b, of_b))
    assert found.converged


def test_failing_and_holding_have_the_same_indices():
    rare = failure_sobol(margin, PAIR, seed=0)
    sure = failure_sobol(lambda x: -margin(x), PAIR, confidence=0.999, seed=0)
    assert sure.probability == pytest.approx(1.0 - rare.probability, abs=1e-6)
    assert sure.probability_interval[0] <= 1 - ndtr(-4.0) <= sure.probability_interval[1]
    assert sure.first == pytest.approx(rare.first, rel=0.25)
    assert sure.total == pytest.approx(rare.total, rel=0.1)


def test_a_step_without_slope():
    found = failure_sobol(lambda x: np.where(margin(x) < 1.0, -1.0, 1.0), PAIR, seed=0)
    assert inside(found.probability_interval, ndtr(-3.0))
    smooth = failure_sobol(lambda x: margin(x) - 1.0, PAIR, seed=0)
    assert found.total == pytest.approx(smooth.total, rel=0.15)


def test_an_inert_variable_and_a_constant():
    laws = PAIR | {"idle": UNIT, "k": spread.Fixed(1.0)}
    found = failure_sobol(margin, laws, seed=0)
    assert found.total["idle"] == 0.0
    assert 0.0 < found.total_interval["idle"][1] < 0.02
    assert found.first_interval["idle"][1] < 0.01 * found.first["a"]
    assert found.first_interval["k"] == found.total_interval["k"] == (0.0, 0.0)


def test_total_interval_of_one_that_is_nearly_all_is_not_a_point():
    """Few failing draws fail again: those seen may all have tiny weights."""
    laws = {"a": UNIT, "b": spread.Normal(0.0, 2.0)}
    found = failure_sobol(lambda x: 9.0 - x["a"] - x["b"], laws, max_evaluations=3000)
    low, high = found.total_interval["b"]
    assert low < 0.9965 < high
    assert low > 0.9


def test_nothing_failed_is_not_an_index():
    for sign, said in ((1.0, "nothing failed"), (-1.0, "nothing held")):
        found = failure_sobol(
            lambda x, s=sign: np.full(x["a"].size, s), PAIR, max_evaluations=20_000
        )
        assert found.first_interval["a"] == found.total_interval["b"] == (0.0, 1.0)
        assert not found.converged
        assert any(said in note for note in found.notes)
        assert found.probability_interval[1] - found.probability_interval[0] < 1e-2


def test_a_failure_that_a_second_look_misses_is_not_known():
    """The origin fails and next to nothing else: no design point, so plain draws only."""
    found = failure_sobol(lambda x: np.abs(x["a"]) - 1e-4, PAIR, max_evaluations=30_000)
    assert not found.converged
    assert found.total_interval["a"][1] == found.first_interval["a"][1] == 1.0


def test_one_variable_is_all():
    found = failure_sobol(lambda x: 4.0 - x["a"], {"a": UNIT})
    assert found.first["a"] == pytest.approx(1.0, abs=0.1)
    assert inside(found.first_interval["a"], 1.0)
    assert inside(found.total_interval["a"], 1.0)


def test_not_converged_is_said_with_the_names():
    found = failure_sobol(margin, PAIR, target_cov=1e-3, max_evaluations=20_000)
    assert not found.converged
    assert any("not converged: first index of a, b" in note for note in found.notes)
    assert any("not converged: coefficient of variation" in note for note in found.notes)


def test_nan_margins_are_failures_and_counted():
    found = failure_sobol(lambda x: np.where(x["a"] > 3, np.nan, 5.0 - x["b"]), PAIR)
    assert found.total["a"] == pytest.approx(1.0, abs=0.01)
    assert any("NaN" in note and "count as failures" in note for note in found.notes)


def test_samples_fix_the_work():
    few = failure_sobol(margin, PAIR, samples=1000)
    many = failure_sobol(margin, PAIR, samples=8000)
    assert few.samples == 1000
    assert many.samples == 8000
    width = [np.diff(found.first_interval["a"])[0] for found in (few, many)]
    assert width[1] < 0.6 * width[0]
    assert few.evaluations < 20_000


def test_same_seed_same_bytes_with_any_pool():
    laws, ties = PAIR | {"w": HALF}, {("a", "b"): 0.3}

    def shifted(x):
        return margin(x) - x["w"]

    alone = failure_sobol(shifted, laws, correlation=ties, seed=0)
    with ThreadPoolExecutor(3) as pool:
        pooled = failure_sobol(shifted, laws, correlation=ties, seed=0, pool=pool)
    assert repr(pooled) == repr(alone)
    assert failure_sobol(shifted, laws, correlation=ties, seed=1) != alone


def test_frame_names_every_variable():
    frame = failure_sobol(margin, PAIR, samples=500).to_frame()
    assert list(frame["name"]) == ["a", "b"]
    assert "probability" not in frame.columns


def test_mirror_lays_a_direction_on_the_first_axis():
    for along in (np.array([1.0, 0, 0]), np.array([-1.0, 0, 0]), np.array([0.6, 0, -0.8])):
        turn = _mirror(along)
        assert turn @ along == pytest.approx(np.array([1.0, 0, 0]), abs=1e-12)
        assert turn @ turn == pytest.approx(np.eye(3), abs=1e-12)


class Known:
    """Pairs that came to a variance of 3 p² without error."""

    def bounds(self, confidence):
        return Bounds(3.0, 3.0, 3.0, 0.0)


@pytest.mark.parametrize(("fails", "known"), [(0.0, False), (0.9, False), (1.0, True)])
def test_pairs_that_miss_failures_know_no_variance(fails, known):
    """Both failing less often than independent draws would: a variance below 0."""
    space = Space.of(PAIR)
    pairs = Pairs(Problem(space, margin), (), np.ones(1), np.array([1.0, 0.0]), 1e-4)
    pairs.terms = fails - 1.0 + 0.01 * np.random.default_rng(0).standard_normal(512)
    pairs.component, pairs.seen = np.zeros(512, dtype=np.intp), True
    bounds = pairs.bounds(0.95)
    assert bool(bounds.high < 0.1) is known
    assert bool(np.isfinite(bounds.standard_error)) is known


def test_the_error_of_the_probability_is_part_of_that_of_the_index():
    """S = (C − p²) / (p (1 − p)) with C = 4 p² known: by differences in p, other factors of
    p̂ in the variance being those of the estimate.
    """
    run = _Run(Problem(Space.of(PAIR), margin), 0, Aim(0.05), None, 1000, 0.95)
    p = Bounds(0.2, 0.19, 0.22, 0.01)
    whole, own = run.first(Known(), p)

    def index(assumed):  # 4 p² of the true 0.2 seen through another p
        return (0.16 / assumed - 2 * 0.2 + assumed) / (1 - assumed)

    slope = (index(0.2 + 1e-6) - index(0.2 - 1e-6)) / 2e-6
    assert whole.estimate == pytest.approx(index(0.2)) == pytest.approx(0.75)
    assert own.standard_error == 0.0
    assert whole.standard_error == pytest.approx(-slope * 0.01, rel=1e-4)
    assert (whole.low, whole.high) == pytest.approx((0.75 + 0.02 * slope, 0.75 - 0.01 * slope))


def test_both_errors_of_an_end_add_as_squares():
    p = Bounds(0.5, 0.4, 0.8, 0.1)
    found = Bounds(0.5, 0.2, 0.54, 0.1)
    assert joined(0.5, found, 1.0, 0.4, p) == pytest.approx(
        (0.5 - np.hypot(0.3, 0.04), 0.5 + np.hypot(0.04, 0.12))
    )
    assert joined(0.5, found, 1.0, -0.4, p) == pytest.approx(
        (0.5 - np.hypot(0.3, 0.12), 0.5 + np.hypot(0.04, 0.04))
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"target_cov": 0.0}, "target_cov.*got 0"),
        ({"samples": 0}, "samples.*got 0"),
        ({"max_evaluations": 0}, "max_evaluations.*got 0"),
        ({"confidence": 2.0}, "confidence.*got 2"),
        ({"seed": 1.5}, "seed.*got 1.5"),
    ],
)
def test_what_cannot_be_meant_is_refused(more, said):
    with pytest.raises(InputError, match=said):
        failure_sobol(margin, PAIR, **more)


def test_another_shape_is_refused():
    with pytest.raises(InputError, match=r"limit_state must return.*got float64 of shape \(\)"):
        failure_sobol(lambda x: 1.0, PAIR)


# Plain draws, where failure is common and variables many ------------------------------------------


MANY = {f"idle {i}": UNIT for i in range(25)}


def test_labels_and_ties_among_many_variables():
    """Plain draws: a label of three values, and two tied scores of which one is idle itself."""
    chance, limit = np.array([0.6, 0.38, 0.02]), np.array([3.0, 2.5, 0.5])
    label = spread.Mixture([(c, spread.Fixed(v)) for c, v in zip(chance, limit, strict=True)])
    laws = PAIR | {"limit": label} | MANY
    found = failure_sobol(lambda x: x["limit"] - x["a"], laws, correlation={("a", "b"): 0.6})
    q = ndtr(-limit)
    p = chance @ q
    whole = p * (1 - p)
    nodes, mass = np.polynomial.hermite_e.hermegauss(80)
    mass = mass / mass.sum()
    beyond = ndtr((0.6 * nodes[:, None] - limit) / 0.8)
    within = (mass @ (beyond * (1 - beyond))) @ chance / whole
    first = (mass @ (beyond @ chance) ** 2 - p**2) / whole
    assert inside(found.probability_interval, p)
    assert found.first["limit"] == pytest.approx((chance @ q**2 - p**2) / whole, rel=0.2)
    assert found.first["b"] == pytest.approx(first, rel=0.2)
    assert found.total["a"] == pytest.approx(within, rel=0.1)
    assert found.total["b"] == 0.0
    assert found.total_interval["b"][1] < 0.01


def test_plain_intervals_hold_over_seeds():
    """Of 30 seeds 24 or more at 0.95 (1 in 10,000 below), each index on its own."""
    laws = PAIR | MANY
    base = 2.0
    ratio = ndtr(-base)
    nodes, mass = np.polynomial.hermite_e.hermegauss(120)
    mass = mass / mass.sum()
    given = [ndtr((own * nodes - base) / rest) for own, rest in ((0.8, 0.6), (0.6, 0.8))]
    whole = ratio * (1 - ratio)
    first = [(mass @ g**2 - ratio**2) / whole for g in given]
    total = [mass @ (g * (1 - g)) / whole for g in given[::-1]]
    truth, held = np.array([ratio, *first, *total]), np.zeros(5)
    for seed in range(30):
        found = failure_sobol(
            lambda x: base - 0.8 * x["a"] - 0.6 * x["b"], laws, samples=30_000, seed=seed
        )
        around = [found.probability_interval]
        around += [found.first_interval[name] for name in "ab"]
        around += [found.total_interval[name] for name in "ab"]
        ends = np.array(around)
        held += (ends[:, 0] <= truth) & (truth <= ends[:, 1])
    assert np.all(held >= 24)


def test_what_the_bins_blur_is_counted_instead():
    """Failure in a comb of one variable, finer than any bin: its first index is 1."""
    laws = {"a": spread.Uniform(0.0, 1.0)} | MANY
    found = failure_sobol(lambda x: 997.0 * x["a"] % 1.0 - 0.05, laws, samples=40_000)
    assert found.first["a"] == pytest.approx(1.0, abs=0.01)
    assert found.total["a"] == pytest.approx(1.0, abs=0.02)
    assert any("first index from few draws: a" in note for note in found.notes)


def test_plain_draws_give_the_same_bytes_with_any_pool():
    laws = PAIR | MANY

    def found(pool=None):
        return failure_sobol(lambda x: margin(x) - 2.0, laws, samples=20_000, seed=0, pool=pool)

    with ThreadPoolExecutor(3) as pool:
        assert repr(found(pool)) == repr(found())


# Regions behind a step ----------------------------------------------------------------------------


def stepped(x):
    return margin(x) + 1.0 - 2.0 * (x["weak"] < 0.005)


def searched(laws, seed=0):
    problem = Problem(Space.of(laws), stepped)
    found = importance(problem, seed=seed, target_cov=0.2, max_evaluations=4000, confidence=0.95)
    rngs = iter([block_rng(seed, 24, i) for i in range(400)])
    return problem, found, lambda: next(rngs)


@pytest.mark.parametrize("seed", range(3))
def test_a_region_behind_a_rare_step_gets_its_point(seed):
    """It lies at the step and at 3 along the margin beyond it."""
    problem, found, rngs = searched(PAIR | {"weak": spread.Uniform(0.0, 1.0)} | MANY, seed)
    more, calls = further_regions(problem, found, rngs, 8192)
    beta = np.hypot(ndtri(0.005), 3.0)
    nearest = more.strata[0].points[0]
    assert nearest.beta == pytest.approx(beta, rel=0.01)
    assert nearest.u[2] == pytest.approx(ndtri(0.005), rel=0.01)
    assert calls < 40_000
    kept = weighed(problem, more, rngs, target_cov=0.05, max_evaluations=100_000, confidence=0.95)
    p = 0.995 * ndtr(-5.0) + 0.005 * ndtr(-3.0)
    assert kept.cov <= 0.05
    assert kept.bounds.estimate == pytest.approx(p, rel=0.2)


def test_no_new_region_changes_nothing():
    problem = Problem(Space.of(PAIR), margin)
    found = importance(problem, seed=0, target_cov=0.1, max_evaluations=9000, confidence=0.95)
    more, _ = further_regions(problem, found, lambda: block_rng(0, 24, 1), 4096)
    assert more is found


def test_a_failing_draw_is_stripped_to_what_it_needs():
    def fails(u):
        return (u[:, 1] > 2.0) & (u[:, 3] < -1.0)

    rng = np.random.default_rng(0)
    u = rng.standard_normal((40, 6))
    u[:, 1], u[:, 3] = 2.0 + rng.random(40), -1.0 - rng.random(40)
    bare = _stripped(fails, u)
    assert np.all(bare[:, [0, 2, 4, 5]] == 0.0)
    near = _shrunk(fails, bare)
    assert np.all(fails(near))
    assert near[:, 1] == pytest.approx(np.full(40, 2.0), abs=3.0 / 2**6)
    assert near[:, 3] == pytest.approx(np.full(40, -1.0), abs=2.0 / 2**6)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"probability": 1.5e-3}, "0.001 here, 0.0015 by line: a region may be missed"),
        ({"cov": 0.5}, "too coarse to confirm it"),
        ({"converged": False}, "which no further method confirms"),
        ({}, ""),
    ],
)
def test_a_second_value_confirms_or_not(other, said):
    bounds = Bounds(1e-3, 0.9e-3, 1.1e-3, 5e-5)
    second = {"probability": 1.1e-3, "cov": 0.05, "converged": True} | other
    told = doubted(
        Weighted(bounds, (), 0, 0),
        Estimate(interval=(0.0, 1.0), confidence=0.95, evaluations=9, method="line", **second),
    )
    assert said in told
    assert bool(told) == bool(said)


def test_a_value_that_no_second_method_confirms_has_not_converged(monkeypatch):
    real = failure_indices.estimate

    def tenfold(*args, **more):
        found = real(*args, **more)
        return replace(found, probability=10.0 * found.probability)

    assert failure_sobol(margin, PAIR, seed=0).converged
    monkeypatch.setattr(failure_indices, "estimate", tenfold)
    found = failure_sobol(margin, PAIR, seed=0)
    assert not found.converged
    assert any("a region may be missed" in note for note in found.notes)
