"""What a rating says, in plain sentences shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.sweep_sentences import told
from jointrisk.report.words import chance, load, load_all, number

if TYPE_CHECKING:
    from jointrisk.study.rating_results import Rated, RatedLoad, Rating

KINDS = {
    "annual_maximum": "average of the largest of a year",
    "event": "average of one event",
    "sustained": "average of the steady load",
    "cycles": "average swing to either side",
}
COLUMNS = ("rods", "loads may be", "sampling", "fails at the loads as written", "target there")
LOAD_COLUMNS = ("load", "what is meant", "as written", "as built", "after a pull")


def headline(result: Rating) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and a few sentences."""
    lines = [("Rating", as_built(result)), ("Cautious", cautious(result))]
    lines += [("Pulled", pulled(entry)) for entry in result.after_pull]
    return [*lines, ("Write", on_the_part(result))]


def counted(result: Rating) -> str:
    """Say what the target counts."""
    of = "the set of rods" if result.target_scope == "set" else "each rod"
    when = "the worst year" if result.target_period == "year" else "the whole life"
    return f"{chance(result.target)} for {of} in {when}"


def times(value: float) -> str:
    """Return a factor on the loads, rounded down, with as many digits as the ends beside it."""
    return number(value, 3, "down")


def _range(entry: Rated) -> str:
    if entry.low is None or entry.high is None:
        return ""
    return f"{number(entry.low, 3, 'down')} to {number(entry.high, 3, 'up')}"


def as_built(result: Rating) -> str:
    """Say how large the loads may be with no pull."""
    entry = result.as_built
    if entry.verdict == "unreachable":
        return (
            f"**No load at all:** as built the target ({counted(result)}) is missed however small "
            "the loads are. What fails then is not the loads' doing (weak, aged or hot bonds)."
        )
    if entry.verdict == "beyond" or entry.factor is None:
        return f"As built the target ({counted(result)}) holds at any load that was looked at."
    value = times(entry.factor)
    return (
        f"As built the target ({counted(result)}) holds up to **{value} times** the loads as "
        f"written (sampling: {_range(entry)}). {_against(entry)}"
    )


def _against(entry: Rated) -> str:
    """Say how the loads as written stand to the rating."""
    fails = f"at them it is {told(entry.failure)}"
    if entry.meets is None or entry.factor is None:
        return f"The loads as written are too near to it to tell: {fails}."
    if entry.meets:
        return f"The loads as written keep to it: {fails}."
    return f"The loads as written are **{number(1.0 / entry.factor, 2)} times too large**: {fails}."


def cautious(result: Rating) -> str:
    """Say how large they may be with most of what is not known counted against the rods."""
    if result.cautious_factor is not None:
        return (
            f"Counted so that it holds in 19 of 20 cases of what is not known, as built: about "
            f"**{number(result.cautious_factor, 2, 'down')} times**."
        )
    if result.cautious_verdict == "all is known":
        return "The file says nothing that is not known, so there is no more to allow for."
    if result.cautious_verdict == "beyond":
        return "What is not known changes nothing at any load that was looked at."
    return "In 19 of 20 cases of what is not known it holds at **no load at all**."


def pulled(entry: Rated) -> str:
    """Say how large they may be after a pull."""
    head = f"After {entry.label}, {load_all(entry.pull_newton, 3, 'up')}: "
    if entry.verdict == "not told":
        return f"{head}too few rods hold it to say."
    if entry.verdict == "unreachable":
        return f"{head}**no load at all**, however small."
    if entry.factor is None:
        return f"{head}the target holds at any load that was looked at."
    value = times(entry.factor)
    return f"{head}**{value} times** the loads as written (sampling: {_range(entry)})."


def on_the_part(result: Rating) -> str:
    """Say what may be written on the part."""
    entry = result.as_built
    if not entry.loads:
        return "**Nothing:** there is no load to write on the part."
    if len(entry.loads) == 1:
        (only,) = entry.loads
        return (
            f"{KINDS[only.kind]} of “{only.name}”: **{sized(only.low, only.unit)}** at most "
            "(the lower end of the interval), as built, for these rods, this use and this life "
            "only."
        )
    least = number(entry.low or 0.0, 2, "down")
    return (
        f"**{least} times** each load of the table at most (the lower end of the interval), as "
        "built, for these rods, this use and this life only."
    )


def sized(value: float, unit: str) -> str:
    """Return a load, rounded down."""
    return load(value, 2, "down") if unit == "N" else f"{number(value, 2, 'down')} {unit}"


def row(entry: Rated) -> tuple[str, ...]:
    """Return what is rated as a row of `COLUMNS`."""
    place = "" if entry.pull_newton is None else f", {load(entry.pull_newton, 3, 'up')}"
    met = {True: "met", False: "missed", None: "too near"}[entry.meets]
    value = {
        "unreachable": "no load",
        "beyond": "any looked at",
        "not told": "too few hold it",
    }.get(entry.verdict, "")
    if entry.factor is not None:
        value = f"{times(entry.factor)} times"
    fails = chance(entry.failure.estimate, entry.failure.low, entry.failure.high)
    return (f"{entry.label}{place}", value, _range(entry), fails, met if value else "")


def load_rows(result: Rating) -> list[tuple[str, ...]]:
    """Return each load as a row of `LOAD_COLUMNS`; after the best of the pulls."""
    after = [entry for entry in result.after_pull if entry.factor is not None]
    best = max(after, key=lambda entry: entry.factor or 0.0) if after else None
    shown = result.as_built.loads or (best.loads if best is not None else ())
    return [
        (
            one.name,
            KINDS[one.kind],
            sized(one.written, one.unit),
            _at(result.as_built.loads, place),
            "" if best is None else _at(best.loads, place),
        )
        for place, one in enumerate(shown)
    ]


def _at(loads: tuple[RatedLoad, ...], place: int) -> str:
    return sized(loads[place].rated, loads[place].unit) if loads else "none"
