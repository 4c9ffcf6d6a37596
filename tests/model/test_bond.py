"""Each rule that turns drawn values into the force of one joint, one at a time.

Two joints have a force that plain arithmetic gives: one so tough that its whole overlap yields
(strength times area), and one so long that only the energy spent at its end counts.
"""

import numpy as np
import pytest

from jointrisk.model.bond import BOND_MODES, LARGEST_GAP_SHARE, SMALLEST_GAP

COHESION, INSERT, TUBE = range(3)
LABORATORY = ("class default", "data sheet")
OWN = ("own coupons", "own pulls")
TOUGH = {"adhesive.toughness": 1e5}
LONG = {"plug.overlap": 280.0}
STRAIN = {"evidence": 'own coupons"\nfailure_strain = "1'}
LAYER = np.log(6.6 / 6.4) * 6.5  # thickness of the layer as the shear flow sees it [mm]


def yields(strength=20.0, gap=0.2, overlap=20.0):
    """Force of an overlap that yields everywhere: strength times its area at mid-gap [N]."""
    return strength * 2 * np.pi * (6.4 + gap / 2) * overlap


def energy(toughness=0.4):
    """Force at which a very long overlap lets go, from the energy of its members [N].

    The member that the force leaves gives back what the layer spends.
    """
    plug = 70_000.0 * np.pi * 6.4**2
    tube = 70_000.0 * np.pi * (8.0**2 - 6.6**2)
    around = 2 * np.pi * 6.5
    strain = np.sqrt(2 * around * toughness * (1 / plug + 1 / tube))
    return min(plug, tube) * strain


def mode_of(strength, rod=0):
    """Which of the bond's modes acts in a pull, as places in the list."""
    return np.flatnonzero(np.isfinite(strength.pull[: len(BOND_MODES), rod, 0])).tolist()


# --- the plain joint -----------------------------------------------------------------------


def test_the_plain_joint_is_that_of_the_mechanics(joint, alone):
    strength = joint()
    np.testing.assert_allclose(strength.rig_joint, alone(), rtol=1e-12)
    assert strength.rig_joint.shape == (2, 1)
    assert strength.toughness_governs.all()
    assert not strength.bounded.any()


def test_a_tough_joint_holds_its_strength_times_its_area(joint):
    strength = joint(TOUGH)
    # 20 MPa on a circumference of 2 pi 6.5 mm, 20 mm long
    assert strength.rig_joint[0, 0] == pytest.approx(16_336.28, abs=0.01)
    assert not strength.toughness_governs.any()


def test_a_long_joint_holds_what_its_toughness_pays_for(joint):
    strength = joint(LONG, words={"plug": "steel S355"})
    assert strength.rig_joint[0, 0] == pytest.approx(energy(), rel=1e-9)
    assert strength.toughness_governs.all()


# --- what multiplies the strength ----------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "factor"),
    [
        ("adhesive.shear_strength", 14.0, 0.7),
        ("adhesive.shear_strength_range", 1.3, 1.3),
        ("batch.bond_factor", 0.9, 0.9),
        ("model.bond_factor", 0.7, 0.7),
        ("plug.glued_share", 0.8, 0.8),
        ("plug.overlap", 15.0, 0.75),
        ("evidence.factor", 0.6, 0.6),
        ("evidence.factor", 1.5, 1.5),
        ("preparation.plug", 0.6, 0.6),
        ("preparation.tube", 0.5, 0.5),
        ("preparation.plug", 1.4, 1.0),
        ("weak_bonds.keeps", 0.1, 1.0),
        ("model.toughness_exponent", 3.0, 1.0),
        ("plug.off_centre", 0.7, 1.0),
    ],
)
def test_the_force_of_a_tough_joint_goes_with(joint, key, value, factor):
    force = joint(TOUGH | {key: value}).rig_joint
    np.testing.assert_allclose(force, factor * yields(), rtol=1e-9)


def test_factors_multiply(joint):
    values = {
        "batch.bond_factor": 0.9,
        "evidence.factor": 1.2,
        "preparation.tube": 0.8,
        "plug.glued_share": 0.75,
        "model.bond_factor": 1.1,
    }
    force = joint(TOUGH | values).rig_joint
    np.testing.assert_allclose(force, 0.9 * 1.2 * 0.8 * 0.75 * 1.1 * yields(), rtol=1e-9)


@pytest.mark.parametrize(
    ("plug", "tube", "share", "mode"),
    [
        (0.6, 0.8, 0.6, INSERT),
        (0.8, 0.6, 0.6, TUBE),
        (0.7, 0.7, 0.7, INSERT),
        (1.0, 1.0, 1.0, COHESION),
        (1.5, 0.9, 0.9, TUBE),
        (1.5, 1.2, 1.0, COHESION),
    ],
)
def test_the_weaker_surface_governs_and_is_named(joint, plug, tube, share, mode):
    strength = joint(TOUGH | {"preparation.plug": plug, "preparation.tube": tube})
    np.testing.assert_allclose(strength.rig_joint, share * yields(), rtol=1e-9)
    assert mode_of(strength) == [mode]


@pytest.mark.parametrize("evidence", LABORATORY + OWN)
@pytest.mark.parametrize(
    ("factor", "surface", "laboratory", "own"),
    [
        (0.6, 1.0, 0.6, 0.6),
        (0.6, 1.5, 0.9, 0.6),  # laboratory: both act on the interface, own: a gain is not counted
        (0.6, 2.0, 1.0, 0.6),
        (1.5, 1.0, 1.0, 1.5),
        (1.5, 0.5, 0.75, 0.75),
        (1.25, 0.8, 1.0, 1.0),
    ],
)
def test_evidence_acts_on_the_interface_or_on_the_whole_bond(
    joint, evidence, factor, surface, laboratory, own
):
    values = {"evidence.factor": factor, "preparation.plug": surface, "preparation.tube": surface}
    strength = joint(TOUGH | values, words={"evidence": evidence})
    wanted = own if evidence in OWN else laboratory
    np.testing.assert_allclose(strength.rig_joint, wanted * yields(), rtol=1e-9)
    low = surface if evidence in OWN else surface * factor
    assert mode_of(strength) == [INSERT if low < 1.0 else COHESION]


@pytest.mark.parametrize(
    ("surface", "evidence", "factor", "wanted"),
    [
        (1.0, "own coupons", 1.0, 0.3),
        (0.5, "own coupons", 1.0, 0.15),
        (0.5, "own coupons", 1.4, 0.21),
        (2.0, "own coupons", 1.0, 0.6),
        (0.5, "data sheet", 0.6, 0.09),
        (2.0, "data sheet", 0.6, 0.36),
    ],
)
def test_a_weak_joint_keeps_its_part_of_the_interface(joint, surface, evidence, factor, wanted):
    values = {
        "preparation.plug": surface,
        "preparation.tube": surface,
        "evidence.factor": factor,
    }
    strength = joint(TOUGH | values, weak=[1], words={"evidence": evidence})
    assert strength.rig_joint[1, 0] == pytest.approx(wanted * yields(), rel=1e-9)
    assert strength.weak[:, 0].tolist() == [False, True]
    assert strength.rig_joint[0, 0] > strength.rig_joint[1, 0]
    assert INSERT in mode_of(strength)


@pytest.mark.parametrize(
    ("bore", "factor"),
    [
        (12.88, 0.5 + 0.4 * 0.04 / 0.05),  # gap 0.04 mm, between 0 (0.5) and 0.05 mm (0.9)
        (13.2, 1.0),
        (13.55, 0.925),  # gap 0.375 mm, half-way between 0.25 (1) and 0.5 mm (0.85)
        (14.8, 0.75),
        (15.2, 0.75),
    ],
)
@pytest.mark.parametrize("exponent", [0.0, 1.0, 2.0])
def test_the_gap_factor_takes_its_exponent(joint, bore, factor, exponent):
    points = ((0.0, 0.5), (0.05, 0.9), (0.1, 1.0), (0.25, 1.0), (0.5, 0.85), (1.0, 0.75))
    values = TOUGH | {"tube.bore": bore, "model.gap_factor_exponent": exponent}
    force = joint(values, gap_factor_points=points).rig_joint
    wanted = factor**exponent * yields(gap=(bore - 12.8) / 2)
    np.testing.assert_allclose(force, wanted, rtol=1e-9)


# --- sizes as drawn and as drawn on paper --------------------------------------------------


def test_the_gap_is_that_of_the_drawn_parts_on_the_nominal_plug(joint, alone):
    strength = joint(drawn={"plug.diameter": [12.7, 12.9], "tube.bore": [13.1, 13.3]})
    np.testing.assert_allclose(strength.rig_joint, alone(), rtol=1e-12)  # both gaps are 0.2 mm
    wide = joint(drawn={"plug.diameter": 12.6})
    np.testing.assert_allclose(
        wide.rig_joint, alone(gap=0.3, adhesive_shear_strength=20.0 * 0.97), rtol=1e-12
    )


def test_parts_that_do_not_go_together_count_as_a_gap_of_almost_nothing(joint, alone):
    strength = joint(drawn={"plug.diameter": [13.2, 12.8]})
    assert strength.assembles.tolist() == [False]
    factor = 0.5 + 0.4 * SMALLEST_GAP / 0.05
    held = alone(gap=SMALLEST_GAP, adhesive_shear_strength=20.0 * factor)
    np.testing.assert_allclose(strength.rig_joint[:, 0], [held, alone()], rtol=1e-12)


def test_a_gap_never_eats_the_whole_wall(joint, alone):
    strength = joint(drawn={"plug.diameter": 9.0})
    held = alone(gap=LARGEST_GAP_SHARE * (8.0 - 6.4), adhesive_shear_strength=20.0 * 0.75)
    np.testing.assert_allclose(strength.rig_joint, held, rtol=1e-12)
    assert strength.assembles.all()


def test_a_thinner_tube_is_softer(joint, alone):
    np.testing.assert_allclose(
        joint({"tube.outer_diameter": 15.0}).rig_joint,
        alone(tube_outer_radius=7.5),
        rtol=1e-12,
    )


def test_stiffness_is_that_of_the_own_rod_and_plug(joint, alone):
    strength = joint(
        words={"rods": 2},
        drawn={"tube.modulus": [60e3, 90e3], "plug.modulus": [70e3, 100e3, 120e3, 200e3]},
    )
    wanted = [
        alone(tube_modulus=tube, plug_modulus=plug)
        for tube, plug in [(60e3, 70e3), (60e3, 100e3), (90e3, 120e3), (90e3, 200e3)]
    ]
    np.testing.assert_allclose(strength.rig_joint[:, 0], wanted, rtol=1e-12)
    bored = joint({"plug.bore": 8.0}).rig_joint
    np.testing.assert_allclose(bored, alone(plug_bore_radius=4.0), rtol=1e-12)


def test_no_overlap_left_still_has_a_force(joint):
    force = joint(TOUGH, drawn={"plug.overlap": -1.0}).rig_joint
    np.testing.assert_allclose(force, yields(overlap=SMALLEST_GAP), rtol=1e-9)


# --- toughness -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "toughness"),
    [
        ({"adhesive.toughness": 1.2}, 1.2),
        ({"adhesive.toughness_range": 0.25}, 0.1),
        ({"adhesive.toughness_range": 2.0}, 0.8),
        ({"preparation.plug": 0.6}, 0.4 * 0.6**2),
        ({"preparation.plug": 0.6, "model.toughness_exponent": 1.0}, 0.4 * 0.6),
        ({"preparation.plug": 0.6, "model.toughness_exponent": 3.0}, 0.4 * 0.6**3),
        ({"preparation.plug": 1.7, "preparation.tube": 1.7}, 0.4),
        ({"evidence.factor": 0.6}, 0.4),
        ({"batch.bond_factor": 0.6}, 0.4),
        ({"adhesive.shear_modulus": 400.0}, 0.4),
    ],
)
def test_the_energy_that_a_long_joint_spends(joint, values, toughness):
    force = joint(LONG | values).rig_joint
    np.testing.assert_allclose(force, energy(toughness), rtol=1e-6)


@pytest.mark.parametrize("evidence", LABORATORY)
def test_laboratory_evidence_lowers_the_toughness_of_the_interface(joint, evidence):
    force = joint(LONG | {"evidence.factor": 0.6}, words={"evidence": evidence}).rig_joint
    np.testing.assert_allclose(force, energy(0.4 * 0.6**2), rtol=1e-6)


def test_a_weak_joint_keeps_the_power_of_its_share_of_toughness(joint):
    strength = joint(LONG | {"model.toughness_exponent": 1.5}, weak=[0])
    # the weak joint spends its energy over a longer way and feels the end of the overlap
    wanted = [energy(0.4 * 0.3**1.5), energy()]
    np.testing.assert_allclose(strength.rig_joint[:, 0], wanted, rtol=1e-6)


@pytest.mark.parametrize(
    ("values", "strength"),
    [({}, 20.0), ({"evidence.factor": 1.3}, 26.0), ({"batch.bond_factor": 0.8}, 16.0)],
)
@pytest.mark.parametrize("strain", [0.01, 0.03, 0.05, 0.5])
def test_a_failure_strain_is_that_of_the_layer(joint, alone, values, strength, strain):
    """Strains below and above the one at yield, 20 MPa / 600 MPa."""
    force = joint(values | {"adhesive.failure_strain": strain}, words=STRAIN).rig_joint
    wanted = alone(failure_shear_strain=strain, adhesive_shear_strength=strength)
    np.testing.assert_allclose(force, wanted, rtol=1e-9)


@pytest.mark.parametrize(
    ("strain", "wider", "toughness"),
    [
        (0.5, 1.0, 20.0 * LAYER * (0.5 - 20.0 / 1200.0)),
        (0.25, 1.6, 20.0 * LAYER * (0.4 - 20.0 / 1200.0)),
        (0.02, 1.0, 600.0 * 0.02**2 / 2 * LAYER),
        (0.04, 0.5, 600.0 * 0.02**2 / 2 * LAYER),
    ],
)
def test_the_energy_of_a_failure_strain_is_the_area_of_its_law(joint, strain, wider, toughness):
    values = {"adhesive.failure_strain": strain, "adhesive.toughness_range": wider}
    force = joint(LONG | values, words=STRAIN).rig_joint
    np.testing.assert_allclose(force, energy(toughness), rtol=1e-6)


def test_the_area_has_no_step_at_the_yield_strain(joint):
    at = 20.0 / 600.0
    low, high = (
        joint({"adhesive.failure_strain": at * (1 + step)}, words=STRAIN).rig_joint[0, 0]
        for step in (-1e-9, 1e-9)
    )
    assert low == pytest.approx(high, rel=1e-7)


def test_a_share_acts_on_the_area_of_a_failure_strain_too(joint):
    area = 20.0 * LAYER * (0.5 - 20.0 / 1200.0)
    values = {"adhesive.failure_strain": 0.5, "preparation.tube": 0.7}
    force = joint(LONG | values, words=STRAIN).rig_joint
    np.testing.assert_allclose(force, energy(area * 0.7**2), rtol=1e-6)


# --- off centre ----------------------------------------------------------------------------


@pytest.mark.parametrize("off", [0.2, 0.5, 0.9])
def test_off_centre_takes_its_share_of_the_strain_at_failure(joint, alone, off):
    strain = 0.4 / (20.0 * LAYER) + 20.0 / 1200.0  # from the toughness
    force = joint({"plug.off_centre": off}).rig_joint
    wanted = alone(failure_shear_strain=strain * (1 - off))
    np.testing.assert_allclose(force, wanted, rtol=1e-9)
    assert wanted < alone()


@pytest.mark.parametrize("strength", [10.0, 20.0, 30.0])
def test_off_centre_costs_the_more_energy_the_stronger_the_layer(joint, strength):
    """The slip at failure is cut, its elastic part is not: what is left falls with strength."""
    yield_slip = LAYER * strength / 600.0
    slip = (0.4 / strength + yield_slip / 2) * 0.7
    left = strength * (slip - yield_slip / 2)
    values = {"plug.off_centre": 0.3, "adhesive.shear_strength": strength}
    force = joint(LONG | values).rig_joint
    np.testing.assert_allclose(force, energy(left), rtol=1e-6)


def test_off_centre_is_a_share_of_the_gap_as_drawn(joint, alone):
    """0.4 of the gap, whichever the gap is; from 0.95 on the parts touch."""
    strength = joint(drawn={"plug.off_centre": [0.4, 1.0], "plug.diameter": [12.9, 12.8]})
    wanted = [alone(gap=0.15, offset=0.06), alone(offset=0.19)]
    np.testing.assert_allclose(strength.rig_joint[:, 0], wanted, rtol=1e-9)
