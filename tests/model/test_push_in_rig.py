"""A rig that pushes: what bond, shoulder, strut and parts in line hold there."""

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.model.draws import placed
from jointrisk.model.members import END_BEARING, STRUT
from jointrisk.model.pulled import beside, rig_joint
from jointrisk.model.rodset import rod_set
from jointrisk.scenario.types import Proof, Rig

PUSHES = Proof(0.03, 0.03, None, 0.1, Rig(direction="push"))
PULLS = Proof(0.03, 0.03, None, 0.1, Rig())
LEVEL = {"strength_by_temperature": ((-100.0, 1.0), (200.0, 1.0)), "hard_stop_temperature": 200.0}
MISFIT = {"tube.expansion": 1e-6, "plug.expansion": 23.5e-6}
TOUGH = {"adhesive.toughness": 1e5}
YIELDS = 20.0 * 2 * np.pi * 6.5 * 20.0
"""Force of the tough joint: strength times area [N]."""
WALL_AREA = np.pi * (8.0**2 - 6.6**2)
INERTIA = np.pi / 4 * (8.0**4 - 6.6**4)
STRAIGHT = {"rods.bow": 0.0, "rods.load_offset": 0.0}
STUB = STRAIGHT | {"rods.length": 50.0}


@pytest.fixture(scope="module")
def oracle():
    """The independent solution of the overlap; test folders are no packages."""
    path = Path(__file__).parents[1] / "mechanics" / "oracle.py"
    spec = importlib.util.spec_from_file_location("overlap_oracle", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


# The bond --------------------------------------------------------------------------------------


@pytest.mark.parametrize("temperature", [-20.0, 60.0])
def test_the_rig_meets_the_bond_with_its_misfit_turned_round(joint, oracle, temperature):
    """(1 - 23.5) 1e-6 /K times what the bond is warmer than when it set, 20 degC."""
    values = STUB | MISFIT | {"service.workshop_temperature": temperature}
    found = joint(values, proof=PUSHES, **LEVEL)
    bars = {"R": 8.0, "rp": 6.4, "rb": 0.0, "t": 0.2, "L": 20.0, "Et": 70e3, "Ep": 70e3}
    bars |= {"G": 600.0, "tau": 20.0}
    compliance = oracle.Joint(**bars, slip=1.0).compliance
    slip = (0.4 + compliance * 20.0**2 / 2) / 20.0  # the area under the law is 0.4 N/mm
    strain = -22.5e-6 * (temperature - 20.0)
    push, pull = (
        oracle.pull_out(oracle.Joint(**bars, slip=slip, misfit=sign * strain))[0]
        for sign in (-1.0, 1.0)
    )
    assert abs(push - pull) > 0.05 * pull
    assert found.rig_joint[:, 0] == pytest.approx([push, push], rel=1e-4)
    assert found.in_rig[0, 0] == found.rig_push[0, 0] == pytest.approx(push, rel=1e-4)
    assert found.rig_pull[0, 0] == pytest.approx(pull, rel=1e-4)


def test_a_long_joint_is_pushed_by_the_energy_of_its_members(joint):
    plug, tube = 70_000.0 * np.pi * 6.4**2, 70_000.0 * WALL_AREA
    strain = math.sqrt(2 * 2 * np.pi * 6.5 * 0.4 * (1 / plug + 1 / tube))
    hot = MISFIT | {"plug.overlap": 280.0, "service.workshop_temperature": 60.0}
    found = joint(hot, proof=PUSHES, **LEVEL)
    wanted = min(plug * (strain + 9.0e-4), tube * (strain - 9.0e-4))  # signs of a pull turned
    assert found.rig_joint[0, 0] == pytest.approx(wanted, rel=1e-6)


def test_a_rig_that_pulls_meets_no_push(joint):
    values = MISFIT | {"service.workshop_temperature": 60.0}
    found = joint(values, proof=PULLS, **LEVEL)
    assert found.rig_push is None
    assert found.in_rig is found.rig_pull


def test_without_loads_that_push_the_rig_still_pushes(joint, alone):
    values = MISFIT | {"service.workshop_temperature": 60.0}
    found = joint(values, loads=(("pull", "900 N"),), proof=PUSHES, **LEVEL)
    assert found.push is None
    assert found.rig_joint[0, 0] == pytest.approx(alone(misfit_strain=9.0e-4), rel=1e-9)


# Members ---------------------------------------------------------------------------------------


def test_a_shoulder_takes_the_push_past_the_bond(joint):
    values = TOUGH | STUB | {"tube.compression_strength": 300.0}
    bare = joint(values, proof=PUSHES)
    held = joint(values, proof=PUSHES, shoulder=True)
    assert bare.in_rig[0, 0] == pytest.approx(YIELDS)
    assert held.in_rig[0, 0] == pytest.approx(300.0 * WALL_AREA)
    assert held.in_rig[0, 0] > bare.in_rig[0, 0]
    assert np.isinf(held.rig_joint).all()
    assert held.rig_pull[0, 0] == bare.rig_pull[0, 0]


@pytest.mark.parametrize("fixity", [1.0, 2.0])
def test_a_slender_rod_bends_away_in_the_rig(joint, fixity):
    values = TOUGH | STRAIGHT | {"rods.length": 1500.0}
    found = joint(values, proof=PUSHES, end_fixity=fixity)
    euler = np.pi**2 * 70_000.0 * INERTIA / (fixity * 1500.0) ** 2
    assert euler < YIELDS
    assert found.in_rig[0, 0] == pytest.approx(euler, rel=1e-9)
    assert found.rig_pull[0, 0] == pytest.approx(YIELDS)


def test_the_tube_is_crushed_not_torn_and_the_thread_strips_both_ways(joint):
    m8 = '[thread]\nsize = "M8"\nengagement = "9 mm"\n'
    torn = joint(TOUGH | STUB | {"tube.tension_strength": 20.0}, proof=PUSHES)
    assert torn.rig_pull[0, 0] == pytest.approx(20.0 * WALL_AREA)
    assert torn.in_rig[0, 0] == pytest.approx(YIELDS)
    crushed = TOUGH | STUB | {"tube.compression_strength": 20.0}
    assert joint(crushed, proof=PUSHES).in_rig[0, 0] == pytest.approx(20.0 * WALL_AREA)
    stripped = joint(TOUGH | STUB | {"plug.strength": 20.0}, proof=PUSHES, more=m8)
    per_mm = 0.6 * 0.9 * np.pi * 8.0 * (0.5 + 0.57735 * 0.649519)
    assert stripped.in_rig[0, 0] == pytest.approx(per_mm * 9.0 * 20.0, rel=1e-5)


@pytest.mark.parametrize(("in_rig", "wanted"), [("true", 2500.0), ("false", YIELDS)])
def test_the_rig_pushes_the_parts_that_stand_in_it(joint, in_rig, wanted):
    part = '[[part]]\nname = "clamp"\npull = "2 kN"\npush = "2.5 kN"\n'
    found = joint(TOUGH | STUB, proof=PUSHES, more=f"{part}in_rig = {in_rig}\n")
    assert found.in_rig[0, 0] == pytest.approx(wanted)


# The quick way of the pulls ----------------------------------------------------------------------


@pytest.mark.parametrize("shoulder", [False, True])
@pytest.mark.parametrize("loads", [(("pull", "900 N"),), (("both", "900 N"),)])
def test_what_stands_beside_the_bonds_in_the_rig_is_that_of_the_whole_model(make, shoulder, loads):
    scenario = make(loads, rods=2, humidity=0.8, hottest="45 degC")
    scenario = replace(scenario, shoulder=shoulder, proof=PUSHES)
    rods, n = rod_set(scenario), 64
    rng = np.random.default_rng(5)
    values = rods.values(rng.standard_normal((n, rods.layout.dimension)))
    values["service.workshop_temperature"] = values["service.workshop_temperature"] - 40.0
    labels = rng.random((n, rods.layout.label_count)) < 0.2
    strength = rods.resistance(values, labels)
    own = placed(values, rods.layout)
    other = beside(scenario, rods.layout, own, n, with_push=rods.push)
    ends = strength.rig_joint.reshape(2, 2, n).min(axis=1)
    np.testing.assert_allclose(np.minimum(other.rig, ends), strength.in_rig, rtol=1e-12)
    assert (other.push is None) == (not rods.push)
    assert set(other.reached) == ({STRUT, END_BEARING} if shoulder else {STRUT})
    weak, latent = rods.weak_joints(labels), rods.latent_joints(labels)
    new = rig_joint(scenario, rods.layout, own, weak, latent, years=0.0)
    np.testing.assert_allclose(new, strength.rig_joint, rtol=1e-12)


def test_a_push_of_a_bond_is_a_pull_where_nothing_tells_them_apart(make, hold):
    """No misfit, no shoulder, and members far off: the bond alone, the same to the last bit."""
    scenario = make((("both", "900 N"),), tube="aluminium 6082-T6", hottest="40 degC")
    far = {"tube.tension_strength": 1e6, "tube.compression_strength": 1e6, "rods.length": 30.0}
    held = hold(scenario, far).variables
    plain = replace(scenario, variables=scenario.variables | {key: held[key] for key in far})
    pulls, pushes = (rod_set(replace(plain, proof=proof)) for proof in (PULLS, PUSHES))

    @settings(max_examples=25, deadline=None)
    @given(st.integers(0, 2**31), st.floats(0.1, 2.0))
    def held_to_the_last_bit(seed, wide):
        rng = np.random.default_rng(seed)
        u = wide * rng.standard_normal((30, pulls.layout.dimension))
        labels = rng.random((30, pulls.layout.label_count)) < 0.3
        pulled, pushed = (rods.resistance(rods.values(u), labels) for rods in (pulls, pushes))
        np.testing.assert_array_equal(pushed.rig_joint, pulled.rig_joint)
        np.testing.assert_array_equal(pushed.in_rig, pulled.in_rig)
        np.testing.assert_array_equal(pushed.pull, pulled.pull)

    held_to_the_last_bit()
