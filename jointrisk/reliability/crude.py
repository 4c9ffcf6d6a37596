"""Plain Monte Carlo: counts over fixed blocks, in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointrisk.reliability.pools import Pool, mapped
from jointrisk.reliability.space import Problem
from jointrisk.reliability.streams import BLOCK, normal_block

__all__ = ["Counts", "count_failures"]

PURPOSE = 1
_ROOM = 2**21
"""Doubles (16 MB, never touched). An allocator that hands every freed array back to the system
halves the rate; having freed one as large as this, the usual one no longer does."""
_LARGEST_WAVE = 16
"""Blocks handed out between two looks at the stopping rule."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What was seen."""

    failures: int
    undefined: int
    """Draws whose margin is NaN; they are among `failures`."""
    n: int

    def __add__(self, other: Counts) -> Counts:
        """Add counts of other blocks."""
        return Counts(
            self.failures + other.failures, self.undefined + other.undefined, self.n + other.n
        )

    @property
    def cov(self) -> float:
        """Coefficient of variation of the estimate [-]; inf when nothing failed."""
        if self.failures == 0:
            return float("inf")
        return float(np.sqrt((self.n - self.failures) / (self.failures * self.n)))


@dataclass(frozen=True, slots=True)
class _Block:
    """Counts of one block; a class so that it can be sent to another process."""

    problem: Problem
    seed: int
    rows: int

    def __call__(self, block: int) -> Counts:
        u = normal_block(self.seed, PURPOSE, block, self.problem.space.dim, self.rows)
        margin = self.problem.at_once(u, self.problem.space.cells[0])
        failures = self.rows - int(np.count_nonzero(margin >= 0))
        undefined = int(np.count_nonzero(np.isnan(margin))) if failures else 0
        return Counts(failures, undefined, self.rows)


def count_failures(
    problem: Problem,
    *,
    seed: int,
    target_cov: float,
    max_evaluations: int,
    pool: Pool | None = None,
) -> Counts:
    """Count failures block by block until the scatter is small enough or draws run out.

    Blocks go out in waves of 1, 1, 2, 4, 8, 16, 16... whatever the pool, and the stopping
    rule is looked at between waves only: the counts are the same at any worker count.

    Parameters
    ----------
    problem : Problem
        Its space has one cell: labels are coordinates.
    seed : int
    target_cov : float
        Stop at this coefficient of variation [-].
    max_evaluations : int
        Draws at most, in whole blocks; fewer than a block are one of their own.
    pool : object with ``map``, optional

    Returns
    -------
    Counts
    """
    np.empty(_ROOM)  # let go at once: the C library then keeps the memory of freed blocks
    job = _Block(problem, seed, min(BLOCK, max_evaluations))
    most = max(1, max_evaluations // BLOCK)
    total, done, wave = Counts(0, 0, 0), 0, 1
    while done < most:
        blocks = range(done, min(done + wave, most))
        for counts in mapped(pool, job, blocks):
            total = total + counts
        done = blocks.stop
        if total.cov <= target_cov:
            break
        wave = min(_LARGEST_WAVE, done)
    return total
