"""The study `sweep`: the curve, the value that meets the target, the knee, the map.

A rod of one random quantity has a bond force in proportion to its overlap, so that failure over
the overlap is a sum of two known laws, worked out by quadrature with scipy alone.
"""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from jointrisk.errors import InputError
from jointrisk.spread import Fixed, Gumbel, Lognormal, Normal, Scaled
from jointrisk.study.results import Chance
from jointrisk.study.sweep_points import meets
from jointrisk.study.sweep_search import brackets_of
from jointrisk.study.sweep_study import spaced, sweep

COV, JERK = 0.12, 2500.0
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV), "rods.length": 500.0}
RANGE = [float(x) for x in np.linspace(10.0, 30.0, 21)]


def jerk(oracles, mean=JERK):
    return oracles.load(Gumbel(mean, 0.2 * mean))


def exact(oracles, overlap, *, factor=1.0, rods=1, weak=0.0, keeps=0.3):
    """Failure of `rods` rods over the life: lognormal bonds against a Gumbel load."""
    bond = oracles.BOND * overlap / oracles.OVERLAP
    joint = oracles.mixed(oracles.lognormal(bond, COV).cdf, weak, keeps)
    grid = oracles.on_grid(oracles.weakest(joint, 2 * rods), 0.01 * bond, 5.0 * bond, 8001)
    return oracles.fail_chance(
        *grid, oracles.log_kept_yearly(oracles.gumbel(factor * JERK, 0.2), oracles.YEARS)
    )


def root(function, target, low, high):
    return brentq(lambda x: math.log(function(x) / target), low, high)


@pytest.fixture(scope="module")
def overlap(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    return sweep(scenario, "plug.overlap", RANGE, seed=5)


# Against quadrature -----------------------------------------------------------------------------


def test_the_curve_is_that_of_the_quadrature(oracles, overlap):
    for point in overlap.points:
        truth = exact(oracles, point.value)
        assert point.failure.estimate == pytest.approx(truth, rel=0.15), point.value
        assert 0.9 * point.failure.low < truth < 1.1 * point.failure.high, point.value
    held = [p.failure.low <= exact(oracles, p.value) <= p.failure.high for p in overlap.points]
    assert np.mean(held) > 0.5  # one sample: its points rise and fall together


@pytest.mark.parametrize("target", [1e-2, 1e-3, 3e-5])
@pytest.mark.parametrize("seed", [0, 1])
def test_the_smallest_overlap_is_within_a_hundredth(oracles, target, seed):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(target, "life"))
    found = sweep(scenario, "plug.overlap", RANGE[::2], seed=seed)
    truth = root(lambda x: exact(oracles, x), target, 8.0, 40.0)
    assert found.verdict == "met in part"
    assert found.smallest.value == pytest.approx(truth, rel=0.01)
    assert found.smallest.low < found.smallest.value < found.smallest.high
    half = 0.5 * (found.smallest.high - found.smallest.low)
    assert abs(found.smallest.value - truth) < 1.7 * half  # 3.3 standard errors
    assert half < 0.02 * truth
    assert found.smallest.failure.estimate == pytest.approx(target, rel=0.02)
    assert found.largest is None


def test_the_interval_of_the_value_holds_the_truth_over_seeds(oracles):
    """Of 20 seeds 95 % are to hold it; fewer than 15 happen once in 10,000."""
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    truth = root(lambda x: exact(oracles, x), 1e-3, 8.0, 40.0)
    edges = [sweep(scenario, "plug.overlap", [14.0, 16.0, 18.0], seed=s).smallest
             for s in range(20)]  # fmt: skip
    assert sum(edge.low <= truth <= edge.high for edge in edges) >= 15


def test_the_largest_factor_on_the_loads(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    found = sweep(scenario, "loads", spaced(scenario, "loads", 0.2, 3.0, 15), seed=2)
    truth = root(lambda f: exact(oracles, 20.0, factor=f), 1e-3, 0.2, 3.0)
    assert found.largest.value == pytest.approx(truth, rel=0.01)
    assert found.smallest is None
    assert found.knee.direction == "less"


def test_a_set_of_rods_with_weak_bonds(oracles):
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01}
    scenario = oracles.plain(
        spreads, [jerk(oracles)], target=(0.02, "life"), rods=3, rods_per_batch=3
    )
    found = sweep(scenario, "plug.overlap", [20.0, 40.0, 60.0, 80.0, 100.0], seed=4)
    truth = root(lambda x: exact(oracles, x, rods=3, weak=0.01), 0.02, 20.0, 120.0)
    assert found.smallest.value == pytest.approx(truth, rel=0.015)
    assert found.points[-1].causes[0][0] == "bonds that came out weak"


def test_the_ratio_to_the_scenario_as_written_is_known_better_than_either(oracles, overlap):
    now = exact(oracles, 20.0)
    for point in overlap.points[6:15]:
        truth = exact(oracles, point.value) / now
        assert point.ratio.estimate == pytest.approx(truth, rel=0.12)
    (written,) = [p for p in overlap.points if p.value == 20.0]
    assert written.ratio.estimate == pytest.approx(1.0, abs=1e-12)
    (near,) = [p for p in overlap.points if p.value == 21.0]
    paired = (near.ratio.high - near.ratio.low) / near.ratio.estimate
    alone = (near.failure.high - near.failure.low) / near.failure.estimate
    assert paired < 0.5 * alone


def test_the_curve_has_no_wiggle_of_its_own(oracles):
    """Second differences of the log against the quadrature's: straight to a thousandth."""
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    values = [float(x) for x in np.linspace(18.0, 22.0, 17)]
    found = sweep(scenario, "plug.overlap", values, seed=8)
    logs = np.log([point.failure.estimate for point in found.points])
    truth = np.log([exact(oracles, value) for value in values])
    assert np.abs(np.diff(logs, 2) - np.diff(truth, 2)).max() < 0.005
    assert np.all(np.diff(logs) < 0.0)


def test_strength_and_permitted_load_go_with_the_overlap(oracles, overlap):
    """The bond's force is in proportion to its overlap, so both are too."""
    first, last = overlap.points[5], overlap.points[15]
    share = last.value / first.value
    assert last.one_in_100_below == pytest.approx(share * first.one_in_100_below, rel=1e-6)
    assert last.permitted.newton == pytest.approx(share * first.permitted.newton, rel=1e-6)
    law = oracles.lognormal(oracles.BOND, COV)
    bond = law.ppf(-math.expm1(0.5 * math.log1p(-0.01)))
    (written,) = [p for p in overlap.points if p.value == 20.0]
    assert written.one_in_100_below == pytest.approx(bond, rel=0.03)


# Verdicts ---------------------------------------------------------------------------------------


def test_unreachable_is_a_verdict_with_the_lowest_failure(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-9, "life"))
    found = sweep(scenario, "plug.overlap", RANGE[:8], seed=1)
    assert found.verdict == "unreachable within the range"
    assert (found.windows, found.smallest, found.largest) == ((), None, None)
    assert found.best.value == RANGE[7]
    assert found.best.meets is False
    assert found.best.failure.estimate == pytest.approx(exact(oracles, RANGE[7]), rel=0.15)


def test_met_everywhere(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(0.5, "life"))
    found = sweep(scenario, "plug.overlap", [18.0, 22.0, 26.0], seed=1)
    assert found.verdict == "met everywhere"
    (window,) = found.windows
    assert (window.start.value, window.end.value) == (18.0, 26.0)
    assert window.start.of_range
    assert window.end.of_range
    assert (found.smallest, found.largest) == (None, None)


def test_without_a_target_nothing_is_searched(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    found = sweep(scenario, "plug.overlap", [18.0, 22.0], seed=1)
    assert (found.verdict, found.windows, found.target) == ("not judged", (), None)
    assert all(p.as_target is None and p.meets is None for p in found.points)
    assert all(p.permitted is None for p in found.points)


def test_a_value_too_near_to_tell_is_a_tie(oracles):
    truth = exact(oracles, 20.0)
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(truth, "life"))
    found = sweep(scenario, "plug.overlap", [16.0, 20.0, 24.0], seed=3)
    assert [point.meets for point in found.points] == [False, None, True]


def test_two_windows_of_a_curve_that_falls_and_rises(oracles):
    """Failure is least where a strength given over the gap is largest: both crossings are told."""
    scenario = replace(
        oracles.plain(
            GLUE | {"model.gap_factor_exponent": 1.0}, [jerk(oracles)], target=(1e-4, "life")
        ),
        gap_factor_points=((0.05, 0.6), (0.2, 1.1), (0.5, 0.6)),
    )
    found = sweep(scenario, "gap", [float(x) for x in np.linspace(0.08, 0.4, 17)], seed=3)
    assert found.verdict == "met in part"
    (window,) = found.windows
    assert not window.start.of_range
    assert not window.end.of_range
    assert 0.08 < window.start.value < 0.2 < window.end.value < 0.4
    assert found.smallest is window.start
    assert found.largest is window.end
    assert window.start.value < found.best.value < window.end.value


def test_what_is_not_known_is_told_at_the_edge(oracles):
    doubt = GLUE | {"model.bond_factor": Lognormal(1.0, 0.1)}
    scenario = oracles.plain(doubt, [jerk(oracles)], target=(1e-3, "life"))
    edge = sweep(scenario, "plug.overlap", [12.0, 16.0, 20.0, 24.0], seed=3).smallest
    assert edge.band.p05 < edge.band.p50 < 1e-3 < edge.band.p95
    assert 0.5 < edge.band.chance_met < 0.95
    known = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    assert sweep(known, "plug.overlap", [12.0, 20.0], seed=3).smallest.band is None


@pytest.mark.parametrize(
    ("low", "estimate", "high", "met"),
    [
        (1e-4, 2e-4, 9e-4, True),
        (1e-4, 2e-4, 2e-3, None),
        (9e-4, 2e-3, 4e-3, None),
        (1.1e-3, 2e-3, 4e-3, False),
        (math.nan, math.nan, math.nan, None),
    ],
)
def test_met_missed_or_too_near(low, estimate, high, met):
    assert meets(Chance(estimate, low, high), 1e-3) is met


def test_brackets_tell_both_directions(overlap):
    (bracket,) = brackets_of(overlap.points, 1e-3)
    assert bracket.falls
    assert bracket.low < overlap.smallest.value < bracket.high
    assert brackets_of(overlap.points, 2.0) == []


# The knee ---------------------------------------------------------------------------------------


def test_the_knee_is_where_a_tenth_more_lowers_failure_by_a_twentieth(oracles):
    """Weak bonds that keep next to nothing are left when the sound ones hold."""
    spreads = GLUE | {"weak_bonds.lone_weight": 0.01, "weak_bonds.keeps": 0.05}
    scenario = oracles.plain(spreads, [jerk(oracles)])
    found = sweep(scenario, "plug.overlap", [float(x) for x in np.linspace(8, 24, 33)], seed=4)
    fine = np.linspace(8, 24, 161)
    truth = [exact(oracles, x, weak=0.01, keeps=0.05) for x in fine]
    gains = -np.expm1(np.gradient(np.log(truth), np.log(fine)) * np.log(1.1))
    last = fine[np.flatnonzero(gains >= 0.05)[-1]]
    assert found.knee.verdict == "knee"
    assert found.knee.direction == "more"
    assert found.knee.value == pytest.approx(last, rel=0.05)
    assert found.knee.causes[0][0] == "bonds that came out weak"
    assert found.knee.causes[0][1] > 0.95
    assert "bonds that came out weak" in found.knee.reason
    assert found.knee.strength_gain == pytest.approx(0.1, abs=0.01)


def test_no_knee_where_every_step_pays(overlap):
    assert overlap.knee.verdict == "pays throughout"
    assert overlap.knee.value is None


def test_no_knee_where_nothing_matters(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    found = sweep(scenario, "tube.tension_strength", [5e4, 1e5, 2e5], seed=4)
    assert found.knee.verdict == "pays nowhere"
    assert len({point.failure.estimate for point in found.points}) == 1


def test_two_values_are_too_few_for_a_knee(oracles):
    found = sweep(oracles.plain(GLUE, [jerk(oracles)]), "plug.overlap", [18.0, 22.0], seed=1)
    assert found.knee.verdict == "not told"


def test_a_tenth_of_the_range_for_temperatures(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    found = sweep(scenario, "service.hottest", [30.0, 40.0, 50.0, 60.0], seed=4)
    assert "range" in found.knee.rule
    assert found.knee.direction == "less"


# The map ----------------------------------------------------------------------------------------


def test_the_map_agrees_with_quadrature_and_with_its_own_crossings(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)], target=(1e-3, "life"))
    found = sweep(scenario, "plug.overlap", RANGE[::4], second=("loads", [0.8, 1.0, 1.2]), seed=4)
    assert found.map.second.key == "loads"
    assert found.map.values == (0.8, 1.0, 1.2)
    for factor, row in zip(found.map.values, found.map.failure, strict=True):
        for value, cell in zip(RANGE[::4], row, strict=True):
            truth = exact(oracles, value, factor=factor)
            if truth > 1e-6:
                assert cell.estimate == pytest.approx(truth, rel=0.35), (factor, value)
    for factor, crossings in zip(found.map.values, found.map.crossings, strict=True):
        truth = root(lambda x, f=factor: exact(oracles, x, factor=f), 1e-3, 8.0, 40.0)
        assert crossings == pytest.approx((truth,), rel=0.04)
    assert found.map.meets[0][-1] is True
    assert found.map.meets[-1][0] is False


def test_a_map_has_a_limit(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    many = [float(x) for x in np.linspace(10, 30, 16)]
    with pytest.raises(InputError, match=r"225 cells.*got 16 by 16"):
        sweep(scenario, "plug.overlap", many, second=("loads", [x / 20 for x in many]))


# What is refused --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "values", "match"),
    [
        ("plug.overlp", [1.0, 2.0], r"plug\.overlp: .*did you mean plug\.overlap"),
        ("plug.overlap", [20.0], r"plug\.overlap: at least two different values.*got 1"),
        ("plug.overlap", [20.0, 20.0], r"got 1"),
        ("plug.overlap", [20.0, -5.0], r"plug\.overlap: is not above zero \(got -5 mm\)"),
        ("plug.overlap", [20.0, math.nan], r"plug\.overlap: is not a finite number"),
        ("plug.overlap", ["20 mm", "30 N"], r"plug\.overlap: .*\"30 N\""),
        ("plug.overlap", ["20 mm", "30"], r"plug\.overlap: has no unit"),
        ("plug.overlap", [20.0, 400.0], r"plug\.overlap: .*longer than the rod \(got 400 mm\)"),
        ("gap", [0.1, 9.0], r"gap: leaves no room for the plug \(got 9 mm\)"),
        ("weak_bonds.keeps", [0.5, 1.5], r"weak_bonds\.keeps: .*got 1\.5"),
        ("loads", [1.0, 0.0], r"loads: is not above zero"),
        ("life.duration", [1.0, -1.0], r"life\.duration: is not above zero"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_value(oracles, key, values, match):
    with pytest.raises(InputError, match=match):
        sweep(oracles.plain(GLUE, [jerk(oracles)]), key, values)


def test_a_scenario_without_a_load_is_refused(oracles):
    with pytest.raises(InputError, match="names no load"):
        sweep(oracles.plain(GLUE), "plug.overlap", [20.0, 30.0])


def test_the_second_quantity_is_another_one(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    with pytest.raises(InputError, match="another one"):
        sweep(scenario, "gap", [0.1, 0.2], second=("gap", [0.1, 0.2]))


def test_rods_that_cannot_be_put_together_at_any_value(oracles):
    scenario = oracles.plain(GLUE | {"tube.bore": Normal(13.2, 0.01)}, [jerk(oracles)])
    moved = replace(
        scenario,
        variables=scenario.variables
        | {
            "plug.diameter": replace(
                scenario.variables["plug.diameter"], spread=Scaled(Normal(13.0, 0.01), 1.0, 0.5)
            )
        },
    )
    with pytest.raises(InputError, match="leaves no gap"):
        sweep(moved, "plug.overlap", [20.0, 30.0])


# Ranges and invariants --------------------------------------------------------------------------


def test_points_lie_evenly_or_by_their_logarithm(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    assert spaced(scenario, "plug.overlap", 20.0, 10.0, 3) == [10.0, 15.0, 20.0]
    wide = spaced(scenario, "plug.overlap", 1.0, 100.0, 3)
    assert wide == pytest.approx([1.0, 10.0, 100.0])
    assert spaced(scenario, "service.hottest", 5.0, 55.0, 3) == [5.0, 30.0, 55.0]
    with pytest.raises(InputError, match="got 1"):
        spaced(scenario, "gap", 0.1, 0.2, 1)
    with pytest.raises(InputError, match=r"no width \(got 0\.1 to 0\.1\)"):
        spaced(scenario, "gap", 0.1, 0.1, 5)


def test_values_may_be_texts_in_any_order(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    found = sweep(scenario, "plug.overlap", ["2.4 cm", 18.0, "20 mm"], seed=1)
    assert [point.value for point in found.points] == [18.0, 20.0, 24.0]
    assert (found.quantity.label, found.quantity.unit) == ("overlap", "mm")
    assert found.quantity.written == 20.0


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(factor=st.floats(0.7, 1.4), seed=st.integers(0, 1000))
def test_failure_hangs_on_load_over_overlap_alone(oracles, factor, seed):
    """Bond force goes with the overlap: loads and overlap times the same are the same rods."""
    one = oracles.plain(GLUE, [jerk(oracles)])
    two = oracles.plain(GLUE | {"plug.overlap": 20.0 * factor}, [jerk(oracles, JERK * factor)])
    first = sweep(one, "plug.overlap", [18.0, 20.0, 22.0], seed=seed)
    second = sweep(two, "plug.overlap", [18.0 * factor, 20.0 * factor, 22.0 * factor], seed=seed)
    for a, b in zip(first.points, second.points, strict=True):
        spread = a.failure.high - a.failure.low + b.failure.high - b.failure.low
        assert abs(a.failure.estimate - b.failure.estimate) < 1.5 * spread


def test_the_same_bytes_at_any_number_of_workers(oracles):
    doubt = GLUE | {"model.bond_factor": Lognormal(1.0, 0.1)}
    scenario = oracles.plain(doubt, [jerk(oracles)], target=(1e-3, "life"))
    values, second = [16.0, 20.0, 24.0, 28.0], ("loads", [0.9, 1.1])
    with ThreadPoolExecutor(2) as workers:
        told = [sweep(scenario, "plug.overlap", values, second=second, seed=0, pool=pool).to_dict()
                for pool in (None, workers)]  # fmt: skip
    for document in told:
        del document["host"]
    assert json.dumps(told[0]) == json.dumps(told[1])
    other = sweep(scenario, "plug.overlap", values, seed=1)
    assert other.points[0].failure.estimate != told[0]["points"][0]["failure"]["estimate"]


def test_the_document_and_the_frame(overlap):
    document = json.loads(json.dumps(overlap.to_dict(), allow_nan=False))
    assert document["schema_version"] == 1
    assert document["windows"][0]["start"]["value"] == overlap.smallest.value
    assert document["points"][3]["failure"]["estimate"] == overlap.points[3].failure.estimate
    assert document["map"] is None
    frame = overlap.to_frame()
    assert list(frame["value"]) == RANGE
    assert {"failure_low", "as_target", "ratio_high", "permitted_newton", "meets"} <= set(frame)


def test_a_yearly_target_for_one_rod(oracles):
    """Nothing ages, so the first year is the worst: quadrature over one year."""
    scenario = oracles.plain(
        GLUE, [jerk(oracles)], target=(1e-3, "year", "rod"), rods=2, rods_per_batch=2
    )
    found = sweep(scenario, "plug.overlap", [10.0, 13.0, 16.0, 19.0], seed=6)

    def yearly(overlap):
        bond = oracles.BOND * overlap / oracles.OVERLAP
        law = oracles.weakest(oracles.lognormal(bond, COV).cdf, 2)
        grid = oracles.on_grid(law, 0.02 * bond, 5.0 * bond, 8001)
        return oracles.fail_chance(*grid, oracles.log_kept_yearly(oracles.gumbel(JERK, 0.2), 1.0))

    truth = root(yearly, 1e-3, 8.0, 40.0)
    assert found.smallest.value == pytest.approx(truth, rel=0.01)
    for point in found.points:
        assert point.as_target.estimate == pytest.approx(yearly(point.value), rel=0.15)
        assert point.failure.estimate == pytest.approx(
            exact(oracles, point.value, rods=2), rel=0.15
        )


def test_a_fixed_value_stays_fixed(oracles):
    scenario = oracles.plain(GLUE, [jerk(oracles)])
    assert isinstance(scenario.variables["plug.overlap"].spread, Fixed)
    found = sweep(scenario, "plug.overlap", [19.0, 21.0], seed=1)
    assert found.points[0].failure.estimate > found.points[1].failure.estimate
