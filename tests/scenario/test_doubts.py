"""What each default could be instead: every table walked, every shape against scipy."""

import math
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from scipy import stats

import jointrisk
from jointrisk.errors import InputError
from jointrisk.scenario.doubt_rows import doubt_rows, row_of
from jointrisk.scenario.doubts import NO_ROW, doubts, reasons, with_spreads
from jointrisk.scenario.reshape import as_family, family_of, held, scattered
from jointrisk.scenario.tables import CONFIDENCE, read_table
from jointrisk.spread import Fixed, Gumbel, Lognormal, Normal, Scaled, Truncated, Uniform, Weibull

SCENARIOS = runpy.run_path(str(Path(__file__).parents[1] / "strategies.py"))["scenarios"]
SHIPPED = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
TABLES = ("adhesives", "materials", "preparations", "loads", "rigs", "rod-end-uses", "targets")
META = {"source", "mark", "scatter_source", "toughness_cov_mark", "cov_source", "cov_mark"}
META |= {"advice", "spread"}
"""Words about the numbers of a table, not numbers."""


def columns_of(table):
    """Every column of a table, in a row or beside all rows."""
    found = set()
    for key, value in read_table(table).items():
        found |= set(value) if isinstance(value, dict) else {key}
    return found - META


def told(doubt):
    return {other.value: other.scenario for other in doubt.alternatives}


def doubt_of(scenario, key, question):
    (found,) = [d for d in doubts(scenario) if (d.key, d.question) == (key, question)]
    return found


# Every default has an answer ----------------------------------------------------------------------


@pytest.mark.parametrize("table", TABLES)
def test_every_column_of_every_table_has_an_answer(table):
    columns = doubt_rows().columns[table]
    assert columns_of(table) == set(columns)
    for column, answer in columns.items():
        keys = () if isinstance(answer, str) else answer
        assert answer, column
        assert [key for key in keys if key not in doubt_rows().rows] == []


def test_every_row_of_the_defaults_has_an_answer():
    columns = doubt_rows().columns["defaults"]
    without = [key for key in read_table("defaults") if row_of(key) is None and key not in columns]
    assert without == []
    assert set(columns) <= set(read_table("defaults"))


def test_the_test_above_would_see_a_new_default():
    assert row_of("ageing.made_up") is None
    assert row_of("load.any name.with.dots.size") is doubt_rows().rows["load.*.size"]
    assert row_of("second_thread.engagement") is doubt_rows().rows["thread.engagement"]


@pytest.mark.parametrize("key", sorted(doubt_rows().rows))
def test_a_row_asks_something_with_a_source_or_says_why_not(key):
    row = doubt_rows().rows[key]
    for each in (row, *row.of.values()):
        instead = (each.times, each.values, each.plus, each.curves)
        asks = each.settled or each.scatter or any(instead)
        assert bool(each.none) is not asks
        assert bool(each.source) is any(instead)
        assert each.confidence in CONFIDENCE.values()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_default_of_a_shipped_scenario_is_asked_or_has_a_reason(path):
    scenario = jointrisk.load(path)
    asked, why = {d.key for d in doubts(scenario)}, reasons(scenario)
    silent = {entry.key for entry in scenario.assumptions if entry.origin == "default"}
    assert silent <= asked | set(why)
    assert NO_ROW not in why.values()


@given(SCENARIOS())
@settings(
    max_examples=25,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_so_is_every_default_of_any_scenario(written):
    scenario = jointrisk.load_text(written)
    found, why = doubts(scenario), reasons(scenario)
    assert NO_ROW not in why.values()
    silent = {entry.key for entry in scenario.assumptions if entry.origin == "default"}
    assert silent <= {d.key for d in found} | set(why)
    pairs = [(d.key, d.question) for d in found]
    assert len(set(pairs)) == len(pairs)
    for doubt in found:
        assert 1 <= len(doubt.alternatives) <= 4
        for other in doubt.alternatives:
            assert other.scenario != scenario, (doubt.key, other.value)


# What an alternative holds ------------------------------------------------------------------------


def test_what_is_not_known_is_settled_at_its_own_points(small):
    scenario = jointrisk.load_text(small())
    base = scenario.variables["evidence.factor"].spread
    doubt = doubt_of(scenario, "evidence.factor", "settled")
    settled = [s.variables["evidence.factor"].spread for s in told(doubt).values()]
    assert settled == [Fixed(float(base.ppf(0.05))), Fixed(float(base.ppf(0.95)))]
    assert float(base.mean) == pytest.approx(0.6)


def test_only_the_one_thing_is_changed(small):
    scenario = jointrisk.load_text(small())
    for other in told(doubt_of(scenario, "tube.tension_strength", "scatter")).values():
        changed = other.variables["tube.tension_strength"]
        back = replace(
            other,
            variables={
                **other.variables,
                "tube.tension_strength": scenario.variables["tube.tension_strength"],
            },
        )
        assert back == scenario
        assert float(changed.spread.mean) == pytest.approx(700.0)


def test_a_material_has_a_range_of_its_own(small):
    scenario = jointrisk.load_text(small())
    own = [
        float(s.variables["tube.tension_strength"].spread.mean)
        for s in told(doubt_of(scenario, "tube.tension_strength", "value")).values()
    ]
    assert own == pytest.approx([0.71 * 700, 1.29 * 700])
    metal = jointrisk.load_text(small(("carbon tube, roll-wrapped", "steel S355")))
    other = [
        float(s.variables["tube.tension_strength"].spread.mean)
        for s in told(doubt_of(metal, "tube.tension_strength", "value")).values()
    ]
    assert other == pytest.approx([0.9 * 510, 1.1 * 510])


def test_a_number_of_the_maker_is_not_asked(small):
    mine = small().replace(
        "[adhesive]", "[batch]\nbond_factor = { mean = 1.0, cov = 0.05 }\n[adhesive]"
    )
    scenario = jointrisk.load_text(mine)
    assert "batch.bond_factor" not in {d.key for d in doubts(scenario)}
    assert "batch.bond_factor" in {d.key for d in doubts(jointrisk.load_text(small()))}


def test_a_surface_by_name_is_a_judgement_of_the_table(small):
    named = small(after='[preparation]\nplug = "grit blasted"\n')
    doubt = doubt_of(jointrisk.load_text(named), "preparation.plug", "value")
    means = [float(s.variables["preparation.plug"].spread.mean) for s in told(doubt).values()]
    assert means == pytest.approx([0.8 * 1.14, 1.2 * 1.14])


def test_the_curve_goes_with_the_glass_transition(small):
    scenario = jointrisk.load_text(small())
    lower, higher = told(doubt_of(scenario, "adhesive.hard_stop_temperature", "value")).values()
    assert scenario.strength_by_temperature == ((23.0, 1.0), (60.0, 0.55), (65.0, 0.2))
    assert lower.strength_by_temperature == ((23.0, 1.0), (55.0, 0.2))
    assert higher.strength_by_temperature == ((23.0, 1.0), (60.0, 0.55), (75.0, 0.2))
    assert [s.hard_stop_temperature for s in (lower, higher)] == [55.0, 75.0]


LOAD = """
[[load]]
name = "knock"
kind = "event"
rate = "2 / year"
direction = "push"
size = { mean = "900 N", cov = 0.2 }
[[load]]
name = "hand"
recipe = "a hand on a lever"
"""


def test_loads_are_asked_for_family_and_tail_and_a_recipe_for_more(small):
    scenario = jointrisk.load_text(small(after=LOAD))
    found = {(d.key, d.question) for d in doubts(scenario) if d.key.startswith("load.")}
    own = {("load.knock.size", "family"), ("load.knock.size", "tail")}
    recipe = {("load.hand.size", q) for q in ("value", "scatter", "family", "tail")}
    assert found == own | recipe | {
        ("load.hand.arm_ratio", "value"),
        *({("load.hand.direction", "value")}),
    }
    weibull = told(doubt_of(scenario, "load.knock.size", "family"))["weibull"]
    (knock, _) = weibull.loads
    assert family_of(knock.size.spread) == "weibull"
    assert weibull.variables["load.knock.size"].spread == knock.size.spread
    assert (float(knock.size.spread.mean), float(knock.size.spread.sd)) == pytest.approx(
        (900.0, 180.0)
    )


def test_a_lever_that_was_not_named_halves_or_doubles_the_force(small):
    scenario = jointrisk.load_text(small(after=LOAD))
    half, double = told(doubt_of(scenario, "load.hand.arm_ratio", "value")).values()
    assert [s.loads[1].reach for s in (half, double)] == [0.5, 2.0]
    assert half.loads[0] == scenario.loads[0]


def test_spreads_are_put_wherever_they_stand(small):
    scenario = jointrisk.load_text(small(after=LOAD))
    other = with_spreads(scenario, {"load.knock.size": Fixed(5.0)})
    assert other.loads[0].size.spread == other.variables["load.knock.size"].spread == Fixed(5.0)


# Shapes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cov", [0.08, 0.3, 0.6])
@pytest.mark.parametrize("family", ["lognormal", "normal", "weibull", "gumbel"])
def test_another_family_has_the_same_mean_and_scatter(family, cov):
    found = as_family(Lognormal(40.0, 40.0 * cov), family)
    assert family_of(found) == family
    u = np.linspace(-8.0, 8.0, 160_001)
    weight = stats.norm.pdf(u) * (u[1] - u[0])
    x = found.from_normal(u)
    mean = float(weight @ x)
    sd = math.sqrt(float(weight @ (x - mean) ** 2))
    assert (mean, sd) == pytest.approx((40.0, 40.0 * cov), rel=2e-4)


def test_a_normal_cut_at_zero_is_scipys():
    found = as_family(Lognormal(2.0, 1.0), "normal")
    middle, width = float(found.base.mean), float(found.base.sd)
    law = stats.truncnorm(-middle / width, np.inf, loc=middle, scale=width)
    assert (law.mean(), law.std()) == pytest.approx((2.0, 1.0), rel=1e-9)
    assert float(found.cdf(0.0)) == 0.0


@given(
    st.sampled_from([Normal, Lognormal, Gumbel]),
    st.floats(0.1, 100.0),
    st.floats(0.02, 0.5),
    st.floats(0.3, 3.0),
)
@settings(max_examples=50, deadline=None)
def test_a_scatter_is_stretched_and_keeps_mean_and_family(family, mean, cov, factor):
    found = scattered(family(mean, cov * mean), factor)
    assert type(found) is family
    assert (float(found.mean), float(found.sd)) == pytest.approx((mean, factor * cov * mean))


def test_a_weibull_stays_one_and_a_range_is_stretched_about_its_mean():
    weibull = scattered(Weibull(8.0, 10.0), 2.0)
    assert family_of(weibull) == "weibull"
    assert float(weibull.sd) == pytest.approx(2.0 * float(Weibull(8.0, 10.0).sd))
    wide = scattered(Uniform(1.0, 2.0), 2.0)
    assert (float(wide.ppf(0.0)), float(wide.ppf(1.0))) == pytest.approx((0.5, 2.5))
    cut = scattered(Truncated(Lognormal(0.01, 0.01), 0.0, 0.5), 0.5)
    assert isinstance(cut, Truncated)
    assert (cut.low, cut.high) == (0.0, 0.5)


def test_what_cannot_be_is_cut_and_what_can_be_is_left():
    assert held(Uniform(0.2, 0.8), 0.0, 1.0) == Uniform(0.2, 0.8)
    cut = held(Scaled(Uniform(0.75, 1.0), 2.0, -0.875), 0.0, 1.0)
    assert float(cut.ppf(1.0)) == pytest.approx(1.0)
    assert held(Fixed(1.2), 0.0, 1.0) == Fixed(1.0)


def test_a_family_that_cannot_be_is_refused_with_its_numbers():
    with pytest.raises(InputError, match=r"a mean of -3"):
        as_family(Normal(-3.0, 1.0), "weibull")
    with pytest.raises(InputError, match=r"CoV 0\.9"):
        as_family(Lognormal(1.0, 0.9), "normal")


def test_facts_have_names_in_plain_words(small):
    scenario = jointrisk.load_text(small(after=LOAD))
    names = {d.key: d.name for d in doubts(scenario) if d.question == "value"}
    assert names["adhesive.gap_factor"] == "strength over the width of the gap"
    assert names["load.hand.arm_ratio"] == "load hand: its arm ratio"
    assert all("_" not in name for name in names.values())
