"""What the weakest part of each rod holds: members, directions, both ends, and symmetries."""

from dataclasses import replace

import numpy as np
import pytest

from jointrisk.model.bond import BOND_MODES
from jointrisk.model.draws import placed
from jointrisk.model.members import END_BEARING, PULL_MEMBERS, STRUT
from jointrisk.model.resistance import resistance
from jointrisk.model.rodset import rod_set
from jointrisk.spread import Fixed

TENSION, STRIP, NET = PULL_MEMBERS
MODES = (*BOND_MODES, *PULL_MEMBERS, STRUT, END_BEARING)
COHESION, INSERT, TUBE, WALL = BOND_MODES
WALL_AREA = np.pi * (8.0**2 - 6.6**2)
INERTIA = np.pi / 4 * (8.0**4 - 6.6**4)
M8 = '[thread]\nsize = "M8"\nengagement = "9 mm"\n'
STRIP_PER_MM = 0.6 * 0.9 * np.pi * 8.0 * (0.5 + 0.57735 * 0.649519)
"""Of an M8 thread at 1 MPa tensile strength [N/mm]: basic sizes, whatever the pitch."""
LOAD = (("both", "900 N"),)


def by_name(table, name, rod=0):
    return float(table[MODES.index(name), rod, 0])


def acting(table, rod=0):
    return {MODES[index] for index in np.flatnonzero(np.isfinite(table[:, rod, 0]))}


# --- members -------------------------------------------------------------------------------


def test_the_tube_breaks_over_the_section_of_its_nominal_bore(joint):
    found = joint({"tube.tension_strength": 50.0}, drawn={"tube.bore": 13.3})
    assert by_name(found.pull, TENSION) == pytest.approx(50.0 * WALL_AREA)
    thin = joint({"tube.tension_strength": 50.0, "tube.outer_diameter": 15.5})
    assert by_name(thin.pull, TENSION) == pytest.approx(50.0 * np.pi * (7.75**2 - 6.6**2))
    assert thin.pull_rod[0, 0] == thin.rig_pull[0, 0] == by_name(thin.pull, TENSION)


def test_each_rod_breaks_by_its_own_tube(joint):
    found = joint(words={"rods": 3}, drawn={"tube.tension_strength": [20.0, 30.0, 40.0]})
    wanted = np.array([20.0, 30.0, 40.0]) * WALL_AREA
    np.testing.assert_allclose(found.rig_pull[:, 0], wanted, rtol=1e-12)


@pytest.mark.parametrize(
    ("engaged", "counted"), [(4.0, 4.0), (11.9, 11.9), (12.0, 12.0), (15.0, 12.0), (40.0, 12.0)]
)
def test_threads_longer_than_one_and_a_half_diameters_hold_no_more(joint, engaged, counted):
    found = joint({"thread.engagement": engaged, "plug.strength": 200.0}, more=M8)
    wanted = STRIP_PER_MM * counted * 200.0
    assert by_name(found.pull, STRIP) == pytest.approx(wanted, rel=1e-5)
    assert by_name(found.push, STRIP) == pytest.approx(wanted, rel=1e-5)


def test_each_end_s_thread_has_its_own_longest_engagement(joint):
    """M8 counts 12 mm, M5 7.5 mm; the strip area per mm goes with the diameter."""
    more = M8 + '[second_thread]\nsize = "M5"\n'
    values = {"thread.engagement": 30.0, "second_thread.engagement": 30.0, "plug.strength": 200.0}
    found = joint(values, more=more)
    wanted = STRIP_PER_MM * 5.0 / 8.0 * 7.5 * 200.0
    assert by_name(found.pull, STRIP) == pytest.approx(wanted, rel=1e-5)


@pytest.mark.parametrize(("hole", "across"), [(6.75, 8.0), (8.0, 8.0), (10.0, 10.0)])
def test_the_plug_breaks_at_the_wider_of_thread_and_hole(joint, hole, across):
    found = joint({"plug.bore": hole, "plug.strength": 50.0}, more=M8)
    wanted = 50.0 * np.pi * (6.4**2 - across**2 / 4)
    assert by_name(found.pull, NET) == pytest.approx(wanted)
    assert np.isinf(by_name(found.push, NET))


def test_of_two_plugs_the_weaker_counts_for_the_rod(joint):
    drawn = {"plug.strength": [90.0, 60.0, 70.0, 80.0], "thread.engagement": [2.0, 6.0, 3.0, 1.0]}
    found = joint(words={"rods": 2}, more=M8, drawn=drawn)
    net = np.pi * (6.4**2 - 4.0**2)
    strip = STRIP_PER_MM * np.array([180.0, 80.0])
    for rod, (plug, thread) in enumerate(zip((60.0 * net, 70.0 * net), strip, strict=True)):
        assert by_name(found.pull, NET, rod) == pytest.approx(plug)
        assert by_name(found.pull, STRIP, rod) == pytest.approx(thread, rel=1e-5)


STRAIGHT = {"rods.bow": 0.0, "rods.load_offset": 0.0}


@pytest.mark.parametrize("fixity", [0.5, 1.0, 2.0])
def test_a_straight_slender_rod_bends_away_at_euler_s_load(joint, fixity):
    values = STRAIGHT | {"rods.length": 1500.0}
    found = joint(values, end_fixity=fixity)
    euler = np.pi**2 * 70_000.0 * INERTIA / (fixity * 1500.0) ** 2
    assert by_name(found.push, STRUT) == pytest.approx(euler, rel=1e-9)
    assert STRUT not in acting(found.pull)


def test_a_straight_stub_is_crushed(joint):
    values = STRAIGHT | {"rods.length": 50.0, "tube.compression_strength": 30.0}
    assert by_name(joint(values).push, STRUT) == pytest.approx(30.0 * WALL_AREA, rel=1e-9)


@pytest.mark.parametrize(("bow", "offset"), [(0.002, 0.0), (0.0, 0.6), (0.001, 0.4)])
def test_a_crooked_rod_reaches_its_strength_at_the_middle(joint, bow, offset):
    """The stress at the force found, by the secant for an offset and 1/(1 - x) for a bow."""
    values = {
        "rods.bow": bow,
        "rods.load_offset": offset,
        "rods.length": 800.0,
        "tube.compression_strength": 250.0,
    }
    force = by_name(joint(values).push, STRUT)
    share = force / (np.pi**2 * 70_000.0 * INERTIA / 800.0**2)
    arm = bow * 800.0 / (1 - share) + offset / np.cos(np.pi / 2 * np.sqrt(share))
    stress = force / WALL_AREA + force * arm * 8.0 / INERTIA
    assert stress == pytest.approx(250.0, rel=0.01)


def test_each_rod_bends_by_its_own_bow_and_stiffness(joint):
    drawn = {"rods.bow": [0.0, 0.004], "tube.modulus": [140e3, 70e3]}
    values = STRAIGHT | {"rods.length": 1500.0}
    found = joint(values, drawn=drawn, words={"rods": 2})
    euler = np.pi**2 * 70_000.0 * INERTIA / 1500.0**2
    assert by_name(found.push, STRUT, 0) == pytest.approx(2 * euler, rel=1e-9)
    assert by_name(found.push, STRUT, 1) < euler


# --- directions ----------------------------------------------------------------------------


def test_a_shoulder_takes_the_push_from_the_bond(joint):
    values = {"tube.compression_strength": 40.0, "preparation.plug": 0.2}
    bare, shouldered = joint(values), joint(values, shoulder=True)
    assert acting(bare.push) == {INSERT, STRUT}
    assert acting(shouldered.push) == {END_BEARING, STRUT}
    assert by_name(shouldered.push, END_BEARING) == pytest.approx(40.0 * WALL_AREA)
    np.testing.assert_array_equal(bare.pull, shouldered.pull)
    assert acting(shouldered.pull) == {INSERT, TENSION}


@pytest.mark.parametrize(("direction", "asked"), [("pull", False), ("push", True), ("both", True)])
def test_the_push_is_worked_out_only_where_a_load_pushes(joint, direction, asked):
    found = joint(loads=((direction, "900 N"),))
    assert (found.push is not None) is asked
    assert (found.push_rod is not None) is asked
    assert np.isfinite(found.pull_rod).all()


def test_a_threaded_rod_s_modes_in_each_direction(joint):
    found = joint(more=M8)
    assert acting(found.pull) == {COHESION, TENSION, STRIP, NET}
    assert acting(found.push) == {COHESION, STRIP, STRUT}


# --- two ends, many rods -------------------------------------------------------------------


def test_a_rod_is_as_weak_as_the_weaker_of_its_ends(joint):
    """Ends that let go in different modes keep their own forces, the rod the lower."""
    surfaces = {
        "preparation.plug": [0.4, 1.0, 1.0, 1.0],
        "preparation.tube": [1.0, 0.7, 0.5, 1.0],
        "adhesive.toughness": [1e5] * 4,
    }
    found = joint(words={"rods": 2}, drawn=surfaces)
    area = 20.0 * 2 * np.pi * 6.5 * 20.0
    assert by_name(found.pull, INSERT, 0) == pytest.approx(0.4 * area)
    assert by_name(found.pull, TUBE, 0) == pytest.approx(0.7 * area)
    assert by_name(found.pull, TUBE, 1) == pytest.approx(0.5 * area)
    assert by_name(found.pull, COHESION, 1) == pytest.approx(area)
    np.testing.assert_allclose(found.pull_rod[:, 0], [0.4 * area, 0.5 * area])
    np.testing.assert_allclose(found.rig_joint[:, 0], np.array([0.4, 0.7, 0.5, 1.0]) * area)
    np.testing.assert_allclose(found.rig_pull[:, 0], [0.4 * area, 0.5 * area])


def test_two_weak_ends_of_one_mode_leave_the_lower_one(joint):
    found = joint(drawn={"preparation.plug": [0.8, 0.6], "adhesive.toughness": 1e5})
    assert by_name(found.pull, INSERT) == pytest.approx(0.6 * 20.0 * 2 * np.pi * 6.5 * 20.0)


def test_one_joint_that_does_not_go_together_spoils_the_set(round_set):
    rods = round_set(words={"rods": 2})
    values = rods.values(np.zeros((1, 0)))
    diameter = np.full((4, 3), 12.8)
    diameter[2, 1] = 13.2
    labels = np.zeros((3, rods.layout.label_count), dtype=bool)
    found = rods.resistance(values | {"plug.diameter": diameter}, labels)
    assert found.assembles.tolist() == [True, False, True]


def test_without_the_rig_its_numbers_are_those_of_service(round_set):
    curve = ((20.0, 1.0), (60.0, 0.5))
    rods = round_set({"service.hottest": 60.0}, strength_by_temperature=curve)
    values = rods.values(np.zeros((1, 0)))
    labels = np.zeros((1, rods.layout.label_count), dtype=bool)
    full = rods.resistance(values, labels)
    less = rods.resistance(values, labels, with_rig=False)
    np.testing.assert_array_equal(less.pull, full.pull)
    np.testing.assert_array_equal(less.push, full.push)
    assert full.rig_pull[0, 0] > full.pull_rod[0, 0]
    np.testing.assert_array_equal(less.rig_pull, full.pull_rod)


def drawn_set(make, n=200, seed=1, **how):
    """Return a set with threads, misfit and pushes, values drawn for it, and labels."""
    scenario = make(
        LOAD, more=M8, **({"rods": 3, "batch": 2, "hottest": "45 degC", "coldest": "-5 degC"} | how)
    )
    rods = rod_set(scenario)
    rng = np.random.default_rng(seed)
    labels = rng.random((n, rods.layout.label_count)) < 0.3
    return rods, rods.values(rng.standard_normal((n, rods.layout.dimension))), labels


def test_new_members_on_old_bonds_are_those_worked_out_together(make):
    rods, values, labels = drawn_set(make)
    old = rods.resistance(values, labels)
    changed = values | {
        "tube.tension_strength": values["tube.tension_strength"] * 0.3,
        "tube.compression_strength": values["tube.compression_strength"] * 0.5,
        "plug.strength": values["plug.strength"] * 0.2,
    }
    new, together = rods.with_members(old, changed), rods.resistance(changed, labels)
    np.testing.assert_array_equal(new.pull, together.pull)
    np.testing.assert_array_equal(new.push, together.push)
    assert not np.array_equal(new.pull, old.pull)
    kept = rods.resistance(values, labels)
    np.testing.assert_array_equal(old.pull, kept.pull)  # the old one is left as it was


# --- symmetries ----------------------------------------------------------------------------


@pytest.mark.parametrize("order", [(2, 0, 1), (1, 0, 2), (2, 1, 0)])
def test_putting_rods_in_another_order_orders_their_forces(make, order):
    rods, values, labels = drawn_set(make, batch=1)
    order = np.array(order)
    ends = (2 * order[:, None] + np.arange(2)).ravel()
    places = {1: [0], 3: order, 6: ends}
    moved = {
        key: value if value.shape[0] == 1 else value[places[value.shape[0]]]
        for key, value in values.items()
    }
    bad, weak = rods.layout.bad_batch_labels, rods.layout.weak_joint_labels
    shuffled = labels.copy()
    shuffled[:, bad] = labels[:, bad][:, order]
    shuffled[:, weak] = labels[:, weak][:, ends]
    there, here = rods.resistance(values, labels), rods.resistance(moved, shuffled)
    np.testing.assert_array_equal(here.pull, there.pull[:, order])
    np.testing.assert_array_equal(here.push, there.push[:, order])
    np.testing.assert_array_equal(here.rig_joint, there.rig_joint[ends])
    np.testing.assert_array_equal(here.weak, there.weak[ends])
    np.testing.assert_array_equal(here.bounded, there.bounded)


def test_a_rod_turned_end_for_end_is_the_same_rod(make):
    rods, values, labels = drawn_set(make)
    turned = np.array([1, 0, 3, 2, 5, 4])
    moved = {key: value[turned] if value.shape[0] == 6 else value for key, value in values.items()}
    swapped = labels.copy()
    weak = rods.layout.weak_joint_labels
    swapped[:, weak] = labels[:, weak][:, turned]
    there, here = rods.resistance(values, labels), rods.resistance(moved, swapped)
    np.testing.assert_array_equal(here.pull, there.pull)
    np.testing.assert_array_equal(here.push, there.push)
    np.testing.assert_array_equal(here.rig_joint, there.rig_joint[turned])


@pytest.mark.parametrize("count", [1, 2, 5])
def test_alike_rods_are_as_strong_as_one(joint, count):
    values = {"plug.off_centre": 0.3, "preparation.tube": 0.9, "service.hottest": 40.0}
    one = joint(values, more=M8)
    many = joint(values, more=M8, words={"rods": count, "batch": 2})
    for name in ("pull", "push"):
        np.testing.assert_array_equal(getattr(many, name), getattr(one, name).repeat(count, axis=1))
    np.testing.assert_array_equal(many.rig_joint, one.rig_joint.repeat(count, axis=0))


def test_draws_do_not_know_of_each_other(make):
    """A block worked out at once is its rows worked out one by one."""
    rods, values, labels = drawn_set(make, n=30)
    whole = rods.resistance(values, labels)
    for row in (0, 11, 29):
        here = {key: value if value.shape[1] == 1 else value[:, [row]] for key, value in
                values.items()}  # fmt: skip
        alone = rods.resistance(here, labels[[row]])
        np.testing.assert_allclose(alone.pull[..., 0], whole.pull[..., row], rtol=1e-12)
        np.testing.assert_allclose(alone.push[..., 0], whole.push[..., row], rtol=1e-12)


def enlarge(rods, values, k):
    """Return scenario and values of a set with all lengths and toughnesses `k` times as large."""
    grows = ("mm", "N/mm")
    bigger = {
        key: value * k if rods.variables[key].unit in grows else value
        for key, value in values.items()
    }
    scenario = rods.scenario
    variables = dict(scenario.variables)
    for key in ("tube.bore", "tube.outer_diameter", "plug.diameter", "plug.bore"):
        variables[key] = replace(variables[key], spread=Fixed(variables[key].spread.mean * k))
    thread = scenario.thread
    return bigger, replace(
        scenario,
        variables=variables,
        gap_factor_points=tuple((k * gap, factor) for gap, factor in scenario.gap_factor_points),
        thread=replace(thread, major_diameter=k * thread.major_diameter, pitch=k * thread.pitch),
    )


@pytest.mark.parametrize("k", [0.5, 3.0])
@pytest.mark.parametrize("shoulder", [False, True])
def test_a_rod_twice_as_large_holds_four_times_as_much(make, k, shoulder):
    """Equal stresses on k times the lengths: forces go with k^2 if the toughness goes with k."""
    rods, values, labels = drawn_set(make, n=400, seed=4)
    bigger, scenario = enlarge(rods, values, k)
    scenario, plain = (replace(one, shoulder=shoulder) for one in (scenario, rods.scenario))
    weak = rods.weak_joints(labels)
    small, large = (
        resistance(one, rods.layout, placed(drawn, rods.layout), weak, weak & False, with_push=True)
        for one, drawn in ((plain, values), (scenario, bigger))
    )
    np.testing.assert_allclose(large.pull, k**2 * small.pull, rtol=1e-7)
    np.testing.assert_allclose(large.push, k**2 * small.push, rtol=1e-7)
    np.testing.assert_allclose(large.rig_joint, k**2 * small.rig_joint, rtol=1e-7)
    assert (small.pull_rod > 0).mean() > 0.5


@pytest.mark.parametrize("k", [0.2, 5.0])
def test_stiffer_stronger_and_tougher_alike_goes_with_the_force(make, k):
    """All stresses, moduli and toughnesses k times as large: forces k times, misfit or not."""
    rods, values, labels = drawn_set(make, seed=5)
    stiff = {
        key: value * k if rods.variables[key].unit in ("MPa", "N/mm") else value
        for key, value in values.items()
    }
    plain, more = rods.resistance(values, labels), rods.resistance(stiff, labels)
    np.testing.assert_allclose(more.pull, k * plain.pull, rtol=1e-7)
    np.testing.assert_allclose(more.push, k * plain.push, rtol=1e-7)


STRONGER = (
    "adhesive.shear_strength",
    "adhesive.shear_strength_range",
    "batch.bond_factor",
    "evidence.factor",
    "tube.interlaminar_strength",
)
"""These make an off-centre joint of one toughness weaker at times: see `test_bond`."""
MORE = (
    "plug.overlap",
    "plug.glued_share",
    "adhesive.toughness",
    "adhesive.toughness_range",
    "preparation.plug",
    "preparation.tube",
    "weak_bonds.keeps",
    "model.bond_factor",
    "tube.interlaminar_toughness",
    "tube.tension_strength",
    "tube.compression_strength",
    "plug.strength",
)


@pytest.mark.parametrize("key", STRONGER + MORE)
def test_without_misfit_more_of_what_strengthens_never_weakens(make, key):
    rods, values, labels = drawn_set(make, n=400, plug="steel S355")
    values["tube.expansion"] = values["plug.expansion"]
    if key in STRONGER:
        values["plug.off_centre"] = np.zeros((1, 1))
    before = rods.resistance(values, labels)
    after = rods.resistance(values | {key: values[key] * 1.15}, labels)
    for name in ("pull_rod", "push_rod", "rig_pull", "rig_joint"):
        old, new = getattr(before, name), getattr(after, name)
        assert (new >= old * (1 - 1e-9)).all(), name
    lowest = [np.minimum(one.pull.min(axis=1), one.push.min(axis=1)) for one in (before, after)]
    assert (lowest[1] > lowest[0]).any()


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"tube": "aluminium 6082-T6", "evidence": "data sheet"},
        {"evidence": 'own coupons"\nfailure_strain = "40 %', "tube": "glass tube, pultruded"},
        {"hottest": "64 degC", "coldest": "-40 degC"},
    ],
)
def test_every_draw_however_far_out_has_an_answer(make, words):
    """Searches push single scores nine deviations out."""
    thread = M8 + '[second_thread]\nengagement = { mean = "4 mm", sd = "1 mm" }\n'
    rods = rod_set(make(LOAD, more=thread, **words))
    size = rods.layout.dimension
    u = np.concatenate([np.zeros((1, size)), *(far * np.eye(size) for far in (-9, -5, 5, 9))])
    labels = np.zeros((len(u), rods.layout.label_count), dtype=bool)
    found = rods.resistance(rods.values(u), labels)
    for force in (found.pull_rod, found.push_rod, found.rig_pull, found.rig_joint):
        assert np.isfinite(force).all()
        assert (force >= 0).all()
