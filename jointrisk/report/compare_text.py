"""Options side by side for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import compare_sentences as say
from jointrisk.report.blocks import cautioned, headline, listed, ran, values, warned
from jointrisk.report.plain import bold, table
from jointrisk.report.words import chance, chance_range, load

if TYPE_CHECKING:
    from jointrisk.study.compare_results import Comparison, Option

MOST_DIFFERENCES = 6
"""Differences of an option shown without `verbose` [-]."""


def text(result: Comparison, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the comparison as plain text with a line end.

    Parameters
    ----------
    result : Comparison
        What `jointrisk.compare` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds all pairs, every difference and assumption, and the run's own facts [-].
    """
    pairs = [say.against(pair) for pair in result.pairs] if verbose else []
    blocks = [
        headline(say.headline(result), color, width),
        _options(result, color, width),
        listed("Not told apart", say.ties(result), color, width),
        listed("Every two options", pairs, color, width),
        listed("What each fails by first, and holds", _holds(result), color, width),
        listed("What differs", _differences(result, verbose), color, width),
        listed("After the pull", after(result), color, width),
        listed("Cost and mass", say.prices(result), color, width),
        listed("Good to know", say.notes(result), color, width),
        warned(result.warnings, color, width),
    ]
    if verbose:
        own = [f"title: {result.title}", f"evaluations: {result.evaluations}"]
        head = f"Every value of '{result.baseline}'"
        blocks.append(listed(head, values(result.assumptions), color, width))
        blocks.append(ran(result.run, result.host, color, width, own))
    blocks.append(cautioned(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


def option_heads(result: Comparison) -> list[str]:
    """Return the heads of `option_rows`."""
    heads = ["option", "fails over the life", "times as often", "ties", "what is not known",
             "target met (chance)"]  # fmt: skip
    return [*heads, *(name for name, there in _priced(result) if there), "pull needed"]


def option_rows(result: Comparison) -> list[tuple[str, ...]]:
    """Return one row an option: what it fails by, against the baseline, ties, target, pull."""
    rows = []
    for option in result.options:
        found = option.failure_probability
        ratio = "1"
        if option.name != result.baseline:
            against = result.pair(option.name, result.baseline).ratio
            ratio = say.figures(against)
        priced = zip(say.measures(option), _priced(result), strict=True)
        rows.append(
            (
                option.name,
                chance(found.estimate, found.low, found.high),
                ratio,
                option.letters,
                chance_range(found.band_p05, found.band_p95),
                say.verdict(option),
                *(word for word, (_, there) in priced if there),
                say.needed(option),
            )
        )
    return rows


def _priced(result: Comparison) -> list[tuple[str, bool]]:
    return [
        ("cost of a rod", any(option.cost is not None for option in result.options)),
        ("mass of a rod", any(option.mass is not None for option in result.options)),
    ]


def after(result: Comparison) -> list[str]:
    """Return sentences on what the pulls leave, against the baseline."""
    lines = [
        f"'{option.name}': then fails {say.after_words(option)}."
        for option in result.options
        if option.after_pull is not None
    ]
    return lines + [line for line in map(say.after, say.of_baseline(result)) if line]


def _options(result: Comparison, color: bool, width: int) -> str:
    head = bold(f"Options, against '{result.baseline}'", color)
    return f"{head}\n{table(option_heads(result), option_rows(result), width)}"


def _holds(result: Comparison) -> list[str]:
    return [f"'{option.name}': {say.leading(option)}. {_strength(option)}" for option in
            result.options]  # fmt: skip


def _strength(option: Option) -> str:
    new = option.strength_new
    text = (
        f"Half hold more than {load(new.median)}, 1 in 100 less than {load(new.one_in_100_below)}."
    )
    if option.as_target is None:
        return text
    return (
        f"{text} As the target counts it {say.counted(option)} fails; permitted load "
        f"{say.permitted(option)}."
    )


def _differences(result: Comparison, verbose: int) -> list[str]:
    lines = []
    for option in result.options:
        found = say.differs(option)
        if not found:
            if option.name != result.baseline:
                lines.append(f"'{option.name}': nothing that the file says or the defaults hold.")
            continue
        shown = found if verbose else found[:MOST_DIFFERENCES]
        more = len(found) - len(shown)
        rest = f"; {more} more, -v shows them" if more else ""
        lines.append(f"'{option.name}': {'; '.join(shown)}{rest}.")
    return lines
