"""Repeated load: how many cycles a bond lives through, and what many cycles leave of it.

Ratio r [-]: largest load of a cycle, pull or push, over the strength of the same draw as it was
before the cycles began. Damage D [-]: share of the cycles to failure that is used up, 0 when new.
A block is a number of like cycles; blocks lie along the first axis.

Slope and height of the line come from lap joints under steady cycles. Blows (impact) do more
harm than this, and a load that stays for hours does another kind of harm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.errors import InputError
from jointrisk.mechanics.arguments import compatible, real, real_or_endless

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

__all__ = [
    "cycles_to_failure",
    "endurance_ratio",
    "life_to_damage",
    "miner_damage",
    "residual_strength",
]

_COEFFICIENT = 1.71  # J. Soc. Mat. Sci. Japan 34 (1985), abstract; its exponent is 0.12


def endurance_ratio(
    cycles: npt.ArrayLike,
    *,
    coefficient: npt.ArrayLike = _COEFFICIENT,
    exponent: npt.ArrayLike,
) -> Array:
    """Return the largest ratio of load to strength that a bond bears for a number of cycles.

    Parameters
    ----------
    cycles : array_like, (n,) [-]
        Number of cycles N; a part of a cycle is allowed.
    coefficient : array_like, (n,) [-]
        A, from the source below.
    exponent : array_like, (n,) [-]
        b. The source has 0.12, other series 0.104 to 0.147 (see Notes); 0.11 to 0.14 is our
        judgement of what is not known.

    Returns
    -------
    ndarray, (n,) [-]
        F/F_static = A N^-b, at most 1.

    Raises
    ------
    InputError
        For a negative number of cycles, or a coefficient or exponent that is not positive.

    Notes
    -----
    Source: lap joints of epoxy-polyamide, one line for all overlaps, J. Soc. Mat. Sci. Japan
    34(386), 1985, abstract read only. The SNL/MSU/DOE composite fatigue database (2019), one
    epoxy paste, gives 1/b of 8.7 (loads from 0.1 to 1) and 7.4 (loads from -1 to 1), wet 9.6 and
    6.8; fibre composite laps with a ductile adhesive 7.4 (Liu, Wang, Wu and Keller, 2021).
    Valid from about 1e2 to 1e7 cycles; beyond, the line is drawn on, so there is no load that
    lasts for ever. Neither the mean load nor the rate of cycling enters.
    """
    count = real("cycles", cycles, at_least=0)
    height, slope = real("coefficient", coefficient, above=0), real("exponent", exponent, above=0)
    compatible(cycles=count, coefficient=height, exponent=slope)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(np.minimum(height * count**-slope, 1))[()]


def cycles_to_failure(
    ratio: npt.ArrayLike,
    *,
    coefficient: npt.ArrayLike = _COEFFICIENT,
    exponent: npt.ArrayLike,
) -> Array:
    """Return how many cycles of one ratio a bond lives through: `endurance_ratio` read backwards.

    Parameters
    ----------
    ratio : array_like, (n,) [-]
        Largest load of the cycle over the strength; inf where no strength is left.
    coefficient, exponent : array_like, (n,) [-]
        As in `endurance_ratio`.

    Returns
    -------
    ndarray, (n,) [-]
        N = (A/r)^(1/b): inf where r is 0 or where N is too large a number, 0 where r is above 1,
        for there the first cycle breaks the bond.

    Raises
    ------
    InputError
        For a negative ratio, or a coefficient or exponent that is not positive.

    Notes
    -----
    Derived from `endurance_ratio`, with its source and validity. A small error in r is one eight
    times as large in N.
    """
    share = real_or_endless("ratio", ratio)
    height, slope = real("coefficient", coefficient, above=0), real("exponent", exponent, above=0)
    compatible(ratio=share, coefficient=height, exponent=slope)
    with np.errstate(divide="ignore", over="ignore"):
        lived = (height / share) ** (1 / slope)
    return np.asarray(np.where(share > 1, 0.0, lived))[()]


def miner_damage(
    ratios: npt.ArrayLike,
    cycles_per_year: npt.ArrayLike,
    years: npt.ArrayLike,
    *,
    coefficient: npt.ArrayLike = _COEFFICIENT,
    exponent: npt.ArrayLike,
) -> Array:
    """Return the damage that blocks of cycles have done after some years.

    Parameters
    ----------
    ratios : array_like, (blocks, n) [-]
        Largest load of each block's cycle over the strength; (blocks,) is the same for all draws.
    cycles_per_year : array_like, (blocks, n) [1/years]
        How often; (blocks,) is the same for all draws.
    years : array_like, (n,) [years]
        Time in service.
    coefficient, exponent : array_like, (n,) [-]
        As in `endurance_ratio`.

    Returns
    -------
    ndarray, (n,) [-]
        D = sum over blocks of cycles/cycles_to_failure. inf where a ratio above 1 has occurred.

    Raises
    ------
    InputError
        For a negative number, arrays that do not have a row for each block, or as
        `cycles_to_failure`.

    Notes
    -----
    Miner, J. Appl. Mech. 12 (1945) A159; Palmgren, Z. VDI 68 (1924) 339; both from memory. Which
    block comes first makes no difference here; in tests it does, and the damage at which bonds
    fail scatters about 1. Ratios are to one strength: where a bond ages, take each slice of life
    by itself and add.
    """
    times = real("years", years, at_least=0)
    share = real_or_endless("ratios", ratios)
    rate = real("cycles_per_year", cycles_per_year, at_least=0)
    if not share.ndim or not rate.ndim or len(share) != len(rate):
        raise InputError(
            "ratios and cycles_per_year must have a row for each block; "
            f"got shapes {share.shape} and {rate.shape}"
        )
    height, slope = real("coefficient", coefficient, above=0), real("exponent", exponent, above=0)
    draws = compatible(
        ratios=np.empty(share.shape[1:]),
        cycles_per_year=np.empty(rate.shape[1:]),
        years=times,
        coefficient=height,
        exponent=slope,
    )
    share, rate = _rows(share, len(draws)), _rows(rate, len(draws))
    lived = cycles_to_failure(share, coefficient=height, exponent=slope)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        count = rate * times
        used = np.where(count > 0, count / lived, 0.0)  # what never happens does no harm
    return np.asarray(np.broadcast_to(used.sum(axis=0), draws))[()]


def residual_strength(
    ratio_of_largest_block: npt.ArrayLike, damage: npt.ArrayLike, limit: npt.ArrayLike
) -> Array:
    """Return what share of its strength a bond keeps for a single large load after its cycles.

    Parameters
    ----------
    ratio_of_largest_block : array_like, (n,) [-]
        s, the largest of the ratios that occur; more than 1 counts as 1.
    damage : array_like, (n,) [-]
        D of `miner_damage`; inf is allowed.
    limit : array_like, (n,) [-]
        Damage Delta at which this bond fails: about 1, with a scatter that is judgement.

    Returns
    -------
    ndarray, (n,) [-]
        1 - (1 - s) D/Delta, and 0 from D = Delta up.

    Raises
    ------
    InputError
        For a negative number, or a limit that is not positive.

    Notes
    -----
    At D = Delta just so much is left that the largest cycle breaks the bond. For one block this
    is the straight line of Broutman and Sahu (1972), from memory; to take it for several blocks,
    with the largest, is our assumption. Their own sum over blocks leaves less.
    """
    largest = np.minimum(real_or_endless("ratio_of_largest_block", ratio_of_largest_block), 1)
    done, end = real_or_endless("damage", damage), real("limit", limit, above=0)
    compatible(ratio_of_largest_block=largest, damage=done, limit=end)
    left = 1 - (1 - largest) * (np.minimum(done, end) / end)
    return np.asarray(np.where(done < end, left, 0.0))[()]


def life_to_damage(
    ratios: npt.ArrayLike,
    cycles_per_year: npt.ArrayLike,
    limit: npt.ArrayLike = 1.0,
    *,
    coefficient: npt.ArrayLike = _COEFFICIENT,
    exponent: npt.ArrayLike,
) -> Array:
    """Return after how many years the damage reaches its limit, if every year is like the first.

    Parameters
    ----------
    ratios : array_like, (blocks, n) [-]
        As in `miner_damage`.
    cycles_per_year : array_like, (blocks, n) [1/years]
        As in `miner_damage`.
    limit : array_like, (n,) [-]
        Damage Delta at which this bond fails; 1 by definition of the rule.
    coefficient, exponent : array_like, (n,) [-]
        As in `endurance_ratio`.

    Returns
    -------
    ndarray, (n,) [years]
        Delta over the damage of one year: inf without damage, 0 where a ratio above 1 occurs.

    Raises
    ------
    InputError
        As `miner_damage`, or for a limit that is not positive.
    """
    end = real("limit", limit, above=0)
    yearly = miner_damage(ratios, cycles_per_year, 1.0, coefficient=coefficient, exponent=exponent)
    compatible(ratios=yearly, limit=end)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(end / yearly)[()]


def _rows(array: Array, dims: int) -> Array:
    """Return the array with its first axis kept and its others set against the last of `dims`."""
    return array.reshape(len(array), *[1] * (dims + 1 - array.ndim), *array.shape[1:])
