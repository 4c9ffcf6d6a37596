"""What finished pulls have taught, in plain sentences shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.sentences import NOT_JUDGED, UNCHANGED
from jointrisk.report.sweep_sentences import amount
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
    from collections.abc import Sequence

    from jointrisk.study.learn_results import (
        Learnt,
        LearntUnknown,
        Outlook,
        PullGroup,
        RodOutlook,
        WeakShare,
    )

IDLE = 0.02
"""Pulls that teach less taught nothing [bits]."""
MOVED, NARROWED = 0.2, 0.95
"""Least shift in standard deviations, and most of the spread left, that are worth a word [-]."""
DIGITS = 2
"""Significant digits of what is not known [-]."""
MOST_NAMED = 3
"""Unknowns, kinds of pulls or batches named in a sentence [-]."""
ONE_IN_TEN = 0.1
"""Share of rods that break at the load named as one that would teach [-]."""
FEW = 0.05
"""Breaks expected below which none was [-]."""
NOT_STRANGE = 0.5
"""Chance of being so far off from which nothing is strange [-]."""
NOT_TRUSTED = ("beyond-the-file", "not-converged")
"""Warnings that say why nothing is told."""
SHARES = ("weight", "share_in_bad_batch", "keeps", "bias")
"""Ends of keys whose values are told as percentages."""


def headline(result: Learnt) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and a few sentences."""
    odds = ("At odds", f"**{result.conflict.text}**" if result.conflict.text else "")
    lines = [
        odds,
        ("Change", change(result)),
        ("Held", shelf(result)),
        ("Next", next_rods(result)),
        ("Target", target(result)),
        ("Learnt", learnt(result)),
        ("Taught", taught(result)),
        ("To do", to_do(result)),
    ]
    if not trusted(result):
        lines = [("No answer", no_answer(result)), odds, ("To do", to_do(result))]
    return [(word, text) for word, text in lines if text]


def trusted(result: Learnt) -> bool:
    """Tell whether what follows from the log may be told at all.

    A log that the file holds for next to impossible lies where the models say nothing, however
    many draws there are.
    """
    return result.converged and not result.conflict.far_off


def no_answer(result: Learnt) -> str:
    """Say that there are no numbers to use, and why."""
    why = next((w.text for w in result.warnings if w.code in NOT_TRUSTED), "")
    if result.conflict.far_off:
        why = "By the file such a log is next to impossible, so that its models say nothing of it."
    end = "What would follow from the log is not told here."
    return " ".join(f"{tally(result)} **No trustworthy estimate.** {why} {end}".split())


# What it changes ---------------------------------------------------------------------------------


def tally(result: Learnt) -> str:
    """Say how many parts were pulled, and what became of them."""
    parts = _counted(result.parts, "part")
    times = f", {result.pulls} times in all" if result.pulls > result.parts else ""
    were = "was" if result.parts == 1 else "were"
    if result.broke and result.held:
        return f"{parts} {were} pulled{times}: {result.held} held, {result.broke} broke."
    all_ = "it" if result.parts == 1 else "all"
    return f"{parts} {were} pulled{times}, and {all_} {'broke' if result.broke else 'held'}."


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def new_set(result: Learnt) -> str:
    """Name the set that is judged before and after."""
    if result.rods_of_set == 1:
        return "a rod made like these and not pulled"
    return f"a set of {result.rods_of_set} made like these and not pulled"


def change(result: Learnt) -> str:
    """Say what the log does to the failure probability."""
    little = "**These pulls teach next to nothing.** " if result.taught_nothing else ""
    before, after = result.before, result.after
    if before is None or after is None:
        return f"{little}{tally(result)} {NOT_JUDGED}"
    first, last = before.life, after.life
    verb = _verb(first.estimate, last, (first.low, first.high))
    start = f"{little}{tally(result)} For {new_set(result)},"
    what = f"the failure probability over {duration(result.life_years)}"
    was = f"{_told(first)}{_band(first, why=True)} before the log"
    now = f"**{_told(last)}**{_band(last, strong=True)}"
    if not verb:
        return f"{start} {what} cannot be told."
    if verb == "leaves":
        return f"{start} {what} stays about the same, as far as can be told: {was}, {now} now."
    return f"{start} that {verb} {what} from {was} to {now}."


def _verb(before: float, after: Outlook, known: tuple[float, float] | None = None) -> str:
    """Return what became of `before`, of interval `known` [-]; "" where that cannot be told."""
    if not math.isfinite(after.estimate):
        return ""
    low, high = known or (before, before)
    apart = after.low > high or after.high < low
    ratio = after.estimate / before if before > 0.0 else math.inf
    if not apart or UNCHANGED[0] <= ratio <= UNCHANGED[1]:
        return "leaves"
    return "lowers" if ratio < 1.0 else "raises"


def _told(found: Outlook) -> str:
    return about(found.estimate, found.low, found.high)


def _band(found: Outlook, *, strong: bool = False, why: bool = False) -> str:
    """Return the band in brackets, "" where all is known."""
    if found.p05 == found.p95 or not math.isfinite(found.p05):
        return ""
    ends = chance_range(found.p05, found.p95)
    start = "because of what is not known, " if why else ""
    return f" ({start}anywhere from {f'**{ends}**' if strong else ends})"


def shelf(result: Learnt) -> str:
    """Say what is left of rods that held; "" where no load is given."""
    if result.before is None:
        return ""
    held = [rod for rod in result.rods if rod.kind == "held"]
    if not held:
        return "No part of the log held, so none is left to judge."
    shown = sorted(held, key=lambda rod: rod.count, reverse=True)[:MOST_NAMED]
    told = [_held(rod, result) for rod in shown]
    rest = len(held) - len(shown)
    more = f" {_counted(rest, 'kind')} more in the table." if rest else ""
    return " ".join(told) + more


def _held(rod: RodOutlook, result: Learnt) -> str:
    who = "The rod" if rod.count == 1 else f"Each of the {rod.count} rods"
    head = f"{who}{of_batch(rod.batch)} that held {load(rod.load_newton, 3)}"
    verb = _verb(rod.before, rod.after)
    if not verb:
        return f"{head}: too few draws tell of it."
    same = "about the same as any rod before the log"
    against = same if verb == "leaves" else f"any rod before the log {chance(rod.before)}"
    return (
        f"{head}: **{_told(rod.after)}** that it fails in {duration(result.life_years)}"
        f"{_band(rod.after)}; {against}."
    )


def of_batch(batch: str | None) -> str:
    """Return " of batch A", "" where the log names none."""
    return f" of batch {batch}" if batch else ""


def next_rods(result: Learnt) -> str:
    """Say what to expect of rods that were not pulled; "" where no load is given."""
    told = []
    nexts = [rod for rod in result.rods if rod.kind == "next"]
    for rod in nexts[:MOST_NAMED]:
        whose = of_batch(rod.batch) or " of the same batch"
        told.append(f"{whose.strip()} **{_told(rod.after)}**{_band(rod.after)}")
    told += [
        f"of a new batch **{_told(rod.after)}**{_band(rod.after)}"
        for rod in result.rods
        if rod.kind == "new batch"
    ]
    return f"The next rod, not pulled, over its life: {'; '.join(told)}." if told else ""


def target(result: Learnt) -> str:
    """Say how the target stands, before and after; "" without one."""
    before, after = result.before, result.after
    if before is None or after is None or after.target is None or result.target is None:
        return ""
    verdict = {True: "met", False: "missed", None: "undecided"}[after.met]
    of = "the set of rods" if result.target_scope == "set" else "each rod"
    when = "the worst year" if result.target_period == "year" else "the whole life"
    text = (
        f"{chance(result.target)} for {of} in {when}, not pulled: **{verdict}**; as the target "
        f"counts now {_told(after.target)}"
    )
    if before.chance_met is None or after.chance_met is None:
        return f"{text}."
    return (
        f"{text}. Chance that it is met: {_odds(after.chance_met)}, before the log "
        f"{_odds(before.chance_met)}."
    )


def _odds(share: float) -> str:
    return "under 1 %" if share < 0.005 else percent(share)


# What was learnt ---------------------------------------------------------------------------------


def learnt(result: Learnt) -> str:
    """Say what was learnt of glue, weak bonds and all else that was not known."""
    parts = [weak(result.weak)] if result.weak is not None and not result.taught_nothing else []
    moved = [entry for entry in result.unknowns if worth_a_word(entry)][:MOST_NAMED]
    parts += [unknown(entry) for entry in moved]
    if not moved and not result.taught_nothing:
        parts.append("Of everything else that is not known, nothing that is worth a word.")
    return " ".join(parts)


def worth_a_word(entry: LearntUnknown) -> bool:
    """Tell whether an unknown has moved or narrowed by enough to speak of it."""
    return abs(entry.shift) >= MOVED or entry.narrowed <= NARROWED


def unknown(entry: LearntUnknown) -> str:
    """Say what was known of one thing, and what is now."""
    name = f"{entry.name[:1].upper()}{entry.name[1:]}"
    before, now = middle(entry, "prior"), middle(entry, "posterior", strong=True)
    return f"{name}: {now}, before the log {before}."


def middle(entry: LearntUnknown, when: str, *, strong: bool = False) -> str:
    """Return the middle of an unknown, and its range, `when` is "prior" or "posterior"."""
    told = [_value(entry, f"{when}_{end}") for end in ("p05", "p50", "p95")]
    units = {text.partition(" ")[2] for text in told}
    unit = units.pop() if len(units) == 1 else ""
    low, mid, high = (text.removesuffix(f" {unit}") for text in told)
    return f"{f'**{mid}**' if strong else mid} ({low} to {high}) {unit}".rstrip()


def _value(entry: LearntUnknown, name: str) -> str:
    value = float(getattr(entry, name))
    if entry.unit == "-" and entry.key.endswith(SHARES):
        return percent(value)
    return amount(value, entry.unit, digits=DIGITS)


def weak(found: WeakShare) -> str:
    """Say how many joints are weak."""
    now, most = percent(found.after_mean), percent(found.after_p95)
    before, most_before = percent(found.before_mean), percent(found.before_p95)
    text = f"Weak joints of a new batch: **{now}** on average (19 in 20 cases below {most}), "
    if (now, most) == (before, most_before):
        return f"{text}as before the log."
    return f"{text}before the log {before} (below {most_before})."


def expected(result: Learnt) -> str:
    """Say how the log sits with what the file led one to expect."""
    found = result.conflict
    lines = []
    if found.counted:
        low, high = number(found.breaks_p05, 3), number(found.breaks_p95, 3)
        span = "" if low == high else f", from {low} to {high}"
        few = found.breaks_expected < FEW
        breaks = "next to none" if few else f"about {number(found.breaks_expected, 2)}{span},"
        did = f"{found.breaks} did" if found.breaks else "none did"
        lines.append(
            f"Of {_counted(found.counted, 'part')} the file led one to expect {breaks} to break, "
            f"and {did}{_oddity(found.p_breaks, 'count')}."
        )
    if found.loads_middle is not None and found.loads_expected is not None:
        lines.append(
            f"Those pulled until they broke did so at {load(found.loads_middle, 3)} in the "
            f"middle, where {load(found.loads_expected, 3)} was expected"
            f"{_oddity(found.p_loads, 'middle')}."
        )
    return " ".join(lines)


def _oddity(chance_of: float | None, what: str) -> str:
    """Say how rare it is to be so far off."""
    if chance_of is None or not math.isfinite(chance_of):
        return ""
    if chance_of >= NOT_STRANGE:
        return "; nothing strange in that"
    return f"; by the file a {what} so far off comes in {percent(chance_of)} of such logs"


# What each pull taught ---------------------------------------------------------------------------


def taught(result: Learnt) -> str:
    """Say which pulls taught most, which next to nothing, and why."""
    parts = []
    if result.groups and not result.taught_nothing and result.groups[0].information >= IDLE:
        parts.append(f"Most: {which(result.groups[0])}.")
    return " ".join([*parts, *filter(None, [idle(result)])])


def which(group: PullGroup) -> str:
    """Return "5 pulls of batch A that held 900 N"."""
    return f"{_counted(group.count, 'pull')}{of_batch(group.batch)} that {what_happened(group)}"


def idle(result: Learnt) -> str:
    """Say which pulls taught nothing, and why; "" where all taught something."""
    groups = [group for group in result.groups if group.information < IDLE]
    held = [group for group in result.groups if group.kind == "held"]
    if len(held) > 1 and result.information_held >= IDLE and all(g in groups for g in held):
        rest = idle_ones([group for group in groups if group.kind != "held"])
        together = "Those that held taught little in each kind by itself, and something together."
        return f"{together} {rest}".rstrip()
    return idle_ones(groups)


def idle_ones(groups: Sequence[PullGroup]) -> str:
    """Name pulls that taught nothing, "" without any."""
    if not groups:
        return ""
    shown = sorted(groups, key=lambda group: group.count, reverse=True)[:MOST_NAMED]
    rest = len(groups) - len(shown)
    more = f"; {_counted(rest, 'kind')} more in the table" if rest else ""
    return f"Next to nothing: {'; '.join(map(why_idle, shown))}{more}."


def why_idle(group: PullGroup) -> str:
    """Say of pulls that taught nothing why that is so."""
    what = which(group)
    holds = percent(group.chance_before)
    if group.kind == "held" and group.chance_before > 1.0 - ONE_IN_TEN:
        return f"{what}: by the file {holds} of rods hold that, so that it is no news"
    if group.kind == "broke below" and group.chance_before < ONE_IN_TEN:
        return f"{what}: by the file only {holds} of rods hold that, so that it is no news"
    return f"{what}: as likely, near enough, whatever is true of what is not known"


def what_happened(group: PullGroup) -> str:
    """Return "held 900 N", "broke at 812 N" or "broke below 900 N"."""
    return f"{group.kind} {load(group.load_newton, 3)}"


def to_do(result: Learnt) -> str:
    """Say what would teach more."""
    lines = []
    if result.conflict.found or not trusted(result):
        lines.append(
            "Find out which is wrong, the log or the file (units, glued length, glue, what the "
            "rig really pulls), before you trust either."
        )
    if result.taught_nothing:
        newton = _breaking(result)
        told = "" if newton is None else f": 1 rod in 10 breaks below about {load_all(newton)}"
        lines.append(
            "A pull teaches where it might break a rod" + told + ". Whether one that hard pays is "
            "what jointrisk proof says."
        )
    lines.append("Which test to make next: jointrisk plan.")
    return " ".join(lines)


def _breaking(result: Learnt) -> float | None:
    """Return the first load of the curve at which one rod in ten breaks [N]; None beyond it."""
    pairs = zip(result.curve.load_newton, result.curve.after, strict=True)
    return next((newton for newton, broken in pairs if broken >= ONE_IN_TEN), None)
