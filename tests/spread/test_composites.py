"""Atoms, truncation, mixtures, maxima, observed numbers; names and printing."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from jointrisk import spread
from jointrisk.spread.solve import find_root

# ------------------------------------------------------------------ atoms


def test_fixed_is_one_atom() -> None:
    ours = spread.Fixed(3.0)
    assert ours.atoms == ((3.0, 1.0),)
    assert (ours.mean, ours.sd) == (3.0, 0.0)
    assert np.all(ours.sample(10) == 3.0)
    assert ours.pdf(3.0) == np.inf
    assert ours.pdf(3.0001) == 0.0
    assert ours.to_normal(3.0) == 0.0
    assert ours.to_normal(2.9) == -np.inf
    assert ours.to_normal(3.1) == np.inf


def test_atoms_of_labels_are_sorted_and_exact() -> None:
    ours = spread.Mixture([(0.3, spread.Fixed(2.0)), (0.7, spread.Fixed(1.0))])
    assert ours.atoms == ((1.0, 0.7), (2.0, 0.3))


def test_atoms_at_the_same_value_are_one() -> None:
    inner = spread.Mixture([(0.5, spread.Fixed(1.0)), (0.5, spread.Fixed(2.0))])
    ours = spread.Mixture([(0.5, spread.Fixed(1.0)), (0.5, inner)])
    assert ours.atoms == ((1.0, 0.75), (2.0, 0.25))


def test_atoms_beside_a_body_are_not_all() -> None:
    assert spread.Mixture([(0.3, spread.Fixed(0.0)), (0.7, spread.Normal(0.0, 1.0))]).atoms is None
    assert spread.Normal(0.0, 1.0).atoms is None
    assert spread.MaximumOfEvents(spread.Gumbel(5.0, 1.0), 0.1).atoms is None


def test_atoms_of_observed_numbers() -> None:
    assert spread.Empirical([2.0, 1.0, 2.0, 5.0]).atoms == ((1.0, 0.25), (2.0, 0.5), (5.0, 0.25))


@pytest.mark.parametrize(("number", "listed"), [(64, True), (65, False)])
def test_at_most_64_atoms_are_listed(number: int, listed: bool) -> None:
    values = np.arange(number, dtype=float)
    assert (spread.Empirical(values).atoms is not None) is listed
    mixed = spread.Mixture([(1.0 / number, spread.Fixed(v)) for v in values])
    assert (mixed.atoms is not None) is listed


def test_atoms_of_the_largest_of_labels() -> None:
    """P(largest of 2 = 0) = 0.9²."""
    label = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])
    (zero, p), (one, q) = spread.MaximumOf(label, 2.0).atoms or ()
    assert (zero, one) == (0.0, 1.0)
    assert (p, q) == pytest.approx((0.81, 0.19))


def test_scores_of_labels_split_at_the_weight() -> None:
    """A weak label of weight 0.005: below Φ⁻¹(0.005) = −2.575829 only."""
    label = spread.Mixture([(0.005, spread.Fixed(0.0)), (0.995, spread.Fixed(1.0))])
    assert label.from_normal(-2.575830) == 0.0
    assert label.from_normal(-2.575828) == 1.0
    # The middle of each share: Φ⁻¹(0.0025) and Φ⁻¹(0.5025).
    assert label.to_normal(0.0) == pytest.approx(-2.807034, abs=1e-6)
    assert label.to_normal(1.0) == pytest.approx(0.006267, abs=1e-6)


def test_value_at_an_atom_is_exact() -> None:
    ours = spread.Mixture([(0.3, spread.Fixed(0.1)), (0.7, spread.Lognormal(1.0, 0.5))])
    below = spread.Lognormal(1.0, 0.5).cdf(0.1) * 0.7
    inside = ours.ppf(np.linspace(below + 1e-6, below + 0.3 - 1e-6, 50))
    assert np.all(inside == 0.1)
    assert ours.ppf(below * 0.5) < 0.1
    assert ours.ppf(below + 0.3 + 1e-6) > 0.1


def test_density_is_infinite_at_an_atom_and_only_there() -> None:
    ours = spread.Mixture([(0.3, spread.Fixed(1.0)), (0.7, spread.Normal(1.0, 0.5))])
    assert ours.pdf(1.0) == np.inf
    assert ours.pdf(1.5) == pytest.approx(0.7 * spread.Normal(1.0, 0.5).pdf(1.5), rel=1e-14)


# ------------------------------------------------------------------ truncation


def test_truncation_by_a_perfect_pull() -> None:
    """P(R < r | held p) = [F(r) − F(p)]/[1 − F(p)]."""
    base = spread.Lognormal(25.0, 5.0)
    ours = spread.Truncated(base, low=18.0)
    r = np.array([18.0, 20.0, 25.0, 40.0])
    wanted = (base.cdf(r) - base.cdf(18.0)) / (1.0 - base.cdf(18.0))
    np.testing.assert_allclose(ours.cdf(r), wanted, rtol=1e-12)


def test_truncation_beyond_the_support_changes_nothing() -> None:
    base = spread.Gamma(25.0, 5.0)
    for ours in (spread.Truncated(base), spread.Truncated(base, -5.0, 1e9)):
        u = np.array([-37.0, -8.0, 0.0, 3.0, 8.0])
        np.testing.assert_allclose(ours.from_normal(u), base.from_normal(u), rtol=1e-12)
        assert ours.mean == pytest.approx(25.0, rel=1e-12)
        assert ours.sd == pytest.approx(5.0, rel=1e-12)


def test_truncation_of_a_truncation() -> None:
    base = spread.Normal(0.0, 1.0)
    twice = spread.Truncated(spread.Truncated(base, -1.0), high=2.0)
    once = spread.Truncated(base, -1.0, 2.0)
    u = np.linspace(-6.0, 6.0, 25)
    np.testing.assert_allclose(twice.from_normal(u), once.from_normal(u), rtol=1e-12, atol=1e-14)


def test_truncation_keeps_an_atom_at_its_end() -> None:
    ours = spread.Truncated(spread.Empirical([1.0, 2.0, 3.0, 4.0]), 2.0, 3.0)
    assert ours.atoms == ((2.0, 0.5), (3.0, 0.5))
    assert ours.cdf(1.999) == 0.0
    assert ours.mean == pytest.approx(2.5)


# ------------------------------------------------------------------ maxima


def test_largest_of_one_is_the_draw_itself() -> None:
    base = spread.Gamma(25.0, 5.0)
    ours = spread.MaximumOf(base, 1.0)
    u = np.array([-37.0, -8.0, 0.0, 8.0, 37.0])
    np.testing.assert_allclose(ours.from_normal(u), base.from_normal(u), rtol=1e-12)
    np.testing.assert_allclose(ours.pdf([20.0, 30.0]), base.pdf([20.0, 30.0]), rtol=1e-12)


def test_largest_of_many_has_many_times_the_tail() -> None:
    """Far out P(largest > x) → count·P(one > x), with nothing lost to 1 − p."""
    base = spread.Normal(0.0, 1.0)
    assert spread.MaximumOf(base, 1000.0).sf(30.0) == pytest.approx(1e3 * base.sf(30.0), rel=1e-12)
    events = spread.MaximumOfEvents(base, 1000.0)
    assert events.sf(30.0) == pytest.approx(1e3 * base.sf(30.0), rel=1e-12)


def test_events_below_zero_count_as_none() -> None:
    """Half the events are negative: P(0) = exp(−n/2)."""
    ours = spread.MaximumOfEvents(spread.Normal(0.0, 1.0), 2.0)
    assert ours.cdf(0.0) == pytest.approx(np.exp(-1.0), rel=1e-14)
    assert np.all(ours.sample(1000) >= 0.0)
    assert ours.pdf(-1.0) == 0.0
    assert ours.pdf(0.0) == np.inf


# ------------------------------------------------------------------ observed numbers


def test_observed_numbers_step_at_each_value() -> None:
    ours = spread.Empirical([1.0, 2.0, 2.0, 5.0])
    np.testing.assert_array_equal(
        ours.cdf([0.9, 1.0, 1.5, 2.0, 4.9, 5.0]), [0, 1 / 4, 1 / 4, 3 / 4, 3 / 4, 1]
    )
    np.testing.assert_array_equal(ours.ppf([0.0, 0.25, 0.26, 0.75, 0.76, 1.0]), [1, 1, 2, 2, 5, 5])


def test_quantiles_of_a_hundred_numbers_do_not_slip_by_rounding() -> None:
    ours = spread.Empirical(np.arange(1.0, 101.0))
    np.testing.assert_array_equal(ours.ppf(np.arange(1, 101) / 100), np.arange(1.0, 101.0))


def test_the_order_of_observed_numbers_matters_to_nothing_but_equality() -> None:
    first, second = spread.Empirical([1.0, 3.0, 2.0]), spread.Empirical([3.0, 2.0, 1.0])
    u = np.linspace(-3.0, 3.0, 30)
    np.testing.assert_array_equal(first.from_normal(u), second.from_normal(u))


# ------------------------------------------------------------------ names and printing


@pytest.mark.parametrize(
    ("ours", "line"),
    [
        (spread.Lognormal(25.0, 2.5), "lognormal, mean 25, sd 2.5"),
        (spread.Weibull(8.0, 25.0), "Weibull, shape 8, scale 25"),
        (spread.Weibull(8.0, 25.0, 3.0), "Weibull, shape 8, scale 25, shift 3"),
        (spread.Triangular(0.05, 0.2, 0.3), "triangular, low 0.05, mode 0.2, high 0.3"),
        (spread.Fixed(0.2), "fixed, value 0.2"),
        (
            spread.Truncated(spread.Normal(0.2, 0.1), 0.0),
            "(normal, mean 0.2, sd 0.1) kept from 0 to inf",
        ),
        (
            spread.MaximumOf(spread.Gumbel(800.0, 160.0), 12.5),
            "largest of 12.5 × (Gumbel (maxima), mean 800, sd 160)",
        ),
        (
            spread.Mixture([(0.25, spread.Fixed(1.0)), (0.75, spread.Normal(5.0, 1.0))]),
            "0.25 × (fixed, value 1) or 0.75 × (normal, mean 5, sd 1)",
        ),
        (spread.Empirical([1.0, 2.0, 3.0]), "as observed, numbers 3, mean 2, sd 0.816497"),
    ],
)  # fmt: skip
def test_printed_line(ours: spread.Spread, line: str) -> None:
    assert str(ours) == line


def test_parameters_of_a_spread_inside_another() -> None:
    ours = spread.Truncated(spread.Normal(0.2, 0.1), 0.0, 1.0)
    assert ours.parameters == {"low": 0.0, "high": 1.0, "base.mean": 0.2, "base.sd": 0.1}
    mixed = spread.Mixture([(0.25, spread.Fixed(1.0)), (0.75, spread.Fixed(2.0))])
    assert mixed.parameters == {
        "weight 1": 0.25,
        "part 1.value": 1.0,
        "weight 2": 0.75,
        "part 2.value": 2.0,
    }


def test_every_public_name_is_there() -> None:
    for name in spread.__all__:
        assert getattr(spread, name) is not None
    families = {n for n in spread.__all__ if isinstance(getattr(spread, n), type)}
    assert {
        "Normal", "Lognormal", "Weibull", "Gumbel", "Uniform", "Triangular", "Exponential",
        "Gamma", "Beta", "StudentT", "GumbelMin", "Frechet", "Fixed", "Truncated", "Mixture",
        "Empirical", "MaximumOf", "MaximumOfEvents",
    } <= families  # fmt: skip


def test_importing_the_room_loads_no_heavy_library() -> None:
    code = (
        "import sys; import jointrisk.spread as s; s.Normal(0, 1).from_normal(0.5);"
        "print([m for m in ('scipy.stats', 'scipy.optimize', 'pandas', 'matplotlib')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# ------------------------------------------------------------------ root-finding


def test_roots_of_many_equations_at_once() -> None:
    goal = np.linspace(0.1, 50.0, 300)
    found = find_root(lambda x, i: x**3 - goal[i], np.zeros(300), np.full(300, 9.0))
    np.testing.assert_allclose(found, np.cbrt(goal), rtol=1e-14)


def test_a_jump_over_zero_is_found_by_halving() -> None:
    found = find_root(
        lambda x, _: np.where(x < np.pi, -1.0, 5.0), np.array([0.0]), np.array([100.0])
    )
    assert found[0] == pytest.approx(np.pi, rel=1e-14)


@pytest.mark.parametrize("root", [1e-290, 1e-100, 3e-17])
@pytest.mark.parametrize("low", [0.0, -1.0])
def test_a_root_next_to_zero(root: float, low: float) -> None:
    found = find_root(lambda x, _: np.sign(x - root), np.array([low]), np.array([1.0]))
    assert found[0] == pytest.approx(root, rel=1e-10)


def test_infinite_residuals_at_the_ends() -> None:
    def residual(x, i):
        with np.errstate(divide="ignore"):
            return np.log(x) - np.log1p(-x)

    assert find_root(residual, np.zeros(1), np.ones(1))[0] == pytest.approx(0.5, rel=1e-14)


def test_a_root_at_an_end_of_the_bracket() -> None:
    ends = np.array([2.0]), np.array([5.0])
    assert find_root(lambda x, i: x - 2.0, *ends)[0] == 2.0
    assert find_root(lambda x, i: x - 5.0, *ends)[0] == 5.0
