"""Text with units: pint is the oracle, then round trips, then what the messages say."""

import math

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import units
from jointrisk.errors import InputError

REGISTRY = pint.UnitRegistry()
REGISTRY.define("thou_ = inch / 1000")
HOUSE = {
    "length": "mm",
    "force": "N",
    "moment": "N*m",
    "angle": "degree",
    "stress": "MPa",
    "toughness": "N/mm",
    "temperature": "degC",
    "temperature difference": "delta_degC",
    "expansion": "1/delta_degC",
    "time": "year",
    "rate": "1/year",
    "ratio": "",
    "mass": "g",
}

# text as a workshop writes it, dimension, number and unit for pint
CASES = [
    ("0.15 mm", "length", 0.15, "mm"),
    (".15mm", "length", 0.15, "mm"),
    ("14.2 cm", "length", 14.2, "cm"),
    ("1.2 m", "length", 1.2, "m"),
    ("150 um", "length", 150, "um"),
    ("150 µm", "length", 150, "um"),
    ("6 thou", "length", 6, "thou_"),
    ("6 mil", "length", 6, "thou_"),
    ("0.5 in", "length", 0.5, "inch"),
    ('0.5"', "length", 0.5, "inch"),
    ("1/4 in", "length", 0.25, "inch"),
    ("2 ft", "length", 2, "foot"),
    ("2'", "length", 2, "foot"),
    ("800 N", "force", 800, "N"),
    ("-800 N", "force", -800, "N"),
    ("\u2212800 N", "force", -800, "N"),
    ("1.5 kN", "force", 1.5, "kN"),
    ("80 daN", "force", 80, "daN"),
    ("75 kgf", "force", 75, "kgf"),
    ("180 lbf", "force", 180, "lbf"),
    ("1 tf", "force", 1000, "kgf"),
    ("120 N m", "moment", 120, "N*m"),
    ("-120 Nm", "moment", -120, "N*m"),
    ("12 N·m", "moment", 12, "N*m"),
    ("5 N * mm", "moment", 5, "N*mm"),
    ("2 kN m", "moment", 2, "kN*m"),
    ("3 kgf cm", "moment", 3, "kgf*cm"),
    ("40 lbf ft", "moment", 40, "lbf*foot"),
    ("40 ft-lbf", "moment", 40, "lbf*foot"),
    ("90 in-lbf", "moment", 90, "lbf*inch"),
    ("70 deg", "angle", 70, "degree"),
    ("70°", "angle", 70, "degree"),
    ("70 degrees", "angle", 70, "degree"),
    ("1.2 rad", "angle", 1.2, "radian"),
    ("25 MPa", "stress", 25, "MPa"),
    ("25 N/mm2", "stress", 25, "N/mm**2"),
    ("25 N/mm²", "stress", 25, "N/mm**2"),
    ("25 N / mm^2", "stress", 25, "N/mm**2"),
    ("70 GPa", "stress", 70, "GPa"),
    ("3000 psi", "stress", 3000, "psi"),
    ("4.5 ksi", "stress", 4.5, "ksi"),
    ("7 bar", "stress", 7, "bar"),
    ("100 kPa", "stress", 100, "kPa"),
    ("2.5e7 Pa", "stress", 2.5e7, "Pa"),
    ("3 N/mm", "toughness", 3, "N/mm"),
    ("3 kJ/m2", "toughness", 3, "kJ/m**2"),
    ("3000 J/m²", "toughness", 3000, "J/m**2"),
    ("17 lbf/in", "toughness", 17, "lbf/inch"),
    ("10 years", "time", 10, "year"),
    ("18 months", "time", 18, "month"),
    ("6 weeks", "time", 6, "week"),
    ("90 days", "time", 90, "day"),
    ("2000 h", "time", 2000, "hour"),
    ("30 minutes", "time", 30, "minute"),
    ("60 s", "time", 60, "second"),
    ("2 / year", "rate", 2, "1/year"),
    ("0.5 per year", "rate", 0.5, "1/year"),
    ("3 a year", "rate", 3, "1/year"),
    ("3 times a year", "rate", 3, "1/year"),
    ("1 per month", "rate", 1, "1/month"),
    ("2/week", "rate", 2, "1/week"),
    ("1 an hour", "rate", 1, "1/hour"),
    ("5 K", "temperature difference", 5, "delta_degC"),
    ("5 degC", "temperature difference", 5, "delta_degC"),
    ("9 °F", "temperature difference", 9, "delta_degF"),
    ("23.5e-6/K", "expansion", 23.5e-6, "1/delta_degC"),
    ("23.5e-6 1/K", "expansion", 23.5e-6, "1/delta_degC"),
    ("23.5 1e-6/K", "expansion", 23.5e-6, "1/delta_degC"),
    ("23.5 ppm/K", "expansion", 23.5e-6, "1/delta_degC"),
    ("-0.2e-6 / °C", "expansion", -0.2e-6, "1/delta_degC"),
    ("13e-6 1/degF", "expansion", 13e-6, "1/delta_degF"),
    ("12 %", "ratio", 0.12, ""),
    ("0.12", "ratio", 0.12, ""),
    ("1/500", "ratio", 1 / 500, ""),
    (0.12, "ratio", 0.12, ""),
    (3, "ratio", 3, ""),
    ("38 g", "mass", 38, "g"),
    ("0.4 kg", "mass", 0.4, "kg"),
    ("2 lb", "mass", 2, "lb"),
    ("3 lbs", "mass", 3, "lb"),
    ("5 oz", "mass", 5, "oz"),
    ("0.01 t", "mass", 0.01, "tonne"),
]
TEMPERATURES = [
    ("23 degC", 23, "degC"),
    ("23 °C", 23, "degC"),
    ("-10 C", -10, "degC"),
    ("23 deg C", 23, "degC"),
    ("140 degF", 140, "degF"),
    ("140 °F", 140, "degF"),
    ("296.15 K", 296.15, "kelvin"),
]


@pytest.mark.parametrize(("text", "dimension", "number", "unit"), CASES)
def test_agrees_with_pint(text, dimension, number, unit):
    expected = REGISTRY.Quantity(number, unit).to(HOUSE[dimension]).magnitude
    assert units.parse(text, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("text", "number", "unit"), TEMPERATURES)
def test_temperatures_agree_with_pint(text, number, unit):
    expected = REGISTRY.Quantity(number, unit).to("degC").magnitude
    assert units.parse(text, "temperature") == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("dimension", units.DIMENSIONS)
def test_the_example_of_a_message_can_be_read(dimension):
    assert math.isfinite(units.parse(units.example(dimension), dimension))


@pytest.mark.parametrize("dimension", units.DIMENSIONS)
@given(value=st.floats(1e-5, 1e9))
@settings(deadline=None, max_examples=40)
def test_formatted_values_are_read_back(dimension, value):
    text = units.format_value(value, units.house_unit(dimension))
    assert units.parse(text, dimension) == pytest.approx(value, rel=1e-3)


@given(value=st.floats(-1e12, 1e12, allow_subnormal=False))
@settings(deadline=None, max_examples=100)
def test_a_number_survives_its_unit(value):
    assert units.parse(f"{value!r} mm", "length") == value
    assert units.parse(f"{value!r} m", "length") == pytest.approx(1000 * value, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.15, "mm", "0.15 mm"),
        (12345.678, "N", "12346 N"),
        (23.5e-6, "1/K", "23.5e-6/K"),
        (-0.2e-6, "1/K", "-0.2e-6/K"),
        (1.0, "years", "1 year"),
        (10.0, "years", "10 years"),
        (23.0, "degC", "23 °C"),
        (0.0, "N", "0 N"),
        (0.0123456, "-", "0.01235"),
        (1.5e-7, "-", "1.5e-07"),
        (2.0, "1/years", "2 / year"),
        (100.0, "MPa", "100 MPa"),
    ],
)
def test_values_as_text(value, unit, text):
    assert units.format_value(value, unit) == text


@pytest.mark.parametrize(
    ("text", "dimension", "parts"),
    [
        (0.15, "length", ["0.15", '"0.15 mm"', "no unit"]),
        ("0.15", "length", ["0.15", '"0.15 mm"', "no unit"]),
        (23.5, "temperature", ['"23.5 degC"']),
        (1e-5, "expansion", ['"1e-05/K"', "no unit"]),
        ("75 kg", "force", ["mass", '"75 kg"', '"75 kgf"']),
        ("165 lb", "force", ["mass", '"165 lbf"']),
        ("900 g", "force", ["mass", '"900 g"']),
        ("25 mm", "stress", ["length", '"25 mm"', '"25 MPa"']),
        ("25 MPa", "temperature", ["stress", '"25 MPa"', '"23 degC"']),
        ("23 degC", "length", ["temperature", '"0.15 mm"']),
        ("0,15 mm", "length", ["comma", '"0,15 mm"', "point"]),
        ("1,500 N", "force", ["comma", '"1,500 N"']),
        ("25 mpa", "stress", ['"mpa"', '"MPa"']),
        ("3 furlong", "length", ['"furlong"', '"0.15 mm"']),
        ("about 3 mm", "length", ['"about 3 mm"']),
        ("nan mm", "length", ['"nan mm"']),
        ("1e999 mm", "length", ["finite", '"1e999 mm"']),
        ("1/0 in", "length", ["zero", '"1/0 in"']),
        ("", "length", ['""', '"0.15 mm"']),
        (float("nan"), "ratio", ["finite", "nan"]),
        (float("inf"), "ratio", ["finite", "inf"]),
        (10**400, "ratio", ["finite", "inf"]),
        (True, "ratio", ["true", '"12 %"']),
        (None, "length", ["None", '"0.15 mm"']),
        ("-300 degC", "temperature", ["absolute zero", '"-300 degC"']),
        ("120 N", "moment", ["force", '"120 N"', '"120 N m"']),
        ("120 N m", "force", ["moment", '"120 N m"']),
        ("70 degC", "angle", ["temperature", "an angle", '"70 deg"']),
        (70, "angle", ["no unit", '"70 deg"']),
        ("12 %", "length", ["ratio", '"12 %"']),
    ],
)
def test_messages_name_the_value_and_the_remedy(text, dimension, parts):
    with pytest.raises(InputError) as caught:
        units.parse(text, dimension)
    for part in parts:
        assert part in str(caught.value)


def test_an_unknown_dimension_lists_what_there_is():
    with pytest.raises(InputError, match=r"'voltage'.*length.*toughness"):
        units.parse("3 V", "voltage")
