"""Time in service: what damp and a steady load do, and how a life is cut into slices.

Ages in years. Strength only falls with age, so a slice of life that is judged by the strength at
its end is never judged too well.
"""

from __future__ import annotations

import operator
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics.arguments import compatible, real, real_or_endless
from jointrisk.mechanics.environment import moisture_factor

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "ageing_scatter",
    "loss_reached",
    "slice_edges",
    "survival_of_slices",
    "sustained_ratio",
    "sustained_too_high",
]

_ROUNDING = 1e-12  # a loss worked out as 1 - factor may end this much above the full loss


def loss_reached(
    time: npt.ArrayLike,
    humidity: npt.ArrayLike,
    saturated_factor: npt.ArrayLike,
    time_constant: npt.ArrayLike,
) -> Array:
    """Return the share of the strength that damp has taken by now.

    Parameters
    ----------
    time, time_constant : array_like, (n,) [years]
        As in `environment.moisture_factor`.
    humidity, saturated_factor : array_like, (n,) [-]
        As in `environment.moisture_factor`.

    Returns
    -------
    ndarray, (n,) [-]
        1 - moisture_factor; at most the full loss, which is 1 - saturated_factor.

    Raises
    ------
    InputError
        As `environment.moisture_factor`.
    """
    return np.asarray(1 - moisture_factor(time, time_constant, humidity, saturated_factor))[()]


def ageing_scatter(
    loss: npt.ArrayLike, full_loss: npt.ArrayLike, *, cov: npt.ArrayLike = 0.18
) -> Array:
    """Return the scatter of the factor by which each joint ages in its own way.

    Parameters
    ----------
    loss : array_like, (n,) [-]
        Share of the strength lost by now, as from `loss_reached`.
    full_loss : array_like, (n,) [-]
        The same after a long time at 100 % humidity; 0 for a bond that does not age.
    cov : array_like, (n,) [-]
        Coefficient of variation of the factor at full loss; its size and its growth in
        proportion to the loss are judgement.

    Returns
    -------
    ndarray, (n,) [-]
        sqrt(ln(1 + (cov loss/full_loss)^2)), the standard deviation of the log of a lognormal
        factor with median 1; 0 where nothing is lost yet.

    Raises
    ------
    InputError
        For a share outside 0 to 1, a loss above the full loss or a negative cov.

    Notes
    -----
    By definition of the lognormal. The default brings a scatter of 10 % when new near the 21 %
    found after 2688 h at 50 degC in one series of bonds (Escobar, Meeker, Kugler and Kramer,
    2003); other bonds had from 5 to 41 % (Beckwith, 1980).
    """
    lost = real("loss", loss, at_least=0, at_most=1)
    full = real("full_loss", full_loss, at_least=0, at_most=1)
    scatter = real("cov", cov, at_least=0)
    compatible(loss=lost, full_loss=full, cov=scatter)
    over = np.asarray(lost - full)
    if over.size and over.max() > _ROUNDING:
        worst = np.unravel_index(int(over.argmax()), over.shape)
        pair = [float(np.broadcast_to(side, over.shape)[worst]) for side in (lost, full)]
        raise InputError(f"loss must be at most full_loss; got {pair[0]:g} against {pair[1]:g}")
    share = np.divide(lost, full, out=np.zeros_like(over), where=full > 0)
    return np.asarray(np.sqrt(np.log1p((scatter * np.minimum(share, 1)) ** 2)))[()]


def sustained_ratio(load: npt.ArrayLike, strength: npt.ArrayLike) -> Array:
    """Return the share of its strength that a bond has to carry all the time.

    Parameters
    ----------
    load : array_like, (n,) [N]
        Steady load; its sign makes no difference.
    strength : array_like, (n,) [N]
        In the direction of the load, hot and aged as it will be.

    Returns
    -------
    ndarray, (n,) [-]
        |load|/strength, by definition; inf where there is a load and no strength, 0 without load.

    Raises
    ------
    InputError
        For a negative strength or values that are not finite.
    """
    steady, held = np.abs(real("load", load)), real("strength", strength, at_least=0)
    compatible(load=steady, strength=held)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return np.asarray(np.where(steady > 0, steady / held, 0.0))[()]


def sustained_too_high(
    ratio: npt.ArrayLike, *, allowed: npt.ArrayLike = 0.25
) -> npt.NDArray[np.bool_]:
    """Return where a steady load is more than a bond should carry for long.

    Parameters
    ----------
    ratio : array_like, (n,) [-]
        Of `sustained_ratio`; inf is allowed.
    allowed : array_like, (n,) [-]
        Share of the strength that may stay on for years. The default is judgement.

    Returns
    -------
    ndarray of bool, (n,) [-]
        True above `allowed`, False at it.

    Raises
    ------
    InputError
        For a negative ratio, or `allowed` not above 0 or more than 1.

    Notes
    -----
    General durability literature, from memory: 0.3 or less of the strength in humid air, and
    failures within days at half the strength in hot wet air. No time to failure is worked out.
    """
    share = real_or_endless("ratio", ratio)
    line = real("allowed", allowed, above=0, at_most=1)
    compatible(ratio=share, allowed=line)
    return np.asarray(share > line)[()]


def slice_edges(years: npt.ArrayLike, slices: int) -> Array:
    """Return the ages between which the slices of a life lie, all of one length.

    Parameters
    ----------
    years : float [years]
        Length of the life.
    slices : int [-]
        How many, 1 or more. One slice judges the whole life by its end.

    Returns
    -------
    ndarray, (slices + 1,) [years]
        0, years/slices, ... years. Slice i lies between edges[i] and edges[i + 1], and its
        strength is to be taken at its END: edges[1:] are those ages, np.diff(edges) the lengths.

    Raises
    ------
    InputError
        For a life that is not one positive number, or slices that are not a count from 1 up.
    """
    life = real("years", years, above=0)
    if life.ndim:
        raise InputError(f"years must be one number; got shape {life.shape}")
    try:
        count = operator.index(slices)
    except TypeError as cause:
        raise InputError(f"slices must be a whole number; got {slices!r}") from cause
    if count < 1:
        raise InputError(f"slices must be at least 1; got {count}")
    return np.linspace(0.0, float(life), count + 1)


def survival_of_slices(rates: npt.ArrayLike, years: npt.ArrayLike) -> Array:
    """Return the chance to live through all slices, each draw by itself.

    Parameters
    ----------
    rates : array_like, (slices, n) [1/years]
        Rate in each slice at which loads above the strength at its end come: for the largest
        load of a year with distribution F it is -ln F(strength). inf is allowed.
    years : array_like, (slices,) [years]
        Length of each slice, as ``np.diff(slice_edges(...))``.

    Returns
    -------
    ndarray, (n,) [-]
        exp(-sum over slices of rate years): the survivals of the slices, multiplied.

    Raises
    ------
    InputError
        For a negative rate, a length that is not positive, or one that is not given for each
        slice.

    Notes
    -----
    Derived for loads that come anew in each slice while the strength of one draw lasts. Average
    over the draws afterwards. To multiply averages would let a weak joint become another one
    with each slice, and count its chance of failure again.
    """
    coming, length = real_or_endless("rates", rates), real("years", years, above=0)
    if not coming.ndim or length.shape != coming.shape[:1]:
        raise InputError(
            "years must have one length for each slice of rates; "
            f"got shapes {length.shape} and {coming.shape}"
        )
    with np.errstate(over="ignore"):
        expected = (coming.T * length).T.sum(axis=0)
        return np.asarray(np.exp(-expected))[()]
