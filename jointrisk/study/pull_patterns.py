"""Where to draw, beside the ways to fail of a set as built, so that what a pull leaves is seen.

Rods that fail though the rig finds nothing wrong with them, and weak joints that hold the pull.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.layout import ENDS
from jointrisk.model.rodset import RIG_BIAS
from jointrisk.study.proposal import Search, one_joint, patterns_of, searches_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.proposal import Pattern

    Array = npt.NDArray[np.float64]

LEVELS = (1.5, 3.0, 4.5)
FLOOR = 1e-12


def pull_patterns(single: RodSet) -> list[Pattern]:
    """Look for the points of one rod that matter before or after a pull, each with its labels."""
    searches = searches_of(single)
    return patterns_of(single, [*searches, *_unseen(single, searches), *_passing(single)])


def _unseen(single: RodSet, searches: list[Search]) -> list[Search]:
    """Return the searches again, moving only what changes nothing of a rod in the rig today."""
    layout = single.layout
    steps = np.eye(layout.dimension)
    u = np.concatenate([np.zeros((1, layout.dimension)), steps, -steps])
    labels = np.zeros((u.shape[0], layout.label_count), dtype=bool)
    strength = single.resistance(single.values(u), labels)
    in_rig = strength.in_rig
    if single.scenario.proof.rig.pushes:  # a strut that governs in the middle hides no bond
        in_rig = np.concatenate([in_rig, strength.rig_joint])
    changed = (in_rig[:, 1:] != in_rig[:, :1]).any(axis=0)
    seen = changed.reshape(2, layout.dimension).any(axis=0)
    weak = layout.weak_joint_labels
    return [
        replace(search, levels=LEVELS, active=search.active & ~seen)
        for search in searches
        if not np.any(search.forced[weak] == 1.0) and np.any(search.active & ~seen)
    ]


def _passing(single: RodSet) -> list[Search]:
    """Return the searches for weak joints that a pull lets pass all the same.

    None where the rig lets every joint pass, pushing through a shoulder.
    """
    if single.scenario.rig_spares_bonds:
        return []
    layout = single.layout
    weak = layout.weak_joint_labels
    found = []
    for end in range(ENDS if layout.second else 1) if weak.stop > weak.start else ():
        forced = np.full(layout.label_count, np.nan)
        forced[weak.start + end] = 1.0
        margin = partial(_excess_in_rig, single, end)
        active = one_joint(single, end)
        found.append(Search(margin, forced, LEVELS, active, always=True))
    return found


def _excess_in_rig(single: RodSet, end: int, u: Array) -> Array:
    """Return minus the log of what a weak joint holds in the rig by its gauge, (n,)."""
    layout = single.layout
    labels = np.zeros((u.shape[0], layout.label_count), dtype=bool)
    labels[:, layout.weak_joint_labels.start + end] = True
    values = single.values(u)
    held = single.resistance(values, labels).rig_joint[end]
    shown = np.maximum(1.0 + values[RIG_BIAS][0], FLOOR)
    return np.asarray(-np.log(np.maximum(held, FLOOR) / shown))
