"""What a sweep says, in plain sentences shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.words import (
    about,
    chance,
    chance_range,
    duration,
    factor,
    load,
    number,
    percent,
)

if TYPE_CHECKING:
    from jointrisk.study.results import Chance
    from jointrisk.study.sweep_results import Edge, Quantity, Sweep, SweepPoint

NEARLY_ALL = 0.95
"""Share of the failures from which the first cause is told without it [-]."""
FEW_LEFT_OUT = 0.005
"""Share of sets that cannot be put together from which it is told [-]."""


def amount(value: float, unit: str, rounding: str = "nearest", digits: int = 3) -> str:
    """Return a value of a quantity with its unit."""
    if unit == "N":
        return load(value, digits, rounding)
    if unit == "years":
        return duration(value)
    if unit == "-":
        return number(value, digits, rounding)
    return f"{number(value, digits, rounding)} {'°C' if unit == 'degC' else unit}"


def at(quantity: Quantity, value: float, rounding: str = "nearest") -> str:
    """Return a value of what is swept."""
    return amount(value, quantity.unit, rounding)


def headline(result: Sweep) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and a few sentences."""
    return [
        ("Failure", failure(result)),
        ("Target", target(result)),
        ("Pays", pays(result)),
        ("Fails", fails(result)),
    ]


def failure(result: Sweep) -> str:
    """Say what failure is at both ends and as written."""
    quantity = result.quantity
    known = [p for p in result.points if math.isfinite(p.failure.estimate)]
    first, last, now = known[0], known[-1], result.as_written
    return (
        f"With {quantity.label} from {at(quantity, first.value)} to {at(quantity, last.value)} the "
        f"chance that {_any_rod(result.rods)} lets go in {duration(result.life_years)} goes from "
        f"{told(first.failure)} to **{told(last.failure)}**; as written "
        f"({at(quantity, now.value)}) it is **{told(now.failure)}**."
    )


def told(found: Chance) -> str:
    """Return a chance with the digits that its interval carries."""
    return about(found.estimate, found.low, found.high)


def _any_rod(rods: int) -> str:
    return "the rod" if rods == 1 else f"any of the {rods} rods"


def counted(result: Sweep) -> str:
    """Say what the target counts, "" without one."""
    if result.target is None:
        return ""
    of = "the set of rods" if result.target_scope == "set" else "each rod"
    when = "the worst year" if result.target_period == "year" else "the whole life"
    return f"{chance(result.target)} for {of} in {when}"


def target(result: Sweep) -> str:
    """Say where the target is met."""
    quantity, best = result.quantity, result.best
    if result.target is None:
        return "**Not judged:** the scenario names no target, so no value was looked for."
    lowest = f"{told(best.judged)} at {at(quantity, best.value)}"
    if result.verdict == "unreachable within the range":
        ends = chance_range(best.judged.low, best.judged.high)
        sure = "" if best.meets is False else f" Sampling cannot rule it out there: {ends}."
        return (
            f"**Unreachable within the range** ({counted(result)}): the lowest found is {lowest}."
            f"{sure}"
        )
    if result.verdict == "met everywhere":
        return f"**Met everywhere** in the range ({counted(result)}); the lowest found is {lowest}."
    ways = "; and ".join(_window(result, *(w.start, w.end)) for w in result.windows)
    edges = [(e, r) for w in result.windows for e, r in ((w.start, "up"), (w.end, "down"))]
    more = [_band(result, found, side) for found, side in edges if found.band is not None]
    return " ".join([f"Met {ways}. The target: {counted(result)}.", *more])


def _window(result: Sweep, start: Edge, end: Edge) -> str:
    return f"from {edge(result, start, 'up')} to {edge(result, end, 'down')}"


def edge(result: Sweep, found: Edge, rounding: str) -> str:
    """Return one end of a window with its interval."""
    value = at(result.quantity, found.value, rounding)
    if found.of_range:
        return f"{value}, the end of the range"
    low = "below the range" if found.low is None else at(result.quantity, found.low)
    high = "beyond the range" if found.high is None else at(result.quantity, found.high)
    return f"**{value}** (sampling: {low} to {high})"


def _band(result: Sweep, found: Edge, rounding: str) -> str:
    if found.band is None:
        return ""
    return (
        f"At {at(result.quantity, found.value, rounding)}, because of what is not known, it is "
        f"anywhere from {chance(found.band.p05)} to {chance(found.band.p95)}; chance that the "
        f"target is met there: {percent(found.band.chance_met)}."
    )


def pays(result: Sweep) -> str:
    """Say where more of it stops paying."""
    knee, quantity = result.knee, result.quantity
    name = f"{knee.direction} {quantity.label}"
    if knee.value is not None:
        side = "Beyond" if knee.direction == "more" else "Below"
        return (
            f"**{side} {at(quantity, knee.value)} {name} brings little** ({knee.rule}). "
            f"{knee.reason}"
        )
    if knee.verdict == "pays throughout":
        return (
            f"{name[:1].upper()}{name[1:]} pays up to {at(quantity, result.best.value)}, where "
            f"failure is lowest in the range ({knee.rule})."
        )
    if knee.verdict == "not told":
        return "Too few values on the way to the lowest failure to say where more stops paying."
    return f"Within the range it makes little difference ({knee.rule})."


def fails(result: Sweep) -> str:
    """Say what fails at both ends."""
    known = [p for p in result.points if p.causes]
    if not known:
        return "**Nothing** failed in the draws that were made."
    first, last = known[0], known[-1]
    if first.causes[0][0] == last.causes[0][0]:
        ends = dict.fromkeys(percent(point.causes[0][1]) for point in (first, last))
        shares = f"{' to '.join(ends)} of the failures"
        return f"At both ends, first of all: **{first.causes[0][0]}**, {shares}."
    return (
        f"At {at(result.quantity, first.value)}: **{first.causes[0][0]}** "
        f"({percent(first.causes[0][1])}); at {at(result.quantity, last.value)}: "
        f"**{last.causes[0][0]}** ({percent(last.causes[0][1])})."
    )


def map_lines(result: Sweep) -> list[str]:
    """Say for each value of the second quantity where the target comes to be met."""
    if result.map is None or result.target is None:
        return []
    lines = []
    for row, value in enumerate(result.map.values):
        crossings = result.map.crossings[row]
        place = f"{result.map.second.label} {at(result.map.second, value)}"
        if crossings:
            where = ", ".join(at(result.quantity, x) for x in crossings)
            lines.append(f"{place}: crosses the target at {result.quantity.label} {where}")
            continue
        known = [c for c in result.map.failure[row] if math.isfinite(c.estimate)]
        met = bool(known) and all(c.estimate <= result.target for c in known)
        state = "met all along" if met else "met nowhere" if known else "cannot be put together"
        lines.append(f"{place}: {state}")
    return lines


COLUMNS = (
    "value", "fails over the life", "interval", "times as written", "as the target counts",
    "target", "1 rod in 100 below", "permitted load", "what fails first of all",
)  # fmt: skip


def counts_apart(result: Sweep) -> bool:
    """Tell whether the target counts something else than the set over its life."""
    alike = result.target_scope == "set" or result.rods == 1
    return result.target is not None and not (alike and result.target_period == "life")


def row(result: Sweep, point: SweepPoint) -> tuple[str, ...]:
    """Return one value as a row of `COLUMNS`."""
    value = at(result.quantity, point.value)
    if not math.isfinite(point.failure.estimate):
        return (value, *("",) * 7, "the rods cannot be put together")
    judged, permitted = point.as_target, point.permitted
    lead = ""
    if point.causes:
        name, share = point.causes[0]
        lead = name if share > NEARLY_ALL else f"{name}, {percent(share)}"
    if point.left_out > FEW_LEFT_OUT:
        lead += f"; {percent(point.left_out)} of sets cannot be put together"
    return (
        value,
        chance(point.failure.estimate, point.failure.low, point.failure.high),
        chance_range(point.failure.low, point.failure.high),
        factor(point.ratio.estimate),
        "" if judged is None else chance(judged.estimate, judged.low, judged.high),
        "" if judged is None else {True: "met", False: "missed", None: "too near"}[point.meets],
        load(point.one_in_100_below),
        "" if permitted is None else load(permitted.newton, 2, "down"),
        lead,
    )
