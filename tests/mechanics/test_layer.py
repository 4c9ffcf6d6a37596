"""Many states and limits of the same joints: `jointrisk.mechanics.layer`."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.mechanics import tubular
from jointrisk.mechanics.layer import ductility, force_below, layer_of, pull_out_of
from jointrisk.mechanics.overlap import overlap_of

GEOMETRY = (
    "tube_outer_radius",
    "plug_radius",
    "gap",
    "overlap",
    "tube_modulus",
    "plug_modulus",
    "plug_bore_radius",
)
N = 5000


def layers(joints, toughness, misfit=0.0, offset_share=0.0):
    joint = overlap_of(*(joints[name] for name in GEOMETRY))
    modulus, strength = joints["adhesive_shear_modulus"], joints["adhesive_shear_strength"]
    capacity = ductility(joint, modulus, strength, toughness)
    return layer_of(joint, modulus, strength, capacity, misfit, offset_share)


def drawn(n, seed=1):
    rng = np.random.default_rng(seed)
    return 10 ** rng.uniform(-2, 1.2, n), rng.uniform(-2e-3, 2e-3, n), rng.uniform(0, 1.2, n)


def test_same_as_the_checked_function(many):
    joints = many(N)
    toughness, misfit, offset = drawn(N)
    found = pull_out_of(layers(joints, toughness, misfit, offset))
    checked = tubular.pull_out(
        **joints,
        mode_ii_toughness=toughness,
        misfit_strain=misfit,
        offset=offset * joints["gap"],
    )
    for name in ("force", "governs", "bounded", "yield_force", "first_yield", "long_overlap_force"):
        np.testing.assert_allclose(getattr(found, name), getattr(checked, name), rtol=1e-12)


def test_ductility_is_the_area_under_the_law(many):
    """Slip at failure from the area, integrated: rise to tau_p at delta_e, then level."""
    joints = many(50)
    joint = overlap_of(*(joints[name] for name in GEOMETRY))
    modulus, strength = joints["adhesive_shear_modulus"], joints["adhesive_shear_strength"]
    elastic = strength * joint.layer / modulus
    for slip in (0.4, 0.95, 1.0, 2.5, 40.0):
        place = np.linspace(0, slip, 200_001)
        area = np.trapezoid(np.minimum(place, 1), place) * elastic * strength
        found = ductility(joint, modulus, strength, area)
        np.testing.assert_allclose(found, slip, rtol=1e-6)


@pytest.mark.parametrize("part", [0.3, 0.9, 1.0, 1.1, 5.0])
def test_force_below_a_ceiling_keeps_the_lower_of_both(many, part):
    joints = many(N)
    toughness, misfit, offset = drawn(N, seed=2)
    layer = layers(joints, toughness, 0.1 * misfit, offset)
    force = pull_out_of(layer).force
    ceiling = part * force
    found = force_below(layer, ceiling)
    np.testing.assert_allclose(
        np.minimum(found, ceiling), np.minimum(force, ceiling), rtol=1e-9, atol=1e-9
    )
    searched = np.isfinite(found)
    np.testing.assert_allclose(found[searched], force[searched], rtol=1e-9, atol=1e-9)
    assert searched.mean() > 0.5 if part > 1 else part == 1 or searched.mean() < 0.5


def test_most_of_a_weak_bond_under_a_strong_wall_is_not_searched(joint):
    """What the ceiling is for: the wall holds what the bond lets go."""
    rng = np.random.default_rng(3)
    bond = joint | {"adhesive_shear_strength": rng.uniform(8, 20, N)}
    wall = joint | {"adhesive_shear_strength": rng.uniform(40, 60, N)}
    force = pull_out_of(layers(bond, 3.0)).force
    assert np.isinf(force_below(layers(wall, 2.0), force)).mean() > 0.9


def test_shapes_of_the_arguments_come_back(joint):
    grid = joint | {"overlap": np.linspace(5, 50, 4)[:, None], "gap": np.array([0.1, 0.2, 0.3])}
    layer = layers(grid, 2.0)
    assert pull_out_of(layer).force.shape == (4, 3)
    assert force_below(layer, 1e4).shape == (4, 3)
    assert force_below(layers(joint, 2.0), 1e9) == pull_out_of(layers(joint, 2.0)).force


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    decades=st.floats(0.0, 4.0),
    strain=st.sampled_from([0.0, 1e-4, 3e-3, 5e-2]),
)
def test_numbers_for_whatever_is_in_range(seed, decades, strain):
    """No NaN and nothing negative, for many joints at once that lie decades apart."""
    rng = np.random.default_rng(seed)

    def around(middle):
        return middle * 10 ** (decades * rng.uniform(-1, 1, 200))

    plug, gap = around(7.0), around(0.2)
    layer = layers(
        {
            "plug_radius": plug,
            "gap": gap,
            "tube_outer_radius": (plug + gap) * (1 + around(0.15)),
            "overlap": around(30.0),
            "tube_modulus": around(1e5),
            "plug_modulus": around(7e4),
            "plug_bore_radius": plug * rng.uniform(0, 0.99, 200),
            "adhesive_shear_modulus": around(700.0),
            "adhesive_shear_strength": around(25.0),
        },
        around(2.0),
        rng.uniform(-strain, strain, 200),
        rng.uniform(0, 2, 200),
    )
    found = pull_out_of(layer)
    for name in ("force", "first_yield", "yield_force", "long_overlap_force"):
        assert np.isfinite(getattr(found, name)).all()
        assert np.all(getattr(found, name) >= 0)
    assert np.all(found.force <= found.yield_force * (1 + 1e-9))
    below = force_below(layer, 0.5 * found.yield_force)
    assert not np.isnan(below).any()
    np.testing.assert_allclose(
        np.minimum(below, 0.5 * found.yield_force),
        np.minimum(found.force, 0.5 * found.yield_force),
        rtol=1e-7,
    )
