"""Heat and misfit: strength at the temperature of rig and service, in a pull and in a push."""

import numpy as np
import pytest

COHESION = 0
TOUGH = {"adhesive.toughness": 1e5}
LONG = {"plug.overlap": 280.0}
COOL_TO_WARM = ((20.0, 1.0), (60.0, 0.5))
YIELDS = 20.0 * 2 * np.pi * 6.5 * 20.0
"""Force of the tough joint: strength times area [N]."""


def energy(misfit=0.0):
    """Force at which a very long overlap lets go, from the energy of its members [N].

    Misfit adds its strain to one member and takes it from the other.
    """
    plug, tube = 70_000.0 * np.pi * 6.4**2, 70_000.0 * np.pi * (8.0**2 - 6.6**2)
    strain = np.sqrt(2 * 2 * np.pi * 6.5 * 0.4 * (1 / plug + 1 / tube))
    return min(plug * (strain + misfit), tube * (strain - misfit))


@pytest.mark.parametrize(
    ("hottest", "factor"), [(-20.0, 1.0), (30.0, 0.875), (60.0, 0.5), (64.9, 0.5), (65.0, 0.0)]
)
def test_heat_takes_its_factor_of_strength_and_at_the_hard_stop_all(joint, hottest, factor):
    values = TOUGH | {"service.hottest": hottest, "service.coldest": -30.0}
    found = joint(values, strength_by_temperature=COOL_TO_WARM, hard_stop_temperature=65.0)
    assert found.pull_rod[0, 0] == pytest.approx(factor * YIELDS, rel=1e-9)
    assert found.rig_pull[0, 0] == pytest.approx(YIELDS, rel=1e-9)


def test_heat_softens_the_layer_but_spends_the_same_energy(joint, alone):
    how = {"strength_by_temperature": COOL_TO_WARM}
    warm = joint({"service.hottest": 40.0}, **how).pull_rod[0, 0]
    softer = alone(adhesive_shear_strength=15.0, adhesive_shear_modulus=450.0)
    assert warm == pytest.approx(softer, rel=1e-9)
    long = joint(LONG | {"service.hottest": 40.0}, **how).pull_rod[0, 0]
    assert long == pytest.approx(energy(), rel=1e-4)


def test_the_rig_pulls_at_the_temperature_of_the_workshop(joint):
    values = TOUGH | {"service.workshop_temperature": 40.0}
    found = joint(values, strength_by_temperature=COOL_TO_WARM)
    assert found.rig_pull[0, 0] == pytest.approx(0.75 * YIELDS, rel=1e-9)
    assert found.pull_rod[0, 0] == pytest.approx(YIELDS, rel=1e-9)


MISFIT = {"tube.expansion": 1e-6, "plug.expansion": 23.5e-6}
LEVEL = ((-100.0, 1.0), (200.0, 1.0))


@pytest.mark.parametrize(("temperature", "strain"), [(60.0, -9.0e-4), (-20.0, 9.0e-4), (20.0, 0.0)])
def test_a_push_has_the_misfit_of_a_pull_turned_round(joint, alone, temperature, strain):
    """(1 - 23.5) 1e-6 /K times what the bond is warmer than when it set, 20 degC."""
    same = {"service.hottest": temperature, "service.coldest": temperature}
    found = joint(MISFIT | same, strength_by_temperature=LEVEL, hard_stop_temperature=200.0)
    assert found.pull[COHESION, 0, 0] == pytest.approx(alone(misfit_strain=strain), rel=1e-9)
    assert found.push[COHESION, 0, 0] == pytest.approx(alone(misfit_strain=-strain), rel=1e-9)


@pytest.mark.parametrize(("hottest", "coldest"), [(60.0, 20.0), (20.0, -20.0), (60.0, -20.0)])
def test_service_keeps_the_lower_of_hot_and_cold(joint, alone, hottest, coldest):
    temperatures = {"service.hottest": hottest, "service.coldest": coldest}
    found = joint(MISFIT | temperatures, strength_by_temperature=LEVEL, hard_stop_temperature=99.0)
    strains = [-22.5e-6 * (temperature - 20.0) for temperature in (hottest, coldest)]
    pull = min(alone(misfit_strain=strain) for strain in strains)
    push = min(alone(misfit_strain=-strain) for strain in strains)
    assert found.pull_rod[0, 0] == pytest.approx(pull, rel=1e-9)
    assert found.push[COHESION, 0, 0] == pytest.approx(push, rel=1e-9)
    assert found.rig_pull[0, 0] == pytest.approx(alone(), rel=1e-9)


def test_misfit_of_a_long_joint_adds_to_the_strain_of_its_energy(joint):
    values = LONG | MISFIT | {"service.hottest": 60.0, "service.coldest": 60.0}
    found = joint(values, strength_by_temperature=LEVEL, hard_stop_temperature=200.0)
    pull, push = found.pull[COHESION, 0, 0], found.push[COHESION, 0, 0]
    assert pull == pytest.approx(energy(misfit=-9.0e-4), rel=1e-6)
    assert push == pytest.approx(energy(misfit=9.0e-4), rel=1e-6)
    assert push < pull  # the tube is the softer member, and it is the one that is strained


def test_each_plug_brings_its_own_misfit(joint, alone):
    drawn = {"plug.expansion": [1e-6, 23.5e-6]}
    same = {"service.hottest": 60.0, "service.coldest": 60.0}
    found = joint(
        MISFIT | same | {"service.workshop_temperature": 60.0},
        drawn=drawn,
        strength_by_temperature=LEVEL,
        hard_stop_temperature=200.0,
    )
    wanted = [alone(), alone(misfit_strain=-9.0e-4)]
    np.testing.assert_allclose(found.rig_joint[:, 0], wanted, rtol=1e-9)


def test_misfit_that_yields_both_ends_is_told_as_a_lower_bound(joint):
    hot = {"service.hottest": 120.0, "service.coldest": 120.0, "adhesive.shear_strength": 5.0}
    how = {"strength_by_temperature": LEVEL, "hard_stop_temperature": 200.0}
    strong = MISFIT | {"plug.overlap": 60.0} | hot
    assert joint(strong, **how).bounded.tolist() == [True]
    assert joint(strong | {"tube.expansion": 23.5e-6}, **how).bounded.tolist() == [False]
    # a whole overlap that yields has forgotten what strained it before
    assert joint(TOUGH | strong, **how).bounded.tolist() == [False]
