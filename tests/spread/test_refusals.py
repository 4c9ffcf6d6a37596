"""What constructors refuse: the message names the parameter, the value and what is allowed."""

from __future__ import annotations

import re

import numpy as np
import pytest

from jointrisk import spread
from jointrisk.errors import InputError

N = spread.Normal(0.0, 1.0)


def message(call) -> str:
    """Return the message of the refusal."""
    with pytest.raises(InputError) as caught:
        call()
    return str(caught.value)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: spread.Normal(1.0, 0.0), ["normal", "sd", "above 0", "got 0", "Fixed"]),
        (lambda: spread.Normal(1.0, -2.5), ["normal", "sd", "above 0", "got -2.5"]),
        (lambda: spread.Normal(np.nan, 1.0), ["normal", "mean", "finite", "nan"]),
        (lambda: spread.Normal(np.inf, 1.0), ["normal", "mean", "finite", "inf"]),
        (lambda: spread.Normal("25 N", 1.0), ["normal", "mean", "number", "'25 N'"]),
        (lambda: spread.Normal(None, 1.0), ["normal", "mean", "number", "None"]),
        (lambda: spread.Normal(True, 1.0), ["normal", "mean", "number", "True"]),
        (lambda: spread.Lognormal(0.0, 1.0), ["lognormal", "mean", "above 0", "got 0"]),
        (lambda: spread.Lognormal(-3.0, 1.0), ["lognormal", "mean", "above 0", "got -3"]),
        (lambda: spread.Lognormal(3.0, 0.0), ["lognormal", "sd", "got 0", "Fixed"]),
        (lambda: spread.Lognormal.from_log(0.0, -0.3), ["log_sd", "above 0", "-0.3"]),
        (lambda: spread.Weibull(0.0, 1.0), ["Weibull", "shape", "above 0", "got 0"]),
        (lambda: spread.Weibull(2.0, -7.0), ["Weibull", "scale", "above 0", "got -7"]),
        (lambda: spread.Weibull(2.0, 1.0, np.nan), ["Weibull", "shift", "finite", "nan"]),
        (lambda: spread.Frechet(-1.0, 1.0), ["Fréchet", "shape", "above 0", "got -1"]),
        (lambda: spread.Gumbel(5.0, 0.0), ["Gumbel", "sd", "above 0", "got 0"]),
        (lambda: spread.GumbelMin(5.0, -1.5), ["minima", "sd", "above 0", "got -1.5"]),
        (lambda: spread.Uniform(3.0, 1.0), ["uniform", "high", "above low = 3", "got 1"]),
        (lambda: spread.Uniform(3.0, 3.0), ["uniform", "high", "got 3", "Fixed"]),
        (lambda: spread.Triangular(0.0, 5.0, 4.0), ["triangular", "mode", "0 to 4", "got 5"]),
        (lambda: spread.Triangular(0.0, -1.0, 4.0), ["triangular", "mode", "0 to 4", "got -1"]),
        (lambda: spread.Triangular(4.0, 4.0, 4.0), ["triangular", "high", "above low = 4"]),
        (lambda: spread.Exponential(1.0, 1.5), ["exponential", "mean", "shift = 1.5", "got 1"]),
        (lambda: spread.Gamma(-4.0, 1.0), ["gamma", "mean", "above 0", "got -4"]),
        (lambda: spread.Gamma(4.0, 0.0), ["gamma", "sd", "above 0", "got 0"]),
        (lambda: spread.Beta(0.0, 1.0, 1.5, 0.1), ["beta", "mean", "0 to 1", "got 1.5"]),
        (lambda: spread.Beta(0.0, 1.0, 0.0, 0.1), ["beta", "mean", "0 to 1", "got 0"]),
        (lambda: spread.Beta(2.0, 1.0, 1.5, 0.1), ["beta", "high", "above low = 2", "got 1"]),
        # √(0.2·0.8) = 0.4: the most a mean of 0.2 allows.
        (lambda: spread.Beta(0.0, 1.0, 0.2, 0.45), ["beta", "sd", "below 0.4", "got 0.45"]),
        (lambda: spread.StudentT(0.0, 1.0, 0.0), ["Student", "dof", "above 0", "got 0"]),
        (lambda: spread.StudentT(0.0, -1.0, 3.0), ["Student", "scale", "above 0", "got -1"]),
        (lambda: spread.Fixed(np.nan), ["fixed", "value", "finite", "nan"]),
        (lambda: spread.Fixed("tight"), ["fixed", "value", "number", "'tight'"]),
        (lambda: spread.Empirical([]), ["at least one", "(0,)"]),
        (lambda: spread.Empirical([[1.0, 2.0]]), ["at least one", "(1, 2)"]),
        (lambda: spread.Empirical([1.0, np.inf, 2.0]), ["finite", "inf", "place 1"]),
        (lambda: spread.Empirical(["a"]), ["must be numbers", "['a']"]),
        (lambda: spread.Truncated(N, 2.0, 1.0), ["truncated", "high", "low = 2", "got 1"]),
        (lambda: spread.Truncated(N, np.nan, 1.0), ["truncated", "low", "nan"]),
        (lambda: spread.Truncated(3.0, 0.0, 1.0), ["truncated", "base", "spread", "3.0"]),
        (
            lambda: spread.Truncated(spread.Uniform(0.0, 1.0), 2.0, 3.0),
            ["truncated", "nothing", "uniform, low 0, high 1", "low = 2", "high = 3"],
        ),
        (lambda: spread.MaximumOf(N, 0.5), ["count", "at least 1", "got 0.5"]),
        (lambda: spread.MaximumOf("load", 3.0), ["base", "must be a spread", "'load'"]),
        (lambda: spread.MaximumOf(N, np.inf), ["count", "finite", "inf"]),
        (lambda: spread.MaximumOfEvents(N, 0.0), ["expected_count", "above 0", "got 0"]),
        (lambda: spread.MaximumOfEvents(7, 1.0), ["base", "must be a spread", "7"]),
        (lambda: spread.Mixture([(0.2, N), (0.7, N)]), ["add up to 1", "got 0.9"]),
        (lambda: spread.Mixture([(0.2, N), (0.8001, N)]), ["add up to 1", "got 1.0001"]),
        (lambda: spread.Mixture([]), ["add up to 1", "got 0"]),
        (lambda: spread.Mixture([(-0.1, N), (1.1, N)]), ["weight 1", "0 to 1", "got -0.1"]),
        (lambda: spread.Mixture([(np.nan, N), (1.0, N)]), ["weight 1", "0 to 1", "nan"]),
        (lambda: spread.Mixture([(0.5, N), (0.5, 3.0)]), ["part 2", "spread", "3.0"]),
        (lambda: spread.Mixture([N, N]), ["pairs of weight and spread"]),
        (lambda: spread.Mixture(5), ["pairs of weight and spread", "got 5"]),
    ],
)
def test_refusal_names_parameter_value_and_what_is_allowed(call, words: list[str]) -> None:
    told = message(call)
    for word in words:
        assert word in told


def test_a_refusal_is_a_value_error_as_well() -> None:
    with pytest.raises(ValueError, match=re.escape("sd must be above 0, got -1")):
        spread.Normal(0.0, -1.0)


def test_weights_may_miss_one_by_rounding() -> None:
    ours = spread.Mixture([(0.1, N)] * 10)
    assert ours.cdf(0.0) == pytest.approx(0.5, rel=1e-14)
    ours = spread.Mixture([(0.3 + 5e-10, N), (0.7, N)])
    assert sum(w for w, _ in ours.parts) == pytest.approx(1.0, rel=1e-15)


def test_parts_of_weight_zero_do_not_count() -> None:
    ours = spread.Mixture([(0.0, spread.Frechet(0.5, 1.0)), (1.0, N)])
    assert ours.mean == 0.0
    assert ours.sd == 1.0
    assert ours.from_normal(3.0) == pytest.approx(3.0, rel=1e-14)


def test_whole_numbers_and_numpy_numbers_are_numbers() -> None:
    assert spread.Normal(3, 2) == spread.Normal(3.0, 2.0)
    assert spread.Normal(np.float32(3), np.int64(2)) == spread.Normal(3.0, 2.0)
    assert type(spread.Normal(3, 2).mean) is float


def test_shape_of_missing_arguments() -> None:
    """The base class's `mean` does not become a default by accident."""
    with pytest.raises(TypeError, match="sd"):
        spread.Normal(1.0)
    with pytest.raises(TypeError, match="mean"):
        spread.Lognormal()
