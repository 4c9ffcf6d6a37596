"""Failure at chosen states of what is not known, before and after a log.

Some of the states that were looked at are chosen again, those that fail oftener with a larger
chance, and weighed for it. The failure probability of each comes from a small weighted sample
drawn near failure. The same states serve before and after: a log that says nothing changes no
number, and the noise of both is shared.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from jointrisk.reliability.mixture import draw
from jointrisk.study.band import remaining, towards_failure
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.learn_results import Outlook
from jointrisk.study.learn_states import effective
from jointrisk.study.sample import Sample, evaluate

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.learn_rods import Space
    from jointrisk.study.learn_states import States

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]
    Ints = npt.NDArray[np.intp]

CHOSEN = 512
"""States chosen [-]."""
EACH = 96
"""Draws of each, at most [-]."""
JOINTS = 3 * 2**16
"""Joints of all draws of one sample, about [-]."""
MOST_TILT = 50.0
STEEPEST = 3.0
"""Largest length of the vector along which failing states are sought [-]."""
QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True)
class Chosen:
    """States chosen to work failure out at; K of them."""

    index: Ints
    """Among all states that were looked at, (K,)."""
    scores: Array
    """(K, s) [-]"""
    before: Array
    """Weights by the file alone, (K,) [-], of sum 1."""
    after: Array
    """Weights after the log, (K,) [-], of sum 1."""
    effective: float
    """Effective states after the log among all that were looked at [-]."""


@dataclass(frozen=True, slots=True)
class Given:
    """What is given of the rods of a sample at chosen states."""

    columns: Bools
    """Columns of scores that are given, (d,)."""
    scores: Array
    """Of those columns, (K, columns) [-]."""
    bad: Array | None = None
    """Chance that the batch is bad, (K,) [-]; None: as the file has it."""


@dataclass(frozen=True, slots=True)
class AtStates:
    """A quantity at chosen states, with the variance that its own draws give it."""

    value: Array
    """(K,) [-]"""
    variance: Array
    """(K,) [-]"""


def choose(states: States, towards: Sequence[Array], rng: np.random.Generator) -> Chosen:
    """Choose states, those oftener that fail oftener.

    Parameters
    ----------
    states : States
    towards : sequence of ndarray, (s,) [-]
        Means of the states of draws that fail, of each kind of failure asked about.
    rng : numpy.random.Generator
    """
    prior, posterior = states.prior, states.posterior
    wanted = np.zeros(prior.size)
    for weight in (prior, posterior):
        wanted += weight
        for mean in towards:
            tilt = np.exp(np.minimum(states.scores @ mean - 0.5 * mean @ mean, MOST_TILT))
            wanted += weight * tilt / max(float(weight @ tilt), np.finfo(float).tiny)
    wanted /= wanted.sum()
    points = (np.arange(CHOSEN) + rng.random()) / CHOSEN
    index = np.minimum(np.searchsorted(np.cumsum(wanted), points), wanted.size - 1)
    before, after = prior[index] / wanted[index], posterior[index] / wanted[index]
    return Chosen(
        index=index,
        scores=states.scores[index],
        before=before / before.sum(),
        after=after / after.sum(),
        effective=effective(posterior),
    )


def towards_of(sample: Sample, terms: Array, space: Space) -> Array:
    """Return the mean of the states of the draws that fail, (s,) [-].

    Parameters
    ----------
    sample : Sample
    terms : ndarray, (n,) [-]
        What each draw brings to failure.
    space : Space
    """
    columns = columns_of(space, sample.rods, ("all",))
    assert columns.size == int(space.state.sum())  # noqa: S101
    total = float(terms.sum())
    if not total > 0.0 or columns.size == 0:
        return np.zeros(columns.size)
    found = terms @ sample.draws.u[:, columns] / total
    length = float(np.linalg.norm(found))
    return np.asarray(found * min(1.0, STEEPEST / max(length, 1e-9)))


def columns_of(space: Space, rods: RodSet, scopes: tuple[str, ...]) -> Ints:
    """Return the columns of a set that are given with a state, in the order of `Space`.

    Parameters
    ----------
    space : Space
    rods : RodSet
        Any number of rods.
    scopes : tuple of str
        "all" for those of the state; with "batch" those of the first batch too.
    """
    single = space.rods.layout
    found: list[int] = []
    for scope, own in (("all", space.state), ("batch", space.batch)):
        if scope in scopes:
            for key, columns in single.columns.items():
                if single.scopes[key] == scope and own[columns].any():
                    found.append(rods.layout.columns[key].start)
    return np.array(found, dtype=np.intp)


def given_states(space: Space, rods: RodSet, chosen: Chosen) -> Given:
    """Return chosen states as given: all else of the rods is drawn anew."""
    columns = np.zeros(rods.layout.dimension, dtype=bool)
    columns[columns_of(space, rods, ("all",))] = True
    return Given(columns, chosen.scores)


def given_batch(
    space: Space, states: States, chosen: Chosen, told: int, rng: np.random.Generator
) -> tuple[Given, Ints]:
    """Return chosen states with a batch of the log as it may be after it, and which of them.

    Parameters
    ----------
    space : Space
    states : States
    chosen : Chosen
    told : int
        Place of the batch among those told.
    rng : numpy.random.Generator
    """
    logs = states.told_chance[chosen.index, told]
    weight = np.exp(logs - logs.max(axis=1, keepdims=True))
    below = np.cumsum(weight, axis=1)
    points = rng.random((chosen.index.size, 1)) * below[:, -1:]
    place = np.minimum((below < points).sum(axis=1), below.shape[1] - 1)
    columns = np.zeros(space.rods.layout.dimension, dtype=bool)
    order = columns_of(space, space.rods, ("all", "batch"))
    columns[order] = True
    scores = np.concatenate([chosen.scores, states.batch_scores[chosen.index, place]], axis=1)
    scores = scores[:, np.argsort(order)]
    return Given(columns, scores, states.told_bad[chosen.index, told, place]), place


def sample_at(
    source: Sample, terms: Array, given: Given, rng: np.random.Generator, pool: Any, *, rig: bool
) -> tuple[Sample, Ints]:
    """Draw and work out rods at chosen states, near where they fail.

    Parameters
    ----------
    source : Sample
        Its proposal serves again.
    terms : ndarray, (n,) [-]
        What each draw of it brings to failure.
    given : Given
    rng : numpy.random.Generator
    pool : object with ``map``, optional
    rig : bool
        Whether the rods will be pulled.

    Returns
    -------
    Sample
    ndarray of int, (m,)
        State of each draw.
    """
    rods, count = source.rods, given.scores.shape[0]
    each = int(np.clip(JOINTS // (count * rods.layout.joints), 24, EACH))
    state = np.tile(np.arange(count), each)
    fixed = np.zeros((state.size, rods.layout.dimension))
    fixed[:, given.columns] = given.scores[state]
    proposal = towards_failure(source.plan, source.component, terms)

    def chance(label: int, u: Array, labels: Bools) -> Array:
        if given.bad is not None and label < rods.layout.bad_batch_labels.stop:
            return given.bad[state]
        return rods.label_chance(label, u, labels)

    scale = remaining(proposal, fixed, given.columns)
    drawn = draw(proposal, state.size, rng, chance, scale=scale, fixed=fixed, mask=given.columns)
    outcome = evaluate(
        rods, drawn.u, drawn.labels, pool, with_rig=rig, with_wall=rig or source.wall_matters
    )
    made = Sample(
        rods=rods,
        plan=source.plan,
        draws=drawn,
        weight=drawn.weight * outcome.assembles,
        component=drawn.component,
        outcome=outcome,
        evaluations=state.size,
        converged=True,
        left_out=0.0,
        seed=source.seed,
    )
    return made, state


def at_states(terms: Array, state: Ints, count: int) -> AtStates:
    """Return the mean of the terms of each state with its variance.

    Parameters
    ----------
    terms : ndarray, (m,) [-]
    state : ndarray of int, (m,)
    count : int
        States.
    """
    each = state.size // count
    total = np.bincount(state, terms, minlength=count) / each
    square = np.bincount(state, terms**2, minlength=count) / each
    return AtStates(total, np.maximum(square - total**2, 0.0) / each)


def over(found: AtStates, left: Array) -> AtStates:
    """Return a quantity of those left, (K,)."""
    return AtStates(found.value / left, found.variance / left**2)


def steadied(found: AtStates, weight: Array) -> Array:
    """Draw the logs together by the share of their variance that is noise, (K,).

    Parameters
    ----------
    found : AtStates
    weight : ndarray, (K,) [-]
        Of the states, of sum 1.
    """
    chance, seen = found.value, (found.value > 0.0) & (weight > 0.0)
    if seen.sum() < 2:
        return chance
    own = weight[seen] / weight[seen].sum()
    relative = np.minimum(found.variance[seen] / chance[seen] ** 2, 1.0)
    logs = np.log(chance[seen]) + 0.5 * np.log1p(relative)
    middle = float(own @ logs)
    total = float(own @ (logs - middle) ** 2)
    noise = float(own @ np.log1p(relative))
    kept = np.sqrt(max(total - noise, 0.0) / total) if total > 0.0 else 1.0
    result = chance.copy()
    centre = quantile(logs, own, 0.5)
    result[seen] = np.exp(centre + kept * (logs - centre))
    return np.minimum(result, 1.0)


def quantile(values: Array, weight: Array, share: float) -> float:
    """Return a weighted quantile, straight between the middles of the steps."""
    order = np.argsort(values, kind="stable")
    sorted_weight = weight[order] / weight.sum()
    middle = np.cumsum(sorted_weight) - 0.5 * sorted_weight
    return float(np.interp(share, middle, values[order]))


def band_of(found: AtStates, weight: Array) -> Array:
    """Return the band of a quantity over weighted states, (3,)."""
    values = steadied(found, weight)
    return np.array([quantile(values, weight, share) for share in QUANTILES])


@dataclass(frozen=True, slots=True)
class Compared:
    """A chance after the log over one before it, both at the same states."""

    ratio: float
    """Of the means [-]."""
    error: float
    """Standard error of the log of the ratio [-]."""
    bands: tuple[Array, Array]
    """Bands before and after, (3,) each [-]."""


def compared(chosen: Chosen, before: AtStates, after: AtStates) -> Compared:
    """Return how a chance has changed; its error is infinite where nothing fails.

    Parameters
    ----------
    chosen : Chosen
    before, after : AtStates
        By the file's rods, and of the rods asked about.
    """
    first, last = float(chosen.before @ before.value), float(chosen.after @ after.value)
    bands = band_of(before, chosen.before), band_of(after, chosen.after)
    if not (first > 0.0 and last > 0.0):
        return Compared(0.0 if first > 0.0 else 1.0, np.inf, bands)
    own = chosen.after * (after.value / last - 1.0)
    shared = own - chosen.before * (before.value / first - 1.0)
    pool = float(chosen.after @ (after.value / last - 1.0) ** 2) / chosen.effective
    moved = 0.5 * float(np.abs(chosen.after - chosen.before).sum())
    error = np.sqrt((shared**2).sum() + min(moved, 1.0) * pool)
    return Compared(last / first, float(error), bands)


def sharper(change: Compared, ratio: float, error: float) -> Compared:
    """Return a change with its ratio from two ways, each the more so the smaller its error.

    Parameters
    ----------
    change : Compared
    ratio, error : float
        The ratio found another way, and the standard error of its log [-].
    """
    if not (np.isfinite(error) and ratio > 0.0):
        return change
    if not (np.isfinite(change.error) and change.ratio > 0.0):
        return replace(change, ratio=ratio, error=error)
    total = change.error**2 + error**2
    own = error**2 / total if total > 0.0 else 0.0
    log = own * np.log(change.ratio) + (1.0 - own) * np.log(ratio)
    both = change.error * error / np.sqrt(total) if total > 0.0 else 0.0
    return replace(change, ratio=float(np.exp(log)), error=float(both))


def outlook_after(known: Outlook, change: Compared) -> Outlook:
    """Return an outlook after the log from the one before it and how it changed.

    Parameters
    ----------
    known : Outlook
        Before, as `assess` tells it.
    change : Compared
    """
    z = float(ndtri(0.5 + 0.5 * CONFIDENCE))
    before = max((known.high - known.low) / (2.0 * z * max(known.estimate, 1e-300)), 0.0)
    error = z * float(np.hypot(before, min(change.error, 1.0)))
    estimate = min(known.estimate * change.ratio, 1.0)
    first, last = change.bands
    was = np.array([known.p05, known.p50, known.p95])
    known_by = np.where(first > 0.0, was / np.maximum(first, 1e-300), 1.0)
    told = np.minimum(known_by * last, 1.0)
    told = np.maximum.accumulate(told)
    return Outlook(
        estimate,
        estimate * float(np.exp(-error)),
        min(estimate * float(np.exp(error)), 1.0),
        *(float(value) for value in told),
    )
