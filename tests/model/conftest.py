"""One joint of round numbers, so that what it holds can be worked out apart from the model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jointrisk.mechanics import tubular
from jointrisk.model.rodset import rod_set
from jointrisk.spread import Fixed, Spread

ROUND = {
    "tube.outer_diameter": 16.0,
    "tube.bore": 13.2,
    "tube.modulus": 70_000.0,
    "tube.expansion": 20e-6,
    "tube.interlaminar_strength": 1e3,  # out of the way, as the next three
    "tube.interlaminar_toughness": 1e6,
    "tube.tension_strength": 1e5,
    "tube.compression_strength": 1e5,
    "plug.diameter": 12.8,
    "plug.bore": 0.0,
    "plug.modulus": 70_000.0,
    "plug.expansion": 20e-6,
    "plug.overlap": 20.0,
    "plug.glued_share": 1.0,
    "plug.off_centre": 0.0,
    "adhesive.shear_strength": 20.0,
    "adhesive.shear_strength_range": 1.0,
    "adhesive.shear_modulus": 600.0,
    "adhesive.toughness": 0.4,
    "adhesive.toughness_range": 1.0,
    "adhesive.failure_strain": 1.0,
    "adhesive.cure_temperature": 20.0,
    "preparation.plug": 1.0,
    "preparation.tube": 1.0,
    "weak_bonds.keeps": 0.3,
    "evidence.factor": 1.0,
    "batch.bond_factor": 1.0,
    "model.bond_factor": 1.0,
    "model.load_factor": 1.0,
    "model.gap_factor_exponent": 1.0,
    "model.toughness_exponent": 2.0,
    "service.workshop_temperature": 20.0,
    "service.hottest": 20.0,
    "service.coldest": 20.0,
}
ALUMINIUM = "aluminium 6082-T6"


@pytest.fixture
def hold():
    """Return a function that holds each value of a scenario at its mean or the number given."""

    def held(scenario, values=None, **fields):
        values = values or {}
        assert values.keys() <= scenario.variables.keys()
        variables = {}
        for key, variable in scenario.variables.items():
            spread = values.get(key, variable.spread.mean)
            spread = spread if isinstance(spread, Spread) else Fixed(float(spread))
            variables[key] = replace(variable, spread=spread)
        return replace(scenario, variables=variables, **fields)

    return held


@pytest.fixture(scope="session")
def read_before():
    """Return the scenarios read so far: reading takes longer than a joint."""
    return {}


@pytest.fixture
def round_set(make, hold, read_before):
    """Return a function that builds a set of rods of round numbers."""

    def build(values=None, *, loads=(("both", "900 N"),), more="", words=None, **fields):
        words = {"tube": ALUMINIUM} | (words or {})
        text = (loads, more, *sorted(words.items()))
        if text not in read_before:
            read_before[text] = make(loads, more=more, **words)
        scenario = read_before[text]
        known = {key: value for key, value in ROUND.items() if key in scenario.variables}
        return rod_set(hold(scenario, known | (values or {}), **fields))

    return build


@pytest.fixture
def joint(round_set):
    """Return a function that gives the resistance of rods of round numbers, one draw.

    `values` are in the scenario; `drawn`, a number or one for each joint or rod, only in the draw.
    """

    def work_out(values=None, *, drawn=None, weak=(), **how):
        rods = round_set(values, **how)
        found = rods.values(np.zeros((1, rods.layout.dimension)))
        for key, value in (drawn or {}).items():
            assert key in found
            found[key] = np.atleast_1d(np.asarray(value, dtype=float))[:, None]
        labels = np.zeros((1, rods.layout.label_count), dtype=bool)
        labels[0, [rods.layout.weak_joint_labels.start + one for one in weak]] = True
        return rods.resistance(found, labels)

    return work_out


@pytest.fixture
def alone():
    """Return a function that gives the force of one joint of round numbers by the mechanics."""

    def force(**changes):
        sizes = {
            "tube_outer_radius": 8.0,
            "plug_radius": 6.4,
            "gap": 0.2,
            "overlap": 20.0,
            "tube_modulus": 70_000.0,
            "plug_modulus": 70_000.0,
            "adhesive_shear_modulus": 600.0,
            "adhesive_shear_strength": 20.0,
            "mode_ii_toughness": 0.4,
        }
        if "failure_shear_strain" in changes:
            del sizes["mode_ii_toughness"]
        return float(tubular.pull_out(**(sizes | changes)).force)

    return force
