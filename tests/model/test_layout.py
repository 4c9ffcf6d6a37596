import numpy as np
import pytest

from jointrisk.model.layout import lift_columns, lift_labels
from jointrisk.model.rodset import rod_set


def test_every_varying_variable_has_a_column_for_each_independent_draw(make):
    rods = rod_set(make(rods=4, batch=2))
    widths = {
        scope: {
            columns.stop - columns.start
            for key, columns in rods.layout.columns.items()
            if rods.layout.scopes[key] == scope
        }
        for scope in ("all", "batch", "rod", "joint")
    }
    assert widths == {"all": {1}, "batch": {2}, "rod": {4}, "joint": {8}}
    covered = np.concatenate([np.arange(c.start, c.stop) for c in rods.layout.columns.values()])
    assert sorted(covered) == list(range(rods.layout.dimension))


def test_batches_follow_the_order_of_the_rods(make):
    layout = rod_set(make(rods=5, batch=2)).layout
    assert layout.batch_of_rod == (0, 0, 1, 1, 2)
    assert layout.batch_of_joint.tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 2, 2]


@pytest.mark.parametrize(("rod", "end"), [(0, 0), (2, 1), (3, 0)])
def test_a_lifted_rod_gives_the_same_resistance_as_the_single_one(make, rod, end):
    """What the search finds on one rod must hold for the same rod inside a set."""
    scenario = make(rods=4, batch=2)
    single, full = rod_set(scenario, rods=1), rod_set(scenario)
    rng = np.random.default_rng(3)
    u_single = rng.standard_normal((40, single.layout.dimension))
    labels_single = rng.random((40, single.layout.label_count)) < 0.5
    u_full = np.zeros((40, full.layout.dimension))
    u_full[:, lift_columns(single.layout, full.layout, rod, end)] = u_single
    labels_full = np.zeros((40, full.layout.label_count), dtype=bool)
    labels_full[:, lift_labels(single.layout, full.layout, rod, end)] = labels_single
    alone = single.resistance(single.values(u_single), labels_single)
    among = full.resistance(full.values(u_full), labels_full)
    np.testing.assert_allclose(among.pull_rod[rod], alone.pull_rod[0], rtol=1e-12)
    np.testing.assert_allclose(among.rig_pull[rod], alone.rig_pull[0], rtol=1e-12)


def test_no_weak_bonds_means_no_labels(make):
    assert rod_set(make(lone="0", bad="0")).layout.label_count == 0
    assert rod_set(make(lone="0.02", bad="0", rods=3)).layout.label_count == 6
    assert rod_set(make(lone="0", bad="0.02", rods=3, batch=3)).layout.label_count == 7


# --- one rod inside a set ------------------------------------------------------------------

OTHER_END = """
[second_plug]
overlap = { mean = "30 mm", sd = "2 mm" }
off_centre = { never_outside = [0.1, 0.5] }
"""
TIED = '[[correlation]]\nbetween = ["adhesive.shear_strength", "adhesive.toughness"]\nvalue = 0.6\n'
LABELS = {"both": ("0.02", "0.1"), "lone": ("0.02", "0"), "bad": ("0", "0.1"), "none": ("0", "0")}


def lifted(scenario, rod, end, n=25):
    """Return the single rod and the set, scores and labels of both, the rest drawn at random."""
    single, full = rod_set(scenario, rods=1), rod_set(scenario)
    rng = np.random.default_rng(rod)
    u, among = (rng.standard_normal((n, one.layout.dimension)) for one in (single, full))
    labels, among_labels = (rng.random((n, one.layout.label_count)) < 0.5 for one in (single, full))
    among[:, lift_columns(single.layout, full.layout, rod, end)] = u
    among_labels[:, lift_labels(single.layout, full.layout, rod, end)] = labels
    return single, full, u, among, labels, among_labels


@pytest.mark.parametrize("which", LABELS)
@pytest.mark.parametrize(("rod", "end"), [(0, 0), (1, 1), (4, 0), (4, 1)])
def test_a_lifted_rod_has_places_of_its_own(make, which, rod, end):
    lone, bad = LABELS[which]
    scenario = make(rods=5, batch=2, lone=lone, bad=bad)
    single, full = rod_set(scenario, rods=1).layout, rod_set(scenario).layout
    columns = lift_columns(single, full, rod, end)
    labels = lift_labels(single, full, rod, end)
    assert len(set(columns)) == single.dimension
    assert set(columns) <= set(range(full.dimension))
    assert len(set(labels)) == single.label_count == {"none": 0, "lone": 2}.get(which, 3)
    weak = [full.weak_joint_labels.start + 2 * rod + e for e in (end, 1 - end)]
    assert labels[len(labels) - 2 :].tolist() == (weak if which != "none" else [])
    if which in ("both", "bad"):
        assert labels[0] == rod // 2


@pytest.mark.parametrize(("rod", "end"), [(0, 1), (2, 0), (4, 1)])
def test_a_lifted_rod_keeps_its_values_whatever_the_others_are(make, rod, end):
    """The first end of the single rod becomes the end asked for."""
    scenario = make(rods=5, batch=2, more=TIED)
    single, full, u, among, *_ = lifted(scenario, rod, end)
    own, all_ = single.values(u), full.values(among)
    ends = [2 * rod + end, 2 * rod + 1 - end]
    place = {"all": [0], "batch": [rod // 2], "rod": [rod], "joint": ends}
    assert set(single.layout.scopes.values()) == set(place)
    for key, scope in single.layout.scopes.items():
        np.testing.assert_allclose(all_[key][place[scope]], own[key], rtol=1e-12, err_msg=key)


@pytest.mark.parametrize("rod", [0, 2])
def test_a_lifted_rod_of_two_ends_keeps_each_where_it_is(make, rod):
    scenario = make(rods=3, batch=2, more=OTHER_END)
    single, full, u, among, labels, among_labels = lifted(scenario, rod, 0)
    own, all_ = single.values(u), full.values(among)
    for key in ("plug.overlap", "second_plug.overlap", "second_plug.off_centre"):
        np.testing.assert_array_equal(all_[key][[rod]], own[key])
    alone, inside = single.resistance(own, labels), full.resistance(all_, among_labels)
    joints = slice(2 * rod, 2 * rod + 2)
    np.testing.assert_allclose(inside.rig_joint[joints], alone.rig_joint, rtol=1e-12)
    np.testing.assert_array_equal(inside.weak[joints], alone.weak)


@pytest.mark.parametrize(("rod", "end"), [(0, 0), (1, 1), (4, 1)])
def test_a_lifted_label_keeps_its_chance(make, rod, end):
    scenario = make(rods=5, batch=2, lone="{ mean = 0.02, cov = 0.5 }", bad="0.1")
    single, full, u, among, labels, among_labels = lifted(scenario, rod, end)
    for label, place in enumerate(lift_labels(single.layout, full.layout, rod, end)):
        np.testing.assert_allclose(
            full.label_chance(int(place), among, among_labels),
            single.label_chance(label, u, labels),
            rtol=1e-12,
        )
