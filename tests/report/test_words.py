import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jointrisk.report import words

positive = st.floats(1e-6, 1e8)
chances = st.floats(1e-7, 1.0)


@pytest.mark.parametrize(
    ("probability", "expected"),
    [
        (1 / 3000, "1 in 3,000"),
        (1 / 2949, "1 in 2,900"),
        (0.0101, "1 in 99"),
        (0.1, "1 in 10"),
        (0.29, "29 in 100"),
        (0.5, "50 in 100"),
        (0.72, "72 in 100"),
        (0.999, "more than 99 in 100"),
        (1.0, "more than 99 in 100"),
        (1e-6, "1 in 1 million"),
        (4e-7, "1 in 2.5 million"),
        (9e-8, "fewer than 1 in 10 million"),
        (0.0, "fewer than 1 in 10 million"),
        (math.nan, "unknown"),
        (None, "unknown"),
    ],
)
def test_a_chance_in_words(probability, expected):
    assert words.chance(probability) == expected


def test_a_wide_interval_leaves_one_digit_and_a_narrow_one_two():
    assert words.chance(1 / 2700, 1 / 4000, 1 / 1800) == "1 in 3,000"
    assert words.chance(1 / 2700, 1 / 2800, 1 / 2600) == "1 in 2,700"


def test_no_failure_seen_tells_the_upper_bound():
    assert words.chance(0.0, 0.0, 1 / 5000) == "fewer than 1 in 5,000"
    assert words.about(0.0, 0.0, 1 / 5000) == "fewer than 1 in 5,000"


def test_about_stands_only_before_a_number():
    assert words.about(1 / 3000) == "about 1 in 3,000"
    assert words.about(1e-9) == "fewer than 1 in 10 million"


def test_a_range_whose_ends_read_the_same_is_told_once():
    assert words.chance_range(1 / 3010, 1 / 2990) == "1 in 3,000"
    assert words.chance_range(1 / 20000, 1 / 200) == "1 in 20,000 to 1 in 200"


def _value(text):
    """Read a chance in words back, apart from the words at both ends of the scale."""
    scale = 1e6 if "million" in text else 1.0
    first, _, last = text.removesuffix(" million").partition(" in ")
    return float(first) / (float(last.replace(",", "")) * scale)


@given(st.floats(1e-7, 0.99))
def test_the_words_are_the_number_to_two_digits(probability):
    assert _value(words.chance(probability)) == pytest.approx(probability, rel=0.051)


@given(positive, st.integers(1, 4))
def test_rounding_up_and_down_enclose_the_value_within_one_step(value, digits):
    up = words.rounded(value, digits, "up")
    down = words.rounded(value, digits, "down")
    assert down <= value * (1 + 1e-9)
    assert up >= value * (1 - 1e-9)
    assert up - down <= 10.0 ** (math.floor(math.log10(value)) - digits + 1) * 1.001


@given(positive)
def test_number_shows_no_more_than_its_digits_and_no_power(value):
    text = words.number(value, 2)
    digits = text.replace(",", "").replace(".", "").replace(" million", "").strip("0")
    assert "e" not in text.replace("million", "")
    assert len(digits) <= 2


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        (1234.0, 2, "1,200"),
        (0.05, 3, "0.05"),
        (99.6, 2, "100"),
        (-12.34, 3, "-12.3"),
        (0.0, 2, "0"),
    ],
)
def test_numbers(value, digits, expected):
    assert words.number(value, digits) == expected


def test_a_load_carries_kgf_and_lbf_of_the_same_force():
    ureg = pint.UnitRegistry()
    force = 2150.0 * ureg.newton
    kgf = f"{force.m_as('kgf'):.3g}"
    lbf = f"{force.m_as('lbf'):.3g}"
    assert words.load_all(2150.0, 3) == f"2,150 N ({kgf} kgf, {lbf} lbf)"


@pytest.mark.parametrize(
    ("newton", "expected"),
    [
        (735.5, "740 N"),
        (9940.0, "9,900 N"),
        (9960.0, "10 kN"),
        (12340.0, "12 kN"),
        (None, "unknown"),
    ],
)
def test_loads_in_newton_or_kilonewton(newton, expected):
    assert words.load(newton) == expected


def test_a_load_to_pull_is_rounded_up_and_a_permitted_one_down():
    assert words.load(2143.0, 3, "up") == "2,150 N"
    assert words.load(1284.0, 2, "down") == "1,200 N"


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0.72, "72 %"),
        (0.00412, "0.41 %"),
        (1e-6, "under 0.01 %"),
        (0.0, "0 %"),
        (0.999, "over 99 %"),
        (1.0, "100 %"),
        (math.nan, "unknown"),
    ],
)
def test_shares(share, expected):
    assert words.percent(share) == expected


@given(st.floats(0.0, 1.0))
def test_a_share_is_never_rounded_to_a_false_nought_or_whole(share):
    text = words.percent(share)
    assert (text == "0 %") == (share == 0.0)
    assert (text == "100 %") == (share == 1.0)


@pytest.mark.parametrize(
    ("years", "expected"),
    [
        (5.0, "5 years"),
        (1.0, "1 year"),
        (0.5, "6 months"),
        (1 / 12, "1 month"),
        (0.01, "3.65 days"),
    ],
)
def test_times(years, expected):
    assert words.duration(years) == expected


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ((0.21, 0.205, 0.215), "be divided by about 4.8"),
        ((0.21, 0.16, 0.26), "be divided by about 5"),
        ((1.43, 1.40, 1.46), "be multiplied by about 1.4"),
        ((0.99, 0.95, 1.04), "not change by an amount that can be told"),
        ((0.0, 0.0, 0.1), "be divided by more than 1,000"),
        ((math.nan,), "be unknown"),
    ],
)
def test_what_a_factor_does(arguments, expected):
    assert words.multiple(*arguments) == expected


def test_factors_near_one_keep_two_decimals():
    assert [words.factor(x) for x in (0.99, 1.04, 0.0123, 25.0)] == ["0.99", "1.04", "0.012", "25"]
