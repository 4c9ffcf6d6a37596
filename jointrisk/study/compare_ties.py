"""Which options are not told apart, and which are beaten in everything that is given of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.study.compare_pairs import groups

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.compare_results import Option, Pair

TIED = "not told apart"
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def ties(options: Sequence[Option], pairs: Sequence[Pair]) -> tuple[tuple[str, ...], ...]:
    """Return the largest groups of which no two are told apart, the lowest failure first."""
    names = [option.name for option in options]
    apart = np.zeros((len(names), len(names)), dtype=bool)
    for pair in pairs:
        i, j = names.index(pair.option), names.index(pair.other)
        apart[i, j] = apart[j, i] = pair.ratio.verdict != TIED
    order = sorted(range(len(names)), key=lambda i: options[i].failure_probability.estimate)
    return tuple(tuple(names[i] for i in group) for group in groups(apart, order))


def letters(name: str, tied: Sequence[Sequence[str]]) -> str:
    """Return a letter for each group that an option is in; options that share one are tied."""
    return "".join(
        LETTERS[place] if place < len(LETTERS) else f"({place + 1})"
        for place, group in enumerate(tied)
        if name in group
    )


def lowest(options: Sequence[Option], tied: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Return the option of the lowest failure probability and all that are tied with it."""
    best = min(options, key=lambda option: option.failure_probability.estimate).name
    mates = [name for group in tied if best in group for name in group]
    return tuple(dict.fromkeys([best, *mates]))


def dominated_by(
    option: Option, options: Sequence[Option], pairs: Sequence[Pair]
) -> tuple[str, ...]:
    """Return the options told to fail less often that cost and weigh no more."""
    lower = {p.option for p in pairs if p.other == option.name and p.ratio.verdict == "lower"}
    lower |= {p.other for p in pairs if p.option == option.name and p.ratio.verdict == "higher"}
    return tuple(
        other.name for other in options if other.name in lower and _no_dearer(other, option)
    )


def _no_dearer(one: Option, other: Option) -> bool:
    """Tell whether one option is known to cost and to weigh no more than another."""
    measures = []
    if one.cost is not None and other.cost is not None:
        if one.cost.currency != other.cost.currency:
            return False
        measures.append((one.cost.amount, other.cost.amount))
    if one.mass is not None and other.mass is not None:
        measures.append((one.mass, other.mass))
    return bool(measures) and all(mine <= theirs for mine, theirs in measures)
