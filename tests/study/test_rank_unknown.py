"""What settling an unknown brings, against closed forms and quadrature."""

import math

import numpy as np
import pytest
from scipy import stats

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.rank_rows import stage
from jointrisk.study.rank_states import States, shares, states
from jointrisk.study.rank_unknown import not_known
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
LOAD_FACTOR, BOND_FACTOR = 0.10, 0.20
UNKNOWN = {
    "model.load_factor": Lognormal(1.0, LOAD_FACTOR),
    "model.bond_factor": Lognormal(1.0, BOND_FACTOR),
}
LOAD = 2800.0
Z95 = 1.6449


def made(weights, *, noise=0.0, pair=0.0, square=0.0, count=1024, seed=3):
    """States whose ln p is a given function of the scores, with noise of known variance."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((count, len(weights)))
    logs = -6.0 + z @ np.array(weights) + pair * z[:, 0] * z[:, 1]
    logs += square * (z[:, 0] ** 2 - 1.0) / math.sqrt(2.0)
    logs += math.sqrt(noise) * rng.standard_normal(count)
    keys = tuple(f"k{place}" for place in range(len(weights)))
    return States(keys, z, logs, np.full(count, noise), count)


@pytest.mark.parametrize("noise", [0.0, 0.3])
@pytest.mark.parametrize("seed", range(4))
def test_shares_of_a_known_function(noise, seed):
    """ln p = c + z0 + z1/2 + z0 z1/2 + h2(z0)/3: parts of the variance 1, 1/4, 1/4, 1/9."""
    found = shares(
        made([1.0, 0.5, 0.0, 0.0], noise=noise, pair=0.5, square=1 / 3, count=2048, seed=seed)
    )
    whole = 1.0 + 0.25 + 0.25 + 1 / 9
    first = {"k0": (1 + 1 / 9) / whole, "k1": 0.25 / whole, "k2": 0.0, "k3": 0.0}
    for key, exact in first.items():
        total = exact + (0.25 / whole if key in ("k0", "k1") else 0.0)
        for entry, truth in ((found.first[key], exact), (found.total[key], total)):
            assert entry.low - 0.02 <= truth <= entry.high + 0.02, (key, entry, truth)
            assert entry.estimate == pytest.approx(truth, abs=0.03)
    assert found.unexplained.low <= 0.01
    assert found.unexplained.estimate < 0.12


def test_noise_is_not_taken_for_a_share():
    """Four unknowns that do nothing: of few noisy states each would seem to cause 3 % in all."""
    seen = []
    for seed in range(20):
        found = shares(made([1.0, 0.0, 0.0, 0.0, 0.0], noise=1.0, count=256, seed=seed))
        seen += [found.total[key].estimate for key in ("k1", "k2", "k3", "k4")]
    assert np.mean(seen) < 0.015


def test_what_the_curves_do_not_explain_is_named():
    """A product of three factors lies outside all curves and pairs: its part is unexplained."""
    plain = made([1.0, 0.0, 0.0], count=4096)
    z = plain.scores
    logs = plain.logs + 0.7 * z[:, 0] * z[:, 1] * z[:, 2]
    found = shares(States(plain.keys, z, logs, plain.noise, plain.asked))
    exact = 0.49 / 1.49
    assert found.unexplained.low <= exact <= found.unexplained.high
    assert found.unexplained.estimate == pytest.approx(exact, abs=0.12)


def test_the_band_and_what_is_left_of_it():
    """ln p normal: the band is its 5 and 95 % points, and without z0 that of z1 alone."""
    found = shares(made([1.0, 0.5, 0.0], noise=0.2, count=8192))
    low, middle, high = found.band
    wide = Z95 * math.sqrt(1.25)
    assert math.log(middle) == pytest.approx(-6.0, abs=0.06)
    assert math.log(low) == pytest.approx(-6.0 - wide, abs=0.12)
    assert math.log(high) == pytest.approx(-6.0 + wide, abs=0.12)
    left = [math.log(end) for end in found.left["k0"]]
    assert left == pytest.approx([-6.0 - Z95 * 0.5, -6.0 + Z95 * 0.5], abs=0.1)
    left = [math.log(end) for end in found.left["k2"]]
    assert left == pytest.approx([-6.0 - wide, -6.0 + wide], abs=0.12)


def test_intervals_of_shares_hold_the_truth_as_often_as_they_say():
    held = 0
    for seed in range(60):
        entry = shares(made([1.0, 0.5, 0.3], noise=0.2, pair=0.3, count=512, seed=seed))
        exact = 1.0 / (1.0 + 0.25 + 0.09 + 0.09)
        held += entry.first["k0"].low <= exact <= entry.first["k0"].high
    assert held >= 51  # 60 at 95 %: fewer than one run in ten thousand


# On a rod ------------------------------------------------------------------------------------


def quadrature(oracles, points=33):
    """Failure probability over the scatter at states of the two unknowns, and their shares."""
    z = np.linspace(-4.5, 4.5, points)
    share = stats.norm.pdf(z) / stats.norm.pdf(z).sum()
    law = oracles.weakest(oracles.lognormal(oracles.BOND, COV).cdf, 2)
    values, mass = oracles.on_grid(law, 100.0, 60_000.0, 2001)
    kept = oracles.log_kept_yearly(oracles.gumbel(LOAD, 0.2))

    def factor(cov, score):
        s = math.sqrt(math.log1p(cov**2))
        return math.exp(s * score - 0.5 * s * s)

    def chance(load, bond):
        ratio = factor(BOND_FACTOR, bond) / factor(LOAD_FACTOR, load)
        return oracles.fail_chance(values * ratio, mass, kept)

    table = np.array([[chance(load, bond) for bond in z] for load in z])
    return share, table, chance


@pytest.fixture(scope="module")
def exact(oracles):
    return quadrature(oracles)


@pytest.fixture(scope="module")
def rod(oracles):
    load = oracles.load(Gumbel(LOAD, 0.2 * LOAD))
    sample = weighted_sample(oracles.plain(GLUE | UNKNOWN, [load]), 5, None, 0.015)
    whole = float((sample.weight * sample.fails).mean())
    return sample, not_known(sample, stage(sample, 5), whole, 5)


def test_shares_of_the_variance_by_quadrature(exact, rod):
    share, table, _ = exact
    logs = np.log(table)
    mean = share @ logs @ share
    variance = share @ (logs - mean) ** 2 @ share
    found = {entry.variable: entry for entry in rod[1].unknowns}
    truth = {
        "model.load_factor": share @ (logs @ share - mean) ** 2 / variance,
        "model.bond_factor": share @ (share @ logs - mean) ** 2 / variance,
    }
    for key, first in truth.items():
        assert found[key].first.low <= first <= found[key].first.high
        assert found[key].first.estimate == pytest.approx(first, abs=0.06)
    assert rod[1].shares_told
    assert [entry.variable for entry in rod[1].unknowns] == sorted(truth, key=lambda k: -truth[k])


def test_the_band_by_quadrature(exact, rod):
    share, table, _ = exact
    order = np.argsort(table.ravel())
    weight = np.cumsum(np.outer(share, share).ravel()[order])
    for level, found in ((0.05, rod[1].p05), (0.5, rod[1].p50), (0.95, rod[1].p95)):
        truth = table.ravel()[order][np.searchsorted(weight, level)]
        assert math.log(found / truth) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("key", list(UNKNOWN))
@pytest.mark.parametrize("end", ["at_low", "at_high"])
def test_failure_at_the_ends_of_an_unknown(exact, rod, key, end):
    share, _, chance = exact
    z = np.linspace(-4.5, 4.5, share.size)
    score = -Z95 if end == "at_low" else Z95
    places = [(score, other) if key == "model.load_factor" else (other, score) for other in z]
    truth = float(share @ np.array([chance(*place) for place in places]))
    (entry,) = [e for e in rod[1].unknowns if e.variable == key]
    found = getattr(entry, end)
    width = math.log(found.high / found.low) / 2.0
    assert width < 0.25
    assert abs(math.log(found.estimate / truth)) < 2.0 * width + 0.01
    assert entry.low_value == pytest.approx(float(UNKNOWN[key].ppf(0.05)))


def test_every_unknown_at_its_median(exact, rod):
    truth = exact[2](0.0, 0.0)
    found = rod[1].middle
    assert abs(math.log(found.estimate / truth)) < math.log(found.high / found.low) + 0.01


def test_nothing_is_told_where_all_is_known(oracles):
    sample = weighted_sample(oracles.plain(GLUE, [oracles.load(Gumbel(LOAD, 560.0))]), 1)
    assert states(sample, 1) is None
    assert not_known(sample, stage(sample, 1), 0.01, 1) is None


def test_a_band_that_noise_hides_is_not_shared_out(oracles):
    """Unknowns of a hundredth of a per cent: the order is by their ends, no share is told."""
    spreads = GLUE | {
        "model.load_factor": Lognormal(1.0, 0.0001),
        "model.bond_factor": Lognormal(1.0, 0.0002),
    }
    sample = weighted_sample(oracles.plain(spreads, [oracles.load(Gumbel(LOAD, 560.0))]), 1)
    whole = float((sample.weight * sample.fails).mean())
    found = not_known(sample, stage(sample, 1), whole, 1)
    assert not found.shares_told
    assert [entry.variable for entry in found.unknowns] == [
        "model.bond_factor",
        "model.load_factor",
    ]
