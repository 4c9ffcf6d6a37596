"""Peel at the tube mouth: what lifts the wall off the layer when the plug is pulled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics.arguments import compatible, less, real

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = ["constrained_modulus", "mouth_peel"]


def constrained_modulus(shear_modulus: npt.ArrayLike, poisson_ratio: npt.ArrayLike) -> Array:
    """Return the modulus of a thin layer through its thickness, held still along it.

    Parameters
    ----------
    shear_modulus : array_like, (n,) [MPa]
        G of the layer.
    poisson_ratio : array_like, (n,) [-]
        nu of the layer, at most 0.49.

    Returns
    -------
    ndarray, (n,) [MPa]
        E (1 - nu)/((1 + nu) (1 - 2 nu)) = 2 G (1 - nu)/(1 - 2 nu): text books of elasticity.

    Raises
    ------
    InputError
        For a modulus that is not positive, or a Poisson ratio out of range.

    Notes
    -----
    Validity: faces much stiffer than the layer, distances from its edge above its thickness.
    """
    shear = real("shear_modulus", shear_modulus, above=0)
    nu = real("poisson_ratio", poisson_ratio, at_least=0, at_most=0.49)
    compatible(shear_modulus=shear, poisson_ratio=nu)
    return np.asarray(2 * shear * (1 - nu) / (1 - 2 * nu))[()]


def mouth_peel(
    mouth_shear: npt.ArrayLike,
    tube_outer_radius: npt.ArrayLike,
    plug_radius: npt.ArrayLike,
    gap: npt.ArrayLike,
    tube_modulus: npt.ArrayLike,
    hoop_modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    adhesive_modulus: npt.ArrayLike,
    shear_length: npt.ArrayLike | None = None,
) -> Array:
    """Return the radial stress between tube and plug at the mouth, tension positive.

    Parameters
    ----------
    mouth_shear : array_like, (n,) [MPa]
        Shear stress tau in the layer at the mouth, positive in a pull; a push presses.
    tube_outer_radius, plug_radius, gap : array_like, (n,) [mm]
        R, r_p and t of `jointrisk.mechanics.overlap`.
    tube_modulus, hoop_modulus : array_like, (n,) [MPa]
        E_x along and E_h around the wall, the same twice for a metal.
    poisson_ratio : array_like, (n,) [-]
        nu of the wall; the root of the product of the two for a laminate.
    adhesive_modulus : array_like, (n,) [MPa]
        E_a through the layer, held between stiff faces: `constrained_modulus`. With Young's the
        peel comes out 1.2 to 4 times lower than finite elements give.
    shear_length : array_like, (n,) [mm]
        1/lambda, over which the shear falls from the mouth to 1/e of it:
        sqrt(layer/(G softness)) of an elastic `Overlap`. None for shear that stays even, as in a
        layer that yields.

    Returns
    -------
    ndarray, (n,) [MPa]

    Raises
    ------
    InputError
        For sizes or moduli that are not positive or do not fit, or a Poisson ratio above 0.5.

    Notes
    -----
    Derived here. A wall of h = R - r_p - t and middle radius a, with bending stiffness
    D = E_x h^3/(12 (1 - nu^2)), stands on the layer, k_a = E_a/t, and on its own hoop,
    k_h = E_h h/a^2. The shear acts on its inner face, h/2 from its middle: a moment m = tau h/2
    on each unit of area. For the lift w, D w'''' + (k_a + k_h) w = m', with D w'' = 0 and
    D w''' = m at the free mouth. For tau exp(-lambda z), and b^4 = (k_a + k_h)/(4 D),
    peel = tau h b^2 k_a/(k_a + k_h) (2 b + lambda)/(2 b^2 + 2 b lambda + lambda^2).
    Even shear on a flat wall gives tau h b, the peel of a double lap (Hart-Smith, NASA CR-112235,
    1973, from memory); shear over a short length that of an edge moment (tau/lambda) h/2.

    Validity: elastic; thin wall; overlap above about 4/b. Left out: the plug thins by u = nu_p r_p
    times its strain where it is pulled, and so adds, for a strain that falls as the shear does,
    k_a u [1 - 2 b (b + lambda) k_a/(k_a + k_h)/(2 b^2 + 2 b lambda + lambda^2)]: little where the
    shear falls slowly, much where it falls within 1/b. Left out too: stretch of the tube's hoop
    by its own pull (a few parts in a hundred less), give of the plug, shear inside the wall,
    chamfer and fillet, and the sharp edge stress of the layer. 1/b is often not much above h: an
    estimate of size, to compare designs, not a limit to design up to.
    """
    tau = real("mouth_shear", mouth_shear)
    outer = real("tube_outer_radius", tube_outer_radius, above=0)
    plug, t = real("plug_radius", plug_radius, above=0), real("gap", gap, above=0)
    along = real("tube_modulus", tube_modulus, above=0)
    around = real("hoop_modulus", hoop_modulus, above=0)
    nu = real("poisson_ratio", poisson_ratio, at_least=0, at_most=0.5)
    through = real("adhesive_modulus", adhesive_modulus, above=0)
    # Even shear is a decay of 0, whatever the length.
    decay = (
        np.zeros(()) if shear_length is None else 1 / real("shear_length", shear_length, above=0)
    )
    compatible(
        mouth_shear=tau,
        tube_outer_radius=outer,
        plug_radius=plug,
        gap=t,
        tube_modulus=along,
        hoop_modulus=around,
        poisson_ratio=nu,
        adhesive_modulus=through,
        shear_length=decay,
    )
    less("plug_radius + gap", plug + t, "tube_outer_radius", outer)
    h, a = outer - plug - t, (outer + plug + t) / 2
    layer, hoop = through / t, around * h / a**2
    bending = along * h**3 / (12 * (1 - nu**2))
    b = ((layer + hoop) / (4 * bending)) ** 0.25
    reach = (2 * b + decay) / (2 * b * b + 2 * b * decay + decay * decay)
    return np.asarray(tau * h * b * b * layer / (layer + hoop) * reach)[()]
