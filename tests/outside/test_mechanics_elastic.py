"""Elastic shear of the overlap against scipy's boundary-value solver, and published figures.

Equilibrium and stretch of plug and tube are integrated as they stand (forces and
displacements); only the compliance of the layer, a textbook ring in shear, is shared.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp, trapezoid

from jointrisk.mechanics import tubular

JOINTS = {
    "carbon tube, bored aluminium plug": (8.0, 6.8, 3.4, 0.2, 30.0, 1e5, 7e4, 700.0),
    "steel sleeve over titanium": (10.0, 8.0, 0.0, 0.1, 12.0, 2.1e5, 1.14e5, 1000.0),
    "thick soft layer": (15.0, 9.0, 2.0, 1.0, 60.0, 2.2e4, 7e4, 60.0),
    "short": (8.0, 6.8, 0.0, 0.3, 3.0, 4e4, 7e4, 300.0),
}


def by_boundary_values(R, r_p, r_b, t, L, E_t, E_p, G, force, misfit):
    """Shear stress along z from N_p' = -2 pi r_m tau, u' = N/(EA) (+ free strain), tau = G-law."""
    inner, middle = r_p + t, r_p + t / 2
    S_p, S_t = E_p * math.pi * (r_p**2 - r_b**2), E_t * math.pi * (R**2 - inner**2)
    around = 2 * math.pi * middle
    ring = G / (middle * math.log(inner / r_p))

    def equations(z, y):
        N, u_p, u_t = y[0] * force, y[1], y[2]
        tau = ring * (u_t - u_p)
        return np.vstack([-around * tau / force, N / S_p, (force - N) / S_t + misfit])

    def ends(a, b):
        return np.array([a[0] - 1, b[0], b[2]])

    z = np.linspace(0, L, 201)
    guess = np.vstack([1 - z / L, 0 * z, 0 * z])
    found = solve_bvp(equations, ends, z, guess, tol=1e-9, max_nodes=100_000)
    assert found.success
    return found.x, ring * (found.y[2] - found.y[1])


@pytest.mark.parametrize("name", JOINTS)
@pytest.mark.parametrize("misfit", [0.0, 6e-4, -6e-4])
def test_stress_at_both_ends(name, misfit):
    R, r_p, r_b, t, L, E_t, E_p, G = JOINTS[name]
    force = 8000.0
    z, tau = by_boundary_values(R, r_p, r_b, t, L, E_t, E_p, G, force, misfit)
    found = tubular.elastic_shear(
        tube_outer_radius=R,
        plug_radius=r_p,
        plug_bore_radius=r_b,
        gap=t,
        overlap=L,
        tube_modulus=E_t,
        plug_modulus=E_p,
        adhesive_shear_modulus=G,
        force=force,
        misfit_strain=misfit,
    )
    assert found.mouth == pytest.approx(tau[0], rel=1e-5)
    assert found.tip == pytest.approx(tau[-1], rel=1e-5)
    assert found.mean == pytest.approx(trapezoid(tau, z) / L, rel=1e-3)


# Useful length for 95 % of the elastic limit, mm: tube 16/14 of 100 GPa, aluminium plug bored
# 6.8 mm; worked out from Volkersen (1938) in tubular form as about 3.7/lambda, as printed to the
# whole millimetre. G, gap, length.
USEFUL = [(700, 0.2, 16), (500, 0.2, 19), (200, 0.2, 30), (700, 0.5, 25), (500, 0.5, 30),
          (200, 0.5, 47)]  # fmt: skip


@pytest.mark.parametrize(("G", "gap", "length"), USEFUL)
def test_useful_length_of_a_brittle_bond(G, gap, length):
    """At the printed length a brittle layer holds 93 to 98 % of what an endless one would."""
    case = {
        "tube_outer_radius": 8.0,
        "plug_radius": 7.0 - gap,
        "plug_bore_radius": 3.4,
        "gap": gap,
        "tube_modulus": 1e5,
        "plug_modulus": 7e4,
        "adhesive_shear_modulus": float(G),
        "adhesive_shear_strength": 25.0,
        "failure_shear_strain": 20.0 / G,
    }
    result = tubular.pull_out(**case, overlap=float(length))
    assert 0.93 < result.force / result.long_overlap_force < 0.98
