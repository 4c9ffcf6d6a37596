"""Values as written and the spreads they stand for; scipy.stats is the oracle."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.scenario.given import build, hold_within, read_given, read_plain


def built(raw, dimension="stress", family="lognormal"):
    return build(read_given(raw, dimension), family)


def oracle(base):
    """The same spread in scipy.stats, from the package's parameters of location and scale."""
    mean, sd = base.mean, base.sd
    if isinstance(base, spread.Normal):
        return stats.norm(mean, sd)
    if isinstance(base, spread.Lognormal):
        s = math.sqrt(math.log1p((sd / mean) ** 2))
        return stats.lognorm(s, scale=mean * math.exp(-s * s / 2))
    if isinstance(base, spread.Gumbel):
        scale = sd * math.sqrt(6) / math.pi
        return stats.gumbel_r(mean - np.euler_gamma * scale, scale)
    return stats.weibull_min(base.shape, scale=base.scale)


FAMILIES = ["normal", "lognormal", "gumbel", "weibull"]


@pytest.mark.parametrize("dist", FAMILIES)
@given(low=st.floats(0.5, 50), ratio=st.floats(1.05, 8))
@settings(deadline=None, max_examples=40)
def test_p05_and_p95_are_met(dist, low, ratio):
    base = built({"dist": dist, "p05": f"{low!r} MPa", "p95": f"{low * ratio!r} MPa"})
    law = oracle(base)
    assert law.cdf(low) == pytest.approx(0.05, abs=1e-9)
    assert law.cdf(low * ratio) == pytest.approx(0.95, abs=1e-9)


@pytest.mark.parametrize("dist", FAMILIES)
@given(mean=st.floats(0.5, 500), cov=st.floats(0.01, 0.9))
@settings(deadline=None, max_examples=40)
def test_mean_and_cov_are_met(dist, mean, cov):
    law = oracle(built({"dist": dist, "mean": f"{mean!r} MPa", "cov": cov}))
    assert law.mean() == pytest.approx(mean, rel=1e-8)
    assert law.std() == pytest.approx(cov * mean, rel=1e-8)


@pytest.mark.parametrize("dist", FAMILIES)
@given(median=st.floats(0.5, 500), cov=st.floats(0.01, 0.9))
@settings(deadline=None, max_examples=40)
def test_median_and_cov_are_met(dist, median, cov):
    law = oracle(built({"dist": dist, "median": f"{median!r} MPa", "cov": cov}))
    assert law.median() == pytest.approx(median, rel=1e-8)
    assert law.std() / law.mean() == pytest.approx(cov, rel=1e-8)


@given(low=st.floats(-50, 50), width=st.floats(0.1, 60), share=st.floats(0, 1))
@settings(deadline=None, max_examples=60)
def test_limits_make_uniform_or_triangular(low, width, share):
    high, mode = low + width, low + share * width
    limits = [f"{low!r} mm", f"{high!r} mm"]
    flat = built({"never_outside": limits}, "length")
    assert flat.mean == pytest.approx(stats.uniform(low, width).mean(), abs=1e-9)
    assert flat.sd == pytest.approx(stats.uniform(low, width).std(), rel=1e-9)
    assert isinstance(flat, spread.Uniform)
    if low <= mode <= high:
        peaked = built({"never_outside": limits, "most_likely": f"{mode!r} mm"}, "length")
        law = stats.triang(share, low, width)
        assert peaked.mean == pytest.approx(law.mean(), abs=1e-6 * (1 + abs(low)))
        assert peaked.sd == pytest.approx(law.std(), rel=1e-6)


def test_limits_with_mean_and_sd_make_a_beta():
    base = built({"never_outside": [0.2, 0.9], "mean": 0.6, "sd": 0.1}, "ratio")
    assert isinstance(base, spread.Beta)
    assert (base.mean, base.sd) == pytest.approx((0.6, 0.1))
    assert base.ppf(1e-9) >= 0.2
    assert base.ppf(1 - 1e-9) <= 0.9


def test_the_quantity_chooses_the_family_unless_the_file_does():
    raw = {"mean": "25 MPa", "sd": "2 MPa"}
    assert isinstance(built(raw), spread.Lognormal)
    assert isinstance(built(raw, family="normal"), spread.Normal)
    assert isinstance(built(raw | {"dist": "gumbel"}), spread.Gumbel)


def test_each_number_of_a_table_has_its_own_unit():
    base = built({"mean": "1 in", "sd": "2 thou"}, "length", "normal")
    assert (base.mean, base.sd) == pytest.approx((25.4, 0.0508))
    hot = built({"mean": "140 degF", "sd": "9 degF"}, "temperature", "normal")
    assert (hot.mean, hot.sd) == pytest.approx((60.0, 5.0))


def test_a_percentage_is_a_cov():
    assert built({"mean": "25 MPa", "cov": "8 %"}).sd == pytest.approx(2.0)


def test_a_plain_value_has_no_spread():
    base = built("25 MPa")
    assert isinstance(base, spread.Fixed)
    assert base.mean == 25.0
    written = read_given({"value": "25 MPa", "source": "my book", "kind": "not known"}, "stress")
    assert (written.plain, written.source, written.kind) == (25.0, "my book", "not known")


def test_truncated_limits_hold():
    base = built({"mean": "25 MPa", "cov": 0.3, "truncated": ["20 MPa", "30 MPa"]})
    assert base.ppf(1e-12) >= 20
    assert base.ppf(1 - 1e-12) <= 30
    law = oracle(built({"mean": "25 MPa", "cov": 0.3}))
    share = (law.cdf(24) - law.cdf(20)) / (law.cdf(30) - law.cdf(20))
    assert base.cdf(24.0) == pytest.approx(share, rel=1e-9)


@pytest.mark.parametrize(
    ("raw", "dimension", "parts"),
    [
        ({"mean": "25 MPa"}, "stress", ["mean", "{ mean, sd }", "{ p05, p95 }"]),
        ({"mean": "25 MPa", "p95": "30 MPa"}, "stress", ["mean, p95", "{ mean, cov }"]),
        ({}, "stress", ["no numbers"]),
        ({"mean": "25 MPa", "sd": "-2 MPa"}, "stress", ["sd", "-2 MPa"]),
        ({"mean": "25 MPa", "sd": "0 MPa"}, "stress", ["sd", "0 MPa", "plain value"]),
        ({"mean": "25 MPa", "cov": "-8 %"}, "stress", ["cov", "-0.08"]),
        ({"mean": "-25 MPa", "cov": 0.1}, "stress", ["lognormal", "-25"]),
        ({"mean": "0 mm", "cov": 0.1, "dist": "normal"}, "length", ["cov", "mean of 0", "sd"]),
        ({"mean": "40 degC", "cov": 0.1}, "temperature", ["sd, not cov"]),
        ({"p05": "30 MPa", "p95": "20 MPa"}, "stress", ["p05", "30", "20"]),
        ({"p05": "-1 MPa", "p95": "20 MPa"}, "stress", ["p05", "-1"]),
        ({"never_outside": ["3 mm", "1 mm"]}, "length", ["reversed", "3 mm", "1 mm"]),
        ({"never_outside": ["3 mm"]}, "length", ["two limits", "3 mm"]),
        ({"never_outside": [1, 3], "most_likely": 4}, "ratio", ["most_likely", "4", "1 to 3"]),
        ({"never_outside": [1, 3], "p05": 2}, "ratio", ["never_outside, p05", "most_likely"]),
        ({"never_outside": [1, 3], "dist": "beta"}, "ratio", ['"uniform"', '"beta"']),
        ({"mean": 0.5, "sd": 0.1, "dist": "uniform"}, "ratio", ['"uniform"', "never_outside"]),
        ({"mean": 0.5, "sd": 0.1, "dist": "norml"}, "ratio", ['"norml"', '"normal"']),
        ({"mean": 0.5, "sd": 0.1, "scope": "job"}, "ratio", ['"job"', "joint"]),
        ({"mean": 0.5, "sd": 0.1, "kind": "x"}, "ratio", ['"x"', "scatter", "not known"]),
        ({"mean": 0.5, "sd": 0.1, "source": 3}, "ratio", ["source", "3"]),
        ({"low": 0.5, "high": 0.9}, "ratio", ['"low"', "p05", '"high"', "p95"]),
        ({"mu": 0.5, "sigma": 0.1}, "ratio", ['"mu"', "mean", '"sigma"', "sd", "logarithm"]),
        ({"mean": 0.5, "std": 0.1}, "ratio", ['"std"', "did you mean sd?"]),
        ({"meen": 0.5, "sd": 0.1}, "ratio", ['"meen"', "did you mean mean?"]),
        ({"mean": 25, "sd": 2}, "stress", ['mean has no unit (got 25; write "25 MPa")', "sd"]),
        ({"mean": "25 MPa", "cov": float("nan")}, "stress", ["cov", "finite", "nan"]),
        ({"mean": "25 MPa", "cov": True}, "stress", ["cov", "true"]),
        ({"value": "25 MPa", "dist": "normal"}, "stress", ["plain value"]),
        ({"median": 0.5, "cov": 0.1, "dist": "beta"}, "ratio", ["beta", "needs"]),
        ({"mean": "25 MPa", "cov": 1e-6, "dist": "weibull"}, "stress", ["1e-06", "0.0001"]),
    ],
)
def test_messages_name_the_values(raw, dimension, parts):
    with pytest.raises(InputError) as caught:
        built(raw, dimension)
    for part in parts:
        assert part in str(caught.value)


def test_one_value_is_wanted_where_a_table_stands():
    with pytest.raises(InputError, match=r"one value.*0\.15 mm"):
        read_plain({"mean": "1 mm"}, "length")


def test_a_rare_stray_is_cut_off_and_a_common_one_refused():
    rare = hold_within(spread.Lognormal(0.01, 0.02), 0.0, 1.0, "-")
    assert isinstance(rare, spread.Truncated)
    assert rare.ppf(1 - 1e-13) <= 1.0
    inside = spread.Uniform(0.2, 0.9)
    assert hold_within(inside, 0.0, 1.0, "-") is inside
    share = 100 * stats.norm(0.8, 0.2).sf(1.0)
    with pytest.raises(InputError) as caught:
        hold_within(spread.Normal(0.8, 0.2), 0.0, 1.0, "-")
    assert f"{share:.3g} %" in str(caught.value)
    assert "0.8 on average; expected 0 to 1" in str(caught.value)


def test_the_ends_of_a_range_belong_to_it():
    for value in (0.0, 1.0):
        assert hold_within(spread.Fixed(value), 0.0, 1.0, "-").mean == value
    with pytest.raises(InputError, match=r"got 1\.2; expected 0 to 1"):
        hold_within(spread.Fixed(1.2), 0.0, 1.0, "-")
    with pytest.raises(InputError, match="got -1 mm; expected at least 0 mm"):
        hold_within(spread.Fixed(-1.0), 0.0, math.inf, "mm")
