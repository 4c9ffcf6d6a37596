"""Ways to use pulls against quadrature: what a batch shares by nodes, each rod by its own law."""

import numpy as np
import pytest

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study import proof_refill, pulls
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
    assert told["all"].fail.estimate == pytest.approx(fails, rel=0.06)
    assert told["all"].accepted == pytest.approx(held, rel=0.03)
    assert told["all"].spoiled == pytest.approx(RODS * float(chance @ (1.0 - holds)), rel=0.05)


def test_dropping_a_batch_leaves_the_same_but_costs_it(found, exact):
    told, _ = found
    chance, holds, *_ = exact
    assert told["drop batch"].fail == told["all"].fail
    lost = RODS * float(chance @ (1.0 - holds**RODS))
    assert told["drop batch"].spoiled == pytest.approx(lost, rel=0.04)


def walked(holds, count):
    """Return the chance that the four places are filled, and the rods lost, each (states,).

    Pulled one after the other until four hold, or `count` have broken: then the batch is dropped.
    """
    states = {(0, 0): np.ones_like(holds)}  # held and broken so far, with their chances
    filled, lost = np.zeros_like(holds), np.zeros_like(holds)
    while states:
        (held, broken), likely = states.popitem()
        for more, share in (((held + 1, broken), holds), ((held, broken + 1), 1.0 - holds)):
            if more[0] == RODS:
                filled += likely * share
                lost += likely * share * broken
            elif more[1] == count:
                lost += likely * share * (RODS + count - 1)
            else:
                states[more] = states.get(more, 0.0) + likely * share
    return filled, lost


@pytest.mark.parametrize(
    ("code", "count"), [("drop batch at 2", 2), ("drop batch at 3", 3), ("replace", RODS + 1)]
)
def test_what_breaks_is_replaced_until_the_batch_is_dropped(found, exact, code, count):
    told = found[0][code]
    chance, holds, _, both, steps = exact
    filled, lost = walked(holds, count)
    fails = 1.0 - (both / np.maximum(holds, 1e-12)[:, None]) ** RODS @ steps
    accepted = float(chance @ filled)
    assert told.accepted == pytest.approx(accepted, rel=0.02)
    assert told.fail.estimate == pytest.approx(
        float(chance @ (filled * fails)) / accepted, rel=0.08
    )
    assert told.spoiled == pytest.approx(float(chance @ lost), rel=0.08)


def test_the_more_may_break_the_more_is_left_to_fail(found):
    codes = ("all", "drop batch at 2", "drop batch at 3", "replace")
    fails = [found[0][code].fail.estimate for code in codes]
    assert fails == sorted(fails)
    assert fails[-1] > 1.1 * fails[0]


def test_every_way_has_an_interval_that_holds_what_quadrature_gives(found, exact):
    """Of 95 %: a miss by 1.5 of its half-widths is 3 standard errors."""
    told, _ = found
    chance, holds, above, both, steps = exact
    every = float(chance @ (holds**RODS - both**RODS @ steps)) / float(chance @ holds**RODS)
    some = float(chance @ (holds - (both * above ** (RODS - 1)) @ steps)) / float(chance @ holds)
    for code, value in (("all", every), ("some", some)):
        _within(told[code].fail, value)
        _within(told[code].ratio, value / every)
    assert told["drop batch"].ratio == told["all"].ratio
    apart = told["some"].ratio
    assert apart.low > 1.0
    alone = told["some"].fail
    assert apart.high / apart.low < alone.high / alone.low * told["all"].fail.high / every


def _within(told, value):
    assert told.low <= told.estimate <= told.high
    assert abs(told.estimate - value) <= 0.75 * (told.high - told.low) + 1e-12


def test_pulling_one_of_four(found, exact):
    told, _ = found
    chance, holds, above, both, steps = exact
    held = float(chance @ holds)
    fails = float(chance @ (holds - (both * above ** (RODS - 1)) @ steps)) / held
    assert told["some"].fail.estimate == pytest.approx(fails, rel=0.06)
    assert told["some"].accepted == pytest.approx(held, rel=0.03)
    assert told["some"].spoiled == pytest.approx(1.0 - held, rel=0.06)
    assert "pull 1 of 4" in told["some"].name


def test_a_second_pull_shows_nothing_new_where_nothing_errs_hurts_or_ages(found):
    told, _ = found
    for code in ("twice", "again after a year"):
        assert told[code].fail.estimate == pytest.approx(told["all"].fail.estimate, rel=1e-6)
        assert told[code].accepted == pytest.approx(told["all"].accepted)


def test_three_that_held_speak_for_the_fourth(found, exact):
    _, bench = found
    chance, holds, above, _, steps = exact
    alone = 1.0 - above @ steps
    rest = chance * holds ** (RODS - 1)
    told = next_rod(bench, LOAD)
    assert told.pulled == RODS - 1
    assert told.fail_before.estimate == pytest.approx(float(chance @ alone), rel=0.06)
    assert told.fail_after.estimate == pytest.approx(float(rest @ alone / rest.sum()), rel=0.08)
    assert told.fail_after.estimate < 0.7 * told.fail_before.estimate


def test_no_other_rod_of_the_batch_speaks_for_a_lone_one(oracles):
    jerk = oracles.load(Gumbel(MEAN, 0.2 * MEAN))
    scenario = oracles.plain(SPREADS, [jerk], rods=2, rods_per_batch=1)
    assert next_rod(bench_of(pull_sample(scenario, 1)), LOAD) is None


def test_a_rod_that_is_a_batch_of_its_own_has_no_batch_to_drop(oracles):
    """It is replaced once: when that breaks as well, the batch is given up."""
    scenario = oracles.plain(SPREADS, [oracles.load(Gumbel(MEAN, 0.2 * MEAN))])
    bench = bench_of(pull_sample(scenario, 1))
    told = {p.code: p for p in policies(bench, LOAD, rates_after(bench, pull(bench, LOAD)))}
    assert set(told) == {"all", "replace", "twice", "again after a year"}
    assert told["all"].accepted < told["replace"].accepted < 1.0


def test_what_too_few_draws_tell_is_not_known(found, monkeypatch):
    bench = found[1]
    monkeypatch.setattr(proof_refill, "FEWEST", 1e9)
    rates = rates_after(bench, pull(bench, LOAD))
    told = {policy.code: policy for policy in policies(bench, LOAD, rates)}
    for code in ("replace", "drop batch at 2", "drop batch at 3"):
        assert np.isnan([told[code].fail.estimate, told[code].ratio.high]).all()
        assert told[code].spoiled == found[0][code].spoiled
    assert told["all"].fail == found[0]["all"].fail


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
    assert told["again after a year"].fail.estimate == pytest.approx(undone * first, rel=0.2)
    assert told["all"].fail.estimate > 2.5 * told["again after a year"].fail.estimate


def test_nothing_is_said_of_a_pull_that_nothing_holds(found):
    _, bench = found
    hard = 10.0 * LOAD
    assert policies(bench, hard, rates_after(bench, pull(bench, hard))) == ()
    assert next_rod(bench, hard) is None
    assert not pulls.enough(bench.weight * pull(bench, hard).hold)
