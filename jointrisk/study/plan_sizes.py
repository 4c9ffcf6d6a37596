"""What measuring the rods at hand brings: a rod's own gap or overlap in place of their spread.

It tells nothing of what is not known; it tells one rod from another. The failure rate of one rod is
a surface of what is not known and of its own sizes; that of a set is the mean of its rods, with the
factor that gives the failure probability of rods as they come. The reading is taken as exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.rodset import rod_set
from jointrisk.reliability.mixture import draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import hypercube, remaining, towards_failure, unknown_columns
from jointrisk.study.plan_states import LEAST_LOG, MOST_RATE, matched_scores
from jointrisk.study.plan_surface import FARTHEST, basis, degrees_of, fitted
from jointrisk.study.plan_worth import GROUPS
from jointrisk.study.sample import PLAN_TESTS, evaluate, weighted_sample

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario
    from jointrisk.study.plan_states import Board
    from jointrisk.study.plan_surface import Surface

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

FITTED, EACH = 1024, 48
OUTCOMES, KEPT = 64, 1024
"""Sets of measured rods, and states of the board that they are judged on [-]."""
ROUGH = 0.5
"""Wanted coefficient of variation of the sample of which only the proposal serves [-]."""
STEPS = 12
"""Rounds in which the factor on the rates is found [-]."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """The surface of one rod over what is not known and over its sizes."""

    surface: Surface
    unknown: Bools
    """Which coordinates of the surface are not known; the others are sizes, (m,)."""
    size_keys: tuple[str, ...]
    """Of the coordinates that are sizes."""
    evaluations: int

    def measured(self, keys: tuple[str, ...]) -> Bools:
        """Return which coordinates belong to the keys, (m,)."""
        found = np.zeros(self.unknown.size, dtype=bool)
        found[~self.unknown] = [key in keys for key in self.size_keys]
        return found


def size_keys(scenario: Scenario) -> dict[str, tuple[str, ...]]:
    """Return the keys of what a measurement of each kind settles."""
    overlap = f"{scenario.end}.overlap"
    return {"gap": scenario.fit, "overlap": (overlap, f"second_{overlap}")}


def sizes_of(scenario: Scenario, seed: int, pool: Any = None) -> Sizes | None:
    """Fit one rod's failure rate over what is not known and its sizes; None where none varies."""
    single = replace(scenario, rods=1, rods_per_batch=1)
    rods = rod_set(single)
    given = unknown_columns(rods)
    own = np.zeros_like(given)
    names = np.empty(given.size, dtype=object)
    asked = [key for keys in size_keys(scenario).values() for key in keys]
    for key, columns in rods.layout.columns.items():
        names[columns] = key
        if key in asked and rods.layout.scopes[key] in ("joint", "rod", "first end", "second end"):
            own[columns] = ~given[columns]
    if not own.any():
        return None
    sample = weighted_sample(single, seed, pool, ROUGH)
    rng = block_rng(seed, PLAN_TESTS, 7)
    proposal = towards_failure(sample.plan, sample.component, sample.weight * sample.fails)
    mask = given | own
    states = hypercube(rng, FITTED, int(mask.sum()))
    fixed = np.zeros((FITTED * EACH, rods.layout.dimension))
    fixed[:, mask] = states[np.tile(np.arange(FITTED), EACH)]
    drawn = draw(
        proposal,
        fixed.shape[0],
        rng,
        rods.label_chance,
        scale=remaining(proposal, fixed, mask),
        fixed=fixed,
        mask=mask,
    )
    outcome = evaluate(rods, drawn.u, drawn.labels, pool, with_rig=False)
    rate, variance = _rates(drawn.weight * outcome.assembles, outcome.hazard)
    keys = tuple(str(name) for name in names[own])
    return Sizes(fitted(states, rate, variance), given[mask], keys, FITTED * EACH)


def _rates(weight: Array, hazard: Array) -> tuple[Array, Array]:
    """Return the failure probability at each state and the variance of its error, (FITTED,)."""
    state = np.tile(np.arange(FITTED), EACH)
    terms = weight * -np.expm1(-hazard)
    mean = np.bincount(state, terms, minlength=FITTED) / EACH
    square = np.bincount(state, terms**2, minlength=FITTED) / EACH
    return mean, np.maximum(square - mean**2, 0.0) / EACH


def measured_logs(
    sizes: Sizes, board: Board, kind: str, scenario: Scenario, seed: int
) -> tuple[Array, npt.NDArray[np.intp]]:
    """Return failure of sets with measured rods at states, and which states of the board these are.

    What is not measured stays in its middle; the mean over sets and states is that of the board.

    Returns
    -------
    ndarray, (1 + GROUPS, J, k)
        Logs of failure probabilities.
    ndarray of int, (k,)
    """
    rng, rods = block_rng(seed, PLAN_TESTS, 8), scenario.rods
    kept = np.arange(0, board.scores.shape[0], board.scores.shape[0] // KEPT)
    single = rod_set(replace(scenario, rods=1, rods_per_batch=1))
    scores = matched_scores(single, board)[kept][:, unknown_columns(single)]
    own = hypercube(rng, OUTCOMES * rods, int((~sizes.unknown).sum()))
    at = _rate_of(sizes, scores, own, sizes.measured(size_keys(scenario)[kind]))
    logs = np.empty((1 + GROUPS, OUTCOMES, kept.size))
    for number in range(1 + GROUPS):
        rate = np.exp(np.clip(at(number), LEAST_LOG, np.log(MOST_RATE)))
        logs[number] = np.log(rate.reshape(OUTCOMES, rods, -1).mean(axis=1))
    mean = np.exp(board.logs[:, kept]).mean(axis=1)
    return _with_mean(logs, mean), kept


def _with_mean(logs: Array, mean: Array) -> Array:
    """Return the logs of failure probabilities of rates times one factor for each replicate.

    The factor is that with which the mean failure probability is the one wanted.

    Parameters
    ----------
    logs : ndarray, (1 + GROUPS, J, k)
        Of the rates.
    mean : ndarray, (1 + GROUPS,) [-]
    """
    shift = np.zeros((logs.shape[0], 1, 1))
    for _ in range(STEPS):
        found = -np.expm1(-np.exp(np.minimum(logs + shift, np.log(MOST_RATE))))
        shift += np.log(mean / found.mean(axis=(1, 2)))[:, None, None]
    rate = np.exp(np.clip(logs + shift, LEAST_LOG, np.log(MOST_RATE)))
    return np.asarray(np.log(-np.expm1(-rate)))


def _rate_of(sizes: Sizes, scores: Array, own: Array, measured: Bools) -> Callable[[int], Array]:
    """Return logs of failure rates of rods with sizes `own` at states, (x, k), by replicate."""
    surface, m = sizes.surface, sizes.unknown.size
    x = np.zeros((own.shape[0], m))
    x[:, ~sizes.unknown] = own
    x[:, ~measured] = 0.0
    z = np.zeros((scores.shape[0], m))
    z[:, sizes.unknown] = np.clip(scores, -FARTHEST, FARTHEST)
    of_sizes = basis(x, surface.pairs) - basis(np.zeros((1, m)), surface.pairs)
    of_states = basis(z, surface.pairs)
    products = 1 + degrees_of(m) * m

    def at(number: int) -> Array:
        weights = surface.weights[number]
        mixed = np.zeros((m, m))
        mixed[surface.pairs[:, 0], surface.pairs[:, 1]] = weights[products:]
        crossed = np.clip(x, -FARTHEST, FARTHEST) @ (mixed + mixed.T) @ z.T
        return np.asarray((of_sizes @ weights)[:, None] + of_states @ weights + crossed)

    return at
