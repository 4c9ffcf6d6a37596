"""Warnings an assessment gives with its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.scenario.types import Warning_
from jointrisk.study.sample import TARGET_COV

if TYPE_CHECKING:
    from jointrisk.study.results import Influence
    from jointrisk.study.sample import Sample

DECIDES = 1.5
"""A default whose change moves the failure probability by this factor decides the answer."""
MOST_LEADERS = 3
BOUNDED_SHARE = 0.01
TOUGHNESS_SHARE = 0.5
MISFIT_SHARE = 1e-4


def warnings(sample: Sample, ranking: tuple[Influence, ...]) -> tuple[Warning_, ...]:
    """Return the scenario's own warnings and those of the assessment."""
    found = list(sample.rods.scenario.warnings)
    found.append(
        Warning_(
            "ageing-not-counted",
            "Ageing, moisture and fatigue are not counted yet, only temperature: strength in "
            "service stays the same all life long here, and it does not in fact.",
        )
    )
    found.append(
        Warning_(
            "damage-not-counted",
            "Damage that a pull itself may do to a joint that holds it is not counted yet.",
        )
    )
    found += _of_sample(sample)
    found += _of_defaults(sample, ranking)
    found += _of_torque(sample)
    return tuple(found)


def _of_sample(sample: Sample) -> list[Warning_]:
    found = []
    outcome = sample.outcome
    weight = sample.weight / sample.weight.sum()
    if sample.rods.scenario.loads and not sample.converged:
        found.append(
            Warning_(
                "not-converged",
                f"The failure probability is less certain than wanted (coefficient of variation "
                f"above {TARGET_COV:.0%}) at the limit of draws.",
            )
        )
    if sample.left_out > MISFIT_SHARE:
        found.append(
            Warning_(
                "parts-do-not-fit",
                f"{sample.left_out:.2g} of the sets have an insert that does not enter its tube; "
                "they are left out, as parts nobody could make.",
            )
        )
    bounded = float((weight * outcome.bounded).sum())
    if bounded > BOUNDED_SHARE:
        found.append(
            Warning_(
                "lower-value-used",
                f"In {bounded:.0%} of the sets a thermal misfit leaves the range of the strength "
                "formula; a lower value stands in for it.",
            )
        )
    broken = float((weight * (outcome.pull <= 0.0).mean(axis=0)).sum())
    if broken > MISFIT_SHARE:
        found.append(
            Warning_(
                "misfit-breaks-bonds",
                f"In {broken:.2g} of the rods a weak bond breaks in service by unlike expansion "
                "of insert and tube alone, with no load at all.",
            )
        )
    tough = float((weight * outcome.toughness_governs.mean(axis=0)).sum())
    if tough > TOUGHNESS_SHARE:
        found.append(
            Warning_(
                "overlap-past-usefulness",
                f"In {tough:.0%} of the joints the toughness of the adhesive governs, not the "
                "whole overlap: more overlap would bring little.",
            )
        )
    hot = sample.rods.variables["service.hottest"].spread
    stop = sample.rods.scenario.hard_stop_temperature
    too_hot = float(hot.sf(np.float64(stop))) if hot.sd > 0.0 else float(hot.mean >= stop)
    if too_hot > 0.0:
        found.append(
            Warning_(
                "too-hot",
                f"With chance {too_hot:.1g} the joint reaches {stop:.0f} °C, at which the adhesive "
                "is counted as carrying nothing.",
            )
        )
    return found


def _of_defaults(sample: Sample, ranking: tuple[Influence, ...]) -> list[Warning_]:
    names = []
    for entry in ranking:
        variable = sample.rods.variables.get(entry.variable)
        strong = abs(np.log(max(entry.value, 1e-12))) > np.log(DECIDES)
        if variable is not None and variable.origin == "default" and strong:
            text = f"{variable.label} ({variable.confidence})"
            if text not in names:
                names.append(text)
    if not names:
        return []
    listed = "; ".join(names[:MOST_LEADERS])
    return [
        Warning_(
            "default-decides",
            f"Values you did not give decide the answer: {listed}. Measuring or testing these "
            "changes more than any other care.",
        )
    ]


def _of_torque(sample: Sample) -> list[Warning_]:
    """Torque on the insert that brings a sound bond to its shear strength, 2T/(pi d^2 L)."""
    scenario = sample.rods.scenario
    if scenario.thread is None:
        return []
    mean = {key: variable.spread.mean for key, variable in scenario.variables.items()}
    overlap = mean["plug.overlap"] * mean["plug.glued_share"]
    middle = (mean["plug.diameter"] + mean["tube.bore"]) / 2.0
    shear = (
        mean["adhesive.shear_strength"]
        * mean["evidence.factor"]
        * min(mean["preparation.plug"], mean["preparation.tube"], 1.0)
    )
    torque = shear * np.pi * middle**2 * overlap / 2.0 / 1000.0
    return [
        Warning_(
            "lock-nut-torque",
            f"A lock nut tightened without holding the insert twists the bond: about {torque:.2g} "
            "N m brings a middling joint to its shear strength. Torque is not counted here.",
        )
    ]
