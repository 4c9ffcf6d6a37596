"""A spread in another shape: scatter wider, family another, mean and standard deviation kept."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from jointrisk.errors import InputError
from jointrisk.scenario.given import Given, build

if TYPE_CHECKING:
    from jointrisk.spread import Spread

__all__ = ["as_family", "family_of", "held", "scattered"]

_TINY = 1e-12
_STEPS = 200
_MOST_COV = 0.7
"""Above this a normal cut at 0 cannot have the mean and the standard deviation asked for [-]."""


def scattered(base: Spread, factor: float) -> Spread:
    """Return `base` with its standard deviation times a factor, mean and family kept.

    A truncated spread keeps its limits, a bounded one is stretched about its mean.

    Parameters
    ----------
    base : Spread [unit of the variable]
    factor : float
        Above 0 [-].
    """
    from jointrisk import spread

    if isinstance(base, spread.Truncated):
        return spread.Truncated(scattered(base.base, factor), base.low, base.high)
    mean, sd = float(base.mean), float(base.sd)
    if isinstance(base, spread.Normal | spread.Lognormal | spread.Gumbel):
        return type(base)(mean, factor * sd)
    if isinstance(base, spread.Weibull) and base.shift == 0.0:
        return as_family(spread.Lognormal(mean, factor * sd), "weibull")
    return spread.Scaled(base, factor, mean * (1.0 - factor))


def as_family(base: Spread, family: str) -> Spread:
    """Return a spread of another family with the same mean and standard deviation.

    Parameters
    ----------
    base : Spread [unit of the variable]
        Of a quantity that stays above zero.
    family : str
        "lognormal", "normal", "weibull" or "gumbel"; a normal is cut at 0, its mean and
        standard deviation are those after the cut.

    Raises
    ------
    InputError
        If the family cannot have them.
    """
    mean, sd = float(base.mean), float(base.sd)
    if not mean > 0.0:
        raise InputError(f"the family is changed of what stays above zero (got a mean of {mean:g})")
    if family == "normal":
        return _cut_normal(mean, sd)
    return build(Given("ratio", "", {"mean": mean, "sd": sd}), family)


def family_of(base: Spread) -> str:
    """Return the name of a spread's family, that of what was cut for a truncated one."""
    from jointrisk import spread

    if isinstance(base, spread.Truncated | spread.Scaled):
        return family_of(base.base)
    return type(base).__name__.lower()


def held(base: Spread, low: float, high: float) -> Spread:
    """Return `base` cut to the range that its quantity can have, as it is where it keeps to it."""
    from jointrisk import spread

    if isinstance(base, spread.Fixed):
        return spread.Fixed(min(max(base.value, low), high))
    below = math.isfinite(low) and float(base.cdf(math.nextafter(low, -math.inf))) > _TINY
    above = math.isfinite(high) and float(base.sf(high)) > _TINY
    return spread.Truncated(base, low, high) if below or above else base


def _cut_normal(mean: float, sd: float) -> Spread:
    """Return a normal cut at 0 that has a mean and a standard deviation after the cut."""
    from jointrisk import spread

    if sd > _MOST_COV * mean:
        raise InputError(f"a normal cut at 0 cannot scatter so much (got CoV {sd / mean:.3g})")
    middle, width = mean, sd
    for _ in range(_STEPS):
        z = -middle / width
        above = 0.5 * math.erfc(z / math.sqrt(2.0))
        ratio = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) / above
        found = middle + width * ratio
        variance = width**2 * (1.0 + z * ratio - ratio**2)
        step = abs(found / mean - 1.0) + abs(math.sqrt(variance) / sd - 1.0)
        if step < _TINY:
            break
        middle += mean - found
        width *= sd / math.sqrt(variance)
    plain = spread.Normal(middle, width)
    return spread.Truncated(plain, 0.0) if float(plain.cdf(0.0)) > 0.0 else plain
