"""From answers to the lines of a ledger: best and worst, verdicts, what decides."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from jointrisk.study.doubts_results import End, Entry

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.reliability.interval import Bounds
    from jointrisk.scenario.doubts import Doubt
    from jointrisk.study.doubts import Answer
    from jointrisk.study.doubts_results import Target
    from jointrisk.study.results import Chance

__all__ = ["entries_of", "judged"]

SMALLEST = 1e-300
LEAST_MOVE = 0.01
"""Powers of ten below which nothing is said to decide."""


def entries_of(
    asked: Sequence[Doubt],
    answers: Sequence[Sequence[Answer]],
    failure: Chance,
    target: Target | None,
) -> tuple[Entry, ...]:
    """Return the lines of the ledger, those that move the answer farthest first.

    Parameters
    ----------
    asked : sequence of Doubt
    answers : sequence of sequence of Answer
        To each alternative of each doubt.
    failure : Chance
        As it is.
    target : Target, optional
    """
    found = [_entry(doubt, own, failure, target) for doubt, own in zip(asked, answers, strict=True)]
    found.sort(key=lambda entry: -entry.moves)
    return _with_deciding(found)


def judged(low: float, high: float, target: float) -> bool | None:
    """Return whether an interval meets a target; None where it holds it."""
    if high <= target:
        return True
    return False if low > target else None


def _entry(
    doubt: Doubt, answers: Sequence[Answer], failure: Chance, target: Target | None
) -> Entry:
    now = _as_it_is(doubt.value, failure, target)
    ends = [
        _end(other.value, answer, failure, target)
        for other, answer in zip(doubt.alternatives, answers, strict=True)
    ]
    if len(ends) == 1:
        ends.append(now)
    low, high = (pick(ends, key=lambda end: end.ratio) for pick in (min, max))
    least, most = _moves(low, high)
    return Entry(
        key=doubt.key,
        question=doubt.question,
        name=doubt.name,
        value=doubt.value,
        source=doubt.source,
        confidence=doubt.confidence,
        range_source=doubt.range_source,
        range_confidence=doubt.range_confidence,
        low=low,
        high=high,
        moves=_decades(high.ratio, low.ratio if low.ratio > 0.0 else low.ratio_high),
        moves_low=least,
        moves_high=most,
        turns=target is not None and any(_turned(end.met, target.met) for end in ends),
        decides=False,
    )


def _as_it_is(value: str, failure: Chance, target: Target | None) -> End:
    plain = (value, failure.estimate, 1.0, 1.0, 1.0)
    if target is None:
        return End(*plain, None, None, None, None, "as it is")
    counted = target.counted
    return End(*plain, counted.estimate, counted.low, counted.high, target.met, "as it is")


def _end(value: str, answer: Answer, failure: Chance, target: Target | None) -> End:
    whole = answer.whole
    chance = min(failure.estimate * whole.estimate, 1.0)
    plain = (value, chance, whole.estimate, whole.low, whole.high)
    if target is None:
        return End(*plain, None, None, None, None, answer.method)
    counted = min(target.counted.estimate * answer.counted.estimate, 1.0)
    low, high = (min(end, 1.0) for end in _times(target.counted, answer.counted))
    met = judged(low, high, target.probability)
    return End(*plain, counted, low, high, met, answer.method)


def _times(chance: Chance, ratio: Bounds) -> tuple[float, float]:
    """Return the interval of a product, the two errors joined on the log."""
    value = chance.estimate * ratio.estimate
    if value <= 0.0:
        return 0.0, chance.high * ratio.high
    down = math.hypot(_log(chance.estimate, chance.low), _log(ratio.estimate, ratio.low))
    up = math.hypot(_log(chance.high, chance.estimate), _log(ratio.high, ratio.estimate))
    return value * math.exp(-down), value * math.exp(up)


def _log(above: float, below: float) -> float:
    return math.log(max(above, SMALLEST) / max(below, SMALLEST))


def _moves(low: End, high: End) -> tuple[float, float]:
    """Return the interval of how far an entry moves the answer, in powers of ten."""
    least = _decades(high.ratio_low, low.ratio_high) if high.ratio_low > low.ratio_high else 0.0
    return least, _decades(high.ratio_high, low.ratio_low)


def _decades(high: float, low: float) -> float:
    """Return the powers of ten between two ratios, 1 (as it is) included; infinite down to 0."""
    if low <= 0.0:
        return math.inf
    return math.log10(max(high, 1.0) / min(low, 1.0))


def _turned(met: bool | None, now: bool | None) -> bool:
    """Tell whether a verdict is the other one, or settles one that was open."""
    return met is not None and met is not now


def _with_deciding(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """Mark the entry that decides, and those not told apart from it.

    Looked for among those that turn the verdict alone, where there are any.
    """
    among = [entry for entry in entries if entry.turns] or list(entries)
    if not among or among[0].moves < LEAST_MOVE:
        return tuple(entries)
    first = among[0]
    return tuple(
        replace(entry, decides=entry in among and entry.moves_high >= first.moves_low)
        for entry in entries
    )
