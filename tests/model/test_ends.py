"""Two ends that differ, and values drawn for whole rods or batches."""

import dataclasses

import numpy as np
import pytest

import jointrisk
from jointrisk import reliability
from jointrisk.mechanics import members, tubular
from jointrisk.model import limit_state
from jointrisk.model.draws import placed
from jointrisk.model.rodset import rod_set

SHORT = '{ mean = "12 mm", sd = "0.3 mm" }'
LONG = '{ mean = "28 mm", sd = "0.9 mm" }'


def second(**keys):
    return "[second_plug]\n" + "\n".join(f"{key} = {value}" for key, value in keys.items())


def draws(rods, n=300, seed=3):
    rng = np.random.default_rng(seed)
    u = rng.standard_normal((n, rods.layout.dimension))
    return u, np.zeros((n, rods.layout.label_count), dtype=bool)


def test_each_end_has_its_own_draws_and_its_own_force(make):
    scenario = make(more=second(overlap=LONG), rods=2)
    rods = rod_set(scenario)
    assert rods.layout.scopes["plug.overlap"] == "first end"
    assert rods.layout.scopes["second_plug.overlap"] == "second end"
    u, labels = draws(rods)
    values = rods.values(u)
    overlap = placed(values, rods.layout)["plug.overlap"]
    np.testing.assert_array_equal(overlap[[0, 2]], values["plug.overlap"])
    np.testing.assert_array_equal(overlap[[1, 3]], values["second_plug.overlap"])
    force = rods.resistance(values, labels).rig_joint
    assert (np.median(force[1::2], axis=1) > 1.1 * np.median(force[::2], axis=1)).all()


def test_the_second_end_holds_what_the_joint_alone_would_hold(make):
    """Against the mechanics of one joint, called with that end's own sizes."""
    plug = second(
        diameter='"12.7 mm"',
        overlap='"24 mm"',
        glued_share="1.0",
        off_centre="0.0",
        material='"steel S355"',
        bore='"4 mm"',
    )
    scenario = make(more=plug, tube="aluminium 6082-T6", hottest="30 degC", coldest="23 degC")
    rods = rod_set(scenario)
    u, labels = draws(rods, n=50)
    values = rods.values(u)
    got = rods.resistance(values, labels).rig_joint[1]
    share = np.minimum(values["preparation.plug"], values["preparation.tube"])[1]
    share = np.minimum(share, 1.0)
    gap = (values["tube.bore"][1] - 12.7) / 2.0
    factor = np.interp(gap, *np.array(scenario.gap_factor_points).T)
    strength = (
        values["adhesive.shear_strength"][1]
        * values["batch.bond_factor"][0]
        * values["evidence.factor"][0]
        * factor ** values["model.gap_factor_exponent"][0]
    )
    toughness = values["adhesive.toughness"][1] * values["adhesive.toughness_range"][0]
    alone = tubular.pull_out(
        tube_outer_radius=8.0,
        plug_radius=6.35,
        plug_bore_radius=2.0,
        gap=gap,
        overlap=24.0,
        tube_modulus=values["tube.modulus"][0],
        plug_modulus=210_000.0,
        adhesive_shear_modulus=values["adhesive.shear_modulus"][0],
        adhesive_shear_strength=strength * share,
        mode_ii_toughness=toughness * share ** values["model.toughness_exponent"][0],
    )
    np.testing.assert_allclose(got, alone.force * values["model.bond_factor"][0], rtol=1e-9)


def test_the_thread_of_each_end_strips_on_its_own(make):
    thread = '[thread]\nsize = "M6"\nengagement = "12 mm"\n'
    other = '[second_thread]\nsize = "M5"\nengagement = "3 mm"\n'
    scenario = make(more=thread + other)
    rods = rod_set(scenario)
    u, _ = draws(rods, n=40)
    values = rods.values(u)
    got = rods.member_resistance(values, 40, push=False)["thread strips"][0]
    strength = values["plug.strength"]
    first = members.thread_strip(6.0, 1.0, 12.0, strength[0])
    weak = members.thread_strip(5.0, 0.8, 3.0, strength[1])
    np.testing.assert_allclose(got, np.minimum(first, weak), rtol=1e-12)
    assert scenario.variables["second_plug.bore"].spread.mean == pytest.approx(4.2)


def estimate(scenario, seed=5):
    answer = jointrisk.assess(scenario, seed=seed).failure_probability
    return answer.estimate, (answer.high - answer.low) / 3.92


def agree(one, other, errors=3.5):
    gap = abs(one[0] - other[0])
    return gap <= errors * np.hypot(one[1], other[1])


def test_saying_the_same_of_both_ends_changes_nothing(make):
    same = '{ mean = "20 mm", sd = "0.5 mm" }'
    assert agree(estimate(make()), estimate(make(more=second(overlap=same)), seed=6))


def test_a_rod_turned_round_is_as_likely_to_fail(make):
    def rod(first, other):
        text = make(more=second(overlap=other))
        size = jointrisk.load_text(
            f'schema = 1\n[rods]\nlength = "1 m"\n[tube]\nmaterial = "carbon tube, roll-wrapped"\n'
            f'outer_diameter = "16 mm"\nbore = "13 mm"\n[plug]\nmaterial = "aluminium 6082-T6"\n'
            f'diameter = "12.6 mm"\noverlap = {first}\n[adhesive]\nclass = "don\'t know"\n'
        ).variables["plug.overlap"]
        return dataclasses.replace(text, variables=dict(text.variables) | {"plug.overlap": size})

    there, back = estimate(rod(SHORT, LONG)), estimate(rod(LONG, SHORT), seed=6)
    assert agree(there, back)
    both_short = estimate(rod(SHORT, SHORT), seed=7)
    assert both_short[0] > 1.2 * there[0]


def test_plain_counting_agrees(make):
    """The same set as one limit state, all loads drawn, by the general estimator."""
    loads = (("pull", "1500 N"),)
    plug = second(overlap=SHORT, diameter='{ mean = "12.5 mm", sd = "0.03 mm" }')
    scenario = make(loads, more=plug, lone="0.02", bad="0")
    found = limit_state(scenario)
    counted = reliability.estimate(
        found.function,
        found.variables,
        correlation=found.correlation,
        method="crude",
        target_cov=0.05,
        seed=4,
    )
    spread = (counted.interval[1] - counted.interval[0]) / 3.92
    assert agree((counted.probability, spread), estimate(scenario))


@pytest.mark.parametrize("scope", ["rod", "batch", "all"])
def test_a_value_drawn_for_the_rod_or_batch_serves_all_its_joints(make, scope):
    scenario = make(rods=3, batch=2)
    overlap = dataclasses.replace(scenario.variables["plug.overlap"], scope=scope)
    variables = dict(scenario.variables) | {"plug.overlap": overlap}
    rods = rod_set(dataclasses.replace(scenario, variables=variables))
    u, labels = draws(rods, n=60)
    values = rods.values(u)
    laid = np.broadcast_to(placed(values, rods.layout)["plug.overlap"], (6, 60))
    np.testing.assert_array_equal(laid[::2], laid[1::2])
    alike = np.array_equal(laid[0], laid[2]), np.array_equal(laid[0], laid[4])
    assert alike == {"rod": (False, False), "batch": (True, False), "all": (True, True)}[scope]
    assert np.isfinite(rods.resistance(values, labels).rig_joint).all()


def test_a_tube_value_drawn_for_the_batch_serves_its_rods(make):
    scenario = make(rods=3, batch=2)
    modulus = dataclasses.replace(scenario.variables["tube.modulus"], scope="batch")
    variables = dict(scenario.variables) | {"tube.modulus": modulus}
    rods = rod_set(dataclasses.replace(scenario, variables=variables))
    u, labels = draws(rods, n=60)
    values = rods.values(u)
    laid = placed(values, rods.layout)["tube.modulus"]
    np.testing.assert_array_equal(laid, values["tube.modulus"][[0, 0, 1]])
    assert np.isfinite(rods.resistance(values, labels).rig_joint).all()
