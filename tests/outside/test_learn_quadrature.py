"""`learn` against quadrature of prior times likelihood.

Rods of `tests/study/oracles.py`, of which nothing varies but a joint's own strength, what a batch
shares and one or two things not known. The answers use numpy and scipy.stats alone: sums over fine
grids, by Bayes' theorem (Gelman et al., Bayesian Data Analysis, chapters 1 to 3, from memory); not
a line of the package's study code.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.scenario.pull_log import Pull
from jointrisk.spread import Gumbel, Lognormal, Uniform

HERE = Path(__file__).parent
_SPEC = importlib.util.spec_from_file_location(
    "oracles_for_learn", HERE.parent / "study" / "oracles.py"
)
rods_of = importlib.util.module_from_spec(_SPEC)
sys.modules["oracles_for_learn"] = rods_of
_SPEC.loader.exec_module(rods_of)

BOND, YEARS = rods_of.BOND, rods_of.YEARS
OWN = 0.12
LOAD, LOAD_COV = 2500.0, 0.2


@dataclass(frozen=True)
class Rods:
    """Rods of one not known factor on all bonds, and of one not known weight of weak joints."""

    factor: float = 0.2
    """Coefficient of variation of the factor, lognormal of mean 1."""
    shared: float = 0.0
    """Of what a batch shares."""
    weight: tuple[float, float] = (0.0, 0.0)
    """Between which the weight of weak joints lies, evenly."""
    keeps: float = 0.3
    error: float = 0.03
    bias: float = 0.0

    def scenario(self):
        spreads = {
            "adhesive.shear_strength": Lognormal(10.0, 10.0 * OWN),
            "model.bond_factor": Lognormal(1.0, self.factor),
            "weak_bonds.keeps": self.keeps,
        }
        if self.shared:
            spreads["batch.bond_factor"] = Lognormal(1.0, self.shared)
        if self.weight[1]:
            spreads["weak_bonds.lone_weight"] = Uniform(*self.weight)
        load = rods_of.load(Gumbel(LOAD, LOAD * LOAD_COV))
        return rods_of.plain(spreads, [load], rig=(self.error, self.bias), rods_per_batch=12)


def nodes(sd, points=81, reach=5.0):
    """Return normal nodes of a standard deviation and their weights."""
    if sd == 0.0:
        return np.zeros(1), np.ones(1)
    z = np.linspace(-reach, reach, points)
    weight = np.exp(-0.5 * z * z)
    return sd * z, weight / weight.sum()


def logs(cov, points=81):
    """Return values of a lognormal factor of mean 1 and their weights."""
    s = math.sqrt(math.log1p(cov**2))
    z, weight = nodes(s, points)
    return np.exp(z - 0.5 * s * s), weight


class Exact:
    """The answers on grids: factor, weight and bias are common to all, `shared` to a batch."""

    def __init__(self, rods, own=OWN):
        self.rods = rods
        factor, pf = logs(rods.factor, 121)
        low, high = rods.weight
        weights = np.linspace(low, high, 41) if high > low else np.array([low])
        bias, pb = nodes(rods.bias, 31)
        self.factor, self.weak, self.bias = (
            array.ravel() for array in np.meshgrid(factor, weights, bias, indexing="ij")
        )
        chances = np.meshgrid(pf, np.full(weights.size, 1.0 / weights.size), pb, indexing="ij")
        self.prior = (chances[0] * chances[1] * chances[2]).ravel()
        self.batch, self.of_batch = logs(rods.shared, 61)
        s = math.sqrt(math.log1p(own**2))
        self.law = stats.lognorm(s, scale=BOND * math.exp(-0.5 * s * s))
        self.errors, self.of_error = nodes(rods.error, 41)

    def survival(self, x):
        """Return the chance that a rod holds x, (states, batches, k)."""
        scale = (self.factor[:, None] * self.batch)[..., None]
        weak = self.weak[:, None, None]
        one = (1.0 - weak) * self.law.sf(x / scale)
        if self.weak.any():
            one = one + weak * self.law.sf(x / (scale * self.rods.keeps))
        return one**2

    def felt(self, load):
        """Return the loads that a rod may have felt, (states, 1, errors)."""
        return load * (1.0 + self.bias[:, None, None] + self.errors)

    def result(self, load, kind):
        """Return the chance of one pull, (states, batches); a density where it broke at it."""
        if kind == "broke at":
            step = 1e-4 * load
            up, down = (self.result(load + d, "held") for d in (-step, step))
            return (up - down) / (2.0 * step)
        held = self.survival(self.felt(load)) @ self.of_error
        return held if kind == "held" else 1.0 - held

    def fails(self, load=None):
        """Return the chance that a rod fails and held `load` in the rig, (states, batches)."""
        edges = np.geomspace(0.02 * BOND, 6.0 * BOND, 1201)
        middle = np.sqrt(edges[1:] * edges[:-1])
        kept = rods_of.log_kept_yearly(rods_of.gumbel(LOAD, LOAD_COV))
        brings = -np.expm1(kept(middle))
        found = []
        for row in range(self.factor.size):
            part = object.__new__(Exact)
            part.__dict__ = self.__dict__ | {
                "factor": self.factor[row : row + 1],
                "weak": self.weak[row : row + 1],
            }
            chance = -np.diff(part.survival(edges)[0], axis=-1)
            hold = 1.0
            if load is not None:
                spare = middle / load - 1.0 - self.bias[row]
                hold = stats.norm.cdf(spare / self.rods.error)
            found.append(chance @ (brings * hold))
        return np.array(found)

    def after(self, log, values):
        """Return posterior means of values of the states, (states,); log: batch → pulls."""
        likely = self.prior.copy()
        for pulls in log.values():
            likely = likely * (self.chance(pulls) @ self.of_batch)
        return float((likely * values).sum() / likely.sum())

    def chance(self, pulls):
        """Return the chance of the pulls of one batch, (states, batches)."""
        found = np.ones((self.factor.size, self.batch.size))
        for load, kind, count in pulls:
            found = found * self.result(load, kind) ** count
        return found

    def sister(self, pulls, held=None):
        """Return failure of a rod of the batch seen: the next one, or one that held."""
        rest = [(x, kind, n - (x == held and kind == "held")) for x, kind, n in pulls]
        fails = self.prior @ ((self.chance(rest) * self.fails(held)) @ self.of_batch)
        return float(fails / (self.prior @ (self.chance(pulls) @ self.of_batch)))


def log_of(batches):
    """Return a log as the package reads it."""
    rows = []
    for name, pulls in batches.items():
        for load, kind, count in pulls:
            for _ in range(count):
                number = len(rows)
                rows.append(Pull(f"r{number}", name, load, kind == "held", kind, number + 2))
    return rows


HELD = {"a": [(6000.0, "held", 12)]}
BROKE = {"a": [(9500.0, "broke at", 2), (8200.0, "broke at", 1)], "b": [(9000.0, "broke at", 1)]}
BOTH = {"a": [(6500.0, "held", 4), (6500.0, "broke below", 1)], "b": [(6500.0, "held", 3)]}
CASES = {
    "one unknown, all held": (Rods(), HELD),
    "one unknown, broken": (Rods(), BROKE),
    "with a gauge's bias": (Rods(bias=0.08), HELD),
    "batches": (Rods(shared=0.15), BOTH),
    "batches, broken": (Rods(shared=0.15), BROKE),
    "weak bonds": (Rods(weight=(0.0, 0.2)), {"a": [(4000.0, "held", 11), (2300.0, "broke at", 1)]}),
}


@pytest.fixture(scope="module", params=CASES)
def case(request):
    rods, log = CASES[request.param]
    return Exact(rods), log, jointrisk.learn(rods.scenario(), log_of(log), seed=0)


def unknown(told, key):
    return next(row for row in told.unknowns if row.key == key)


def holds(outlook, wanted, scale=1.0):
    """Tell whether an outlook is within 15 % and its interval, half as wide again, holds."""
    low, high = (
        outlook.estimate * (x / outlook.estimate) ** 1.5 for x in (outlook.low, outlook.high)
    )
    return low <= scale * wanted <= high and abs(outlook.estimate / (scale * wanted) - 1.0) < 0.15


def test_mean_of_the_factor(case):
    exact, log, told = case
    found = unknown(told, "model.bond_factor").posterior_mean
    assert told.converged
    assert found == pytest.approx(exact.after(log, exact.factor), rel=0.01)


def test_spread_of_the_factor(case):
    exact, log, told = case
    z = np.log(exact.factor)
    mean = exact.after(log, z)
    before = math.sqrt(exact.prior @ (z - exact.prior @ z) ** 2)
    wanted = math.sqrt(exact.after(log, (z - mean) ** 2)) / before
    assert unknown(told, "model.bond_factor").narrowed == pytest.approx(wanted, rel=0.06)


def test_failure_of_a_new_rod(case):
    exact, log, told = case
    values = exact.fails() @ exact.of_batch
    first = float(exact.prior @ values)
    assert told.before.life.estimate == pytest.approx(first, rel=0.05)
    assert holds(told.after.life, exact.after(log, values), told.before.life.estimate / first)


def test_failure_of_rods_of_the_batch(case):
    exact, log, told = case
    if len(log) > 1:
        pytest.skip("the quadrature of sisters is of one batch")
    for rod in told.rods[:-1]:
        assert holds(rod.after, exact.sister(log[rod.batch], rod.load_newton)), rod


def test_weight_of_weak_bonds():
    rods, log = CASES["weak bonds"]
    exact = Exact(rods)
    told = jointrisk.learn(rods.scenario(), log_of(log), seed=0)
    wanted = exact.after(log, exact.weak)
    assert unknown(told, "weak_bonds.lone_weight").posterior_mean == pytest.approx(wanted, rel=0.03)
    assert told.weak.after_mean == pytest.approx(wanted, rel=0.03)
