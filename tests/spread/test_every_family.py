"""What holds for every family alike."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread

modest = settings(max_examples=60, deadline=None)
SCORES = np.array([-6.0, -2.0, -0.5, 0.0, 0.7, 2.5, 6.0])
SHARES = np.array([1e-9, 0.01, 0.3, 0.5, 0.77, 0.999])


class TestScores:
    def test_there_and_back(self, continuous: spread.Spread) -> None:
        back = continuous.to_normal(continuous.from_normal(SCORES))
        np.testing.assert_allclose(back, SCORES, atol=2e-6)

    def test_back_and_there(self, any_spread: spread.Spread) -> None:
        """Holds at atoms as well: the score of an atom is inside its share."""
        x = any_spread.from_normal(SCORES)
        np.testing.assert_allclose(
            any_spread.from_normal(any_spread.to_normal(x)), x, rtol=1e-9, atol=1e-14
        )

    def test_larger_scores_give_no_smaller_values(self, any_spread: spread.Spread) -> None:
        x = any_spread.from_normal(np.linspace(-37.0, 37.0, 2001))
        assert np.all(np.diff(x) >= -8.0 * np.spacing(np.abs(x[1:])))  # but for rounding

    def test_minus_zero_is_zero(self, any_spread: spread.Spread) -> None:
        assert any_spread.from_normal([-0.0])[0] == any_spread.from_normal([0.0])[0]

    def test_values_are_finite_to_37(self, any_spread: spread.Spread) -> None:
        assert np.all(np.isfinite(any_spread.from_normal([-37.0, 37.0])))

    def test_score_and_probability_agree(self, continuous: spread.Spread) -> None:
        from scipy.special import ndtr

        np.testing.assert_allclose(
            continuous.from_normal(SCORES[1:-1]), continuous.ppf(ndtr(SCORES[1:-1])), rtol=1e-9
        )


class TestProbabilities:
    def test_both_tails_add_up_to_one(self, any_spread: spread.Spread) -> None:
        x = any_spread.from_normal(SCORES)
        np.testing.assert_allclose(any_spread.cdf(x) + any_spread.sf(x), 1.0, rtol=1e-12)

    def test_the_quantile_is_the_least_value_that_reaches_its_share(
        self, any_spread: spread.Spread
    ) -> None:
        x = any_spread.ppf(SHARES)
        more = x + 4.0 * np.spacing(np.abs(x))  # room for the rounding of x
        assert np.all(any_spread.cdf(more) >= SHARES * (1.0 - 1e-9))
        less = x - 1e-6 * np.maximum(np.abs(x), 1e-3)
        assert np.all(any_spread.cdf(less) <= SHARES * (1.0 + 1e-9))

    def test_upper_and_lower_quantiles_agree(self, continuous: spread.Spread) -> None:
        np.testing.assert_allclose(
            continuous.isf(1.0 - SHARES[1:]), continuous.ppf(SHARES[1:]), rtol=1e-9
        )

    def test_what_is_no_probability_gives_nan(self, any_spread: spread.Spread) -> None:
        assert np.all(np.isnan(any_spread.ppf([-0.1, 1.1, np.nan])))
        assert np.all(np.isnan(any_spread.isf([-0.1, 1.1, np.nan])))

    def test_infinity_is_beyond_all(self, any_spread: spread.Spread) -> None:
        assert any_spread.cdf(np.inf) == 1.0
        assert any_spread.sf(np.inf) == 0.0
        assert any_spread.cdf(-np.inf) == 0.0
        assert any_spread.sf(-np.inf) == 1.0

    def test_nan_stays_nan(self, any_spread: spread.Spread) -> None:
        for method in ("cdf", "sf", "pdf", "logpdf", "from_normal", "to_normal"):
            assert np.isnan(getattr(any_spread, method)(np.nan)), method


class TestDensity:
    def test_density_is_the_slope_of_the_probability(self, continuous: spread.Spread) -> None:
        x = continuous.from_normal(np.array([-1.5, -0.4, 0.3, 1.1]))
        h = 1e-6 * np.maximum(np.abs(x), 1e-3)
        slope = (continuous.cdf(x + h) - continuous.cdf(x - h)) / (2.0 * h)
        np.testing.assert_allclose(continuous.pdf(x), slope, rtol=1e-5)

    def test_log_density_is_the_log_of_the_density(self, continuous: spread.Spread) -> None:
        x = continuous.from_normal(SCORES)
        np.testing.assert_allclose(np.exp(continuous.logpdf(x)), continuous.pdf(x), rtol=1e-13)

    def test_density_adds_up_to_one(self, continuous: spread.Spread) -> None:
        """Trapezia in the score: ∫ f(x) (dx/du) du with dx/du by differences."""
        u = np.linspace(-9.0, 9.0, 20001)
        x = continuous.from_normal(u)
        middle = 0.5 * (x[1:] + x[:-1])
        assert np.sum(continuous.pdf(middle) * np.diff(x)) == pytest.approx(1.0, rel=1e-4)

    def test_no_density_beyond_the_ends(self, continuous: spread.Spread) -> None:
        low, high = continuous.ppf(0.0), continuous.ppf(1.0)
        if np.isfinite(low):
            assert continuous.pdf(low - 1.0) == 0.0
            assert continuous.logpdf(low - 1.0) == -np.inf
            assert continuous.to_normal(low - 1.0) == -np.inf
        if np.isfinite(high):
            assert continuous.pdf(high + 1.0) == 0.0
            assert continuous.to_normal(high + 1.0) == np.inf


class TestMoments:
    def test_moments_are_those_of_many_draws(self, any_spread: spread.Spread) -> None:
        x = any_spread.sample(200_000, rng=7)
        assert x.mean() == pytest.approx(any_spread.mean, abs=6.0 * any_spread.sd / 200_000**0.5)
        assert x.std() == pytest.approx(any_spread.sd, rel=0.05, abs=1e-15)

    def test_moments_are_plain_floats(self, any_spread: spread.Spread) -> None:
        assert type(any_spread.mean) is float
        assert type(any_spread.sd) is float


class TestDraws:
    def test_same_seed_same_draws(self, any_spread: spread.Spread) -> None:
        np.testing.assert_array_equal(any_spread.sample(50, rng=4), any_spread.sample(50, rng=4))

    def test_no_seed_means_the_default_one(self, any_spread: spread.Spread) -> None:
        np.testing.assert_array_equal(any_spread.sample(50), any_spread.sample(50))

    def test_a_generator_is_used_on_from_where_it_stands(self) -> None:
        rng = np.random.default_rng(0)
        first, second = (spread.Normal(0.0, 1.0).sample(5, rng=rng) for _ in range(2))
        both = spread.Normal(0.0, 1.0).sample(10, rng=0)
        np.testing.assert_array_equal(np.concatenate([first, second]), both)

    def test_zero_is_a_seed(self) -> None:
        ours = spread.Normal(0.0, 1.0)
        assert not np.array_equal(ours.sample(5, rng=0), ours.sample(5))
        np.testing.assert_array_equal(
            ours.sample(5, rng=0), np.random.default_rng(0).standard_normal(5)
        )

    def test_shape_of_the_draws(self, any_spread: spread.Spread) -> None:
        assert any_spread.sample((3, 4)).shape == (3, 4)

    def test_values_do_not_depend_on_the_batch(self, any_spread: spread.Spread) -> None:
        """The same bytes whether a score is asked alone, in pairs or among thousands."""
        u = np.random.default_rng(1).standard_normal(2048)
        whole = any_spread.from_normal(u)
        parts = np.concatenate([any_spread.from_normal(part) for part in np.split(u, 8)])
        np.testing.assert_array_equal(whole, parts)
        np.testing.assert_allclose(whole[17], any_spread.from_normal(u[17]), rtol=1e-14)


class TestArrays:
    @pytest.mark.parametrize("method", ["cdf", "sf", "pdf", "logpdf", "from_normal", "to_normal"])
    def test_shapes_are_kept(self, any_spread: spread.Spread, method: str) -> None:
        x = np.linspace(0.11, 3.0, 12)
        flat = getattr(any_spread, method)(x)
        assert flat.shape == (12,)
        assert flat.dtype == np.float64
        square = getattr(any_spread, method)(x.reshape(3, 4))
        np.testing.assert_array_equal(square, flat.reshape(3, 4))

    @pytest.mark.parametrize("method", ["cdf", "pdf", "ppf", "isf", "from_normal", "to_normal"])
    def test_a_scalar_goes_the_same_way(self, any_spread: spread.Spread, method: str) -> None:
        call = getattr(any_spread, method)
        single = call(0.25)
        assert np.ndim(single) == 0
        np.testing.assert_allclose(single, call([0.25])[0], rtol=1e-14)

    def test_an_empty_array_stays_empty(self, any_spread: spread.Spread) -> None:
        assert any_spread.from_normal(np.empty(0)).shape == (0,)
        assert any_spread.to_normal(np.empty(0)).shape == (0,)
        assert any_spread.ppf(np.empty(0)).shape == (0,)

    def test_the_argument_is_left_alone(self, any_spread: spread.Spread) -> None:
        x = np.linspace(0.1, 2.0, 9)
        before = x.copy()
        for method in ("cdf", "sf", "logpdf", "from_normal", "to_normal", "ppf"):
            getattr(any_spread, method)(x)
        np.testing.assert_array_equal(x, before)


class TestValueObjects:
    def test_equal_and_hashable(self, any_spread: spread.Spread) -> None:
        again = pickle.loads(pickle.dumps(any_spread))  # noqa: S301 - our own bytes
        assert again == any_spread
        assert hash(again) == hash(any_spread)
        np.testing.assert_array_equal(again.from_normal(SCORES), any_spread.from_normal(SCORES))

    def test_frozen(self, any_spread: spread.Spread) -> None:
        name = fields(any_spread)[0].name
        with pytest.raises(FrozenInstanceError):
            setattr(any_spread, name, 1.0)

    def test_parameters_are_numbers(self, any_spread: spread.Spread) -> None:
        assert any_spread.parameters
        assert all(type(v) is float for v in any_spread.parameters.values())

    def test_one_short_line(self, any_spread: spread.Spread) -> None:
        assert "\n" not in str(any_spread)
        assert len(str(any_spread)) < 120


# ------------------------------------------------------------------ random parameters

positive = st.floats(0.05, 500.0)
cov = st.floats(0.02, 1.5)
scores = st.floats(-12.0, 12.0)


@modest
@given(mean=positive, ratio=cov, u=scores)
@pytest.mark.parametrize(
    "family", [spread.Normal, spread.Lognormal, spread.Gumbel, spread.GumbelMin, spread.Gamma]
)
def test_round_trip_of_families_by_mean_and_sd(family, mean: float, ratio: float, u: float) -> None:
    ours = family(mean, ratio * mean)
    x = ours.from_normal(u)
    if x > 1e-290 or x < 0.0:  # a gamma of large scatter is 0 in doubles far down
        # The rounding of x (a few units in its last place) in terms of the score.
        blur = 8.0 * np.spacing(np.abs(x)) * np.exp(ours.logpdf(x) + 0.5 * u * u) * 2.5066
        assert ours.to_normal(x) == pytest.approx(u, abs=1e-11 + blur)
    assert ours.mean == mean
    assert ours.sd == ratio * mean


@modest
@given(shape=st.floats(0.5, 30.0), scale=positive, u=st.floats(-37.0, 37.0))
def test_round_trip_of_weibull_and_frechet(shape: float, scale: float, u: float) -> None:
    ours = spread.Weibull(shape + 1.0, scale)  # below 1 the lowest values underflow
    assert ours.to_normal(ours.from_normal(u)) == pytest.approx(u, abs=2e-11)
    ours = spread.Frechet(shape + 1.0, scale)
    assert ours.to_normal(ours.from_normal(u)) == pytest.approx(u, abs=2e-11)


@modest
@given(factor=st.floats(0.01, 100.0), u=scores)
def test_change_of_unit(factor: float, u: float) -> None:
    """A spread in other units gives the same values in those units."""
    for ours, scaled in (
        (spread.Lognormal(25.0, 3.0), spread.Lognormal(25.0 * factor, 3.0 * factor)),
        (spread.Gumbel(25.0, 3.0), spread.Gumbel(25.0 * factor, 3.0 * factor)),
        (spread.Weibull(3.0, 25.0), spread.Weibull(3.0, 25.0 * factor)),
        (spread.Beta(0.0, 9.0, 2.0, 1.0), spread.Beta(0.0, 9 * factor, 2 * factor, factor)),
    ):
        assert scaled.from_normal(u) == pytest.approx(factor * ours.from_normal(u), rel=1e-9)


@modest
@given(u=st.floats(-20.0, 20.0), mean=st.floats(-9.0, 9.0), sd=st.floats(0.1, 9.0))
def test_gumbel_for_minima_is_the_mirror(u: float, mean: float, sd: float) -> None:
    mirrored = -spread.Gumbel(-mean, sd).from_normal(-u)
    assert spread.GumbelMin(mean, sd).from_normal(u) == pytest.approx(mirrored, rel=1e-12)


@modest
@given(low=st.floats(-3.0, 1.0), width=st.floats(0.05, 4.0), u=scores)
def test_truncation_keeps_to_its_ends(low: float, width: float, u: float) -> None:
    ours = spread.Truncated(spread.Normal(0.0, 1.0), low, low + width)
    x = ours.from_normal(u)
    assert low <= x <= low + width
    assert low < ours.mean < low + width
    assert ours.sd < width / 2.0
    if -5.0 < u < 5.0:
        assert ours.to_normal(x) == pytest.approx(u, abs=1e-6)


@modest
@given(
    weight=st.floats(0.0, 1.0),
    far=st.floats(-40.0, 40.0),
    sd=st.floats(0.01, 10.0),
    u=st.floats(-30.0, 30.0),
)
def test_mixture_quantile_has_its_score(weight: float, far: float, sd: float, u: float) -> None:
    """To rounding: the next doubles on either side of the value enclose the score."""
    ours = spread.Mixture([(weight, spread.Normal(far, sd)), (1 - weight, spread.Normal(0.0, 1.0))])
    x = ours.from_normal(u)
    step = 16.0 * np.spacing(np.maximum(np.abs(x), 1e-12))
    assert ours.to_normal(x - step) - 1e-11 <= u <= ours.to_normal(x + step) + 1e-11


@modest
@given(count=st.floats(1.0, 1e6), u=scores)
def test_more_draws_give_a_larger_maximum(count: float, u: float) -> None:
    base = spread.Normal(0.0, 1.0)
    fewer = spread.MaximumOf(base, count).from_normal(u)
    more = spread.MaximumOf(base, 2.0 * count).from_normal(u)
    assert base.from_normal(u) <= fewer + 1e-12
    assert fewer < more


@modest
@given(n=st.floats(0.01, 1e4), x=st.floats(0.0, 50.0))
def test_events_of_many_years_are_the_product_of_each(n: float, x: float) -> None:
    """P(largest in n ≤ x)² = P(largest in 2n ≤ x)."""
    base = spread.Exponential(3.0)
    once = spread.MaximumOfEvents(base, n).cdf(x)
    assert spread.MaximumOfEvents(base, 2.0 * n).cdf(x) == pytest.approx(once**2, rel=1e-10)
