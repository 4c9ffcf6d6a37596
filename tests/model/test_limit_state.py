"""The plain limit state says the same as the set of rods, row by row."""

from dataclasses import replace

import numpy as np
import pytest

from jointrisk.model import limit_state, rod_set
from jointrisk.model.limit_state import _size
from jointrisk.spread import Fixed, Lognormal, MaximumOf, MaximumOfEvents, Uniform

EVENT = """
[[load]]
name = "kerb"
kind = "event"
direction = "{direction}"
rate = "0.5 / year"
scope = "{scope}"
size = {{ mean = "1.2 kN", cov = 0.3 }}
"""
STEADY = """
[[load]]
name = "preload"
kind = "sustained"
size = {{ mean = "{mean}", cov = 0.1 }}
"""
KERB, JERK, PRELOAD = "load.kerb.size", "load.jerk pull.size", "load.preload.size"
WEAK = {"lone": "0.05", "bad": "0.2"}
SOFT = {"adhesive.toughness": Lognormal(0.5, 0.3), "plug.glued_share": Uniform(0.05, 0.4)}


def weakened(scenario):
    """Return the scenario with bonds so poor that the loads of a life break many."""
    variables = dict(scenario.variables)
    for key, spread in SOFT.items():
        variables[key] = replace(variables[key], spread=spread)
    return replace(scenario, variables=variables)


def rows(found, n, seed=0):
    """Draw independent values of every variable of a limit state, (n,) each."""
    rng = np.random.default_rng(seed)
    return {
        name: spread.from_normal(rng.standard_normal(n)) for name, spread in found.variables.items()
    }


def indexed(x, key, count):
    return np.stack([x[key] if count == 1 else x[f"{key}[{copy}]"] for copy in range(count)])


def as_set(scenario, x):
    """Return the resistance of the set at rows `x`, put together here from names."""
    rods = rod_set(scenario)
    n = len(next(iter(x.values())))
    values = {}
    for key, variable in rods.variables.items():
        columns = rods.layout.columns.get(key, slice(0, 0))
        count = columns.stop - columns.start
        values[key] = indexed(x, key, count) if count else np.full((1, 1), variable.spread.mean)
    batches, joints = rods.layout.batches, rods.layout.joints
    labels = np.zeros((n, rods.layout.label_count), dtype=bool)
    if rods.layout.label_count:
        for batch in range(batches):
            labels[:, batch] = x[f"bad batch[{batch}]"] < 0.2
        share = values["weak_bonds.share_in_bad_batch"]
        for joint in range(joints):
            batch = rods.layout.batch_of_joint[joint]
            chance = np.where(labels[:, batch], np.maximum(share[batch], 0.05), 0.05)
            labels[:, batches + joint] = x[f"weak joint[{joint}]"] < chance
    return rods, values, labels


# --- names and spreads ---------------------------------------------------------------------


def test_every_independent_draw_has_a_name(make):
    scenario = make(rods=3, batch=2, more=EVENT.format(direction="pull", scope="rod"), **WEAK)
    found = limit_state(scenario)
    names = set(found.variables)
    layout = rod_set(scenario).layout
    assert len(names) == layout.dimension + layout.label_count + 3 + 1
    assert {f"plug.overlap[{joint}]" for joint in range(6)} <= names
    assert {f"tube.modulus[{rod}]" for rod in range(3)} <= names
    assert {"batch.bond_factor[0]", "batch.bond_factor[1]", "model.bond_factor"} <= names
    assert {"bad batch[0]", "bad batch[1]"} <= names
    assert {f"weak joint[{joint}]" for joint in range(6)} <= names
    assert {JERK, f"{KERB}[0]", f"{KERB}[1]", f"{KERB}[2]"} <= names
    assert not {KERB, "rods.length", "bad batch[2]", "weak joint[6]"} & names


def test_loads_stand_for_the_largest_of_the_life(make):
    scenario = make(life="7 years", more=EVENT.format(direction="pull", scope="all"))
    found = limit_state(scenario).variables
    one = {load.size.key: load.size.spread for load in scenario.loads}
    assert found[JERK] == MaximumOf(one[JERK], 7.0)
    assert found[KERB] == MaximumOfEvents(one[KERB], 3.5)
    assert found["weak joint[0]"] == Uniform(0.0, 1.0)
    assert found["plug.overlap[0]"] == scenario.variables["plug.overlap"].spread


def test_a_sustained_load_is_a_variable_of_its_own(make):
    found = limit_state(make(more=STEADY.format(mean="300 N"))).variables
    assert (found[PRELOAD].mean, found[PRELOAD].sd) == pytest.approx((300.0, 30.0))


@pytest.mark.parametrize("years", [0.25, 0.9])
def test_a_life_below_one_year_has_its_part_of_a_year_s_loads(make, years):
    """What is drawn is the chance not to be exceeded: F**years at 1,500 N gives 1,500 N."""
    scenario = make(life=f"{years} years")
    (load,) = scenario.loads
    drawn = limit_state(scenario).variables[load.size.key]
    assert drawn == Uniform(0.0, 1.0)
    at = load.size.spread.cdf(np.float64(1500.0)) ** years
    assert _size(load, years, np.array([at])) == pytest.approx(1500.0)


def test_correlations_hold_copy_by_copy(make):
    more = (
        '[[correlation]]\nbetween = ["tube.bore", "plug.diameter"]\nvalue = 0.6\n'
        '[[correlation]]\nbetween = ["evidence.factor", "adhesive.toughness_range"]\nvalue = 0.2\n'
    )
    assert limit_state(make(rods=2, more=more)).correlation == {
        ("tube.bore[0]", "plug.diameter[0]"): 0.6,
        ("tube.bore[1]", "plug.diameter[1]"): 0.6,
        ("tube.bore[2]", "plug.diameter[2]"): 0.6,
        ("tube.bore[3]", "plug.diameter[3]"): 0.6,
        ("evidence.factor", "adhesive.toughness_range"): 0.2,
    }
    still = make(more=more)
    bore = replace(still.variables["tube.bore"], spread=Fixed(13.2))
    fixed = replace(still, variables=dict(still.variables) | {"tube.bore": bore})
    assert list(limit_state(fixed).correlation) == [("evidence.factor", "adhesive.toughness_range")]


# --- the margin ----------------------------------------------------------------------------


@pytest.mark.parametrize("rods", [1, 3])
@pytest.mark.parametrize("scope", ["all", "rod"])
@pytest.mark.parametrize("direction", ["pull", "push", "both"])
@pytest.mark.parametrize("mean", ["400 N", "-400 N"])
def test_the_margin_is_the_log_of_strength_over_demand(make, rods, scope, direction, mean):
    """ln(R/D) of the worst rod, by the resistances of the set and the largest loads."""
    more = EVENT.format(direction=direction, scope=scope) + STEADY.format(mean=mean)
    scenario = weakened(make(rods=rods, batch=2, hottest="40 degC", more=more, **WEAK))
    found = limit_state(scenario)
    x = rows(found, 150, seed=rods)
    the_set, values, labels = as_set(scenario, x)
    strength = the_set.resistance(values, labels)
    assert 0.02 < strength.weak.mean() < 0.5
    steady = x[PRELOAD] * x["model.load_factor"]
    kerb = indexed(x, KERB, 1 if scope == "all" else rods) * x["model.load_factor"]
    jerk = x[JERK] * x["model.load_factor"]
    event = np.broadcast_to(kerb, (rods, 150))
    demand = [(strength.pull_rod, steady), (strength.pull_rod, steady + jerk)]
    if direction in ("pull", "both"):
        demand.append((strength.pull_rod, steady + event))
    if strength.push_rod is not None:
        demand.append((strength.push_rod, -steady))
        if direction in ("push", "both"):
            demand.append((strength.push_rod, event - steady))
    logs = [[np.log(np.maximum(part, 1e-300)) for part in pair] for pair in demand]
    worst = np.min([(held - load).min(axis=0) for held, load in logs], axis=0)
    np.testing.assert_allclose(found.function(x), worst, rtol=1e-9, atol=1e-12)
    assert 0.05 < (worst < 0).mean() < 0.95


@pytest.mark.parametrize(("direction", "mean"), [("both", "200 N"), ("push", "-300 N")])
def test_failures_are_as_many_as_the_hazard_says(make, direction, mean):
    """On the same rods: loads drawn and counted, against the chance that they stay below."""
    n = 6000
    more = EVENT.format(direction=direction, scope="rod") + STEADY.format(mean=mean)
    scenario = weakened(make(rods=2, batch=2, more=more, **WEAK))
    found = limit_state(scenario)
    x = rows(found, n, seed=4)
    the_set, values, labels = as_set(scenario, x)
    rate = the_set.hazard(values, the_set.resistance(values, labels)).total[0]
    chance = -np.expm1(-rate * scenario.life)
    failed = found.function(x) < 0
    error = np.sqrt((chance * (1 - chance)).sum()) / n
    assert abs(failed.mean() - chance.mean()) < 4 * error
    assert 0.05 < chance.mean() < 0.95
    assert not failed[chance == 0.0].any()
    assert failed[chance == 1.0].all()


def test_a_row_is_worth_the_same_whoever_stands_beside_it(make):
    scenario = weakened(make(rods=2, batch=1, more=STEADY.format(mean="300 N"), **WEAK))
    found = limit_state(scenario)
    x = rows(found, 40)
    whole = found.function(x)
    for row in (0, 17, 39):
        alone = found.function({name: column[[row]] for name, column in x.items()})
        assert alone[0] == pytest.approx(whole[row], rel=1e-12)


def test_a_weak_label_is_a_score_below_its_chance(make):
    scenario = make(**WEAK)
    found = limit_state(scenario)
    x = rows(found, 1)
    x |= {name: np.full(1, 0.9) for name in x if name.startswith(("bad batch", "weak joint"))}
    x["weak_bonds.share_in_bad_batch"] = np.full(1, 0.7)

    def margin(**labels):
        return found.function(x | {name: np.full(1, value) for name, value in labels.items()})[0]

    sound = margin()
    weak = margin(**{"weak joint[0]": 0.049})
    assert weak < sound
    assert margin(**{"weak joint[0]": 0.051}) == sound
    assert margin(**{"weak joint[0]": 0.69, "bad batch[0]": 0.19}) == weak
    assert margin(**{"weak joint[0]": 0.71, "bad batch[0]": 0.19}) == sound
    assert margin(**{"weak joint[0]": 0.69, "bad batch[0]": 0.21}) == sound


def test_without_any_load_no_margin_is_negative(make):
    found = limit_state(make(loads=()))
    assert (found.function(rows(found, 30)) > 0).all()


def test_where_nothing_is_carried_the_margin_is_negative(make):
    scenario = make(hottest="90 degC")  # above the hard stop
    found = limit_state(scenario)
    x = rows(found, 20)
    margin = found.function(x)
    assert np.isfinite(margin).all()
    assert (margin < 0).all()


def test_a_load_factor_moves_the_margin_by_its_log(make):
    found = limit_state(make())
    x = rows(found, 50)
    twice = found.function(x | {"model.load_factor": 2.0 * x["model.load_factor"]})
    np.testing.assert_allclose(twice, found.function(x) - np.log(2.0), rtol=1e-9)
