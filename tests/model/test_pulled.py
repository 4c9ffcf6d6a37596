"""Damage by a pull, and the quick way to what is left in service, against the whole model."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.model.draws import placed
from jointrisk.model.pulled import beside, rig_joint, share_kept, time_undoes, weakened
from jointrisk.model.rodset import rod_set
from jointrisk.model.wear import Bearing

BOTH = (("both", "900 N"),)
SHARE = st.floats(0.0, 1.0)


def one(value):
    return np.array([[value]])


@pytest.mark.parametrize(
    ("ratio", "begins", "most", "kept"),
    [
        (0.5, 0.6, 0.4, 1.0),
        (0.6, 0.6, 0.4, 1.0),
        (0.8, 0.6, 0.4, 0.8),  # half the way from 0.6 to 1: half of 0.4 is gone
        (1.0, 0.6, 0.4, 0.6),
        (1.3, 0.6, 0.4, 0.6),  # never more than the most
        (0.9, 0.0, 0.5, 0.55),
        (0.99, 1.0, 0.5, 1.0),
        (5.0, 2.0, 1.0, 1.0),
        (1.0, 0.7, 1.0, 0.0),
    ],
)
def test_share_kept_by_hand(ratio, begins, most, kept):
    found = share_kept(one(ratio * 4000.0), one(4000.0), one(begins), one(most))
    assert found.item() == pytest.approx(kept)


def test_a_joint_that_holds_nothing_is_hurt_by_any_pull():
    assert share_kept(one(1.0), one(0.0), one(0.7), one(0.3)).item() == pytest.approx(0.7)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1e5), st.floats(1.0, 1e5), SHARE, SHARE, st.floats(1.0, 2.0))
def test_a_harder_pull_takes_no_less_and_a_stronger_joint_keeps_more(load, strength, a, d, factor):
    kept = share_kept(one(load), one(strength), one(a), one(d)).item()
    assert 1.0 - d - 1e-12 <= kept <= 1.0
    assert share_kept(one(factor * load), one(strength), one(a), one(d)).item() <= kept + 1e-12
    stronger = share_kept(one(load), one(factor * strength), one(a), one(d)).item()
    assert stronger >= kept - 1e-12
    # what is left rises with the strength: the weaker joint of a rod stays the weaker one
    assert factor * stronger >= kept - 1e-12


def drawn(rods, n=64, seed=5):
    rng = np.random.default_rng(seed)
    u = rng.standard_normal((n, rods.layout.dimension))
    labels = rng.random((n, rods.layout.label_count)) < 0.2
    values = rods.values(u)
    return values, labels, rods.resistance(values, labels)


CYCLES = """
[[load]]
name = "hum"
kind = "cycles"
size = { mean = "700 N", cov = 0.1 }
mean = { mean = "300 N", sd = "50 N" }
rate = "100000 /year"
"""
STEADY = """
[[load]]
name = "weight"
kind = "sustained"
size = { mean = "400 N", sd = "30 N" }
"""
BACKUP = """
[backup]
kind = "cross pin"
diameter = "3 mm"
shear_strength = "1 GPa"
end_distance = "8 mm"
tube_bearing_strength = "300 MPa"
insert_bearing_strength = "200 MPa"
tube_shear_strength = "100 MPa"
insert_shear_strength = "100 MPa"
"""


@pytest.mark.parametrize(
    "more",
    ["", CYCLES, STEADY, CYCLES + STEADY, BACKUP, CYCLES + BACKUP, "[rods.shoulder]"],
    ids=lambda more: more[:16],
)
@pytest.mark.parametrize("loads", [(("pull", "900 N"),), BOTH])
@pytest.mark.parametrize("words", [{}, {"hottest": "55 degC", "coldest": "-20 degC"}])
def test_unhurt_service_is_that_of_the_whole_model(make, more, loads, words):
    shoulder = more == "[rods.shoulder]"
    scenario = make(loads, more="" if shoulder else more, rods=2, humidity=0.8, **words)
    scenario = replace(scenario, slices=3, shoulder=shoulder)
    rods = rod_set(scenario)
    values, labels, strength = drawn(rods)
    own, n = placed(values, rods.layout), labels.shape[0]
    other = beside(scenario, rods.layout, own, n, with_push=rods.push)
    ones = np.ones((rods.layout.joints, n))
    found = weakened(scenario, rods.layout, own, strength.bearings, other, ones)
    for (pull, push), service in zip(found, strength.slices, strict=True):
        assert pull[0] == pytest.approx(service.pull.min(axis=0))
        if service.push is None:
            assert push is None
        else:
            assert push[0] == pytest.approx(service.push.min(axis=0))
    assert np.minimum(other.rig, strength.rig_joint.reshape(2, 2, n).min(axis=1)) == pytest.approx(
        strength.rig_pull
    )
    timed = bool(scenario.cycles) or scenario.steady_fails
    assert time_undoes(scenario) == ((0,) if timed else ())


def test_half_of_each_bond_is_half_the_rod_where_bonds_govern(round_set):
    rods = round_set(loads=(("pull", "900 N"),))
    values, _, strength = drawn(rods, n=8)
    own = placed(values, rods.layout)
    other = beside(rods.scenario, rods.layout, own, 8, with_push=rods.push)
    half = np.full((2, 8), 0.5)
    ((pull, _),) = weakened(rods.scenario, rods.layout, own, strength.bearings, other, half)
    assert pull[0] == pytest.approx(0.5 * strength.pull_rod)


def test_cycles_wear_from_the_lowered_strength(make):
    """What cycles leave of a hurt bond is less than its share of what they leave of a sound one."""
    rods = rod_set(make((("pull", "900 N"),), more=CYCLES))
    values, _, strength = drawn(rods, n=400)
    own = placed(values, rods.layout)
    other = beside(rods.scenario, rods.layout, own, 400, with_push=rods.push)
    sound, hurt = (
        weakened(
            rods.scenario, rods.layout, own, strength.bearings, other, np.full((2, 400), share)
        )[-1][0]
        for share in (1.0, 0.6)
    )
    assert np.all(hurt <= 0.6 * sound + 1e-9)
    assert np.any(hurt < 0.59 * sound)


def test_the_rig_when_new_is_that_of_the_whole_model_and_damp_lowers_it(make):
    rods = rod_set(make(rods=2, humidity=0.9))
    values, labels, strength = drawn(rods)
    own = placed(values, rods.layout)
    weak, latent = rods.weak_joints(labels), rods.latent_joints(labels)
    new, later = (
        rig_joint(rods.scenario, rods.layout, own, weak, latent, years=years)
        for years in (0.0, 2.0)
    )
    assert new == pytest.approx(strength.rig_joint)
    assert np.mean(later < new) > 0.9
    assert np.all(later[latent] < new[latent])


def test_some_rows_of_what_stands_beside(round_set):
    rods = round_set(rods=2)
    values, _, strength = drawn(rods, n=16)
    other = beside(rods.scenario, rods.layout, placed(values, rods.layout), 16, with_push=True)
    some = other.rows(np.array([3, 7]))
    assert some.pull == pytest.approx(other.pull[:, [3, 7]])
    assert some.push == pytest.approx(other.push[:, [3, 7]])
    assert some.reached == {}
    assert Bearing(strength.bearings[0].pull, None, 1.0).lowest is strength.bearings[0].pull
