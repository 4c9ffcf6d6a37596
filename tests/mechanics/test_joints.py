"""Joints by kind: each way to fail is that of its own function, and the least one is named."""

import math

import numpy as np
import pytest

from jointrisk.errors import InputError
from jointrisk.mechanics import flat, joints, lap, members, sleeve, tubular
from jointrisk.mechanics.joints import TEARS, YIELDS

LAYER = {
    "width": 25.0,
    "overlap": 12.5,
    "adhesive_thickness": 0.2,
    "adhesive_shear_modulus": 700.0,
    "adhesive_shear_strength": 25.0,
    "mode_ii_toughness": 3.0,
}


def test_a_tough_plug_yields_and_a_brittle_one_tears(joint):
    tough = joints.plug_in_tube(**joint, mode_ii_toughness=50.0)
    assert tough.weakest == YIELDS
    assert tough[TEARS] == math.inf
    assert tough.force == tough[YIELDS] == pytest.approx(25 * 2 * math.pi * 6.9 * 30)
    brittle = joints.plug_in_tube(**joint, mode_ii_toughness=0.3)
    assert brittle.weakest == TEARS
    assert brittle.force == tubular.pull_out(**joint, mode_ii_toughness=0.3).force
    assert brittle.force < brittle[YIELDS]


def test_members_stand_beside_the_bond(joint):
    found = joints.plug_in_tube(
        **joint, mode_ii_toughness=3.0, tube_strength=100.0, plug_strength=300.0
    )
    assert list(found) == [YIELDS, TEARS, "tube breaks", "plug breaks"]
    assert found["tube breaks"] == pytest.approx(100 * math.pi * (8**2 - 7**2))
    assert found["plug breaks"] == pytest.approx(300 * math.pi * (6.8**2 - 3.4**2))
    assert found.weakest == "tube breaks"


def test_a_push_turns_the_misfit(joint):
    hot = {**joint, "mode_ii_toughness": 1.0, "misfit_strain": 8e-4}
    cold = {**hot, "misfit_strain": -8e-4}
    pushed = joints.plug_in_tube(**hot, push=True)
    assert pushed.force == joints.plug_in_tube(**cold).force != joints.plug_in_tube(**hot).force


def test_a_shoulder_takes_a_push_but_no_pull(joint):
    case = {**joint, "mode_ii_toughness": 3.0, "tube_strength": 450.0, "shoulder_radius": 7.6}
    pushed = joints.plug_in_tube(**case, push=True)
    assert YIELDS not in pushed
    assert pushed.weakest == "tube end crushes under the shoulder"
    assert pushed.force == members.tube_end_bearing(8.0, 7.0, 450.0, 7.6)
    assert YIELDS in joints.plug_in_tube(**case)
    with pytest.raises(InputError, match="tube_strength"):
        joints.plug_in_tube(**{**case, "tube_strength": None}, push=True)


def test_a_sleeve_is_that_of_its_own_function():
    case = {
        "sleeve_outer_radius": 10.0, "tube_outer_radius": 8.0, "tube_bore_radius": 7.0,
        "gap": 0.2, "overlap": 40.0, "sleeve_modulus": 7e4, "tube_modulus": 1e5,
        "adhesive_shear_modulus": 700.0, "adhesive_shear_strength": 25.0,
        "mode_ii_toughness": 1.0, "misfit_strain": 2e-4,
    }  # fmt: skip
    found = joints.sleeve_over_tube(**case, tube_strength=700.0, sleeve_strength=260.0)
    assert found[TEARS] == sleeve.pull_off(**case).force
    assert found["tube breaks"] == pytest.approx(700 * math.pi * (8**2 - 7**2))
    assert found["sleeve breaks"] == pytest.approx(260 * math.pi * (10**2 - 8.2**2))
    case["misfit_strain"] = -2e-4
    assert joints.sleeve_over_tube(**case, push=True)[TEARS] == found[TEARS]


def test_strips_of_a_coupon_yield_before_a_good_bond():
    found = joints.single_lap(thickness=1.6, modulus=7e4, yield_strength=270.0, **LAYER)
    assert found.weakest == "strips yield"
    shear = found.force / (25 * 12.5)
    assert shear == pytest.approx(lap.first_strip_yield(12.5, 1.6, 7e4, 0.3, 270.0))
    assert "strips yield" not in joints.single_lap(thickness=1.6, modulus=7e4, **LAYER)


def test_a_double_lap_is_two_faces_with_half_of_the_middle_strip_each():
    long = {**LAYER, "overlap": 200.0}
    found = joints.double_lap(
        inner_thickness=4.0, outer_thickness=1.5, inner_modulus=7e4, outer_modulus=2.1e5,
        inner_yield=260.0, outer_yield=355.0, **long,
    )  # fmt: skip
    face = flat.pull_apart(thickness_1=2.0, thickness_2=1.5, modulus_1=7e4, modulus_2=2.1e5, **long)
    assert found[TEARS] == 2 * face.force
    assert found[YIELDS] == pytest.approx(2 * 25 * 200 * 25.0)
    assert found["inner strip yields"] == 260.0 * 4 * 25
    assert found["outer strips yield"] == 355.0 * 3 * 25
    assert found.weakest == "inner strip yields"


def test_the_energy_of_a_balanced_double_lap():
    """Crack runs along both faces at once: F^2/(2 w) (1/S_outer - 1/S_whole) = 2 W w, hand-made.

    Outer strips together as stiff as the inner one (S each): behind the crack F is in the inner
    strip (compliance 1/S), before it in all (1/(2 S)).
    """
    work, w, S = 3.0, 25.0, 7e4 * 4.0  # S per width
    found = joints.double_lap(
        inner_thickness=4.0, outer_thickness=2.0, inner_modulus=7e4, outer_modulus=7e4,
        **{**LAYER, "overlap": 400.0},
    )  # fmt: skip
    per_width = math.sqrt(2 * 2 * work / (1 / S - 1 / (2 * S)))
    assert found.force == pytest.approx(per_width * w, rel=1e-6)


def test_capacities_are_a_mapping_of_one_shape():
    found = joints.single_lap(thickness=[1.6, 12.0], modulus=7e4, yield_strength=270.0, **LAYER)
    assert dict(found).keys() == {YIELDS, TEARS, "strips yield"}
    assert len(found) == 3
    assert {force.shape for force in found.values()} == {(2,)}
    assert found.weakest.tolist() == ["strips yield", YIELDS]
    assert np.array_equal(found.force, [found["strips yield"][0], found[YIELDS][1]])
    assert "strips yield" in repr(found)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: joints.Capacities({}), "no way to fail"),
        (lambda: joints.Capacities({"a": [1.0, 2.0], "b": [1.0, 2.0, 3.0]}), r"a \(2,\), b \(3,\)"),
        (lambda: joints.single_lap(thickness=-1.0, modulus=7e4, **LAYER), r"thickness_1 .* got -1"),
        (lambda: joints.single_lap(thickness=1.0, modulus=7e4, yield_strength=0.0, **LAYER),
         r"yield_strength .* got 0"),
        (lambda: joints.double_lap(inner_thickness=4.0, outer_thickness=2.0, inner_modulus=7e4,
                                   outer_modulus=7e4, outer_yield=-5.0, **LAYER),
         r"outer_yield .* got -5"),
    ],
)  # fmt: skip
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
