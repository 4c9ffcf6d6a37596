"""A sleeve over the tube: the mechanics with the roles swapped, and what else of it can break."""

from dataclasses import replace

import numpy as np
import pytest

import jointrisk
from jointrisk.mechanics import sleeve
from jointrisk.model.bond import BOND_MODES
from jointrisk.model.members import SLEEVE, modes_of
from jointrisk.model.rodset import rod_set
from jointrisk.scenario import new
from jointrisk.spread import Fixed

START = new("sleeve-over-tube")
ROUND = {
    "tube.outer_diameter": 12.0,
    "tube.bore": 9.0,
    "tube.modulus": 120e3,
    "tube.expansion": 0.0,
    "tube.tension_strength": 1e5,
    "tube.compression_strength": 1e5,
    "tube.interlaminar_strength": 1e3,
    "tube.interlaminar_toughness": 1e6,
    "sleeve.outer_diameter": 16.0,
    "sleeve.bore": 12.4,
    "sleeve.modulus": 70e3,
    "sleeve.expansion": 23e-6,
    "sleeve.strength": 1e5,
    "sleeve.overlap": 20.0,
    "sleeve.glued_share": 0.9,
    "sleeve.off_centre": 0.2,
    "preparation.sleeve": 0.9,
    "preparation.tube": 0.8,
    "adhesive.shear_strength": 20.0,
    "adhesive.shear_strength_range": 1.0,
    "adhesive.shear_modulus": 600.0,
    "adhesive.toughness_range": 1.0,
    "adhesive.toughness": 1.5,
    "adhesive.cure_temperature": 20.0,
    "evidence.factor": 1.0,
    "model.gap_factor_exponent": 0.0,
    "model.toughness_exponent": 2.0,
    "service.workshop_temperature": 20.0,
    "service.hottest": 20.0,
    "service.coldest": -30.0,
    "service.humidity": 0.3,
}
TUBE_IN_SLEEVE = {
    "tube_outer_radius": 6.0,
    "tube_bore_radius": 4.5,
    "sleeve_outer_radius": 8.0,
    "gap": 0.2,
    "overlap": 18.0,
    "sleeve_modulus": 70e3,
    "tube_modulus": 120e3,
    "adhesive_shear_modulus": 600.0,
    "adhesive_shear_strength": 16.0,
    "mode_ii_toughness": 1.5 * 0.64,
    "offset": 0.04,
}
M6 = '[thread]\nsize = "M6"\nengagement = "12 mm"'
NO_THREAD = START.replace(M6, "")
BACKUP = """
[backup]
kind = "cross pin"
diameter = "3 mm"
shear_strength = "1 GPa"
end_distance = "8 mm"
tube_bearing_strength = "300 MPa"
insert_bearing_strength = "200 MPa"
"""


def rods(values=None, text=NO_THREAD, **fields):
    """Return two rods with each value at a round number, the others at their means."""
    scenario = jointrisk.load_text(text)
    wanted = ROUND | (values or {})
    held_at = {
        key: replace(found, spread=Fixed(float(wanted.get(key, found.spread.mean))))
        for key, found in scenario.variables.items()
    }
    curve = ((20.0, 1.0), (60.0, 1.0))
    fields = {"strength_by_temperature": curve, "rods": 2, "rods_per_batch": 2} | fields
    return rod_set(replace(scenario, variables=held_at, **fields))


def held(values=None, text=NO_THREAD, drawn=None, **fields):
    """Return the rods and their resistance; `drawn` only in the draw, a number for each joint."""
    found = rods(values, text, **fields)
    own = found.values(np.zeros((1, found.layout.dimension)))
    for key, value in (drawn or {}).items():
        assert key in own
        own[key] = np.atleast_1d(np.asarray(value, dtype=float))[:, None]
    labels = np.zeros((1, found.layout.label_count), dtype=bool)
    return found, found.resistance(own, labels)


def mode(found, table, name):
    return table[modes_of(found.scenario).index(name), :, 0]


def alone(**changes):
    return float(sleeve.pull_off(**(TUBE_IN_SLEEVE | changes)).force)


# The bond ----------------------------------------------------------------------------------------


def test_the_bond_is_the_mechanics_of_a_sleeve():
    _, strength = held()
    np.testing.assert_allclose(strength.rig_joint, alone(), rtol=1e-12)


@pytest.mark.parametrize("push", [False, True])
def test_misfit_has_the_sleeve_s_sign(push):
    """In the cold the sleeve would be the shorter one; a push is a pull turned round."""
    found = rods({"adhesive.toughness": 0.15})
    own = found.values(np.zeros((1, found.layout.dimension)))
    labels = np.zeros((1, found.layout.label_count), dtype=bool)
    force = found.joint_force(own, labels, push=push, cold=True, wall=False)
    unlike = (23e-6 - 0.0) * (-30.0 - 20.0) * (-1.0 if push else 1.0)
    brittle = {"mode_ii_toughness": 0.15 * 0.64}
    assert alone(misfit_strain=unlike, **brittle) != pytest.approx(alone(**brittle), rel=0.03)
    np.testing.assert_allclose(force, alone(misfit_strain=unlike, **brittle), rtol=1e-12)


SWAPPED = {
    "tube.outer_diameter": "sleeve.outer_diameter",
    "tube.bore": "sleeve.bore",
    "tube.modulus": "sleeve.modulus",
    "tube.expansion": "sleeve.expansion",
    "plug.diameter": "tube.outer_diameter",
    "plug.bore": "tube.bore",
    "plug.modulus": "tube.modulus",
    "plug.expansion": "tube.expansion",
    "plug.overlap": "sleeve.overlap",
    "plug.glued_share": "sleeve.glued_share",
    "plug.off_centre": "sleeve.off_centre",
    "plug.strength": "sleeve.strength",
    "preparation.plug": "preparation.sleeve",
}


def test_a_plug_with_the_roles_swapped_is_the_same_joint():
    """Metal on metal: it does not matter which of the two parts is called the tube."""
    metal = "aluminium 6082-T6"
    plug = new("plug-in-tube").replace(M6, "")
    _, over = held(text=NO_THREAD.replace("carbon tube, pultruded", metal))
    as_plug = {key: ROUND[other] for key, other in SWAPPED.items()}
    _, inside = held(as_plug, plug.replace("carbon tube, roll-wrapped", metal))
    np.testing.assert_allclose(over.rig_joint, inside.rig_joint, rtol=1e-12)
    for way in ("pull", "push"):
        weakest = [getattr(found, way)[:4].min(axis=0) for found in (over, inside)]
        np.testing.assert_allclose(*weakest, rtol=1e-12)


def test_only_the_gap_follows_the_drawn_diameters():
    found, strength = held(drawn={"tube.outer_diameter": [12.0, 11.9, 12.1, 12.0]})
    wanted = [alone(gap=gap, offset=0.2 * gap) for gap in (0.2, 0.25, 0.15, 0.2)]
    np.testing.assert_allclose(strength.rig_joint[:, 0], wanted, rtol=1e-12)
    _, wide = held({"tube.tension_strength": 10.0}, drawn={"tube.outer_diameter": 11.0})
    area = np.pi * (6.0**2 - 4.5**2)
    np.testing.assert_allclose(mode(found, wide.pull, "tube breaks in tension"), 10.0 * area)


def test_parts_that_do_not_go_together_are_found():
    _, strength = held(drawn={"sleeve.bore": [12.4, 12.4, 11.9, 12.4]})
    assert not strength.assembles.any()
    assert held()[1].assembles.all()


def test_a_gap_never_eats_the_whole_sleeve():
    _, strength = held(drawn={"sleeve.bore": 20.0})
    np.testing.assert_allclose(strength.rig_joint, alone(gap=1.9, offset=0.38), rtol=1e-12)


def test_the_outer_ply_can_let_go_first():
    weak = {"tube.interlaminar_strength": 5.0, "tube.interlaminar_toughness": 0.3}
    found, strength = held(weak)
    force = alone(adhesive_shear_strength=5.0, mode_ii_toughness=0.3)
    np.testing.assert_allclose(strength.rig_joint, force, rtol=1e-12)
    assert np.isfinite(mode(found, strength.pull, BOND_MODES[3])).all()


@pytest.mark.parametrize(
    ("surfaces", "name"),
    [
        ((0.7, 0.8), "bond lets go at the sleeve (adhesion)"),
        ((0.8, 0.7), "bond lets go at the tube (adhesion)"),
        ((1.1, 1.2), "bond lets go inside the adhesive (cohesion)"),
    ],
)
def test_the_interface_that_lets_go_is_named(surfaces, name):
    found, strength = held(
        dict(zip(("preparation.sleeve", "preparation.tube"), surfaces, strict=True))
    )
    acting = np.isfinite(strength.pull[:4, 0, 0])
    assert [n for n, acts in zip(modes_of(found.scenario), acting, strict=False) if acts] == [name]


def test_no_mode_speaks_of_an_insert():
    names = modes_of(rods(text=START + BACKUP).scenario)
    assert len(set(names)) == len(names)
    assert not [name for name in names if "insert" in name]
    plug = modes_of(jointrisk.load_text(new("plug-in-tube")))
    assert not [name for name in plug if "sleeve" in name]


# Members -----------------------------------------------------------------------------------------


def test_the_sleeve_s_wall_breaks_round_the_tube():
    found, strength = held({"sleeve.strength": 10.0})
    area = np.pi * (8.0**2 - 6.2**2)
    np.testing.assert_allclose(mode(found, strength.pull, SLEEVE), 10.0 * area)
    np.testing.assert_allclose(mode(found, strength.push, SLEEVE), 10.0 * area)
    assert strength.rig_pull[0, 0] == pytest.approx(10.0 * area)


def test_the_thread_lies_in_the_solid_part():
    found, strength = held({"sleeve.strength": 100.0}, START)
    net = mode(found, strength.pull, "sleeve breaks at the tapped hole")
    np.testing.assert_allclose(net, 100.0 * np.pi * (8.0**2 - 3.0**2))
    twice = held({"sleeve.strength": 200.0}, START)[1]
    strips = [mode(found, one.pull, "thread strips") for one in (strength, twice)]
    np.testing.assert_allclose(strips[1], 2.0 * strips[0])


def test_a_seat_in_the_sleeve_takes_the_push_off_bond_and_sleeve():
    found, strength = held({"tube.compression_strength": 50.0}, shoulder=True)
    names = [n for n in modes_of(found.scenario) if np.isfinite(mode(found, strength.push, n)[0])]
    assert set(names) == {"tube bends away as a strut", "tube end crushes under the shoulder"}
    crush = mode(found, strength.push, "tube end crushes under the shoulder")
    np.testing.assert_allclose(crush, 50.0 * np.pi * (6.0**2 - 4.5**2))


def test_a_pin_bears_on_sleeve_and_tube():
    """Walls of 1.8 mm at 200 MPa and 1.5 mm at 300 MPa, both sides, a pin of 3 mm."""
    strong = {"backup.tube_shear_strength": 1e5, "backup.insert_shear_strength": 1e5}
    gone = strong | {"preparation.tube": 1e-3}
    found, strength = held(gone, NO_THREAD + BACKUP)
    name = "back-up gives way after the bond"
    np.testing.assert_allclose(mode(found, strength.pull, name), 2 * 3.0 * 1.8 * 200.0)
    soft = gone | {"backup.tube_bearing_strength": 150.0}
    _, strength = held(soft, NO_THREAD + BACKUP)
    np.testing.assert_allclose(mode(found, strength.pull, name), 2 * 3.0 * 1.5 * 150.0)


def test_the_pin_tears_out_towards_the_sleeve_s_end_too():
    """12 mm of overlap left past the hole, less half of it, two planes in two walls."""
    gone = {"preparation.tube": 1e-3, "backup.tube_shear_strength": 1e5}
    gone |= {"backup.insert_shear_strength": 10.0}
    found, strength = held(gone, NO_THREAD + BACKUP)
    tears = 2 * 2 * (12.0 - 1.5) * 1.8 * 10.0
    name = "back-up gives way after the bond"
    np.testing.assert_allclose(mode(found, strength.pull, name), tears)
    assert mode(found, strength.push, name)[0] == pytest.approx(2 * 3.0 * 1.8 * 200.0)


def test_a_solid_rod_takes_a_sleeve():
    found, strength = held({"tube.bore": 0.0, "tube.tension_strength": 10.0})
    np.testing.assert_allclose(strength.rig_joint, alone(tube_bore_radius=0.0), rtol=1e-12)
    tension = mode(found, strength.pull, "tube breaks in tension")
    np.testing.assert_allclose(tension, 10.0 * np.pi * 36.0)


@pytest.mark.parametrize("scope", ["joint", "rod", "batch", "all"])
def test_either_diameter_may_be_shared(scope):
    text = NO_THREAD.replace('sd = "0.03 mm" }', f'sd = "0.03 mm", scope = "{scope}" }}', 1)
    found = rod_set(jointrisk.load_text(text), rods=3)
    u = np.random.default_rng(1).standard_normal((40, found.layout.dimension))
    labels = np.zeros((40, found.layout.label_count), dtype=bool)
    strength = found.resistance(found.values(u), labels)
    assert strength.rig_joint.shape == (6, 40)
    assert np.isfinite(strength.pull_rod).all()
