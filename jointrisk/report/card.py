"""The shop card: one sheet to pull by, printed and filled in by hand, and the log that matches.

Every load on it is a load of the result, turned into other units. Where the result asks for no
pull there is no instruction on it, but the reason.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from jointrisk.report import proof_sentences as say
from jointrisk.report.words import (
    KILOGRAM_FORCE,
    POUND_FORCE,
    about,
    chance,
    duration,
    load,
    number,
    percent,
    rounded,
)

if TYPE_CHECKING:
    from jointrisk.study.proof_results import Proof

FIGURES = 3
"""Figures of a load on the card [-]."""
MOST_ROWS = 36
"""Rows that one sheet holds [-]."""
LEAST_SPARE = 2
LOG_COLUMNS = ("part", "batch", "load [N]", "held", "date", "gap [mm]", "overlap [mm]", "note")
TABLE_COLUMNS = ("part", "batch", "date", "load", "held?", "by")

CAUTIONS = (
    "A rod that lets go flies, and so does the rig. Solid guard round the rod; a slack sling or "
    "chain on the rig and on any weight; eye protection.",
    "Work from a distance. Nobody in line with the rod, nobody under the load, ever.",
    "Never hang a person on a rod, and never use a person as the weight.",
    "A code, a sanctioning body or a licensed engineer who asks for more comes first.",
)

PUSH_CAUTION = (
    "A rod that is pushed can bend away to any side without a warning, and springs out: guard it "
    "on all sides, and hold its ends so that none can slip off."
)

BEFORE = (
    "The glue has cured in full; rod and rig have the temperature of the workshop, {warm} °C.",
    "Number each rod and its batch. Look at both mouths: no gap, no crack, no bare spot.",
    "Draw a thin line across each mouth, from metal to tube: it shows whether anything slips.",
)
PULLING = (
    "Hang the rod in by its own ends, straight in line. Guard, sling, gauge at zero.",
    "Pull slowly to about half. Stop, listen, look from outside the guard.",
    "Go on slowly, without a jerk, to the load. Not above the upper limit.",
)
SET_UP = "Set the rod up by its own ends, straight in line, so that none can slip. " + (
    "Guard, sling, gauge at zero."
)
AFTER = (
    "Let off slowly. Look at both lines and both mouths.",
    "Write it down before the next rod. Pull each rod once.",
)
WATCH = (
    "Listen: a crack, a ping, or ticking that goes on while the load is held.",
    "Gauge: a load that sinks and has to be topped up again and again.",
    "Look: a line that no longer meets, a white or open mouth, a bend.",
)
STRAIGHT = "Rod: it stays straight; let off at once when it begins to bow."
REFUSE = (
    "It broke, a line moved, or a mouth opened.",
    "It ticked on while held, or the load would not stay.",
    "It was jerked, or pulled above the upper limit: even if it held.",
    "Do not pull a doubtful rod again to see. Cut refused rods through, so that none is used.",
)


@dataclass(frozen=True, slots=True)
class Card:
    """What the card says, in order; texts are finished sentences."""

    title: str
    way: str
    """"pull" or "push"."""
    cautions: tuple[str, ...]
    why_not: tuple[str, ...]
    """Why there is no pull; empty where there is one."""
    load: tuple[str, str, str]
    """In N, kgf and lbf, rounded up."""
    upper: tuple[str, str, str]
    """Never above, rounded down."""
    rounding: str
    hold: str
    rig: tuple[str, ...]
    """How to bring the load about with the rig named."""
    steps: tuple[str, ...]
    watch: tuple[str, ...]
    refuse: tuple[str, ...]
    broken: tuple[str, ...]
    """How many are expected to break, and what to do when more do."""
    left: tuple[str, ...]
    rows: int
    """Rods and spare ones."""
    more_rows: int
    """Rods that the sheet has no row for."""
    origin: str


def card(result: Proof) -> Card:
    """Return what the card of a result says.

    Parameters
    ----------
    result : Proof
        What `jointrisk.proof` returned.
    """
    wanted = result.verdict == "window" and result.best is not None
    low, high = say.window_of(result) if wanted else (math.nan, math.nan)
    digits = _digits(low, high) if wanted else FIGURES
    spare = max(LEAST_SPARE, math.ceil(result.best.spoiled_in_run)) if result.best else 0
    rows = result.rods + spare if wanted else 0
    pushes = result.rig.pushes
    found = Card(
        title=result.title or "Rods with bonded ends",
        way=result.rig.direction,
        cautions=(CAUTIONS[0], PUSH_CAUTION, *CAUTIONS[1:]) if pushes else CAUTIONS,
        why_not=() if wanted else _why_not(result),
        load=_in_units(low, digits, "up"),
        upper=_in_units(high, digits, "down"),
        rounding=(
            f"Load rounded up, upper limit down, to {digits} figures in each unit. "
            f"{say.known_to(result)}"
        ).strip(),
        hold=_time(result.rig.hold_time),
        rig=_rig(result, low, digits) if wanted else (),
        steps=_steps(result) if wanted else (),
        watch=(STRAIGHT, *WATCH) if pushes else WATCH,
        refuse=REFUSE,
        broken=_broken(result) if wanted else (),
        left=_left(result) if wanted else (),
        rows=min(rows, MOST_ROWS),
        more_rows=max(rows - MOST_ROWS, 0),
        origin=_origin(result),
    )
    return _in_its_words(found, result)


def _in_its_words(card: Card, result: Proof) -> Card:
    """Return a card with its sentences about what the rig does."""
    lists = ("cautions", "why_not", "rig", "steps", "watch", "refuse", "broken", "left")
    words: dict[str, Any] = {
        name: tuple(say.said(line, result) for line in getattr(card, name)) for name in lists
    }
    return replace(card, rounding=say.said(card.rounding, result), **words)


def log_text() -> str:
    """Return the blank log as CSV text: the columns, and no row."""
    stream = io.StringIO(newline="")
    csv.writer(stream).writerow(LOG_COLUMNS)
    return stream.getvalue()


def _digits(low: float, high: float) -> int:
    """Return the fewest figures at which the load, rounded up, is still inside the window."""
    for digits in range(FIGURES, 7):
        units = (1.0, KILOGRAM_FORCE, POUND_FORCE)
        if all(
            rounded(low / unit, digits, "up") <= rounded(high / unit, digits, "down")
            for unit in units
        ):
            return digits
    return 7


def _figures(value: float, digits: int, rounding: str) -> str:
    """Return a number in plain digits however large: what is read off goes on a gauge."""
    short = rounded(value, digits, rounding)
    places = max(0, digits - 1 - math.floor(math.log10(abs(short)) + 1e-12))
    text = f"{short:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _in_units(newton: float, digits: int, rounding: str) -> tuple[str, str, str]:
    """Return a load in N, kgf and lbf."""
    if not math.isfinite(newton):
        return ("", "", "")
    return (
        f"{_figures(newton, digits, rounding)} N",
        f"{_figures(newton / KILOGRAM_FORCE, digits, rounding)} kgf",
        f"{_figures(newton / POUND_FORCE, digits, rounding)} lbf",
    )


def _weight(newton: float, digits: int, rounding: str) -> str:
    """Return a weight as a scale shows it."""
    kilograms = _figures(newton / KILOGRAM_FORCE, digits, rounding)
    return f"{kilograms} kg or {_figures(newton / POUND_FORCE, digits, rounding)} lb"


def _time(seconds: float) -> str:
    """Return a time in minutes where it is a whole number of them, else in seconds."""
    minutes = seconds / 60.0
    if minutes >= 1.0 and abs(minutes - round(minutes)) < 1e-6:
        return f"{round(minutes)} min"
    return f"{number(seconds, 3)} s"


def _rig(result: Proof, newton: float, digits: int) -> tuple[str, ...]:
    """Return how to bring the load about with the rig that the scenario names."""
    rig = result.rig
    lines: list[str] = []
    if rig.name == "lever":
        lines += _lever(result, newton, digits)
    elif rig.name == "dead weight":
        weight = _weight(newton, digits, "up")
        where = f"Hang {weight} below the rod, hook and barrel counted."
        if rig.pushes:
            where = f"Rest {weight} on top of the rod, plate counted, guided so that none can tip."
        lines.append(
            f"{where} A barrel filled slowly with water makes no jerk; one litre weighs close to "
            "1 kg."
        )
    elif rig.name == "hydraulic jack, pressure read":
        lines.append(
            "Pressure to pump to = load / area of the piston = ______ / ______ = ______ "
            "(N and mm2 give MPa; 1 MPa is 10 bar)."
        )
    else:
        lines.append("Read the load on the gauge itself, between rig and rod.")
    if rig.use_from is not None and newton < rig.use_from:
        lines.append(
            f"This gauge is good from {load(rig.use_from, 3)} up only: take one with a smaller "
            "range."
        )
    return tuple(lines)


def _lever(result: Proof, newton: float, digits: int) -> list[str]:
    """Return the arithmetic of the lever, solved where the ratio is known."""
    ratio = result.rig.lever_ratio
    scale = "put a scale" if result.rig.pushes else "hook a scale"
    if ratio is None:
        solved = (
            "Weight on the arm = load x short arm / long arm = ______ x ______ / ______ = ______ "
            "(arms from the pivot)."
        )
        less = "Take it off the load first."
    else:
        weight = newton / ratio
        solved = (
            f"Weight on the arm = load / {number(ratio, 4)} = {_figures(weight, digits, 'up')} N: "
            f"hang {_weight(weight, digits, 'up')}, hook counted."
        )
        less = f"Take it, divided by {number(ratio, 4)}, off the weight."
    return [
        solved,
        f"The arm pulls by itself: {scale} in the rod's place, arm level and empty: it shows "
        f"______. {less}",
    ]


def _steps(result: Proof) -> tuple[str, ...]:
    hold = f"Hold for {_time(result.rig.hold_time)}. Keep away; watch the gauge, listen."
    first = BEFORE[0].format(warm=number(result.rig_temperature, 3))
    pulling = (SET_UP, *PULLING[1:]) if result.rig.pushes else PULLING
    return (first, *BEFORE[1:], *pulling, hold, *AFTER)


def _broken(result: Proof) -> tuple[str, ...]:
    """Say how many are expected to break, and what more of them mean."""
    best = result.best
    assert best is not None  # noqa: S101
    run = "" if result.rods == 1 else f"{number(best.spoiled_in_run)} of {result.rods} rods, "
    most = max(1, math.ceil(best.spoiled_in_run))
    are = "one breaks" if most == 1 else f"{most} break"
    return (
        f"Expected to break: {run}{number(best.spoiled_per_100)} in 100. With a chance of "
        f"{percent(best.all_hold)} none does.",
        f"If more than {are}, stop: the batch is not what was reckoned with. Look at the broken "
        "faces before any other rod of it is used.",
    )


def _left(result: Proof) -> tuple[str, ...]:
    """Say what is left after the pull, and what it does not show."""
    best = result.best
    assert best is not None  # noqa: S101
    after = best.fail_after
    alone = result.rods == 1
    held = "Once it has held" if alone else f"Once all {result.rods} have held"
    text = (
        f"{held}: {about(after.estimate, after.low, after.high)} that "
        f"{'it' if alone else 'one'} still fails in "
        f"{duration(result.life_years)}; unpulled {chance(best.fail_before)}."
    )
    if result.policy_newton == best.load_newton:
        text += "".join(
            f" With broken rods replaced from the same batch and pulled too: "
            f"{chance(entry.fail.estimate, entry.fail.low, entry.fail.high)}."
            for entry in result.policies
            if entry.code == "replace"
        )
    return (
        text,
        "The pull shows nothing of heat, damp, knocks and wear to come: inspect, and retire what "
        "was overloaded.",
    )


def _why_not(result: Proof) -> tuple[str, ...]:
    """Say why no pull is asked for, and what would open one."""
    lines = [say.sentence(result.reason)]
    lines += [say.opener(e, result).replace("**", "") for e in result.openers if e.opens][:4]
    if result.verdict != "not needed":
        lines.append("A pull at a guess may break good rods and leave the rest no better.")
    return tuple(lines)


def _origin(result: Proof) -> str:
    """Return what the card was made from, so that it can be made again."""
    seed, sha = result.run.get("seed"), str(result.run.get("scenario_sha256", ""))[:12]
    versions = result.run.get("versions")
    version = versions.get("jointrisk", "") if isinstance(versions, dict) else ""
    option = f", option {result.run['option']}" if result.run.get("option") else ""
    return f"jointrisk {version}, scenario {sha}{option}, seed {seed}"
