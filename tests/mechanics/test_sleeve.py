"""A sleeve over a tube, against two bars of springs and against closed limits."""

import numpy as np
import pytest
from scipy.sparse import diags
from scipy.sparse.linalg import spsolve

from jointrisk.errors import InputError
from jointrisk.mechanics import sleeve, tubular

JOINT = {
    "sleeve_outer_radius": 9.0,
    "tube_outer_radius": 7.0,
    "tube_bore_radius": 6.0,
    "gap": 0.2,
    "overlap": 22.0,
    "sleeve_modulus": 70_000.0,
    "tube_modulus": 120_000.0,
    "adhesive_shear_modulus": 800.0,
    "adhesive_shear_strength": 25.0,
}


def two_bars(joint, misfit=0.0, pieces=4000):
    """Slip at the ends of an elastic layer under 1 N, and under the misfit alone.

    The tube is pulled at the sleeve's mouth (z = 0), the sleeve is held at z = L. Plain finite
    differences of S u'' = +-P tau in both displacements, written for this test.
    """
    radius = joint["tube_outer_radius"] + joint["gap"] / 2
    inner = joint["tube_outer_radius"] + joint["gap"]
    tube = joint["tube_modulus"] * np.pi * (7.0**2 - joint["tube_bore_radius"] ** 2)
    cover = joint["sleeve_modulus"] * np.pi * (joint["sleeve_outer_radius"] ** 2 - inner**2)
    layer = radius * np.log(inner / joint["tube_outer_radius"]) / joint["adhesive_shear_modulus"]
    h = joint["overlap"] / pieces
    spring = 2 * np.pi * radius / layer * h
    slips = []
    for force, strain in ((1.0, 0.0), (0.0, misfit)):
        # unknowns: the nodes of the tube, then those of the sleeve; lumped springs, half at ends
        n = pieces + 1
        k = np.full(n, spring)
        k[[0, -1]] /= 2
        main_t, main_s = np.full(n, 2 * tube / h), np.full(n, 2 * cover / h)
        main_t[[0, -1]], main_s[[0, -1]] = tube / h, cover / h
        off = np.concatenate([np.full(n - 1, -tube / h), [0.0], np.full(n - 1, -cover / h)])
        matrix = diags(
            [np.concatenate([main_t + k, main_s + k]), off, off, -k, -k], [0, 1, -1, n, -n]
        ).tolil()
        load = np.zeros(2 * n)
        load[0] = -force  # pulls the tube out of the mouth, towards negative z
        # a free strain of the sleeve acts like a pair of end forces on it
        load[n] -= cover * strain
        load[2 * n - 1] += cover * strain
        matrix[2 * n - 1, :] = 0.0
        matrix[2 * n - 1, 2 * n - 1] = 1.0
        load[2 * n - 1] = 0.0
        u = spsolve(matrix.tocsc(), load)
        slip = u[n:] - u[:n]
        slips.append((slip[0], slip[-1]))
    return slips, layer, radius, inner


@pytest.mark.parametrize("misfit", [0.0, 4e-4, -4e-4])
@pytest.mark.parametrize("overlap", [8.0, 22.0, 60.0])
def test_a_brittle_layer_breaks_where_two_bars_of_springs_say(overlap, misfit):
    joint = JOINT | {"overlap": overlap}
    strain = 0.02  # below the yield strain of 25/800: breaks before it yields
    ((mouth, tip), (own_mouth, own_tip)), _, radius, inner = two_bars(joint, misfit)
    most = radius * np.log(inner / 7.0) * strain
    expected = min((most - own_mouth) / mouth, (most - own_tip) / tip)
    got = sleeve.pull_off(**joint, failure_shear_strain=strain, misfit_strain=misfit)
    assert got.force == pytest.approx(expected, rel=1e-3)


def test_a_ductile_layer_yields_over_the_whole_sleeve():
    got = sleeve.pull_off(**JOINT, failure_shear_strain=50.0)
    assert got.force == pytest.approx(25.0 * 2 * np.pi * 7.1 * 22.0, rel=1e-12)
    assert tubular.GOVERNS[int(got.governs)] == "yield"


def test_a_long_sleeve_holds_what_the_energy_of_its_members_allows():
    """Work set free as the bond parts: F^2/2 (1/S_t - 1/(S_t + S_s)) or the sleeve's alike."""
    got = sleeve.pull_off(**JOINT | {"overlap": 4000.0}, mode_ii_toughness=1.2)
    width = 2 * np.pi * 7.1
    tube = 120_000.0 * np.pi * (7.0**2 - 6.0**2)
    cover = 70_000.0 * np.pi * (9.0**2 - 7.2**2)
    limits = [np.sqrt(2 * width * 1.2 / (1 / own - 1 / (tube + cover))) for own in (tube, cover)]
    assert got.force == pytest.approx(min(limits), rel=1e-6)


def test_many_sleeves_at_once_are_the_single_ones():
    length = np.array([5.0, 12.0, 40.0])
    got = sleeve.pull_off(**JOINT | {"overlap": length}, mode_ii_toughness=2.0)
    for entry, force in zip(length, got.force, strict=True):
        one = sleeve.pull_off(**JOINT | {"overlap": entry}, mode_ii_toughness=2.0)
        assert force == pytest.approx(float(one.force), rel=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"sleeve_outer_radius": 7.1}, ("sleeve_outer_radius", "7.1", "7.2")),
        ({"tube_bore_radius": 7.5}, ("tube_bore_radius", "7.5", "tube_outer_radius")),
        ({"sleeve_modulus": -1.0}, ("sleeve_modulus", "-1")),
        ({"tube_modulus": 0.0}, ("tube_modulus", "above 0")),
        ({"gap": [0.1, 0.2, 0.3], "tube_outer_radius": [7.0, 7.0]}, ("gap", "(3,)", "(2,)")),
    ],
)
def test_refusals_use_the_names_of_this_joint(change, words):
    with pytest.raises(InputError) as caught:
        sleeve.pull_off(**JOINT | change, mode_ii_toughness=2.0)
    assert all(word in str(caught.value) for word in words)
    assert "plug" not in str(caught.value)
