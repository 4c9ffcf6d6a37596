"""A batch of rods in the rig and in service, by quadrature with numpy and scipy alone.

A joint holds f s, with f of the batch and s its own, both lognormal; it may be weak, and a batch
may be bad, which makes its joints weak more often. A rod has two joints and is pulled as one:
the weaker joint stays the weaker when a pull hurts both, so the law of the lesser is enough.
Given what the rods of a batch share (f, whether it is bad, the gauge's bias, how a pull hurts)
they are alike, and independent but for the loads of service, which all of them meet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from scipy import stats
from scipy.special import ndtr

LEAST = 1e-6
"""Stands for no load at all [N]."""


def normal_nodes(sd, count, reach=5.5):
    """Return values with a mean of 0 and this standard deviation, and their weights."""
    if sd == 0.0:
        return [(0.0, 1.0)]
    z = np.linspace(-reach, reach, count)
    weight = np.exp(-0.5 * z * z)
    return list(zip(sd * z, weight / weight.sum(), strict=True))


def even_nodes(given, count):
    """Return values and weights of a plain number, or of anywhere between two."""
    if isinstance(given, float):
        return [(given, 1.0)]
    x, weight = np.polynomial.legendre.leggauss(count)
    low, high = given
    return list(zip(0.5 * (low + high) + 0.5 * (high - low) * x, 0.5 * weight, strict=True))


def scatter(cov):
    """Return the standard deviation of the log of a lognormal."""
    return float(np.sqrt(np.log1p(cov**2)))


@dataclass(frozen=True)
class Nodes:
    """How many values stand for each spread."""

    factor: int = 61
    bias: int = 11
    error: int = 15
    damage: int = 6
    load: int = 300


@dataclass(frozen=True)
class Batch:
    """Rods glued together, their rig and their loads; N, years, shares."""

    bond: float
    rods: int
    own: float = 0.1
    shared: float = 0.12
    lone: float = 0.0
    bad: float = 0.0
    share_in_bad: float = 0.0
    keeps: float = 0.4
    error: float = 0.0
    bias: float = 0.0
    begins: float | tuple = 0.7
    most: float | tuple = 0.0
    load: float = 2000.0
    load_cov: float = 0.2
    years: float = 4.0
    aged: float = 1.0
    """Share of its strength that a bond has in service, and when it is pulled again."""
    nodes: Nodes = Nodes()

    @cached_property
    def _states(self):
        """Return what a batch shares: weight, factor, weak chance, bias, and how a pull hurts."""
        count = self.nodes
        sigma = scatter(self.shared)
        factors = normal_nodes(sigma, count.factor)
        kinds = [(self.lone, 1.0 - self.bad), (max(self.lone, self.share_in_bad), self.bad)]
        spreads = (
            [(np.exp(z - 0.5 * sigma**2), weight) for z, weight in factors],
            kinds if self.bad else kinds[:1],
            normal_nodes(self.bias, count.bias, 4.5),
            even_nodes(self.begins, count.damage),
            even_nodes(self.most, count.damage),
        )
        rows = [
            (np.prod([weight for _, weight in row]), *(value for value, _ in row))
            for row in product(*spreads)
        ]
        return tuple(np.array(column)[:, None] for column in zip(*rows, strict=True))

    @cached_property
    def _errors(self):
        return normal_nodes(self.error, self.nodes.error, 4.5)

    def _stronger(self, need):
        """Return the chance that both joints of a rod hold more than `need` [N], (k, x)."""
        _, factor, weak, *_ = self._states
        sigma, need = scatter(self.own), need / factor
        sound = ndtr(-np.log(need / self.bond) / sigma - 0.5 * sigma)
        if self.lone == self.bad == 0.0:
            return sound**2
        less = ndtr(-np.log(need / self.keeps / self.bond) / sigma - 0.5 * sigma)
        return ((1.0 - weak) * sound + weak * less) ** 2

    def _needed(self, left, load, error):
        """Return what a rod must hold to hold a pull and be left with `left` [N], (k, x)."""
        *_, bias, begins, most = self._states
        applied = np.maximum(load * (1.0 + bias + error), LEAST)
        taken = most / (1.0 - begins)
        hurt = (left + taken * applied) / (1.0 + taken * begins)
        return np.maximum(np.where(left < applied / begins, hurt, left), applied)

    def above(self, left, *pulls):
        """Return the chance that a rod holds `pulls` in turn and is left with `left`, (k, x)."""
        found = 0.0
        for errors in product(self._errors, repeat=len(pulls)):
            need, weight = np.atleast_1d(left) * np.ones_like(self._states[0]), 1.0
            for load, (error, chance) in reversed(list(zip(pulls, errors, strict=True))):
                need, weight = self._needed(need, load, error), weight * chance
            found = found + weight * self._stronger(need)
        return found

    def holds(self, *pulls):
        """Return the chance that a rod holds, (k,)."""
        return self.above(LEAST, *pulls)[:, 0]

    def largest(self, years):
        """Return values [N] and chances of the largest load of some years."""
        beta = self.load * self.load_cov * np.sqrt(6.0) / np.pi
        law = stats.gumbel_r(self.load - np.euler_gamma * beta, beta)
        edges = np.linspace(max(law.ppf(1e-9), 1.0), law.isf(1e-14), self.nodes.load)
        over = -np.expm1(years * law.logcdf(edges))
        values = np.concatenate([edges[:1], 0.5 * (edges[1:] + edges[:-1]), edges[-1:]])
        return values, -np.diff(np.concatenate([[1.0], over, [0.0]]))

    # What each way to use pulls leaves, and what it costs --------------------------------------

    def mean(self, chance):
        """Return the mean over what a batch shares of a chance, (k,)."""
        return float(self._states[0][:, 0] @ chance)

    def _fails(self, holds, above, years):
        """Return failure of a set that holds and outlives x by these chances, (k,), (k, x)."""
        return self.mean((holds[:, None] - above) @ self.largest(years)[1]) / self.mean(holds)

    def _left(self, *pulls):
        return self.above(self.largest(self.years)[0] / self.aged, *pulls)

    def every_rod(self, *pulls):
        """Return failure of a set of which all rods held, the chance of it, and rods broken."""
        holds = self.holds(*pulls)
        fails = self._fails(holds**self.rods, self._left(*pulls) ** self.rods, self.years)
        return fails, self.mean(holds**self.rods), self.rods * self.mean(1.0 - holds)

    def lost_where_batches_drop(self, pull):
        """Return the rods lost where a whole batch goes for one that broke."""
        return self.rods * self.mean(1.0 - self.holds(pull) ** self.rods)

    def dropped_at(self, pull, count, batches=1):
        """Return failure, chance to be accepted and rods lost: dropped when the count-th breaks.

        Until then a rod that breaks is replaced from its batch: negative binomial. A set of more
        batches has nothing in common but its loads.
        """
        holds, places = self.holds(pull), self.rods
        ways = [math.comb(places - 1 + j, j) * (1.0 - holds) ** j for j in range(count)]
        filled = [holds**places * way for way in ways]
        accepted = sum(filled)
        above = self._left(pull) ** places * sum(ways)[:, None]
        broken = sum(j * part for j, part in enumerate(filled))
        lost = batches * self.mean(broken + (1.0 - accepted) * (places + count - 1))
        kept = self.mean(accepted) ** batches
        outlived = (self._states[0][:, 0] @ above) ** batches @ self.largest(self.years)[1]
        return float(1.0 - outlived / kept), kept, lost

    def some(self, pull, pulled):
        """Return the same as `every_rod` where only so many of the rods are pulled."""
        holds, rest = self.holds(pull), self._left() ** (self.rods - pulled)
        fails = self._fails(holds**pulled, self._left(pull) ** pulled * rest, self.years)
        return fails, self.mean(holds**pulled), pulled * self.mean(1.0 - holds)

    def replaced(self, pull, batches=1):
        """Return the same where a batch goes once more rods have broken than it has places."""
        return self.dropped_at(pull, self.rods + 1, batches)

    def next_rod(self, pull):
        """Return failure of a rod with nothing known, and when all others of its batch held."""
        alone, others = self._left(), self.holds(pull) ** (self.rods - 1)
        before = self._fails(np.ones_like(others), alone, self.years)
        return before, self._fails(others, others[:, None] * alone, self.years)

    def again(self, pull):
        """Return failure where a set is pulled again after a year, and the chance to hold both.

        A rod must outlive the first year with what the first pull has left of it, and the other
        years with what both have.
        """
        (firsts, early), (later, late) = self.largest(1.0), self.largest(self.years - 1.0)
        holds = self.holds(pull) ** self.rods
        year = self._fails(holds, self.above(firsts / self.aged, pull) ** self.rods, 1.0)
        total = rest = 0.0
        for first, chance in zip(firsts, early, strict=True):
            if chance > 1e-9:
                left = self._both(np.concatenate([[LEAST], later]), first, pull) ** self.rods
                total += chance * self.mean(left[:, 0])
                rest += chance * self.mean((left[:, :1] - left[:, 1:]) @ late)
        both = self._both(np.array([LEAST]), LEAST, pull)[:, 0] ** self.rods
        return year + (1.0 - year) * rest / total, self.mean(both)

    def _both(self, left, first, pull):
        """Return the chance to hold a pull, a load, and a pull when aged, and be left, (k, x)."""
        found = 0.0
        for (one, chance), (two, other) in product(self._errors, repeat=2):
            aged = self._needed(left * np.ones_like(self._states[0]), pull, two)
            need = self._needed(np.maximum(aged, first) / self.aged, pull, one)
            found = found + chance * other * self._stronger(need)
        return found


def smallest_pull(batch, target, low, high, halvings=12):
    """Return the load between two from which every rod pulled leaves the target or less [N]."""
    assert batch.every_rod(low)[0] > target >= batch.every_rod(high)[0]
    for _ in range(halvings):
        middle = float(np.sqrt(low * high))
        met = batch.every_rod(middle)[0] <= target
        low, high = (low, middle) if met else (middle, high)
    return float(np.sqrt(low * high))


@dataclass(frozen=True)
class Ageing(Batch):
    """A batch of which each joint's surface ages in a way of its own, which may go with its s.

    A new joint holds what its surface does, a share of the glue's own strength; in service its
    surface may hold less or more, but no more than the glue. No rig error, and nothing is hurt.
    """

    surface: float = 0.6
    loss: float = 0.3
    """Share of the strength that damp takes of glue and surfaces alike."""
    scatter: float = 0.3
    """Standard deviation of the log of a joint's own factor, whose median is 1."""
    scores: float = 0.0
    """Correlation of the normal scores of s and of the own factor."""

    def above(self, left, *pulls):
        """Return the chance that a rod holds a pull and then has more than `left`, (k, x)."""
        _, factor, *_ = self._states
        (pull,) = pulls or (LEAST,)
        z = np.linspace(-7.0, 7.0, 561)
        chance = np.diff(ndtr(z))
        middle = 0.5 * (z[1:] + z[:-1])
        sigma = scatter(self.own)
        new = self.bond * factor[:, 0, None] * np.exp(sigma * middle - 0.5 * sigma**2)
        found = []
        for strengths in new:
            holds = strengths >= pull
            need = np.atleast_1d(left)[:, None] / (strengths[holds] * (1.0 - self.loss))
            own = np.where(need > 1.0 / self.surface, np.inf, np.log(need) / self.scatter)
            aside = np.sqrt(1.0 - self.scores**2)
            more = ndtr(-(own - self.scores * middle[holds]) / aside)
            found.append((more @ chance[holds]) ** 2)
        return np.array(found)
