"""Failure probability at many equally likely states of what is not known.

For each state of the unknowns the failure probability over the scatter is estimated from
its own small weighted sample, drawn near failure given that state. The states fill their
space evenly (Latin hypercube), and all the failure probabilities together are the band.

Each estimate has noise of its own, which would widen the band, and the states are few beyond
its ends. `band_ends` takes the noise out and lets each state speak for its neighbours too; where
the states are too few for that, the logs are drawn together by the share of their variance that
is noise (and the bias of the log with it).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from jointrisk.reliability.mixture import Proposal, draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.band_ends import REFERENCE, equally_likely
from jointrisk.study.judgement import target_terms, worst_year
from jointrisk.study.sample import BAND, evaluate

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.proposal import Plan
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

STATES = 320
DRAWS_PER_STATE = 96
JOINTS_ALLOWED = 2**17
LONGEST_SHIFT = 8.0
LEAST_BROUGHT = 0.002
"""Share of the failures that a pattern has brought, to be drawn from again [-]."""
EVEN = 0.5
"""Share of the draws that those patterns have evenly [-]."""
SMALLEST_LEFT = 1e-3
"""Share of sets counted as left over when a year begins, at least [-]."""


@dataclass(frozen=True, slots=True)
class Band:
    """Failure probabilities at equally likely states, each sorted, (k,) [-]; k 0: all is known."""

    life: Array
    """Of the set over its life."""
    target: Array
    """As the target counts it; the same as `life` without one."""
    life_again: Array = field(default_factory=lambda: np.empty((0, 0)))
    """The same without each group of states, for the intervals of the ends, (groups, k) [-];
    none where they were not asked for, or where the states are too few."""
    target_again: Array = field(default_factory=lambda: np.empty((0, 0)))


def band(sample: Sample, seed: int, pool: Any = None, *, again: bool = False) -> Band:
    """Return failure probabilities at equally likely states of what is not known.

    Parameters
    ----------
    sample : Sample
        The main one: its proposal serves again.
    seed : int
    pool : object with ``map``, optional
    again : bool
        True: what the intervals of the ends need is worked out too.
    """
    rods = sample.rods
    if not unknown_columns(rods).any():
        return Band(np.empty(0), np.empty(0))
    each = int(np.clip(JOINTS_ALLOWED // (STATES * rods.layout.joints), 24, DRAWS_PER_STATE))
    scores, state, weight, outcome = drawn_states(
        sample, STATES, each, block_rng(seed, BAND, 0), pool
    )
    reference = hypercube(block_rng(seed, BAND, 1), REFERENCE, scores.shape[1])

    def even(terms: Array, gone: Array | None = None) -> tuple[Array, Array]:
        chance, variance = _by_state(terms, state, each, gone)
        found = equally_likely(scores, chance, variance, reference, again=again)
        alone = np.empty((0, chance.size))
        return (np.sort(_without_noise(chance, variance)), alone) if found is None else found

    whole, whole_again = even(weight * -np.expm1(-outcome.hazard))
    target = rods.scenario.target
    if target is None:
        return Band(whole, whole, whole_again, whole_again)
    fails, gone = target_terms(sample.rods.scenario, outcome, target, worst_year(sample, target))
    own, own_again = even(weight * fails, weight * gone)
    return Band(whole, own, whole_again, own_again)


def drawn_states(
    sample: Sample, count: int, each: int, rng: np.random.Generator, pool: Any = None
) -> tuple[Array, npt.NDArray[np.intp], Array, Outcome]:
    """Draw and work out each of so many states of what is not known.

    Parameters
    ----------
    sample : Sample
        The main one: its proposal serves again.
    count, each : int
        States, and draws of each.
    rng : numpy.random.Generator
    pool : object with ``map``, optional

    Returns
    -------
    ndarray, (count, m) [-]
        Scores of the columns of `unknown_columns`.
    ndarray of int, (count * each,)
        State of each draw.
    ndarray, (count * each,) [-]
        Weights, 0 for sets that cannot be put together.
    Outcome
    """
    rods = sample.rods
    proposal = towards_failure(sample.plan, sample.component, sample.weight * sample.fails)
    given = unknown_columns(rods)
    states = hypercube(rng, count, int(given.sum()))
    fixed = np.zeros((count * each, rods.layout.dimension))
    # rows are ordered by component: each component must meet every state alike
    state = np.tile(np.arange(count), each)
    fixed[:, given] = states[state]
    scale = remaining(proposal, fixed, given)
    drawn = draw(
        proposal, fixed.shape[0], rng, rods.label_chance, scale=scale, fixed=fixed, mask=given
    )
    outcome = evaluate(
        rods, drawn.u, drawn.labels, pool, with_rig=False, with_wall=sample.wall_matters
    )
    return states, state, drawn.weight * outcome.assembles, outcome


def towards_failure(plan: Plan, component: npt.NDArray[np.intp], terms: Array) -> Proposal:
    """Return the part of a proposal that failure with no pull comes from.

    Patterns that brought next to nothing of it are left out: the few draws of each state are
    spent where they tell something.

    Parameters
    ----------
    plan : Plan
        What a sample was drawn from.
    component : ndarray of int, (n,)
        Component of each draw of it.
    terms : ndarray, (n,) [-]
        Weight times failure chance of each.
    """
    shares, pattern = plan.proposal.shares, plan.pattern
    count = int(pattern.max()) + 1
    brought = np.bincount(pattern[component], terms, minlength=count).astype(float)
    brought[0] = 0.0
    if not brought.sum() > 0.0:
        return plan.proposal
    brought = brought / brought.sum()
    used = brought >= LEAST_BROUGHT
    if not used.any():
        return plan.proposal
    wanted = np.where(used, (1.0 - EVEN) * brought + EVEN / used.sum(), 0.0)
    wanted *= (1.0 - shares[0]) / wanted.sum()
    wanted[0] = shares[0]
    kept = np.flatnonzero(wanted[pattern] > 0.0)
    each = (wanted / np.bincount(pattern))[pattern[kept]]
    widths = plan.proposal.widths
    return Proposal(
        each / each.sum(),
        plan.proposal.directions[kept],
        plan.proposal.forced[kept],
        None if widths is None else widths[kept],
    )


def at_states(
    terms: Array, state: npt.NDArray[np.intp], each: int, gone: Array | None = None
) -> Array:
    """Return the mean of each state's terms, their noise taken out, (STATES,).

    Of the sets not `gone` before, where that is given.
    """
    return _without_noise(*_by_state(terms, state, each, gone))


def _by_state(
    terms: Array, state: npt.NDArray[np.intp], each: int, gone: Array | None
) -> tuple[Array, Array]:
    """Return the mean of each state's terms and the variance of its error, (STATES,) [-]."""
    total = np.bincount(state, terms, minlength=STATES) / each
    square = np.bincount(state, terms**2, minlength=STATES) / each
    variance = np.maximum(square - total**2, 0.0) / each
    if gone is not None:
        left = 1.0 - np.bincount(state, gone, minlength=STATES) / each
        left = np.clip(left, SMALLEST_LEFT, 1.0)
        total, variance = total / left, variance / left**2
    return total, variance


def unknown_columns(rods: RodSet) -> npt.NDArray[np.bool_]:
    """Return which columns hold lack of knowledge, (d,)."""
    given = np.zeros(rods.layout.dimension, dtype=bool)
    for key, columns in rods.layout.columns.items():
        given[columns] = rods.variables[key].kind == "not known"
    return given


def hypercube(rng: np.random.Generator, count: int, dimension: int) -> Array:
    """Return normal scores that fill each coordinate evenly, (count, dimension) [-]."""
    ranks = rng.permuted(np.tile(np.arange(count), (dimension, 1)), axis=1).T
    return np.asarray(ndtri((ranks + rng.random((count, dimension))) / count))


def remaining(proposal: Proposal, fixed: Array, given: npt.NDArray[np.bool_]) -> Array:
    """Return the factor on each component's shift that is left to go from each state, (n, K).

    A component's point lies at distance ``beta`` along ``alpha``. From a state with scores
    ``v`` of the unknowns the plane through it lies ``beta - alpha_v . v`` away, along the
    part of alpha that is still free.
    """
    direction = proposal.directions
    square = np.sum(direction**2, axis=1)
    free = np.sum(direction[:, ~given] ** 2, axis=1)
    along = fixed[:, given] @ direction[:, given].T
    with np.errstate(divide="ignore", invalid="ignore"):  # components without a shift
        factor = (square - along) / free
        longest = LONGEST_SHIFT / np.sqrt(free)
    return np.where(free > 0.0, np.clip(factor, 0.0, longest), 0.0)


def _without_noise(chance: Array, variance: Array) -> Array:
    """Draw the logs together by the share of their variance that is sampling noise."""
    seen = chance > 0.0
    if seen.sum() < 2:
        return chance
    relative = np.minimum((np.sqrt(variance[seen]) / chance[seen]) ** 2, 1.0)
    logs = np.log(chance[seen]) + 0.5 * np.log1p(relative)
    noise = float(np.mean(np.log1p(relative)))
    total = float(logs.var())
    kept = np.sqrt(max(total - noise, 0.0) / total) if total > 0.0 else 1.0
    result = chance.copy()
    middle = np.median(logs)
    result[seen] = np.exp(middle + kept * (logs - middle))
    return np.minimum(result, 1.0)
