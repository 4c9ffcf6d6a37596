"""The wall of a composite tube as a limit beside the bond: where it governs and what it knows."""

from dataclasses import replace

import numpy as np
import pytest

from jointrisk.model.bond import BOND_MODES, WALL, Day, bond_force, bond_forces, bond_law
from jointrisk.model.members import modes_of

COHESION, AT_WALL = 0, BOND_MODES.index(WALL)
CARBON = {"tube": "carbon tube, roll-wrapped"}
TOUGH = {"adhesive.toughness": 1e5}


def yields(strength=20.0):
    """Force of an overlap that yields everywhere: strength times its area at mid-gap [N]."""
    return strength * 2 * np.pi * 6.5 * 20.0


def mode_of(strength, rod=0):
    """Which of the bond's modes acts in a pull, as places in the list."""
    return np.flatnonzero(np.isfinite(strength.pull[: len(BOND_MODES), rod, 0])).tolist()


def wall(strength, toughness):
    return {"tube.interlaminar_strength": strength, "tube.interlaminar_toughness": toughness}


@pytest.mark.parametrize(
    ("strength", "toughness", "governs"),
    [(12.0, 1e5, True), (19.0, 1e5, False), (60.0, 0.3, True), (60.0, 0.5, False)],
)
def test_the_lowest_force_governs_not_the_lowest_stress(joint, alone, strength, toughness, governs):
    """Shearing at 19 MPa a tough wall holds more than the brittle bond at 20 MPa."""
    found = joint(wall(strength, toughness), words=CARBON)
    by_wall = alone(adhesive_shear_strength=strength, mode_ii_toughness=toughness)
    assert (by_wall < alone()) is governs
    np.testing.assert_allclose(found.rig_joint, min(by_wall, alone()), rtol=1e-12)
    assert mode_of(found) == [AT_WALL if governs else COHESION]


def test_only_a_composite_tube_has_the_limit_of_its_wall(joint, alone):
    assert joint(words=CARBON).rig_joint[0, 0] == pytest.approx(alone(), rel=1e-12)
    weak_wall = joint(wall(5.0, 0.1), words=CARBON, tube_is_composite=False)
    assert weak_wall.rig_joint[0, 0] == pytest.approx(alone(), rel=1e-12)
    assert mode_of(weak_wall) == [COHESION]


def test_the_wall_knows_nothing_of_surface_batch_evidence_or_gap(joint):
    worse = {
        "preparation.plug": 0.9,
        "batch.bond_factor": 0.9,
        "evidence.factor": 1.2,
        "model.gap_factor_exponent": 2.0,
        "adhesive.shear_strength": 25.0,
    }
    held = joint(TOUGH | wall(10.0, 1e5) | worse, words=CARBON)
    np.testing.assert_allclose(held.rig_joint, yields(10.0), rtol=1e-9)
    factor = joint(TOUGH | wall(10.0, 1e5) | {"model.bond_factor": 0.8}, words=CARBON)
    np.testing.assert_allclose(factor.rig_joint, 0.8 * yields(10.0), rtol=1e-9)


def test_the_wall_belongs_to_the_rod(joint):
    drawn = {"tube.interlaminar_strength": [8.0, 1e3], "tube.interlaminar_toughness": [1e5, 1e6]}
    found = joint(TOUGH, drawn=drawn, words=CARBON | {"rods": 2})
    wanted = [yields(8.0)] * 2 + [yields()] * 2
    np.testing.assert_allclose(found.rig_joint[:, 0], wanted, rtol=1e-9)
    assert [mode_of(found, rod) for rod in (0, 1)] == [[AT_WALL], [COHESION]]


def test_the_wall_softens_by_its_own_curve(joint):
    curve = ((20.0, 1.0), (60.0, 0.8))
    found = joint(
        TOUGH | wall(6.0, 1e5) | {"service.hottest": 50.0},
        words=CARBON,
        wall_strength_by_temperature=curve,
        strength_by_temperature=((20.0, 1.0), (60.0, 0.5)),
    )
    wanted = yields(6.0 * 0.85)  # the bond would hold 20 MPa x 0.625
    assert found.pull_rod[0, 0] == pytest.approx(wanted, rel=1e-9)
    assert mode_of(found) == [AT_WALL]


def test_where_the_wall_is_left_out_it_could_not_have_governed(round_set):
    """Against both limits solved everywhere, over strengths far apart either way and misfit."""
    n, rng = 3000, np.random.default_rng(8)
    rods = round_set(words=CARBON)
    values = rods.values(np.zeros((1, rods.layout.dimension)))

    def spread_out(key, copies, width):
        values[key] = values[key] * np.exp(width * rng.standard_normal((copies, n)))

    values |= wall(np.full((1, 1), 20.0), np.full((1, 1), 3.0))
    for key, copies, width in [
        ("tube.interlaminar_strength", 1, 0.7),
        ("tube.interlaminar_toughness", 1, 1.0),
        ("adhesive.shear_strength", 2, 0.5),
        ("adhesive.toughness", 2, 1.0),
        ("adhesive.shear_modulus", 1, 0.5),
        ("plug.overlap", 2, 0.7),
    ]:
        spread_out(key, copies, width)
    values["plug.off_centre"] = rng.uniform(0.0, 0.9, (2, n))
    values["tube.expansion"] = rng.uniform(-40e-6, 60e-6, (1, n))
    values["service.workshop_temperature"] = np.full((1, 1), 50.0)
    labels = np.zeros((n, rods.layout.label_count), dtype=bool)
    both = rods.resistance(values, labels).rig_joint
    bond = rods.resistance(values, labels, with_wall=False).rig_joint
    as_bond = values | {
        "adhesive.shear_strength": values["tube.interlaminar_strength"],
        "adhesive.toughness": values["tube.interlaminar_toughness"],
    }
    # the wall's own curve at 50 degC, the adhesive's taken out of the strength but not of G
    soft = np.interp(50.0, *np.array(rods.scenario.wall_strength_by_temperature).T)
    glue = np.interp(50.0, *np.array(rods.scenario.strength_by_temperature).T)
    as_bond["adhesive.shear_strength"] = as_bond["adhesive.shear_strength"] * soft / glue
    by_wall = rods.resistance(as_bond, labels, with_wall=False).rig_joint
    np.testing.assert_allclose(both, np.minimum(bond, by_wall), rtol=1e-9)
    assert 0.2 < (by_wall < bond).mean() < 0.8


def test_all_modes_have_names_of_their_own(make):
    more = '[[load]]\nname = "sway"\nkind = "cycles"\nsize = "200 N"\nrate = "1000 / year"\n'
    names = modes_of(make(more=more))
    assert len(set(names)) == len(names) == 10
    assert names[: len(BOND_MODES)] == BOND_MODES
    assert modes_of(make()) == tuple(name for name in names if "repeated" not in name)
    for word, mode in zip(("cohesion", "insert", "tube"), names, strict=False):
        assert word in mode


def test_where_the_wall_governs_on_one_day_it_leaves_the_others_alone(round_set):
    """The wall softens by half at 60 degC; at 20 degC the bond lets go first."""
    rods = round_set(words=CARBON)
    scenario = replace(
        rods.scenario,
        wall_strength_by_temperature=((20.0, 1.0), (60.0, 0.5)),
        strength_by_temperature=((20.0, 1.0),),
        hard_stop_temperature=80.0,
    )
    values = rods.values(np.zeros((1, rods.layout.dimension)))
    values |= {key: np.full((1, 1), each) for key, each in (TOUGH | wall(30.0, 1e5)).items()}
    law = bond_law(scenario, rods.layout, values, np.zeros((2, 1), dtype=bool))
    days = [Day(law, np.full((1, 1), each), (False, True)) for each in (20.0, 60.0, 20.0)]
    found = bond_forces(scenario, rods.layout, values, days, wall=True)
    for day, states in zip(days, found, strict=True):
        for push, state in zip(day.ways, states, strict=True):
            kinds = {"temperature": day.temperature, "push": push, "wall": True}
            alone = bond_force(scenario, rods.layout, values, law, **kinds)
            np.testing.assert_allclose(state.force, alone.force, rtol=1e-12)
            np.testing.assert_array_equal(state.mode, alone.mode)
            warm = day.temperature.item() > 50.0
            assert (state.mode == (AT_WALL if warm else COHESION)).all()
