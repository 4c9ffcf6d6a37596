"""What one value of a moved quantity comes to, read from a sample on common draws."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.bond import BOND_MODES, WALL
from jointrisk.model.members import modes_of
from jointrisk.reliability.interval import Bounds, ratio_interval, weighted_interval
from jointrisk.study.judgement import (
    CONFIDENCE,
    modes,
    permitted_load,
    strength,
    target_terms,
    worst_year,
)
from jointrisk.study.results import Chance, PermittedLoad
from jointrisk.study.sweep_results import SweepPoint

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.scenario.types import Target
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

NONE_LEFT = 0.999
"""Where more sets than these cannot be put together nothing is said of the others [-]."""
FEW_GONE = 0.1
"""Failed before the year counted, up to this share the rest counts as known [-]."""
NOT_KNOWN = Chance(np.nan, np.nan, np.nan)
SMALLEST_SHARE = 0.005
"""Causes rarer than this share are not named [-]."""
WEAK = "bonds that came out weak"
ENDS_TEAR = "bonds whose ends tear first"
FULL = "bonds of full strength"
TUBE_WALL = "the tube wall at the bond"


def buildable(sample: Sample) -> bool:
    """Tell whether enough sets can be put together to say anything of them."""
    return bool(sample.left_out < NONE_LEFT and sample.weight.any())


def judged_bounds(sample: Sample, target: Target | None) -> Bounds:
    """Return failure with its interval, as the target counts it; over the life without one."""
    fails, gone = sample.fails, np.zeros(sample.weight.size)
    if target is not None:
        year = worst_year(sample, target)
        fails, gone = target_terms(sample.rods.scenario, sample.outcome, target, year)
    terms, left = sample.weight * fails, 1.0 - sample.mean(gone)
    component = sample.component
    if sample.often or left < 1.0 - FEW_GONE:
        return ratio_interval(terms, sample.weight * (1.0 - gone), component, CONFIDENCE)
    guard = float(sample.plan.proposal.shares[0])
    return weighted_interval(terms / left, component, CONFIDENCE, largest=1.0 / guard)


def point_of(sample: Sample, value: float, target: Target | None, base: Sample) -> SweepPoint:
    """Return what a sample comes to.

    Parameters
    ----------
    sample : Sample
        With the quantity at `value`.
    value : float [unit of the quantity]
    target : Target, optional
    base : Sample
        The scenario as written, on the same draws.
    """
    if not buildable(sample):
        counted = None if target is None else NOT_KNOWN
        return SweepPoint(
            value, NOT_KNOWN, counted, None, NOT_KNOWN, (), (), None, np.nan, sample.left_out
        )
    judged = None if target is None else as_chance(judged_bounds(sample, target))
    return SweepPoint(
        value=value,
        failure=as_chance(judged_bounds(sample, None)),
        as_target=judged,
        meets=None if judged is None or target is None else meets(judged, target.probability),
        ratio=_ratio(sample, base),
        modes=modes(sample),
        causes=causes(sample),
        permitted=_permitted(sample, target),
        one_in_100_below=strength(sample, sample.outcome.pull).one_in_100_below,
        left_out=sample.left_out,
    )


def meets(found: Chance, target: float) -> bool | None:
    """Tell whether a chance meets a target; None where its interval holds the target."""
    if found.high <= target:
        return True
    return False if found.low > target else None


def as_chance(found: Bounds) -> Chance:
    """Return bounds as a probability that stays within 0 and 1."""
    return Chance(min(found.estimate, 1.0), max(found.low, 0.0), min(found.high, 1.0))


def causes(sample: Sample) -> tuple[tuple[str, float], ...]:
    """Return the kinds of failure with their shares of all, the largest first.

    Bonds are parted into those that came out weak, those of full strength that tear from an end
    (toughness governs at an end of the weakest rod), and the others.
    """
    outcome = sample.outcome
    terms = sample.weight * sample.fails
    total = float(terms.sum())
    if not total > 0.0:
        return ()
    names = modes_of(sample.rods.scenario)
    first = outcome.mode_hazard.argmax(axis=0)
    bond = (first < len(BOND_MODES)) & (first != BOND_MODES.index(WALL))
    weak = outcome.weak_rod.any(axis=0)
    ends = outcome.toughness_governs.reshape(outcome.pull.shape[0], -1, terms.size).any(axis=1)
    weakest = outcome.pull.argmin(axis=0)
    tears = np.take_along_axis(ends, weakest[None], axis=0)[0]
    kinds = {WEAK: bond & weak, ENDS_TEAR: bond & ~weak & tears, FULL: bond & ~weak & ~tears}
    for index, name in enumerate(names):
        if index >= len(BOND_MODES) or name == WALL:
            kinds[TUBE_WALL if name == WALL else name] = first == index
    shares = {name: float(terms[which].sum()) / total for name, which in kinds.items()}
    told = [(name, share) for name, share in shares.items() if share >= SMALLEST_SHARE]
    return tuple(sorted(told, key=lambda entry: -entry[1]))


def _ratio(sample: Sample, base: Sample) -> Chance:
    """Return failure over that of the scenario as written, row by row on the same draws."""
    if not buildable(base):
        return NOT_KNOWN
    above, below = (_normed(each) for each in (sample, base))
    found = ratio_interval(above, below, base.component, CONFIDENCE)
    return Chance(found.estimate, found.low, found.high)


def _normed(sample: Sample) -> Array:
    terms = sample.weight * sample.fails
    return terms / float(sample.weight.mean()) if sample.often else terms


def _permitted(sample: Sample, target: Target | None) -> PermittedLoad | None:
    return None if target is None else permitted_load(sample, target)
