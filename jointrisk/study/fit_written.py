"""What to write in a scenario after breaking coupons: scatter, and what is not known, apart."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from scipy import special

from jointrisk.scenario import tables
from jointrisk.study.fit_results import Written

if TYPE_CHECKING:
    from jointrisk.spread import Fit
    from jointrisk.study.fit_batches import Split
    from jointrisk.study.fit_posterior import Posterior

__all__ = ["written"]

CHANCE = 0.01
"""The spreads that are written meet what is expected of the next coupon here [-]."""
WIDEST = 2.0
"""Scatter above this is no spread of one kind of bond: judgement [-]."""
OWN, BATCH = "model.bond_factor", "batch.bond_factor"


def written(name: str, done: Fit, left: Posterior, split: Split | None) -> Written | None:
    """Return what to write for coupons that broke at a stress.

    Parameters
    ----------
    name : str
        File that the numbers come from, "" for none.
    done : Fit
        Their lognormal fit.
    left : Posterior
        What they leave open of the family that is written: lognormal, or weibull where that is
        far better.
    split : Split, optional
        Where the batches were told apart; lognormal.

    Returns
    -------
    Written or None
        None where they scatter too widely.

    Notes
    -----
    A scenario's scatter is one lognormal, so that what is not known of its width cannot be
    written beside it. Scatter and doubt are therefore both made wider by one factor, so that
    together they put the 1-in-100 value where it is expected of the next coupon; for n that all
    broke the factor on the sd of the logs is t/z, t Student's with n - 1 degrees of freedom. What
    is not known of the middle, 1/(n + 1) of the variance, is the same for all joints and goes to
    the model's own doubt. A weibull's shape k is set by the share of the scatter in
    ln(median/low) = (ln ln 2 - ln(-ln 0.99))/k.
    """
    z = -float(special.ndtri(CHANCE))
    median, low = left.quantile(0.5), left.quantile(CHANCE)
    of_middle = done.covariance[0][0] / done.scale**2
    share = of_middle / (1.0 + of_middle)
    if split is not None:
        median, low, share = math.exp(split.mean), split.quantile(CHANCE), split.of_mean / split.new
    total = (math.log(median / low) / z) ** 2
    unknown, scatter, batch = share * total, (1.0 - share) * total, None
    if split is not None:
        inner = split.within * (float(special.stdtrit(split.inner_dof, CHANCE)) / z) ** 2
        batch, scatter = max(0.0, scatter - inner), min(scatter, inner)
        if _cov(batch) <= _default(BATCH):
            batch = None
    shape = "weibull" if left.family == "weibull" and split is None else ""
    doubt = _cov(unknown)
    model = math.sqrt((1.0 + doubt**2) * (1.0 + _default(OWN) ** 2) - 1.0)
    own = _weibull_cov(z * math.sqrt(scatter)) if shape else _cov(scatter)
    if own > WIDEST:
        return None
    covs = (own, None if batch is None else _cov(batch), doubt, model)
    sd = done.scale * math.sqrt(done.failures / (done.failures - 1.0))
    lines = _lines(f"{done.failures} coupons{name and f' of {name}'}", shape, median, *covs)
    plain = math.sqrt(split.within) if split is not None else sd
    return Written(lines, shape or "lognormal", median, *covs, math.sqrt(scatter) / plain)


def _cov(variance: float) -> float:
    """Return the coefficient of variation of a lognormal by the variance of its log."""
    return math.sqrt(math.expm1(min(variance, 50.0)))


def _weibull_cov(drop: float) -> float:
    """Return the coefficient of variation of a Weibull by ln(median/its 1-in-100 value)."""
    shape = (math.log(math.log(2.0)) - math.log(-math.log1p(-CHANCE))) / drop
    first, second = math.lgamma(1.0 + 1.0 / shape), math.lgamma(1.0 + 2.0 / shape)
    return math.sqrt(math.expm1(min(second - 2.0 * first, 50.0)))


def _default(key: str) -> float:
    return float(tables.default(key).value["cov"])


def _lines(
    source: str,
    shape: str,
    median: float,
    scatter: float,
    batch: float | None,
    doubt: float,
    model: float,
) -> tuple[str, ...]:
    """Return lines of a scenario."""
    told = json.dumps(source, ensure_ascii=False)
    dist = f'dist = "{shape}", ' if shape else ""
    lines = [
        "[adhesive]                 # beside the class that stands there",
        'evidence = "own coupons"   # "own pulls" where worked back from whole rods',
        f'shear_strength = {{ median = "{median:.4g} MPa", cov = {_up(scatter)}, '
        f"{dist}source = {told} }}",
        '# evidence_surface = "..."  # how they were prepared, where not "abraded and wiped"',
    ]
    if batch is not None:
        lines += [
            "",
            "[batch]",
            f"bond_factor = {{ mean = 1, cov = {_up(batch)}, source = {told} }}",
        ]
    both = json.dumps(
        f"{_default(OWN):g} of the model, {_up(doubt)} of {source}", ensure_ascii=False
    )
    return (
        *lines,
        "",
        "[model]",
        f"bond_factor = {{ mean = 1, cov = {_up(model)}, source = {both} }}",
    )


def _up(value: float) -> str:
    """Return a number with three decimals, rounded up."""
    return f"{math.ceil(value * 1000 - 1e-9) / 1000:g}"
