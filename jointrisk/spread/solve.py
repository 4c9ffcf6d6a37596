"""Safeguarded root-finding for many equations at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from jointrisk.spread.base import FloatArray

__all__ = ["find_root"]

PATIENCE = 20
"""Bisections after this many steps halve the magnitude, to reach a root next to zero."""

Residual = Callable[[FloatArray, npt.NDArray[np.intp]], FloatArray]


def find_root(
    residual: Residual, low: FloatArray, high: FloatArray, *, steps: int = 200
) -> FloatArray:
    """Solve n increasing equations, each inside its own bracket.

    Inverse quadratic interpolation where three points bend little, else bisection; the root
    never leaves its bracket, so jumps and flat stretches cost steps but do no harm.

    Parameters
    ----------
    residual : callable
        Maps values x, (k,), and the numbers i, (k,), of their equations to residuals, (k,),
        that do not fall as x grows; infinite residuals are allowed.
    low, high : ndarray, (n,) [unit of x]
        Brackets: the residual is ≤ 0 at `low` and ≥ 0 at `high`.
    steps : int [-]
        Most steps.

    Returns
    -------
    ndarray, (n,) [unit of x]
        Roots, to four units in the last place of x or a residual of zero.

    References
    ----------
    Chandrupatla, T. R. (1997), "A new hybrid quadratic/bisection algorithm for finding the
    zero of a nonlinear function without using derivatives", Advances in Engineering
    Software 28(3), 145-149, doi:10.1016/S0965-9978(96)00051-8.
    """
    eps = 4.0 * np.finfo(float).eps
    i = np.arange(low.size)
    root = low.astype(np.float64)
    b, a = low.astype(np.float64), high.astype(np.float64)
    fb, fa = residual(b, i), residual(a, i)
    c, fc, share = a, fa, np.full(low.size, 0.5)
    for done in range(steps):
        best = np.where(np.abs(fa) <= np.abs(fb), a, b)
        root[i] = best
        width = np.abs(b - a)
        least = np.minimum(np.abs(fa), np.abs(fb))
        tolerance = 0.5 * (eps * np.abs(best) + 1e-305) / width
        going = (least > 0.0) & (tolerance < 0.5) & (np.sign(fa) != np.sign(fb))
        if not going.any():
            break
        i, a, b, c = i[going], a[going], b[going], c[going]
        fa, fb, fc = fa[going], fb[going], fc[going]
        step = np.clip(share[going], tolerance[going], 1.0 - tolerance[going])
        x = a + step * (b - a)
        if done > PATIENCE:
            x = np.where(share[going] == 0.5, _middle_of_magnitudes(a, b), x)
        fx = residual(x, i)
        same = np.sign(fx) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        share = _next_share(a, b, c, fa, fb, fc)
    return root


def _middle_of_magnitudes(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the geometric mean of a bracket's ends, or zero between opposite signs."""
    least = np.finfo(float).tiny
    size = np.sqrt(np.maximum(np.abs(a), least)) * np.sqrt(np.maximum(np.abs(b), least))
    return np.where(a * np.sign(b) < 0.0, 0.0, np.where(a + b < 0.0, -size, size))


def _next_share(
    a: FloatArray, b: FloatArray, c: FloatArray, fa: FloatArray, fb: FloatArray, fc: FloatArray
) -> FloatArray:
    """Return where between a and b to look next, 0 to 1: Chandrupatla's criterion."""
    with np.errstate(all="ignore"):
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        bends_little = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
        quadratic = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (
            fc - fb
        )
        usable = bends_little & np.isfinite(quadratic)
        return np.where(usable, quadratic, 0.5)
