"""The answer about pulls for a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.report import proof_sentences as say
from jointrisk.report.blocks import assumed, cautioned, headline, listed, ran, warned
from jointrisk.report.plain import bold, table
from jointrisk.report.practice import PRACTICE
from jointrisk.report.words import chance, chance_range, load, number, percent

if TYPE_CHECKING:
    from jointrisk.study.proof_results import Policy, Proof

MOST_OPENERS = 4
"""Changes that do not open a window shown without `verbose` [-]."""


def text(result: Proof, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : Proof
        What `jointrisk.proof` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds every assumption and the run's own facts [-].
    """
    blocks = [
        headline(say.headline(result), color, width),
        listed(say.said("What your own pull is worth", result),
              [say.worth(e, result) for e in result.pulls], color, width),
        listed(say.said("What would bring a pull to the target", result),
              _openers(result, verbose), color, width),
        _policies(result, color, width),
        listed("Good to know", good_to_know(result), color, width),
        _practice(color, width),
        warned(result.warnings, color, width),
    ]  # fmt: skip
    if verbose:
        own = [f"title: {result.title}", f"evaluations: {result.evaluations}"]
        blocks += assumed(result.assumptions, color, width)
        blocks.append(ran(result.run, result.host, color, width, own))
    blocks.append(cautioned(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


def good_to_know(result: Proof) -> list[str]:
    """Return sentences on the batch, the caps and the rig."""
    lines = [] if result.next_rod is None else [say.said(say.next_rod(result.next_rod), result)]
    return [*lines, *filter(None, [say.limits(result)]), say.rig(result)]


def policy_rows(result: Proof) -> list[tuple[str, ...]]:
    """Return what each way of using pulls leaves, spoils and accepts, in words."""
    return [
        (
            *_left(entry),
            _against(entry),
            number(entry.spoiled),
            percent(entry.accepted),
            say.sentence(entry.name) + (f" {entry.note}" if entry.note else ""),
        )
        for entry in result.policies
    ]


def _left(entry: Policy) -> tuple[str, str]:
    """Return failure and its range in words."""
    fail = entry.fail
    if math.isnan(fail.estimate):
        return "not known", "too few draws tell it"
    return chance(fail.estimate, fail.low, fail.high), chance_range(fail.low, fail.high)


def policy_head(result: Proof) -> str:
    """Return the heading of the ways to use pulls."""
    asked = result.policy_newton == result.load_newton
    return (
        say.said("Ways to use a pull", result)
        + f" of {load(result.policy_newton, 3, 'up' if asked else 'nearest')}"
    )


def _against(entry: Policy) -> str:
    """Return failure over that with every rod pulled, as a range; "same" where it is that."""
    low, high = entry.ratio.low, entry.ratio.high
    if low == high == 1.0:
        return "same"
    if not (math.isfinite(low) and math.isfinite(high)):
        return "not known"
    first, last = number(low), number(high)
    told = first if first == last else f"{first} to {last}"
    return f"{told} (not told apart)" if low <= 1.0 <= high else told


POLICY_COLUMNS = ("then fails", "range", "times all pulled", "rods lost", "set accepted", "way")


def _openers(result: Proof, verbose: int) -> list[str]:
    opening = [entry for entry in result.openers if entry.opens]
    others = [entry for entry in result.openers if not entry.opens]
    shown = others if verbose else others[:MOST_OPENERS]
    lines = [say.opener(entry, result) for entry in (*opening, *shown)]
    if result.openers and not opening:
        lines.insert(0, "**No change that was tried is enough:**")
    if len(others) > len(shown):
        lines.append(f"{len(others) - len(shown)} more that are not enough; -v shows them.")
    return lines


def _policies(result: Proof, color: bool, width: int) -> str:
    if not result.policies:
        return ""
    rows = policy_rows(result)
    return f"{bold(policy_head(result), color)}\n{table(POLICY_COLUMNS, rows, width, 'rrrrr')}"


def _practice(color: bool, width: int) -> str:
    lines = [f"{entry.pull}: {entry.on} ({entry.source}; {entry.mark})" for entry in PRACTICE]
    return listed("What others do; practice, not a result", lines, color, width)
