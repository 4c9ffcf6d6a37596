"""The answer about pulls in plain sentences, shared by the terminal, the page and the card.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from jointrisk.report.words import (
    about,
    chance,
    chance_range,
    duration,
    load,
    load_all,
    number,
    percent,
)

if TYPE_CHECKING:
    from jointrisk.study.proof_results import NextRod, Opener, Proof, PullEffect

UNCHANGED = (0.9, 1.1)
"""A pull that leaves the failure probability within this ratio changes nothing [-]."""
UNTOLD = "too few draws hold it to say what it leaves"
HEADS = {
    "window": "Pull every finished rod to",
    "not needed": "No pull asked for.",
    "not judged": "Not judged.",
}
"""How the answer begins, by verdict."""


def said(text: str, result: Proof) -> str:
    """Return a text about pulls as one about what the rig does."""
    if not result.rig.pushes:
        return text
    from jointrisk.study.way import directed

    names = [name for name, _ in result.limits] + [effect.label for effect in result.pulls]
    return directed(text, result.rig.direction, names)


def headline(result: Proof) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and one sentence."""
    rows = [("Pull", verdict(result))]
    if result.best is not None:
        rows += [
            ("Breaks", breaks(result.best, result)),
            ("Leaves", leaves(result.best, result)),
            ("Hurts", hurts(result.best)),
        ]
    else:
        rows.append(("Unpulled", unpulled(result)))
        best = best_there_is(result)
        if best:
            rows.append(("At best", best))
    rows.append(("Target", target(result)))
    return [(said(word, result), said(sentence, result)) for word, sentence in rows]


def verdict(result: Proof) -> str:
    """Say the pull to make, or why there is none."""
    if result.verdict == "window" and result.load_newton is not None:
        low, high = window_of(result)
        return (
            f"{HEADS['window']} **{load_all(low, 3, 'up')}**, and no harder than "
            f"{load(high, 3, 'down')}. {known_to(result)}{sentence(result.reason)}"
        )
    return f"**{HEADS.get(result.verdict, 'No pull to give.')}** {sentence(result.reason)}"


def known_to(result: Proof) -> str:
    """Say how well sampling knows the pull, with a space behind; "" where that is not told."""
    low, high = result.load_low, result.load_high
    if low is None:
        return ""
    if high is None:
        return (
            f"By sampling alone it lies above {load(low, 3, 'down')}, and it is left open whether "
            "any pull that is allowed is enough. "
        )
    return f"By sampling alone it lies between {load(low, 3, 'down')} and {load(high, 3, 'up')}. "


def window_of(result: Proof) -> tuple[float, float]:
    """Return the range of pulls [N] that the pull to make is the lower end of."""
    wanted = result.load_newton or 0.0
    for low, high in result.windows:
        if low * (1 - 1e-9) <= wanted <= high * (1 + 1e-9):
            return wanted, high
    return wanted, wanted


def breaks(effect: PullEffect, result: Proof) -> str:
    """Say what a pull refuses, of the weak and of the sound."""
    of = "of all rods" if result.rods == 1 else f"of the {result.rods} rods"
    text = f"It breaks **{percent(effect.reject.estimate)}** {of}"
    if effect.reject_weak is not None:
        text += (
            f": {percent(effect.reject_weak.estimate)} of those with a weak joint and "
            f"{percent(effect.reject_sound.estimate)} of the sound ones"
        )
    return (
        f"{text}. In 100 rods that is {number(effect.spoiled_per_100)}; all of the set hold with "
        f"a chance of {percent(effect.all_hold)}."
    )


def leaves(effect: PullEffect, result: Proof) -> str:
    """Say what is left of those that held."""
    after = effect.fail_after
    if not math.isfinite(after.estimate):
        return f"{capital(UNTOLD)}."
    set_ = "rods" if result.rods == 1 else f"sets of {result.rods} rods"
    return (
        f"Of {set_} that held, **{about(after.estimate, after.low, after.high)}** still fails in "
        f"{duration(result.life_years)}, against {chance(effect.fail_before)} unpulled (sampling "
        f"alone: {chance_range(after.low, after.high)}).{_years(effect, result)}"
    )


def _years(effect: PullEffect, result: Proof) -> str:
    """Say for how long the target is met, without and with the pull; "" where not known."""
    before, after = effect.years_before, effect.years_after
    if before is None or after is None or before == after:
        return ""
    life = " or longer" if after >= result.life_years else ""
    first = "not even at the start" if before <= 0.0 else f"for {duration(before)}"
    return f" Unpulled the target holds {first}; after the pull for {duration(after)}{life}."


def hurts(effect: PullEffect) -> str:
    """Say what harm the pull does to rods that hold it."""
    text = f"{capital(percent(effect.hurt))} of the rods that hold it are hurt by it"
    if math.isfinite(effect.fail_after_unhurt):
        text += f"; if it did no harm, {about(effect.fail_after_unhurt)} would fail"
    return f"{text}. How much a pull hurts is judgement, not test."


def unpulled(result: Proof) -> str:
    """Say what the failure probability is with no pull."""
    before = result.fail_before
    if not math.isfinite(before.estimate):
        return "The scenario names no load, so no failure probability is given."
    who = "the rod" if result.rods == 1 else f"any of the {result.rods} rods"
    return (
        f"{capital(about(before.estimate, before.low, before.high))} that {who} lets go in "
        f"{duration(result.life_years)}."
    )


def best_there_is(result: Proof) -> str:
    """Say the best that any admissible pull brings; "" where that is not known."""
    if result.floor is None or result.verdict not in ("empty", "unreachable"):
        return ""
    at = f", at {load(result.floor_newton, 3)}" if result.floor_newton else ", without a pull"
    return f"The best that any admissible pull brings is {about(result.floor)}{_how(result)}{at}."


def _how(result: Proof) -> str:
    """Return in which words the target counts, " in the worst year" or such."""
    period = " in the worst year" if result.target_period == "year" else " over the life"
    return (" of one rod" if result.target_scope == "rod" else "") + period


def target(result: Proof) -> str:
    """Say the target."""
    if result.target is None:
        return "No target is given."
    scope = "one rod" if result.target_scope == "rod" else "the whole set"
    period = "in the worst year" if result.target_period == "year" else "over the life"
    return f"{capital(chance(result.target))} for {scope} {period}."


def worth(effect: PullEffect, result: Proof) -> str:
    """Say in one sentence what a pull the maker makes is worth."""
    label = f"{capital(effect.label)}, " if has_name(effect) else ""
    text = f"**{label}{load_all(effect.load_newton, 3)}** breaks "
    text += f"{percent(effect.reject.estimate)} of rods"
    if effect.reject_weak is not None:
        text += f" and finds {percent(effect.reject_weak.estimate)} of those with a weak joint"
    return said(f"{text}; {_change(effect)}{_needed(effect, result)}.", result)


def has_name(effect: PullEffect) -> bool:
    """Tell whether a pull has a name of its own; some are called by their load alone."""
    return not re.fullmatch(r"[\d., ]*(?:k?N)?", effect.label)


def name_of(effect: PullEffect) -> str:
    """Return the name of a pull, or its load where it has none."""
    return effect.label if has_name(effect) else load(effect.load_newton, 3)


def _change(effect: PullEffect) -> str:
    before, after = effect.fail_before, effect.fail_after.estimate
    if not math.isfinite(before):
        return "without a load of service nothing can be said of what it leaves"
    if not math.isfinite(after):
        return UNTOLD
    if before > 0.0 and UNCHANGED[0] < after / before < UNCHANGED[1]:
        return f"it **changes next to nothing**: {chance(before)} before, {chance(after)} after"
    return f"of sets that held, {about(after)} still fails, against {chance(before)} unpulled"


def _needed(effect: PullEffect, result: Proof) -> str:
    if result.verdict in ("not needed", "not judged") or effect.meets_target is None:
        return ""
    if effect.meets_target:
        return "; it is enough for the target"
    if effect.needed_newton is None:
        return "; no admissible pull meets the target"
    if effect.load_newton > effect.needed_newton:
        return (
            f"; it is too hard: the target's window ends at {load(window_of(result)[1], 3, 'down')}"
        )
    return f"; the target asks for {load_all(effect.needed_newton, 3, 'up')}"


def opener(entry: Opener, result: Proof) -> str:
    """Say what one change would do."""
    at = f" at {load(entry.load_newton, 3)}" if entry.load_newton else " without a pull"
    if entry.opens:
        return f"**{capital(entry.name)}**: enough, {about(entry.best)}{_how(result)}{at}."
    return f"{capital(entry.name)}: not enough, {about(entry.best)}{_how(result)}{at}."


def next_rod(found: NextRod) -> str:
    """Say what rods that held tell of one that was not pulled."""
    others = "the other rod" if found.pulled == 1 else f"the other {found.pulled} rods"
    text = (
        f"A rod that was not pulled, when {others} of its batch held {load(found.load_newton, 3)}: "
    )
    before, after = found.fail_before, found.fail_after
    told = about(after.estimate, after.low, after.high)
    if not (found.ratio.low > 1.0 or found.ratio.high < 1.0):
        return f"{text}{told} that it fails in service, not told apart from nothing known."
    if UNCHANGED[0] < found.ratio.estimate < UNCHANGED[1]:
        return f"{text}{told} that it fails in service, next to the same as with nothing known."
    return (
        f"{text}{told} that it fails in service, against "
        f"{chance(before.estimate, before.low, before.high)} with nothing known: rods of a batch "
        "tell of one another."
    )


def limits(result: Proof) -> str:
    """Say what caps the pull; "" where nothing was found."""
    if not result.limits:
        return ""
    listed = "; ".join(f"{name}: {load(newton, 3)}" for name, newton in result.limits)
    return said(f"What caps the pull, lowest first: {listed}.", result)


def rig(result: Proof) -> str:
    """Say how true the rig pulls, and how a rod that it pushes is held."""
    of = f"{capital(result.rig.name)}: " if result.rig.name else "Rig: "
    text = (
        f"{of}scatter {percent(result.rig_error)} from pull to pull, {percent(result.rig_bias)} of "
        "the gauge (standard deviations); the figures count both. Rods and rig are at "
        f"{number(result.rig_temperature, 3)} °C in the pull, the temperature of the workshop."
    )
    held = " The rod is taken to be held at its ends as in service: so it bends away in the rig."
    return said(text, result) + (held if result.rig.pushes else "")


def sentence(text: str) -> str:
    """Return text with a capital and a full stop."""
    text = capital(text.strip())
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."


def capital(text: str) -> str:
    """Return text with its first letter large."""
    return text[:1].upper() + text[1:]
