"""Parts in line, rod ends and the back-up in the resistance of a rod, against work by hand."""

from dataclasses import replace

import numpy as np
import pytest

from jointrisk.mechanics.backup import drilled_tube_tension
from jointrisk.model.bond import BOND_MODES
from jointrisk.model.limit_state import limit_state
from jointrisk.model.members import BACKUP, DRILLED, ROD_END, modes_of
from jointrisk.model.rodset import rod_set
from jointrisk.spread import Fixed

COHESION = BOND_MODES[0]
TUBE_HOLE, INSERT_HOLE = DRILLED
ROUND_BOND = 20.0 * 2 * np.pi * 6.5 * 20.0
"""An overlap of the round joint that yields everywhere [N]: 20 MPa at mid-gap over 20 mm."""
TOUGH = {"adhesive.toughness": 1e5}
CLAMP = '[[part]]\nname = "clamp"\npull = { mean = "9 kN", cov = 0.1 }\n'
BOTH_WAYS = CLAMP + 'push = { mean = "4 kN", cov = 0.1 }\n'
PIN = """[backup]
kind = "{kind}"
diameter = "3 mm"
shear_strength = "300 MPa"
end_distance = "8 mm"
"""
CROSS, SCREW = PIN.format(kind="cross pin"), PIN.format(kind="screw")
END = '[rod_end]\nstatic_rating = "10 kN"\nstrength_ratio = 1.1\n'
STEEL = {
    "backup.tube_bearing_strength": 1e5,  # out of the way, as the next four
    "backup.tube_shear_strength": 1e5,
    "backup.insert_bearing_strength": 1e5,
    "backup.insert_shear_strength": 1e5,
    "plug.strength": 1e5,
}
LOADS = (("both", "900 N"),)


@pytest.fixture
def held(joint, make):
    """Return a function that gives the forces of one rod by mode in a pull, a push, and the rig."""

    def work_out(values=None, *, rod=0, **how):
        found = joint(values, **how)
        words = {"tube": "aluminium 6082-T6"} | how.get("words", {})
        names = modes_of(make(LOADS, more=how.get("more", ""), **words))

        def acting(table):
            column = table[:, rod, 0]
            return {names[index]: column[index] for index in np.flatnonzero(np.isfinite(column))}

        return acting(found.pull), acting(found.push), float(found.rig_pull[rod, 0])

    return work_out


# Parts -------------------------------------------------------------------------------------------


def test_a_part_holds_what_it_holds_and_only_where_it_says(held):
    pull, push, rig = held(TOUGH, more=CLAMP)
    assert pull["clamp lets go"] == pytest.approx(9000.0)
    assert "clamp lets go" not in push
    assert rig == pytest.approx(ROUND_BOND)
    _, push, _ = held(TOUGH, more=BOTH_WAYS)
    assert push["clamp lets go"] == pytest.approx(4000.0)


def test_the_rig_reaches_only_parts_that_stand_in_it(held):
    weak = CLAMP.replace("9 kN", "2 kN")
    assert held(TOUGH, more=weak)[2] == pytest.approx(ROUND_BOND)
    assert held(TOUGH, more=weak + "in_rig = true\n")[2] == pytest.approx(2000.0)


def test_every_rod_has_its_own_part(held):
    drawn = TOUGH | {"part.clamp.pull": [7000.0, 8000.0, 9000.0]}
    for rod, wanted in enumerate((7000.0, 8000.0, 9000.0)):
        pull, *_ = held(drawn=drawn, more=CLAMP, words={"rods": 3}, rod=rod)
        assert pull["clamp lets go"] == wanted


def test_of_two_parts_at_the_ends_the_weaker_counts(held):
    drawn = TOUGH | {"part.clamp.pull": [7000.0, 6000.0, 5000.0, 9000.0]}
    for rod, wanted in enumerate((6000.0, 5000.0)):
        more, words = CLAMP + 'at = "end"\n', {"rods": 2}
        assert held(drawn=drawn, more=more, words=words, rod=rod)[0]["clamp lets go"] == wanted


@pytest.mark.parametrize("at", ["rod", "end"])
@pytest.mark.parametrize(("scope", "copies"), [("rod", 5), ("batch", 3), ("all", 1)])
def test_parts_of_one_piece_are_drawn_together(make, at, scope, copies):
    said = CLAMP.replace("cov = 0.1", f'cov = 0.1, scope = "{scope}"') + f'at = "{at}"\n'
    rods = rod_set(make(LOADS, more=said, rods=5, batch=2))
    columns = rods.layout.columns["part.clamp.pull"]
    assert columns.stop - columns.start == copies
    u = np.random.default_rng(1).standard_normal((7, rods.layout.dimension))
    values = rods.values(u)
    labels = np.zeros((7, rods.layout.label_count), dtype=bool)
    found = rods.resistance(values, labels).pull[modes_of(rods.scenario).index("clamp lets go")]
    of_rod = {5: range(5), 3: [0, 0, 1, 1, 2], 1: [0] * 5}[copies]
    np.testing.assert_array_equal(found, values["part.clamp.pull"][list(of_rod)])


def test_a_huge_part_changes_no_rod(make):
    huge = '[[part]]\nname = "hook"\npull = "9e9 kN"\npush = "9e9 kN"\nat = "end"\nin_rig = true\n'
    plain, more = rod_set(make(LOADS, rods=2)), rod_set(make(LOADS, more=huge, rods=2))
    u = np.random.default_rng(3).standard_normal((50, plain.layout.dimension))
    labels = np.zeros((50, plain.layout.label_count), dtype=bool)
    a, b = (rods.resistance(rods.values(u), labels) for rods in (plain, more))
    for name in ("pull_rod", "push_rod", "rig_pull"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))


def test_new_parts_on_old_bonds_are_those_worked_out_together(make):
    rods = rod_set(make(LOADS, more=BOTH_WAYS + 'at = "end"\n' + END, rods=2))
    rng = np.random.default_rng(4)
    values = rods.values(rng.standard_normal((40, rods.layout.dimension)))
    labels = rng.random((40, rods.layout.label_count)) < 0.3
    changed = values | {
        "part.clamp.pull": 0.2 * values["part.clamp.pull"],
        "rod_end.strength_ratio": 0.2 * values["rod_end.strength_ratio"],
    }
    old = rods.resistance(values, labels)
    new, together = rods.with_members(old, changed), rods.resistance(changed, labels)
    np.testing.assert_array_equal(new.pull, together.pull)
    np.testing.assert_array_equal(new.push, together.push)
    assert not np.array_equal(new.pull, old.pull)


# Rod end -----------------------------------------------------------------------------------------


def test_a_rod_end_breaks_at_its_rating_times_its_ratio_either_way(held):
    pull, push, rig = held(TOUGH, more=END)
    assert pull[ROD_END] == push[ROD_END] == pytest.approx(11000.0)
    assert rig == pytest.approx(ROUND_BOND)
    drawn = TOUGH | {"rod_end.strength_ratio": [1.1, 0.4]}
    assert held(drawn=drawn, more=END)[0][ROD_END] == pytest.approx(4000.0)
    assert held(drawn=drawn, more=END + "in_rig = true\n")[2] == pytest.approx(4000.0)


def test_a_shank_breaks_in_a_pull_at_its_stress_area(held):
    """M6: 20.1 mm2 (ISO 898-1, as quoted); times 400 MPa 8.04 kN, below the head's 11 kN."""
    more = END + 'shank = "M6"\nshank_strength = "{} MPa"\n'
    pull, push, _ = held(TOUGH, more=more.format(400))
    assert pull[ROD_END] == pytest.approx(20.1 * 400.0, rel=2e-3)
    assert push[ROD_END] == pytest.approx(11000.0)
    assert held(TOUGH, more=more.format(800))[0][ROD_END] == pytest.approx(11000.0)


# Back-up -----------------------------------------------------------------------------------------

PIN_HOLDS = 2 * np.pi / 4 * 9.0 * 300.0
"""3 mm, two planes of 7.069 mm2, 300 MPa: 4241 N."""


def test_a_back_up_holds_when_the_bond_no_longer_does(held):
    """A bond of 2042 N with a pin that shears at 4241 N: the end holds 4241 N, the rig's 2042 N."""
    weak = TOUGH | STEEL | {"adhesive.shear_strength": 2.5}
    pull, push, rig = held(weak, more=CROSS)
    assert pull[BACKUP] == push[BACKUP] == pytest.approx(PIN_HOLDS)
    assert COHESION not in pull.keys() | push.keys()
    assert rig == pytest.approx(ROUND_BOND / 8)
    pull, *_ = held(weak, more=SCREW)
    assert pull[BACKUP] == pytest.approx(PIN_HOLDS / 2)


def test_a_bond_above_its_back_up_gives_way_as_without(held):
    pull, push, rig = held(TOUGH | STEEL, more=CROSS)
    assert pull[COHESION] == push[COHESION] == rig == pytest.approx(ROUND_BOND)
    assert BACKUP not in pull.keys() | push.keys()


def test_one_end_by_its_bond_the_other_by_its_pin(held):
    drawn = TOUGH | {"preparation.plug": [1.0, 0.1]}
    pull, _, rig = held(STEEL, drawn=drawn, more=CROSS)
    assert pull[COHESION] == pytest.approx(ROUND_BOND)
    assert pull[BACKUP] == pytest.approx(PIN_HOLDS)
    assert rig == pytest.approx(0.1 * ROUND_BOND)


# What the pin bears on, each brought down on its own. Tube 8/6.6 mm, insert 6.4 mm, hole 3 mm, its
# edge 6.5 mm from the mouth and (20 - 8 - 1.5) mm from the insert's inner end.
LOW = [
    ("backup.shear_strength", 100.0, 2 * np.pi / 4 * 9.0 * 100.0, True),
    ("backup.tube_bearing_strength", 200.0, 2 * 3.0 * 1.4 * 200.0, True),
    ("backup.tube_shear_strength", 40.0, 4 * 6.5 * 1.4 * 40.0, False),
    ("backup.insert_bearing_strength", 50.0, 2 * 3.0 * 6.4 * 50.0, True),
    ("backup.insert_shear_strength", 10.0, 4 * 10.5 * 6.4 * 10.0, False),
]


@pytest.mark.parametrize(("key", "strength", "force", "either_way"), LOW)
def test_each_limit_of_the_back_up_by_hand(held, key, strength, force, either_way):
    gone = TOUGH | STEEL | {"adhesive.shear_strength": 1e-3}
    pull, push, _ = held(gone | {key: strength}, more=CROSS)
    assert pull[BACKUP] == pytest.approx(force)
    assert push[BACKUP] == pytest.approx(force if either_way else PIN_HOLDS)


def test_an_insert_that_goes_on_beyond_the_glue_tears_later(held):
    gone = TOUGH | STEEL | {"adhesive.shear_strength": 1e-3, "backup.insert_shear_strength": 10.0}
    pull, *_ = held(gone, more=CROSS + 'insert_end_distance = "13.5 mm"\n')
    assert pull[BACKUP] == pytest.approx(4 * 12.0 * 6.4 * 10.0)


def test_a_hole_drawn_past_an_end_holds_nothing(held):
    gone = TOUGH | STEEL | {"adhesive.shear_strength": 1e-3}
    for end in ("backup.end_distance", "plug.overlap"):
        away = {"backup.end_distance": 1.0, "plug.overlap": 8.5}[end]
        pull, push, _ = held(gone, drawn={end: away}, more=CROSS)
        assert min(pull.values()) < 1.0
        assert push[BACKUP] == pytest.approx(PIN_HOLDS)


def chord_area(outer, inner, hole):
    """Ring less the two strips that the hole cuts, by sums over narrow chords."""
    y = (np.arange(200_000) + 0.5) / 200_000 * hole / 2
    chord = np.sqrt(outer**2 - y**2) - np.sqrt(np.maximum(inner**2 - y**2, 0.0))
    return np.pi * (outer**2 - inner**2) - 4 * chord.mean() * hole / 2


def test_tube_and_insert_break_across_the_hole_with_a_sound_bond_too(held):
    values = TOUGH | {
        "tube.tension_strength": 60.0,
        "tube.compression_strength": 50.0,
        "plug.strength": 40.0,
        "backup.stress_concentration": 1.5,
        "plug.bore": 4.0,
    }
    pull, push, rig = held(values, more=CROSS + 'hole = "3.2 mm"\n')
    tube, insert = chord_area(8.0, 6.6, 3.2), chord_area(6.4, 2.0, 3.2)
    assert pull[TUBE_HOLE] == rig == pytest.approx(60.0 / 1.5 * tube, rel=1e-6)
    assert push[TUBE_HOLE] == pytest.approx(50.0 / 1.5 * tube, rel=1e-6)
    assert pull[INSERT_HOLE] == push[INSERT_HOLE] == pytest.approx(40.0 * insert, rel=1e-6)


def test_a_wider_hole_at_one_end_weakens_its_rod(held):
    drawn = TOUGH | {"backup.hole": [3.0, 5.0]}
    pull, *_ = held({"tube.tension_strength": 60.0}, drawn=drawn, more=CROSS)
    assert pull[TUBE_HOLE] == pytest.approx(drilled_tube_tension(8.0, 6.6, 5.0, 60.0))


def test_a_shoulder_takes_the_push_past_pin_and_insert(joint, make):
    found = joint(STEEL | TOUGH | {"adhesive.shear_strength": 1e-3}, more=CROSS, shoulder=True)
    names = modes_of(make(LOADS, more=CROSS))
    acting = {names[i] for i in np.flatnonzero(np.isfinite(found.push[:, 0, 0]))}
    assert BACKUP not in acting
    assert INSERT_HOLE not in acting
    assert TUBE_HOLE in acting


# Properties over draws --------------------------------------------------------------------------

SPREAD = """[backup]
kind = "bolt"
diameter = "3 mm"
hole = { mean = "3.3 mm", sd = "0.3 mm" }
shear_strength = { mean = "60 MPa", cov = 0.3 }
end_distance = { mean = "8 mm", sd = "1.5 mm" }
"""


def drawn_set(make, more, n=300, far=1.0, **words):
    rods = rod_set(make(LOADS, more=more, rods=3, batch=2, hottest="50 degC", **words))
    rng = np.random.default_rng(8)
    labels = rng.random((n, rods.layout.label_count)) < 0.3
    return rods, rods.values(far * rng.standard_normal((n, rods.layout.dimension))), labels


def lowest(rods, values, labels):
    found = rods.resistance(values, labels)
    return np.stack([found.pull_rod, found.push_rod])


def test_a_back_up_without_strength_raises_nothing(make):
    """Against the same rods without it: lower only by the hole, which breaks at its own force."""
    rods, values, labels = drawn_set(make, SPREAD)
    nothing = values | {"backup.shear_strength": np.full((1, 1), 1e-9)}
    bare = replace(rods, scenario=replace(rods.scenario, backup=None))
    assert (lowest(rods, nothing, labels) <= lowest(bare, values, labels) + 1e-6).all()


def test_a_back_up_never_takes_from_a_bond_and_at_times_adds(make):
    rods, values, labels = drawn_set(make, SPREAD)
    bare = replace(rods, scenario=replace(rods.scenario, backup=None))
    names = modes_of(rods.scenario)
    with_it, without = (one.resistance(values, labels).pull for one in (rods, bare))
    bond = [*range(len(BOND_MODES)), names.index(BACKUP)]
    held, alone = with_it[bond].min(axis=0), without[: len(BOND_MODES)].min(axis=0)
    assert (held >= alone).all()
    assert 0.02 < (held > alone).mean() < 0.98
    rig = [one.resistance(values, labels).rig_joint for one in (rods, bare)]
    np.testing.assert_array_equal(*rig)


@pytest.mark.parametrize(
    "key",
    [
        *("backup.shear_strength", "backup.tube_bearing_strength", "backup.tube_shear_strength"),
        *("backup.insert_bearing_strength", "backup.insert_shear_strength"),
    ],
)
def test_a_stronger_back_up_never_weakens(make, key):
    rods, values, labels = drawn_set(make, SPREAD)
    more = values | {key: 1.4 * values[key]}
    assert (lowest(rods, more, labels) >= lowest(rods, values, labels)).all()


def test_a_search_on_one_end_sees_the_back_up(make):
    """The least over limits and states is the joint's bond mode or its back-up."""
    rods, values, labels = drawn_set(make, SPREAD)
    found = rods.resistance(values, labels)
    names = modes_of(rods.scenario)
    bond = [*range(len(BOND_MODES)), names.index(BACKUP)]
    forces = {True: [], False: []}
    for state in rods.bond_states():
        forces[state["push"]].append(rods.joint_force(values, labels, **state))
    for push, table in ((False, found.pull), (True, found.push)):
        ends = np.min(forces[push] or forces[False], axis=0)
        rod = ends.reshape(rods.layout.rods, 2, -1).min(axis=1)
        np.testing.assert_allclose(table[bond].min(axis=0), rod, rtol=1e-9)


@pytest.mark.parametrize("far", [5.0, 9.0])
@pytest.mark.parametrize("tube", ["aluminium 6082-T6", "carbon tube, woven"])
def test_every_draw_however_far_out_has_an_answer(make, tube, far):
    more = SPREAD + BOTH_WAYS + 'at = "end"\n' + END + 'shank = "M5"\n'
    rods, values, labels = drawn_set(make, more, far=far, tube=tube)
    force = lowest(rods, values, labels)
    assert np.isfinite(force).all()
    assert (force >= 0.0).all()


def test_every_mode_has_a_name_of_its_own(make):
    names = modes_of(make(LOADS, more=SPREAD + CLAMP + END + CLAMP.replace("clamp", "hook")))
    assert len(set(names)) == len(names)
    assert names[-2:] == ("clamp lets go", "hook lets go")
    assert {BACKUP, *DRILLED, ROD_END} <= set(names)
    assert not {BACKUP, *DRILLED, ROD_END} & set(modes_of(make(LOADS)))


def test_the_plain_limit_state_knows_parts_and_back_up(make):
    """Bonds of nothing and a weak clamp: the margin is ln(least of pin, clamp over the load)."""
    pin = CROSS.replace('shear_strength = "300 MPa"', 'shear_strength = "150 MPa"')
    more = pin + CLAMP.replace("9 kN", "2.4 kN") + 'at = "end"\n'
    scenario = make((("pull", "900 N"),), more=more, rods=2, tube="aluminium 6082-T6")
    gone = replace(scenario.variables["model.bond_factor"], spread=Fixed(1e-9))
    scenario = replace(scenario, variables=scenario.variables | {"model.bond_factor": gone})
    state = limit_state(scenario)
    rng = np.random.default_rng(5)
    x = {
        key: spread.from_normal(rng.standard_normal(50)) for key, spread in state.variables.items()
    }
    clamps = np.min([x[f"part.clamp.pull[{joint}]"] for joint in range(4)], axis=0)
    pin_holds = 2 * np.pi / 4 * 9.0 * 150.0
    load = x["load.jerk pull.size"] * x["model.load_factor"]
    wanted = np.log(np.minimum(clamps, pin_holds) / load)
    np.testing.assert_allclose(state.function(x), wanted, rtol=1e-9)
    assert 0.1 < (clamps < pin_holds).mean() < 0.9
