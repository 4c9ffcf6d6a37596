"""Importance sampling from a mixture in a space of normal scores and ordered labels.

The nominal density f: d independent standard normal coordinates, then L binary labels
drawn in order, label l being 1 with a chance that may depend on the coordinates and on
the labels before it. The proposal is a mixture of K components; each shifts the
coordinates by its own direction and may force some labels to a chance of its own.

Every draw is weighted by f over the density of the WHOLE mixture (the balance
heuristic: Veach & Guibas 1995; deterministic mixture: Owen & Zhou 2000, "Safe and
effective importance sampling", JASA 95, both from memory). Weights are then bounded by
one over the share of the guard, the component that is the nominal density itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError

__all__ = ["SMALLEST_GUARD", "Draw", "Proposal", "counts_of", "draw"]

Array = npt.NDArray[np.float64]
Labels = npt.NDArray[np.bool_]
Chance = Callable[[int, Array, Labels], npt.ArrayLike]

SMALLEST_GUARD = 0.02
"""Least share of the guard [-]."""
_NEVER = -1e6
"""Stands for log 0 where -inf * 0 would give NaN; exp of it is 0."""
_CHUNK = 2**20
"""Largest number of (row, component) pairs held at once."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mixture of K components over d coordinates and L labels.

    At least one component must be the guard: a zero direction and no forced label. A
    component that forces a label to 0 or 1 never draws the other outcome; the guard is
    what covers it.

    Parameters
    ----------
    shares : ndarray, (K,) [-]
        Share of the draws of each component; they sum to 1.
    directions : ndarray, (K, d) [-]
        Shift of the mean of the coordinates.
    forced : ndarray, (K, L) [-]
        Chance of a 1 under that component; NaN keeps the nominal chance.
    widths : ndarray, (K,) [-], optional
        Standard deviation of the coordinates under that component; 1 when not given. A
        wide component sees failure in directions where nobody thought of it.

    Raises
    ------
    InputError
        If shapes disagree, shares do not sum to 1, a chance is outside [0, 1], or the
        guard's share is below `SMALLEST_GUARD`.
    """

    shares: Array
    directions: Array
    forced: Array
    widths: Array | None = None

    def __post_init__(self) -> None:
        shares, directions, forced = self.shares, self.directions, self.forced
        if shares.ndim != 1 or directions.ndim != 2 or forced.ndim != 2:
            raise InputError(
                "a proposal needs shares (K,), directions (K, d) and forced (K, L), got "
                f"shapes {shares.shape}, {directions.shape} and {forced.shape}"
            )
        if not shares.shape[0] == directions.shape[0] == forced.shape[0]:
            raise InputError(
                f"shares, directions and forced tell of {shares.shape[0]}, "
                f"{directions.shape[0]} and {forced.shape[0]} components; they must agree"
            )
        if not np.all(shares >= 0) or abs(shares.sum() - 1.0) > 1e-9:
            raise InputError(f"shares must be >= 0 and sum to 1, they sum to {shares.sum():.6g}")
        if not np.all(np.isfinite(directions)):
            raise InputError("directions must be finite")
        if self.widths is not None and not (
            self.widths.shape == shares.shape
            and np.all(np.isfinite(self.widths) & (self.widths > 0))
        ):
            raise InputError(f"widths must be {shares.size} finite numbers > 0, got {self.widths}")
        if np.any((forced < 0) | (forced > 1)):
            raise InputError(
                "a forced chance must lie in [0, 1] or be NaN, found "
                f"{np.nanmin(forced):.6g} to {np.nanmax(forced):.6g}"
            )
        if self.guard_share < SMALLEST_GUARD:
            raise InputError(
                "the guard (zero direction, no forced label) must hold a share >= "
                f"{SMALLEST_GUARD}, it holds {self.guard_share:.6g}"
            )

    @property
    def guard(self) -> Labels:
        """Which components are the nominal density itself, (K,)."""
        plain: Labels = np.all(self.directions == 0, axis=1) & np.all(np.isnan(self.forced), axis=1)
        return plain if self.widths is None else plain & (self.widths == 1.0)

    @property
    def guard_share(self) -> float:
        """Share of the nominal density [-]; weights are at most one over it."""
        return float(self.shares[self.guard].sum())


@dataclass(frozen=True, slots=True)
class Draw:
    """What `draw` gives, rows ordered by component."""

    u: Array
    """Normal scores, (n, d) [-]."""
    labels: Labels
    """(n, L)."""
    component: npt.NDArray[np.intp]
    """Component that made each row, (n,)."""
    log_weight: Array
    """Log of nominal density over mixture density, (n,) [-]; -inf where the nominal is 0."""

    @property
    def weight(self) -> Array:
        """Nominal density over mixture density, (n,) [-]; its expectation is 1."""
        return np.exp(self.log_weight)


def counts_of(proposal: Proposal, n: int) -> npt.NDArray[np.intp]:
    """Split `n` draws over the components by largest remainder; the guard gets at least one.

    Parameters
    ----------
    proposal : Proposal
    n : int
        Number of draws, >= 1.

    Returns
    -------
    ndarray of int, (K,)
    """
    if n < 1:
        raise InputError(f"the number of draws must be >= 1, got {n}")
    exact = proposal.shares * n
    counts = np.floor(exact + 1e-9).astype(np.intp)
    order = np.argsort(counts - exact, kind="stable")
    counts[order[: n - int(counts.sum())]] += 1
    if counts[proposal.guard].sum() == 0:
        counts[np.argmax(counts)] -= 1
        counts[np.argmax(proposal.guard)] += 1
    return counts


def draw(
    proposal: Proposal,
    n: int,
    rng: np.random.Generator,
    chance: Chance,
    *,
    scale: npt.ArrayLike | None = None,
    fixed: npt.ArrayLike | None = None,
    mask: npt.ArrayLike | None = None,
) -> Draw:
    """Draw from the mixture and weight every row against all of it.

    The counts of the components are deterministic, and the mixture density is formed
    with the shares that those counts give, so that the mean of weight times anything is
    unbiased at every n.

    Parameters
    ----------
    proposal : Proposal
    n : int
        Number of rows.
    rng : numpy.random.Generator
    chance : callable
        ``chance(l, u, labels_so_far)`` gives the nominal chance, (n,) [-], that label l
        is 1, from the coordinates (n, d) and the labels before it (n, l).
    scale : array_like, (n, K) [-], optional
        Factor on the shift of each component in each row. It may depend on `fixed` only.
        Rows are ordered by component, so the rows of `fixed` must be alike (independent
        draws, not sorted ones).
    fixed : array_like, (n, d) [-], optional
        Coordinates that are given, not drawn. They add nothing to the weight and no
        component shifts them.
    mask : array_like of bool, (d,), optional
        Which columns of `fixed` are given; all other columns of it are ignored.

    Returns
    -------
    Draw

    Raises
    ------
    InputError
        If shapes disagree or only one of `fixed` and `mask` is given.
    """
    components, dim = proposal.directions.shape
    counts = counts_of(proposal, n)
    component = np.repeat(np.arange(components), counts)
    factor = None if scale is None else _shaped("scale", scale, (n, components))
    given = _mask(fixed, mask, dim)
    shifts = np.where(given, 0.0, proposal.directions)
    u = rng.standard_normal((n, dim))
    if proposal.widths is not None:
        u *= proposal.widths[component][:, None]
    own = shifts[component]
    if factor is not None:
        own = own * factor[np.arange(n), component][:, None]
    u += own
    if fixed is not None:
        u[:, given] = _shaped("fixed", fixed, (n, dim))[:, given]
    labels, log_nominal = _draw_labels(proposal.forced[component], u, rng, chance)
    mixed = _Mixture(counts / n, shifts, proposal.forced, proposal.widths)
    log_ratio = _log_mixture_ratio(mixed, u[:, ~given], given, labels, log_nominal, factor)
    impossible = np.any(np.isneginf(log_nominal), axis=1)
    return Draw(u, labels, component, np.where(impossible, -np.inf, -log_ratio))


def _shaped(name: str, values: npt.ArrayLike, shape: tuple[int, ...]) -> Array:
    """Give `values` as floats, refusing any shape but `shape`."""
    array = np.asarray(values, dtype=float)
    if array.shape != shape:
        raise InputError(f"{name} must have shape {shape}, got {array.shape}")
    return array


def _mask(fixed: npt.ArrayLike | None, mask: npt.ArrayLike | None, dim: int) -> Labels:
    """Which coordinates are given, (d,)."""
    if (fixed is None) != (mask is None):
        raise InputError("give both fixed and mask, or neither")
    if mask is None:
        return np.zeros(dim, dtype=bool)
    given = np.asarray(mask, dtype=bool)
    if given.shape != (dim,):
        raise InputError(f"mask must have shape ({dim},), got {given.shape}")
    return given


def _draw_labels(
    forced: Array, u: Array, rng: np.random.Generator, chance: Chance
) -> tuple[Labels, Array]:
    """Draw labels in order; give them, (n, L), and the log nominal chance of each outcome."""
    n, count = forced.shape
    labels = np.zeros((n, count), dtype=bool)
    log_nominal = np.zeros((n, count))
    uniform = rng.random((n, count))
    for label in range(count):
        nominal = np.broadcast_to(
            np.asarray(chance(label, u, labels[:, :label]), dtype=float), (n,)
        )
        if not np.all((nominal >= 0) & (nominal <= 1)):
            raise InputError(
                f"the chance of label {label} must lie in [0, 1], found "
                f"{nominal.min():.6g} to {nominal.max():.6g}"
            )
        used = np.where(np.isnan(forced[:, label]), nominal, forced[:, label])
        labels[:, label] = uniform[:, label] < used
        with np.errstate(divide="ignore"):  # log 0: the outcome cannot happen, weight 0
            log_nominal[:, label] = np.where(labels[:, label], np.log(nominal), np.log1p(-nominal))
    return labels, log_nominal


@dataclass(frozen=True, slots=True)
class _Mixture:
    """The components as drawn: shares from the counts, no shift of given coordinates."""

    shares: Array
    shifts: Array
    forced: Array
    widths: Array | None


def _log_mixture_ratio(
    mixed: _Mixture,
    u: Array,
    given: Labels,
    labels: Labels,
    log_nominal: Array,
    factor: Array | None,
) -> Array:
    """Log of mixture density over nominal density, (n,), a few components at a time.

    `u` holds the drawn coordinates only, (n, d - given).
    """
    n = u.shape[0]
    used = np.flatnonzero(mixed.shares > 0)
    step = max(1, _CHUNK // n)
    total = np.full(n, -np.inf)
    outcome = labels.astype(float)
    finite_nominal = np.where(np.isneginf(log_nominal), 0.0, log_nominal)
    for start in range(0, used.size, step):
        part = used[start : start + step]
        scale = None if factor is None else factor[:, part]
        widths = None if mixed.widths is None else mixed.widths[part]
        ratio = _score_ratio(mixed.shifts[part][:, ~given], u, scale, widths)
        ratio += _label_ratio(mixed.forced[part], outcome, finite_nominal)
        ratio += np.log(mixed.shares[part])
        np.logaddexp(total, _log_of_sum(ratio), out=total)
    return total


def _log_of_sum(logs: Array) -> Array:
    """Log of the sum over the components, (n,): many times faster than adding one by one."""
    largest = logs.max(axis=1)
    logs -= largest[:, None]
    summed: Array = largest + np.log(np.exp(logs, out=logs).sum(axis=1))
    return summed


def _score_ratio(shifts: Array, u: Array, factor: Array | None, widths: Array | None) -> Array:
    """Log of component over nominal density of the coordinates, (n, K)."""
    linear = u @ shifts.T
    square = np.sum(shifts**2, axis=1)
    scale = 1.0 if factor is None else factor
    ratio: Array = scale * (linear - 0.5 * scale * square)
    if widths is None:
        return ratio
    inverse = widths**-2
    length = np.sum(u**2, axis=1)[:, None]
    widened: Array = 0.5 * (1.0 - inverse) * length - u.shape[1] * np.log(widths)
    return inverse * ratio + widened


def _label_ratio(forced: Array, outcome: Array, log_nominal: Array) -> Array:
    """Log of component over nominal chance of the labels, (n, K); nominal labels add 0."""
    tied = ~np.isnan(forced)
    with np.errstate(divide="ignore", invalid="ignore"):  # log 0 is replaced just below
        ones = np.where(tied, np.maximum(np.log(forced), _NEVER), 0.0)
        zeros = np.where(tied, np.maximum(np.log1p(-forced), _NEVER), 0.0)
    ratio: Array = outcome @ ones.T + (1.0 - outcome) @ zeros.T - log_nominal @ tied.T.astype(float)
    return ratio
