"""Each warning of an assessment: where it must come, where it must not, and its numbers."""

import math
import re
from dataclasses import replace

import pytest
from scipy import stats

import jointrisk
from jointrisk.scenario.types import Warning_
from jointrisk.spread import Gumbel, Lognormal, Normal
from jointrisk.study import sample as draws
from jointrisk.study.cautions import warnings
from jointrisk.study.results import Influence
from jointrisk.study.sample import weighted_sample

GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.2)}
ALWAYS: set[str] = set()
APART = {"tube.expansion": 0.0, "plug.expansion": 24e-6}
"""A tube that does not stretch with heat about an insert of aluminium."""


@pytest.fixture
def jerk(oracles):
    return oracles.load(Gumbel(2500.0, 500.0))


def told(scenario, ranking=(), **more):
    """Return code to text of the assessment's own warnings."""
    bare = replace(scenario, warnings=())
    found = warnings(weighted_sample(bare, 1, **more), ranking)
    assert len({entry.code for entry in found}) == len(found)
    return {entry.code: entry.text for entry in found}


def percent_in(text):
    return float(re.search(r"([0-9.e-]+) ?%", text)[1]) / 100.0


def test_a_rod_without_any_trouble_is_told_only_what_is_never_counted(oracles, jerk):
    assert set(told(oracles.plain(GLUE, [jerk]))) == ALWAYS


def test_warnings_of_the_scenario_come_first_and_stay(oracles, jerk):
    own = Warning_("of-the-file", "As read.")
    scenario = replace(oracles.plain(GLUE, [jerk]), warnings=(own,))
    found = warnings(weighted_sample(scenario, 1), ())
    assert found[0] is own
    assert {entry.code for entry in found[1:]} == ALWAYS


def test_not_converged_where_the_draws_ran_out(oracles, jerk, monkeypatch):
    monkeypatch.setattr(draws, "MOST_BLOCKS", 1)
    monkeypatch.setattr(draws, "MOST_ROWS", 256)
    scenario = oracles.plain(GLUE, [jerk])
    text = told(scenario, target_cov=1e-4)["not-converged"]
    assert percent_in(text) == pytest.approx(draws.TARGET_COV)
    assert "not-converged" not in told(scenario, target_cov=10.0)


def test_without_loads_there_is_no_failure_probability_to_converge(oracles, monkeypatch):
    monkeypatch.setattr(draws, "MOST_BLOCKS", 1)
    monkeypatch.setattr(draws, "MOST_ROWS", 256)
    assert "not-converged" not in told(oracles.plain(GLUE), target_cov=1e-4)


@pytest.mark.parametrize(("sd", "warned"), [(0.1, True), (0.03, False)])
def test_parts_that_do_not_fit_by_their_share(oracles, jerk, sd, warned):
    """Clearance 0.2 mm across: a joint fits by Phi(0.2 / sd), a set of two where both do."""
    spreads = GLUE | {"tube.bore": Normal(13.0, sd)}
    found = told(oracles.plain(spreads, [jerk]))
    assert ("parts-do-not-fit" in found) is warned
    if warned:
        exact = 1.0 - stats.norm.cdf(0.2 / sd) ** 2
        assert percent_in(found["parts-do-not-fit"]) == pytest.approx(exact, rel=0.2)


@pytest.mark.parametrize(("coldest", "warned"), [(-40.0, True), (23.0, False)])
def test_a_lower_value_where_misfit_yields_the_ends_of_a_brittle_layer(
    oracles, jerk, coldest, warned
):
    spreads = (
        GLUE
        | APART
        | {
            "plug.overlap": 100.0,
            "adhesive.toughness": 1.5,
            "adhesive.shear_modulus": 2000.0,
            "service.coldest": coldest,
        }
    )
    found = told(oracles.plain(spreads, [jerk]))
    assert ("lower-value-used" in found) is warned
    if warned:
        assert 0.01 < percent_in(found["lower-value-used"]) <= 1.0


def test_no_lower_value_where_the_whole_overlap_yields(oracles, jerk):
    """The same misfit in a tough layer is forgotten by then."""
    spreads = GLUE | APART | {"adhesive.shear_modulus": 2000.0, "service.coldest": -40.0}
    assert "lower-value-used" not in told(oracles.plain(spreads, [jerk]))


@pytest.mark.parametrize(("toughness", "warned"), [(0.02, True), (1.5, False)])
def test_bonds_that_cold_alone_breaks(oracles, jerk, toughness, warned):
    """Energy by hand: the misfit of a long overlap frees more than the layer's toughness.

    An insert of stiffness S pulled by strain e frees S e^2 / 2 a millimetre on a girth P.
    """
    strain, stiffness = 24e-6 * 63.0, 70_000.0 * math.pi * 6.4**2
    tube = 70_000.0 * oracles.TUBE_AREA
    freed = 0.5 * strain**2 / (1.0 / stiffness + 1.0 / tube) / (math.pi * 13.0)
    assert (freed > toughness) is warned
    spreads = {
        **APART,
        "plug.overlap": 100.0,
        "adhesive.toughness": toughness,
        "service.coldest": -40.0,
    }
    spreads |= {"adhesive.shear_strength": Lognormal(10.0, 0.5)}
    spreads |= {"adhesive.cure_temperature": 23.0}
    found = told(oracles.plain(spreads, [jerk]))
    assert ("misfit-breaks-bonds" in found) is warned
    if warned:
        assert percent_in(found["misfit-breaks-bonds"]) == pytest.approx(1.0)


def test_bonds_lost_to_heat_are_not_laid_to_misfit(oracles, jerk):
    hot = told(oracles.plain(GLUE | {"service.hottest": 70.0}, [jerk]))
    assert "misfit-breaks-bonds" not in hot
    assert "too-hot" in hot


@pytest.mark.parametrize(("toughness", "warned"), [(0.05, True), (0.5, False)])
def test_overlap_past_usefulness_where_toughness_governs(oracles, jerk, toughness, warned):
    """Energy by hand: a long overlap of these members holds S_t sqrt(2 P G (1/S_p + 1/S_t))."""
    plug, tube = 70_000.0 * math.pi * 6.4**2, 70_000.0 * oracles.TUBE_AREA
    most = tube * math.sqrt(2.0 * math.pi * 13.0 * toughness * (1.0 / plug + 1.0 / tube))
    assert (most < 0.8 * oracles.BOND) is warned
    found = told(oracles.plain(GLUE | {"adhesive.toughness": toughness}, [jerk]))
    assert ("overlap-past-usefulness" in found) is warned
    if warned:
        assert percent_in(found["overlap-past-usefulness"]) > 0.5


@pytest.mark.parametrize("hottest", [65.0, 80.0])
def test_too_hot_always_from_the_hard_stop_up(oracles, jerk, hottest):
    text = told(oracles.plain(GLUE | {"service.hottest": hottest}, [jerk]))["too-hot"]
    assert text.startswith("Always the joint reaches 65 °C")


def test_too_hot_by_the_chance_of_the_hottest_day(oracles, jerk):
    spreads = GLUE | {"service.hottest": Normal(55.0, 5.0)}
    text = told(oracles.plain(spreads, [jerk]))["too-hot"]
    assert percent_in(text) == pytest.approx(stats.norm.sf(2.0), rel=0.05)
    cool = GLUE | {"service.hottest": Normal(40.0, 2.0)}
    assert "too-hot" not in told(oracles.plain(cool, [jerk]))
    assert "too-hot" not in told(oracles.plain(GLUE | {"service.hottest": 64.9}, [jerk]))


# Defaults that decide ---------------------------------------------------------------------------


def one(variable, value):
    return Influence(variable, variable, "spread halved", value, value, value)


def test_defaults_that_move_the_answer_are_named(oracles, jerk):
    scenario = oracles.plain(GLUE, [jerk])
    variable = scenario.variables["evidence.factor"]
    assert variable.origin == "default"
    named = f"{variable.label} ({variable.confidence})"
    for value, warned in ((1.6, True), (0.6, True), (1.4, False), (0.7, False), (0.0, True)):
        found = told(scenario, (one("evidence.factor", value),))
        assert ("default-decides" in found) is warned, value
        if warned:
            assert named in found["default-decides"]


def test_values_of_your_own_do_not_count_as_defaults(oracles, jerk):
    scenario = oracles.plain(GLUE, [jerk])
    assert scenario.variables["adhesive.shear_strength"].origin == "scenario"
    ranking = (one("adhesive.shear_strength", 0.1), one("tube.bore - plug.diameter", 0.1))
    assert "default-decides" not in told(scenario, ranking)


def test_three_defaults_at_most_each_once_in_the_order_of_the_ranking(oracles, jerk):
    scenario = oracles.plain(GLUE, [jerk])
    keys = [key for key, v in scenario.variables.items() if v.origin == "default" and v.kind]
    labels = []
    for key in keys:
        if scenario.variables[key].label not in labels:
            labels.append(scenario.variables[key].label)
    ranking = tuple(one(key, 0.1) for key in (keys[0], *keys))
    text = told(scenario, ranking)["default-decides"]
    places = [text.find(f"{label} (") for label in labels[:3]]
    assert places == sorted(places)
    assert places[0] > 0
    assert text.count(" (") == 3


# Torque and strut -------------------------------------------------------------------------------


def threaded(oracles, after=""):
    text = oracles.TEXT + '[thread]\nsize = "M6"\nengagement = "10 mm"\n' + after
    return jointrisk.load_text(text)


def torque_in(text):
    return float(re.search(r"about ([0-9.]+) N m", text)[1])


def test_a_lock_nut_by_the_torque_on_the_ring_of_glue(oracles, jerk):
    """tau 2 pi r^2 L, on the middle circle of the layer."""
    text = told(threaded(oracles))["lock-nut-torque"]
    exact = 10.0 * 2.0 * math.pi * 6.5**2 * 20.0 / 1000.0
    assert torque_in(text) == pytest.approx(exact, rel=0.05)
    assert "lock-nut-torque" not in told(oracles.plain(GLUE, [jerk]))


def test_of_two_ends_the_one_that_twists_first(oracles):
    text = told(threaded(oracles, '[second_plug]\noverlap = "8 mm"\n'))["lock-nut-torque"]
    exact = 10.0 * 2.0 * math.pi * 6.5**2 * 8.0 / 1000.0
    assert torque_in(text) == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize(("length", "warned"), [(80.0, True), (700.0, False)])
def test_a_short_strut_that_shear_softens(oracles, length, warned):
    """Engesser: Euler's load over half the wall's shear stiffness, n / (1 + n) of it lost."""
    push = oracles.load(Gumbel(900.0, 90.0), direction="push")
    scenario = oracles.plain(GLUE | {"rods.length": length}, [push])
    inertia = math.pi / 4.0 * (8.0**4 - 6.6**4)
    euler = math.pi**2 * 70_000.0 * inertia / (scenario.end_fixity * length) ** 2
    shear = scenario.variables["tube.shear_modulus"].spread.mean * oracles.TUBE_AREA / 2.0
    assert (euler / shear > 0.05) is warned
    found = told(scenario)
    assert ("strut-softens" in found) is warned
    if warned:
        exact = euler / shear / (1.0 + euler / shear)
        assert percent_in(found["strut-softens"]) == pytest.approx(exact, rel=0.06)


def test_a_rod_that_is_only_pulled_is_no_strut(oracles, jerk):
    assert "strut-softens" not in told(oracles.plain(GLUE | {"rods.length": 80.0}, [jerk]))
