"""The answer in plain sentences, shared by the terminal and the page.

Two asterisks open and close what is to stand out; `mark` turns them into something else.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.words import (
    SMALLEST_TOLD,
    about,
    chance,
    chance_range,
    duration,
    load,
    load_all,
    multiple,
    number,
    percent,
)

if TYPE_CHECKING:
    from jointrisk.study.results import (
        Assessment,
        FailureProbability,
        Influence,
        PullWorth,
        Strength,
        TargetVerdict,
    )

NOT_JUDGED = "**Load not judged:** the scenario names no load, so no failure probability is given."
UNCHANGED = (0.9, 1.1)
"""A pull that leaves the failure probability within this ratio changes nothing [-]."""
WELL_KNOWN = 1.25
"""An end of the band that is known to within this factor is told without a word more [-]."""


def mark(sentence: str, before: str = "", after: str = "") -> str:
    """Put `before` and `after` in place of each pair of double asterisks."""
    parts = sentence.split("**")
    return "".join(
        part if index % 2 == 0 else f"{before}{part}{after}" for index, part in enumerate(parts)
    )


def strength(assessment: Assessment) -> str:
    """Say what one rod holds, new."""
    new = assessment.strength_new
    return (
        f"Half of all rods hold more than about **{load_all(new.median)}** in a pull when new; "
        f"1 in 100 holds less than **{load(new.one_in_100_below)}**."
    )


def strength_in_service(assessment: Assessment) -> str:
    """Say what one rod holds in service, and in a push where that differs."""
    text = "In service: " + _pair(assessment.strength_aged) + "."
    if assessment.push_new is not None:
        text += " Pushed, new: " + _pair(assessment.push_new) + "."
    if assessment.push_aged is not None:
        text += " Pushed, in service: " + _pair(assessment.push_aged) + "."
    return text


def _pair(strength: Strength) -> str:
    return (
        f"half hold more than {load(strength.median)}, "
        f"1 in 100 less than {load(strength.one_in_100_below)}"
    )


def failure(assessment: Assessment) -> str:
    """Say the failure probability, what is not known about it, and its sampling error."""
    result = assessment.failure_probability
    if result is None:
        return NOT_JUDGED
    estimate = _capital(about(result.estimate, result.low, result.high))
    return (
        f"**{estimate}** that {_any_rod(assessment)} lets go in {duration(result.period_years)}; "
        "because of what is not known, anywhere from "
        f"**{band_end(result, 'p05')}** to **{band_end(result, 'p95')}** "
        f"({_ends(result)}sampling alone: {chance_range(result.low, result.high)})."
    )


def band_end(result: FailureProbability, name: str) -> str:
    """Say an end or the middle ("p05", "p50", "p95") of the band, to the digits it carries."""
    value, between = getattr(result, f"band_{name}"), getattr(result, f"band_{name}_interval")
    return chance(value, *(between or (None, None)))


def ends_of_band(result: FailureProbability) -> str:
    """Say how well the ends of the band are known themselves; "" where well enough."""
    said = []
    for name in ("p05", "p95"):
        between = getattr(result, f"band_{name}_interval")
        if between is None or between[1] < SMALLEST_TOLD:
            continue
        low, high = between
        if low <= 0.0:
            said.append(f"the {band_end(result, name)} may be anything up to {chance(high)}")
        elif math.sqrt(high / low) > WELL_KNOWN:
            within = number(math.sqrt(high / low), 2, "up")
            said.append(
                f"the {band_end(result, name)} itself is known to within a factor of {within}"
            )
    return " and ".join(said)


def _ends(result: FailureProbability) -> str:
    known = ends_of_band(result)
    return f"{known}; " if known else ""


def _any_rod(assessment: Assessment) -> str:
    rods = assessment.facts.get("rods")
    if rods is None:
        return "any rod"
    return "the rod" if rods == 1 else f"any of the {rods} rods"


def what_fails(assessment: Assessment) -> str:
    """Say which mode leads."""
    if not assessment.modes:
        return "**Nothing** failed in the draws that were made."
    modes = sorted(assessment.modes, key=lambda mode: mode.share, reverse=True)
    text = f"**{_capital(modes[0].name)}**, {percent(modes[0].share)} of the failures"
    if len(modes) > 1 and modes[1].share > 0.0:
        text += f"; then {modes[1].name}, {percent(modes[1].share)}"
    return text + "."


def hangs_on(assessment: Assessment) -> str:
    """Say what the failure probability hangs on most."""
    if not assessment.ranking:
        return "Not ranked: " + (
            "without a load nothing is to be ranked."
            if assessment.failure_probability is None
            else "no variable stood out."
        )
    first = assessment.ranking[0]
    return f"**{_capital(first.name)}**: {influence(first)}."


def influence(entry: Influence) -> str:
    """Say what one change does to the failure probability."""
    change = multiple(entry.value, entry.low, entry.high)
    return f"with {entry.measure}, the failure probability would {change}"


def said(text: str, assessment: Assessment) -> str:
    """Return a text about pulls as one about what the rig does."""
    proof = assessment.proof
    if proof.direction == "pull":
        return text
    from jointrisk.study.way import directed

    names = [name for name, _ in proof.limits] + [entry.label for entry in proof.pulls]
    return directed(text, proof.direction, names)


def pull(assessment: Assessment) -> str:
    """Say the pull to make, or why there is none."""
    proof = assessment.proof
    if proof.verdict != "window" or proof.load_newton is None:
        reason = _sentence(proof.reason)
        return (
            f"**No pull asked for.** {reason}"
            if proof.verdict == "not needed"
            else (f"**No pull to give.** {reason}")
        )
    text = f"Pull every finished rod to **{load_all(proof.load_newton, 3, 'up')}**"
    if proof.fail_after is not None:
        text += f": of sets that held, {about(proof.fail_after)} still fails"
    if proof.reject_fraction is not None:
        text += f"; {percent(proof.reject_fraction)} of rods break in the pull"
    return text + "."


def pull_detail(assessment: Assessment) -> list[str]:
    """Say the reason, the window, what is lost, the damage and what caps the load."""
    proof = assessment.proof
    lines = []
    if proof.verdict == "window" and proof.reason:
        lines.append(_sentence(proof.reason))
    if proof.window is not None:
        low, high = proof.window
        lines.append(
            f"The target is met by pulls from {load(low, 3, 'up')} to {load(high, 3, 'down')}."
        )
    if proof.load_low is not None:
        above = (
            f"above {load(proof.load_low, 3, 'down')}"
            if proof.load_high is None
            else f"between {load(proof.load_low, 3, 'down')} and {load(proof.load_high, 3, 'up')}"
        )
        lines.append(f"By sampling alone the lower end lies {above}; `proof` tells it closer.")
    if proof.load_newton is not None and proof.sound_rejected_fraction is not None:
        lines.append(f"Sound rods lost in it: {percent(proof.sound_rejected_fraction)}.")
    if proof.load_newton is not None and proof.damage_fraction is not None:
        lines.append(
            f"Rods that hold but are hurt by it: {percent(proof.damage_fraction)}; "
            "the figures above count this."
        )
    if proof.floor is not None and proof.verdict in {"unreachable", "empty"}:
        lines.append(f"The best that any admissible pull brings: {about(proof.floor)}.")
    if proof.limits:
        limits = ", ".join(f"{name} {load(newton, 3)}" for name, newton in proof.limits)
        lines.append(f"What caps the pull, lowest first: {limits}.")
    return [said(line, assessment) for line in lines]


def pull_worth(entry: PullWorth, assessment: Assessment) -> str:
    """Say in one sentence what a pull the maker makes is worth."""
    text = f"**{_capital(entry.label)}**, {load_all(entry.load_newton, 3)}: it breaks "
    text += f"{percent(entry.reject_fraction)} of rods"
    if entry.weak_caught_fraction is not None:
        text += f" and finds {percent(entry.weak_caught_fraction)} of those with a weak joint"
    before = assessment.failure_probability
    if before is not None and entry.fail_after is not None:
        text += _before_and_after(before.estimate, entry.fail_after)
    elif before is not None:
        text += "; too few sets would hold it to say what it leaves"
    return said(f"{text}{_needed(entry, assessment)}.", assessment)


def _before_and_after(before: float, after: float) -> str:
    if before > 0.0 and UNCHANGED[0] < after / before < UNCHANGED[1]:
        return f"; the failure probability stays at about {chance(before)}"
    return f"; of sets that held, {about(after)} still fails, against {chance(before)} unpulled"


def _needed(entry: PullWorth, assessment: Assessment) -> str:
    if assessment.target is None or assessment.proof.verdict in {"not needed", "not judged"}:
        return ""
    if entry.needed_newton is None:
        return "; no admissible pull would meet the target"
    window = assessment.proof.window
    if window is not None and entry.load_newton > window[1]:
        return f"; it is too hard: the target's window ends at {load(window[1], 3, 'down')}"
    if entry.needed_newton <= entry.load_newton:
        return "; it is enough for the target"
    return f"; the target asks for {load_all(entry.needed_newton, 3, 'up')}"


def permitted(assessment: Assessment) -> str:
    """Say the largest load of the life at which the target holds."""
    result = assessment.permitted_load
    if result is None:
        return "Permitted load: none is given, since the scenario names no target."
    if result.newton <= 0.0:
        alone = any(warning.code == "misfit-breaks-bonds" for warning in assessment.warnings)
        why = "; unlike expansion alone breaks more" if alone else ""
        return f"Permitted load: **none**, however small ({result.basis}{why})."
    return (
        f"Permitted load: **{load_all(result.newton, 2, 'down')}**, "
        f"{load(result.low, 2, 'down')} to {load(result.high)} ({result.basis})."
    )


def backup(assessment: Assessment) -> str:
    """Say what it would be without the back-up, and what that is for; "" without one."""
    result = assessment.failure_probability
    if result is None or result.without_backup is None:
        return ""
    bare = result.without_backup
    without = about(bare.estimate, bare.low, bare.high)
    return (
        f"Without the back-up and its hole: **{without}**. A back-up is there for the day a bond "
        "lets go: it carries only then, and the pull does not test it. An end whose bond has "
        "slipped must be found at inspection, and the rod replaced."
    )


def target(assessment: Assessment) -> str:
    """Say the target and whether it is met."""
    goal = assessment.target
    if goal is None:
        return "Target: none given."
    of = {"set": "the set of rods", "rod": "each rod"}.get(goal.scope, goal.scope)
    period = "one year" if goal.period_years == 1.0 else duration(goal.period_years)
    text = f"Target: {chance(goal.probability)} for {of} in {period}"
    text += f" ({goal.source}). "
    if goal.chance_met is None:
        return text + "**Not judged:** no load is given."
    verdict = {True: "**Met**", False: "**Missed**", None: "**Undecided**"}[goal.met]
    why = ": the target lies inside the range of what is not known" if goal.met is None else ""
    likely = _odds(goal.chance_met) + _likely_range(goal)
    near = " A near thing: other random numbers may turn the verdict." if goal.close else ""
    return f"{text}{verdict}{why}; chance that it is met: {likely}.{near}"


def _likely_range(goal: TargetVerdict) -> str:
    """Return the interval of the chance that the target is met where the verdict hangs on it."""
    if goal.chance_met_interval is None or (goal.met is not None and not goal.close):
        return ""
    first, last = (_odds(share) for share in goal.chance_met_interval)
    return "" if first == last else f" ({first} to {last})"


def _odds(share: float) -> str:
    return "under 1 %" if share < 0.005 else percent(share)


def headline(assessment: Assessment) -> list[tuple[str, str]]:
    """Return the answer: five pairs of one word and one sentence."""
    return [
        ("Strength", strength(assessment)),
        ("Failure", failure(assessment)),
        ("Fails", what_fails(assessment)),
        ("Hangs on", hangs_on(assessment)),
        (said("Pull", assessment), said(pull(assessment), assessment)),
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    text = _capital(text.strip())
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."
