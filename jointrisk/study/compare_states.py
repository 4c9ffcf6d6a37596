"""All options at the same states of what is not known.

A state settles every unknown of every option: the model factor and whatever else is the same
thing for several options has one value for all of them. An unknown of which two options know
something different (the strength of two glues) is a different thing, and is settled apart.

Within a state each option has its own small weighted sample, all from the same random numbers:
what the options have in common drops out of the question which of them fails less often there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtr

from jointrisk.reliability.interval import clopper_pearson
from jointrisk.reliability.mixture import Draw, Proposal, draw
from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import (
    DRAWS_PER_STATE,
    JOINTS_ALLOWED,
    STATES,
    Band,
    at_states,
    hypercube,
    remaining,
    towards_failure,
)
from jointrisk.study.common import column_names
from jointrisk.study.judgement import CONFIDENCE, target_terms, worst_year
from jointrisk.study.sample import COMMON, evaluate

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.common import Common
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]
    Unknown = tuple[str, str, int, str]

FIRST_BLOCK = 2**20
"""Number of the random block of the states: beyond those of the draws."""
FEWEST_DRAWS = 24
FARTHEST = np.log(1e6)
"""Largest log of a ratio of two options at one state that is told [-]."""
Z = 1.959964
"""Two-sided 95 % score of the normal law [-]."""


@dataclass(frozen=True, slots=True)
class States:
    """The states of all options; empty bands where all is known."""

    bands: tuple[Band, ...]
    terms: tuple[Array, ...]
    """Weight times chance of failure of each draw, (n,) [-]; none where all is known."""
    state: npt.NDArray[np.intp]
    """State of each draw, (n,)."""
    known: tuple[bool, ...]
    """Options with nothing that is not known."""


@dataclass(frozen=True, slots=True)
class Share:
    """Share of the states at which one option fails less often than another [-]."""

    estimate: float
    low: float
    high: float


def states_of(common: Common, samples: Sequence[Sample], pool: Any = None) -> States | None:
    """Work out every option at the same states; None where nothing is unknown in any.

    Parameters
    ----------
    common : Common
    samples : sequence of Sample
        Of all options, made by `common`.
    pool : object with ``map``, optional
    """
    named = [_unknowns(common, sample.rods) for sample in samples]
    places = {name: i for i, name in enumerate(dict.fromkeys(n for own in named for n in own))}
    if not places:
        return None
    scores = hypercube(block_rng(common.seed, COMMON, FIRST_BLOCK), STATES, len(places))
    joints = max(sample.rods.layout.joints for sample in samples)
    each = int(np.clip(JOINTS_ALLOWED // (STATES * joints), FEWEST_DRAWS, DRAWS_PER_STATE))
    state = np.tile(np.arange(STATES), each)
    proposal = _proposal(common, samples)
    bands, terms = [], []
    for sample, own in zip(samples, named, strict=True):
        fixed = np.zeros((state.size, len(common.union.columns)))
        for name, column in own.items():
            fixed[:, column] = scores[state, places[name]]
        found = _at_states(common, sample, proposal, fixed, list(own.values()), pool)
        terms.append(found[0])
        bands.append(_band(found, state, each) if own else Band(np.empty(0), np.empty(0)))
    return States(tuple(bands), tuple(terms), state, tuple(not own for own in named))


def better(states: States, first: int, second: int) -> Share:
    """Return the share of the states at which `first` fails less often than `second`.

    A state at which both fail alike counts half. Noise of the small samples is taken out of the
    logs of the ratios as it is out of the band, and the interval holds what is left of it.
    """
    a, b = states.terms[first], states.terms[second]
    if np.array_equal(a, b):
        return Share(0.5, 0.5, 0.5)
    count = STATES
    total_a, total_b = (_by_state(x, states.state) for x in (a, b))
    some = (total_a > 0.0) & (total_b > 0.0)
    half = 0.5 * float(((total_a == 0.0) & (total_b == 0.0)).sum())
    clear = float(((total_a == 0.0) & (total_b > 0.0)).sum())
    logs = np.clip(np.log(total_a[some] / total_b[some]), -FARTHEST, FARTHEST)
    noise = _noise(a, b, total_a, total_b, states.state)[some]
    middle, lowest, highest = (
        min((half + clear + below) / count, 1.0) for below in _counted_below(logs, noise)
    )
    return Share(
        middle,
        min(middle, clopper_pearson(int(np.floor(lowest * count)), count, CONFIDENCE)[0]),
        max(middle, clopper_pearson(int(np.ceil(highest * count)), count, CONFIDENCE)[1]),
    )


def _unknowns(common: Common, rods: RodSet) -> dict[Unknown, int]:
    """Return each unknown of an option, told apart by what is known of it, and its column."""
    names, columns = column_names(rods), common.union.columns_of(rods)
    found: dict[Unknown, int] = {}
    for key, own in rods.layout.columns.items():
        if rods.variables[key].kind == "not known":
            law = repr(rods.variables[key].spread)
            found |= {(*names[at], law): int(columns[at]) for at in range(own.start, own.stop)}
    return found


def _proposal(common: Common, samples: Sequence[Sample]) -> Proposal:
    """Return the part of the common proposal that the options' failures come from, each alike."""
    brought = [sample.weight * sample.fails for sample in samples]
    totals = [max(float(each.sum()), np.finfo(float).tiny) for each in brought]
    terms = np.sum([each / total for each, total in zip(brought, totals, strict=True)], axis=0)
    return towards_failure(common.plan, samples[0].component, terms)


def _at_states(
    common: Common,
    sample: Sample,
    proposal: Proposal,
    fixed: Array,
    settled: list[int],
    pool: Any,
) -> tuple[Array, Array | None, Array | None]:
    """Return each draw's weighted chance to fail, as the target counts it, and to be gone."""
    rods = sample.rods
    columns, labels = common.union.columns_of(rods), common.union.labels_of(rods)
    drawn = _drawn(common, rods, proposal, fixed, settled)
    outcome = evaluate(
        rods,
        np.ascontiguousarray(drawn.u[:, columns]),
        drawn.labels[:, labels],
        pool,
        with_rig=False,
        with_wall=sample.wall_matters,
    )
    weight = drawn.weight * outcome.assembles
    whole = weight * -np.expm1(-outcome.hazard)
    target = rods.scenario.target
    if target is None:
        return whole, None, None
    fails, gone = target_terms(rods.scenario, outcome, target, worst_year(sample, target))
    return whole, weight * fails, weight * gone


def _drawn(
    common: Common, rods: RodSet, proposal: Proposal, fixed: Array, settled: list[int]
) -> Draw:
    """Draw one option at its states, in the columns of all options: others' stand at nought."""
    columns, places = common.union.columns_of(rods), common.union.labels_of(rods)
    proposal = _only(proposal, columns, places)
    given = np.ones(proposal.directions.shape[1], dtype=bool)
    given[columns] = False
    given[settled] = True
    own = {int(place): label for label, place in enumerate(places)}

    def chance(label: int, u: Array, labels: Bools) -> Array:
        if label not in own:
            return np.zeros(u.shape[0])
        return rods.label_chance(own[label], u[:, columns], labels[:, places[: own[label]]])

    scale = remaining(proposal, fixed, given)
    rng = block_rng(common.seed, COMMON, FIRST_BLOCK + 1)
    return draw(proposal, fixed.shape[0], rng, chance, scale=scale, fixed=fixed, mask=given)


def _only(
    proposal: Proposal, columns: npt.NDArray[np.intp], places: npt.NDArray[np.intp]
) -> Proposal:
    """Return a proposal that leaves alone what an option does not have."""
    directions = np.zeros_like(proposal.directions)
    directions[:, columns] = proposal.directions[:, columns]
    forced = np.full_like(proposal.forced, np.nan)
    forced[:, places] = proposal.forced[:, places]
    return Proposal(proposal.shares, directions, forced)


def _band(
    found: tuple[Array, Array | None, Array | None], state: npt.NDArray[np.intp], each: int
) -> Band:
    whole = np.sort(at_states(found[0], state, each))
    if found[1] is None:
        return Band(whole, whole)
    return Band(whole, np.sort(at_states(found[1], state, each, found[2])))


def _noise(
    a: Array, b: Array, total_a: Array, total_b: Array, state: npt.NDArray[np.intp]
) -> Array:
    """Return the sampling variance of the log of the ratio at each state, (STATES,) [-]."""
    some = (total_a > 0.0) & (total_b > 0.0)
    over_a, over_b = (np.where(some, x, 1.0)[state] for x in (total_a, total_b))
    residual = np.where(some[state], a / over_a - b / over_b, 0.0)
    return _by_state(residual**2, state)


def _by_state(terms: Array, state: npt.NDArray[np.intp]) -> Array:
    """Return the sum of each state's terms, (STATES,)."""
    return np.asarray(np.bincount(state, terms, minlength=STATES), dtype=float)


def _counted_below(logs: Array, noise: Array) -> tuple[float, float, float]:
    """Count the logs below nought, their noise taken out: about, at least, at most.

    They are drawn together by the share of their variance that is noise. The interval is over
    the errors of that share and of the median about which they are drawn.
    """
    if logs.size < 2 or float(logs.var()) == 0.0:
        found = _below(logs, 0.0)
        return found, found, found
    total, middle, noisy = float(logs.var()), float(np.median(logs)), float(noise.mean())
    error = float(np.sqrt(0.5 * np.pi * noisy / logs.size))
    off = Z * np.sqrt(2.0 / logs.size)
    drawn = [
        middle + np.sqrt(max(total * factor - noisy, 0.0) / total) * (logs - middle)
        for factor in (1.0, 1.0 - off, 1.0 + off)
    ]
    ends = [_below(own + step * error, 0.0) for own in drawn for step in (-Z, Z)]
    return _below(drawn[0], error), min(ends), max(ends)


def _below(logs: Array, error: float) -> float:
    """Count the logs below nought, smoothed by an error that all of them share."""
    if error == 0.0:
        return float((logs < 0.0).sum()) + 0.5 * float((logs == 0.0).sum())
    return float(ndtr(-logs / error).sum())
