"""Text with units to plain numbers in the units of the house, and back.

House units: mm, N, N m, MPa, N/mm, degC (K for differences), 1/K, years, 1/years, deg, g and "-".
The table is short on purpose: what a workshop writes on a drawing or reads in a data sheet.
"""

from __future__ import annotations

import math
import re
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from jointrisk.errors import InputError, nearest

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["DIMENSIONS", "example", "format_value", "house_unit", "parse"]

T = TypeVar("T")

_INCH = 25.4
_LBF = 4.4482216152605
_KGF = 9.80665
_POUND = 453.59237
_PSI = _LBF / _INCH**2
_YEAR_DAYS = 365.25

_LENGTH = {
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "um": 1e-3,
    "µm": 1e-3,
    "μm": 1e-3,
    "micron": 1e-3,
    "microns": 1e-3,
    "nm": 1e-6,
    "in": _INCH,
    "inch": _INCH,
    "inches": _INCH,
    '"': _INCH,
    "″": _INCH,
    "ft": 12 * _INCH,
    "foot": 12 * _INCH,
    "feet": 12 * _INCH,
    "'": 12 * _INCH,
    "′": 12 * _INCH,
    "thou": _INCH / 1000,
    "mil": _INCH / 1000,
    "mils": _INCH / 1000,
}
_FORCE = {
    "N": 1.0,
    "daN": 10.0,
    "kN": 1e3,
    "MN": 1e6,
    "kgf": _KGF,
    "kp": _KGF,
    "tf": 1000 * _KGF,
    "lbf": _LBF,
    "ozf": _LBF / 16,
    "kip": 1000 * _LBF,
}
_MOMENT = {
    f"{force}{link}{arm}": newton * metre
    for force, newton in (("N", 1.0), ("daN", 10.0), ("kN", 1e3), ("kgf", _KGF), ("lbf", _LBF))
    for arm, metre in (
        *(("m", 1.0), ("cm", 0.01), ("mm", 1e-3)),
        *(("ft", 12e-3 * _INCH), ("in", 1e-3 * _INCH)),
    )
    for link in (" ", "-", "·", "*", "")
}
_MOMENT |= {f"{arm}-lbf": _MOMENT[f"lbf-{arm}"] for arm in ("ft", "in")}
_ANGLE = {
    **dict.fromkeys(("deg", "degree", "degrees", "°"), 1.0),
    **dict.fromkeys(("rad", "radian", "radians"), 180 / math.pi),
}
_STRESS = {
    "MPa": 1.0,
    "N/mm2": 1.0,
    "Pa": 1e-6,
    "N/m2": 1e-6,
    "kPa": 1e-3,
    "GPa": 1e3,
    "kN/mm2": 1e3,
    "bar": 0.1,
    "psi": _PSI,
    "lbf/in2": _PSI,
    "ksi": 1000 * _PSI,
    "kgf/mm2": _KGF,
    "kgf/cm2": _KGF / 100,
}
_TOUGHNESS = {
    "N/mm": 1.0,
    "kJ/m2": 1.0,
    "J/m2": 1e-3,
    "N/m": 1e-3,
    "kN/m": 1.0,
    "mJ/mm2": 1.0,
    "lbf/in": _LBF / _INCH,
    "in-lbf/in2": _LBF / _INCH,
}
_DIFFERENCE = {
    "K": 1.0,
    "kelvin": 1.0,
    "degC": 1.0,
    "°C": 1.0,
    "C": 1.0,
    "degF": 1 / 1.8,
    "°F": 1 / 1.8,
    "F": 1 / 1.8,
}
_EXPANSION = {
    "1/K": 1.0,
    "/K": 1.0,
    "1/degC": 1.0,
    "/degC": 1.0,
    "1/°C": 1.0,
    "/°C": 1.0,
    "1e-6/K": 1e-6,
    "ppm/K": 1e-6,
    "ppm/degC": 1e-6,
    "ppm/°C": 1e-6,
    "um/m/K": 1e-6,
    "µm/m/K": 1e-6,
    "1/degF": 1.8,
    "/degF": 1.8,
    "1/°F": 1.8,
    "/°F": 1.8,
    "ppm/degF": 1.8e-6,
    "ppm/°F": 1.8e-6,
}
_TIME_WORDS = {
    ("year", "years", "yr", "yrs", "a"): 1.0,
    ("month", "months"): 1 / 12,
    ("week", "weeks"): 7 / _YEAR_DAYS,
    ("day", "days", "d"): 1 / _YEAR_DAYS,
    ("hour", "hours", "h"): 1 / (24 * _YEAR_DAYS),
    ("minute", "minutes", "min"): 1 / (1440 * _YEAR_DAYS),
    ("second", "seconds", "s"): 1 / (86400 * _YEAR_DAYS),
}
_TIME = {word: factor for words, factor in _TIME_WORDS.items() for word in words}
_RATE = {
    f"{link}{word}": 1 / factor
    for word, factor in _TIME.items()
    for link in ("/", "1/", "per ", "a ", "times a ", "times per ", "an ")
}
_MASS = {
    "g": 1.0,
    "mg": 1e-3,
    "kg": 1e3,
    **dict.fromkeys(("t", "tonne"), 1e6),
    **dict.fromkeys(("lb", "lbs"), _POUND),
    "oz": _POUND / 16,
}
_RATIO = {"": 1.0, "-": 1.0, "1": 1.0, "%": 0.01, "percent": 0.01}
_TEMPERATURE = {  # value * factor + offset gives degC
    "degC": (1.0, 0.0),
    "°C": (1.0, 0.0),
    "C": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "K": (1.0, -273.15),
    "degF": (1 / 1.8, -32 / 1.8),
    "°F": (1 / 1.8, -32 / 1.8),
    "F": (1 / 1.8, -32 / 1.8),
}
_MASSES = {"kg": "kgf", "g": "N", "t": "tf", "tonne": "tf", "lb": "lbf", "lbs": "lbf", "oz": "ozf"}

_TABLES: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "length": _LENGTH,
        "force": _FORCE,
        "moment": _MOMENT,
        "angle": _ANGLE,
        "stress": _STRESS,
        "toughness": _TOUGHNESS,
        "temperature difference": _DIFFERENCE,
        "expansion": _EXPANSION,
        "time": _TIME,
        "rate": _RATE,
        "mass": _MASS,
        "ratio": _RATIO,
    }
)
_HOUSE = {
    "length": ("mm", "0.15 mm"),
    "force": ("N", "800 N"),
    "moment": ("N m", "120 N m"),
    "angle": ("deg", "70 deg"),
    "stress": ("MPa", "25 MPa"),
    "toughness": ("N/mm", "3 N/mm"),
    "temperature": ("degC", "23 degC"),
    "temperature difference": ("K", "5 K"),
    "expansion": ("1/K", "23.5e-6/K"),
    "time": ("years", "10 years"),
    "rate": ("1/years", "2 / year"),
    "mass": ("g", "38 g"),
    "ratio": ("-", "12 %"),
}
DIMENSIONS: tuple[str, ...] = tuple(_HOUSE)

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_TEXT = re.compile(rf"({_NUMBER})(?:\s*/\s*(\d+\.?\d*))?\s*(.*)", re.DOTALL)
_COMMA = re.compile(r"\d,\d")


def house_unit(dimension: str) -> str:
    """Return the unit in which numbers of `dimension` are held, such as "mm"."""
    return _HOUSE[_known(dimension)][0]


def example(dimension: str, value: float | None = None) -> str:
    """Return a text that `parse` accepts for `dimension`, with `value` as its number."""
    sample = _HOUSE[_known(dimension)][1]
    if value is None:
        return sample
    found = _TEXT.fullmatch(sample)
    unit = found.group(3) if found else ""
    return f"{value:g}{'' if unit.startswith('/K') else ' '}{unit}".strip()


def parse(text: str | float, dimension: str) -> float:
    """Return the number behind `text` in the house unit of `dimension`.

    Parameters
    ----------
    text : str or float
        Number and unit, such as "0.15 mm", "6 thou", "1/4 in" or "12 %". A bare number is
        allowed for a ratio only.
    dimension : str
        One of `DIMENSIONS`.

    Returns
    -------
    float
        In mm, N, N m, deg, MPa, N/mm, degC, K, 1/K, years, 1/years, g or "-".

    Raises
    ------
    InputError
        No finite number, no unit, a unit of another kind, a mass for a force, or a comma.
    """
    _known(dimension)
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise InputError(f"is not a number with a unit ({_got(text, dimension)})")
    if not isinstance(text, str):
        return _bare(_as_float(text), dimension)
    number, unit = _split(text, dimension)
    if not unit and dimension != "ratio":
        return _bare(number, dimension)
    if dimension == "temperature":
        factor, offset = _look_up(_TEMPERATURE, unit, text, dimension)
        value = number * factor + offset
        if value < -273.15 - 1e-9:
            raise InputError(f"is below absolute zero ({_got(text, dimension)})")
        return value
    return number * _look_up(_TABLES[dimension], unit, text, dimension)


def format_value(value: float, unit: str) -> str:
    """Return `value` [unit] with four significant digits, in a form that `parse` reads back.

    Parameters
    ----------
    value : float [unit]
        In the unit named by `unit`.
    unit : str
        A house unit; "-" stands for a plain number.
    """
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else ("endless" if value > 0 else "-endless")
    if unit == "1/K":
        shown = _digits(value * 1e6)
        return f"{value:.4g}/K" if "e" in shown else f"{shown}e-6/K"
    if unit == "1/years":
        return f"{_digits(value)} / year"
    shown = {"-": "", "degC": "°C", "years": "year" if value == 1 else "years"}.get(unit, unit)
    return f"{_digits(value)} {shown}".strip()


def _digits(value: float) -> str:
    """Four significant digits without a needless exponent."""
    if value == 0:
        return "0"
    if 1e-3 <= abs(value) < 1e7:
        places = max(0, 3 - math.floor(math.log10(abs(value))))
        text = f"{value:.{places}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.4g}"


def _known(dimension: str) -> str:
    if dimension not in _HOUSE:
        raise InputError(f"no such dimension (got {dimension!r}; expected {', '.join(_HOUSE)})")
    return dimension


def _got(text: object, dimension: str) -> str:
    """Return the closing words of a message: what came, and what would have done."""
    article = "an" if dimension[0] in "aeiou" else "a"
    shown = f'"{text}"' if isinstance(text, str) else str(text)
    shown = shown.lower() if isinstance(text, bool) else shown
    return f'got {shown}; expected {article} {dimension} such as "{example(dimension)}"'


def _as_float(number: float) -> float:
    """Return `number` as a float; whole numbers that no float can hold become infinite."""
    try:
        return float(number)
    except OverflowError:
        return math.inf


def _bare(number: float, dimension: str) -> float:
    if not math.isfinite(number):
        raise InputError(f"is not a finite number ({_got(number, dimension)})")
    if dimension != "ratio":
        raise InputError(f'has no unit (got {number:g}; write "{example(dimension, number)}")')
    return number


def _split(text: str, dimension: str) -> tuple[float, str]:
    """Return number and tidy unit of `text`."""
    plain = text.strip().replace("−", "-").replace("\u00a0", " ")
    if _COMMA.search(plain):
        point = f"{_got(text, dimension)}; a comma is not read: write a point for decimals"
        raise InputError(f"holds a comma ({point}, nothing for thousands)")
    found = _TEXT.fullmatch(plain)
    if not found:
        raise InputError(f"does not start with a number ({_got(text, dimension)})")
    number = float(found.group(1))
    if found.group(2):
        if float(found.group(2)) == 0:
            raise InputError(f"divides by zero ({_got(text, dimension)})")
        number /= float(found.group(2))
    if not math.isfinite(number):
        raise InputError(f"is not a finite number ({_got(text, dimension)})")
    return number, _tidy(found.group(3))


def _tidy(unit: str) -> str:
    """One spelling for the many ways of writing a unit."""
    unit = " ".join(unit.split())
    unit = re.sub(r"\s*([/·*])\s*", r"\1", unit)
    unit = re.sub(r"\^?([23])$", r"\1", unit.replace("²", "2"))
    unit = re.sub(r"\b10\^?-6", "1e-6", unit)
    return re.sub(r"\bdeg(?:rees?)?[ .]*([CF])\b", r"deg\1", unit)


def _look_up(table: Mapping[str, T], unit: str, text: str, dimension: str) -> T:
    if unit in table:
        return table[unit]
    if dimension == "force" and unit in _MASSES:
        number = text.strip()[: -len(unit)].strip() if text.strip().endswith(unit) else "…"
        hint = f'write "{number} {_MASSES[unit]}"' if unit != "g" else "write the force in N"
        raise InputError(f'is a mass, not a force (got "{text}"; for its weight {hint})')
    for other, units in (*_TABLES.items(), ("temperature", _TEMPERATURE)):
        if unit and unit in units:
            raise InputError(f'has a unit of {other}: "{unit}" ({_got(text, dimension)})')
    close = nearest(unit, list(table))
    hint = f'; did you mean "{close}"?' if close else ""
    raise InputError(f'has an unknown unit: "{unit}" ({_got(text, dimension)}{hint})')
