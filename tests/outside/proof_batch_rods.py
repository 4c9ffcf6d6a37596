"""Rods of a batch as the package sees them, beside `proof_batch`, which sees them without it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

from jointrisk.spread import Gumbel, Lognormal, Uniform
from jointrisk.study import pull_sample as drawing
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.proof_policies import next_rod, policies
from jointrisk.study.pull_sample import pull_sample

HERE = Path(__file__).parent


def module_of(path):
    """Load a module by its file: test folders are no packages."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


exact = module_of(HERE / "proof_batch.py")
rods_of = module_of(HERE.parent / "study" / "oracles.py")
RODS, LOAD, SOME = 12, 4500.0, 3
LATER = (2, 3)
"""Rods that break before a batch is dropped, beside the first."""
LONE = {"lone": 0.004}
BAD = LONE | {"bad": 0.02, "share_in_bad": 0.6}
RIG = {"error": 0.04, "bias": 0.03}
HURT = {"begins": 0.7, "most": 0.3}
HURT_UNKNOWN = {"begins": (0.6, 0.9), "most": (0.1, 0.5)}
COARSE = exact.Nodes(factor=41, bias=7, error=9)


def batch_of(**given):
    return exact.Batch(**({"bond": rods_of.BOND, "rods": RODS} | given))


def spread_of(given):
    return Uniform(*given) if isinstance(given, tuple) else given


def scenario_of(batch, also=None, **more):
    """Return rods of which nothing varies but what the batch says, and `also`, by key."""
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 10.0 * batch.own),
        "batch.bond_factor": Lognormal(1.0, batch.shared),
        "weak_bonds.lone_weight": batch.lone,
        "weak_bonds.bad_batch_weight": batch.bad,
        "weak_bonds.share_in_bad_batch": batch.share_in_bad,
        "weak_bonds.keeps": batch.keeps,
        "proof.damage_from": spread_of(batch.begins),
        "proof.damage_most": spread_of(batch.most),
    }
    if batch.aged < 1.0:  # wet through within days, all joints alike
        spreads |= {
            "service.humidity": 1.0,
            "ageing.wet_share": batch.aged,
            "ageing.wetting_time": 0.02,
            "ageing.own_scatter": 0.0,
            "weak_bonds.latent_weight": 0.0,
        }
    loads = [rods_of.load(Gumbel(batch.load, batch.load * batch.load_cov))]
    rig = (batch.error, batch.bias)
    many = {"rods": batch.rods, "rods_per_batch": batch.rods}
    return rods_of.plain(spreads | (also or {}), loads, rig=rig, **(many | more))


def bench_at(monkeypatch, scenario, load, seed, joints=2**20):
    """Return the bench of a sample with so many joints, sharp at one load."""
    monkeypatch.setattr(drawing, "MOST_JOINTS", joints)
    return bench_of(pull_sample(scenario, seed, None, (load,), 0.01))


def number(told):
    """Return a chance without its interval."""
    return float(getattr(told, "estimate", told))


def policies_by_code(bench, load):
    """Return what the study says of each way to use a pull."""
    return {p.code: p for p in policies(bench, load, rates_after(bench, pull(bench, load)))}


def found_by(bench, load):
    """Return what the study says of each way, by name."""
    told = policies_by_code(bench, load)
    twelfth = next_rod(bench, load)
    assert twelfth.pulled == RODS - 1
    again = told["again after a year"]
    return {
        **three("all", told["all"]),
        "dropped: fails": number(told["drop batch"].fail),
        "dropped: lost": number(told["drop batch"].spoiled),
        **dropped_at(told),
        **three("replaced", told["replace"]),
        **three("some", told["some"]),
        **three("twice", told["twice"]),
        "again: fails": number(again.fail),
        "again: accepted": number(again.accepted),
        "twelfth: before": number(twelfth.fail_before),
        "twelfth: after": number(twelfth.fail_after),
    }


def dropped_at(told):
    each = [three(f"dropped at {k}", told[f"drop batch at {k}"]) for k in LATER]
    return {name: value for found in each for name, value in found.items()}


def three(name, policy):
    told = (policy.fail, policy.accepted, policy.spoiled)
    return dict(zip(named(name), map(number, told), strict=True))


def named(name):
    return f"{name}: fails", f"{name}: accepted", f"{name}: lost"


def exact_of(batch, load):
    """Return the same by quadrature; `again` only where a pull has no error of its own."""
    every = batch.every_rod(load)
    twice = batch.every_rod(0.8 * load, load)
    before, after = batch.next_rod(load)
    told = {
        **dict(zip(named("all"), every, strict=True)),
        "dropped: fails": every[0],
        "dropped: lost": batch.lost_where_batches_drop(load),
        **dict(zip(named("replaced"), batch.replaced(load), strict=True)),
        **dict(zip(named("some"), batch.some(load, SOME), strict=True)),
        **dict(zip(named("twice"), twice, strict=True)),
        "twelfth: before": before,
        "twelfth: after": after,
    }
    for k in LATER:
        told |= dict(zip(named(f"dropped at {k}"), batch.dropped_at(load, k), strict=True))
    if batch.error == batch.bias == 0.0 and not isinstance(batch.begins, tuple):
        told |= dict(zip(named("again")[:2], batch.again(load), strict=True))
    return told


def averaged(told):
    return {name: sum(each[name] for each in told) / len(told) for name in told[0]}


def both(monkeypatch, batch):
    """Return what the study says of a batch, three samples averaged, and what quadrature does."""
    scenario, asked = scenario_of(batch), exact_of(batch, LOAD)
    benches = [bench_at(monkeypatch, scenario, LOAD, seed, 2**18) for seed in (1, 2, 3)]
    told = averaged([found_by(bench, LOAD) for bench in benches])
    return {name: told[name] for name in asked}, asked
