"""What was not known, before and after a log."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from jointrisk.model.draws import correlate
from jointrisk.study.learn_failure import QUANTILES, quantile
from jointrisk.study.learn_results import LearntUnknown, WeakShare

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.study.learn_rods import Space
    from jointrisk.study.learn_states import States

    Array = npt.NDArray[np.float64]

TINY = 1e-12


def unknowns(space: Space, states: States) -> tuple[LearntUnknown, ...]:
    """Return what was learnt of each thing not known, the most first.

    What the states drawn say of before is known better from the file itself: the quantiles after
    are those of the file, moved by what the weights move them in the drawn scores.

    Parameters
    ----------
    space : Space
    states : States
    """
    rods = space.rods
    u = np.zeros((states.scores.shape[0], rods.layout.dimension))
    u[:, space.state] = states.scores
    scores = correlate(u, rods.layout, rods.groups)
    found = []
    for key, columns in rods.layout.columns.items():
        if space.state[columns].any():
            found.append(_one(space, key, scores[:, columns.start], states))
    return tuple(sorted(found, key=_least_learnt))


def _least_learnt(entry: LearntUnknown) -> float:
    """Return minus the divergence of two normal laws of those means and spreads [-]."""
    narrowed = max(entry.narrowed, TINY)
    return -0.5 * (entry.shift**2 + narrowed**2 - 1.0 - 2.0 * float(np.log(narrowed)))


def _one(space: Space, key: str, z: Array, states: States) -> LearntUnknown:
    variable = space.rods.variables[key]
    prior, posterior = states.prior, states.posterior
    at = ndtri(QUANTILES)
    moved = [quantile(z, posterior, q) - quantile(z, prior, q) for q in QUANTILES]
    after = variable.spread.from_normal(np.maximum.accumulate(at + np.array(moved)))
    before = variable.spread.from_normal(at)
    values = variable.spread.from_normal(np.ascontiguousarray(z))
    first, last = float(prior @ z), float(posterior @ z)
    spreads = [float(np.sqrt(w @ (z - m) ** 2)) for w, m in ((prior, first), (posterior, last))]
    mean = float(variable.spread.mean)
    return LearntUnknown(
        key=key,
        name=variable.label,
        unit=variable.unit,
        prior_mean=mean,
        prior_p05=float(before[0]),
        prior_p50=float(before[1]),
        prior_p95=float(before[2]),
        posterior_mean=mean + float(posterior @ values - prior @ values),
        posterior_p05=float(after[0]),
        posterior_p50=float(after[1]),
        posterior_p95=float(after[2]),
        shift=last - first,
        narrowed=spreads[1] / max(spreads[0], TINY),
    )


def weak_share(space: Space, states: States) -> WeakShare | None:
    """Return the share of weak joints of a new batch; None where none can be weak."""
    if not space.has_weak:
        return None
    prior, posterior = states.prior, states.posterior
    return WeakShare(
        float(prior @ states.weak),
        quantile(states.weak, prior, 0.95),
        float(posterior @ states.weak),
        quantile(states.weak, posterior, 0.95),
    )
