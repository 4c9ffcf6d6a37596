"""The states of what is not known that `plan` works on, before a pull and after it.

Each state of the unknowns has a small weighted sample of its own, drawn near the failures of rods
as built and near those that the pull leaves. The failure rates of the states, which are noisy, go
through a surface (`plan_surface`); the states that tests are judged on are drawn anew from it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from jointrisk.model.ageing import slice_edges
from jointrisk.model.loads import accumulated
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import hypercube, remaining, towards_failure, unknown_columns
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.judgement import target_terms, target_value, year_value, years_looked_at
from jointrisk.study.plan_surface import FARTHEST, Surface, degrees_of, fitted, hermite
from jointrisk.study.plan_worth import GROUPS, groups_of
from jointrisk.study.sample import PLAN_TESTS, evaluate, joined_sample

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.bench import Bench, Pulled
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.intp]

FITTED, JUDGED, TRUTHS = 1024, 2048, 512
"""States that the surface is fitted to, that tests are judged on, and those of the latter that
serve as truths [-]."""
SETTLED = 32
"""Values at which one unknown is settled [-]."""
JOINTS_ALLOWED = 2**18
FEWEST_DRAWS, MOST_DRAWS = 16, 64
LARGEST_NOISE = 1.0
"""Squared relative error of one state's estimate that is counted, at most [-]."""
SMALLEST, LARGEST = 1e-300, 1.0 - 1e-9
MOST_RATE, LEAST_LOG = 20.0, -600.0
SMALLEST_LEFT = 0.05
"""Share of sets of one state counted as left over, at least [-]: it is noisy."""


@dataclass(frozen=True, slots=True)
class Board:
    """The states that every candidate is judged on, and the failure rates there."""

    keys: tuple[str, ...]
    """Of each coordinate of `scores`."""
    scores: Array
    """(K, m) [-]"""
    logs: Array
    """Log of the failure probability as the target counts it, (1 + GROUPS, K)."""
    after: tuple[Array, ...]
    """The same after each of the pulls, of sets that held."""
    surface: Surface
    group: Ints
    """What each state is left out with, (K,)."""
    truths: Ints
    """States that outcomes are simulated from, (J,)."""
    rest: Array
    """Normal score of each state's own remainder, (K,) [-]."""
    fitted: int
    evaluations: int

    @property
    def truth_group(self) -> Ints:
        """What each outcome is left out with, (J,)."""
        return self.group[self.truths]


def board_of(bench: Bench, loads: Sequence[float], seed: int, pool: Any = None) -> Board | None:
    """Draw the states and work them out; None where nothing is unknown.

    Parameters
    ----------
    bench : Bench
        Of a sample that is good before and after the pulls.
    loads : sequence of float [N]
        Pulls after which the states are worked out, too.
    seed : int
    pool : object with ``map``, optional
    """
    rods = bench.rods
    keys = names_of(rods)
    if not keys:
        return None
    each = int(np.clip(JOINTS_ALLOWED // (FITTED * rods.layout.joints), FEWEST_DRAWS, MOST_DRAWS))
    terms = bench.weight * life_chance(bench, bench.outcome)
    pulled = [pull(bench, load) for load in loads]
    for held in pulled:
        left = bench.weight * held.hold * life_chance(bench, rates_after(bench, held))
        terms = terms / max(terms.sum(), SMALLEST) + left / max(left.sum(), SMALLEST)
    scores, sample = _drawn(bench.sample, terms, each, seed, pool)
    own = bench_of(sample)
    surfaces = [_surface(own, own.unhurt, _year(bench, bench.unhurt), scores, each)]
    for load, held in zip(loads, pulled, strict=True):
        surfaces.append(_surface(own, pull(own, load), _year(bench, held), scores, each))
    judged = hypercube(block_rng(seed, PLAN_TESTS, 1), JUDGED, len(keys))
    rest = hypercube(block_rng(seed, PLAN_TESTS, 2), JUDGED, 1)[:, 0]
    logs = [logs_at(surface, judged, rest) for surface in surfaces]
    return Board(
        keys=keys,
        scores=judged,
        logs=logs[0],
        after=tuple(logs[1:]),
        surface=surfaces[0],
        group=groups_of(JUDGED),
        truths=np.arange(0, JUDGED, JUDGED // TRUTHS),
        rest=rest,
        fitted=FITTED,
        evaluations=FITTED * each,
    )


def names_of(rods: RodSet) -> tuple[str, ...]:
    """Return the key of each unknown column, in their order."""
    given = unknown_columns(rods)
    names = np.empty(given.size, dtype=object)
    for key, columns in rods.layout.columns.items():
        names[columns] = key
    return tuple(str(name) for name in names[given])


def matched_scores(rods: RodSet, board: Board) -> Array:
    """Return the states of the board as independent scores of another set, (K, d) [-].

    What is not known stands in its columns, the first copies where it has fewer of them; all other
    columns are 0.

    Parameters
    ----------
    rods : RodSet
        Of the same scenario, with fewer rods.
    board : Board
    """
    u = np.zeros((board.scores.shape[0], rods.layout.dimension))
    given = unknown_columns(rods)
    for key, columns in rods.layout.columns.items():
        if given[columns].any():
            first = board.keys.index(key)
            count = columns.stop - columns.start
            u[:, columns] = board.scores[:, first : first + count]
    return u


def logs_at(surface: Surface, scores: Array, rest: Array) -> Array:
    """Return the logs of failure probabilities at states, their own remainder added, (G, k)."""
    rate = surface.at(scores) + np.sqrt(surface.rest)[:, None] * rest - surface.rest[:, None] / 2.0
    return np.asarray(np.log(-np.expm1(-np.exp(np.clip(rate, LEAST_LOG, np.log(MOST_RATE))))))


def settled_logs(board: Board, place: int) -> Array:
    """Return the logs of failure probabilities with one unknown settled at each of many values.

    Parameters
    ----------
    board : Board
    place : int
        Of the unknown among the coordinates.

    Returns
    -------
    ndarray, (1 + GROUPS, SETTLED, K)
    """
    levels = ndtri((np.arange(SETTLED) + 0.5) / SETTLED)
    scores = np.clip(board.scores, -FARTHEST, FARTHEST)
    surface, m = board.surface, board.scores.shape[1]
    degrees = np.arange(1, 1 + degrees_of(m))
    mixed = np.zeros((1 + GROUPS, m, m))
    mixed[:, surface.pairs[:, 0], surface.pairs[:, 1]] = surface.weights[:, 1 + degrees.size * m :]
    slope = np.einsum("gj,kj->gk", mixed[:, place] + mixed[:, :, place], scores)
    curve = surface.weights[:, 1 + (degrees - 1) * m + place]
    before, after = (
        np.stack([hermite(z, degree) for degree in degrees.tolist()], axis=1) @ curve.T
        for z in (scores[:, place], levels)
    )
    moved = after.T[:, :, None] - before.T[:, None, :]
    moved += (levels[:, None] - scores[:, place]) * slope[:, None, :]
    rate = -np.log1p(-np.exp(board.logs[:, None])) * np.exp(moved)
    return np.asarray(np.log(-np.expm1(-np.clip(rate, SMALLEST, MOST_RATE))))


def calibrated(logs: Array, weight: Array, value: float) -> Array:
    """Return logs of failure probabilities with the mean that the main sample gives.

    The rates of every replicate are multiplied by one factor.

    Parameters
    ----------
    logs : ndarray, (1 + GROUPS, K) [-]
    weight : ndarray, (K,) [-]
        Of the states.
    value : float [-]
    """
    chance = np.exp(logs)
    mean = chance @ (weight / weight.sum())
    if not (value > 0.0 and np.all(mean > 0.0)):
        return logs
    factor = np.log1p(-min(value, LARGEST)) / np.log1p(-np.minimum(mean, LARGEST))
    rate = -np.log1p(-np.minimum(chance, LARGEST)) * factor[:, None]
    return np.asarray(np.log(-np.expm1(-np.clip(rate, SMALLEST, MOST_RATE))))


def _drawn(sample: Sample, terms: Array, each: int, seed: int, pool: Any) -> tuple[Array, Sample]:
    """Draw each state's own rods where the terms come from; with the rig."""
    rods, rng = sample.rods, block_rng(seed, PLAN_TESTS, 0)
    proposal = towards_failure(sample.plan, sample.component, terms)
    given = unknown_columns(rods)
    states = hypercube(rng, FITTED, int(given.sum()))
    fixed = np.zeros((FITTED * each, rods.layout.dimension))
    fixed[:, given] = states[np.tile(np.arange(FITTED), each)]
    scale = remaining(proposal, fixed, given)
    drawn = draw(
        proposal, fixed.shape[0], rng, rods.label_chance, scale=scale, fixed=fixed, mask=given
    )
    outcome = evaluate(rods, drawn.u, drawn.labels, pool)
    return states, joined_sample(rods, sample.plan, seed, [drawn], [outcome], 0, converged=True)


def _year(bench: Bench, pulled: Pulled) -> int:
    """Return the worst year of sets that held, as the target counts it, 0 for the first."""
    scenario, target = bench.scenario, bench.scenario.target
    if target is None or target.period == "life":
        return 0
    years = years_looked_at(slice_edges(scenario))
    rates, weight = rates_after(bench, pulled), bench.weight * pulled.hold
    values = [year_value(scenario, rates, target, weight, year) for year in years]
    return years[int(np.argmax(values))]


def _surface(bench: Bench, pulled: Pulled, year: int, scores: Array, each: int) -> Surface:
    """Fit the log of the failure rate of sets that held a pull at each state."""
    fails, gone = _terms(bench, pulled, year)
    weight = bench.weight * pulled.hold
    lost = bench.weight * (1.0 - pulled.hold * (1.0 - gone))
    chance, variance = _of_those_left(weight * fails, lost, each)
    chance = np.minimum(chance, LARGEST)
    rate = -np.log1p(-chance)
    return fitted(scores, rate, variance / (1.0 - chance) ** 2, groups_of(FITTED))


def _terms(bench: Bench, pulled: Pulled, year: int) -> tuple[Array, Array]:
    """Return each draw's chance to fail as the target counts it, and to be gone before, (n,)."""
    scenario, rates = bench.scenario, rates_after(bench, pulled)
    if scenario.target is None:
        fails = life_chance(bench, rates)
        return fails, np.zeros_like(fails)
    spans = np.diff(slice_edges(scenario))
    outcome: Outcome = replace(
        bench.outcome,
        rate=rates.rate,
        rod_rate=rates.rod_rate,
        hazard=accumulated(rates.rate, spans),
        rod_hazard=accumulated(rates.rod_rate, spans),
    )
    return target_terms(scenario, outcome, scenario.target, year)


def _of_those_left(fails: Array, lost: Array, each: int) -> tuple[Array, Array]:
    """Return each state's chance to fail, of sets not lost before, and its variance, (FITTED,)."""
    state = np.tile(np.arange(FITTED), each)
    top = np.bincount(state, fails, minlength=FITTED) / each
    square = np.bincount(state, fails**2, minlength=FITTED) / each
    left = 1.0 - np.bincount(state, lost, minlength=FITTED) / each
    left = np.clip(left, SMALLEST_LEFT, 1.0)
    return top / left, np.maximum(square - top**2, 0.0) / each / left**2


def as_target(bench: Bench, pulled: Pulled) -> float:
    """Return failure of sets that held as the target counts it, else over the life [-]."""
    weight = bench.weight * pulled.hold
    rates = rates_after(bench, pulled)
    if bench.scenario.target is None:
        return float((weight * life_chance(bench, rates)).sum() / weight.sum())
    return target_value(bench.scenario, rates, bench.scenario.target, weight)
