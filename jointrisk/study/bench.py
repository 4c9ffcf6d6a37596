"""The rods of a weighted sample in the rig: pulled once or oftener, and what is left of them.

A rod is pulled once and holds when its weakest link is above the applied load L(1 + b + e). Its
chance to hold is exact over the pull's own error e. What the pull takes of its joints hangs on
the load they felt, so e is drawn there, given that the rod held: from the same uniform numbers
at every load, which keeps a curve over the load smooth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr, ndtri

from jointrisk.model.ageing import slice_edges
from jointrisk.model.draws import placed
from jointrisk.model.loads import accumulated, hazard
from jointrisk.model.members import rod_minimum
from jointrisk.model.pulled import (
    DAMAGE_FROM,
    DAMAGE_MOST,
    Beside,
    beside,
    share_kept,
    time_undoes,
    weakened,
)
from jointrisk.model.wear import Bearing
from jointrisk.reliability.streams import block_rng
from jointrisk.study.sample import JOINTS_AT_ONCE, PULL, share_of_blocks

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.sample import Outcome, Sample

    Array = npt.NDArray[np.float64]

UNLIKELY = 1e-9
"""Draws with less than this share of the heaviest one's weight are not worked out anew [-]."""
UNIMPORTANT = 1e-4
"""Nor are those that could add, hurt as much as a pull can, less than this share of what a draw
adds on average unhurt: together they change the failures by less than that [-]."""
FARTHEST = 8.3
"""No pull errs by more of its standard deviations: a double between 0 and 1 is no nearer to 1."""
HURT = 0.01
"""A joint that loses more than this share of its strength is counted as hurt [-]."""
LEAST = 1e-300
ROUNDING = 1e-12
READ = ("ageing.", "model.", "load.")
"""How the keys begin of what service asks of bonds whose strength is known."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Failure rates of service."""

    rate: Array
    """Of the set in each slice of the life [1/years], (slices, n)."""
    rod_rate: Array
    """Of each rod [1/years], (slices, rods, n)."""


@dataclass(frozen=True, slots=True)
class Pulled:
    """A set after one pull of its rods, or several."""

    hold: Array
    """Chance that every rod pulled has held, (n,) [-]."""
    refused: Array
    """Chance that each rod broke in the last pull, (rods, n) [-]; 0 where it was not pulled."""
    share: Array
    """Share of its strength that each joint keeps, given that its rod held, (joints, n) [-]."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A weighted sample made ready for the rig."""

    sample: Sample
    values: Mapping[str, Array]
    """Drawn values of loads and of ageing, laid over rods and joints."""
    other: Beside
    begins: Array
    """Share of its strength from which a joint is hurt, (1, n) [-]."""
    most: Array
    """Share that a pull takes at most, (1, n) [-]."""
    error: float
    """Standard deviation of a pull's own error, as a share of the load [-]."""
    bias: Array
    """Bias of the gauge, (n,) [-]."""
    worst: Array
    """Chance to fail over the life with every joint hurt as much as one pull can, (n,) [-]."""

    @property
    def rods(self) -> RodSet:
        """The set of rods."""
        return self.sample.rods

    @property
    def weight(self) -> Array:
        """Weight of each draw, (n,) [-]."""
        return self.sample.weight

    @property
    def outcome(self) -> Outcome:
        """What the draws came to with no pull."""
        return self.sample.outcome

    @property
    def scenario(self) -> Scenario:
        """What the rods are of."""
        return self.rods.scenario

    @property
    def rod_of_joint(self) -> npt.NDArray[np.int64]:
        """Rod of each joint, (joints,)."""
        return self.rods.layout.rod_of_joint

    @property
    def unhurt(self) -> Pulled:
        """The set before any pull."""
        rods, n = self.outcome.in_rig.shape
        return Pulled(np.ones(n), np.zeros((rods, n)), np.ones((2 * rods, n)))

    def with_perfect_rig(self) -> Bench:
        """Return the same rods in a rig that pulls just what it is asked for."""
        return replace(self, error=0.0, bias=np.zeros_like(self.bias))


def bench_of(sample: Sample, most_joints: int | None = None) -> Bench:
    """Make the draws of a sample ready for the rig.

    Parameters
    ----------
    sample : Sample
        Evaluated with the rig.
    most_joints : int, optional
        No more joints than these are kept, in whole blocks and at least one block [-].
    """
    if most_joints is not None:
        sample = share_of_blocks(sample, most_joints)
    rods, n = sample.rods, sample.weight.size
    values = placed(rods.values(sample.draws.u), rods.layout)
    scenario = rods.scenario
    linkage = {key for load in scenario.loads for key in (*load.ratios, load.angle)}
    kept = {k: v for k, v in values.items() if k.startswith(READ) or k in linkage}
    bench = Bench(
        sample=sample,
        values=kept,
        other=beside(scenario, rods.layout, values, n, with_push=rods.push),
        begins=np.broadcast_to(values[DAMAGE_FROM], (1, n)),
        most=np.broadcast_to(np.clip(values[DAMAGE_MOST], 0.0, 1.0), (1, n)),
        error=scenario.proof.rig_error_cov,
        bias=sample.outcome.bias,
        worst=np.ones(n),
    )
    if not scenario.loads:
        return bench
    share = np.repeat(1.0 - bench.most, rods.layout.joints, axis=0)
    rates = rates_after(bench, replace(bench.unhurt, share=share))
    return replace(bench, worst=life_chance(bench, rates))


def life_chance(bench: Bench, rates: Rates | Outcome) -> Array:
    """Return the chance that any rod of each draw fails over the life, (n,) [-]."""
    spans = np.diff(slice_edges(bench.scenario))
    return np.asarray(-np.expm1(-accumulated(rates.rate, spans)))


def chance_refused(bench: Bench, load: float, strength: Array | None = None) -> Array:
    """Return the chance that each rod breaks in a pull, (rods, n) [-].

    Parameters
    ----------
    bench : Bench
    load : float [N]
        Load aimed at.
    strength : ndarray, (rods, n) [N], optional
        Of each rod, or of one part of it; by default of its weakest link.
    """
    strength = bench.outcome.in_rig if strength is None else strength
    return np.asarray(ndtr(-_score(bench, load, strength)))


def pull(
    bench: Bench,
    load: float,
    before: Pulled | None = None,
    *,
    only: npt.NDArray[np.bool_] | None = None,
    rig_joint: Array | None = None,
    turn: int = 0,
) -> Pulled:
    """Pull the rods of a set.

    Parameters
    ----------
    bench : Bench
    load : float [N]
        Load aimed at.
    before : Pulled, optional
        What earlier pulls have left.
    only : ndarray of bool, (rods,), optional
        Which rods are pulled; all by default.
    rig_joint : ndarray, (joints, n) [N], optional
        What the bonds hold in the rig at that time; when new by default.
    turn : int
        Number of the pull, so that each has errors of its own.
    """
    before = bench.unhurt if before is None else before
    bond = bench.outcome.rig_joint if rig_joint is None else rig_joint
    bond = bond * before.share
    strength = np.minimum(rod_minimum(bond), bench.other.rig)
    refused = ndtr(-_score(bench, load, strength))
    held = 1.0 - refused
    share = np.ones_like(bond)
    most_felt = load * (1.0 + bench.bias + FARTHEST * bench.error)
    felt_from = bond * np.maximum(bench.begins, LEAST)
    rows = np.flatnonzero(((felt_from < most_felt) & (bench.most > 0.0)).any(axis=0))
    if rows.size:
        applied = _felt(bench, load, held, rows, turn)[bench.rod_of_joint]
        begins, most = bench.begins[:, rows], bench.most[:, rows]
        share[:, rows] = share_kept(applied, bond[:, rows], begins, most)
    if only is not None:
        share[~only[bench.rod_of_joint]] = 1.0
        refused[~only], held[~only] = 0.0, 1.0
    return Pulled(before.hold * held.prod(axis=0), refused, before.share * share)


def _felt(bench: Bench, load: float, held: Array, rows: npt.NDArray[np.intp], turn: int) -> Array:
    """Return the load that rods felt that held, with an error drawn given that, (rods, k) [N]."""
    applied = load * (1.0 + bench.bias[rows])
    if bench.error > 0.0:
        drawn = block_rng(bench.sample.seed, PULL, turn).random(held.shape)[:, rows]
        error = ndtri(np.maximum(drawn * held[:, rows], LEAST))
        applied = applied + load * bench.error * error
    return np.broadcast_to(np.maximum(applied, 0.0), (held.shape[0], rows.size))


def rates_after(bench: Bench, pulled: Pulled, factor: float = 1.0) -> Rates:
    """Return the failure rates of sets whose rods have held.

    Parameters
    ----------
    bench : Bench
    pulled : Pulled
    factor : float
        On every load of service [-].
    """
    outcome = bench.outcome
    likely = bench.weight * pulled.hold
    asked = likely > UNLIKELY * float(likely.max())
    if factor == 1.0:
        kept = pulled.share.min(axis=0)
        unhurt = likely * life_chance(bench, outcome)
        most = likely * np.where(kept >= 1.0 - bench.most[0] - ROUNDING, bench.worst, 1.0)
        asked &= (kept < 1.0) & (most > UNIMPORTANT * float(unhurt.mean()))
    rate, rod_rate = outcome.rate.copy(), outcome.rod_rate.copy()
    for rows in _pieces(bench, np.flatnonzero(asked)):
        found = _rates(bench, rows, pulled.share[:, rows], factor)
        rate[:, rows], rod_rate[:, :, rows] = found.rate, found.rod_rate
    return Rates(rate, rod_rate)


def _pieces(bench: Bench, rows: npt.NDArray[np.intp]) -> Iterator[npt.NDArray[np.intp]]:
    """Cut rows into pieces that fit the cache."""
    step = max(256, JOINTS_AT_ONCE // bench.rods.layout.joints)
    return (rows[start : start + step] for start in range(0, rows.size, step))


def _rates(bench: Bench, rows: npt.NDArray[np.intp], share: Array, factor: float) -> Rates:
    scenario, outcome = bench.scenario, bench.outcome

    def of(array: Array) -> Array:
        return array if array.shape[-1] == 1 else array[..., rows]

    values = {key: of(value) for key, value in bench.values.items()}
    values["model.load_factor"] = factor * values["model.load_factor"]
    years = np.diff(slice_edges(scenario))
    pushes = outcome.bond_push
    bearings = [
        Bearing(of(outcome.bond_pull[i]), None if pushes is None else of(pushes[i]), float(span))
        for i, span in enumerate(years)
    ]
    other = bench.other.rows(rows)
    slices = weakened(scenario, bench.rods.layout, values, bearings, other, share)
    found = hazard(scenario, values, slices, time_undoes(scenario), {})
    return Rates(found.total, found.rod)


def share_hurt(bench: Bench, pulled: Pulled) -> float:
    """Return the share of the rods that held of which a joint was hurt [-]."""
    held = bench.weight * (1.0 - pulled.refused)
    total = float(held.sum())
    hurt = rod_minimum(pulled.share) < 1.0 - HURT
    return float((held * hurt).sum()) / total if total > 0.0 else 0.0


def _score(bench: Bench, load: float, strength: Array) -> Array:
    """Return the normal score of holding a pull, (rods, n) [-]; infinite without an own error."""
    spare = strength / load - 1.0 - bench.bias
    if bench.error == 0.0:
        return np.where(spare >= 0.0, np.inf, -np.inf)
    return np.asarray(spare / bench.error)
