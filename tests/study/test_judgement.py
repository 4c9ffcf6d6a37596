"""Strength, permitted load, failure probability, modes and target against the closed laws."""

import math
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.errors import EstimateError
from jointrisk.reliability.interval import clopper_pearson
from jointrisk.spread import Gumbel, Lognormal, Normal, Uniform
from jointrisk.study import assessment, judgement
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
SHARP = 0.01


def glue(oracles):
    return oracles.lognormal(oracles.BOND, COV)


def least_of(law, count, share):
    """Quantile of the least of `count` draws: 1 - (1 - F)^count = share."""
    return float(law.ppf(-np.expm1(np.log1p(-share) / count)))


@pytest.fixture(scope="module")
def one_rod(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2800.0, 560.0))])
    return weighted_sample(scenario, 1, target_cov=SHARP)


@pytest.fixture(scope="module")
def three_rods(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2800.0, 560.0))], rods=3)
    return weighted_sample(scenario, 1, target_cov=SHARP)


@pytest.mark.parametrize("rods", ["one_rod", "three_rods"])
def test_quantiles_of_strength_are_those_of_the_weaker_of_two_ends(oracles, rods, request):
    sample = request.getfixturevalue(rods)
    found = judgement.strength(sample, sample.outcome.pull)
    cdf = oracles.weakest(glue(oracles).cdf, 2)
    for share, value in (
        (0.5, found.median),
        (0.01, found.one_in_100_below),
        (0.001, found.one_in_1000_below),
    ):
        below = (sample.outcome.pull <= value).mean(axis=0)
        error = oracles.mean_and_error(sample.weight * (below - share))[1]
        assert error < 0.1 * share
        assert abs(float(cdf(value)) - share) < 4.0 * error
        assert value == pytest.approx(least_of(glue(oracles), 2, share), rel=0.02)


def test_weak_joints_sit_in_the_quantiles_by_their_chance(oracles):
    """With 3 % weak joints the hundredth rod is a weak one, the middle one is not."""
    spreads = GLUE | {"weak_bonds.lone_weight": 0.03}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(1800.0, 360.0))])
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    found = judgement.strength(sample, sample.outcome.pull)
    cdf = oracles.weakest(oracles.mixed(glue(oracles).cdf, 0.03, 0.3), 2)
    assert float(cdf(found.median)) == pytest.approx(0.5, abs=0.03)
    assert float(cdf(found.one_in_100_below)) == pytest.approx(0.01, rel=0.08)
    assert float(cdf(found.one_in_1000_below)) == pytest.approx(0.001, rel=0.15)
    assert found.one_in_100_below < 0.4 * found.median


def test_strength_in_the_rig_is_that_of_the_workshop(oracles):
    """Heat takes the table's share off in service and nothing in the rig."""
    spreads = GLUE | {"service.hottest": 50.0}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(1500.0, 300.0))])
    sample = weighted_sample(scenario, 1)
    new = judgement.strength(sample, sample.outcome.rig_pull)
    aged = judgement.strength(sample, sample.outcome.pull)
    left = np.interp(50.0, *zip(*scenario.strength_by_temperature, strict=True))
    for name in ("median", "one_in_100_below", "one_in_1000_below"):
        assert getattr(aged, name) == pytest.approx(left * getattr(new, name), rel=1e-9)


# Permitted load ---------------------------------------------------------------------------------


@pytest.mark.parametrize("scope", ["rod", "set"])
@pytest.mark.parametrize("probability", [1e-2, 1e-4])
def test_permitted_load_is_the_quantile_of_the_strength(oracles, three_rods, scope, probability):
    target = oracles.wanted(probability, "life", scope)
    found = judgement.permitted_load(three_rods, target)
    joints = 6 if scope == "set" else 2
    exact = least_of(glue(oracles), joints, probability)
    assert found.newton == pytest.approx(exact, rel=0.02)
    assert found.low <= found.newton <= found.high
    assert found.high - found.low < 0.06 * exact
    assert ("any rod of the set" if scope == "set" else "one rod") in found.basis
    assert found.basis.endswith(f"is 1 in {round(1 / probability):,}")


def test_its_interval_holds_the_truth_as_often_as_it_says(oracles):
    """24 seeds at 95 %: 18 or fewer hits would come once in 10 000 times."""
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2800.0, 560.0))])
    exact = least_of(glue(oracles), 2, 1e-3)
    target = oracles.wanted(1e-3)
    hits = 0
    for seed in range(24):
        found = judgement.permitted_load(weighted_sample(scenario, seed), target)
        hits += found.low <= exact <= found.high
    assert hits >= 19


def test_a_push_counts_where_a_load_can_push(oracles):
    """The tube's end carries less than the bond: strut of a long rod, by Euler's load."""
    long = {"rods.length": 700.0}
    target = (1e-2, "life", "rod")
    pull = oracles.plain(GLUE | long, [oracles.load(Gumbel(900.0, 100.0))], target=target)
    both = oracles.plain(
        GLUE | long, [oracles.load(Gumbel(900.0, 100.0), direction="both")], target=target
    )
    found = [
        judgement.permitted_load(weighted_sample(scenario, 1), scenario.target)
        for scenario in (pull, both)
    ]
    inertia = math.pi / 4.0 * (8.0**4 - 6.6**4)
    euler = math.pi**2 * 70_000.0 * inertia / 700.0**2
    assert found[0].newton > 1.5 * euler
    assert found[1].newton == pytest.approx(euler, rel=0.05)
    assert found[1].newton <= euler * (1.0 + 1e-9)
    assert found[0].basis.startswith("largest pull of")
    assert found[1].basis.startswith("largest pull or push of")


# Failure probability ----------------------------------------------------------------------------


def test_the_interval_of_the_headline_holds_the_truth(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2300.0, 460.0))])
    grid = oracles.on_grid(oracles.weakest(glue(oracles).cdf, 2), 500.0, 30_000.0)
    exact = oracles.fail_chance(*grid, oracles.log_kept_yearly(oracles.gumbel(2300.0, 0.2)))
    hits, widths = 0, []
    for seed in range(24):
        chance = judgement.failure_probability(weighted_sample(scenario, seed), np.empty(0))
        hits += chance.low <= exact <= chance.high
        widths.append((chance.high - chance.low) / chance.estimate)
    assert hits >= 19
    assert np.median(widths) < 0.2


def test_the_headline_hangs_together(oracles, three_rods):
    states = np.linspace(1e-5, 3e-3, 101)
    chance = judgement.failure_probability(three_rods, states)
    found, _ = oracles.chance_of(three_rods)
    assert chance.estimate == pytest.approx(found)
    assert stats.norm.sf(chance.beta) == pytest.approx(found, rel=1e-9)
    assert (chance.band_p05, chance.band_p50, chance.band_p95) == pytest.approx(
        tuple(np.quantile(states, (0.05, 0.5, 0.95), method="hazen"))
    )
    assert chance.period_years == oracles.YEARS
    assert chance.confidence == 0.95
    assert chance.evaluations == three_rods.evaluations
    grid = oracles.on_grid(oracles.weakest(glue(oracles).cdf, 2), 500.0, 30_000.0)
    kept = oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2))
    assert chance.per_rod == pytest.approx(oracles.fail_chance(*grid, kept), rel=0.15)
    assert chance.per_rod <= chance.estimate <= 3.0 * chance.per_rod


def test_without_unknowns_the_band_is_the_headline(one_rod):
    chance = judgement.failure_probability(one_rod, np.empty(0))
    assert chance.band_p05 == chance.band_p50 == chance.band_p95 == chance.estimate


def test_worst_year_is_the_first_by_quadrature(oracles):
    """Yearly chances given survival so far, from the same law, fall year by year."""
    weak = GLUE | {"weak_bonds.lone_weight": 0.02}
    scenario = oracles.plain(weak, [oracles.load(Gumbel(2300.0, 460.0))])
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    chance = judgement.failure_probability(sample, np.empty(0))
    joint = oracles.mixed(glue(oracles).cdf, 0.02, 0.3)
    values, share = oracles.on_grid(oracles.weakest(joint, 2), 200.0, 30_000.0)
    kept = oracles.log_kept_yearly(oracles.gumbel(2300.0, 0.2), 1.0)
    alive = [float(np.sum(share * np.exp(year * kept(values)))) for year in range(5)]
    yearly = [1.0 - after / before for before, after in pairwise(alive)]
    assert yearly == sorted(yearly, reverse=True)
    assert chance.worst_year == pytest.approx(yearly[0], rel=0.05)
    assert chance.worst_year_number == 1


@pytest.mark.parametrize("life", [0.25, 1.0])
def test_a_life_of_a_year_or_less_has_no_worse_year_than_itself(oracles, life):
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2800.0, 560.0))], life=life)
    chance = judgement.failure_probability(weighted_sample(scenario, 1), np.empty(0))
    assert chance.worst_year == pytest.approx(chance.estimate, rel=1e-6)


def test_at_no_failure_seen_the_upper_bound_is_that_of_a_count_of_none(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Uniform(1.0, 2.0))])
    sample = weighted_sample(scenario, 1)
    chance = judgement.failure_probability(sample, np.empty(0))
    assert (chance.estimate, chance.low) == (0.0, 0.0)
    assert chance.beta == math.inf
    assert clopper_pearson(0, sample.weight.size)[1] <= chance.high < 0.01


def test_at_no_failure_seen_only_the_guards_draws_bound_the_chance(oracles):
    scenario = oracles.plain(GLUE, [oracles.load(Uniform(1.0, 2.0))])
    sample = weighted_sample(scenario, 1)
    shares = np.array([0.25, 0.75])
    proposal = SimpleNamespace(shares=shares)
    quarter = replace(sample, plan=SimpleNamespace(proposal=proposal))
    plain = sample.weight.size // 4
    chance = judgement.failure_probability(quarter, np.empty(0))
    assert chance.high == pytest.approx(clopper_pearson(0, plain)[1], rel=0.01)


# Modes ------------------------------------------------------------------------------------------


def test_shares_of_two_ways_to_fail_by_quadrature(oracles):
    """Bond (least of two) against tube: whichever is lower fails first."""
    mean = oracles.BOND * 1.05
    spreads = GLUE | {
        "tube.tension_strength": Lognormal(mean / oracles.TUBE_AREA, 0.1 * mean / oracles.TUBE_AREA)
    }
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(4200.0, 840.0))])
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    bond_cdf, tube = oracles.weakest(glue(oracles).cdf, 2), oracles.lognormal(mean, 0.1)
    kept = oracles.log_kept_yearly(oracles.gumbel(4200.0, 0.2))
    bonds = oracles.on_grid(bond_cdf, 500.0, 40_000.0)
    tubes = oracles.on_grid(tube.cdf, 500.0, 40_000.0)
    by_bond = oracles.fail_chance(bonds[0], bonds[1] * tube.sf(bonds[0]), kept)
    by_tube = oracles.fail_chance(tubes[0], tubes[1] * (1.0 - bond_cdf(tubes[0])), kept)
    assert 0.1 < by_tube / by_bond < 10.0
    assert oracles.agrees(*oracles.chance_of(sample), by_bond + by_tube)
    found = {mode.name: mode for mode in judgement.modes(sample)}
    assert set(found) == {
        "bond lets go inside the adhesive (cohesion)",
        "tube breaks in tension",
    }
    cohesion, tension = found.values()
    assert cohesion.share >= tension.share
    shares = {"bond": by_bond, "tube": by_tube}
    for name, part, alone in (
        ("bond lets go inside the adhesive (cohesion)", "bond", bonds),
        ("tube breaks in tension", "tube", tubes),
    ):
        exact = shares[part] / (by_bond + by_tube)
        assert found[name].share == pytest.approx(exact, abs=0.03)
        assert found[name].probability == pytest.approx(oracles.fail_chance(*alone, kept), rel=0.1)


@pytest.mark.parametrize(
    ("spreads", "name"),
    [
        ({"preparation.plug": 0.7}, "bond lets go at the insert (adhesion)"),
        ({"preparation.tube": 0.7}, "bond lets go at the tube (adhesion)"),
        ({"preparation.plug": 1.4}, "bond lets go inside the adhesive (cohesion)"),
        ({"weak_bonds.lone_weight": 1.0}, "bond lets go at the insert (adhesion)"),
    ],
)
def test_the_weaker_surface_names_the_mode(oracles, spreads, name):
    scenario = oracles.plain(GLUE | spreads, [oracles.load(Gumbel(2500.0, 500.0))])
    sample = weighted_sample(scenario, 1)
    (mode,) = judgement.modes(sample)
    assert mode.name == name
    assert mode.share == pytest.approx(1.0)
    shown = judgement.failure_probability(sample, np.empty(0)).estimate
    assert mode.probability == pytest.approx(shown)


def test_shares_sum_to_one_the_largest_first_and_none_without_failures(oracles, three_rods):
    found = judgement.modes(three_rods)
    assert sum(mode.share for mode in found) == pytest.approx(1.0)
    scenario = oracles.plain(GLUE, [oracles.load(Uniform(1.0, 2.0))])
    assert judgement.modes(weighted_sample(scenario, 1)) == ()


# Target -----------------------------------------------------------------------------------------


def verdict(sample, target, states):
    chance = judgement.failure_probability(sample, states)
    return judgement.target_verdict(sample, target, chance, states)


def test_met_only_where_headline_and_band_lie_below(oracles, one_rod):
    headline, _ = oracles.chance_of(one_rod)
    states = headline * np.geomspace(0.1, 10.0, 201)
    for factor, met, likely in ((0.05, False, 0.0), (20.0, True, 1.0), (1.5, None, None)):
        found = verdict(one_rod, oracles.wanted(factor * headline), states)
        assert found.met is met
        exact = np.mean(states <= factor * headline) if likely is None else likely
        assert found.chance_met == pytest.approx(exact)
        assert (found.period_years, found.scope) == (4.0, "set")


def test_a_headline_above_the_target_is_never_met_though_the_band_lies_below(oracles, one_rod):
    headline, _ = oracles.chance_of(one_rod)
    found = verdict(one_rod, oracles.wanted(0.9 * headline), headline * np.full(100, 0.5))
    assert found.met is None
    assert found.chance_met == 1.0


def test_without_unknowns_the_verdict_is_plain_and_that_of_the_headline_shown(oracles, one_rod):
    shown = judgement.failure_probability(one_rod, np.empty(0)).estimate
    for factor, met in ((1.0 + 1e-6, True), (1.0 - 1e-6, False)):
        found = verdict(one_rod, oracles.wanted(factor * shown), np.empty(0))
        assert found.met is met
        assert found.chance_met == float(met)


def test_without_a_load_there_is_no_verdict(oracles, one_rod):
    found = judgement.target_verdict(one_rod, oracles.wanted(1e-3), None, np.empty(0))
    assert (found.met, found.chance_met) == (None, None)


def of_target(sample, target, weight):
    return judgement.target_value(sample.rods.scenario, sample.outcome, target, weight)


@pytest.mark.parametrize(("period", "years"), [("life", 4.0), ("year", 1.0)])
@pytest.mark.parametrize(("scope", "joints"), [("set", 6), ("rod", 2)])
def test_the_target_speaks_of_its_own_period_and_scope(
    oracles, three_rods, period, years, scope, joints
):
    grid = oracles.on_grid(oracles.weakest(glue(oracles).cdf, joints), 500.0, 30_000.0)
    exact = oracles.fail_chance(*grid, oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2), years))
    target = oracles.wanted(1e-3, period, scope)
    found = of_target(three_rods, target, three_rods.weight)
    assert found == pytest.approx(exact, rel=0.05)
    # a common factor on the weights cancels
    assert of_target(three_rods, target, 7.0 * three_rods.weight) == pytest.approx(found)
    judged = verdict(three_rods, target, np.empty(0))
    assert (judged.period_years, judged.met) == (years, bool(exact <= 1e-3))


@pytest.mark.parametrize(("period", "scope"), [("life", "set"), ("year", "set"), ("life", "rod")])
def test_the_chance_of_each_draw_is_that_of_the_targets_own_count(
    three_rods, oracles, period, scope
):
    """Not above the chance of the whole life of the set, and its own where they are the same."""
    target = oracles.wanted(1e-3, period, scope)
    scenario, outcome = three_rods.rods.scenario, three_rods.outcome
    found, gone = judgement.target_terms(scenario, outcome, target, 0)
    whole = three_rods.fails
    assert not gone.any()
    assert np.all(found <= whole * (1.0 + 1e-12))
    assert np.all(found * (4.0 if period == "year" else 3.0) >= whole * (1.0 - 1e-12))
    if (period, scope) == ("life", "set"):
        assert np.array_equal(found, whole)


# No number where none can be trusted ------------------------------------------------------------


def test_a_sample_too_rough_gives_an_error_with_its_numbers(oracles, one_rod, monkeypatch):
    terms = one_rod.weight * one_rod.fails
    cov = terms.std() / math.sqrt(terms.size) / terms.mean()
    monkeypatch.setattr(assessment, "WORST_COV", 0.5 * cov)
    text = f"after {one_rod.evaluations:,} draws its coefficient of variation is {cov:.0%}"
    with pytest.raises(EstimateError, match=text):
        assessment._trust(one_rod)
    monkeypatch.setattr(assessment, "WORST_COV", 1.01 * cov)
    assessment._trust(one_rod)


def test_no_error_where_nothing_fails_or_nothing_loads(oracles, monkeypatch):
    monkeypatch.setattr(assessment, "WORST_COV", 0.0)
    never = oracles.plain(GLUE, [oracles.load(Uniform(1.0, 2.0))])
    assessment._trust(weighted_sample(never, 1))
    assessment._trust(weighted_sample(oracles.plain(GLUE), 1))


def test_push_strength_is_told_only_where_it_differs(oracles):
    """A shoulder takes the push off the bond; a bond alone holds both ways alike."""
    load = oracles.load(Gumbel(2500.0, 500.0), direction="both")
    alike = jointrisk.assess(oracles.plain(GLUE, [load]))
    assert alike.push_aged is None
    crushed = GLUE | {"tube.compression_strength": Normal(60.0, 1.0)}
    apart = jointrisk.assess(oracles.plain(crushed, [load], shoulder=True))
    assert apart.push_aged is not None
    assert apart.push_aged.median == pytest.approx(60.0 * oracles.TUBE_AREA, rel=0.02)
    assert (
        jointrisk.assess(oracles.plain(GLUE, [oracles.load(Gumbel(2500.0, 500.0))])).push_aged
        is None
    )
