"""Warnings of what acts across the glue: peel at its mouth, and a gap that heat opens or closes.

No number of an assessment counts either; both are estimates of size.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import environment, peel, tubular
from jointrisk.model.bond import bond_law, misfit_strain
from jointrisk.model.draws import placed
from jointrisk.model.loads import typical_factor, typical_size
from jointrisk.scenario.tables import default
from jointrisk.scenario.types import Warning_

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.types import Load, Scenario
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

GAP_SHARE = 0.05
"""Part of the gap by which heat may change it without a word [-]; judgement."""
STEEL_GROWS = 15e-6
"""Expansion that steel and titanium stay below [1/K]."""


def of_mouth(sample: Sample) -> list[Warning_]:
    """Return the warnings of peel and of a gap that changes with heat."""
    return [*_peel(sample.rods), *_thermal_gap(sample.rods.scenario)]


def _peel(rods: RodSet) -> list[Warning_]:
    """Warn where a pull lifts more at the mouth than the plies of the tube hold together."""
    scenario = rods.scenario
    strength = scenario.variables.get("tube.peel_strength")
    pull = largest_pull(scenario)
    if strength is None or pull <= 0.0:
        return []
    lifted = float(np.max(mouth_tension(rods, pull)))
    held = float(strength.spread.mean)
    if lifted <= held:
        return []
    outer = scenario.glued[0]
    return [
        Warning_(
            "peel-at-the-mouth",
            f"A pull of {_few(pull)} N, the middling largest of this life, tears at the mouth of "
            f"the {outer} with about {_few(lifted)} MPa across the glue (elastic estimate of "
            f"size); the tube's plies hold about {_few(held)} MPa through the wall. Peel is not "
            f"counted. Thin or taper the {outer}'s mouth, leave a fillet of glue there, or take a "
            "softer adhesive or a thicker layer.",
        )
    ]


def largest_pull(scenario: Scenario) -> float:
    """Return the middling largest pull of the life with what is always there [N]; 0 for none."""
    factor = float(scenario.variables["model.load_factor"].spread.mean)
    steady, largest = 0.0, 0.0
    for load in scenario.loads:
        per = typical_factor(load, scenario.variables)
        if load.kind == "sustained":
            steady += _mean(load) * per
        elif load.mean is not None:
            middle = float(load.mean.spread.mean) * per
            largest = max(largest, middle + _mean(load) * abs(per))
        elif load.direction != "push":
            largest = max(largest, typical_size(load, scenario.life) * abs(per))
    return max(0.0, steady + largest) * factor


def _mean(load: Load) -> float:
    return float(load.size.spread.mean)


def mouth_tension(rods: RodSet, pull: float) -> Array:
    """Return the stress that lifts the outer part off the inner one at its mouth.

    Parameters
    ----------
    rods : RodSet
    pull : float [N]

    Returns
    -------
    ndarray, (joints,) [MPa]
        Of middling joints at the rig's temperature. No more than what the layer gives when it
        yields evenly: a layer that yields passes on no more shear.
    """
    scenario, layout = rods.scenario, rods.layout
    values = placed(rods.values(np.zeros((1, layout.dimension))), layout)
    law = bond_law(scenario, layout, values, np.zeros((layout.joints, 1), dtype=bool))
    temperature = values["service.workshop_temperature"]
    joint, overlap, modulus = law.sizes, law.joint, values["adhesive.shear_modulus"]
    shear = tubular.elastic_shear(
        **joint,
        adhesive_shear_modulus=modulus,
        misfit_strain=misfit_strain(scenario, values, temperature),
        force=pull,
    ).mouth
    wall = {
        "tube_outer_radius": joint["tube_outer_radius"],
        "plug_radius": joint["plug_radius"],
        "gap": joint["gap"],
        "tube_modulus": joint["tube_modulus"],
        "hoop_modulus": _hoop_modulus(scenario, joint["tube_modulus"]),
        "poisson_ratio": default("mouth.wall_poisson_ratio").value,
        "adhesive_modulus": peel.constrained_modulus(
            modulus, default("mouth.layer_poisson_ratio").value
        ),
    }
    length = np.sqrt(overlap.layer / (modulus * overlap.softness))
    elastic = peel.mouth_peel(np.maximum(shear, 0.0), **wall, shear_length=length)
    yielding = peel.mouth_peel(law.strength * law.share, **wall)
    return np.asarray(np.minimum(elastic, yielding)).ravel()


def _hoop_modulus(scenario: Scenario, along: Array) -> Array:
    """Return the modulus of the outer part around itself [MPa], a metal's as along it."""
    if scenario.glued[0] == "tube" and scenario.tube_is_composite:
        return np.full_like(along, default("mouth.hoop_modulus").given("stress").numbers["value"])
    return along


def _thermal_gap(scenario: Scenario) -> list[Warning_]:
    """Warn where metal and tube grow so unlike that the gap changes by much of itself."""
    mean = {key: float(found.spread.mean) for key, found in scenario.variables.items()}
    cure = mean["adhesive.cure_temperature"]
    cases = [
        (change, gap, name, mean[f"service.{name}"])
        for name in ("coldest", "hottest")
        for change, gap in gap_changes(scenario, mean[f"service.{name}"])
    ]
    change, gap, name, temperature = max(cases, key=lambda case: abs(case[0]) / case[1])
    if abs(change) <= GAP_SHARE * gap:
        return []
    most = "up to " if scenario.tube_is_composite else ""
    grows = max(float(end.spread.mean) for end in scenario.at_ends(f"{scenario.end}.expansion"))
    other = "An end of titanium or steel, or a" if grows > STEEL_GROWS else "A"
    return [
        Warning_(
            "thermal-gap",
            f"From the cure at {cure:.0f} °C to the {name} in service, {temperature:.0f} °C, the "
            f"gap on one side of {_few(gap)} mm {'opens' if change > 0.0 else 'closes'} by {most}"
            f"{abs(change):.2g} mm, {100.0 * abs(change) / gap:.2g} % of itself, and strains the "
            f"glue across. That is not counted. {other} thicker and softer layer lessens it.",
        )
    ]


def gap_changes(scenario: Scenario, temperature: float) -> list[tuple[float, float]]:
    """Return by how much the gap of each end has opened since the cure, and the gap itself [mm].

    Parameters
    ----------
    scenario : Scenario
    temperature : float [degC]
    """
    found = []
    for end in range(2 if scenario.second_keys else 1):

        def mean(key: str, end: int = end) -> float:
            return float(scenario.at_ends(key)[-1 if end else 0].spread.mean)

        # Around itself a laminate hardly grows: 0 gives the most that the gap can change by.
        growth = {scenario.end: mean(f"{scenario.end}.expansion"), "tube": 0.0}
        if not scenario.tube_is_composite:
            growth["tube"] = mean("tube.expansion")
        wide, narrow = (mean(key) / 2.0 for key in scenario.fit)
        outer, inner = (growth[part] for part in scenario.glued)
        cure = mean("adhesive.cure_temperature")
        opens = environment.gap_change(outer, inner, wide, narrow, temperature, cure)
        found.append((float(opens), wide - narrow))
    return found


def _few(value: float) -> str:
    return f"{float(f'{value:.2g}'):,g}"
