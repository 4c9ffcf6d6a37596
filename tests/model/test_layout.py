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
