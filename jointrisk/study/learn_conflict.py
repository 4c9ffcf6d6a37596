"""Whether a log sits with what the file led one to expect, before anything is learnt from it.

Logs like it are drawn from the file alone: of parts pulled to a load the number that break, of
parts pulled until they broke the mean log of the breaking load (prior predictive check: Box 1980,
J. R. Statist. Soc. A 143, from memory). A part that broke at no more than the largest load that
others held counts as pulled to that load; one that broke above it as pulled until it broke.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr, ndtri

from jointrisk.study.learn_likelihood import at_loads
from jointrisk.study.learn_results import FAR_OFF, Conflict

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.learn_likelihood import Readings
    from jointrisk.study.learn_log import Log

    Array = npt.NDArray[np.float64]

REPEATS = 4
"""Logs drawn from each state [-]."""
RARE = 0.02
"""A log rarer than this by the file alone is called strange [-]."""
LEAST, ROUNDING = 1e-300, 1e-9


@dataclass(frozen=True, slots=True)
class Expected:
    """What of a log can be held against the file; B batches."""

    reach: Array
    """Loads that counted parts were pulled to, rising [N], (R,)."""
    counted: npt.NDArray[np.int64]
    """Parts pulled to each, (B, R)."""
    breaks: int
    """Counted parts that broke."""
    until: npt.NDArray[np.int64]
    """Parts of each batch pulled until they broke, (B,)."""
    above: float
    """Load that these held, 0 where nothing in the log held [N]."""
    middle: float
    """Mean log of their breaking loads; NaN without any."""


def expected(log: Log) -> Expected:
    """Return what of a log can be held against the file."""
    highest = max((load for h in log.histories for load, kind in h if kind == "held"), default=0.0)
    reaches: dict[int, float] = {}
    for number, history in enumerate(log.histories):
        load, kind = history[-1]
        if kind != "broke at":
            reaches[number] = max(step for step, _ in history)
        elif load <= highest:
            reaches[number] = highest
    reach = np.array(sorted(set(reaches.values())))
    counted = np.zeros((len(log.batches), reach.size), dtype=np.int64)
    for number, load in reaches.items():
        counted[:, np.searchsorted(reach, load)] += log.counts[:, number].astype(np.int64)
    broke = [number for number in reaches if not log.held[number]]
    rest = [number for number in range(len(log.histories)) if number not in reaches]
    until = log.counts[:, rest].sum(axis=1).astype(np.int64)
    logs = np.array([np.log(log.histories[number][-1][0]) for number in rest])
    total = int(until.sum())
    middle = float((log.counts[:, rest].sum(axis=0) @ logs) / total) if total else np.nan
    return Expected(
        reach, counted, int(log.counts[:, broke].sum()), until, highest if total else 0.0, middle
    )


def drawn_logs(readings: Readings, what: Expected, rng: np.random.Generator) -> tuple[Array, Array]:
    """Draw logs from states: breaks of counted parts, and mean logs, each (c, REPEATS).

    Parameters
    ----------
    readings : Readings
    what : Expected
    rng : numpy.random.Generator
    """
    drawn = readings.drawn
    c, j = drawn.labels.shape[2:]
    breaks, logs = np.zeros((c, REPEATS)), np.zeros((c, REPEATS))
    chance = at_loads(readings, what.reach, "broke below") if what.reach.size else None
    states = np.arange(c)[:, None]
    for batch in range(what.counted.shape[0]):
        place = rng.integers(j, size=(c, REPEATS))
        bad = (rng.random((c, REPEATS)) < drawn.bad[:, None]).astype(int)
        if chance is not None:
            each = np.clip(chance[:, bad, states, place], 0.0, 1.0)
            breaks += rng.binomial(what.counted[batch][:, None, None], each).sum(axis=0)
        if what.until[batch]:
            logs += _readings(readings, what, batch, place, bad, rng)
    return breaks, logs / max(int(what.until.sum()), 1)


def _readings(
    readings: Readings,
    what: Expected,
    batch: int,
    place: npt.NDArray[np.int64],
    bad: npt.NDArray[np.int64],
    rng: np.random.Generator,
) -> Array:
    """Return the sum of the logs of the readings at which the rods of a batch break, (c, r)."""
    count = int(what.until[batch])
    rows, repeats = place.shape
    states = np.arange(rows)[:, None]
    centre = readings.centre[:, states, place]
    width = readings.width[:, states, place]
    low = np.full_like(centre, -np.inf)
    if what.above > 0.0:
        low = (np.log(what.above) - centre) / width
    each = readings.drawn.labels[:, bad, states, place][..., None] * readings.weight[:, 0][:, None]
    each = each * ndtr(-low)
    k, _, _, m = each.shape
    below = np.cumsum(each.transpose(1, 2, 0, 3).reshape(rows * repeats, k * m), axis=1)
    below /= np.maximum(below[:, -1:], LEAST)
    line = np.arange(rows * repeats)[:, None]
    points = line + rng.random((rows * repeats, count)) * (1.0 - ROUNDING)
    found = np.searchsorted((below + line).ravel(), points) - line * (k * m)
    label, rod = np.divmod(np.clip(found, 0, k * m - 1), m)
    row, repeat = np.divmod(line, repeats)
    at = (label, row, repeat, rod)
    tail = np.maximum(ndtr(-low[at]) * rng.random(label.shape), LEAST)
    logs = centre[at] - width[at] * ndtri(tail)
    return np.asarray(logs.sum(axis=1).reshape(rows, repeats))


def conflict_of(what: Expected, breaks: Array, logs: Array) -> Conflict:
    """Return how a log sits with those drawn from the file.

    Parameters
    ----------
    what : Expected
    breaks, logs : ndarray, (n,)
        Of logs drawn from the file.
    """
    counted = int(what.counted.sum())
    until = int(what.until.sum())
    p_breaks = _either_way(breaks, float(what.breaks)) if counted else None
    p_loads = _either_way(logs, what.middle) if until else None
    low, high = np.quantile(breaks, (0.05, 0.95), method="inverted_cdf") if counted else (0.0, 0.0)
    found = Conflict(
        found=any(p is not None and p < RARE for p in (p_breaks, p_loads)),
        breaks=what.breaks,
        counted=counted,
        breaks_expected=float(breaks.mean()) if counted else 0.0,
        breaks_p05=float(low),
        breaks_p95=float(high),
        p_breaks=p_breaks,
        p_loads=p_loads,
        loads_middle=float(np.exp(what.middle)) if until else None,
        loads_expected=float(np.exp(logs.mean())) if until else None,
        text="",
    )
    return _told(found)


def _either_way(drawn: Array, seen: float) -> float:
    """Return the chance of something at least so far off, either way (twice the less) [-]."""
    n = drawn.size + 1.0
    close = 1e-12 * max(abs(seen), 1.0)
    below = (float((drawn <= seen + close).sum()) + 1.0) / n
    above = (float((drawn >= seen - close).sum()) + 1.0) / n
    return min(2.0 * min(below, above), 1.0)


def _told(found: Conflict) -> Conflict:
    """Return the same with its sentence."""
    if not found.found:
        return found
    said = []
    if found.p_breaks is not None and found.p_breaks < RARE:
        way = "more" if found.breaks > found.breaks_expected else "fewer"
        said.append(
            f"{found.breaks} of {found.counted} parts broke, {way} than the file leads one to "
            f"expect ({found.breaks_expected:.2g} on average, {found.breaks_p05:.0f} to "
            f"{found.breaks_p95:.0f} in most logs)"
        )
    if found.p_loads is not None and found.p_loads < RARE:
        middle, known = found.loads_middle or 0.0, found.loads_expected or 0.0
        way = "higher" if middle > known else "lower"
        said.append(
            f"the parts pulled until they broke did so at about {float(f'{middle:.3g}'):,.0f} N, "
            f"{way} than the file leads one to expect (about {float(f'{known:.3g}'):,.0f} N)"
        )
    rare = min(p for p in (found.p_breaks, found.p_loads) if p is not None)
    text = "; ".join(said)
    return replace(
        found,
        text=f"{text[:1].upper()}{text[1:]}. By the file so strange a log comes "
        f"{_in(rare)}: look for what is wrong in either, the gauge, a unit, the glue, the "
        "preparation, the sizes, before these numbers are used.",
    )


def _in(chance: float) -> str:
    if chance < FAR_OFF:  # as few logs were drawn as can tell it
        return f"less than once in {1.0 / FAR_OFF:,.0f}"
    scale = 10 ** max(int(np.floor(np.log10(1.0 / chance))) - 1, 0)
    return f"about once in {round(1.0 / chance / scale) * scale:,}"
