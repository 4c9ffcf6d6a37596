"""Shear, energy and peel of the overlap against finite elements of solids (`axisymmetric`).

The reference takes plug, layer and tube as elastic solids: no thin layer, no plane sections. Every
figure is taken in the middle of the layer: half a gap away from the corners where stress has no
bound, and "within" a joint means at least one gap from both ends of the layer.
"""

from __future__ import annotations

import functools
import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import trapezoid

from jointrisk.mechanics import tubular
from jointrisk.mechanics.overlap import overlap_of
from jointrisk.mechanics.peel import mouth_peel


def beside(name):
    """Load a module of this folder by its file."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


solids = beside("axisymmetric")
solve = functools.cache(solids.solve)

ALUMINIUM, STEEL = solids.isotropic(7e4, 0.33), solids.isotropic(2.1e5, 0.3)
CARBON = solids.Solid(along=1e5, around=1.2e4, through=9e3, shear=4e3, nu=0.3)
STIFF_CARBON = solids.Solid(along=1.3e5, around=9e3, through=8e3, shear=3.5e3, nu=0.3)
TOUGH, BRITTLE = solids.isotropic(2000.0, 0.38), solids.isotropic(5000.0, 0.35)
SOFT, RUBBER = solids.isotropic(150.0, 0.45), solids.isotropic(60.0, 0.45)


def joint(R, r_p, r_b, t, L, tube, plug, glue):
    return solids.Joint(R, r_p, r_b, t, L, tube, plug, glue, mouth=0.0, tip=L)


JOINTS = {
    "carbon, bored aluminium": joint(8.0, 6.8, 3.4, 0.2, 30.0, CARBON, ALUMINIUM, TOUGH),
    "short": joint(8.0, 6.8, 0.0, 0.2, 12.0, CARBON, ALUMINIUM, TOUGH),
    "thin brittle layer": joint(8.0, 6.9, 3.4, 0.1, 25.0, CARBON, ALUMINIUM, BRITTLE),
    "thick soft layer": joint(12.0, 9.0, 2.0, 1.0, 40.0, ALUMINIUM, ALUMINIUM, SOFT),
    "aluminium tube, steel plug": joint(10.0, 8.0, 0.0, 0.3, 25.0, ALUMINIUM, STEEL, TOUGH),
    "thick stiff carbon": joint(10.0, 6.8, 3.4, 0.2, 40.0, STIFF_CARBON, ALUMINIUM, TOUGH),
    "long, rubbery": joint(15.0, 12.0, 6.0, 0.5, 60.0, CARBON, ALUMINIUM, RUBBER),
    "thin steel tube": joint(8.0, 7.0, 0.0, 0.1, 12.0, STEEL, ALUMINIUM, BRITTLE),
}


def sizes(case):
    return {
        "tube_outer_radius": case.outer,
        "plug_radius": case.plug_radius,
        "gap": case.gap,
        "tube_modulus": case.tube.along,
        "plug_modulus": case.plug.along,
        "plug_bore_radius": case.bore,
    }


def shipped(case, **more):
    return tubular.elastic_shear(
        **sizes(case),
        overlap=case.plug_end,
        adhesive_shear_modulus=case.glue.shear,
        force=1.0,
        **more,
    )


def stiff(case):
    return overlap_of(**sizes(case), overlap=case.plug_end)


def peak_within(case, across=5):
    """Return the largest shear at least one gap from the ends of the layer."""
    found = solve(case, across)
    at = np.union1d(found.z, [case.gap, case.plug_end - case.gap])
    inside = (at >= case.gap) & (at <= case.plug_end - case.gap)
    return np.interp(at, found.z, found.shear)[inside].max()


# Is the reference worth holding to? --------------------------------------------------------------


@pytest.mark.parametrize("name", JOINTS)
def test_two_grids_agree(name):
    coarse, fine = solve(JOINTS[name], 3), solve(JOINTS[name], 5)
    assert coarse.compliance == pytest.approx(fine.compliance, rel=3e-4)
    assert peak_within(JOINTS[name], 3) == pytest.approx(peak_within(JOINTS[name]), rel=0.01)
    assert coarse.shear.max() == pytest.approx(fine.shear.max(), rel=0.03)


def test_one_stuff_throughout_stretches_as_a_bar():
    """Hooke: 100 mm more overlap of one material give 100 mm more of a bar in tension."""
    one = solids.isotropic(7e4, 0.3)
    case = joint(10.0, 6.0, 3.0, 0.5, 400.0, one, one, one)
    longer = joint(10.0, 6.0, 3.0, 0.5, 500.0, one, one, one)
    grown = solve(longer, 3).compliance - solve(case, 3).compliance
    bar = 100 / (7e4 * math.pi * (10.0**2 - 3.0**2))
    assert grown == pytest.approx(bar, rel=1e-4)


# Mean and peak -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JOINTS)
def test_mean_is_force_over_area(name):
    """But for the share of the pull that the layer itself carries along the axis."""
    case, found = JOINTS[name], solve(JOINTS[name], 5)
    z, shear = np.r_[0.0, found.z, case.plug_end], np.r_[0.0, found.shear, 0.0]
    assert trapezoid(shear, z) / case.plug_end == pytest.approx(shipped(case).mean, rel=0.01)


@pytest.mark.parametrize("name", JOINTS)
def test_peak_is_not_too_low(name):
    """`elastic_shear` without member shear, from one gap inwards; within the last gap 9 % more."""
    told = shipped(JOINTS[name]).peak
    assert 0.95 < told / peak_within(JOINTS[name]) < 2
    assert solve(JOINTS[name], 5).shear.max() < 1.09 * told


LITTLE = {
    "0.4 plug radii long": joint(10.45, 9.18, 0.0, 0.15, 3.5, STEEL, ALUMINIUM, BRITTLE),
    "six gaps long": joint(13.5, 10.7, 0.0, 1.25, 7.3, STIFF_CARBON, ALUMINIUM, SOFT),
}


@pytest.mark.parametrize("name", LITTLE)
def test_peak_is_too_low_in_a_very_short_overlap(name):
    """Where ten gaps or 1.5 plug radii do not fit: up to a quarter, within and anywhere."""
    told = shipped(LITTLE[name]).peak
    assert 0.8 < told / peak_within(LITTLE[name]) < 0.95
    assert solve(LITTLE[name], 5).shear.max() < 1.25 * told


SOFT_IN_SHEAR = joint(9.4, 6.4, 4.3, 0.08, 27.0, CARBON, solids.isotropic(1.14e5, 0.32), BRITTLE)


def test_member_shear_helps_where_the_layer_gives_most_and_misleads_where_it_does_not():
    def ratios(case):
        shear = {
            "tube_shear_modulus": case.tube.shear, "plug_shear_modulus": case.plug.shear,
        }  # fmt: skip
        whole, peak = shipped(case, **shear).peak, peak_within(case)
        return shipped(case).peak / peak, whole / peak

    plain, whole = ratios(JOINTS["carbon, bored aluminium"])
    assert 1 < whole < plain
    plain, whole = ratios(SOFT_IN_SHEAR)
    assert plain > 1
    assert 0.5 < whole < 0.8


# Energy set free at the end of a long overlap ----------------------------------------------------


LONG = {
    "mouth governs": ("thick stiff carbon", 120.0, 20.0, 30.0),
    "tip governs": ("aluminium tube, steel plug", 90.0, 10.0, 15.0),
    "thin brittle layer, tip governs": ("thin brittle layer", 60.0, 10.0, 15.0),
}


def energy(name, end, across=3):
    """Return the energy per glued area that a crack at `end` sets free under 1 N [N/mm].

    By difference of two crack lengths: F^2/(2 P) dC/da.
    """
    which, L, first, further = LONG[name]
    case = solids.replace(JOINTS[which], plug_end=L, tip=L)
    less, more = (solve(case.cracked(**{end: a}), across).compliance for a in (first, further))
    return (more - less) / (further - first) / (2 * float(stiff(case).width)), case


@pytest.mark.parametrize("across", [3, 5])
@pytest.mark.parametrize("name", LONG)
def test_long_overlap_breaks_when_its_end_sets_the_toughness_free(name, across):
    """At a toughness equal to that energy the shipped force is the force put on, 1 N."""
    found, case = energy(name, "mouth" if "mouth" in name else "tip", across)
    told = tubular.long_overlap_force(**sizes(case), mode_ii_toughness=found)
    assert told**2 == pytest.approx(1.0, rel=0.01)


@pytest.mark.parametrize("end", ["mouth", "tip"])
@pytest.mark.parametrize("name", LONG)
def test_energy_at_either_end(name, end):
    """F = S (s at that end): G = F^2/(2 P S^2 (1/S_p + 1/S_t)), S of the loaded member."""
    found, case = energy(name, end)
    overlap = stiff(case)
    S = overlap.plug_stiffness if end == "mouth" else overlap.tube_stiffness
    assert found == pytest.approx(1 / (2 * overlap.softness * S**2), rel=0.01)


# Peel at the mouth -------------------------------------------------------------------------------

LONG_ENOUGH = sorted(set(JOINTS) - {"short"})
"""Overlap above 3.3 waves, as `mouth_peel` wants it (about 4/b)."""


@pytest.mark.parametrize("name", LONG_ENOUGH)
def test_peel_at_the_mouth_is_tension_and_of_that_size(name):
    """Largest radial stress in the mouth's half; the plug's thinning (left out there) left out.

    Through the layer the modulus of a layer held between stiff faces.
    """
    case, glue = JOINTS[name], JOINTS[name].glue
    bar = case.plug.along
    found = solve(solids.replace(case, plug=solids.Solid(bar, bar, bar, case.plug.shear, 0.0)), 5)
    told = mouth_peel(
        shipped(case).mouth,
        case.outer,
        case.plug_radius,
        case.gap,
        case.tube.along,
        case.tube.around,
        case.tube.nu * math.sqrt(case.tube.around / case.tube.along),
        glue.along * (1 - glue.nu) / ((1 + glue.nu) * (1 - 2 * glue.nu)),
        math.sqrt(stiff(case).layer / (glue.shear * stiff(case).softness)),
    )
    near = found.z < case.plug_end / 2
    assert 0.7 < found.radial[near].max() / told < 1.3
