"""Parts in line and the back-up in an assessment, against laws worked out with scipy.stats."""

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.model.members import BACKUP, DRILLED
from jointrisk.scenario.types import Part, RodEnd
from jointrisk.spread import Fixed, Gumbel, Lognormal
from jointrisk.study import judgement
from jointrisk.study.backup import chance_without_backup, without_backup
from jointrisk.study.cautions import warnings
from jointrisk.study.influence import influences
from jointrisk.study.sample import weighted_sample

COV, SHARP = 0.12, 0.01
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
JERK = (2500.0, 0.2)
"""Mean and coefficient of variation of a year's largest pull [N, -]."""
PIN = """
[backup]
kind = "screw"
diameter = "4 mm"
shear_strength = "300 MPa"
end_distance = "10 mm"
tube_bearing_strength = "1e5 MPa"
tube_shear_strength = "1e5 MPa"
insert_bearing_strength = "1e5 MPa"
insert_shear_strength = "1e5 MPa"
"""
SHEARED = math.pi / 4.0 * 16.0
"""Section in which the one-sided screw is sheared [mm2]."""


@pytest.fixture(scope="module")
def jerk(oracles):
    return oracles.load(Gumbel(JERK[0], JERK[0] * JERK[1]))


def with_part(scenario, spread, *, at="rod", in_rig=False):
    """Return a scenario with a clamp in line that holds in a pull."""
    like = scenario.variables["tube.tension_strength"]
    scope = "rod" if at == "rod" else "joint"
    clamp = replace(like, key="part.clamp.pull", label="clamp", spread=spread, scope=scope)
    variables = {**scenario.variables, clamp.key: clamp}
    return replace(scenario, variables=variables, parts=(Part("clamp", at, in_rig),))


@cache
def read(text):
    return jointrisk.load_text(text)


def with_pin(oracles, scenario, **spreads):
    """Return a scenario with a back-up of which only the pin's shear and the sections count."""
    read_in = read(oracles.TEXT + PIN)
    own = {
        key: replace(variable, spread=spreads.get(key.split(".")[1], variable.spread))
        for key, variable in read_in.variables.items()
        if key.startswith("backup.")
    }
    strong = {"plug.strength": 1e5} if "plug_strength" not in spreads else {}
    own["plug.strength"] = replace(
        scenario.variables["plug.strength"],
        spread=spreads.get("plug_strength", Fixed(strong.get("plug.strength", 1e5))),
    )
    return replace(scenario, variables=scenario.variables | own, backup=read_in.backup)


def series(*cdfs):
    """Return the law of the least of independent strengths."""
    return lambda x: 1.0 - np.prod([1.0 - cdf(x) for cdf in cdfs], axis=0)


def by_years(oracles, cdf):
    """Return the chance that a rod of this law breaks under the yearly jerk [-]."""
    values = oracles.on_grid(cdf, 1.0, 1e6)
    return oracles.fail_chance(*values, oracles.log_kept_yearly(oracles.gumbel(*JERK)))


# Series ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("at", "count"), [("rod", 1), ("end", 2)])
@pytest.mark.parametrize("load", [4500.0, 5200.0])
def test_a_part_in_series_under_one_load_by_closed_form(oracles, at, count, load):
    """1 - (1 - p1)^2 (1 - p2)^count, p = Phi(ln(load/median)/s) of bond and part."""
    bond, part = oracles.lognormal(oracles.BOND, COV), oracles.lognormal(7500.0, 0.15)
    wanted = 1.0 - (1.0 - bond.cdf(load)) ** 2 * (1.0 - part.cdf(load)) ** count
    steady = oracles.load(Fixed(load), "sustained")
    scenario = with_part(oracles.plain(GLUE, [steady]), Lognormal(7500.0, 1125.0), at=at)
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), wanted)


@pytest.mark.parametrize("law", [Gumbel, Lognormal])
def test_a_part_in_series_under_the_loads_of_a_life(oracles, law):
    bond, part = oracles.lognormal(oracles.BOND, COV), oracles.lognormal(6500.0, 0.15)
    jerk = oracles.load(law(JERK[0], JERK[0] * JERK[1]))
    sample = weighted_sample(
        with_part(oracles.plain(GLUE, [jerk]), Lognormal(6500.0, 975.0)), 1, target_cov=SHARP
    )
    values = oracles.on_grid(series(bond.cdf, bond.cdf, part.cdf), 1.0, 1e6)
    of_load = oracles.gumbel(*JERK) if law is Gumbel else oracles.lognormal(*JERK)
    wanted = oracles.fail_chance(*values, oracles.log_kept_yearly(of_load))
    assert oracles.agrees(*oracles.chance_of(sample), wanted)


def test_the_part_s_mode_has_its_own_chance(oracles, jerk):
    scenario = with_part(oracles.plain(GLUE, [jerk]), Lognormal(6500.0, 975.0))
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    (mode,) = [mode for mode in judgement.modes(sample) if mode.name == "clamp lets go"]
    assert mode.probability == pytest.approx(
        by_years(oracles, oracles.lognormal(6500.0, 0.15).cdf), rel=0.05
    )
    assert 0.5 < mode.share < 1.0


def test_a_part_out_of_the_rig_is_not_in_the_strength_of_a_new_rod(oracles, jerk):
    strengths = []
    for in_rig in (False, True):
        scenario = with_part(oracles.plain(GLUE, [jerk]), Fixed(3000.0), in_rig=in_rig)
        sample = weighted_sample(scenario, 1)
        strengths.append(judgement.strength(sample, sample.outcome.rig_pull).median)
        in_service = judgement.strength(sample, sample.outcome.pull)
        assert in_service.median == pytest.approx(3000.0)
    least = stats.lognorm(0.11957, scale=oracles.BOND / math.sqrt(1.0144))
    assert strengths[0] == pytest.approx(least.ppf(1 - math.sqrt(0.5)), rel=0.02)
    assert strengths[1] == pytest.approx(3000.0)


# Back-up -----------------------------------------------------------------------------------------

STRONG_PIN = Lognormal(600.0, 90.0)


def end_with_pin(oracles, mean, cov):
    """Return the law of an end that holds the larger of its bond and its pin."""
    bond, pin = oracles.lognormal(oracles.BOND, COV), oracles.lognormal(SHEARED * mean, cov)
    return lambda x: bond.cdf(x) * pin.cdf(x)


@pytest.fixture(scope="module")
def pinned(oracles, jerk):
    return with_pin(oracles, oracles.plain(GLUE, [jerk]), shear_strength=STRONG_PIN)


def test_an_end_holds_the_larger_of_bond_and_pin(oracles, pinned):
    sample = weighted_sample(pinned, 1, target_cov=SHARP)
    end = end_with_pin(oracles, 600.0, 0.15)
    assert oracles.agrees(*oracles.chance_of(sample), by_years(oracles, series(end, end)))


def test_without_the_back_up_it_is_the_bond_alone(oracles, pinned):
    found = chance_without_backup(pinned, 1)
    bond = oracles.lognormal(oracles.BOND, COV).cdf
    wanted = by_years(oracles, series(bond, bond))
    assert found.low < wanted < found.high
    assert found.estimate == pytest.approx(wanted, rel=0.12)
    sample = weighted_sample(pinned, 1)
    assert judgement.failure_probability(sample, np.empty(0)).estimate < 0.7 * wanted


def test_the_rig_finds_the_bond_alone(oracles, pinned):
    sample = weighted_sample(pinned, 1)
    weaker = oracles.lognormal(oracles.BOND, COV).ppf(1 - math.sqrt(0.5))
    found = judgement.strength(sample, sample.outcome.rig_pull)
    assert found.median == pytest.approx(weaker, rel=0.02)


def test_a_stronger_pin_never_raises_the_failure_probability(oracles, jerk):
    glue = oracles.plain(GLUE, [jerk])
    found = []
    for strength in (1e-3, 150.0, 300.0, 450.0, 1e4):
        scenario = with_pin(oracles, glue, shear_strength=Fixed(strength))
        found.append(oracles.chance_of(weighted_sample(scenario, 1, target_cov=SHARP)))
    for (before, error), (after, other) in pairwise(found):
        assert after <= before + 3.0 * math.hypot(error, other)
    alone, error = oracles.chance_of(weighted_sample(glue, 1, target_cov=SHARP))
    assert found[0][0] == pytest.approx(alone, abs=4.0 * math.hypot(error, found[0][1]))
    assert found[-1][0] < 1e-9


def test_an_assessment_tells_both_and_without_is_the_file_without(oracles):
    load = '[[load]]\nname = "tug"\nkind = "annual_maximum"\nsize = { mean = "2 kN", cov = 0.2 }\n'
    scattered = oracles.TEXT.replace('"10 MPa"', '{ mean = "10 MPa", cov = 0.15 }')
    pinned = jointrisk.load_text(scattered + PIN + load + 'direction = "pull"\n')
    bare = jointrisk.load_text(scattered + load + 'direction = "pull"\n')
    with_it = jointrisk.assess(pinned, curves=False).to_dict()["failure_probability"]
    without = jointrisk.assess(bare, curves=False).to_dict()["failure_probability"]
    told = with_it["without_backup"]
    assert set(told) == {"estimate", "low", "high"}
    assert told == {key: without[key] for key in told}
    assert without["without_backup"] is None
    assert with_it["estimate"] < told["estimate"]


def test_nothing_is_told_without_a_back_up_or_a_load(oracles, jerk, pinned):
    assert chance_without_backup(oracles.plain(GLUE, [jerk]), 1) is None
    assert chance_without_backup(replace(pinned, loads=()), 1) is None


def test_what_goes_with_the_back_up_goes_with_it(pinned):
    pair = ("backup.shear_strength", "adhesive.shear_strength")
    other = ("adhesive.shear_strength", "plug.overlap")
    bare = without_backup(replace(pinned, correlations={pair: 0.5, other: 0.3}))
    assert bare.backup is None
    assert dict(bare.correlations) == {other: 0.3}
    assert not [key for key in bare.variables if key.startswith("backup.")]
    assert pinned.variables.keys() - bare.variables.keys() == {
        key for key in pinned.variables if key.startswith("backup.")
    }


def test_a_mode_behind_the_bond_is_told_by_its_name(pinned):
    names = [mode.name for mode in judgement.modes(weighted_sample(pinned, 1))]
    assert BACKUP in names


# Ranking -----------------------------------------------------------------------------------------


def influence_of(scenario, key):
    found = influences(weighted_sample(scenario, 1), 1)
    (entry,) = [e for e in found if (e.variable, e.measure) == (key, "mean a tenth higher")]
    return entry


def test_a_part_that_holds_a_tenth_more(oracles, jerk):
    scenario = with_part(oracles.plain({}, [jerk]), Lognormal(5000.0, 750.0))
    before, after = (
        by_years(oracles, oracles.lognormal(mean, 750.0 / mean).cdf) for mean in (5000.0, 5500.0)
    )
    entry = influence_of(scenario, "part.clamp.pull")
    assert entry.value == pytest.approx(after / before, rel=0.08)


def test_an_insert_whose_strength_the_back_up_hangs_on_too(oracles, jerk):
    """Bond gone, the insert breaks across its hole: as a member, and as what the pin hangs in."""
    mean = 40.0
    area = math.pi * 6.4**2 - 2 * (2 * math.sqrt(6.4**2 - 4.0) + 6.4**2 * math.asin(2.0 / 6.4))
    gone = oracles.plain({"adhesive.shear_strength": 1e-3}, [jerk])
    scenario = with_pin(
        oracles, gone, shear_strength=Fixed(1e4), plug_strength=Lognormal(mean, 0.1 * mean)
    )
    one = [oracles.lognormal(area * m, 0.1 * mean / m).cdf for m in (mean, 1.1 * mean)]
    before, after = (by_years(oracles, series(cdf, cdf)) for cdf in one)
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), before)
    assert influence_of(scenario, "plug.strength").value == pytest.approx(after / before, rel=0.08)
    assert DRILLED[1] in [mode.name for mode in judgement.modes(sample)]


# Rod end -----------------------------------------------------------------------------------------


def with_rod_end(scenario, rating, use):
    like = scenario.variables["tube.tension_strength"]
    own = {
        "rod_end.static_rating": Fixed(rating),
        "rod_end.strength_ratio": Fixed(1.2),
    }
    variables = {key: replace(like, key=key, spread=s, scope="joint") for key, s in own.items()}
    return replace(
        scenario, variables=scenario.variables | variables, rod_end=RodEnd(use, None, False)
    )


def told(scenario):
    return {entry.code: entry.text for entry in warnings(weighted_sample(scenario, 1), ())}


@pytest.mark.parametrize(
    ("use", "low", "high"),
    [("constant, one way", 2, 3), ("fluctuating, one way", 3, 5), ("changes direction", 5, 8)],
)
def test_a_rating_below_what_makers_ask_is_told_with_its_figures(oracles, jerk, use, low, high):
    """The middling largest of four years, by scipy; just under and just above the lower factor."""
    load = float(oracles.gumbel(*JERK).ppf(0.5 ** (1 / 4)))
    scenario = oracles.plain(GLUE, [jerk])
    text = told(with_rod_end(scenario, 0.99 * low * load, use))["rod-end-use-factor"]
    for value in (load, low * load, high * load, 0.99 * low * load):
        assert f"{float(f'{value:.3g}'):,.0f} N" in text
    assert f'"{use}"' in text
    assert f"{low} to {high} times" in text
    assert "rod-end-use-factor" not in told(with_rod_end(scenario, 1.01 * low * load, use))


def test_what_is_always_there_counts_in_the_load_of_a_rod_end(oracles, jerk):
    load = float(oracles.gumbel(*JERK).ppf(0.5 ** (1 / 4)))
    steady = oracles.load(Fixed(-400.0), "sustained", name="spring")
    scenario = oracles.plain(GLUE, [jerk, steady])
    near = "constant, one way"
    assert "rod-end-use-factor" in told(with_rod_end(scenario, 2 * (load + 390.0), near))
    assert "rod-end-use-factor" not in told(with_rod_end(scenario, 2 * (load + 410.0), near))


def test_no_word_of_a_rod_end_without_a_use_or_a_load(oracles, jerk):
    assert "rod-end-use-factor" not in told(with_rod_end(oracles.plain(GLUE, [jerk]), 1.0, None))
    bare = with_rod_end(oracles.plain(GLUE), 1.0, "changes direction")
    assert "rod-end-use-factor" not in told(bare)
