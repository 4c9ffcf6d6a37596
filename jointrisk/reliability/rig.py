"""Parts, the rig that pulls them, and the service that follows: where to draw.

One sample must serve both corners: parts so weak that the pull breaks them, and parts
that hold and still fail in service. The proposal has a component at the service design
points, at the point where a part is refused, and at the point where a part holds and
fails, for loads over the whole range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.form import DesignPoint, design_point, joint_design_point
from jointrisk.reliability.mixture import Proposal, draw
from jointrisk.reliability.pulled import RigSample, Rows, joined
from jointrisk.reliability.search import find_points
from jointrisk.reliability.space import Cell, LimitState, Space, checked_margin
from jointrisk.reliability.streams import BLOCK, block_rng

__all__ = ["AfterPull", "IsWeak", "Plan", "Rig"]

Array = npt.NDArray[np.float64]
Values = dict[str, Array]
AfterPull = Callable[[Values, Array], Array]
Margin = Callable[[Array], Array]
IsWeak = Callable[[Values], npt.NDArray[np.bool_]]

PURPOSE = 3
_GUARD = 0.2
"""Share of the plain density [-]."""
_NARROW = 0.35
"""Width of the second component at a corner [-]; found by trial."""
_CALLS = 250
"""Calls of a margin after which the search for a corner is cut short."""
_DRAWS, _WIDTHS = 1000, (3.0, 1.0, 0.5, 0.25, 0.1)
"""Draws a round, and their widths, where slopes lead to no corner [-]."""
_FARTHEST = 12.0
"""Points farther out than this carry no chance worth a component [-]."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Where to draw: the share of each cell, and the mixture inside it."""

    shares: Array
    proposals: list[Proposal]

    def towards(self, component: npt.NDArray[np.intp], scatter: Array) -> Plan:
        """Give more draws to the components where the scatter comes from.

        The variance of a mean over a mixture is least where the mean square of its terms is
        the same under every component: one multiplicative step goes there (derived). Half
        of each share stays, for loads that the terms say nothing of.

        Parameters
        ----------
        component : ndarray of int, (n,)
            Of each row, numbered through all cells.
        scatter : ndarray, (n,)
            Squares of the weighted terms, any unit.
        """
        inside = [share * p.shares for share, p in zip(self.shares, self.proposals, strict=True)]
        old = np.concatenate(inside)
        counts = np.bincount(component, minlength=old.size)
        mean = np.bincount(component, scatter, minlength=old.size) / np.maximum(counts, 1)
        pull = old * np.sqrt(mean)
        if not 0 < pull.sum() < np.inf:
            return self
        cells = np.split(pull / pull.sum(), np.cumsum([p.shares.size for p in self.proposals])[:-1])
        return Plan(
            0.5 * self.shares + 0.5 * np.array([cell.sum() for cell in cells]),
            [
                replace(p, shares=0.5 * (p.shares + cell / cell.sum())) if cell.sum() > 0 else p
                for p, cell in zip(self.proposals, cells, strict=True)
            ],
        )


@dataclass(frozen=True, slots=True)
class Rig:
    """Parts, their rig and their service; the gauge's bias is one more coordinate."""

    space: Space
    limit_state: LimitState
    proof_strength: LimitState
    after_pull: AfterPull | None
    is_weak: IsWeak | None
    error: float
    bias_sd: float
    seed: int

    @property
    def dim(self) -> int:
        """Number of coordinates, the bias among them."""
        return self.space.dim + (self.bias_sd > 0)

    def split(self, u: Array, cell: Cell) -> tuple[Values, Array]:
        """Values by name, and the gauge's bias, (n,)."""
        bias = self.bias_sd * u[:, -1] if self.bias_sd > 0 else np.zeros(u.shape[0])
        return self.space.values(u[:, : self.space.dim], cell), bias

    def strengths(self, x: Values, n: int) -> Array:
        """Strength of every part in the rig, (k, n)."""
        found = np.asarray(self.proof_strength(x))
        rows = found[None, :] if found.ndim == 1 else found
        if rows.ndim != 2 or rows.shape[1] != n or rows.dtype.kind not in "fiu":
            raise InputError(
                f"proof_strength must return real numbers of shape ({n},) or (k, {n}), "
                f"got {found.dtype} of shape {found.shape}"
            )
        if np.isnan(rows).any():
            raise InputError(f"proof_strength returned {int(np.isnan(rows).sum())} NaN")
        return rows.astype(float)

    def damaged(self, x: Values, applied: Array) -> Array:
        """Lowest margin of the parts that survived `applied`, (n,); NaN counts as -inf."""
        assert self.after_pull is not None  # noqa: S101
        given = np.asarray(self.proof_strength(x)).shape
        found = np.asarray(self.after_pull(x, applied.reshape(given)))
        if found.shape != given or found.dtype.kind not in "fiu":
            raise InputError(
                f"after_pull must return real numbers of shape {given}, as proof_strength "
                f"does, got {found.dtype} of shape {found.shape}"
            )
        rows = found.astype(float).reshape(applied.shape)
        return np.asarray(np.where(np.isnan(rows), -np.inf, rows).min(axis=0), dtype=float)

    def service(self, u: Array, cell: Cell, load: float | None = None) -> Array:
        """Margin in service, after a pull of exactly `load` where that matters, (n,)."""
        x, _ = self.split(u, cell)
        n = u.shape[0]
        if load is None or self.after_pull is None:
            return checked_margin(self.limit_state(x), n)
        parts = self.strengths(x, n).shape[0]
        return self.damaged(x, np.full((parts, n), load))

    def spare(
        self, u: Array, cell: Cell, load: float, sign: float = 1.0, part: int | None = None
    ) -> Array:
        """Spare strength of a part, or the weakest, in the rig as a share of the load, (n,)."""
        x, bias = self.split(u, cell)
        rows = self.strengths(x, u.shape[0])
        strength = rows.min(axis=0) if part is None else rows[part]
        return np.asarray(sign * (strength / load - 1.0 - bias), dtype=float)

    def strength_range(self) -> tuple[float, float]:
        """Give the loads that 0.1 % and 99.9 % of plain draws would not hold."""
        found = []
        for number, cell in enumerate(self.space.cells):
            rng = block_rng(self.seed, PURPOSE, number)
            u = rng.standard_normal((max(64, round(BLOCK * cell.probability)), self.dim))
            x, _ = self.split(u, cell)
            found.append(self.strengths(x, u.shape[0]).min(axis=0))
        ends = np.quantile(np.concatenate(found), [0.001, 0.999])
        if not 0 < ends[1] < np.inf:
            raise InputError(f"99.9 % of strengths lie below {ends[1]:g} N: name `highest`")
        return max(float(ends[0]), 1e-3 * float(ends[1])), float(ends[1])

    def proposal(self, cell: Cell, guides: Array) -> Proposal:
        """Mixture for one cell: service, refusal, and holding yet failing, at each guide."""
        kept: list[tuple[Array, float]] = []
        for u, width in self.points(cell, guides):
            if all(w != width or np.linalg.norm(u - v) > 0.4 for v, w in kept):
                kept.append((u, width))
        shares = np.append(np.full(len(kept), (1.0 - _GUARD) / max(len(kept), 1)), _GUARD)
        return Proposal(
            shares / shares.sum(),
            np.vstack([*(u for u, _ in kept), np.zeros(self.dim)]),
            np.zeros((shares.size, 0)),
            np.array([*(width for _, width in kept), 1.0]),
        )

    def points(self, cell: Cell, guides: Array) -> list[tuple[Array, float]]:
        """All points that the proposal should look at, each with a width.

        Past a corner of two surfaces failure thins out fast along both, so a corner gets a
        narrow component beside the plain one.
        """
        if self.dim == 0:
            return []
        rng = block_rng(self.seed, PURPOSE, 1000)
        found = list(find_points(partial(self.service, cell=cell), self.dim, rng).points)
        corners: list[DesignPoint] = []
        start = found[0].u if found else np.zeros(self.dim)
        for number, load in enumerate(guides):
            after = partial(self.service, cell=cell, load=float(load))
            refused = partial(self.spare, cell=cell, load=float(load))
            held = partial(refused, sign=-1.0)
            edge = design_point(refused, self.dim)  # the rare side of the two
            found.append(edge if edge.beta > 0 else design_point(held, self.dim))
            corner = _corner((after, held), self.dim, start, rng)
            if corner is not None:
                corners.append(corner)
                start = corner.u
            edges = self.edges(cell, float(load)) if number % 2 == 0 else []
            found += edges
            each = [_corner((after, held), self.dim, edge.u, rng) for edge in edges]
            corners += [corner for corner in each if corner is not None]
        return [
            (point.u, width)
            for points, width in ((found, 1.0), (corners, 1.0), (corners, _NARROW))
            for point in sorted(points, key=lambda point: point.beta)
            if point.converged and 0 < point.beta < _FARTHEST
        ]

    def edges(self, cell: Cell, load: float) -> list[DesignPoint]:
        """Points where each of several parts is refused: the weakest hides the others."""
        count = self.strengths(self.split(np.zeros((1, self.dim)), cell)[0], 1).shape[0]
        return [
            design_point(partial(self.spare, cell=cell, load=load, part=part), self.dim)
            for part in range(count if count > 1 else 0)
        ]

    def plan(self, guides: Array) -> Plan:
        """Give the mixture of every cell, for pulls all over the guides.

        Half of the draws is shared evenly over the cells, since past a pull a rare cell may
        hold most failures, half by the root of a cell's chance.
        """
        root = np.sqrt([cell.probability for cell in self.space.cells])
        shares = 0.5 * root / root.sum() + 0.5 / root.size
        return Plan(shares, [self.proposal(cell, guides) for cell in self.space.cells])

    def sample(self, plan: Plan, rows: int, turn: int) -> RigSample:
        """Draw about `rows` rows over all cells."""
        parts = []
        first = 0
        for number, (cell, proposal, share) in enumerate(
            zip(self.space.cells, plan.proposals, plan.shares, strict=True)
        ):
            rng = block_rng(self.seed, PURPOSE, 2000 + 1000 * turn + number)
            n = max(256, round(rows * share))
            made = draw(proposal, n, rng, lambda _label, u, _labels: np.zeros(u.shape[0]))
            x, bias = self.split(made.u, cell)
            strength = self.strengths(x, n)
            parts.append(
                Rows(
                    made.weight * cell.probability / n,
                    made.component + first,
                    x,
                    bias,
                    strength,
                    ~(self.service(made.u, cell) >= 0),
                    self.weak(x, strength.shape),
                    rng.random(strength.shape),
                )
            )
            first += proposal.shares.size
        return RigSample(joined(parts), self.error, self.damaged if self.after_pull else None)

    def weak(self, x: Values, shape: tuple[int, ...]) -> npt.NDArray[np.bool_] | None:
        """Which parts are weak, (k, n)."""
        if self.is_weak is None:
            return None
        flags = np.asarray(self.is_weak(x))
        if flags.dtype != np.bool_ or flags.shape not in (shape, shape[1:]):
            raise InputError(
                f"is_weak must return booleans of shape {shape[1:]} or {shape}, "
                f"got {flags.dtype} of shape {flags.shape}"
            )
        return np.broadcast_to(flags, shape)


def _corner(
    margins: tuple[Margin, ...], dim: int, start: Array, rng: np.random.Generator
) -> DesignPoint | None:
    """Point nearest to the origin where all margins are at most 0, None where none is seen.

    A cliff in a strength (a share of bonds that hold next to nothing) stops the search by
    slopes, at a great many calls: it is cut short, and draws look for the point instead.
    """
    try:
        found = joint_design_point([_Limited(g) for g in margins], dim, start)
    except _TooManyCallsError:
        return _nearest_by_draws(margins, dim, rng)
    return found if found.converged else _nearest_by_draws(margins, dim, rng)


class _TooManyCallsError(Exception):
    """A search by slopes goes nowhere."""


class _Limited:
    """A margin that may be asked only so often."""

    def __init__(self, margin: Margin) -> None:
        self.margin, self.calls = margin, 0

    def __call__(self, u: Array) -> Array:
        self.calls += 1
        if self.calls > _CALLS:
            raise _TooManyCallsError
        return self.margin(u)


def _nearest_by_draws(
    margins: tuple[Margin, ...], dim: int, rng: np.random.Generator
) -> DesignPoint | None:
    """Point near the origin where all margins are at most 0, by ever closer draws."""
    best, used = np.zeros((0, dim)), 0
    for width in _WIDTHS:
        centre = best[0] if best.size else np.zeros(dim)
        u = np.vstack([best, centre + width * rng.standard_normal((_DRAWS, dim))])
        used += len(margins) * u.shape[0]
        inside = np.all([g(u) <= 0 for g in margins], axis=0)
        if inside.any():
            found = u[inside]
            best = found[[np.argmin(np.linalg.norm(found, axis=1))]]
    if not best.size:
        return None
    beta = float(np.linalg.norm(best[0]))
    return DesignPoint(best[0], beta, best[0] / max(beta, 1e-300), 0.0, True, used)
