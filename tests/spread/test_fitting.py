"""Fitting spreads to numbers: invariants, printing, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.errors import InputError

FAMILIES = ["normal", "lognormal", "weibull"]
COUPONS = np.array([22.1, 24.0, 24.9, 25.3, 26.7, 28.0])
HELD = np.array([23.0, 26.0])

modest = settings(max_examples=30, deadline=None)
samples = st.lists(st.floats(5.0, 50.0), min_size=3, max_size=30).filter(lambda x: np.ptp(x) > 0.5)


@pytest.mark.parametrize("family", FAMILIES)
class TestFit:
    def test_change_of_unit(self, family: str) -> None:
        """Thousandfold numbers: n·ln 1000 less likelihood, parameters in the new unit."""
        one = spread.fit(COUPONS, HELD, family=family)
        other = spread.fit(1e3 * COUPONS, 1e3 * HELD, family=family)
        assert other.log_likelihood == pytest.approx(
            one.log_likelihood - COUPONS.size * np.log(1e3), rel=1e-10
        )
        assert other.spread.mean == pytest.approx(1e3 * one.spread.mean, rel=1e-9)
        assert other.spread.sd == pytest.approx(1e3 * one.spread.sd, rel=1e-8)

    def test_order_does_not_matter(self, family: str) -> None:
        one = spread.fit(COUPONS, HELD, family=family)
        other = spread.fit(COUPONS[::-1], HELD[::-1], family=family)
        assert other.aic == pytest.approx(one.aic, rel=1e-12)

    def test_numbers_held_raise_the_strength(self, family: str) -> None:
        without = spread.fit(COUPONS, family=family).spread
        with_held = spread.fit(COUPONS, [30.0, 30.0], family=family).spread
        assert with_held.ppf(0.5) > without.ppf(0.5)

    def test_numbers_held_far_below_tell_nothing(self, family: str) -> None:
        without = spread.fit(COUPONS, family=family).spread
        with_held = spread.fit(COUPONS, [1.0] * 5, family=family).spread
        assert with_held.mean == pytest.approx(without.mean, rel=1e-5)

    def test_nothing_near_is_more_likely(self, family: str) -> None:
        """The likelihood, summed anew from the spread, falls in every direction."""
        found = spread.fit(COUPONS, HELD, family=family)
        build = {
            "normal": spread.Normal,
            "lognormal": spread.Lognormal.from_log,
            "weibull": lambda mu, sigma: spread.Weibull(1.0 / sigma, float(np.exp(mu))),
        }[family]

        def likelihood(mu: float, sigma: float) -> float:
            ours = build(mu, sigma)
            return float(ours.logpdf(COUPONS).sum() + np.log(ours.sf(HELD)).sum())

        best = likelihood(found.location, found.scale)
        assert best == pytest.approx(found.log_likelihood, rel=1e-10)
        for angle in np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False):
            mu = found.location + 0.02 * found.scale * np.cos(angle)
            sigma = found.scale * (1.0 + 0.02 * np.sin(angle))
            assert likelihood(mu, sigma) < best

    def test_four_times_the_numbers_halve_the_errors(self, family: str) -> None:
        one = spread.fit(COUPONS, family=family)
        four = spread.fit(np.tile(COUPONS, 4), family=family)
        for name, error in one.standard_errors.items():
            assert four.standard_errors[name] == pytest.approx(0.5 * error, rel=1e-6)

    def test_parameters_build_the_spread(self, family: str) -> None:
        found = spread.fit(COUPONS, HELD, family=family)
        for name, value in found.spread.parameters.items():
            if name != "shift":
                assert found.parameters[name] == pytest.approx(value, rel=1e-12)
        assert found.parameters.keys() == found.standard_errors.keys()
        assert found.family == family

    def test_many_draws_give_back_the_truth(self, family: str) -> None:
        truth = {
            "normal": spread.Normal(25.0, 3.0),
            "lognormal": spread.Lognormal(25.0, 3.0),
            "weibull": spread.Weibull(8.0, 25.0),
        }[family]
        x = truth.sample(20_000, rng=0)
        cut = 27.0
        found = spread.fit(x[x < cut], np.full(int(np.sum(x >= cut)), cut), family=family)
        for name, value in truth.parameters.items():
            if name != "shift":
                error = found.standard_errors[name]
                assert found.parameters[name] == pytest.approx(value, abs=5.0 * error)
                assert error < 0.05 * value


@modest
@given(x=samples)
@pytest.mark.parametrize("family", FAMILIES)
def test_every_sample_can_be_fitted(family: str, x: list[float]) -> None:
    found = spread.fit(x, family=family)
    assert np.isfinite(found.log_likelihood)
    assert all(error > 0.0 for error in found.standard_errors.values())
    assert min(x) <= found.spread.ppf(0.5) <= max(x)


@modest
@given(x=samples, held=st.lists(st.floats(5.0, 80.0), min_size=1, max_size=30))
def test_every_sample_with_running_parts_can_be_fitted(x: list[float], held: list[float]) -> None:
    for family in FAMILIES:
        found = spread.fit(x, held, family=family)
        assert np.isfinite(found.aic)
        assert found.censored == len(held)


# ------------------------------------------------------------------ basis values


@pytest.mark.parametrize("family", FAMILIES)
class TestBasis:
    def test_a_basis_is_below_b_basis_is_below_the_median(self, family: str) -> None:
        a = spread.basis_value(COUPONS, family=family, fraction=0.99)
        b = spread.basis_value(COUPONS, family=family)
        assert a < b < np.median(COUPONS)

    def test_more_confidence_less_value(self, family: str) -> None:
        found = [spread.basis_value(COUPONS, family=family, confidence=c) for c in (0.5, 0.8, 0.96)]
        assert found[0] > found[1] > found[2]

    def test_change_of_unit(self, family: str) -> None:
        one = spread.basis_value(COUPONS, family=family)
        assert spread.basis_value(1e3 * COUPONS, family=family) == pytest.approx(
            1e3 * one, rel=1e-8
        )

    def test_plain_float(self, family: str) -> None:
        assert type(spread.basis_value(COUPONS, family=family)) is float

    def test_more_coupons_of_the_same_scatter_give_more(self, family: str) -> None:
        few = spread.basis_value(COUPONS, family=family)
        assert spread.basis_value(np.tile(COUPONS, 5), family=family) > few

    def test_two_coupons_will_do_and_say_little(self, family: str) -> None:
        assert spread.basis_value([24.0, 26.0], family=family) < 22.0


def test_the_two_weibull_ways_meet() -> None:
    """A confidence next to 0.95 takes the exact limit, 0.95 itself the handbook's factor."""
    x = 25.0 * np.random.default_rng(0).weibull(8.0, 40)
    handbook = spread.basis_value(x, family="weibull")
    exact = spread.basis_value(x, family="weibull", confidence=0.950001)
    assert handbook == pytest.approx(exact, rel=0.01)


def test_the_exact_limit_is_a_function_of_the_fraction_without_steps() -> None:
    found = [
        spread.basis_value(COUPONS, family="weibull", fraction=f) for f in (0.88, 0.9, 0.92, 0.94)
    ]
    assert np.all(np.diff(found) < 0.0)


def test_many_numbers_bring_the_basis_to_the_quantile() -> None:
    truth = spread.Weibull(8.0, 25.0)
    x = truth.sample(20_000, rng=0)
    for found in (
        spread.basis_value(x, family="weibull"),
        spread.basis_value(x, family="weibull", confidence=0.9),
    ):
        assert found == pytest.approx(truth.ppf(0.1), rel=0.01)


# ------------------------------------------------------------------ comparing


def test_frame_is_sorted_and_complete() -> None:
    frame = spread.compare_fits(COUPONS)
    assert sorted(frame.index) == sorted(FAMILIES)
    assert frame.index.name == "family"
    assert frame["aic"].is_monotonic_increasing
    assert frame["aic_above_best"].iloc[0] == 0.0
    for family in FAMILIES:
        found = spread.fit(COUPONS, family=family)
        assert frame.loc[family, "aic"] == found.aic
        assert frame.loc[family, "log_likelihood"] == found.log_likelihood
        assert frame.loc[family, "mean"] == found.spread.mean
    assert np.all(frame["note"] == "")


def test_no_goodness_of_fit_where_some_are_still_running() -> None:
    frame = spread.compare_fits(COUPONS, HELD)
    assert frame["anderson_darling"].isna().all()
    assert np.all(np.isfinite(frame["aic"]))


def test_a_family_that_cannot_hold_the_numbers_says_so() -> None:
    frame = spread.compare_fits([-1.0, 2.0, 3.0, 4.5])
    assert frame.index[0] == "normal"
    for family in ("lognormal", "weibull"):
        assert np.isnan(frame.loc[family, "aic"])
        assert "got -1 at place 0" in frame.loc[family, "note"]


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: spread.fit([1.0]), ["values", "at least 2", "got 1"]),
        (lambda: spread.fit([]), ["values", "at least 2", "got 0"]),
        (lambda: spread.fit([3.0, 3.0, 3.0]), ["two different numbers", "[3.0, 3.0, 3.0]"]),
        (lambda: spread.fit([1.0, -2.0, 3.0]), ["above 0", "lognormal", "-2", "place 1"]),
        (lambda: spread.fit([1.0, 2.0], [0.0]), ["censored", "above 0", "got 0", "place 0"]),
        (lambda: spread.fit([1.0, np.nan, 2.0], family="normal"), ["finite", "nan", "place 1"]),
        (lambda: spread.fit(["a", "b"]), ["values", "numbers", "['a', 'b']"]),
        (lambda: spread.fit([1.0, 2.0], family="weibul"), ["'weibul'", "did you mean weibull"]),
        (lambda: spread.fit([1.0, 2.0], family="x"), ["'x'", "lognormal, normal, weibull"]),
        (lambda: spread.basis_value([1.0]), ["at least 2", "got 1"]),
        (lambda: spread.basis_value([2.5, 2.5]), ["need to differ", "2 times 2.5"]),
        (lambda: spread.basis_value([1.0, 2.0], fraction=1.0), ["fraction", "0 and 1", "got 1"]),
        (
            lambda: spread.basis_value([1.0, 2.0], confidence=95),
            ["confidence", "0 and 1", "got 95"],
        ),
        (lambda: spread.basis_value([1.0, 2.0], family="gamma"), ["'gamma'", "normal"]),
        (lambda: spread.basis_value([-1.0, 2.0], family="weibull"), ["above 0", "got -1"]),
        (lambda: spread.compare_fits([1.0]), ["at least 2", "got 1"]),
    ],
)
def test_refusal_names_value_and_what_is_allowed(call, words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        call()
    for word in words:
        assert word in str(caught.value)
