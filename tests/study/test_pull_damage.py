"""What is left of rods that held a pull which hurt some of them, against quadrature.

The weaker joint of a rod stays the weaker when a pull hurts both, so the law of the lesser of two
strengths is enough, but where joints age each in its own way.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk.mechanics.ageing import ageing_scatter, loss_reached
from jointrisk.model.ageing import OWN
from jointrisk.spread import Gumbel, Lognormal, Normal, Uniform
from jointrisk.study import pull_sample as drawing
from jointrisk.study import pulls
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.pull_sample import pull_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
WEAK = GLUE | {"weak_bonds.lone_weight": 0.01}
HURTS = {"proof.damage_from": Uniform(0.6, 0.9), "proof.damage_most": Uniform(0.1, 0.5)}
KNOWN = {"proof.damage_from": 0.7, "proof.damage_most": 0.4}
NONE = {"proof.damage_most": 0.0}
MEAN = 1800.0


@pytest.fixture
def sharp(monkeypatch):
    """Return a function that gives the bench of a sample sharp enough to be held to 5 %."""

    def drawn(scenario, load, seed=1):
        monkeypatch.setattr(drawing, "MOST_JOINTS", 2**19)
        return bench_of(pull_sample(scenario, seed, None, (load,), 0.01))

    return drawn


def keep(ratio, begins, most):
    """Return the share that a joint keeps after a pull of this share of its strength."""
    return 1.0 - most * np.clip((ratio - begins) / (1.0 - begins), 0.0, 1.0)


def nodes(given, points=6):
    """Return values and weights that stand for a plain value or an even spread."""
    if isinstance(given, float | int):
        return [(float(given), 1.0)]
    x, w = np.polynomial.legendre.leggauss(points)
    middle, half = 0.5 * (given.low + given.high), 0.5 * (given.high - given.low)
    return list(zip(middle + half * x, 0.5 * w, strict=True))


def after(oracles, grid, load, log_kept, damage, *, rig=(0.0, 0.0), rods=1):
    """Return failure of a set of which all rods held a pull, and the chance that all hold."""
    values, chance = grid
    largest = np.exp(log_kept(values))
    steps = np.diff(np.concatenate([[0.0], largest, [1.0]]))  # load between values[i-1] and [i]
    errors = list(zip(*oracles.bias_grid(rig[0], 31), strict=True))
    failed = held = 0.0
    for bias, weight in zip(*oracles.bias_grid(rig[1], 31), strict=True):
        for begins, weight_from in nodes(damage["proof.damage_from"]):
            for most, weight_most in nodes(damage["proof.damage_most"]):
                above, all_of_one = np.zeros(values.size + 1), 0.0
                for error, weight_error in errors:
                    applied = load * (1.0 + bias + error)
                    holds = values >= applied
                    left = values[holds] * keep(applied / values[holds], begins, most)
                    tail = np.concatenate([np.cumsum(chance[holds][::-1])[::-1], [0.0]])
                    places = np.searchsorted(left, values, side="left")
                    above += weight_error * np.concatenate([tail[places], [0.0]])
                    all_of_one += weight_error * float(chance[holds].sum())
                w = weight * weight_from * weight_most
                held += w * all_of_one**rods
                failed += w * (all_of_one**rods - np.sum(steps * above**rods))
    return failed / held, held


def rod_law(oracles, weak=0.0, points=6001, cov=COV):
    joint = oracles.mixed(oracles.lognormal(oracles.BOND, cov).cdf, weak, 0.3)
    return oracles.on_grid(oracles.weakest(joint, 2), 400.0, 40_000.0, points)


def kept(oracles, mean=MEAN, cov=0.2, years=4.0):
    return oracles.log_kept_yearly(oracles.gumbel(mean, cov), years)


def left(bench, load):
    pulled = pull(bench, load)
    weight = bench.weight * pulled.hold
    fails = pulls.life_chance(bench, rates_after(bench, pulled))
    return float((weight * fails).sum() / weight.sum())


@pytest.mark.parametrize("damage", [NONE | {"proof.damage_from": 0.7}, KNOWN, HURTS])
@pytest.mark.parametrize(
    ("rig", "load", "weak"),
    [
        ((0.0, 0.0), 5000.0, 0.0),
        ((0.05, 0.0), 5800.0, 0.01),
        ((0.0, 0.05), 4000.0, 0.01),
        ((0.04, 0.03), 6600.0, 0.01),
        ((0.04, 0.03), 2500.0, 0.01),
    ],
)
def test_what_a_pull_leaves_with_and_without_damage(oracles, sharp, damage, rig, load, weak):
    spreads = GLUE | {"weak_bonds.lone_weight": weak} | damage
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(MEAN, 0.2 * MEAN))], rig=rig)
    exact, _ = after(oracles, rod_law(oracles, weak), load, kept(oracles), damage, rig=rig)
    assert left(sharp(scenario, load), load) == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize("damage", [KNOWN, HURTS])
def test_a_set_shares_load_and_gauge_but_not_the_pulls_own_error(oracles, sharp, damage):
    load, rig = 5200.0, (0.05, 0.04)
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    scenario = oracles.plain(WEAK | damage, [jerk], rig=rig, rods=3)
    grid, log_kept = rod_law(oracles, 0.01, 3001), kept(oracles, 2300.0)
    exact, holds = after(oracles, grid, load, log_kept, damage, rig=rig, rods=3)
    bench = sharp(scenario, load)
    assert left(bench, load) == pytest.approx(exact, rel=0.05)
    all_hold = float((bench.weight * pull(bench, load).hold).mean())
    assert all_hold == pytest.approx(holds, rel=0.01)


@pytest.mark.parametrize("correlation", [-0.7, 0.0, 0.7])
@pytest.mark.parametrize("load", [3000.0, 4400.0])
def test_ageing_that_goes_with_new_strength(oracles, sharp, correlation, load):
    """Each joint ages in its own way: a double integral for each joint, two in one pull.

    Of both surfaces 0.6 of the adhesive's strength; a joint that ages well may pass to the
    adhesive's own, which damp takes of alike.
    """
    surface, years = 0.6, 4.0
    spreads = GLUE | KNOWN | {"preparation.plug": surface, "preparation.tube": surface}
    damp = {"service.humidity": 0.9, "ageing.wet_share": 0.6, "ageing.wetting_time": 1.0}
    damp |= {"weak_bonds.latent_weight": 0.0}
    jerk = oracles.load(Gumbel(1200.0, 240.0))
    scenario = oracles.plain(spreads | damp | {"ageing.own_scatter": 0.3}, [jerk])
    pair = ("adhesive.shear_strength", OWN)
    scenario = replace(scenario, correlations={pair: correlation}) if correlation else scenario
    loss = float(loss_reached(years, 0.9, 0.6, 1.0))
    reached = float(loss_reached(years, 0.9, 0.0, 1.0))
    scatter = float(ageing_scatter(reached, 1.0, cov=0.3))
    values, chance = oracles.on_grid(
        oracles.lognormal(surface * oracles.BOND, COV).cdf, 1000.0, 20_000.0, 1501
    )
    sigma = np.sqrt(np.log1p(COV**2))
    score = np.log(values / (surface * oracles.BOND)) / sigma + 0.5 * sigma
    sizes = np.geomspace(200.0, 8000.0, 801)
    steps = np.diff(np.exp(kept(oracles, 1200.0)(sizes)))
    middles = np.sqrt(sizes[1:] * sizes[:-1])
    holds = values >= load
    hurt = values[holds] * keep(load / values[holds], 0.7, 0.4) * (1.0 - loss)
    need = middles[:, None] / hurt  # factor of its own that the joint must have at least
    with np.errstate(divide="ignore"):
        own = np.where(need > 1.0 / surface, np.inf, np.log(need) / scatter)
    # product-moment correlation of a lognormal and a normal, as that of their scores
    scores = correlation * np.sqrt(np.expm1(sigma**2)) / sigma
    aside = np.sqrt(1.0 - scores**2)
    above = ndtr(-(own - scores * score[holds]) / aside) @ chance[holds]
    both = float(chance[holds].sum())
    exact = float(np.sum(steps * (both**2 - above**2))) / both**2
    assert left(sharp(scenario, load), load) == pytest.approx(exact, rel=0.05)


# Limits -----------------------------------------------------------------------------------------


def test_a_perfect_pull_cuts_the_law_of_strength(oracles, sharp):
    """P(R < r | held) = [F(r) - F(p)]/[1 - F(p)], with a load that is known."""
    load, asked = 6000.0, 6800.0
    jerk = oracles.load(Uniform(asked - 1e-3, asked + 1e-3))
    law = oracles.weakest(oracles.lognormal(oracles.BOND, COV).cdf, 2)
    below = {x: float(law(np.array([x]))[0]) for x in (load, asked)}
    exact = (below[asked] - below[load]) / (1.0 - below[load])
    bench = sharp(oracles.plain(GLUE | NONE, [jerk]), load)
    assert left(bench, load) == pytest.approx(exact, rel=0.05)


def test_a_rig_that_errs_wildly_is_worth_nothing(oracles, sharp):
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    benches = {
        error: sharp(oracles.plain(WEAK | NONE, [jerk], rig=(error, 0.0)), 3000.0)
        for error in (0.05, 1e4)
    }
    before = {
        e: float((b.weight * b.sample.fails).sum() / b.weight.sum()) for e, b in benches.items()
    }
    assert left(benches[1e4], 3000.0) == pytest.approx(before[1e4], rel=1e-3)
    assert left(benches[0.05], 3000.0) < 0.5 * before[0.05]


@pytest.fixture(scope="module")
def bench(oracles):
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    scenario = oracles.plain(WEAK | HURTS, [jerk], rig=(0.04, 0.03), rods=2)
    return bench_of(pull_sample(scenario, 1))


def damaged_as(bench, begins, most):
    shape = bench.begins.shape
    return replace(bench, begins=np.full(shape, begins), most=np.full(shape, most))


@pytest.mark.parametrize(("begins", "most"), [(1.0, 0.5), (3.0, 1.0), (0.7, 0.0)])
def test_no_damage_where_it_begins_above_any_strength_or_takes_nothing(bench, begins, most):
    pulled = pull(damaged_as(bench, begins, most), 7000.0)
    assert np.all(pulled.share[:, pulled.hold > 1e-6] == 1.0)


def test_a_pull_below_every_strength_changes_nothing(bench):
    load = 1e-3 * float(bench.outcome.rig_joint.min())
    pulled = pull(bench, load)
    assert np.all(pulled.hold == 1.0)
    assert np.all(pulled.share == 1.0)
    rates = rates_after(bench, pulled)
    assert np.array_equal(rates.rate, bench.outcome.rate)


def test_a_harder_pull_never_refuses_less_nor_hurts_a_joint_less(bench):
    pulled = [pull(bench, load) for load in np.geomspace(500.0, 9000.0, 12)]
    for one, next_one in pairwise(pulled):
        assert np.all(next_one.refused >= one.refused)
        assert np.all(next_one.hold <= one.hold)


def test_more_damage_never_leaves_less_failure(bench):
    found = [left(damaged_as(bench, 0.7, most), 6500.0) for most in (0.0, 0.1, 0.3, 0.6)]
    assert found == sorted(set(found))
    found = [left(damaged_as(bench, begins, 0.4), 6500.0) for begins in (0.9, 0.8, 0.6, 0.4)]
    assert found == sorted(set(found))


def test_unhurt_rates_are_those_of_the_sample_worked_out_anew(bench):
    """The quick way to service strengths gives what the whole model gives."""
    pulled = bench.unhurt
    nearly = replace(pulled, share=np.full_like(pulled.share, np.nextafter(1.0, 0.0)))
    rates = rates_after(bench, nearly)
    assert rates.rate == pytest.approx(bench.outcome.rate, rel=1e-9)
    assert rates.rod_rate == pytest.approx(bench.outcome.rod_rate, rel=1e-9)


def test_two_pulls_take_from_what_the_first_has_left(bench):
    sharp_rig = bench.with_perfect_rig()
    first = pull(sharp_rig, 6000.0)
    second = pull(sharp_rig, 6000.0, first)
    bond = bench.outcome.rig_joint
    ratio = 6000.0 / (bond * first.share)
    once = 1.0 - bench.most * np.clip((ratio - bench.begins) / (1.0 - bench.begins), 0.0, 1.0)
    assert second.share == pytest.approx(first.share * once)
    assert np.all(second.hold <= first.hold)


@pytest.mark.parametrize("spread", [0.0, 3.0, 6.0])
def test_what_heat_brings_lowers_what_a_pull_is_worth(oracles, sharp, spread):
    """Weakness in service that new strength says nothing of: the ratio after to before rises."""
    jerk = oracles.load(Gumbel(1500.0, 300.0))
    ratios = []
    for heat in (0.0, spread):
        hot = {"service.hottest": Normal(50.0, heat) if heat else 50.0}
        bench = sharp(oracles.plain(WEAK | NONE | hot, [jerk]), 3500.0)
        before = float((bench.weight * bench.sample.fails).sum() / bench.weight.sum())
        ratios.append(left(bench, 3500.0) / before)
    assert ratios[1] == pytest.approx(ratios[0]) if spread == 0.0 else ratios[1] > 1.2 * ratios[0]


# The smallest load ------------------------------------------------------------------------------


def crossing(oracles, grid, target, damage, rig, low, high, mean=MEAN):
    """Return the load between two at which the target is just met, by bisection of the oracle."""
    meets = [
        after(oracles, grid, x, kept(oracles, mean), damage, rig=rig)[0] <= target
        for x in (low, high)
    ]
    assert meets[0] != meets[1]
    for _ in range(11):
        middle = 0.5 * (low + high)
        met = after(oracles, grid, middle, kept(oracles, mean), damage, rig=rig)[0] <= target
        low, high = (middle, high) if met == meets[0] else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize(
    ("damage", "rig", "target"),
    [
        (NONE | {"proof.damage_from": 0.7}, (0.0, 0.0), 1e-5),
        (KNOWN, (0.03, 0.0), 1e-5),
        (KNOWN, (0.0, 0.03), 3e-4),
    ],
)
def test_the_smallest_load_and_the_window_it_opens(oracles, sharp, damage, rig, target):
    """With damage a pull can be too hard: the window closes again, below what one may break."""
    jerk = oracles.load(Gumbel(MEAN, 0.2 * MEAN))
    spreads = WEAK | damage
    scenario = oracles.plain(spreads, [jerk], rig=rig, target=(target, "life"), max_reject=0.6)
    bench = sharp(scenario, 3000.0)
    found = pulls.verdict(bench)
    grid = rod_law(oracles, 0.01, 3001)
    smallest = crossing(oracles, grid, target, damage, rig, 2300.0, 4200.0)
    assert found.verdict == "window"
    assert found.load == pytest.approx(smallest, rel=0.01)
    low, high = found.found.windows[0]
    assert low == found.load
    if target == 1e-5 and damage is KNOWN:
        closes = crossing(oracles, grid, target, damage, rig, 4200.0, 6000.0)
        assert high == pytest.approx(closes, rel=0.02)
    else:
        assert high == pytest.approx(found.limits[0][1], rel=1e-3)
