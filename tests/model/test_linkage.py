"""What the model makes of a lever, an angle and a moment: always the force in the rod."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.model import limit_state, rod_set
from jointrisk.model.loads import (
    exceed_rate,
    hazard,
    line_factor,
    pushes,
    sustained_sum,
    typical_factor,
    typical_size,
)
from jointrisk.model.wear import Bearing, steady_ratio, worn
from jointrisk.scenario.types import Load, Variable
from jointrisk.spread import Fixed, Gumbel, Normal, Uniform

RATIO, ANGLE, SUDDEN = "load.a.arm_ratio", "load.a.angle", "load.a.dynamic_factor"
HAND = """
[[load]]
name = "hand"
kind = "{kind}"
{rate}
direction = "both"
size = {{ mean = "{mean} N", cov = 0.25 }}
{more}
"""
SWAY = """
[[load]]
name = "sway"
kind = "cycles"
rate = "1e5 / year"
{more}
"""
POINTS = """
near_end = ["50 mm", "0 mm"]
far_end = ["50 mm", "{y} mm"]
pivot = ["0 mm", "0 mm"]
"""


def variable(key, spread, unit="-", scope="all"):
    return Variable(key, "x", spread, unit, scope, "scatter", "scenario", "", "given")


def load(kind="annual_maximum", spread=None, **fields):
    size = variable("load.a.size", spread or Gumbel(500.0, 120.0), "N")
    return Load("a", kind, "both", size, "all", **fields)


def hand(kind="annual_maximum", mean=400.0, more=""):
    rate = 'rate = "0.5 / year"' if kind == "event" else ""
    return HAND.format(kind=kind, rate=rate, mean=mean, more=more)


# The factor --------------------------------------------------------------------------------------


def test_the_factor_is_ratio_over_sine_times_how_suddenly():
    """By hand: 4/sin(70 deg) 1.2 = 5.108; at 150 deg the sine is a half."""
    one = load(ratios=(RATIO, SUDDEN), angle=ANGLE)
    values = {RATIO: np.array([[4.0]]), SUDDEN: np.array([[1.2]])}
    values[ANGLE] = np.array([[70.0, 110.0, 90.0, 150.0]])
    assert line_factor(one, values)[0] == pytest.approx([5.1081, 5.1081, 4.8, 9.6], rel=1e-4)
    means = {key: variable(key, Fixed(float(array[0, 0]))) for key, array in values.items()}
    assert typical_factor(one, means) == pytest.approx(5.1081, rel=1e-4)


def test_no_linkage_is_a_factor_of_one():
    assert line_factor(load(), {}).tolist() == [[1.0]]


def test_an_angle_moved_past_the_dead_point_stays_short_of_it():
    """A changed spread may leave its range; the force stays positive and finite."""
    one = load(angle=ANGLE)
    factor = line_factor(one, {ANGLE: np.array([[-5.0, 0.0, 181.0]])})
    assert factor[0] == pytest.approx(np.full(3, 1.0 / math.sin(math.radians(1.0))))


@given(st.floats(0.1, 10.0), st.floats(5.0, 175.0), st.floats(50.0, 4000.0))
def test_the_rate_is_that_of_a_load_so_much_larger(ratio, angle, size):
    """P(k Q > x) = P(Q > x/k): a Gumbel load k times as large."""
    one = load(ratios=(RATIO,), angle=ANGLE)
    values = {RATIO: np.array([[ratio]]), ANGLE: np.array([[angle]])}
    factor = line_factor(one, values).item()
    k = ratio / math.sin(math.radians(angle))
    larger = load(spread=Gumbel(500.0 * k, 120.0 * k))
    found = exceed_rate(one, np.array([size * k]) / factor)
    assert found == pytest.approx(exceed_rate(larger, np.array([size * k])), rel=1e-6)
    assert typical_size(one, 3.0) * factor == pytest.approx(typical_size(larger, 3.0))


# Hazard and limit state --------------------------------------------------------------------------


def rates(scenario, values, pull=2000.0, push=1500.0):
    values = {"model.load_factor": np.ones((1, 1)), **values}
    strength = (np.full((1, 1, 1), pull), np.full((1, 1, 1), push))
    return hazard(scenario, values, [strength], (), {}).total.item()


@pytest.mark.parametrize("kind", ["annual_maximum", "event"])
def test_a_ratio_acts_as_a_size_so_much_larger(make, kind):
    linked = make((), more=hand(kind, 400.0, "arm_ratio = 2.5"))
    plain = make((), more=hand(kind, 1000.0))
    ratio = {"load.hand.arm_ratio": np.array([[2.5]])}
    assert rates(linked, ratio) == pytest.approx(rates(plain, {}), rel=1e-9)
    assert rates(linked, ratio) > 2 * rates(make((), more=hand(kind, 400.0)), {})


def test_each_rod_has_the_ratio_drawn_for_it(make):
    more = 'scope = "rod"\narm_ratio = { mean = 2, cov = 0.2 }'
    scenario = make((), more=hand(more=more), rods=3)
    assert rod_set(scenario).layout.scopes["load.hand.arm_ratio"] == "rod"
    ratio = np.array([[1.0], [2.0], [4.0]])
    values = {"model.load_factor": np.ones((1, 1)), "load.hand.arm_ratio": ratio}
    strength = np.full((1, 3, 1), 3000.0)
    found = hazard(scenario, values, [(strength, None)], (), {}).rod[0, :, 0]
    assert found == pytest.approx(exceed_rate(scenario.loads[0], 3000.0 / ratio[:, 0]), rel=1e-12)


@pytest.mark.parametrize("scope", ["all", "rod"])
def test_the_plain_limit_state_multiplies_too(make, scope):
    """Row by row: margin ln(R/(S + k Q)) with k taken from the row."""
    more = f'scope = "{scope}"\narm_ratio = {{ mean = 2, cov = 0.2 }}\n'
    more += 'angle = { never_outside = ["40 deg", "80 deg"] }\ndynamic_factor = 1.5'
    scenario = make((), more=hand(more=more), rods=2, lone="0", bad="0")
    found = limit_state(scenario)
    rng = np.random.default_rng(3)
    x = {k: s.from_normal(rng.standard_normal(40)) for k, s in found.variables.items()}
    copies = (0, 1) if scope == "rod" else (0, 0)
    name = "load.hand.{}[{}]" if scope == "rod" else "load.hand.{}"

    def drawn(key):
        return np.stack([x[name.format(key, copy)] for copy in copies])

    k = drawn("arm_ratio") * 1.5 / np.sin(np.radians(drawn("angle")))
    rods = rod_set(scenario)
    values = {}
    for key, own in rods.variables.items():
        columns = rods.layout.columns.get(key, slice(0, 0))
        count = columns.stop - columns.start
        names = [key] if count == 1 else [f"{key}[{copy}]" for copy in range(count)]
        values[key] = np.stack([x[n] for n in names]) if count else np.array([[own.spread.mean]])
    strength = rods.resistance(values, np.zeros((40, 0), dtype=bool), with_rig=False).slices[0]
    demand = k * drawn("size") * values["model.load_factor"]
    held = np.minimum(strength.pull.min(axis=0), strength.push.min(axis=0))
    assert found.function(x) == pytest.approx(np.log(held / demand).min(axis=0), rel=1e-9)


# Lasting loads -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("y", "sign"), [(200, 1.0), (-200, -1.0)])
def test_a_steady_moment_pulls_or_pushes_by_its_points(make, y, sign):
    """30 N m on 50 mm: 600 N."""
    more = f'[[load]]\nname = "s"\nkind = "sustained"\nmoment = "30 N m"{POINTS.format(y=y)}'
    scenario = make((), more=more)
    values = {"model.load_factor": np.ones((1, 1)), "load.s.moment": np.array([[30.0]])}
    assert sustained_sum(scenario, values).item() == pytest.approx(sign * 600.0)
    assert pushes(scenario) is (sign < 0)


def bonds_left(make, lines, factor=1.0):
    """Return the damage of a year of cycles to a joint that holds 5 kN pulled, 4 kN pushed."""
    scenario = make((), more=SWAY.format(more=lines))
    rods = rod_set(scenario)
    values = {key: np.full((1, 1), own.spread.mean) for key, own in rods.variables.items()}
    values["model.load_factor"] = np.full((1, 1), factor)
    bearing = Bearing(np.full((2, 1), 5000.0), np.full((2, 1), 4000.0), 1.0)
    assert steady_ratio(scenario, rods.layout, values, bearing).max() == 0.0
    return worn(scenario, rods.layout, values, [bearing])[0].damage[:, 0], pushes(scenario)


def test_cycles_of_a_moment_are_cycles_of_its_force(make):
    """40 N m about 10 N m on 50 mm: 800 N about 200 N, or about -200 N from the other side."""
    moment = 'moment = "40 N m"\nmean = "10 N m"'
    for y, mean in ((200, 200.0), (-200, -200.0)):
        found = bonds_left(make, moment + POINTS.format(y=y), 1.1)
        plain = bonds_left(make, f'size = "800 N"\nmean = "{mean} N"', 1.1)
        assert found[0] == pytest.approx(plain[0], rel=1e-9)
        assert found[1] is plain[1] is True
        assert found[0].max() > 0.0


def test_a_push_of_cycles_is_told_from_the_side_of_the_rod(make):
    """10 N m about 40 N m never turns round: all pull, or from the other side all push."""
    moment = 'moment = "10 N m"\nmean = "40 N m"'
    assert bonds_left(make, moment + POINTS.format(y=200))[1] is False
    assert bonds_left(make, moment + POINTS.format(y=-200))[1] is True
    lowest = variable("load.a.mean", Normal(-300.0, 10.0))
    sways = load("cycles", Fixed(100.0), mean=lowest)
    assert pushes(replace(make(()), loads=(sways,)))
    assert not pushes(replace(make(()), loads=(replace(sways, reach=-1.0),)))


@given(st.floats(0.2, 5.0))
@settings(deadline=None, max_examples=10)
def test_a_ratio_multiplies_a_steady_load(ratio):
    steady = load("sustained", Uniform(-50.0, 100.0), ratios=(RATIO,))
    values = {"load.a.size": np.array([[-40.0, 90.0]]), RATIO: np.array([[ratio]])}
    values["model.load_factor"] = np.ones((1, 1))

    class Only:
        loads = (steady,)

    found = sustained_sum(Only, values)[0]
    assert found == pytest.approx([-40.0 * ratio, 90.0 * ratio], rel=1e-12)
