from dataclasses import replace

import numpy as np
import pytest

from jointrisk.model.draws import Change
from jointrisk.model.members import modes_of
from jointrisk.model.rodset import rod_set


def draws(rods, n=400, seed=0):
    rng = np.random.default_rng(seed)
    u = rng.standard_normal((n, rods.layout.dimension))
    return u, np.zeros((n, rods.layout.label_count), dtype=bool)


def test_a_weak_joint_is_weaker_and_never_the_sound_one(make):
    rods = rod_set(make())
    u, labels = draws(rods)
    sound = rods.resistance(rods.values(u), labels)
    labels[:, rods.layout.weak_joint_labels.start] = True
    weak = rods.resistance(rods.values(u), labels)
    assert (weak.rig_joint[0] <= sound.rig_joint[0]).all()  # the same where the wall governs both
    assert (weak.rig_joint[0] < sound.rig_joint[0]).mean() > 0.98
    np.testing.assert_array_equal(weak.rig_joint[1], sound.rig_joint[1])


def test_without_misfit_push_and_pull_are_alike_for_the_bond(make):
    """Common practice, no source: shear does not know its sign."""
    rods = rod_set(make((("both", "900 N"),), tube="aluminium 6082-T6"))
    u, labels = draws(rods)
    strength = rods.resistance(rods.values(u), labels)
    bonds = slice(0, 4)
    np.testing.assert_allclose(strength.pull[bonds].min(0), strength.push[bonds].min(0), rtol=1e-9)


def test_with_misfit_a_push_is_a_pull_with_the_misfit_turned_round(make):
    rods = rod_set(make((("both", "900 N"),), hottest="40 degC", coldest="5 degC"))
    u, labels = draws(rods)
    strength = rods.resistance(rods.values(u), labels)
    assert not np.allclose(strength.pull[:4].min(0), strength.push[:4].min(0), rtol=1e-3)


def test_heat_weakens_and_above_the_hard_stop_nothing_is_carried(make):
    cool, warm = rod_set(make()), rod_set(make(hottest="45 degC"))
    u, labels = draws(cool)
    warmer = warm.resistance(warm.values(u), labels).pull_rod
    cooler = cool.resistance(cool.values(u), labels).pull_rod
    assert (warmer <= cooler).mean() > 0.98
    assert np.median(warmer / cooler) < 0.95
    stop = rod_set(make(hottest="80 degC"))
    strength = stop.resistance(stop.values(u), labels)
    assert (strength.pull_rod == 0.0).all()
    assert (strength.rig_pull > 0.0).all()


def test_the_wall_of_a_composite_tube_can_govern_and_a_metal_tube_has_none(make):
    weak_wall = make(evidence="own pulls").variables["tube.interlaminar_strength"]
    assert weak_wall.unit == "MPa"
    metal = rod_set(make(tube="aluminium 6082-T6"))
    u, labels = draws(metal)
    strength = metal.resistance(metal.values(u), labels)
    wall = modes_of(metal.scenario).index("tube wall shears between plies at the bond")
    assert np.isinf(strength.pull[wall]).all()


@pytest.mark.parametrize(
    ("key", "sign"),
    [
        ("plug.overlap", 1),
        ("plug.glued_share", 1),
        ("model.bond_factor", 1),
        ("plug.off_centre", -1),
    ],
)
def test_more_of_what_strengthens_never_weakens(make, key, sign):
    rods = rod_set(make())
    u, labels = draws(rods)
    mean = rods.variables[key].spread.mean
    before = rods.resistance(rods.values(u), labels).rig_pull
    after = rods.resistance(rods.values(u, {key: Change(shift=0.1 * mean)}), labels).rig_pull
    assert (sign * (after - before) >= -1e-9 * before).all()
    assert (after != before).any()


def test_halving_a_spread_keeps_the_mean_and_halves_the_deviation(make):
    rods = rod_set(make())
    u, _ = draws(rods, 4000)
    plain = rods.values(u)["plug.overlap"]
    halved = rods.values(u, {"plug.overlap": Change(squeeze=0.5)})["plug.overlap"]
    np.testing.assert_allclose(halved - 20.0, (plain - 20.0) / 2.0, atol=1e-12)


def test_chance_of_labels_follows_weights_and_bad_batches(make):
    rods = rod_set(make(lone="0.02", bad="0.3", rods=2, batch=2))
    u, labels = draws(rods, 5)
    assert rods.label_chance(0, u, labels) == pytest.approx(0.3)
    assert rods.label_chance(1, u, labels) == pytest.approx(0.02)
    labels[:, 0] = True
    share = rods.values(u)["weak_bonds.share_in_bad_batch"][0]
    assert rods.label_chance(1, u, labels) == pytest.approx(share)


def test_parts_that_do_not_go_together_are_told(make):
    rods = rod_set(make())
    u, labels = draws(rods, 2)
    u[0, rods.layout.columns["plug.diameter"]] = 12.0
    assert rods.resistance(rods.values(u), labels).assembles.tolist() == [False, True]


def test_chances_of_all_labels_are_those_of_each(make):
    rods = rod_set(make(lone="0.02", bad="0.3", rods=3, batch=2))
    u, labels = draws(rods, 50)
    labels[::2, : rods.layout.bad_batch_labels.stop] = True
    chance = rods.label_chances(u)
    for label in range(rods.layout.label_count):
        np.testing.assert_array_equal(chance(label, labels), rods.label_chance(label, u, labels))


def test_strength_and_rates_need_only_their_own_keys(make):
    rods = rod_set(make((("both", "900 N"),), lone="0.02", bad="0.3"))
    u, labels = draws(rods, 300)
    labels[:5] = True
    every, own = rods.values(u), rods.values(u, keys=rods.strength_keys)
    assert own.keys() == rods.strength_keys < every.keys()
    for with_rig in (True, False):
        full = rods.resistance(every, labels, with_rig=with_rig)
        lean = rods.resistance(own, labels, with_rig=with_rig)
        np.testing.assert_array_equal(lean.pull, full.pull)
        np.testing.assert_array_equal(lean.rig_pull, full.rig_pull)
        np.testing.assert_array_equal(rods.hazard(own, lean).total, rods.hazard(every, full).total)


def test_what_a_weak_joint_keeps_is_worked_out_where_it_is_read(make):
    rods = rod_set(make((("both", "900 N"),), lone="0.02", bad="0.3", rods=2))
    u, labels = draws(rods, 400)
    labels[::3] = True
    every, own = rods.values(u), rods.values(u, labels=labels)
    weak = rods.weak_joints(labels)
    np.testing.assert_array_equal(np.isnan(own["weak_bonds.keeps"]), ~weak)
    np.testing.assert_array_equal(own["weak_bonds.keeps"][weak], every["weak_bonds.keeps"][weak])
    for values in (every, own):
        strength = rods.resistance(values, labels)
        assert not np.isnan(strength.pull).any()
        np.testing.assert_array_equal(strength.pull, rods.resistance(every, labels).pull)


def test_rates_of_many_draws_are_those_of_each_part(make):
    """Draws are worked out some thousand at a time: no draw may be left out or moved."""
    rods = rod_set(make((("both", "900 N"), ("pull", "700 N"))))
    u, labels = draws(rods, 5000)
    strength = rods.resistance(rods.values(u), labels)
    whole = rods.hazard(rods.values(u), strength)
    for part in (slice(0, 700), slice(1900, 2200), slice(4990, 5000)):
        service = strength.slices[0]
        cut = replace(service, pull=service.pull[..., part], push=service.push[..., part])
        some = rods.hazard(rods.values(u[part]), replace(strength, slices=(cut,)))
        for name in ("total", "rod", "mode"):
            np.testing.assert_allclose(
                getattr(some, name), getattr(whole, name)[..., part], rtol=1e-12
            )
