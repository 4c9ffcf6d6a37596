"""Which test to make next, in plain sentences shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.plan_cells import (
    band_left,
    band_now,
    bare_name,
    own_name,
    percent_of,
    points,
    wrong_cell,
)
from jointrisk.report.rank_sentences import capital, listed, share
from jointrisk.report.words import (
    about,
    chance,
    duration,
    load,
    number,
)

if TYPE_CHECKING:
    from jointrisk.study.plan_results import Candidate, TestPlan
    from jointrisk.study.results import Chance

WRONG = "wrong decision"
MOST_NAMED = 3
"""Candidates or unknowns named in one sentence [-]."""
KIND_WORDS = {
    "coupon": "coupons",
    "rod": "rods pulled until they break",
    "pull": "pulls to a load",
    "gauge": "a better gauge",
    "gap": "measuring gaps",
    "overlap": "measuring overlaps",
}
"""Kinds of candidates as a group; a kind that stands here not is told by its own name."""
NO_TEST = {
    "met everywhere": "**No test is needed for the answer**",
    "missed everywhere": "**No test helps: change the joint or the load instead**",
    "nothing tells": "**No test here tells enough to be worth its parts**",
    "all is known": "**There is nothing to test for**",
}
SORTS = ("pull", "missed everywhere")
"""Verdicts under which a pull is made for what it leaves, not for what it teaches."""
PLAIN = ("met everywhere", "missed everywhere")
"""Verdicts under which nothing that is learned changes the answer."""
UNTOLD = (
    "What time does: damp, heat, years and repeated load. Every test here is made on a day in the "
    "workshop; parts kept as long and as badly as the rods will be, and broken then, would tell.",
    "How large the loads of service are. No rod that is broken tells that; measure them.",
    "Heat, cold and the other direction of load, where the test is made without them.",
    "Gross mistakes of making in rods that are not yet made. Every figure here takes it that what "
    "is tested is made like the rods of service.",
    "What nobody has thought of. A test counts only for the unknowns that were put in the file.",
)
"""Of every plan, whatever its numbers."""


def headline(result: TestPlan) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and a few sentences."""
    rows = [
        ("Next", next_test(result)),
        ("Why", result.reason),
        ("Not told", "" if result.next is None else result.next.note),
        ("Else", otherwise(result)),
        ("Now", now(result)),
        ("Settle", settle(result)),
        ("Screens", screens(result)),
    ]
    return [(label, text) for label, text in rows if text]


def next_test(result: TestPlan) -> str:
    """Say in one sentence what to do next, what it would bring, and what would bring nothing."""
    first = result.next
    if first is None:
        idle = "" if result.verdict in PLAIN else _idle(result)
        return f"{NO_TEST.get(result.verdict, NO_TEST['nothing tells'])}{idle}."
    return f"**{capital(bare_name(first))}**; that would {_does(result, first)}{_idle(result)}."


def _does(result: TestPlan, first: Candidate) -> str:
    """Return what the test to make does: where nothing is left to learn, what the pull leaves."""
    found, met = first.fail_after, first.chance_met
    if result.verdict not in SORTS or found is None or met is None:
        return brings(result, first)
    return (
        f"teach little that counts, but sort out weak ones: of sets that held, "
        f"{about(found.estimate, found.low, found.high)} still fails, and **the target is met in "
        f"{of_states(result, met)}** of what is not known"
    )


def brings(result: TestPlan, entry: Candidate) -> str:
    """Return what a candidate is expected to do, after "would"."""
    drop, after, before = entry.wrong_drop, entry.wrong_after, entry.wrong_before
    narrower = f"leave a band from {band_left(entry)} on average"
    if result.measure != WRONG or drop is None or after is None or before is None:
        return f"{narrower} (now {band_now(result)})"
    by = f"less by {points(drop)}"
    if entry.beside:
        by = f"{points(entry.gain)} of it beyond the same without it"
    return (
        f"lower the chance of a wrong decision about the target from {percent_of(before)} to "
        f"**{percent_of(after)}** ({by}) and {narrower}"
    )


def _idle(result: TestPlan) -> str:
    """Return the kinds of which no candidate brings anything, "" where there are none."""
    kinds = dict.fromkeys(entry.kind for entry in result.doable)
    idle = [kind for kind in kinds if not any(e.brings for e in result.doable if e.kind == kind)]
    if not idle or result.verdict == "all is known":
        return ""
    return f"; nothing to gain from {listed([kind_words(result, kind) for kind in idle])}"


def kind_words(result: TestPlan, kind: str) -> str:
    """Return a kind of candidate as a group."""
    if kind == "pull" and result.pull_newton is not None:
        return f"pulls to {load(result.pull_newton, 3)}"
    return KIND_WORDS.get(kind, kind)


def otherwise(result: TestPlan) -> str:
    """Say what else would bring something: the best of every other kind."""
    first = result.next
    best: dict[str, Candidate] = {}
    for entry in result.doable:
        if entry.brings and (first is None or entry.kind != first.kind):
            best.setdefault(entry.kind, entry)
    told = [f"{bare_name(entry)}: {outcome(result, entry)}" for entry in best.values()]
    if not told:
        return ""
    listed_ = "; ".join(told[:MOST_NAMED])
    if result.verdict in PLAIN:
        return f"To narrow the band, not to change the answer: {listed_}."
    return f"{capital(listed_)}."


def outcome(result: TestPlan, entry: Candidate) -> str:
    """Return what a candidate leaves, in a few words."""
    told = f"band {band_left(entry)}"
    if result.measure == WRONG and entry.wrong_after is not None:
        told = f"wrong {wrong_cell(entry)}"
    return f"{told}{beyond(result, entry)}"


def beyond(result: TestPlan, entry: Candidate) -> str:
    """Return what a better gauge adds to the test beside it, "" of all other candidates."""
    if not entry.beside or result.measure != WRONG:
        return ""
    return f"; {points(entry.gain)} of it beyond the same without it"


def now(result: TestPlan) -> str:
    """Say where things stand before any test."""
    before = result.before
    found = before.failure
    text = f"{capital(about(found.estimate, found.low, found.high))} {counted(result)}"
    if result.verdict == "all is known":
        return f"{text}."
    text += (
        "; because of what is not known, anywhere from "
        f"{chance(before.p05)} to {chance(before.p95)}."
    )
    if result.target is None or before.chance_met is None or before.wrong is None:
        return f"{text} The file names no target, so that tests are ranked by the band alone."
    text += (
        f" The target, {chance(result.target)}, is met in {of_states(result, before.chance_met)} "
        "of what is not known"
    )
    if result.measure != WRONG:
        return f"{text}."
    return (
        f"{text}: whoever decides now by what is likelier is wrong with a chance of "
        f"{share(before.wrong)}."
    )


def counted(result: TestPlan) -> str:
    """Return what the failure probability is of."""
    who = "the rod" if result.rods == 1 else f"any of the {result.rods} rods"
    if result.target_scope == "rod" and result.rods > 1:
        who = "one rod"
    when = "in the worst year" if result.target_period == "year" else ""
    return f"that {who} lets go {when or f'in {duration(result.life_years)}'}"


def settle(result: TestPlan) -> str:
    """Say what it would bring to know the single unknown that counts most."""
    if not result.bounds:
        return ""
    first = [entry for entry in result.bounds if entry.rank == result.bounds[0].rank]
    entry = first[0]
    if not entry.brings:
        return f"Even to know “{own_name(entry)}” exactly would bring nothing that can be told."
    tie = f" (not told apart from {len(first) - 1} more)" if len(first) > 1 else ""
    return (
        f"Of single unknowns, to know “{own_name(entry)}” exactly would bring most{tie}: it would "
        f"{brings(result, entry)}. What tells of it alone cannot bring more."
    )


BOUND_HEAD = "To know one thing exactly, however it may be found out"


BOTH_ALIKE = (
    "A wrong decision is to take the target for met where it is missed, or for missed where it is "
    "met; the two count alike here. To trust a rod that should not be trusted is the worse one: "
    "look at the upper end of the band as well."
)


def screens(result: TestPlan) -> str:
    """Say what the pulls of the rods of service leave, where they are among the candidates."""
    told = [
        f"{entry.name}, {about(found.estimate, found.low, found.high)} still fails"
        for entry in pulls(result)
        if (found := entry.fail_after) is not None
    ]
    if not told:
        return ""
    before = result.before.failure
    return (
        f"Of sets that held: {'; '.join(told)} (before: "
        f"{chance(before.estimate, before.low, before.high)})."
    )


def pulls(result: TestPlan) -> list[Candidate]:
    """Return the pulls of the rods of service, the hardest first."""
    found = [entry for entry in result.doable if entry.screens]
    return sorted(found, key=lambda entry: -(entry.load_newton or 0.0))


def unspoken(result: TestPlan) -> str:
    """Name the unknowns that no test of the list tells anything of; "" where there are none."""
    heard = {key for entry in result.doable for key, _ in entry.speaks_to}
    left = [entry for entry in result.bounds if not heard & {key for key, _ in entry.speaks_to}]
    told = [entry for entry in left if entry.brings] or left
    if not told:
        return ""
    names = [f"“{own_name(entry)}”" for entry in told]
    shown = listed(names)
    if len(names) > MOST_NAMED:
        shown = f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
    little = "" if told[0].brings else "; but to know them would bring nothing that can be told"
    return f"No test here tells of {shown}{little}."


def not_shown(result: TestPlan) -> list[str]:
    """Return what no test of the list can show."""
    lines = [unspoken(result), *UNTOLD]
    rest = result.unexplained
    if rest.estimate >= 0.01:
        lines.append(
            f"{share(rest)} of what makes the failure probability differ from case to case of what "
            "is not known (variance of its log) could not be traced to the unknowns; no test is "
            "taken to tell anything of it."
        )
    return [line for line in lines if line]


def success_words(result: TestPlan) -> str:
    """Say what a row of pulls without a break shows, and what it does not."""
    held = "a load" if result.pull_newton is None else load(result.pull_newton, 3)
    where = f" ({result.pull_origin})" if result.pull_newton is not None else ""
    return (
        f"If so many parts hold {held}{where} and none breaks, that share of all parts made so "
        "holds that pull, on that day and in that rig, with that confidence. It is no share of "
        "rods that hold in service, and one break starts the count anew."
    )


NO_GAIN = "A “-” instead of a rank: no gain that can be told, or too small a one to matter."


def ranked_by(result: TestPlan) -> str:
    """Say what the ranks go by where that is no wrong decision; "" elsewhere."""
    if result.measure == WRONG or not result.candidates:
        return ""
    advice = ""
    if result.verdict in PLAIN:
        advice = "; what leads is no advice, since none of these tests changes the answer"
    return f"Ranked by what each takes from the width of the band{advice}."


OWN_PULLS = (
    "What stands in brackets is what the file calls a pull; its load is judged, not that way of "
    "making it. Pull in a guarded rig, never with a person's weight."
)


def of_states(result: TestPlan, found: Chance) -> str:
    """Return a share of the states in words; none and all of them are told with their number."""
    if found.high <= 0.0 or found.low >= 1.0:
        which = "none" if found.high <= 0.0 else "all"
        return f"{which} of {result.states:,} cases"
    if found.estimate <= 0.0:
        return f"under {number(100.0 * found.high, 1, 'up')} % of the cases"
    return f"{share(found)} of the cases"
