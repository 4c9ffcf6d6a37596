"""What is not known, kept apart from what scatters: what it would bring to settle an unknown.

The failure probability over the scatter is estimated at many states of the unknowns (see
`band`). The log of it is written as a constant, a curve of each unknown and a product of each
two,

    ln p(z) = c + sum_i f_i(z_i) + sum_ij b_ij z_i z_j + rest,

z the normal scores of the unknowns, f_i of the Hermite polynomials of degree 1 to 3, which have
variance 1 and are independent of each other. So squares of coefficients are parts of the
variance of ln p: the basis is that of a polynomial chaos expansion (Sudret 2008, "Global
sensitivity analysis using polynomial chaos expansions", Reliability Engineering & System
Safety 93, from memory), fitted by least squares. The noise of each state's estimate is known
and taken out; what the fit leaves is told as unexplained.

Intervals come from leaving out one of 32 groups of states at a time (jackknife; Tukey 1958,
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.reliability.streams import block_rng
from jointrisk.study.band import drawn_states, unknown_columns
from jointrisk.study.results import Chance
from jointrisk.study.sample import RANKED

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

STATES = 1024
JOINTS_ALLOWED = 2**18
FEWEST_DRAWS, MOST_DRAWS = 16, 64
GROUPS = 32
STUDENT = 2.0395
"""Two-sided 95 % point of Student's t with 31 degrees of freedom."""
MOST_PAIRED = 20
"""Columns of which products are fitted, at most: those of the steepest curves."""
SMALLEST = 1e-12
LARGEST_NOISE = 1.0
"""Squared relative error of one state's estimate that is counted, at most [-]."""
TAILS = (0.05, 0.95)


@dataclass(frozen=True, slots=True)
class States:
    """Failure probabilities at states of what is not known."""

    keys: tuple[str, ...]
    """Of each column of `scores`."""
    scores: Array
    """Of what the rods of service hang on, (k, m) [-]."""
    logs: Array
    """Of the failure probability of the states of which a draw failed, their bias out, (k,)."""
    noise: Array
    """Variance of the sampling error of each log, (k,)."""
    asked: int
    """States that were drawn; those of which no draw failed are left out."""


@dataclass(frozen=True, slots=True)
class Shares:
    """What each unknown causes of the variance of the log of the failure probability."""

    first: dict[str, Chance]
    total: dict[str, Chance]
    left: dict[str, tuple[float, float]]
    """Band of the failure probability that is left when it is settled, on average."""
    unexplained: Chance
    band: tuple[float, float, float]
    """5, 50 and 95 % points of the failure probability over all that is not known."""


def states(sample: Sample, seed: int, pool: Any = None) -> States | None:
    """Draw and estimate the states; None where nothing that matters in service is unknown."""
    rods = sample.rods
    names = _names(rods)
    matters = [place for place, key in enumerate(names) if not key.startswith("proof.")]
    if not matters:
        return None
    each = int(np.clip(JOINTS_ALLOWED // (STATES * rods.layout.joints), FEWEST_DRAWS, MOST_DRAWS))
    rng = block_rng(seed, RANKED, 1)
    scores, state, weight, outcome = drawn_states(sample, STATES, each, rng, pool)
    terms = weight * -np.expm1(-outcome.hazard)
    chance = np.bincount(state, terms, minlength=STATES) / each
    square = np.bincount(state, terms**2, minlength=STATES) / each
    variance = np.maximum(square - chance**2, 0.0) / each
    seen = chance > 0.0
    chance, variance = np.minimum(chance[seen], 1.0), variance[seen]
    noise = np.log1p(np.minimum(variance / chance**2, LARGEST_NOISE))
    return States(
        tuple(names[place] for place in matters),
        scores[seen][:, matters],
        np.log(chance) + 0.5 * noise,
        noise,
        STATES,
    )


def _names(rods: RodSet) -> list[str]:
    """Return the key of each unknown column, in their order."""
    given = unknown_columns(rods)
    names = np.empty(given.size, dtype=object)
    for key, columns in rods.layout.columns.items():
        names[columns] = key
    return [str(name) for name in names[given]]


def shares(found: States) -> Shares:
    """Return what each unknown causes, with intervals."""
    basis, owners = _basis(found)
    group = np.arange(found.logs.size) * GROUPS // found.logs.size
    products = np.stack([basis[group == g].T @ basis[group == g] for g in range(GROUPS)])
    moments = np.stack([basis[group == g].T @ found.logs[group == g] for g in range(GROUPS)])
    keys = list(dict.fromkeys(found.keys))

    def told(out: int | None) -> tuple[Array, Array]:
        kept = np.ones(found.logs.size, dtype=bool) if out is None else group != out
        left = (0.0, 0.0) if out is None else (products[out], moments[out])
        inverse = np.linalg.pinv(products.sum(axis=0) - left[0], hermitian=True)
        weights = inverse @ (moments.sum(axis=0) - left[1])
        return weights, _parts(found, basis, owners, keys, kept, weights, np.diag(inverse))

    weights, whole = told(None)
    again = np.stack([told(out)[1] for out in range(GROUPS)])
    error = np.sqrt((GROUPS - 1) / GROUPS * np.sum((again - again.mean(axis=0)) ** 2, axis=0))
    ends = np.clip([whole - STUDENT * error, whole + STUDENT * error], 0.0, 1.0)
    bounded = np.clip(whole, 0.0, 1.0)
    all_three = [Chance(*map(float, row)) for row in zip(bounded, *ends, strict=True)]
    count = len(keys)
    left = {
        key: _left(found, basis @ np.where([own == (key,) for own in owners], weights, 0.0))
        for key in keys
    }
    low, high = _left(found, np.zeros(found.logs.size))
    middle = float(np.exp(np.median(found.logs)))
    return Shares(
        dict(zip(keys, all_three[:count], strict=True)),
        dict(zip(keys, all_three[count : 2 * count], strict=True)),
        left,
        all_three[-1],
        (low, middle, high),
    )


def _basis(found: States) -> tuple[Array, list[tuple[str, ...]]]:
    """Return the functions of the fit at each state, (k, b), and whose each one is.

    The constant belongs to nobody, a curve to its key, a product to both of its keys.
    """
    z = found.scores
    columns, owners = [np.ones(z.shape[0])], [()]
    own: list[tuple[str, ...]] = list(owners)
    for place, key in enumerate(found.keys):
        x = z[:, place]
        columns += [x, (x**2 - 1.0) / np.sqrt(2.0), (x**3 - 3.0 * x) / np.sqrt(6.0)]
        own += [(key,)] * 3
    steep = np.argsort(-np.abs(z.T @ (found.logs - found.logs.mean())))[:MOST_PAIRED]
    for first, second in combinations(sorted(int(place) for place in steep), 2):
        pair = (found.keys[first], found.keys[second])
        columns.append(z[:, first] * z[:, second])
        own.append(pair if pair[0] != pair[1] else pair[:1])
    return np.stack(columns, axis=1), own


def _parts(
    found: States,
    basis: Array,
    owners: list[tuple[str, ...]],
    keys: list[str],
    kept: npt.NDArray[np.bool_],
    weights: Array,
    spread: Array,
) -> Array:
    """Return first shares, total shares and what is unexplained, (2 keys + 1,) [-].

    Each squared coefficient is lowered by the variance of its own error. The variance is that of
    the fit and of what it leaves: the functions have variance 1, so that no sample is asked.
    """
    rest = found.logs[kept] - basis[kept] @ weights
    free = max(int(kept.sum()) - weights.size, 1)
    scatter = float(rest @ rest) / free
    squares = weights**2 - spread * scatter
    left = scatter - float(found.noise[kept].mean())
    first = [sum(s for s, own in zip(squares, owners, strict=True) if own == (k,)) for k in keys]
    total = [sum(s for s, own in zip(squares, owners, strict=True) if k in own) for k in keys]
    explained = sum(s for s, own in zip(squares, owners, strict=True) if own)
    whole = max(float(explained) + max(left, 0.0), SMALLEST)
    return np.asarray(np.array([*first, *total, left]) / whole)


def _left(found: States, curve: Array) -> tuple[float, float]:
    """Return the band that is left with one curve taken out and the noise drawn in."""
    logs = found.logs - curve
    total, noise = float(logs.var()), float(found.noise.mean())
    kept = np.sqrt(max(total - noise, 0.0) / total) if total > 0.0 else 1.0
    middle = float(np.median(logs))
    low, high = np.exp(np.minimum(middle + kept * (np.quantile(logs, TAILS) - middle), 0.0))
    return float(low), float(high)
