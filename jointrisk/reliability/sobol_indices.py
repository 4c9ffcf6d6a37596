"""Sobol' indices of any output: what its variance hangs on.

Two independent sets of scores A and B; for each variable A with that variable from B, and B
with it from A. Where variables hang together, the one is A with that variable drawn anew given
all others, the other B drawn anew given that variable of A.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from jointrisk.reliability.indices import (
    NOT_KNOWN,
    NOTHING,
    SCRAMBLES,
    Function,
    Indices,
    Interval,
    Moments,
    called,
    checked_confidence,
    correlations,
    even_scores,
    in_waves,
    named,
    points_each,
    ratio_over_scrambles,
    refuse_undefined,
    value_of,
)
from jointrisk.reliability.pools import Pool
from jointrisk.reliability.space import Correlation, Space
from jointrisk.reliability.streams import resolve_seed
from jointrisk.spread import Spread

__all__ = ["sobol"]

Array = npt.NDArray[np.float64]

PURPOSE = 21


def sobol(
    function: Function,
    variables: Mapping[str, Spread],
    *,
    correlation: Correlation | None = None,
    correlation_of: str = "values",
    samples: int = 2**13,
    confidence: float = 0.95,
    seed: int | None = None,
    pool: Pool | None = None,
) -> Indices:
    """Estimate the first and total Sobol' indices of every variable.

    Parameters
    ----------
    function : callable
        Mapping of name to values (n,) in; output (n,) out, finite.
    variables : mapping of str to Spread
        Of any kind; a constant has indices of 0.
    correlation : mapping of (str, str) to float, optional
        Coefficients [-] of the pairs that hang together.
    correlation_of : str
        "values" (product-moment) or "scores" (of the normal scores).
    samples : int
        Draws n [-], taken up to a power of two. With d variables that vary the function is
        worked out for (2 d + 2) n rows.
    confidence : float
        Of the intervals [-].
    seed : int, optional
        0 is a seed; a fixed default when not given.
    pool : object with ``map``, optional
        Shares out pieces of 1,024 draws. Results do not depend on it.

    Returns
    -------
    Indices
        First S = Var(E[Y | X_i]) / Var(Y) and total T = E[Var(Y | all but X_i)] / Var(Y). Where
        variables hang together S holds what moves with X_i, and T what X_i adds alone: T may
        then lie below S.

    Raises
    ------
    InputError
        If an argument is out of range or the function returns another shape.
    EstimateError
        If the output is NaN or infinite in some calls; the message says in how many.

    Notes
    -----
    T by the squared difference of Jansen; S by the covariance of two outputs that share X_i,
    less λ times the covariance of two that share nothing, which is 0: with λ = 1 − T (derived;
    1 is the form of Saltelli and others, 0 that of Janon and others) it is exact for a
    variable without effect and good for one that is all. The intervals are Student's t over
    the scrambles, each a small study of its own.

    References
    ----------
    Jansen (1999), Comp. Phys. Comm. 117, 35; Saltelli et al. (2010), Comp. Phys. Comm. 181,
    259; Janon et al. (2014), ESAIM Prob. Stat. 18, 342; with dependence: Kucherenko, Tarantola
    & Annoni (2012), Comp. Phys. Comm. 183, 937. From memory.
    """
    confidence = checked_confidence(confidence)
    points, notes = points_each(samples)
    space = Space.of(variables, correlation, correlation_of, enumerate_labels=False)
    task = _Task(space, function)
    sums, dim = _Sums(task.tied, space.dim), space.dim
    scores = even_scores(resolve_seed(seed), PURPOSE, 2 * dim, points)
    for outputs in in_waves(pool, task.outputs, scores):
        sums.add(outputs.reshape(outputs.shape[0], SCRAMBLES, -1))
    evaluations = points * SCRAMBLES * (2 + 2 * dim)
    refuse_undefined(sums.undefined, evaluations)
    return _result(space, sums, confidence, evaluations, notes + _notes(task, points))


def _notes(task: _Task, points: int) -> tuple[str, ...]:
    """Say where the intervals come from, and what ties do to the indices."""
    notes: tuple[str, ...] = (
        f"intervals: Student's t over {SCRAMBLES} scrambles of {points:,} points",
    )
    if any(task.tied):
        notes += (
            "some variables hang together: the first index of one holds what moves with it, "
            "its total index what it adds alone",
        )
    return notes


@dataclass(frozen=True)
class _Task:
    """Works out all outputs that belong to a piece of scores."""

    space: Space
    function: Function

    @cached_property
    def ties(self) -> Array:
        """Correlations of the scores, (d, d) [-]."""
        return correlations(self.space)

    @cached_property
    def tied(self) -> tuple[bool, ...]:
        """Which coordinates hang together with another, (d,)."""
        return tuple((np.count_nonzero(self.ties, axis=1) > 1).tolist())

    def outputs(self, scores: Array) -> Array:
        """Give the outputs of A, of B, and for each coordinate of both moved sets, (2 d + 2, n).

        A vector z, given all but z_i, moves to z_i + ((P z')_i − (P z)_i) / P_ii with P the
        inverse of the correlations R and z' another draw; z', given z'_i = z_i, moves to
        z' + R_i (z_i − z'_i) (conditional normal vectors, derived).
        """
        dim, space, n = self.space.dim, self.space, scores.shape[0]
        za, zb = space.correlate(scores[:, :dim]), space.correlate(scores[:, dim:])
        a, b = named(space, za), named(space, zb)
        found = [called(self.function, a, n), called(self.function, b, n)]
        precision = np.linalg.inv(self.ties) if any(self.tied) else self.ties
        for i, name in enumerate(space.coordinates):
            new, near = b[name], {}
            if self.tied[i]:
                step = (zb - za) @ precision[:, i] / precision[i, i]
                new = value_of(space, i, za[:, i] + step)
                moved = zb + np.outer(za[:, i] - zb[:, i], self.ties[i])
                others = np.flatnonzero(self.ties[i]).tolist()
                near = {space.coordinates[j]: value_of(space, j, moved[:, j]) for j in others}
            found.append(called(self.function, a | {name: new}, n))
            found.append(called(self.function, b | near | {name: a[name]}, n))
        return np.array(found)


@dataclass(slots=True)
class _Sums:
    """Sums by scramble that hold all the indices need, about the centre of the moments."""

    tied: tuple[bool, ...]
    dim: int
    moments: Moments = field(default_factory=Moments)
    undefined: int = 0
    jumps: Array = field(init=False)
    """Of half the squares of what one coordinate drawn anew changes, (d, SCRAMBLES)."""
    apart: Array = field(init=False)
    """Of half the squares of B less B with a coordinate of A."""
    shared: Array = field(init=False)
    """Of products of outputs that share one coordinate, and of their sum: (2, d, SCRAMBLES)."""
    strange: Array = field(init=False)
    """The same of outputs that share nothing."""

    def __post_init__(self) -> None:
        self.jumps, self.apart = np.zeros((2, self.dim, SCRAMBLES))
        self.shared, self.strange = np.zeros((2, 2, self.dim, SCRAMBLES))

    def add(self, y: Array) -> None:
        """Take in outputs, (2 d + 2, SCRAMBLES, n)."""
        self.undefined += int(y.size - np.isfinite(y).sum())
        if self.undefined:
            return
        self.moments.add(np.concatenate([y[0], y[1]], axis=1))
        y = y - self.moments.centre
        a, b, sums = y[0], y[1], y.sum(axis=2)
        both = _products(a, b)
        for i, tied in enumerate(self.tied):
            x, z = y[2 + 2 * i], y[3 + 2 * i]
            jump, apart = 0.5 * _products(a - x, a - x), 0.5 * _products(b - z, b - z)
            near, far = _products(a, z), both
            near_sum, far_sum = sums[0] + sums[3 + 2 * i], sums[0] + sums[1]
            if not tied:
                jump = apart = 0.5 * (jump + apart)
                near, far = 0.5 * (near + _products(b, x)), 0.5 * (both + _products(x, z))
                near_sum = far_sum = 0.5 * (far_sum + sums[2 + 2 * i] + sums[3 + 2 * i])
            self.jumps[i] += jump
            self.apart[i] += apart
            self.shared[:, i] += near, near_sum
            self.strange[:, i] += far, far_sum

    @property
    def n(self) -> int:
        """Draws of each scramble."""
        return self.moments.count // 2

    def first(self, i: int) -> Array:
        """Numerator of a first index by scramble, (SCRAMBLES,)."""
        m, variance = self.moments.offset, float(self.moments.variances.mean())
        part = 1.0 - float(self.apart[i].mean()) / self.n / variance
        shared, strange = (
            (product - m * total) / self.n + m**2
            for product, total in (self.shared[:, i], self.strange[:, i])
        )
        return np.asarray(shared - part * strange)

    def total(self, i: int) -> Array:
        """Numerator of a total index by scramble, (SCRAMBLES,)."""
        return np.asarray(self.jumps[i] / self.n)


def _products(a: Array, b: Array) -> Array:
    """Sum of products by scramble, (SCRAMBLES,)."""
    return np.asarray(np.einsum("rn,rn->r", a, b))


def _result(
    space: Space, sums: _Sums, confidence: float, evaluations: int, notes: tuple[str, ...]
) -> Indices:
    """Put names to the indices; constants have none."""
    moments, variances = sums.moments, sums.moments.variances
    values: dict[str, list[float]] = {name: [0.0, 0.0] for name in space.names}
    around: dict[str, list[Interval]] = {name: [NOTHING, NOTHING] for name in space.names}
    for i, name in enumerate(space.coordinates):
        around[name] = [NOT_KNOWN, NOT_KNOWN]
        if not moments.constant:
            for kind, part in enumerate((sums.first(i), sums.total(i))):
                found = ratio_over_scrambles(part, variances, confidence)
                values[name][kind], around[name][kind] = found
    return Indices(
        mean=moments.mean,
        variance=0.0 if moments.constant else float(variances.mean()),
        confidence=confidence,
        evaluations=evaluations,
        samples=sums.n * SCRAMBLES,
        notes=notes + _silent_note(space, sums) + moments.notes(),
        first={name: found[0] for name, found in values.items()},
        total={name: found[1] for name, found in values.items()},
        first_interval={name: found[0] for name, found in around.items()},
        total_interval={name: found[1] for name, found in around.items()},
    )


def _silent_note(space: Space, sums: _Sums) -> tuple[str, ...]:
    """Name the variables that changed no output."""
    silent = [name for i, name in enumerate(space.coordinates) if not sums.jumps[i].any()]
    if not silent or sums.moments.constant:
        return ()
    draws = sums.n * SCRAMBLES
    return (f"no output of {draws:,} changed with {', '.join(silent)}",)
