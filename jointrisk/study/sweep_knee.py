"""Where more of a quantity stops paying, and what decides there.

The rule: a step (a tenth of the value; a tenth of the range where a tenth of the value means
nothing, as for a temperature) that lowers failure by less than a twentieth does not pay. The knee
is the value from which on no step pays, up to the value of lowest failure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.study.sweep_results import Knee

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.study.sweep_results import Quantity, SweepPoint

    Array = npt.NDArray[np.float64]

STEP = 0.1
"""Of the value, or of the range [-]."""
PAYS = 0.05
"""A step that lowers failure by less than this share does not pay [-]."""
SMALL_GAIN = 0.02
"""A step that adds less than this share to the strength adds next to none [-]."""
SECOND = 0.2
"""Share from which a kind of failure is named [-]."""
LEAST = 1e-300
FEWEST = 3
"""Points that make a curve on the way to the lowest failure [-]."""


def knee_of(points: Sequence[SweepPoint], quantity: Quantity) -> Knee:
    """Return where more of a quantity stops paying.

    Parameters
    ----------
    points : sequence of SweepPoint
        The curve, values rising.
    quantity : Quantity
    """
    known = [point for point in points if point.judged.estimate > 0.0]
    by_value = _by_value(known, quantity)
    best = _best(known) if known else 0
    more = bool(known) and quantity.written <= known[best].value and best > 0
    side = known[: best + 1] if more else known[best:][::-1]
    direction, rule = "more" if more else "less", _rule(by_value)
    if len(side) < FEWEST:
        return Knee("not told", direction, None, rule, (), None, "")
    x = np.array([point.value for point in side])
    scale = np.log(x) if by_value else x
    whole = STEP if by_value else STEP * (known[-1].value - known[0].value)
    step = (np.log1p(whole if more else -whole)) if by_value else (whole if more else -whole)
    gains = -np.expm1(np.gradient(np.log([p.judged.estimate for p in side]), scale) * step)
    at = _last_paying(x, gains)
    if at is None:
        verdict = "pays throughout" if gains[-1] >= PAYS else "pays nowhere"
        return Knee(verdict, direction, None, rule, (), None, "")
    place = int(np.argmin(np.abs(x - at)))
    strengths = np.log([max(point.one_in_100_below, LEAST) for point in side])
    gain = float(np.expm1(np.gradient(strengths, scale)[place] * step))
    found = side[place].causes
    return Knee("knee", direction, at, rule, found, gain, _reason(found, gain, direction))


def _best(known: Sequence[SweepPoint]) -> int:
    """Return the place of the lowest failure."""
    return min(range(len(known)), key=lambda place: known[place].judged.estimate)


def _by_value(known: Sequence[SweepPoint], quantity: Quantity) -> bool:
    """Tell whether a tenth of the value is a step that means something."""
    return quantity.unit != "degC" and all(point.value > 0.0 for point in known)


def _rule(by_value: bool) -> str:
    of = "a tenth of its value" if by_value else "a tenth of the range"
    return f"a step of {of} that lowers failure by less than {100 * PAYS:g} % does not pay"


def _last_paying(x: Array, gains: Array) -> float | None:
    """Return where the gain of a step falls below what pays for good; None at neither end."""
    paying = np.flatnonzero(gains >= PAYS)
    if not paying.size or paying[-1] == x.size - 1:
        return None
    last = int(paying[-1])
    over, under = gains[last] - PAYS, PAYS - gains[last + 1]
    return float(x[last] + (x[last + 1] - x[last]) * over / (over + under))


def _reason(causes: Sequence[tuple[str, float]], gain: float, direction: str) -> str:
    """Say what decides at the knee."""
    if not causes:
        return ""
    told = [f"{name} ({100 * share:.0f} %)" for name, share in causes[:2] if share >= SECOND]
    size = "next to nothing" if abs(gain) < SMALL_GAIN else f"{100 * gain:+.1f} %"
    return (
        f"What fails there: {', '.join(told)}. A step {direction} changes the strength that 1 rod "
        f"in 100 is below by {size}."
    )
