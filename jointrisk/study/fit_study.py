"""The study `fit`: what broken coupons or rods say of their spread, and what so few cannot say."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError, ScenarioError
from jointrisk.scenario.broken import given_coupons, read_coupons
from jointrisk.study.fit_batches import batches_of
from jointrisk.study.fit_checks import outliers_of, ranks, weak_of
from jointrisk.study.fit_posterior import posterior
from jointrisk.study.fit_results import Basis, Coupon, CouponFit, Curve, FamilyFit, Tail
from jointrisk.study.fit_written import written
from jointrisk.study.running import host_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.broken import Coupons
    from jointrisk.spread import Fit
    from jointrisk.study.fit_posterior import Posterior

    Array = npt.NDArray[np.float64]

__all__ = ["fit"]

FEWEST = 3
"""Coupons that broke, for a spread to be fitted [-]."""
JUDGED_FROM = 8
"""Values from which the significance of a fit holds: D'Agostino and Stephens, *Goodness-of-Fit
Techniques* (1986), sec. 4.8 [-]."""
MOST = 5000
"""Coupons that are taken [-]."""
LIMITS = (0.05, 0.95)
"""Ends of every interval: the lower one alone is passed with 95 in 100."""
FAR_BETTER = 6.0
"""Akaike's criterion above the best from which a family is far worse: judgement [-]."""
COUNTS = (6, 10, 15, 20, 30, 60)
"""Sizes of sets that are looked at [-]."""
POINTS = 61
_UNITS = {"stress": "MPa", "force": "N"}


def fit(
    coupons: str | os.PathLike[str] | Sequence[object],
    *,
    column: str | None = None,
    unit: str | None = None,
    held: Sequence[object] | None = None,
    batches: Sequence[object] | None = None,
) -> CouponFit:
    """Return what broken coupons or rods say of their spread.

    Parameters
    ----------
    coupons : path, or sequence of str or float [as each says, or `unit`]
        A CSV file with a header, or values such as "14.2 MPa", or numbers in `unit`.
    column : str, optional
        Of a file: head of the column of values, where more than one could be it.
    unit : str, optional
        Of values without one, such as "MPa" or "kN".
    held : sequence of bool, optional
        Of values: True for each that did not break.
    batches : sequence of str, optional
        Of values: the batch of each.

    Returns
    -------
    CouponFit

    Raises
    ------
    ScenarioError
        With everything that cannot be used, all at once.

    Notes
    -----
    Nothing is drawn at random: the same numbers give the same answer.
    """
    started = time.time()
    if isinstance(coupons, str | os.PathLike):
        found = read_coupons(coupons, column=column)
    else:
        found = given_coupons(coupons, unit=unit, held=held, batches=batches)
    _few_enough(found)
    with np.errstate(over="ignore", under="ignore", divide="ignore", invalid="ignore"):
        return _result(found, started)


def _few_enough(found: Coupons) -> None:
    from jointrisk.errors import Problem

    if len(found.coupons) > MOST:
        what = Problem("", "holds too many values", f"{len(found.coupons)}", f"{MOST} or fewer")
        raise ScenarioError(found.name, [what])


def _result(found: Coupons, started: float) -> CouponFit:
    rows = found.coupons
    values = np.array([c.value for c in rows if not c.held])
    held = np.array([c.value for c in rows if c.held])
    why, fits, frame = _fits(values, held)
    left = {name: posterior(values, held, done) for name, done in fits.items()}
    families = tuple(
        _family(values, held, fits[name], left[name], frame.loc[name])
        for name in (frame.index if fits else ())
        if name in fits
    )
    batches, split = batches_of(rows)
    told = split if batches is not None and batches.verdict == "apart" else None
    write = None
    if fits and found.dimension == "stress":
        name = found.name if found.sha256 else ""
        far = {f.family for f in families if f.aic_above_best > FAR_BETTER}
        best = "weibull" if "lognormal" in far and "weibull" not in far else "lognormal"
        write = written(name, fits["lognormal"], left[best], told)
    complete = not held.size
    mean = float(values.mean()) if complete and values.size else None
    sd = float(values.std(ddof=1)) if complete and values.size > 1 else None
    return CouponFit(
        title=found.name,
        column=found.column,
        dimension=found.dimension,
        unit=_UNITS[found.dimension],
        coupons=tuple(
            Coupon(c.row, c.value, c.held, c.batch, c.note, rank)
            for c, rank in zip(rows, ranks(rows), strict=True)
        ),
        count=len(rows),
        broke=values.size,
        mean=mean,
        sd=sd,
        cov=None if sd is None or mean is None else sd / mean,
        why_no_fit=why,
        families=families,
        far_better=FAR_BETTER,
        more=_more(values) if families and complete and told is None else (),
        batches=batches,
        outliers=outliers_of(rows),
        weak=weak_of(rows, float(fits["lognormal"].spread.ppf(0.5))) if fits else None,
        written=write,
        curves=_curves(values, fits, left),
        unread=found.unread,
        run=_run(found),
        host=host_of(started, None),
    )


def _fits(values: Array, held: Array) -> tuple[str, dict[str, Fit], Any]:
    """Return why there is none, or each family's fit and the table that compares them."""
    from jointrisk import spread
    from jointrisk.spread.fitting import FAMILIES

    if values.size + held.size == 1:
        return "one", {}, None
    if values.size < FEWEST:
        return "few", {}, None
    if np.ptp(values) <= 1e-9 * values.mean():
        return "equal", {}, None
    try:
        frame = spread.compare_fits(values, held)
        return "", {name: spread.fit(values, held, family=name) for name in FAMILIES}, frame
    except (EstimateError, np.linalg.LinAlgError):
        return "no fit", {}, None


def _family(values: Array, held: Array, done: Fit, left: Posterior, row: Any) -> FamilyFit:
    return FamilyFit(
        family=done.family,
        parameters=dict(done.parameters),
        standard_errors=dict(done.standard_errors),
        aic=done.aic,
        aic_above_best=float(row["aic_above_best"]),
        anderson_darling=_known(row["anderson_darling"]),
        significance=_known(row["significance"]) if values.size >= JUDGED_FROM else None,
        one_in_100=_tail(done, left, 0.01),
        one_in_1000=_tail(done, left, 0.001),
        basis=tuple(_basis(values, held, left, *each) for each in (("B", 0.9), ("A", 0.99))),
    )


def _known(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _tail(done: Fit, left: Posterior, chance: float) -> Tail:
    low, high = left.limits(chance, LIMITS)
    return Tail(chance, float(done.spread.ppf(chance)), left.quantile(chance), low, high)


def _basis(values: Array, held: Array, left: Posterior, name: str, share: float) -> Basis:
    """Return a basis value: by its exact factor where all broke, else by what is left open."""
    from jointrisk import spread

    if held.size:
        return Basis(name, share, left.limits(1.0 - share, LIMITS[:1])[0])
    family: Any = left.family
    return Basis(name, share, float(spread.basis_value(values, family=family, fraction=share)))


def _more(values: Array) -> tuple[tuple[int, float], ...]:
    """Return the expected 1-in-100 value of larger sets with the same mean and sd of the logs."""
    from scipy import special

    logs = np.log(values)
    mean, sd = logs.mean(), logs.std(ddof=1)
    counts = (values.size, *(n for n in COUNTS if n > values.size))
    return tuple(
        (n, float(np.exp(mean + special.stdtrit(n - 1, 0.01) * sd * np.sqrt(1.0 + 1.0 / n))))
        for n in counts
    )


def _curves(values: Array, fits: dict[str, Fit], left: dict[str, Posterior]) -> tuple[Curve, ...]:
    """Return each family over the values, and a good way below them."""
    if not fits:
        return ()
    least = float(values.min())
    low = min(0.8 * least, max(left["lognormal"].quantile(0.001), 0.25 * least))
    x = np.geomspace(low, 1.15 * float(values.max()), POINTS)
    made = []
    for name, done in fits.items():
        band = left[name].band(x, LIMITS)
        columns = (x, done.spread.cdf(x), left[name].below(x), band[:, 0], band[:, 1])
        made.append(Curve(name, *(tuple(map(float, column)) for column in columns)))
    return tuple(made)


def _run(found: Coupons) -> dict[str, Any]:
    import platform

    import scipy

    import jointrisk

    return {
        "versions": {
            "jointrisk": jointrisk.__version__,
            "python": platform.python_version(),
            "numpy": np.__version__,
            "scipy": scipy.__version__,
        },
        "file_sha256": found.sha256 or None,
        "column": found.column,
        "options": {"interval": 0.90, "basis_confidence": 0.95, "outlier_level": 0.05},
    }
