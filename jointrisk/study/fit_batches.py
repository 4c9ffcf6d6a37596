"""How much of the scatter of broken coupons lies between their batches.

One-way analysis of variance with random batches, on the logs: what a batch does is taken as a
factor on all of its bonds. Sources: Searle, Casella and McCulloch, *Variance Components* (1992),
ch. 3; the exact limits of the ratio of the two: Wald (1940), Ann. Math. Statist. 11(1), 96-100,
doi:10.1214/aoms/1177731946; degrees of freedom of a sum of mean squares: Satterthwaite (1946),
Biometrics Bull. 2(6), 110-114, doi:10.2307/3002019. All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from jointrisk.study.fit_results import Batch, Batches

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.broken import Broken

    Array = npt.NDArray[np.float64]

__all__ = ["Split", "batches_of", "split"]

LEVEL = 0.05
"""Below this chance the batches are told apart [-]."""
FEWEST = 3
"""Batches from which their scatter is looked at [-]."""


@dataclass(frozen=True, slots=True)
class Split:
    """Analysis of variance of logs in batches."""

    mean: float
    """Of all logs [-]."""
    within: float
    """Variance inside a batch [-]."""
    between: float
    """Variance from batch to batch, 0 or more [-]."""
    low: float
    high: float
    """Limits of the latter, each passed with 5 in 100 [-]."""
    ratio: float
    significance: float
    new: float
    """Variance of one more, of a new batch, about `mean`, what is not known of `mean` included."""
    of_mean: float
    """Variance of `mean` [-]."""
    dof: float
    """Degrees of freedom of `new`."""
    inner_dof: int

    def quantile(self, chance: float) -> float:
        """Return what one more, of a new batch, lies below with a chance [unit of the value]."""
        return float(np.exp(self.mean + special.stdtrit(self.dof, chance) * np.sqrt(self.new)))


def batches_of(coupons: Sequence[Broken]) -> tuple[Batches | None, Split | None]:
    """Return what there is to say of batches, and the analysis where there is one."""
    names = list(dict.fromkeys(c.batch for c in coupons))
    if names == [""]:
        return None, None
    rows, groups = [], []
    for name in names:
        values = np.array([c.value for c in coupons if c.batch == name and not c.held])
        held = sum(c.held for c in coupons if c.batch == name)
        mean = float(values.mean()) if values.size else None
        sd = float(values.std(ddof=1)) if values.size > 1 else None
        rows.append(Batch(name, values.size, held, mean, sd))
        groups.append(np.log(values))
    nothing = (None,) * 8
    if any(c.held for c in coupons):
        return Batches(tuple(rows), "held", *nothing), None
    spare = len(coupons) - len(groups)
    inner = sum(float(np.sum((g - g.mean()) ** 2)) for g in groups)
    if len(groups) < FEWEST or spare < 1 or inner <= 0.0:
        return Batches(tuple(rows), "few", *nothing), None
    found = split(groups)
    told = Batches(
        tuple(rows),
        "apart" if found.significance < LEVEL else "not apart",
        float(np.sqrt(found.within)),
        float(np.sqrt(found.between)),
        float(np.sqrt(found.low)),
        float(np.sqrt(found.high)) if found.high > 0.0 else None,
        found.ratio,
        found.significance,
        found.quantile(0.01),
        found.quantile(0.001),
    )
    return told, found


def split(groups: Sequence[Array]) -> Split:
    """Return the analysis of variance of groups of logs.

    Parameters
    ----------
    groups : sequence of ndarray, (k,) of (n_i,)
        Logs of the values of each batch [-]; two batches or more, some with two values or more.
    """
    counts = np.array([g.size for g in groups], dtype=np.float64)
    means = np.array([g.mean() for g in groups])
    k, n = counts.size, counts.sum()
    mean = float(np.concatenate(list(groups)).mean())
    inner_dof = int(n - k)
    within = float(sum(np.sum((g - g.mean()) ** 2) for g in groups)) / inner_dof
    outer = float(counts @ (means - mean) ** 2) / (k - 1)
    size = float(n - (counts**2).sum() / n) / (k - 1)
    between = max(0.0, (outer - within) / size)
    ratio = outer / within
    low, high = (
        within * _wald(counts, means, within, float(special.fdtri(k - 1, inner_dof, level)))
        for level in (0.95, 0.05)
    )
    # One more of a new batch: mean squares outer/size + (1 - 1/size) within, plus the mean's own.
    parts = np.array([outer / size, (1.0 - 1.0 / size) * within])
    if between == 0.0:
        parts = np.array([0.0, (outer * (k - 1) + within * inner_dof) / (n - 1)])
    total = float(parts.sum())
    dof = total**2 / float(parts @ (parts / np.array([k - 1, inner_dof])))
    if between == 0.0:
        dof = float(n - 1)
    of_mean = float((counts**2).sum()) / n**2 * between + (total - between) / n
    return Split(
        mean=mean,
        within=within,
        between=between,
        low=low,
        high=high,
        ratio=ratio,
        significance=float(special.fdtrc(k - 1, inner_dof, ratio)),
        new=total + of_mean,
        of_mean=of_mean,
        dof=dof,
        inner_dof=inner_dof,
    )


def _wald(counts: Array, means: Array, within: float, quantile: float) -> float:
    """Return the ratio of variances at which the weighted mean squares are that quantile of F."""

    def excess(theta: float) -> float:
        weight = counts / (1.0 + theta * counts)
        mean = weight @ means / weight.sum()
        return float(weight @ (means - mean) ** 2) / ((counts.size - 1) * within) - quantile

    if excess(0.0) <= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    while excess(high) > 0.0 and high < 1e12:
        high *= 4.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)
