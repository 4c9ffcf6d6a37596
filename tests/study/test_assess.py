import json
import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import jointrisk
from jointrisk import reliability
from jointrisk.errors import EstimateError
from jointrisk.model import limit_state, rod_set
from jointrisk.study import judgement, pulls
from jointrisk.study.band import band, unknown_columns
from jointrisk.study.bench import bench_of
from jointrisk.study.results import Assessment
from jointrisk.study.sample import weighted_sample

TARGET = """
[target]
probability = 1e-4
period = "life"
scope = "set"
"""


@pytest.fixture(scope="module")
def racer() -> Assessment:
    return jointrisk.assess(jointrisk.load("scenarios/gravity-racer-drag-link.toml"))


def test_the_document_is_that_of_the_contract(racer):
    document = racer.to_dict()
    assert list(document) == [
        "schema_version",
        "title",
        "strength",
        "permitted_load",
        "failure_probability",
        "target",
        "modes",
        "ranking",
        "proof",
        "geometry",
        "assumptions",
        "warnings",
        "run",
        "host",
    ]
    chance = document["failure_probability"]
    assert chance["low"] <= chance["estimate"] <= chance["high"]
    assert chance["band"]["p05"] <= chance["band"]["p50"] <= chance["band"]["p95"]
    assert set(document["strength"]) == {"new", "aged"}
    assert sum(mode["share"] for mode in document["modes"]) == pytest.approx(1.0)
    json.dumps(document, allow_nan=False)


def test_every_variable_shows_up_as_an_assumption_with_source_and_mark(racer):
    scenario = jointrisk.load("scenarios/gravity-racer-drag-link.toml")
    listed = {entry.key for entry in racer.assumptions}
    assert set(scenario.variables) <= listed
    assert all(entry.source and entry.confidence for entry in racer.assumptions)


def test_a_persons_weight_catches_little_and_the_needed_pull_is_named(racer):
    worth = racer.proof.pulls[0]
    assert racer.failure_probability is not None
    assert worth.weak_caught_fraction is not None
    assert worth.weak_caught_fraction < 0.2
    assert worth.fail_after is not None
    assert worth.fail_after > 0.5 * racer.failure_probability.estimate
    assert worth.needed_newton is not None
    assert worth.needed_newton > 2 * worth.load_newton


@pytest.mark.parametrize("name", ["gravity-racer-drag-link", "delta-robot-forearms"])
def test_same_bytes_at_any_number_of_workers(name):
    scenario = jointrisk.load(f"scenarios/{name}.toml")
    alone = jointrisk.assess(scenario, seed=0).to_dict()
    with ThreadPoolExecutor(2) as pool:
        together = jointrisk.assess(scenario, seed=0, pool=pool).to_dict()
    for document in (alone, together):
        document.pop("host")
    assert json.dumps(alone) == json.dumps(together)
    assert alone["run"]["seed"] == 0


def scaled(scenario_file: str, factor: float):
    """Return a shipped scenario with every load multiplied."""
    import re
    from pathlib import Path

    text = Path(scenario_file).read_text(encoding="utf-8")
    return jointrisk.load_text(
        re.sub(
            r'(size = \{ mean = ")(\d+)( N")',
            lambda found: f"{found[1]}{float(found[2]) * factor:.3f}{found[3]}",
            text,
        )
    )


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("gravity-racer-drag-link", 1.0),
        ("delta-robot-forearms", 0.9),
        ("rowing-rigger-backstay", 0.25),
        ("sun-heated-brace", 1.0),
    ],
)
def test_plain_monte_carlo_of_the_limit_state_agrees(name, factor):
    """Two estimators, two ways through the loads (drawn, integrated), one failure probability."""
    scenario = scaled(f"scenarios/{name}.toml", factor)
    sample = weighted_sample(scenario, 1)
    terms = sample.weight * sample.fails
    weighted, error = terms.mean(), terms.std() / np.sqrt(terms.size)
    state = limit_state(scenario)
    plain = reliability.estimate(
        state.function,
        state.variables,
        correlation=state.correlation,
        method="crude",
        max_evaluations=2**16,
        target_cov=0.001,
        seed=1,
    )
    crude_error = np.sqrt(plain.probability / plain.evaluations)
    assert 3e-3 < plain.probability < 5e-2
    assert abs(plain.probability - weighted) < 3.5 * np.hypot(error, crude_error)


def test_the_band_averages_to_the_headline(make):
    """E over the unknowns of P(fail | unknowns) is P(fail): the law of total probability."""
    scenario = make((("both", "1500 N"),))
    sample = weighted_sample(scenario, 2)
    states = band(sample, 2).life
    error = states.std() / np.sqrt(states.size)
    assert states.mean() == pytest.approx((sample.weight * sample.fails).mean(), abs=4 * error)
    assert unknown_columns(sample.rods).sum() >= 5


def test_weights_average_to_one(make):
    sample = weighted_sample(make(rods=3, batch=2), 3)
    assert sample.weight.mean() == pytest.approx(1.0, abs=0.05)


def test_a_rare_failure_is_found_to_a_few_percent(make):
    scenario = make((("pull", "340 N"),), lone="0", bad="0", evidence="own pulls")
    first = weighted_sample(scenario, 1)
    chance = float((first.weight * first.fails).mean())
    assert chance < 1e-6
    again = [weighted_sample(scenario, seed) for seed in (2, 3)]
    others = [float((one.weight * one.fails).mean()) for one in again]
    assert others == pytest.approx([chance] * 2, rel=0.2)


def test_without_a_load_strength_is_still_answered(make):
    result = jointrisk.assess(make((), more=TARGET))
    assert result.failure_probability is None
    assert result.proof.verdict == "not judged"
    assert result.permitted_load is not None
    assert result.permitted_load.newton > 0
    assert result.strength_new.median > result.strength_new.one_in_100_below > 0
    assert result.to_dict()["target"]["met"] is None


def test_permitted_load_is_where_the_strength_falls_short_as_often_as_the_target(make):
    scenario = make((("pull", "900 N"),), more=TARGET.replace("1e-4", "1e-2"))
    sample = weighted_sample(scenario, 5)
    load = judgement.permitted_load(sample, scenario.target)
    rods = rod_set(scenario)
    rng = np.random.default_rng(9)
    u = rng.standard_normal((40_000, rods.layout.dimension))
    labels = np.zeros((40_000, rods.layout.label_count), dtype=bool)
    for label in range(rods.layout.label_count):
        labels[:, label] = rng.random(40_000) < rods.label_chance(label, u, labels)
    strength = rods.resistance(rods.values(u), labels).pull_rod.min(axis=0)
    below = (strength < load.newton).mean()
    assert below == pytest.approx(0.01, abs=4 * math.sqrt(0.01 / 40_000))


def test_more_load_fails_more_and_a_stronger_pull_refuses_more(make):
    chances, refused = [], []
    for mean in ("600 N", "1200 N", "2400 N"):
        sample = weighted_sample(make((("pull", mean),)), 1)
        chances.append((sample.weight * sample.fails).mean())
        worth = pulls.pull_worth(bench_of(sample), "", float(mean.split()[0]), None)
        refused.append(worth.reject_fraction)
    assert chances == sorted(chances)
    assert refused == sorted(refused)


def test_a_pull_below_every_strength_changes_nothing(make):
    sample = weighted_sample(make(), 1)
    plain = float((sample.weight * sample.fails).sum() / sample.weight.sum())
    worth = pulls.pull_worth(bench_of(sample), "", 1e-6, None)
    assert worth.reject_fraction == pytest.approx(0.0, abs=1e-12)
    assert worth.fail_after == pytest.approx(plain, rel=1e-9)


def test_no_load_that_can_hurt_gives_not_needed(make):
    result = jointrisk.assess(make((("pull", "5 N"),), more=TARGET))
    assert result.proof.verdict == "not needed"
    assert result.target is not None
    assert result.target.met is True


def test_settled_unknowns_leave_no_band(make):
    words = """
[model]
bond_factor = 1.0
load_factor = 1.0
gap_factor_exponent = 1.0
toughness_exponent = 2.0
"""
    scenario = make(evidence="own pulls", more=words, lone="0.01", bad="0.01")
    left = unknown_columns(rod_set(scenario)).sum()
    assert left < unknown_columns(rod_set(make(evidence="own pulls"))).sum()


def test_no_number_is_given_where_none_can_be_trusted(make, monkeypatch):
    from jointrisk.study import assessment

    monkeypatch.setattr(assessment, "WORST_COV", 1e-9)
    with pytest.raises(EstimateError, match=r"could not be told: after [0-9,]+ draws"):
        jointrisk.assess(make())


def test_sustained_relief_and_both_directions_are_ranked(make):
    result = jointrisk.assess(make((("both", "1200 N"),)))
    named = {(entry.variable, entry.measure) for entry in result.ranking}
    assert ("plug.overlap", "spread halved") in named
    assert ("load.jerk both.size", "mean a tenth higher") in named
    values = [abs(math.log(max(entry.value, 1e-12))) for entry in result.ranking]
    assert values == sorted(values, reverse=True)
    for entry in result.ranking:
        assert entry.low <= entry.value <= entry.high
