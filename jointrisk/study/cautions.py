"""Warnings an assessment gives with its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import members
from jointrisk.mechanics.limits import torque_shear
from jointrisk.model.loads import typical_factor, typical_size
from jointrisk.scenario.tables import rod_end_uses
from jointrisk.scenario.types import Warning_
from jointrisk.study.mouth import of_mouth
from jointrisk.study.sample import TARGET_COV
from jointrisk.study.service import of_time

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.results import Influence
    from jointrisk.study.sample import Sample

DECIDES = 1.5
"""A default whose change moves the failure probability by this factor decides the answer."""
MOST_LEADERS = 3
BOUNDED_SHARE = 0.01
TOUGHNESS_SHARE = 0.5
MISFIT_SHARE = 1e-4
SOFTENING = 0.05
"""Part of the strut's load that shear of the wall may take without a word [-]."""
NEGLIGIBLE = 1e-7


def warnings(sample: Sample, ranking: tuple[Influence, ...]) -> tuple[Warning_, ...]:
    """Return the scenario's own warnings and those of the assessment."""
    found = list(sample.rods.scenario.warnings)
    found += _of_sample(sample)
    found += _of_defaults(sample, ranking)
    found += of_time(sample)
    found += of_mouth(sample)
    found += _of_torque(sample)
    found += _of_strut(sample)
    found += _of_rod_end(sample.rods.scenario)
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
                f"above {_percent(TARGET_COV)}) at the limit of draws.",
            )
        )
    if sample.left_out > MISFIT_SHARE:
        parts = "an insert that does not enter its tube"
        if sample.rods.scenario.end == "sleeve":
            parts = "a sleeve that does not go over its tube"
        found.append(
            Warning_(
                "parts-do-not-fit",
                f"{_percent(sample.left_out)} of the sets have {parts}; they are left out, as "
                "parts nobody could make.",
            )
        )
    bounded = float((weight * outcome.bounded).sum())
    if bounded > BOUNDED_SHARE:
        found.append(
            Warning_(
                "lower-value-used",
                f"In {_percent(bounded)} of the sets a thermal misfit leaves the range of the "
                "strength formula; a value up to some 7 % low stands in for it.",
            )
        )
    too_hot = sample.hottest >= sample.rods.scenario.hard_stop_temperature
    broken = float((weight * outcome.broken.mean(axis=0))[~too_hot].sum())
    if broken > MISFIT_SHARE:
        found.append(
            Warning_(
                "misfit-breaks-bonds",
                f"In {_percent(broken)} of the rods a weak bond breaks in service by unlike "
                "expansion of metal and tube alone, with no load at all.",
            )
        )
    tough = float((weight * outcome.toughness_governs.mean(axis=0)).sum())
    if tough > TOUGHNESS_SHARE:
        found.append(
            Warning_(
                "overlap-past-usefulness",
                f"In {_percent(tough)} of the joints the toughness of the adhesive governs, not "
                "the whole overlap: more overlap would bring little.",
            )
        )
    return found + _of_heat(sample)


def _of_heat(sample: Sample) -> list[Warning_]:
    hot = sample.rods.variables["service.hottest"].spread
    stop = sample.rods.scenario.hard_stop_temperature
    chance = float(hot.sf(np.float64(stop))) if hot.sd > 0.0 else float(hot.mean >= stop)
    if chance < NEGLIGIBLE:
        return []
    often = "Always" if chance == 1.0 else f"With a chance of {_percent(chance)}"
    return [
        Warning_(
            "too-hot",
            f"{often} the joint reaches {stop:.0f} °C in its life, at which the adhesive is "
            "counted as carrying nothing.",
        )
    ]


def _percent(share: float) -> str:
    text = f"{100.0 * share:.2g}"
    return f"{float(text):g} %" if share >= NEGLIGIBLE else "next to none"


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
    """Warn of the torque on an insert that brings a sound bond to its shear strength."""
    scenario = sample.rods.scenario
    if scenario.thread is None:
        return []
    held = "insert" if scenario.end == "plug" else "sleeve"
    torque = min(_bond_torque(scenario, end) for end in (0, 1)) / 1000.0
    return [
        Warning_(
            "lock-nut-torque",
            f"A lock nut tightened without holding the {held} twists the bond: about "
            f"{float(f'{torque:.2g}'):g} N m brings a middling joint to its shear "
            "strength. Torque is not counted here.",
        )
    ]


def _of_strut(sample: Sample) -> list[Warning_]:
    """Warn where shear of the tube would take more off the strut than may be left out."""
    if not sample.rods.push:
        return []
    scenario = sample.rods.scenario
    mean = {key: float(variable.spread.mean) for key, variable in scenario.variables.items()}
    outer, inner = mean["tube.outer_diameter"] / 2.0, mean["tube.bore"] / 2.0
    euler = members.euler_load(
        mean["rods.length"], outer, inner, mean["tube.modulus"], scenario.end_fixity
    )
    area = np.pi * (outer**2 - inner**2)
    softening = float(euler) / (mean["tube.shear_modulus"] * area / 2.0)
    if softening <= SOFTENING:
        return []
    return [
        Warning_(
            "strut-softens",
            f"Shear of the tube's wall would take about {_percent(softening / (1 + softening))} "
            "off the push at which the rod bows out; that is not counted.",
        )
    ]


def _of_rod_end(scenario: Scenario) -> list[Warning_]:
    """Warn of a rod end rated lower than makers ask for its use and the load."""
    end = scenario.rod_end
    if end is None or end.use is None or not scenario.loads:
        return []
    row = rod_end_uses()[end.use]
    load = _typical_load(scenario)
    rating = float(scenario.variables["rod_end.static_rating"].spread.mean)
    if row.low * load <= rating:
        return []
    return [
        Warning_(
            "rod-end-use-factor",
            f'For a use "{end.use}" makers of rod ends ask for a static rating of {row.low:g} to '
            f"{row.high:g} times the load: {_newton(row.low * load)} to "
            f"{_newton(row.high * load)} for the {_newton(load)} that is typical of this life's "
            f"largest. This rod end has {_newton(rating)}.",
        )
    ]


def _typical_load(scenario: Scenario) -> float:
    """Return the middling largest load of the life with what is always there [N]."""
    steady, largest = 0.0, 0.0
    for load in scenario.loads:
        size = float(load.size.spread.mean)
        per = typical_factor(load, scenario.variables)
        if load.kind == "sustained":
            steady += size * per
        elif load.mean is not None:
            largest = max(largest, (abs(float(load.mean.spread.mean)) + size) * abs(per))
        else:
            largest = max(largest, typical_size(load, scenario.life) * per)
    factor = float(scenario.variables["model.load_factor"].spread.mean)
    return (abs(steady) + largest) * factor


def _newton(load: float) -> str:
    return f"{float(f'{load:.3g}'):,.0f} N"


def _bond_torque(scenario: Scenario, end: int) -> float:
    """Return the torque that brings a middling sound bond of one end to its strength [N mm]."""

    def mean(key: str) -> float:
        return float(scenario.at_ends(key)[-1 if end else 0].spread.mean)

    shear = (
        mean("adhesive.shear_strength")
        * mean("evidence.factor")
        * min(mean(f"preparation.{scenario.end}"), mean("preparation.tube"), 1.0)
    )
    wide, radius = (mean(key) / 2.0 for key in scenario.fit)
    gap = wide - radius
    overlap = mean(f"{scenario.end}.overlap") * mean(f"{scenario.end}.glued_share")
    return shear / float(torque_shear(1.0, radius, gap, overlap))
