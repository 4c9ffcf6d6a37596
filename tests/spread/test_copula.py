"""The Gaussian copula: matrices, directions, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.errors import InputError

NAMES = ["gap", "overlap", "strength"]
SPREADS = {
    "gap": spread.Normal(0.2, 0.03),
    "overlap": spread.Uniform(28.0, 32.0),
    "strength": spread.Lognormal(25.0, 12.0),
}


def scores(pairs) -> spread.GaussianCopula:
    """Return a copula of score correlations."""
    return spread.GaussianCopula(NAMES, pairs, of="scores")


def test_score_correlations_stand_in_the_matrix_as_given() -> None:
    ours = scores({("gap", "strength"): 0.4, ("strength", "overlap"): -0.2})
    np.testing.assert_array_equal(
        ours.matrix, [[1.0, 0.0, 0.4], [0.0, 1.0, -0.2], [0.4, -0.2, 1.0]]
    )


def test_the_factor_is_the_lower_root_of_the_matrix() -> None:
    ours = scores({("gap", "strength"): 0.4, ("strength", "overlap"): -0.2})
    np.testing.assert_allclose(ours.factor @ ours.factor.T, ours.matrix, rtol=1e-14, atol=1e-16)
    assert np.all(np.triu(ours.factor, 1) == 0.0)


def test_no_correlation_changes_nothing() -> None:
    u = np.random.default_rng(0).standard_normal((7, 3))
    ours = scores({})
    np.testing.assert_array_equal(ours.correlate(u), u)
    np.testing.assert_array_equal(ours.decorrelate(u), u)


def test_the_order_of_a_pair_does_not_matter() -> None:
    one, other = scores({("gap", "overlap"): 0.3}), scores({("overlap", "gap"): 0.3})
    np.testing.assert_array_equal(one.matrix, other.matrix)
    both = scores({("gap", "overlap"): 0.3, ("overlap", "gap"): 0.3})
    np.testing.assert_array_equal(one.matrix, both.matrix)


def test_spreads_by_name_or_in_order() -> None:
    pairs = {("gap", "strength"): 0.4}
    by_name = spread.GaussianCopula(NAMES, pairs, SPREADS)
    in_order = spread.GaussianCopula(NAMES, pairs, list(SPREADS.values()))
    np.testing.assert_array_equal(by_name.matrix, in_order.matrix)


def test_values_need_more_correlation_of_the_scores() -> None:
    """For a skewed partner the scores must hang together more tightly than the values."""
    ours = spread.GaussianCopula(NAMES, {("gap", "strength"): 0.4}, SPREADS)
    assert ours.matrix[0, 2] > 0.4


@settings(max_examples=40, deadline=None)
@given(
    a=st.floats(-0.55, 0.55),
    b=st.floats(-0.55, 0.55),
    c=st.floats(-0.4, 0.4),
    seed=st.integers(0, 9),
)
def test_there_and_back(a: float, b: float, c: float, seed: int) -> None:
    ours = scores({("gap", "overlap"): a, ("gap", "strength"): b, ("overlap", "strength"): c})
    u = np.random.default_rng(seed).standard_normal((20, 3))
    np.testing.assert_allclose(ours.decorrelate(ours.correlate(u)), u, atol=1e-12)
    np.testing.assert_allclose(ours.correlate(ours.decorrelate(u)), u, atol=1e-12)


PAIRS = [
    (spread.Gumbel(800.0, 160.0), spread.Weibull(2.0, 5.0)),
    (spread.Gamma(2.0, 1.5), spread.Lognormal(25.0, 12.0)),
    (spread.Beta(0.0, 1.0, 0.2, 0.15), spread.StudentT(0.0, 1.0, 4.0)),
    (spread.Mixture([(0.2, spread.Fixed(0.0)), (0.8, spread.Fixed(1.0))]), spread.Normal(0.0, 1.0)),
    (spread.MaximumOfEvents(spread.Exponential(1.0), 1.0), spread.Triangular(0.0, 1.0, 1.0)),
]


@pytest.mark.parametrize(("first", "second"), PAIRS)
class TestConversion:
    def test_zero_stays_zero(self, first, second) -> None:
        assert spread.score_correlation(first, second, 0.0) == 0.0

    def test_order_does_not_matter(self, first, second) -> None:
        one = spread.score_correlation(first, second, 0.3)
        assert spread.score_correlation(second, first, 0.3) == pytest.approx(one, abs=1e-12)

    def test_scores_are_never_less_correlated_than_values(self, first, second) -> None:
        """|ρ_values| ≤ |ρ_scores|: Lancaster (1957)."""
        low, high = spread.reachable_correlation(first, second)
        for value in (0.95 * low, 0.3 * low, 0.3 * high, 0.95 * high):
            found = spread.score_correlation(first, second, value)
            assert abs(found) >= abs(value) - 1e-9
            assert np.sign(found) == np.sign(value)

    def test_more_of_one_is_more_of_the_other(self, first, second) -> None:
        low, high = spread.reachable_correlation(first, second)
        found = [
            spread.score_correlation(first, second, v)
            for v in np.linspace(0.9 * low, 0.9 * high, 9)
        ]
        assert np.all(np.diff(found) > 0.0)

    def test_the_ends_are_reached(self, first, second) -> None:
        low, high = spread.reachable_correlation(first, second)
        assert spread.score_correlation(first, second, low) == pytest.approx(-1.0, abs=1e-6)
        assert spread.score_correlation(first, second, high) == pytest.approx(1.0, abs=1e-6)

    def test_with_a_symmetric_partner_the_range_is_symmetric(self, first, second) -> None:
        for ours in (first, second):
            low, high = spread.reachable_correlation(ours, spread.Uniform(-1.0, 1.0))
            assert low == pytest.approx(-high, abs=1e-9)
            assert 0.0 < high <= 1.0


def refusal(**given) -> str:
    """Return the message of a refused copula."""
    asked = {"names": NAMES, "correlation": {}, "spreads": SPREADS, "of": "values"}
    with pytest.raises(InputError) as caught:
        spread.GaussianCopula(**{**asked, **given})
    return str(caught.value)


def test_unknown_name_with_the_nearest() -> None:
    told = refusal(correlation={("gap", "strenght"): 0.3})
    assert "strenght" in told
    assert "did you mean strength" in told


def test_unknown_name_with_nothing_near_lists_what_is_known() -> None:
    told = refusal(correlation={("gap", "colour"): 0.3})
    assert "colour" in told
    assert "gap, overlap, strength" in told


def test_a_name_twice() -> None:
    assert "gap stands more than once" in refusal(names=["gap", "gap"])


def test_a_variable_with_itself() -> None:
    told = refusal(correlation={("gap", "gap"): 0.3})
    assert "gap and gap" in told
    assert "itself" in told


@pytest.mark.parametrize("value", [1.2, -3.0, float("nan")])
def test_a_coefficient_beyond_one(value: float) -> None:
    told = refusal(correlation={("gap", "strength"): value})
    assert "gap and strength" in told
    assert "-1 to 1" in told
    assert f"{value:g}" in told


def test_a_pair_given_twice_and_differently() -> None:
    told = refusal(correlation={("gap", "strength"): 0.2, ("strength", "gap"): 0.25})
    assert "0.2 " in told
    assert "0.25" in told


def test_a_correlation_out_of_reach_names_pair_and_range() -> None:
    """Normal with lognormal reaches ±s/CoV = ±0.9502 at a CoV of 0.48."""
    told = refusal(correlation={("gap", "strength"): 0.97})
    assert "gap and strength" in told
    limit = np.sqrt(np.log(1.0 + 0.48**2)) / 0.48
    assert f"{-limit:.4f} to {limit:.4f}" in told
    assert "0.97" in told


def test_a_number_without_spread_has_no_correlation() -> None:
    told = refusal(
        correlation={("gap", "strength"): 0.3}, spreads={**SPREADS, "gap": spread.Fixed(0.2)}
    )
    assert "gap (fixed, value 0.2)" in told
    assert "standard deviation of 0" in told


def test_an_infinite_sd_has_no_correlation_of_values() -> None:
    heavy = {**SPREADS, "gap": spread.Frechet(1.5, 1.0)}
    told = refusal(correlation={("gap", "strength"): 0.3}, spreads=heavy)
    assert "standard deviation of inf" in told
    # Of the scores it can well be given.
    fine = spread.GaussianCopula(NAMES, {("gap", "strength"): 0.3}, heavy, of="scores")
    assert fine.matrix[0, 2] == 0.3


def test_a_matrix_that_cannot_be_names_pairs_and_eigenvalue() -> None:
    """Two that go together cannot both go against and with a third: eigenvalue 1 − 2·0.9."""
    told = refusal(
        correlation={
            ("gap", "overlap"): 0.9,
            ("overlap", "strength"): 0.9,
            ("gap", "strength"): -0.9,
        },
        of="scores",
    )
    assert "gap and overlap (0.9)" in told
    assert "gap and strength (-0.9)" in told
    assert "eigenvalue -0.8" in told


def test_pairs_that_are_not_to_blame_are_not_named() -> None:
    told = refusal(
        names=[*NAMES, "load"],
        correlation={
            ("gap", "overlap"): 0.9,
            ("overlap", "strength"): 0.9,
            ("gap", "strength"): -0.9,
            ("load", "gap"): 0.05,
        },
        of="scores",
    )
    assert "load" not in told


def test_perfect_correlation_is_refused() -> None:
    assert "eigenvalue" in refusal(correlation={("gap", "overlap"): 1.0}, of="scores")


def test_an_unknown_kind_of_correlation() -> None:
    told = refusal(of="ranks")
    assert "'ranks'" in told
    assert '"values" or "scores"' in told


def test_missing_spreads() -> None:
    pairs = {("gap", "strength"): 0.3}
    assert "got none" in refusal(correlation=pairs, spreads=None)
    assert "no spread given for overlap" in refusal(
        correlation=pairs, spreads={k: v for k, v in SPREADS.items() if k != "overlap"}
    )
    assert "3 names need as many spreads, got 1" in refusal(
        correlation=pairs, spreads=[SPREADS["gap"]]
    )
