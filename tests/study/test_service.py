"""Years that are not alike, and the warnings of what time does, against closed forms."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.scenario.types import Variable
from jointrisk.spread import Fixed, Gumbel, Lognormal
from jointrisk.study import judgement
from jointrisk.study.sample import weighted_sample
from jointrisk.study.service import of_time

DAMP = {
    "service.humidity": 0.9,
    "ageing.wet_share": 0.4,
    "ageing.wetting_time": 3.0,
    "ageing.own_scatter": 0.0,
    "weak_bonds.latent_weight": 0.0,
}
WEAK, KEEPS = 0.00015, 0.3
JERK = (3000.0, 500.0)
SCALE = JERK[1] * math.sqrt(6.0) / math.pi
LAW = stats.gumbel_r(JERK[0] - np.euler_gamma * SCALE, SCALE)
COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}


def left(years):
    """What damp leaves: up to half humidity nothing is lost, then straight to all of it."""
    return 1.0 - (1.0 - 0.4) * (0.9 - 0.5) / 0.5 * (1.0 - np.exp(-np.asarray(years) / 3.0))


def exponent_of_years(force, life, slices):
    """Return minus the log of the chance to outlive each whole year and the part of the last.

    Year k: the sum over slices of the years that it spends there times -ln F(strength there).
    """
    ends = np.arange(1, slices + 1) * life / slices
    rates = -LAW.logcdf(force * left(ends))
    years = np.arange(math.ceil(life))
    start = np.maximum(years[:, None], ends - life / slices)
    stop = np.minimum(np.minimum(years[:, None] + 1, life), ends)
    return np.maximum(stop - start, 0.0) @ rates


# The worst year ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("life", "slices", "worst"), [(4.0, 4, 4), (4.0, 2, 3), (5.0, 2, 4), (2.5, 5, 2), (4.0, 1, 1)]
)
def test_where_nothing_varies_a_year_fails_by_the_loads_above_its_strength(
    oracles, life, slices, worst
):
    """1 - F(R_k); the half year at the end of two and a half is no year."""
    scenario = oracles.plain(DAMP, [oracles.load(Gumbel(*JERK))], life=life, slices=slices)
    found = judgement.failure_probability(weighted_sample(scenario, 1), np.empty(0))
    by_year = exponent_of_years(oracles.BOND, life, slices)
    chances = -np.expm1(-by_year)[: int(life)]
    assert found.worst_year_number == worst == int(chances.argmax()) + 1
    assert found.worst_year == pytest.approx(chances.max(), rel=1e-9)
    assert found.estimate == pytest.approx(-math.expm1(-by_year.sum()), rel=1e-9)


def of_weakest(oracles, joints, life, slices):
    """Return the chance of each year to fail of those that enter it: sound ones and weak ones."""
    none_weak = (1.0 - WEAK) ** joints
    chance = np.array([none_weak, 1.0 - none_weak])
    sums = [
        np.concatenate([[0.0], np.cumsum(exponent_of_years(force, life, slices))])
        for force in (oracles.BOND, KEEPS * oracles.BOND)
    ]
    alive = chance @ np.exp(-np.array(sums))
    return 1.0 - alive[1:] / alive[:-1], alive


@pytest.fixture(scope="module")
def three_rods(oracles):
    spreads = DAMP | {"weak_bonds.lone_weight": WEAK}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(*JERK))], rods=3, slices=4)
    return weighted_sample(scenario, 1, target_cov=0.005)


def test_weak_ones_go_first_and_damp_comes_last(oracles, three_rods):
    """The first year is bad, the next ones are better, and in the end the sound ones fail."""
    exact, _ = of_weakest(oracles, 6, 4.0, 4)
    assert exact[0] > 2.0 * exact[1]
    assert exact[3] > 1.2 * exact[0]
    found = judgement.failure_probability(three_rods, np.empty(0))
    assert found.worst_year_number == 4
    assert found.worst_year == pytest.approx(exact[3], rel=0.03)


@pytest.mark.parametrize(("scope", "joints"), [("set", 6), ("rod", 2)])
def test_terms_of_a_yearly_target_are_those_of_that_year(oracles, three_rods, scope, joints):
    exact, alive = of_weakest(oracles, joints, 4.0, 4)
    target = oracles.wanted(1e-3, "year", scope)
    scenario, outcome = three_rods.rods.scenario, three_rods.outcome
    for year in range(4):
        fails, gone = judgement.target_terms(scenario, outcome, target, year)
        assert three_rods.mean(gone) == pytest.approx(1.0 - alive[year], rel=0.03, abs=1e-12)
        assert three_rods.mean(fails) == pytest.approx(alive[year] - alive[year + 1], rel=0.05)
        assert ((fails >= 0.0) & (fails + gone <= 1.0)).all()
    assert judgement.worst_year(three_rods, target) == exact.argmax() == 3
    assert judgement.before_any_pull(three_rods, target) == pytest.approx(exact[3], rel=0.03)
    for factor, met in ((1.1, True), (0.9, False)):
        asked = replace(target, probability=factor * exact[3])
        chance = judgement.failure_probability(three_rods, np.empty(0))
        found = judgement.target_verdict(three_rods, asked, chance, np.empty(0))
        assert (found.met, found.period_years) == (met, 1.0)


def test_terms_of_a_target_for_the_life_leave_nobody_out(oracles, three_rods):
    scenario, outcome = three_rods.rods.scenario, three_rods.outcome
    for scope, joints in (("set", 6), ("rod", 2)):
        _, alive = of_weakest(oracles, joints, 4.0, 4)
        target = oracles.wanted(1e-3, "life", scope)
        fails, gone = judgement.target_terms(scenario, outcome, target, 2)
        assert not gone.any()
        assert three_rods.mean(fails) == pytest.approx(1.0 - alive[-1], rel=0.03)


def test_after_a_pull_another_year_may_be_the_worst(oracles):
    """As built the weak ones make the first year the worst; a pull that breaks them leaves damp.

    What holds has no weak joint, and fails most in the last year: 1 - F(R_4).
    """
    spreads = DAMP | {"weak_bonds.lone_weight": 0.01}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(*JERK))], slices=4)
    sample = weighted_sample(scenario, 1, target_cov=0.01)
    target = oracles.wanted(1e-3, "year", "set")
    assert judgement.worst_year(sample, target) == 0
    holds = (sample.outcome.rig_pull > 0.5 * oracles.BOND).all(axis=0)
    exact = -np.expm1(-exponent_of_years(oracles.BOND, 4.0, 4))
    found = judgement.target_value(scenario, sample.outcome, target, sample.weight * holds)
    assert found == pytest.approx(exact[3], rel=1e-6)
    assert exact[3] > 3.0 * exact[0]


# Warnings of time -------------------------------------------------------------------------------

EVERYTHING = (
    '[[load]]\nname = "a"\nkind = "sustained"\nsize = "9 N"\n'
    '[[load]]\nname = "b"\nkind = "cycles"\nsize = "9 N"\nrate = "9 / year"\n'
)


@pytest.fixture(scope="module")
def timed(oracles):
    """Return `plain` of the oracles, which know of no steady loads and cycles."""
    read = jointrisk.load_text(oracles.TEXT + EVERYTHING).variables
    keys = [key for key in read if key.startswith("ageing.")]
    held = {key: replace(read[key], spread=Fixed(read[key].spread.mean)) for key in keys}

    def build(spreads, loads, **facts):
        of_time = {key: spread for key, spread in spreads.items() if key in held}
        rest = {key: spread for key, spread in spreads.items() if key not in held}
        scenario = oracles.plain(rest, loads, **facts)
        given = {
            key: replace(held[key], spread=Fixed(spread) if isinstance(spread, float) else spread)
            for key, spread in of_time.items()
        }
        middles = {load.mean.key: load.mean for load in loads if load.mean is not None}
        return replace(scenario, variables=dict(scenario.variables) | held | given | middles)

    return build


def told(scenario):
    return {entry.code: entry.text for entry in of_time(weighted_sample(scenario, 1))}


def percents(text):
    return [float(found) / 100.0 for found in re.findall(r"([0-9.e+-]+) %", text)]


@pytest.fixture
def hangs(oracles, timed):
    def build(size, spreads=None, **facts):
        load = oracles.load(Fixed(size), kind="sustained")
        return timed(GLUE | DAMP | (spreads or {}), [load], **facts)

    return build


@pytest.mark.parametrize("factor", [0.9, 1.0, 1.3])
def test_a_steady_load_by_the_share_of_sets_it_is_too_much_for(oracles, hangs, factor):
    """Weaker of two ends, damp at the end of its life, against a quarter of what it held."""
    load = factor * 0.25 * oracles.BOND * float(left(4.0))
    law = oracles.weakest(oracles.lognormal(oracles.BOND * float(left(4.0)), COV).cdf, 2)
    text = told(hangs(load))["steady-load-high"]
    above, allowed, middling = percents(text)[:3]
    median = oracles.lognormal(oracles.BOND * float(left(4.0)), COV).ppf(1.0 - math.sqrt(0.5))
    assert above == pytest.approx(float(law(load / 0.25)), rel=0.06)
    assert allowed == 0.25
    assert middling == pytest.approx(load / median, rel=0.03)


def test_a_steady_load_is_told_from_one_set_in_a_hundred_up(oracles, hangs):
    law = oracles.lognormal(oracles.BOND * float(left(4.0)), COV)
    for share, warned in ((0.012, True), (0.008, False)):
        load = 0.25 * float(law.ppf(-math.expm1(math.log1p(-share) / 2.0)))
        assert ("steady-load-high" in told(hangs(load))) is warned, share
    assert "steady-load-high" not in told(oracles.plain(GLUE, [oracles.load(Gumbel(*JERK))]))


def test_a_push_that_stays_counts_as_a_pull_and_not_behind_a_shoulder(oracles, hangs):
    load = -0.3 * oracles.BOND
    assert "steady-load-high" in told(hangs(load))
    assert "steady-load-high" not in told(hangs(load, shoulder=True))


def test_a_steady_load_that_counts_as_failure_is_not_warned_of(oracles, hangs):
    spread = {"ageing.steady_share": Lognormal(0.25, 0.05)}
    scenario = hangs(0.3 * oracles.BOND, spreads=spread, steady_fails=True)
    assert told(scenario) == {}


@pytest.fixture
def cycled(oracles, timed):
    def build(**rates):
        loads = []
        for name, rate in rates.items():
            load = oracles.load(Fixed(200.0), kind="cycles", rate=rate, name=name)
            key = f"load.{name}.mean"
            middle = Variable(key, key, Fixed(0.0), "N", "all", "scatter", "scenario", "", "given")
            loads.append(replace(load, mean=middle))
        return timed(GLUE, loads)

    return build


@pytest.mark.parametrize(
    ("rate", "outside"),
    [(24.0, "96"), (25.0, ""), (1000.0, ""), (2.5e6, ""), (2.6e6, "1e+07"), (1e7, "4e+07")],
)
def test_cycles_beyond_those_that_were_measured_by_their_number_in_four_years(
    cycled, rate, outside
):
    found = told(cycled(sway=rate))
    assert "Threads" in found["only-bonds-tire"]
    assert ("fatigue-line-drawn-on" in found) is bool(outside)
    if outside:
        assert f'Cycles over the life: "sway" {outside}.' in found["fatigue-line-drawn-on"]


def test_only_the_loads_outside_are_named(cycled):
    text = told(cycled(a=5.0, b=1e4, c=1e8))["fatigue-line-drawn-on"]
    assert text.startswith('Cycles over the life: "a" 20, "c" 4e+08. ')


def test_without_cycles_and_steady_loads_time_has_nothing_to_tell(oracles):
    assert told(oracles.plain(GLUE | DAMP, [oracles.load(Gumbel(*JERK))])) == {}
