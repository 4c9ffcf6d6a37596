"""Ways to use pulls against quadrature: what a batch shares by nodes, each rod by its own law."""

import numpy as np
import pytest

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study import pulls
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.proof_policies import next_rod, policies
from jointrisk.study.pull_sample import pull_sample

COV, SHARED, MEAN, LOAD, RODS = 0.1, 0.15, 3000.0, 5600.0, 4
SPREADS = {
    "adhesive.shear_strength": Lognormal(10.0, 10.0 * COV),
    "batch.bond_factor": Lognormal(1.0, SHARED),
}


def scenario_of(oracles, **more):
    jerk = oracles.load(Gumbel(MEAN, 0.2 * MEAN))
    return oracles.plain(SPREADS, [jerk], rods=RODS, rods_per_batch=RODS, **more)


@pytest.fixture(scope="module")
def found(oracles):
    """The policies of one batch of four rods in a rig that errs not."""
    bench = bench_of(pull_sample(scenario_of(oracles), 1, None, (LOAD,), 0.02))
    rates = rates_after(bench, pull(bench, LOAD))
    return {policy.code: policy for policy in policies(bench, LOAD, rates)}, bench


@pytest.fixture(scope="module")
def exact(oracles):
    """Chance of each state of the batch, that a rod holds, outlives x, and both, in each."""
    z = np.linspace(-5.5, 5.5, 111)
    weight = np.exp(-0.5 * z * z)
    sigma = np.sqrt(np.log1p(SHARED**2))
    factors = np.exp(sigma * z - 0.5 * sigma**2)
    joint = oracles.lognormal(oracles.BOND, COV)
    sizes = np.geomspace(500.0, 20_000.0, 1501)
    kept = np.exp(oracles.log_kept_yearly(oracles.gumbel(MEAN, 0.2))(sizes))
    steps = np.diff(np.concatenate([[0.0], kept, [1.0]]))
    middles = np.concatenate([[sizes[0]], np.sqrt(sizes[1:] * sizes[:-1]), [sizes[-1]]])
    above = np.array([joint.sf(middles / factor) ** 2 for factor in factors])
    holds = np.array([float(joint.sf(LOAD / factor) ** 2) for factor in factors])
    both = np.array([joint.sf(np.maximum(middles, LOAD) / factor) ** 2 for factor in factors])
    return weight / weight.sum(), holds, above, both, steps


def test_a_set_that_held_at_the_first_try(found, exact):
    told, _ = found
    chance, holds, _, both, steps = exact
    held = float(chance @ holds**RODS)
    fails = float(chance @ (holds**RODS - both**RODS @ steps)) / held
    assert told["all"].fail == pytest.approx(fails, rel=0.06)
    assert told["all"].accepted == pytest.approx(held, rel=0.03)
    assert told["all"].spoiled == pytest.approx(RODS * float(chance @ (1.0 - holds)), rel=0.05)


def test_dropping_a_batch_leaves_the_same_but_costs_it(found, exact):
    told, _ = found
    chance, holds, *_ = exact
    assert told["drop batch"].fail == told["all"].fail
    lost = RODS * float(chance @ (1.0 - holds**RODS))
    assert told["drop batch"].spoiled == pytest.approx(lost, rel=0.04)


def test_replacing_favours_no_batch(found, exact):
    """Each state of the batch counts as often as it comes, whatever it costs to fill the set."""
    told, _ = found
    chance, holds, _, both, steps = exact
    able = holds > 1e-3  # the few batches of which no rod holds would never fill a set
    chance = np.where(able, chance, 0.0) / chance[able].sum()
    fails = float(chance[able] @ (1.0 - (both[able] / holds[able, None]) ** RODS @ steps))
    assert told["replace"].fail == pytest.approx(fails, rel=0.12)
    assert told["replace"].fail > 1.1 * told["all"].fail
    tries = np.minimum((1.0 - holds) / np.maximum(holds, 1e-9), 9.0)  # or the batch is given up
    assert told["replace"].spoiled == pytest.approx(RODS * float(exact[0] @ tries), rel=0.25)
    assert told["replace"].spoiled > told["all"].spoiled


def test_pulling_one_of_four(found, exact):
    told, _ = found
    chance, holds, above, both, steps = exact
    held = float(chance @ holds)
    fails = float(chance @ (holds - (both * above ** (RODS - 1)) @ steps)) / held
    assert told["some"].fail == pytest.approx(fails, rel=0.06)
    assert told["some"].accepted == pytest.approx(held, rel=0.03)
    assert told["some"].spoiled == pytest.approx(1.0 - held, rel=0.06)
    assert "pull 1 of 4" in told["some"].name


def test_a_second_pull_shows_nothing_new_where_nothing_errs_hurts_or_ages(found):
    told, _ = found
    for code in ("twice", "again after a year"):
        assert told[code].fail == pytest.approx(told["all"].fail, rel=1e-6)
        assert told[code].accepted == pytest.approx(told["all"].accepted)


def test_three_that_held_speak_for_the_fourth(found, exact):
    _, bench = found
    chance, holds, above, _, steps = exact
    alone = 1.0 - above @ steps
    rest = chance * holds ** (RODS - 1)
    told = next_rod(bench, LOAD)
    assert told.pulled == RODS - 1
    assert told.fail_before == pytest.approx(float(chance @ alone), rel=0.06)
    assert told.fail_after == pytest.approx(float(rest @ alone / rest.sum()), rel=0.08)
    assert told.fail_after < 0.7 * told.fail_before


def test_no_other_rod_of_the_batch_speaks_for_a_lone_one(oracles):
    jerk = oracles.load(Gumbel(MEAN, 0.2 * MEAN))
    scenario = oracles.plain(SPREADS, [jerk], rods=2, rods_per_batch=1)
    assert next_rod(bench_of(pull_sample(scenario, 1)), LOAD) is None


def test_an_aged_rod_pulled_again_shows_what_damp_has_undone(oracles):
    """Bonds that damp undoes hold the first pull and break in the second."""
    damp = {
        "service.humidity": 1.0,
        "ageing.wet_share": 0.95,
        "ageing.wetting_time": 0.1,
        "ageing.own_scatter": 0.0,
        "weak_bonds.latent_weight": 0.01,
        "weak_bonds.latent_keeps": 0.3,
    }
    jerk = oracles.load(Gumbel(1500.0, 300.0))
    spreads = {"adhesive.shear_strength": SPREADS["adhesive.shear_strength"]}
    bench = bench_of(pull_sample(oracles.plain(spreads | damp, [jerk]), 1))
    load = 4000.0
    told = {p.code: p for p in policies(bench, load, rates_after(bench, pull(bench, load)))}
    undone = 1.0 - 0.99**2
    assert told["all"].spoiled < 0.01 * undone
    assert told["again after a year"].spoiled == pytest.approx(undone, rel=0.1)
    law = oracles.lognormal(0.3 * 0.95 * oracles.BOND, COV).cdf
    first = oracles.fail_chance(
        *oracles.on_grid(law, 300.0, 9000.0, 4001),
        oracles.log_kept_yearly(oracles.gumbel(1500.0, 0.2), 1.0),
    )
    assert told["again after a year"].fail == pytest.approx(undone * first, rel=0.2)
    assert told["all"].fail > 2.5 * told["again after a year"].fail


def test_nothing_is_said_of_a_pull_that_nothing_holds(found):
    _, bench = found
    hard = 10.0 * LOAD
    assert policies(bench, hard, rates_after(bench, pull(bench, hard))) == ()
    assert next_rod(bench, hard) is None
    assert not pulls.enough(bench.weight * pull(bench, hard).hold)
