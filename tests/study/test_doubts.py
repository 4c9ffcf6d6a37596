"""Assumptions at their best and worst: against quadrature, and against assessing anew."""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.model.rodset import rod_set
from jointrisk.scenario.doubts import doubts
from jointrisk.scenario.types import Target
from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study import doubts as room
from jointrisk.study.doubts import ledger, matched
from jointrisk.study.doubts_results import Ledger
from jointrisk.study.sample import weighted_sample

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COV, LOAD, LOAD_COV = 0.12, 2800.0, 0.2
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
SLACK = 0.01
"""Of a ratio, beside its interval: where all rows give nearly one ratio their scatter is small."""


@pytest.fixture(scope="module")
def racer():
    return jointrisk.load(SCENARIOS / "gravity-racer-drag-link.toml")


@pytest.fixture(scope="module")
def racer_sample(racer):
    return weighted_sample(racer, 1)


@pytest.fixture(scope="module")
def racer_ledger(racer_sample):
    return ledger(racer_sample, seed=1)


def entry_of(result, key, question):
    (found,) = [e for e in result.entries if (e.key, e.question) == (key, question)]
    return found


def is_near(end, exact):
    """Whether an interval is sharp and the exact ratio within twice its half-width."""
    width = math.log(end.ratio_high / end.ratio_low) / 2.0
    assert width < 0.7, (end, exact)
    return abs(math.log(end.ratio / exact)) < 2.0 * width + SLACK


def as_default(scenario, *keys):
    """Return the scenario as if its file had said nothing of `keys`."""
    told = tuple(
        replace(entry, origin="default", confidence="judgement, no source")
        if entry.key in keys
        else entry
        for entry in scenario.assumptions
    )
    return replace(scenario, assumptions=told)


# Quadrature ---------------------------------------------------------------------------------------


def weibull(mean, cov):
    shape = next(
        k for k in np.linspace(1.0, 40.0, 390_001) if stats_cov(k) < cov
    )  # to 1e-4 of the shape
    return stats.weibull_min(shape, scale=mean / math.gamma(1.0 + 1.0 / shape))


def stats_cov(shape):
    first, second = math.gamma(1.0 + 1.0 / shape), math.gamma(1.0 + 2.0 / shape)
    return math.sqrt(second / first**2 - 1.0)


def chance(oracles, law, load):
    least = oracles.weakest(lambda x: np.maximum(law.cdf(x), 0.0), 2)
    grid = oracles.on_grid(least, 100.0, 60_000.0)
    return oracles.fail_chance(*grid, oracles.log_kept_yearly(load))


@pytest.fixture(scope="module")
def glued(oracles):
    return ledger(oracles.plain(GLUE, [oracles.load(Gumbel(LOAD, LOAD_COV * LOAD))]), seed=1)


@pytest.fixture(scope="module")
def laws(oracles):
    return oracles.lognormal(oracles.BOND, COV), oracles.gumbel(LOAD, LOAD_COV)


def test_the_failure_probability_as_it_is(oracles, glued, laws):
    exact = chance(oracles, *laws)
    assert glued.failure.low < exact < glued.failure.high
    assert glued.target is None


def test_the_family_of_the_bonds_scatter(oracles, glued, laws):
    entry = entry_of(glued, "adhesive.shear_strength", "family")
    assert (entry.value, entry.low.value, entry.high.value) == ("lognormal", "normal", "weibull")
    before = chance(oracles, *laws)
    normal = stats.norm(oracles.BOND, COV * oracles.BOND)
    assert is_near(entry.low, chance(oracles, normal, laws[1]) / before)
    assert is_near(entry.high, chance(oracles, weibull(oracles.BOND, COV), laws[1]) / before)
    assert entry.high.ratio > 1.2


def test_the_tail_of_the_bonds_scatter(oracles, glued, laws):
    entry = entry_of(glued, "adhesive.shear_strength", "tail")
    before = chance(oracles, *laws)
    for end, factor in ((entry.low, 0.8), (entry.high, 1.25)):
        law = oracles.lognormal(oracles.BOND, factor * COV)
        assert is_near(end, chance(oracles, law, laws[1]) / before)


def test_the_family_and_the_tail_of_a_load(oracles, glued, laws):
    before = chance(oracles, *laws)
    entry = entry_of(glued, "load.jerk.size", "family")
    others = {
        "lognormal": oracles.lognormal(LOAD, LOAD_COV),
        "normal": stats.norm(LOAD, LOAD_COV * LOAD),
        "weibull": weibull(LOAD, LOAD_COV),
    }
    exact = {name: chance(oracles, laws[0], law) / before for name, law in others.items()}
    assert entry.low.value == min(exact, key=exact.get)
    assert entry.high.value == max(exact, key=exact.get)
    assert is_near(entry.low, exact[entry.low.value])
    assert is_near(entry.high, exact[entry.high.value])
    tail = entry_of(glued, "load.jerk.size", "tail")
    for end, factor in ((tail.low, 0.8), (tail.high, 1.25)):
        law = oracles.gumbel(LOAD, factor * LOAD_COV)
        assert is_near(end, chance(oracles, laws[0], law) / before)


def test_what_is_not_known_settled_at_its_points(oracles):
    cov = 0.15
    law = oracles.lognormal(1.0, cov)
    factors = law.ppf((np.arange(400) + 0.5) / 400)
    glue = oracles.lognormal(oracles.BOND, COV)
    values, mass = oracles.on_grid(oracles.weakest(glue.cdf, 2), 100.0, 60_000.0, 4001)
    kept = oracles.log_kept_yearly(oracles.gumbel(LOAD, LOAD_COV))

    def at(factor):
        return oracles.fail_chance(values / factor, mass, kept)

    before = float(np.mean([at(factor) for factor in factors]))
    jerk = oracles.load(Gumbel(LOAD, LOAD_COV * LOAD))
    scenario = oracles.plain(GLUE | {"model.load_factor": Lognormal(1.0, cov)}, [jerk])
    result = ledger(as_default(scenario, "model.load_factor"), seed=3)
    entry = entry_of(result, "model.load_factor", "settled")
    assert is_near(entry.low, at(float(law.ppf(0.05))) / before)
    assert is_near(entry.high, at(float(law.ppf(0.95))) / before)


def test_a_chance_of_weak_bonds_weights_the_labels_anew(oracles):
    """At a fixed chance the joints are independent; the average over the chance by quadrature."""
    weights = Lognormal(0.01, 0.012)
    law = stats.lognorm(math.sqrt(math.log1p(1.44)), scale=0.01 / math.sqrt(2.44))
    sound = oracles.lognormal(oracles.BOND, COV).cdf
    kept = oracles.log_kept_yearly(oracles.gumbel(1500.0, LOAD_COV))

    def at(weight):
        cdf = oracles.weakest(oracles.mixed(sound, weight, 0.3), 2)
        return oracles.fail_chance(*oracles.on_grid(cdf, 50.0, 60_000.0, 4001), kept)

    before = float(np.mean([at(w) for w in law.ppf((np.arange(400) + 0.5) / 400)]))
    spreads = GLUE | {"weak_bonds.lone_weight": weights}
    scenario = oracles.plain(spreads, [oracles.load(Gumbel(1500.0, 300.0))])
    entry = entry_of(
        ledger(as_default(scenario, "weak_bonds.lone_weight"), seed=2),
        "weak_bonds.lone_weight",
        "settled",
    )
    assert is_near(entry.low, at(float(law.ppf(0.05))) / before)
    assert is_near(entry.high, at(float(law.ppf(0.95))) / before)
    assert entry.moves > 0.8


# Assessing anew -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["gravity-racer-drag-link", "rowing-rigger-backstay"])
def test_the_first_five_are_those_of_a_full_assessment(name):
    """Within four standard errors of the two together, of ten comparisons each."""
    scenario = jointrisk.load(SCENARIOS / f"{name}.toml")
    result = ledger(scenario, seed=4)
    others = {(d.key, d.question): d.alternatives for d in doubts(scenario)}
    for entry in result.entries[:5]:
        named = {other.value: other.scenario for other in others[entry.key, entry.question]}
        for end in (entry.low, entry.high):
            if end.method == "as it is":
                continue
            anew = weighted_sample(named[end.value], 71)
            terms = anew.weight * anew.fails
            own = float(terms.std() / math.sqrt(terms.size) / terms.mean())
            ratio = math.log(end.ratio_high / end.ratio_low) / 3.92
            base = math.log(result.failure.high / result.failure.low) / 3.92
            error = math.hypot(own, ratio, base)
            assert error < 0.2
            apart = math.log(anew.mean(anew.fails) / end.failure)
            assert abs(apart) < 4.0 * error, (entry.key, end)


def test_a_sample_of_its_own_says_the_same(racer_sample, racer_ledger, monkeypatch):
    monkeypatch.setattr(room, "LEAST_EFFECTIVE", np.inf)
    monkeypatch.setattr(room, "MOST_OWN", 4)
    own = ledger(racer_sample, seed=1)
    ends = [
        (end, getattr(entry_of(racer_ledger, entry.key, entry.question), side))
        for entry in own.entries
        for side in ("low", "high")
        if (end := getattr(entry, side)).method == "own draws"
    ]
    assert 1 <= len(ends) <= 4
    for end, before in ends:
        wide = math.log(end.ratio_high / end.ratio_low)
        wide = math.hypot(wide, math.log(before.ratio_high / before.ratio_low))
        assert abs(math.log(end.ratio / before.ratio)) < wide


# What the ledger is -------------------------------------------------------------------------------


def test_an_unchanged_scenario_on_its_own_columns_is_itself(racer):
    base = rod_set(racer)
    assert matched(base, racer) == base


def test_other_batches_or_other_draws_need_a_sample_of_their_own():
    robot = jointrisk.load(SCENARIOS / "delta-robot-forearms.toml")
    assert matched(rod_set(robot), replace(robot, rods_per_batch=1)) is None
    brace = jointrisk.load(SCENARIOS / "sun-heated-brace.toml")
    (steady,) = [d for d in doubts(brace) if d.key == "ageing.steady_share"]
    assert matched(rod_set(brace), steady.alternatives[0].scenario) is None


def test_the_entries_hang_together(racer_ledger):
    moves = [entry.moves for entry in racer_ledger.entries]
    assert moves == sorted(moves, reverse=True)
    for entry in racer_ledger.entries:
        assert entry.low.ratio <= entry.high.ratio
        assert entry.moves_low <= entry.moves + 1e-12
        assert entry.moves <= entry.moves_high + 1e-12
        for end in (entry.low, entry.high):
            assert end.ratio_low <= end.ratio <= end.ratio_high
            expected = min(racer_ledger.failure.estimate * end.ratio, 1.0)
            assert end.failure == pytest.approx(expected)
            assert end.counted_low <= end.counted <= end.counted_high
    assert racer_ledger.deciding[0] is racer_ledger.entries[0]


def test_the_headline_is_that_of_the_assessment(racer, racer_ledger):
    """Each from draws of its own: the intervals meet."""
    told = jointrisk.assess(racer, seed=1, curves=False).failure_probability
    failure = racer_ledger.failure
    assert max(failure.low, told.low) < min(failure.high, told.high)
    assert failure.estimate == pytest.approx(told.estimate, rel=0.08)


@pytest.fixture
def held_against(racer_sample, monkeypatch):
    """Return a function that holds the racer against a target for its life, with fewer rows."""
    monkeypatch.setattr(room, "JOINTS_ALLOWED", 2**11)
    rods = racer_sample.rods

    def against(probability):
        target = Target(probability, "life", "set", "")
        aimed = replace(rods, scenario=replace(rods.scenario, target=target))
        return ledger(replace(racer_sample, rods=aimed), seed=1)

    return against


def test_verdicts_and_what_turns_them(held_against):
    """Now 1 in 80 over the life; a weak bond that keeps more brings it below 1 in 400."""
    missed = held_against(0.003)
    assert missed.target.met is False
    turning = [entry for entry in missed.entries if entry.turns]
    assert [entry.key for entry in turning] == ["weak_bonds.keeps"]
    assert missed.deciding == tuple(turning)
    assert turning[0].low.met is True
    assert turning[0].low.counted == pytest.approx(turning[0].low.failure)
    met = held_against(0.02)
    assert met.target.met is True
    assert {entry.high.met for entry in met.entries if entry.turns} == {False}
    undecided = held_against(met.failure.estimate)
    assert undecided.target.met is None
    assert undecided.to_dict()["target"]["met"] == "undecided"


def test_a_yearly_target_counts_the_worst_year(racer_ledger):
    target = racer_ledger.target
    assert target.period == "year"
    assert target.counted.estimate < racer_ledger.failure.estimate
    slices = entry_of(racer_ledger, "life.slices", "value")
    assert slices.low.value == "6"
    assert slices.low.counted < slices.high.counted


def test_what_a_scenario_does_not_read_is_no_entry(oracles, glued):
    assert "ageing.wet_share" not in {entry.key for entry in glued.entries}
    robot = jointrisk.load(SCENARIOS / "delta-robot-forearms.toml")
    result = ledger(robot, seed=1)
    assert "ageing.wet_share" in result.unread
    assert "ageing.wet_share" not in {entry.key for entry in result.entries}
    assert dict(result.reasons)["proof.hold_time"] == "only a pull reads it"


def test_the_same_bytes_with_and_without_a_pool(racer_sample, racer_ledger):
    with ThreadPoolExecutor(2) as pool:
        shared = ledger(racer_sample, seed=1, pool=pool)
    assert json.dumps(shared.to_dict()) == json.dumps(racer_ledger.to_dict())
    assert ledger(racer_sample, seed=0) != racer_ledger


def test_without_a_load_or_a_failure_nothing_is_weighed(oracles):
    for loads in ((), (oracles.load(Gumbel(1.0, 0.01)),)):
        result = ledger(oracles.plain(GLUE, loads), seed=1)
        assert isinstance(result, Ledger)
        assert (result.failure, result.entries, result.deciding) == (None, (), ())


def test_as_document_and_as_frame(racer_ledger):
    document = json.loads(json.dumps(racer_ledger.to_dict(), allow_nan=False))
    first = document["entries"][0]
    assert first["key"] == "weak_bonds.keeps"
    assert first["low"]["met"] is False
    assert document["deciding"][0] == "weak_bonds.keeps: value"
    assert document["verdict_by"] == "average over what is not known"
    frame = racer_ledger.to_frame()
    assert len(frame) == len(racer_ledger.entries)
    assert frame["high_ratio"][0] == racer_ledger.entries[0].high.ratio
