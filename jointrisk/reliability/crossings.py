"""Where margins change sign along many lines at once, and how much of a line fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

__all__ = ["Crossings", "crossings", "normal_measure", "normal_slack"]

Array = npt.NDArray[np.float64]
Rows = npt.NDArray[np.bool_]
Along = Callable[[npt.NDArray[np.intp], Array], Array]

_INNER, _MANY = 8, 24
"""Places looked at beside the two ends, the guess and one just beyond it."""
_TOLERANCE = 0.005
"""Distance from the root, times max(1, |t|), at which a last secant step is enough [-]."""
_SHORTEST = 1e-3
"""The same for a bracket that is halved because the margin has no slope [-]."""
_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Crossings:
    """What was seen on n lines in m places each."""

    t: Array
    """Places, (n, m), rising [-]."""
    fails: Rows
    """(n, m)."""
    undefined: Rows
    """Where the margin is NaN, (n, m)."""
    root: Array
    """Root between a place and the next, (n, m - 1); NaN where the sign stays."""
    slack: Array
    """How far each root may be out, (n, m - 1); 0 where there is none [-]."""
    winding: bool
    """A line looked at everywhere crosses more than once."""

    @property
    def single_root(self) -> Array:
        """Roots of the lines that have just one."""
        count = np.isfinite(self.root).sum(axis=1)
        only = self.root[count == 1]
        return np.asarray(only[np.isfinite(only)])


def crossings(
    along: Along,
    start: Array,
    stop: Array,
    guess: float,
    full: Rows,
    shift: Array,
    *,
    winding: bool = False,
) -> Crossings:
    """Find all sign changes that a coarse look along each line shows.

    Parameters
    ----------
    along : callable
        Line number (k,) and place (k,) to margins (k,); a NaN counts as failure.
    start, stop : ndarray, (n,) [-]
        First and last place of each line, start < stop.
    guess : float [-]
        Where a root is likely; moved inside each line.
    full : ndarray of bool, (n,)
        Lines looked at in twelve places. Others get three, unless these are not
        "holds first, fails last".
    shift : ndarray, (n,) [-]
        Between 0 and 1: where in each gap the inner places lie. At random, so that a
        short stretch is not missed on every line.
    winding : bool
        Look in 28 places instead of twelve.

    Returns
    -------
    Crossings
    """
    n, width = start.size, stop - start
    middle = np.clip(guess, start + 0.05 * width, stop - 0.05 * width)
    t = np.column_stack([start, middle, stop])
    rows = np.arange(n)
    g = along(np.repeat(rows, 3), t.ravel()).reshape(n, 3)
    plain = (g[:, 0] >= 0) & ~(g[:, 2] >= 0)
    more = np.flatnonzero(full | ~plain)
    count = _MANY if winding else _INNER
    inner = np.repeat(stop[:, None], count + 1, axis=1)
    values = np.repeat(g[:, 2:], count + 1, axis=1)
    if more.size:
        steps = (np.arange(count) + shift[more, None]) / count
        # Most of the failing chance lies within 1/t beyond the root.
        beyond = middle[more] + 0.2 * (1.0 / np.maximum(1.0, np.abs(middle[more])))
        beyond = np.minimum(beyond, 0.5 * (middle[more] + stop[more]))
        inner[more] = np.column_stack([start[more, None] + steps * width[more, None], beyond])
        asked = np.repeat(more, count + 1)
        values[more] = along(asked, inner[more].ravel()).reshape(-1, count + 1)
    t, g = np.hstack([t, inner]), np.hstack([g, values])
    order = np.argsort(t, axis=1, kind="stable")
    t, g = np.take_along_axis(t, order, axis=1), np.take_along_axis(g, order, axis=1)
    fails = ~(g >= 0)
    change = fails[:, 1:] != fails[:, :-1]
    root, slack = np.full(change.shape, np.nan), np.zeros(change.shape)
    row, at = np.nonzero(change)
    if row.size:
        root[row, at], slack[row, at] = _roots(along, row, t, g, at)
    winds = bool(np.any(change.sum(axis=1) > 1))
    return Crossings(t, fails, np.isnan(g), root, slack, winds)


def _roots(
    along: Along, row: npt.NDArray[np.intp], t: Array, g: Array, at: npt.NDArray[np.intp]
) -> tuple[Array, Array]:
    """Refine bracketed roots together: false position, Illinois rule, halving on a step.

    A bracket is left when its better end is near the root by the gentler of the slopes on
    both sides of that end; one long secant alone would call a root near too soon. With
    each root comes how far it may be out.
    """
    last = t.shape[1] - 1
    a, ga, b, gb = t[row, at], _failing(g[row, at]), t[row, at + 1], _failing(g[row, at + 1])
    before, after = np.maximum(at - 1, 0), np.minimum(at + 2, last)
    oa, goa = np.where(at > 0, t[row, before], np.nan), _failing(g[row, before])
    ob, gob = np.where(at + 2 <= last, t[row, after], np.nan), _failing(g[row, after])
    state = np.array([a, ga, b, gb, oa, goa, ob, gob, ga, gb])  # the last two are weights
    side = np.zeros(row.size, dtype=np.intp)
    root, slack, left = np.empty(row.size), np.empty(row.size), np.arange(row.size)
    for turn in range(_ROUNDS):
        near, place, out = _near(state[:8, left])
        near |= turn == _ROUNDS - 1
        root[left[near]], slack[left[near]] = place[near], out[near]
        left = left[~near]
        if not left.size:
            break
        trial = _trial(state[:, left])
        value = _failing(along(row[left], trial))
        _narrow(state, side, left, trial, value)
    return root, slack


def _failing(g: Array) -> Array:
    """Margins with NaN as the deepest failure."""
    return np.asarray(np.where(np.isnan(g), -np.inf, g))


def _near(state: Array) -> tuple[Rows, Array, Array]:
    """Whether each bracket is good enough, the root it gives and how far that may be out."""
    a, ga, b, gb, oa, goa, ob, gob = state
    with np.errstate(invalid="ignore", divide="ignore"):  # infinite margins: halved instead
        slope = (gb - ga) / (b - a)
        place = np.where(np.abs(ga) < np.abs(gb), a - ga / slope, b - gb / slope)
        before, after = (ga - goa) / (a - oa), (gob - gb) / (ob - b)
        one, other = _gentler(slope, before), _gentler(slope, after)
        error = np.minimum(np.abs(ga) / one, np.abs(gb) / other)
        # What a straight line leaves out: the bend, by the second divided difference.
        bend = np.fmax(
            np.abs(slope - before) / (one * (b - oa)), np.abs(after - slope) / (other * (ob - a))
        )
        bent = bend * (place - a) * (b - place)
    # A slope over a long way says little of the place, so less of an error is let pass.
    gap = np.fmin(b - a, np.where(np.abs(ga) < np.abs(gb), a - oa, ob - b))
    smooth = np.isfinite(place) & np.isfinite(slope)
    place = np.where(smooth, np.clip(place, a, b), 0.5 * (a + b))
    scale = np.maximum(1.0, np.abs(place))
    short = b - a <= _SHORTEST / scale
    allowed = _TOLERANCE * np.minimum(1.0, 0.05 / np.maximum(gap, 1e-9)) / scale
    near = smooth & (error <= allowed)
    out = np.where(near, np.fmin(error, bent), np.maximum(place - a, b - place))
    return near | short, place, out


def _gentler(inner: Array, outer: Array) -> Array:
    """Smaller of two slopes of one sign; 0 where they differ in sign or one is unknown."""
    alike = np.isfinite(outer) & (np.sign(inner) == np.sign(outer))
    return np.where(alike, np.minimum(np.abs(inner), np.abs(outer)), 0.0)


def _trial(state: Array) -> Array:
    """Next place to look at, inside the bracket."""
    a, b, wa, wb = state[0], state[2], state[8], state[9]
    with np.errstate(invalid="ignore", divide="ignore"):  # infinite margins: halved instead
        place = a - wa * (b - a) / (wb - wa)
    edge = 1e-3 * (b - a)
    middle = 0.5 * (a + b)
    usable = np.isfinite(place) & np.isfinite(wa) & np.isfinite(wb)
    inside = np.clip(np.where(usable, place, middle), a + edge, b - edge)
    return np.asarray(np.where(usable, inside, middle))


def _narrow(
    state: Array, side: npt.NDArray[np.intp], left: npt.NDArray[np.intp], trial: Array, value: Array
) -> None:
    """Put the trial in place of the end on its side; halve the weight of an end kept twice."""
    first = (value >= 0) == (state[1, left] >= 0)
    for take, end, outer, weight, other in (
        (left[first], 0, 4, 8, 9),
        (left[~first], 2, 6, 9, 8),
    ):
        chosen = first if end == 0 else ~first
        state[outer : outer + 2, take] = state[end : end + 2, take]
        state[end, take], state[end + 1, take] = trial[chosen], value[chosen]
        state[weight, take] = value[chosen]
        mark = 1 if end == 0 else -1
        state[other, take] *= np.where(side[take] == mark, 0.5, 1.0)
        side[take] = mark


def normal_measure(found: Crossings, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """Give the standard normal chance of the failing stretches of each line between two ends.

    Before the first and beyond the last place the margin is taken to stay as it is there.

    Parameters
    ----------
    found : Crossings
    low, high : ndarray, (n,) [-]
        Ends of the part that counts; may be infinite.

    Returns
    -------
    tuple of ndarray, (n,) [-]
        Chance of failing, of holding, and of the failing stretches next to a NaN.
    """
    edge = np.clip(found.t, low[:, None], high[:, None])
    edge[:, 0], edge[:, -1] = low, high
    left, right = edge[:, :-1], edge[:, 1:]
    starts, ends = found.fails[:, :-1], found.fails[:, 1:]
    cut = np.where(np.isnan(found.root), right, np.clip(found.root, left, right))
    first, second = _between(left, cut), _between(cut, right)
    fails = np.where(starts, first, 0.0) + np.where(ends, second, 0.0)
    holds = np.where(starts, 0.0, first) + np.where(ends, 0.0, second)
    beside = found.undefined[:, :-1] | found.undefined[:, 1:]
    return fails.sum(axis=1), holds.sum(axis=1), np.where(beside, fails, 0.0).sum(axis=1)


def normal_slack(found: Crossings, low: Array, high: Array) -> Array:
    """Give how far the chance of each line may be out, since its roots are.

    Parameters
    ----------
    found : Crossings
    low, high : ndarray, (n,) [-]
        Ends of the part that counts; may be infinite.

    Returns
    -------
    ndarray, (n,) [-]
        Sum over the roots inside: density times what the root may be out.
    """
    inside = (found.root > low[:, None]) & (found.root < high[:, None])
    root = np.where(inside, found.root, 0.0)
    density = np.exp(-0.5 * root**2) / np.sqrt(2.0 * np.pi)
    return np.asarray(np.where(inside, density * found.slack, 0.0).sum(axis=1))


def _between(a: Array, b: Array) -> Array:
    """Give the standard normal chance between a and b, exact in either tail."""
    flip = a > 0
    chance = np.where(flip, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    return np.asarray(np.maximum(chance, 0.0))
