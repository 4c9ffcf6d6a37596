"""Numbers in words: never more digits than their interval carries.

Probabilities and shares [-], loads [N], times [years].
"""

from __future__ import annotations

import math

KILOGRAM_FORCE = 9.80665
"""[N], exact by definition (CGPM 1901)."""
POUND_FORCE = 4.4482216152605
"""[N], exact by definition (0.45359237 kg under standard gravity)."""
SMALLEST_TOLD = 1e-7
"""Below it no model of a glued joint is worth a number [-]."""


def rounded(value: float, digits: int = 2, rounding: str = "nearest") -> float:
    """Round to significant digits.

    Parameters
    ----------
    value : float
        Any finite number [-].
    digits : int
        Significant digits, 1 or more [-].
    rounding : {"nearest", "up", "down"}
        "up" and "down" go away from and towards minus infinity.

    Returns
    -------
    float
        The rounded number [-].
    """
    if value == 0.0 or not math.isfinite(value):
        return value
    nearest = float(f"{value:.{digits}g}")
    step = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    if rounding == "up" and nearest < value * (1 - 1e-12):
        nearest += step
    if rounding == "down" and nearest > value * (1 + 1e-12):
        nearest -= step
    return float(f"{nearest:.{digits + 1}g}")


def number(value: float, digits: int = 2, rounding: str = "nearest") -> str:
    """Return a number in plain digits, thousands parted by commas, never in powers of ten."""
    if not math.isfinite(value):
        return "unknown"
    short = rounded(value, digits, rounding)
    if short == 0.0:
        return "0"
    if abs(short) >= 1e6:
        return f"{number(short / 1e6, digits)} million"
    places = max(0, digits - 1 - math.floor(math.log10(abs(short)) + 1e-12))
    text = f"{short:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def digits_carried(value: float, low: float | None, high: float | None) -> int:
    """Return 1, 2 or 3: the significant digits that an interval leaves standing.

    Parameters
    ----------
    value, low, high : float
        A number and its interval, in one unit [-]; None: not known, 2 digits.
    """
    if low is None or high is None or not value or not math.isfinite(high - low):
        return 2
    half_width = abs((high - low) / (2.0 * value))
    return 1 if half_width > 0.15 else 2 if half_width > 0.01 else 3


def chance(probability: float | None, low: float | None = None, high: float | None = None) -> str:
    """Return a probability as "1 in 3,000", or "29 in 100" above a tenth.

    Parameters
    ----------
    probability : float
        Between 0 and 1 [-]; None or NaN: "unknown".
    low, high : float, optional
        Its interval [-]; decides between one and two digits. With a probability of 0 the
        upper end is told instead.
    """
    if probability is None or not math.isfinite(probability):
        return "unknown"
    if probability <= 0.0 and high is not None and high > SMALLEST_TOLD:
        return f"fewer than {chance(high)}"
    if probability < SMALLEST_TOLD:
        return "fewer than 1 in 10 million"
    digits = min(2, digits_carried(probability, low, high))
    if probability <= 0.1:
        return f"1 in {number(1.0 / probability, digits)}"
    if probability < 0.995:
        return f"{rounded(100.0 * probability, digits):.0f} in 100"
    return "more than 99 in 100"


def about(probability: float | None, low: float | None = None, high: float | None = None) -> str:
    """Return `chance` with "about" before it where that makes sense."""
    text = chance(probability, low, high)
    return f"about {text}" if text[0].isdigit() else text


def chance_range(low: float | None, high: float | None) -> str:
    """Return "1 in 20,000 to 1 in 200"; one value where both ends read the same."""
    first, last = chance(low), chance(high)
    return first if first == last else f"{first} to {last}"


def percent(share: float | None) -> str:
    """Return a share as a percentage of two digits, never rounded to a false 0 or 100 %."""
    if share is None or not math.isfinite(share):
        return "unknown"
    if 0.0 < share < 0.0001:
        return "under 0.01 %"
    if 0.995 <= share < 1.0:
        return "over 99 %"
    return f"{number(100.0 * share, 2)} %"


def load(newton: float | None, digits: int = 2, rounding: str = "nearest") -> str:
    """Return a load [N] in N, or in kN from 10 kN on."""
    if newton is None or not math.isfinite(newton):
        return "unknown"
    if abs(newton) >= 9.95e3:
        return f"{number(newton / 1e3, digits, rounding)} kN"
    return f"{number(newton, digits, rounding)} N"


def load_all(newton: float | None, digits: int = 2, rounding: str = "nearest") -> str:
    """Return a load [N] with kgf and lbf beside it."""
    if newton is None or not math.isfinite(newton):
        return "unknown"
    kilograms = number(newton / KILOGRAM_FORCE, digits, rounding)
    pounds = number(newton / POUND_FORCE, digits, rounding)
    return f"{load(newton, digits, rounding)} ({kilograms} kgf, {pounds} lbf)"


def duration(years: float | None) -> str:
    """Return a time [years] in years, months or days."""
    if years is None or not math.isfinite(years):
        return "an unknown time"
    units = (("year", 1.0), ("month", 1.0 / 12.0), ("day", 1.0 / 365.25))
    unit, length = next((u for u in units if years >= 0.995 * u[1]), units[-1])
    count = years / length
    text = number(count, 3)
    return f"{text} {unit}" if text == "1" else f"{text} {unit}s"


def multiple(factor: float, low: float | None = None, high: float | None = None) -> str:
    """Return what a factor does, after "would": "be divided by about 4.8".

    Parameters
    ----------
    factor : float
        Positive [-]; what a probability is multiplied by.
    low, high : float, optional
        Its interval [-]; one that holds 1 means that no change can be told.
    """
    if not math.isfinite(factor):
        return "be unknown"
    if low is not None and high is not None and low <= 1.0 <= high:
        return "not change by an amount that can be told"
    if factor <= 1e-3:
        return "be divided by more than 1,000"
    digits = min(2, digits_carried(factor, low, high))
    if factor < 1.0:
        return f"be divided by about {number(1.0 / factor, digits)}"
    return f"be multiplied by about {number(factor, digits)}"


def factor(value: float) -> str:
    """Return a factor of change [-] for a table: two decimals near 1, two digits elsewhere."""
    if math.isfinite(value) and 0.1 <= value < 10.0:
        return f"{value:.2f}"
    return number(value)
