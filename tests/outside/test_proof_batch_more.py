"""Batches again: damage not known, bonds that age, and the smallest pull, against quadrature."""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from jointrisk.model.ageing import OWN
from jointrisk.study import pulls


def beside(name):
    """Load a module of this folder by its file."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


rods = beside("proof_batch_rods")
exact, batch_of = rods.exact, rods.batch_of
BAD, LONE, RIG, HURT, LOAD = rods.BAD, rods.LONE, rods.RIG, rods.HURT, rods.LOAD
FEW = exact.Nodes(factor=31, load=200)


def test_damage_that_is_not_known(monkeypatch):
    told, asked = rods.both(monkeypatch, batch_of(**LONE, **rods.HURT_UNKNOWN))
    assert told == pytest.approx(asked, rel=0.05)


def test_bonds_that_damp_weakens_before_they_are_pulled_again(monkeypatch):
    told, asked = rods.both(monkeypatch, batch_of(**BAD, **HURT, aged=0.8))
    assert told == pytest.approx(asked, rel=0.05)


# Bonds that age each in its own way --------------------------------------------------------------


def ageing_batch(correlation):
    """Return a batch at 0.9 relative humidity, by the same sums as the manual's topic `ageing`.

    The share of the damp loss that humidity brings rises straight from 0 at 0.5 to 1 at 1.0; the
    correlation of a lognormal and a normal is turned into that of their scores.
    """
    reached = 0.8 * -math.expm1(-4.0 / 1.0)
    sigma = exact.scatter(0.1)
    return exact.Ageing(
        bond=rods.rods_of.BOND * 0.6,
        rods=rods.RODS,
        load=1200.0,
        surface=0.6,
        loss=0.4 * reached,
        scatter=exact.scatter(0.3 * reached),
        scores=correlation * math.sqrt(math.expm1(sigma**2)) / sigma,
        nodes=FEW,
    )


@pytest.mark.parametrize("correlation", [-0.6, 0.0, 0.6])
def test_twelve_rods_whose_ageing_goes_with_their_strength(monkeypatch, correlation):
    batch, load = ageing_batch(correlation), 3200.0
    damp = {
        "service.humidity": 0.9,
        "ageing.wet_share": 0.6,
        "ageing.wetting_time": 1.0,
        "ageing.own_scatter": 0.3,
        "weak_bonds.latent_weight": 0.0,
        "preparation.plug": 0.6,
        "preparation.tube": 0.6,
    }
    scenario = rods.scenario_of(batch, also=damp)
    if correlation:
        pair = ("adhesive.shear_strength", OWN)
        scenario = replace(scenario, correlations={pair: correlation})
    told = rods.found_by(rods.bench_at(monkeypatch, scenario, load, 1), load)
    fails, accepted, _ = batch.every_rod(load)
    before, after = batch.next_rod(load)
    asked = {
        "all: fails": fails,
        "all: accepted": accepted,
        "some: fails": batch.some(load, rods.SOME)[0],
        "twelfth: before": before,
        "twelfth: after": after,
    }
    assert {name: told[name] for name in asked} == pytest.approx(asked, rel=0.05)


# The smallest pull -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "target"), [(LONE | HURT, 5e-4), (BAD | RIG, 1e-4), (BAD | RIG | HURT, 1e-3)]
)
def test_the_smallest_pull_of_a_batch(monkeypatch, given, target):
    batch = batch_of(**given, nodes=rods.COARSE)
    asked = exact.smallest_pull(batch, target, 2000.0, 4400.0)
    scenario = rods.scenario_of(batch, target=(target, "life"), max_reject=0.5)
    found = pulls.verdict(rods.bench_at(monkeypatch, scenario, asked, 1, 2**19))
    assert found.verdict == "window"
    assert found.load == pytest.approx(asked, rel=0.01)
