"""The answer for a terminal: five lines first, then what stands behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import sentences
from jointrisk.report.blocks import assumed, cautioned, headline, ran, warned
from jointrisk.report.plain import bold, table, wrap
from jointrisk.report.words import chance, chance_range, factor, percent

if TYPE_CHECKING:
    from jointrisk.study.results import Assessment

MOST_ROWS = 8
"""Rows of the ranking that are shown without `verbose` [-]."""
LEAST_SHARE = 0.001
"""Share of the failures below which a mode is only named [-]."""


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
        headline(sentences.headline(assessment), color, width),
        _more(assessment, width),
        _pulls(assessment, color, width),
        _ranking(assessment, color, width, verbose),
        _modes(assessment, color, width),
        warned(assessment.warnings, color, width),
    ]
    if verbose:
        blocks += assumed(assessment.assumptions, color, width)
        blocks.append(ran(assessment.run, assessment.host, color, width, _own(assessment)))
    blocks.append(cautioned(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


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


def _own(assessment: Assessment) -> list[str]:
    """Return what the run's facts begin with."""
    lines = [f"title: {assessment.title}"]
    result = assessment.failure_probability
    if result is not None:
        lines.append(
            f"method: {result.method}, {result.evaluations} evaluations, "
            f"{percent(result.confidence)} interval {chance_range(result.low, result.high)}"
        )
    return lines
