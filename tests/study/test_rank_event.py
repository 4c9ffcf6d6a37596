"""Total indices of the failure against quadrature."""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy import stats

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.rank_event import LOADS, event_indices
from jointrisk.study.rank_rows import stage
from jointrisk.study.sample import weighted_sample

COV, FACTOR = 0.12, 0.15
LOAD = 2600.0
SPREADS = {
    "adhesive.shear_strength": Lognormal(10.0, 10.0 * COV),
    "model.load_factor": Lognormal(1.0, FACTOR),
}


def indices(scenario, seed=1, pool=None):
    sample = weighted_sample(scenario, seed, None, 0.015)
    whole = float((sample.weight * sample.fails).mean())
    return whole, event_indices(stage(sample, seed), whole, seed, pool)


def exact(oracles, laws):
    """Total indices of R < f Q, f lognormal, R the weakest of two, Q the largest of the laws."""
    values, mass = oracles.on_grid(
        oracles.weakest(oracles.lognormal(oracles.BOND, COV).cdf, 2), 1500.0, 25_000.0, 401
    )
    s = math.sqrt(math.log1p(FACTOR**2))
    z = np.linspace(-5.0, 5.0, 81)
    share = stats.norm.pdf(z) / stats.norm.pdf(z).sum()
    factors = np.exp(s * z - 0.5 * s * s)
    sizes, size_mass = oracles.on_grid(
        lambda x: np.exp(4.0 * sum(law.logcdf(x) for law in laws)), 600.0, 25_000.0, 401
    )
    fails = (values[None, :, None] < factors[:, None, None] * sizes[None, None, :]).astype(float)
    p = np.einsum("i,j,k,ijk->", share, mass, size_mass, fails)
    both = {
        "model.load_factor": (
            np.einsum("i,ijk->jk", share, fails) ** 2, np.outer(mass, size_mass)
        ),
        "adhesive.shear_strength": (
            np.einsum("j,ijk->ik", mass, fails) ** 2, np.outer(share, size_mass)
        ),
        LOADS: (np.einsum("k,ijk->ij", size_mass, fails) ** 2, np.outer(share, mass)),
    }  # fmt: skip
    return p, {key: (p - np.sum(f * w)) / (p * (1 - p)) for key, (f, w) in both.items()}


@pytest.mark.parametrize("loads", [1, 2])
def test_indices_of_a_rod_by_quadrature(oracles, loads):
    """With two loads the same draw meets both: no bound, the exact chance that both times hold."""
    means = [LOAD, 0.97 * LOAD][:loads]
    given = [
        oracles.load(Gumbel(mean, 0.2 * mean), name=f"jerk {number}")
        for number, mean in enumerate(means)
    ]
    whole, found = indices(oracles.plain(SPREADS, given))
    p, truth = exact(oracles, [oracles.gumbel(mean, 0.2) for mean in means])
    assert whole == pytest.approx(p, rel=0.06)
    entries = {entry.variable: entry for entry in found.entries}
    assert entries.keys() == truth.keys()
    for key, total in truth.items():
        assert entries[key].total.estimate == pytest.approx(total, abs=0.03), key
        assert entries[key].total.low - 0.01 < total < entries[key].total.high + 0.01


@pytest.mark.parametrize(("mean", "cov"), [(0.02, 1.0), (0.3, 0.4)])
def test_labels_and_their_chances(oracles, mean, cov):
    """Only weak joints fail: whether one is weak is nearly all, and its chance is told apart."""
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 0.4),
        "weak_bonds.lone_weight": Lognormal(mean, cov * mean),
    }
    whole, found = indices(oracles.plain(spreads, [oracles.load(Gumbel(4500.0, 60.0))]))
    totals = {entry.variable: entry.total.estimate for entry in found.entries}
    # fails as soon as one of two joints is weak: drawn anew, it fails again with the same chance
    s = math.sqrt(math.log1p(cov**2))
    q = np.minimum(np.exp(s * np.linspace(-6, 6, 2001) + math.log(mean) - 0.5 * s * s), 1.0)
    share = stats.norm.pdf(np.linspace(-6, 6, 2001))
    share /= share.sum()
    fails = 1.0 - (1.0 - q) ** 2
    p = share @ fails
    assert whole == pytest.approx(p, rel=0.06)
    assert totals["weak joint"] == pytest.approx((p - share @ fails**2) / (p * (1 - p)), abs=0.03)
    # its chance drawn anew with the joints' own numbers kept: both fail below the smaller chance
    both = share @ (1.0 - (1.0 - np.minimum.outer(q, q)) ** 2) @ share
    assert totals["weak_bonds.lone_weight"] == pytest.approx((p - both) / (p * (1 - p)), abs=0.04)
    assert totals["adhesive.shear_strength"] < 0.02


def test_same_indices_at_any_pool(oracles):
    scenario = oracles.plain(SPREADS, [oracles.load(Gumbel(LOAD, 520.0))])
    alone = indices(scenario, 0)[1]
    with ThreadPoolExecutor(3) as pool:
        assert indices(scenario, 0, pool)[1] == alone
    assert indices(scenario, 1)[1] != alone


def test_correlated_variables_are_drawn_anew_together(oracles):
    pair = ("adhesive.shear_strength", "plug.overlap")
    from jointrisk.spread import Normal

    spreads = {"adhesive.shear_strength": Lognormal(10.0, 1.2), "plug.overlap": Normal(20.0, 1.5)}
    load = oracles.load(Gumbel(LOAD, 520.0))
    found = indices(oracles.plain(spreads, [load], correlations={pair: 0.5}))[1]
    told = {frozenset(entry.variable.split(", ")) for entry in found.entries}
    assert told == {frozenset(pair), frozenset([LOADS])}
