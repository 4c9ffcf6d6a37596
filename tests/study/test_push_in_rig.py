"""Rods that are pushed in the rig: what those that held are worth, against quadrature."""

from dataclasses import replace

import numpy as np
import pytest

import jointrisk
from jointrisk.model.rodset import rod_set
from jointrisk.scenario.types import Rig
from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.bench import bench_of, life_chance, pull, rates_after
from jointrisk.study.pull_patterns import _passing
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.pulls import load_refusing, pull_limits, pull_worth

MEAN = 1500.0
JERK = Gumbel(MEAN, 0.25 * MEAN)
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.2)}
STRUT = "tube bends away as a strut"
PLUG, TUBE = 70_000.0 * np.pi * 6.4**2, 70_000.0 * np.pi * (8.0**2 - 6.6**2)


def pushed(scenario):
    """Return the scenario with a rig that pushes."""
    return replace(scenario, proof=replace(scenario.proof, rig=Rig(direction="push")))


def bench(scenario, *loads, cov=0.02):
    return bench_of(pull_sample(scenario, 1, None, loads, cov))


def energy(misfit):
    """Force at which a very long overlap lets go, from the energy of its members [N]."""
    strain = np.sqrt(2 * 2 * np.pi * 6.5 * 0.4 * (1 / PLUG + 1 / TUBE))
    return min(PLUG * (strain + misfit), TUBE * (strain - misfit))


LONG = {
    "plug.overlap": 280.0,
    "rods.length": 600.0,
    "tube.modulus": 70_000.0,
    "plug.modulus": 70_000.0,
    "adhesive.shear_strength": 20.0,
    "adhesive.toughness": 0.4,
    "adhesive.cure_temperature": 23.0,
    "tube.expansion": 1e-6,
    "plug.expansion": 23.5e-6,
    "service.workshop_temperature": 63.0,
}
LEVEL = {"strength_by_temperature": ((-100.0, 1.0), (200.0, 1.0)), "hard_stop_temperature": 200.0}


def misfitted(oracles, rig=(0.0, 0.0), scatter=0.15):
    """Return a rod of which the warm rig strains the bond, and service does not."""
    spreads = LONG | {"model.bond_factor": Lognormal(1.0, scatter)}
    spread = Gumbel(0.35 * energy(0.0), 0.10 * energy(0.0))
    return oracles.plain(spreads, [oracles.load(spread)], rig=rig, end_fixity=0.05, **LEVEL), spread


@pytest.mark.parametrize(("way", "sign"), [("pull", 1.0), ("push", -1.0)])
@pytest.mark.parametrize("rig", [(0.0, 0.0), (0.04, 0.03)])
def test_survivors_are_those_of_the_strength_with_its_misfit_reversed(oracles, way, sign, rig):
    scenario, spread = misfitted(oracles, rig)
    scenario = pushed(scenario) if way == "push" else scenario
    in_rig, service = energy(sign * -22.5e-6 * 40.0), energy(0.0)
    assert abs(energy(9e-4) - energy(-9e-4)) > 0.05 * service
    load = 0.85 * in_rig
    law = oracles.lognormal(service, 0.15)
    grid = oracles.on_grid(law.cdf, 0.3 * service, 3.0 * service, 20_001)
    log_kept = oracles.log_kept_yearly(oracles.gumbel(spread.mean, spread.sd / spread.mean))
    exact, refused = oracles.after_pull(
        *grid, load * service / in_rig, log_kept, error=rig[0], bias_sd=rig[1]
    )
    found = pull_worth(bench(scenario, load), "", load, None)
    assert found.reject_fraction == pytest.approx(refused, rel=0.05)
    assert found.fail_after == pytest.approx(exact, rel=0.08)  # sampling 2 %, bias by 161 points


@pytest.fixture
def slender(oracles):
    """Return a rod that bends away in the rig long before its bond lets go, and Euler's load."""
    spreads = GLUE | {"tube.modulus": Lognormal(70_000.0, 7000.0), "rods.length": 1500.0}
    scenario = pushed(oracles.plain(spreads, [oracles.load(JERK)], max_reject=0.3))
    return scenario, np.pi**2 * np.pi / 4 * (8.0**4 - 6.6**4) / (scenario.end_fixity * 1500.0) ** 2


def test_a_slender_rod_caps_the_push_where_it_bends_away(oracles, slender):
    """Euler's load goes with the modulus; 1 rod in 100 bends away at its 1 % quantile."""
    scenario, euler = slender
    wanted = euler * float(oracles.lognormal(70_000.0, 0.1).ppf(0.01))
    assert wanted < 0.5 * oracles.BOND
    limits = pull_limits(bench(scenario, wanted))
    assert limits[0][0] == f"{STRUT} in 1 % of the rods"
    assert limits[0][1] == pytest.approx(wanted, rel=0.02)
    median = euler * float(oracles.lognormal(70_000.0, 0.1).ppf(0.5))
    assert load_refusing(bench(scenario, wanted), 0.5) == pytest.approx(median, rel=0.02)
    pulls = pull_limits(bench(replace(scenario, proof=replace(scenario.proof, rig=Rig())), wanted))
    assert STRUT not in str(pulls)


def test_both_studies_draw_the_curve_of_the_push(oracles, slender):
    """Half of all rods break where half bend away; their bonds hold many times as much."""
    scenario, euler = slender
    median = euler * float(oracles.lognormal(70_000.0, 0.1).ppf(0.5))
    assert median < 0.1 * oracles.BOND
    curve = jointrisk.proof(scenario, pulls=[median]).curve
    at = curve.load_newton.index(median)
    assert curve.reject[at].estimate == pytest.approx(0.5, abs=0.03)
    found = jointrisk.assess(scenario).figures
    assert np.interp(median, found.reject.load, found.reject.value) == pytest.approx(0.5, abs=0.05)
    assert found.strength_new.load[-1] > oracles.BOND  # new strength stays that of a pull


def test_past_a_shoulder_a_push_finds_no_weak_joint_and_hurts_none(oracles):
    spreads = GLUE | {"weak_bonds.lone_weight": 0.02, "proof.damage_most": 0.5}
    spreads |= {"proof.damage_from": 0.0, "tube.compression_strength": Lognormal(300.0, 30.0)}
    plain = oracles.plain(spreads, [oracles.load(JERK)], rig=(0.03, 0.0))
    crushes = 300.0 * oracles.TUBE_AREA
    load = 0.6 * crushes
    assert load > 0.3 * oracles.BOND
    through = replace(pushed(plain), shoulder=True)
    assert _passing(rod_set(through, rods=1)) == []  # no search for what passes: everything does
    assert _passing(rod_set(pushed(plain), rods=1)) != []
    spared = bench(through, load)
    worth = pull_worth(spared, "", load, None)
    assert worth.weak_caught_fraction == pytest.approx(worth.reject_fraction, abs=1e-6)
    assert np.all(pull(spared, load).share == 1.0)
    before = float((spared.weight * spared.sample.fails).sum() / spared.weight.sum())
    assert worth.fail_after == pytest.approx(before, rel=0.01)
    bare = pull_worth(bench(pushed(plain), load), "", load, None)
    assert bare.weak_caught_fraction > 0.9
    assert load_refusing(spared, 0.5) == pytest.approx(crushes, rel=0.02)


def test_the_curve_of_rods_that_all_hold_the_same_still_has_two_sides(oracles):
    """Past a shoulder, into a tube of one strength: none breaks below it, and all above."""
    crushes = 300.0 * oracles.TUBE_AREA
    spreads = GLUE | {"tube.compression_strength": 300.0}
    scenario = pushed(oracles.plain(spreads, [oracles.load(JERK)], shoulder=True))
    curve = jointrisk.assess(scenario).figures.reject
    loads, broken = np.array(curve.load), np.array(curve.value)
    assert np.all(np.diff(loads) > 0.0)
    assert loads[0] < 0.9 * crushes < 1.1 * crushes < loads[-1]
    np.testing.assert_allclose(broken, loads > crushes, atol=1e-9)


def test_a_push_that_nothing_tells_from_a_pull_is_worth_the_same(oracles):
    """No misfit, no shoulder, members far off: every number of the answer, to the last bit."""
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01, "proof.damage_most": 0.3}
    scenario = oracles.plain(
        spreads,
        [oracles.load(JERK, direction="both")],
        rig=(0.03, 0.02),
        rods=3,
        target=(3e-3,),
        pulls=(2000.0,),
    )
    by_pull, by_push = (jointrisk.proof(each) for each in (scenario, pushed(scenario)))
    for name in ("fail_before", "best", "pulls", "windows", "floor", "load_newton", "curve"):
        assert getattr(by_push, name) == getattr(by_pull, name), name
    assert (by_push.verdict, by_push.next_rod) == (by_pull.verdict, by_pull.next_rod)
    texts = [[each.reason, *(entry.name for entry in each.policies)] for each in (by_pull, by_push)]
    assert all("pull" in text for text in texts[0])
    assert not any("pull" in text.lower() for text in texts[1])
    assert [text.replace("pull", "push") for text in texts[0]] == texts[1]


def test_what_a_push_takes_is_by_what_the_joint_holds_in_a_push(oracles):
    """A joint keeps 1 - d (L/R - a)/(1 - a), R its strength in a push; both ways are hurt."""
    scenario, _ = misfitted(oracles)
    held = {"proof.damage_from": 0.5, "proof.damage_most": 0.4}
    variables = dict(scenario.variables)
    for key, value in held.items():
        variables[key] = replace(variables[key], spread=jointrisk.spread.Fixed(value))
    scenario = pushed(replace(scenario, variables=variables))
    load = 0.8 * energy(9e-4)
    one = bench(scenario, load, cov=0.1)
    factor = one.outcome.pull[0] / energy(0.0)  # bond, in a pull of service, by what it is alone
    ratio = load / (factor * energy(9e-4))
    keeps = 1.0 - 0.4 * np.clip((ratio - 0.5) / 0.5, 0.0, 1.0)
    pulled = pull(one, load)
    holds = pulled.hold > 0.5
    assert np.ptp(keeps[holds]) > 0.1
    np.testing.assert_allclose(pulled.share[0][holds], keeps[holds], rtol=1e-4)
    after = life_chance(one, rates_after(one, pulled))
    assert np.all(after[holds] >= life_chance(one, one.outcome)[holds] - 1e-12)
