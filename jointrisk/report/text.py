"""The answer for a terminal: five lines first, then what stands behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import sentences
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.plain import bold, table, wrap
from jointrisk.report.words import chance, chance_range, factor, percent

if TYPE_CHECKING:
    from jointrisk.study.results import Assessment

MOST_ROWS = 8
"""Rows of the ranking that are shown without `verbose` [-]."""
LEAST_SHARE = 0.001
"""Share of the failures below which a mode is only named [-]."""
LABEL = 10
"""Characters of the column of words before the five first lines [-]."""


def text(assessment: Assessment, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    assessment : Assessment
        What `jointrisk.assess` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken, so that each of the five
        answers is one line [-].
    verbose : int
        1 adds every assumption and the run's own facts [-].
    """
    blocks = [
        _headline(assessment, color, width),
        _more(assessment, width),
        _pulls(assessment, color, width),
        _ranking(assessment, color, width, verbose),
        _modes(assessment, color, width),
        _warnings(assessment, color, width),
    ]
    if verbose:
        blocks += [_assumptions(assessment, color, width), _run(assessment, color, width)]
    blocks.append(_cautions(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _headline(assessment: Assessment, color: bool, width: int) -> str:
    lines = []
    for label, sentence in sentences.headline(assessment):
        line = wrap(sentences.mark(sentence), width, label.ljust(LABEL), " " * LABEL)
        lines.append(bold(label, color) + line[len(label) :])
    return "\n".join(lines)


def _more(assessment: Assessment, width: int) -> str:
    lines = [
        sentences.strength_in_service(assessment),
        sentences.permitted(assessment),
        sentences.backup(assessment),
        sentences.target(assessment),
    ]
    return "\n".join(wrap(sentences.mark(line), width, "", "  ") for line in lines if line)


def _pulls(assessment: Assessment, color: bool, width: int) -> str:
    lines = [sentences.pull_worth(entry, assessment) for entry in assessment.proof.pulls]
    lines += sentences.pull_detail(assessment)
    if not lines:
        return ""
    body = [wrap(sentences.mark(line), width, "  ", "    ") for line in lines]
    return "\n".join([bold(sentences.said("Pulls", assessment), color), *body])


def _ranking(assessment: Assessment, color: bool, width: int, verbose: int) -> str:
    if not assessment.ranking:
        return ""
    shown = assessment.ranking if verbose else assessment.ranking[:MOST_ROWS]
    rows = [
        (
            entry.measure,
            f"x {factor(entry.value)}",
            f"{factor(entry.low)} to {factor(entry.high)}",
            f"{entry.name} ({entry.variable})",
        )
        for entry in shown
    ]
    head = bold("What the failure probability hangs on, strongest first", color)
    columns = ("change", "factor", "interval", "of")
    left = len(assessment.ranking) - len(shown)
    rest = f"\nand {left} more of less effect; -v shows them" if left else ""
    return head + "\n" + table(columns, rows, width, "lrrl") + rest


def _modes(assessment: Assessment, color: bool, width: int) -> str:
    if not assessment.modes:
        return ""
    seen = [mode for mode in assessment.modes if mode.share >= LEAST_SHARE]
    rows = [(percent(m.share), chance(m.probability), m.name) for m in seen]
    rare = [mode.name for mode in assessment.modes if mode.share < LEAST_SHARE]
    lines = [bold("What lets go", color), table(("share", "chance", "mode"), rows, width, "rr")]
    if rare:
        lines.append(wrap(f"Next to never: {', '.join(rare)}.", width, "", "  "))
    return "\n".join(lines)


def _warnings(assessment: Assessment, color: bool, width: int) -> str:
    if not assessment.warnings:
        return ""
    lines = [wrap(f"{w.code}: {w.text}", width, "  ", "    ") for w in assessment.warnings]
    return "\n".join([bold("Warnings", color), *lines])


def _assumptions(assessment: Assessment, color: bool, width: int) -> str:
    blocks = []
    for origin, title in (("scenario", "Your values"), ("default", "Defaults")):
        entries = [entry for entry in assessment.assumptions if entry.origin == origin]
        if entries:
            lines = [
                wrap(f"{e.key}: {e.value} ({e.source}; {e.confidence})", width, "  ", "    ")
                for e in entries
            ]
            blocks.append("\n".join([bold(title, color), *lines]))
    return "\n\n".join(blocks)


def _run(assessment: Assessment, color: bool, width: int) -> str:
    lines = [f"title: {assessment.title}"]
    result = assessment.failure_probability
    if result is not None:
        lines.append(
            f"method: {result.method}, {result.evaluations} evaluations, "
            f"{percent(result.confidence)} interval {chance_range(result.low, result.high)}"
        )
    for key, value in {**assessment.run, **assessment.host}.items():
        if value is not None:
            lines.append(f"{key}: {flat(value)}")
    return "\n".join([bold("Run", color), *(wrap(x, width, "  ", "    ") for x in lines)])


def flat(value: object) -> str:
    """Return a mapping as "key value, key value"; anything else as text."""
    if isinstance(value, dict):
        return ", ".join(f"{key} {entry}" for key, entry in value.items())
    return str(value)


def _cautions(color: bool, width: int) -> str:
    first, *others = CAUTIONS
    lines = [wrap(f"{first.head} {first.text}", width, "  ", "    ")]
    lines += [wrap(caution.head, width, "  ", "    ") for caution in others]
    return "\n".join([bold("Before you pull or trust a rod", color), *lines])
