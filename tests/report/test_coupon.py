"""The words about coupons: every number of the result, no line too wide, no promise."""

import re

import pytest

from jointrisk.report.coupon import SILENT, text
from jointrisk.study.coupon import single_lap

COUPON = {
    "width": "25 mm",
    "overlap": "12.5 mm",
    "thickness": "1.6 mm",
    "material": "aluminium 6082-T6",
    "adhesive_class": "two-part toughened epoxy",
    "load": ["6.4 kN", "6.0 kN", "6.2 kN"],
}
CASES = {
    "strips yield": {},
    "near": {"thickness": "6 mm"},
    "brittle": {"adhesive_class": "two-part general epoxy"},
    "no class": {"adhesive_class": None},
    "no yield": {"material": None, "modulus": "70 GPa"},
    "one": {"load": "6 kN"},
    "plies": {"material": "carbon tube, woven"},
    "long": {"overlap": "600 mm", "thickness": "12 mm", "load": "400 kN"},
    "weak": {"load": "500 lbf"},
    "some": {"load": ["3.0 kN", "3.1 kN", "3.6 kN"]},
}


def shown(case, **how):
    return text(single_lap(**{**COUPON, **CASES[case]}), **how)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width", [60, 80])
def test_no_line_is_wider_than_asked(case, width):
    assert max(map(len, shown(case, width=width).splitlines())) <= width


@pytest.mark.parametrize("case", CASES)
def test_the_first_lines_answer(case):
    lines = shown(case, width=0).splitlines()
    heads = [line.split()[0] for line in lines[:6]]
    assert heads == ["Strength", "Shear", "Strips", "Ends", "Layer", "Class"]
    assert all(line in "".join(lines) for line in SILENT)
    assert not re.search(r"(?i)\bsafe|None|nan\b", "\n".join(lines))


def test_numbers_of_the_coupons():
    said = shown("strips yield", width=0)
    for part in (
        "bears at least 19.8 MPa in shear",
        "6,000 N to 6,400 N",
        "6,200 N (632 kgf, 1,390 lbf)",
        "3.2 %",
        "yield from 10.8 MPa",
        "All broke above it",
        "yielded first",
        "0.2 mm, a thickness you did not",
    ):
        assert part in said, part


@pytest.mark.parametrize(
    ("case", "parts"),
    [
        ("near", ("bears about 19.8 MPa in shear, up to 24.8 MPa", "all coupons broke below it")),
        ("brittle", ("cannot be turned into", "by peel", "Peel decides")),
        ("no class", ("If the adhesive is a tough one", "Name the class")),
        ("no yield", ("nobody said when the strips yield", "give a yield strength")),
        ("one", ("One coupon broke", "too few")),
        ("plies", ("break at their surface", "at their strength first")),
        ("long", ("Not tough enough to flow over 600 mm", "A shorter overlap says more")),
        ("weak", ("18 to 32 MPa in shear: these lie below it", "Suspect the surfaces")),
        ("near", ("18 to 32 MPa in shear.",)),
        ("some", ("1 of 3 broke above it",)),
    ],
)
def test_words_of_each_case(case, parts):
    said = shown(case, width=0)
    for part in parts:
        assert part in said, part


def test_lines_for_a_scenario_only_where_there_is_a_number():
    said = shown("strips yield", width=0)
    assert 'shear_strength = { mean = "19.8 MPa", cov = 0.032 }' in said
    assert 'evidence = "own coupons"' in said
    assert "cov" not in shown("one").split("In a scenario")[1]
    for case in ("brittle", "no class"):
        assert "In a scenario" not in shown(case)


def test_bold_letters_only_when_asked():
    assert "\x1b" not in shown("near")
    bold = shown("near", color=True)
    assert re.sub(r"\x1b\[\d*m", "", bold) == shown("near")
    assert "\x1b[1mStrength\x1b[0m" in bold
