"""What matters, in plain sentences and cells, shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from jointrisk.report.words import (
    about,
    chance,
    chance_range,
    duration,
    factor,
    multiple,
    number,
    percent,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.rank_results import (
        DesignPoint,
        Effect,
        ModeEffect,
        Ranking,
        Unknown,
        Variable,
    )
    from jointrisk.study.results import Chance

HALVED, ALL_LOWER = "spread halved", "all values a tenth lower"
MOST_NAMED = 3
"""Variables or modes named in one sentence."""
NO_EFFECT = (0.97, 1.03)
"""Factors that are called next to nothing [-]."""
LITTLE = (0.99, 1.01)
"""Factors between these do not matter [-]."""
LEAST_SHARE = 0.001
"""Modes with a smaller share of the failures are not shown [-]."""
FEW_TOGETHER = 4
LEAST_PERCENT = 0.01
"""Ends of intervals below this are told as 0 [%]."""
JOINTS = {
    "sound": "sound joints",
    "weak": "one joint came out weak",
    "undone by damp": "damp undoes one joint",
    "any": "",
}


def headline(result: Ranking) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and one sentence."""
    rows = [("Failure", failure(result))]
    scatter = result.of_kind("scatter")
    if scatter:
        rows.append(("Hangs on", hangs_on(scatter)))
        closer = making_closer(scatter)
        if closer:
            rows.append(("Closer", closer))
    if result.not_known is not None and result.not_known.unknowns:
        rows.append(("Not known", settle_first(result)))
    rows.append(("Fails", fails(result)))
    rows.append(("Together", together(result)))
    return rows


def failure(result: Ranking) -> str:
    """Say the failure probability that everything is a ratio to."""
    found = result.failure_probability
    who = "the rod" if result.rods == 1 else f"any of the {result.rods} rods"
    text = (
        f"**{capital(about(found.estimate, found.low, found.high))}** that {who} lets go in "
        f"{duration(result.life_years)}"
    )
    if result.not_known is None:
        return f"{text}."
    known = result.not_known
    return (
        f"{text}; because of what is not known, anywhere from {chance(known.p05)} to "
        f"{chance(known.p95)}."
    )


def hangs_on(variables: Sequence[Variable]) -> str:
    """Say what moves the failure probability most of what scatters, ties as ties."""
    first = [entry for entry in variables if entry.rank == 1]
    others = [entry for entry in variables if entry.rank > 1][: MOST_NAMED - 1]
    told = "; ".join(moves(entry) for entry in first[:MOST_NAMED])
    if len(first) > MOST_NAMED:
        told += f"; and {len(first) - MOST_NAMED} more"
    if len(first) > 1:
        told += ". The draws do not tell these apart"
    if others:
        told += ". Then " + "; ".join(moves(entry, strong=False) for entry in others)
    return f"{told}."


def moves(entry: Variable, *, strong: bool = True) -> str:
    """Say what the leading change of one variable does."""
    effect = entry.effect(entry.leading)
    if not strong:
        return f"{entry.name}, {effect.measure}: {cell(effect)}"
    return (
        f"**{capital(entry.name)}**: {changed(effect.measure)} the failure probability is "
        f"multiplied by {cell(effect)}"
    )


def changed(measure: str) -> str:
    """Return a change as what it is with: "with its spread halved"."""
    return f"with {'' if measure == ALL_LOWER else 'its '}{measure}"


def making_closer(variables: Sequence[Variable]) -> str:
    """Say which spread it would bring most to halve; "" where none brings anything."""
    halved = [
        (entry, effect)
        for entry in variables
        for effect in entry.effects
        if effect.measure == HALVED and effect.high < 1.0
    ]
    if not halved:
        return "To halve any one spread would bring nothing that can be told."
    entry, effect = min(halved, key=lambda pair: pair[1].value)
    if effect.value > NO_EFFECT[0]:
        return "To halve any one spread would bring next to nothing: look for a step of the mean."
    would = multiple(effect.value, effect.low, effect.high)
    return (
        f"Of making or choosing closer, most would come of **{entry.name}**: with its spread "
        f"halved the failure probability would {would}."
    )


def settle_first(result: Ranking) -> str:
    """Say which unknown it would bring most to settle."""
    known = result.not_known
    assert known is not None  # noqa: S101
    first = [entry for entry in known.unknowns if entry.rank == 1]
    names = listed([f"**{entry.name}**" for entry in first[:MOST_NAMED]])
    if len(first) > MOST_NAMED:
        names += f" and {len(first) - MOST_NAMED} more"
    tie = " (not told apart)" if len(first) > 1 else ""
    band = f"{chance(known.p05)} to {chance(known.p95)}"
    if not known.shares_told:
        return (
            f"Little hangs on what is not known: the band is {band}. The widest step is that of "
            f"{names}{tie}."
        )
    entry = first[0]
    return (
        f"To settle {names}{tie} would narrow the band most: {entry.name} causes "
        f"{percent(entry.total.estimate)} of it ({share_range(entry.total)}), and "
        f"without it {chance(entry.left_p05)} to {chance(entry.left_p95)} would be left of "
        f"{band}."
    )


def all_settled(result: Ranking) -> str:
    """Say what is left with every unknown at its middle."""
    known = result.not_known
    if known is None:
        return "Everything is known; only scatter is left."
    middle = known.middle
    rest = about(middle.estimate, middle.low, middle.high)
    text = (
        f"All unknowns settled, the band closes to one value that nobody knows today; with each "
        f"at its median it would be {rest}, of scatter alone."
    )
    if known.shares_told:
        text += (
            f" {capital(percent(known.unexplained.estimate))} of the variance "
            f"({share_range(known.unexplained)}) is not explained by single unknowns and pairs."
        )
    return text


def fails(result: Ranking) -> str:
    """Say the ways to fail with their shares."""
    shown = [mode for mode in result.modes if mode.share.estimate >= LEAST_SHARE][:MOST_NAMED]
    if not shown:
        return "No way to fail stands out."
    first, *others = shown
    told = f"{capital(first.name)}, {percent(first.share.estimate)} of the failures"
    told += "".join(f"; {mode.name}, {percent(mode.share.estimate)}" for mode in others)
    overlap = sum(mode.overlapping for mode in result.modes)
    if overlap > 1.05:
        told += (
            f". Some come about together: counted each for itself they make {percent(overlap)} of "
            "the failures"
        )
    return f"{told}."


def together(result: Ranking) -> str:
    """Say which variables act through others."""
    names = {entry.variable: entry.name for entry in result.margin.entries}
    found = [names[key] for key in result.margin.together]
    if not found:
        return "In ordinary rods the variables add up: none acts mainly through others."
    more = f" and {len(found) - FEW_TOGETHER} more" if len(found) > FEW_TOGETHER else ""
    return (
        f"Act mainly through one another: {listed(found[:FEW_TOGETHER])}{more}. What one of them "
        "does depends on the others."
    )


def directions(point: DesignPoint, most: int = 5) -> str:
    """Return the largest directions of a design point in words."""
    if point.beta is None:
        return "most such rods fail: there is no nearest point"
    told = [
        f"{entry.name} {percent(entry.share)}"
        + ("" if entry.towards == "both" else f" ({entry.towards})")
        for entry in point.directions[:most]
    ]
    return ", ".join(told)


def point_name(point: DesignPoint) -> str:
    """Return what fails at a design point, of which joints and which end."""
    parts = [" or ".join(point.modes), JOINTS[point.joint]]
    parts.append("" if point.end == "either" else f"{point.end} end")
    return ", ".join(part for part in parts if part)


# Cells ---------------------------------------------------------------------------------------


def cell(effect: Effect | ModeEffect | None) -> str:
    """Return a factor with its interval, "" where it was not asked."""
    if effect is None:
        return ""
    return f"{factor(effect.value)} ({factor(effect.low)} to {factor(effect.high)})"


def of_measure(entry: Variable, kind: str) -> Effect | None:
    """Return the effect of "halved", "higher" or "lower" of one variable."""
    for effect in entry.effects:
        if effect.measure.endswith(kind):
            return effect
    return None


def matters(entry: Variable) -> bool:
    """Tell whether any change of a variable does more than next to nothing."""
    low, high = LITTLE
    return any(
        not (low < effect.value < high) and not effect.low <= 1.0 <= effect.high
        for effect in entry.effects
    )


def next_to_nothing(variables: Sequence[Variable]) -> str:
    """Name the variables that do not matter; "" where all do."""
    names = [entry.name for entry in variables if not matters(entry)]
    if not names:
        return ""
    return f"Less than 1 % either way, or nothing that can be told: {'; '.join(names)}."


def worked_out(entry: Variable) -> str:
    """Return how the lines of a variable came about."""
    ways = list(dict.fromkeys(effect.how for effect in entry.effects))
    checked = any(effect.check is not None for effect in entry.effects)
    return " and ".join(ways) + (", checked" if checked else "")


def step(entry: Variable) -> str:
    """Return the step of the mean in words; "" where none was asked."""
    measures = [effect.measure for effect in entry.effects if effect.measure != HALVED]
    if not measures:
        return ""
    found = measures[0].removeprefix("mean ").rsplit(" ", 1)[0]
    return f"{found}; down all values" if ALL_LOWER in measures else found


def share(found: Chance | None) -> str:
    """Return a share with its interval."""
    if found is None:
        return ""
    value = percent(found.estimate) if 100.0 * found.estimate >= LEAST_PERCENT else "0 %"
    return f"{value} ({share_range(found)})"


def share_range(found: Chance) -> str:
    """Return the interval of a share, "14 to 21 %"."""
    low, high = (number(100.0 * max(end, 0.0), 2) for end in (found.low, found.high))
    low, high = (
        "0" if 100.0 * end < LEAST_PERCENT else text
        for end, text in ((found.low, low), (found.high, high))
    )
    return f"{low} to {high} %"


def band_left(entry: Unknown) -> str:
    """Return the band that is left in words."""
    return chance_range(entry.left_p05, entry.left_p95)


def rank_marks(ranks: Sequence[int]) -> list[str]:
    """Return each rank in figures, with "=" where it is shared."""
    count = Counter(ranks)
    return [f"{rank}=" if count[rank] > 1 else f"{rank}" for rank in ranks]


def listed(names: Sequence[str]) -> str:
    """Return names with commas and an "and"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def capital(text: str) -> str:
    """Return text with its first letter large."""
    return text[:1].upper() + text[1:]
