"""Options side by side for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import compare_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.plain import bold, table, wrap
from jointrisk.report.sentences import mark
from jointrisk.report.text import flat
from jointrisk.report.words import chance, chance_range, load

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.compare_results import Comparison, Option

LABEL = 10
"""Characters of the column of words before the first lines [-]."""
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
        _headline(result, color, width),
        _options(result, color, width),
        _list("Not told apart", say.ties(result), color, width),
        _list("Every two options", pairs, color, width),
        _list("What each fails by first, and holds", _holds(result), color, width),
        _list("What differs", _differences(result, verbose), color, width),
        _list("After the pull", after(result), color, width),
        _list("Cost and mass", say.prices(result), color, width),
        _list("Good to know", say.notes(result), color, width),
        _list("Warnings", [f"{w.code}: {w.text}" for w in result.warnings], color, width),
    ]
    if verbose:
        blocks += [_assumptions(result, color, width), _run(result, color, width)]
    first, *others = CAUTIONS
    cautions = [f"{first.head} {first.text}", *(caution.head for caution in others)]
    blocks.append(_list("Before you pull or trust a rod", cautions, color, width))
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


def _headline(result: Comparison, color: bool, width: int) -> str:
    lines = []
    for label, sentence in say.headline(result):
        line = wrap(mark(sentence), width, label.ljust(LABEL), " " * LABEL)
        lines.append(bold(label, color) + line[len(label) :])
    return "\n".join(lines)


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


def _list(head: str, lines: Sequence[str], color: bool, width: int) -> str:
    if not lines:
        return ""
    return "\n".join([bold(head, color), *(wrap(mark(x), width, "  ", "    ") for x in lines)])


def _assumptions(result: Comparison, color: bool, width: int) -> str:
    lines = [
        f"{entry.key}: {entry.value} ({entry.source}; {entry.confidence})"
        for entry in result.assumptions
    ]
    return _list(f"Every value of '{result.baseline}'", lines, color, width)


def _run(result: Comparison, color: bool, width: int) -> str:
    lines = [f"title: {result.title}", f"evaluations: {result.evaluations}"]
    for key, value in {**result.run, **result.host}.items():
        if value is not None:
            lines.append(f"{key}: {flat(value)}")
    return _list("Run", lines, color, width)
