"""Options against each other in plain sentences, shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report.words import about, chance, chance_range, duration, load, number, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.compare_results import Comparison, Difference, Option, Pair, Ratio

TIED = "not told apart"
ALIKE = "alike in every draw"
MOST_DECIMALS = 6
FARTHEST_ODDS = 0.01
"""Shares nearer to 0 or 1 than this are not told more closely [-]."""


def headline(result: Comparison) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and one sentence."""
    rows = [("Lowest", lowest(result))]
    rows += [("Against", _with_pull(pair)) for pair in of_baseline(result)]
    told = targets(result)
    if told:
        rows.append(("Target", told))
    if any(option.dominated_by for option in result.options):
        rows += [("Price", sentence) for sentence in prices(result)]
    return rows


def _with_pull(pair: Pair) -> str:
    """Return what differs as built; of options that differ in their pulls alone, after those."""
    alike = pair.ratio.low == pair.ratio.high == 1.0
    return f"{against(pair)} {after(pair)}".strip() if alike else against(pair)


def of_baseline(result: Comparison) -> list[Pair]:
    """Return every option against the baseline, in the order of the options."""
    return [
        result.pair(option.name, result.baseline)
        for option in result.options
        if option.name != result.baseline
    ]


def quoted(names: Sequence[str]) -> str:
    """Return names in quotes, joined as in a sentence."""
    told = [f"'{name}'" for name in names]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def lowest(result: Comparison) -> str:
    """Say which option fails least often, and what ties with it."""
    best = result.option(result.lowest[0])
    found = best.failure_probability
    life = duration(found.period_years)
    who = "the rod" if best.rods == 1 else f"any of {best.rods} rods"
    odds = about(found.estimate, found.low, found.high)
    band = chance_range(found.band_p05, found.band_p95)
    text = (
        f"**'{best.name}'** fails least often as built: {odds} that {who} lets go in {life}; "
        f"because of what is not known, anywhere from {band}."
    )
    others = result.lowest[1:]
    if len(result.lowest) == len(result.options):
        return f"**No option can be told apart** from the lowest. {text}"
    return f"{text} {TIED.capitalize()} from it: {quoted(others)}." if others else text


def against(pair: Pair) -> str:
    """Say how often one option fails against another, and how sure that is."""
    ratio = pair.ratio
    if ratio.verdict != TIED:
        text = f"'{pair.option}' fails **{times(ratio)} times as often** as '{pair.other}'"
        text += f" ({span(ratio)})."
    elif ratio.low == ratio.high == 1.0:
        return f"'{pair.option}' and '{pair.other}' are **{TIED}**: {ALIKE}."
    else:
        text = f"'{pair.option}' and '{pair.other}' are **{TIED}**"
        text += f" ({span(ratio)} times as often)." if math.isfinite(ratio.high) else "."
    if pair.better is not None:
        share = pair.better
        text += (
            f" Given what is not known, the chance that it fails less often is "
            f"{part(share.estimate)} ({part(share.low)} to {part(share.high)})."
        )
    aim = pair.as_target
    if aim is not None and aim.verdict != ratio.verdict:
        text += f" **As the target counts it** {_counted(aim)}."
    return text


def _counted(ratio: Ratio) -> str:
    """Return a ratio that departs from that over the life, in words."""
    if ratio.verdict == TIED:
        return f"they are {TIED} ({span(ratio)} times as often)"
    return f"it fails {times(ratio)} times as often ({span(ratio)})"


def after(pair: Pair) -> str:
    """Say the same of what is left after the pull of each; "" where nothing can be said."""
    ratio = pair.after_pull
    if ratio is None:
        return ""
    if ratio.verdict == TIED:
        return f"After the pull '{pair.option}' and '{pair.other}' are {TIED} ({span(ratio)})."
    return (
        f"After the pull '{pair.option}' fails {times(ratio)} times as often as '{pair.other}' "
        f"({span(ratio)})."
    )


def times(ratio: Ratio) -> str:
    """Return a ratio with the digits that its interval carries."""
    return _figure(ratio.estimate, _decimals(ratio))


def figures(ratio: Ratio) -> str:
    """Return a ratio with its interval for a table."""
    told = span(ratio)
    return told if told == ALIKE else f"{times(ratio)} ({told})"


def span(ratio: Ratio) -> str:
    """Return the interval of a ratio, such as "0.58 to 0.66"."""
    if ratio.low == ratio.high == 1.0:
        return ALIKE
    places = _decimals(ratio)
    if not math.isfinite(ratio.high):
        return f"{_figure(ratio.low, places)} or more" if math.isfinite(ratio.low) else "unknown"
    return f"{_figure(ratio.low, places)} to {_figure(ratio.high, places)}"


def _decimals(ratio: Ratio) -> int:
    half = 0.5 * (ratio.high - ratio.low)
    if not math.isfinite(half) or half <= 0.0:
        return 2
    return min(max(-math.floor(math.log10(half)), 0), MOST_DECIMALS)


def _figure(value: float, places: int) -> str:
    if not math.isfinite(value):
        return "unknown" if math.isnan(value) else "endlessly many"
    return number(value, 2) if abs(value) >= 1e4 else f"{value:,.{places}f}"


def part(share: float) -> str:
    """Return a share as a percentage, never rounded to nothing or to all."""
    if share < FARTHEST_ODDS:
        return f"under {100 * FARTHEST_ODDS:g} %"
    if share > 1.0 - FARTHEST_ODDS:
        return f"over {100 * (1 - FARTHEST_ODDS):g} %"
    return f"{100.0 * share:.0f} %"


def verdict(option: Option) -> str:
    """Return whether an option meets its target, and the chance of it."""
    told = option.target
    if told is None:
        return "no target"
    word = {True: "yes", False: "no", None: "undecided"}[told.met]
    likely = told.chance_met
    return word if likely is None else f"{word} ({part(likely)})"


def counted(option: Option) -> str:
    """Return the failure probability as the target counts it; "" without a target."""
    return "" if option.as_target is None else chance(option.as_target)


def permitted(option: Option) -> str:
    """Return the permitted load in words; "" without a target."""
    found = option.permitted_load
    if found is None:
        return ""
    return load(found.newton, 2, "down") if found.newton > 0.0 else "none"


def targets(result: Comparison) -> str:
    """Say which options meet their target; "" where none has one."""
    found: dict[str, list[str]] = {}
    for option in result.options:
        if option.target is not None:
            word = {True: "met by", False: "missed by", None: "undecided for"}[option.target.met]
            found.setdefault(word, []).append(option.name)
    if not found:
        return ""
    told = "; ".join(f"{word} {quoted(names)}" for word, names in found.items())
    aims = {
        (o.target.probability, o.target.period_years, o.target.scope)
        for o in result.options
        if o.target
    }
    if len(aims) > 1:
        return f"As built, each option's own target is {told}."
    option = next(option for option in result.options if option.target)
    assert option.target is not None  # noqa: S101 - chosen so
    over = "the life"
    if option.target.period_years < option.failure_probability.period_years:
        over = "the worst year"
    return f"As built, the target ({about(option.target.probability)} in {over}) is {told}."


def needed(option: Option) -> str:
    """Return the pull that an option needs, in a word or two."""
    pull = option.pull
    if pull.load_newton is None:
        return pull.verdict
    return f"{load(pull.load_newton, 3, 'up')}, breaks {percent(pull.reject_fraction)}"


def prices(result: Comparison) -> list[str]:
    """Say what is gained for cost and mass; nothing where neither is given."""
    if all(option.cost is None and option.mass is None for option in result.options):
        return []
    lines = [
        f"'{option.name}' is beaten by {quoted(option.dominated_by)}: told to fail less often, and "
        "no dearer and no heavier as far as given."
        for option in result.options
        if option.dominated_by
    ]
    return lines or ["No option is beaten in failure and in cost and mass at once, as far as told."]


def measures(option: Option) -> tuple[str, str]:
    """Return cost and mass of one rod in words, "" where not given."""
    mass = "" if option.mass is None else f"{number(option.mass, 3)} g"
    return ("" if option.cost is None else str(option.cost), mass)


def differs(option: Option) -> list[str]:
    """Return what an option has apart from the baseline, value by value."""
    return [_difference(entry) for entry in option.differences]


def _difference(entry: Difference) -> str:
    if entry.value is None:
        return f"{entry.key}: left out (was {entry.baseline})"
    if entry.baseline is None:
        return f"{entry.key}: {entry.value} (was not there)"
    return f"{entry.key}: {entry.value} (was {entry.baseline})"


def ties(result: Comparison) -> list[str]:
    """Say which options are not told apart."""
    found = [group for group in result.groups if len(group) > 1]
    if not found:
        return ["Every two options are told apart."]
    return [f"{quoted(group)} are {TIED}." for group in found]


def leading(option: Option) -> str:
    """Return the way to fail with the largest share."""
    if not option.modes:
        return ""
    first = option.modes[0]
    return f"{first.name}, {percent(first.share)}"


def after_words(option: Option) -> str:
    """Return what an option's pull leaves, in words; "" without one."""
    left = option.after_pull
    if left is None:
        return ""
    name = f"{left.label}, " if left.label else ""
    odds = chance(left.fail.estimate, left.fail.low, left.fail.high)
    return f"{odds} ({name}{load(left.load_newton, 3)})"


def notes(result: Comparison) -> list[str]:
    """Say how the numbers are to be read."""
    pairs = len(result.pairs)
    together = (
        "" if pairs == 1 else f", so that all {pairs} pairs together hold with that confidence"
    )
    return [
        "All options were worked out on the same draws: what they have in common drops out of the "
        "ratios, which are therefore known better than the failure probabilities themselves.",
        f"Two options are told apart where the {percent(result.confidence)} interval of their "
        f"ratio leaves out 1{together}. It holds the error of sampling, not of the models.",
        "The chance to fail less often counts the states of what is not known, alike for both "
        "options but for what is known of each apart (such as the strength of two glues). The "
        "ratio is of averages over those states, and the worst of them weigh most.",
    ]
