"""Limits that the worth of a pull must keep, for rods, rigs and damage drawn at random."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

import jointrisk
from jointrisk.spread import Gumbel, Lognormal, Uniform
from jointrisk.study import pull_sample as drawing
from jointrisk.study import pulls, sample
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.pull_sample import pull_sample
from jointrisk.study.pull_search import of_all

WEAK = {"weak_bonds.lone_weight": 0.01}
NONE = {"proof.damage_most": 0.0}
LOADS = tuple(np.geomspace(300.0, 14_000.0, 9))
FEW = settings(
    max_examples=6,
    deadline=None,
    database=None,
    derandomize=True,
    phases=[Phase.generate],  # an example takes a quarter of a second: shrink by hand
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def share(low, high):
    return st.floats(low, high, allow_nan=False)


@st.composite
def kinds(draw):
    """Draw rods, a rig and what a pull may take of a joint."""
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 10.0 * draw(share(0.03, 0.3))),
        "batch.bond_factor": Lognormal(1.0, draw(share(0.02, 0.2))),
        "weak_bonds.lone_weight": draw(share(0.0, 0.05)),
        "weak_bonds.bad_batch_weight": draw(st.sampled_from([0.0, 0.01])),
        "proof.damage_from": draw(share(0.5, 0.95)),
        "proof.damage_most": draw(share(0.0, 0.6)),
    }
    rig = draw(st.sampled_from([0.0, 0.02, 0.1])), draw(st.sampled_from([0.0, 0.03, 0.1]))
    rods = draw(st.integers(1, 4))
    return {"spreads": spreads, "rig": rig, "rods": rods, "rods_per_batch": rods}


def bench_at(oracles, monkeypatch, kind):
    """Return the bench of few draws: what is asked holds at any size."""
    monkeypatch.setattr(drawing, "MOST_JOINTS", 2**13)
    monkeypatch.setattr(sample, "MOST_ROWS", 2**11)
    jerk = oracles.load(Gumbel(2300.0, 460.0))
    return bench_of(pull_sample(oracles.plain(loads=[jerk], **kind), 1))


def left(bench, load):
    pulled = pull(bench, load)
    weight = bench.weight * pulled.hold
    return float((weight * pulls.life_chance(bench, rates_after(bench, pulled))).sum()) / float(
        weight.sum()
    )


def unpulled(bench):
    return float((bench.weight * bench.sample.fails).sum() / bench.weight.sum())


def damaged_as(bench, begins, most):
    shape = bench.begins.shape
    return replace(bench, begins=np.full(shape, begins), most=np.full(shape, most))


@FEW
@given(kind=kinds())
def test_raising_the_load_never_refuses_less(oracles, monkeypatch, kind):
    bench = bench_at(oracles, monkeypatch, kind)
    pulled = [pull(bench, load) for load in LOADS]
    for one, harder in pairwise(pulled):
        assert np.all(harder.refused >= one.refused)
        assert np.all(harder.hold <= one.hold)
    refused = [of_all(bench, each.refused) for each in pulled]
    assert refused == sorted(refused)
    assert refused[0] < refused[-1] <= 1.0 + 1e-9


@FEW
@given(kind=kinds())
def test_a_pull_below_every_strength_changes_nothing(oracles, monkeypatch, kind):
    bench = bench_at(oracles, monkeypatch, kind)
    feather = 1e-3 * float(bench.outcome.rig_pull.min())
    pulled = pull(bench, feather)
    assert np.all(pulled.hold == 1.0)
    assert np.all(pulled.share == 1.0)
    assert left(bench, feather) == unpulled(bench)


@FEW
@given(kind=kinds(), load=share(1000.0, 7000.0), begins=share(1.0, 5.0))
def test_damage_that_begins_above_any_strength_is_none(oracles, monkeypatch, kind, load, begins):
    bench = bench_at(oracles, monkeypatch, kind)
    never = damaged_as(bench, begins, 0.6)
    likely = bench.weight * pull(never, load).hold > 1e-9 * bench.weight.max()
    assert np.all(pull(never, load).share[:, likely] == 1.0)
    assert left(never, load) == pytest.approx(left(damaged_as(bench, 0.7, 0.0), load), rel=1e-9)


@FEW
@given(kind=kinds(), load=share(1000.0, 7000.0), error=st.sampled_from([1e4, 1e6, 1e8]))
def test_a_rig_that_errs_without_bounds_is_worth_nothing(oracles, monkeypatch, kind, load, error):
    bench = damaged_as(bench_at(oracles, monkeypatch, kind), 0.7, 0.0)
    wild = left(replace(bench, error=error), load)
    assert wild == pytest.approx(unpulled(bench), rel=0.01)
    assert left(replace(bench, error=0.02), load) <= 1.01 * wild


@FEW
@given(kind=kinds(), load=share(2000.0, 6000.0))
def test_damage_never_makes_a_pull_worth_more(oracles, monkeypatch, kind, load):
    bench = bench_at(oracles, monkeypatch, kind)
    found = [left(damaged_as(bench, 0.7, most), load) for most in (0.0, 0.2, 0.5)]
    assert found == sorted(found)


@seed(1)
@settings(FEW, max_examples=6)
@given(cov=share(0.06, 0.2), weak=share(0.002, 0.05), low=share(-2.5, -0.5), more=share(0.2, 1.2))
def test_a_perfect_pull_cuts_the_law_of_strength(oracles, monkeypatch, cov, weak, low, more):
    """P(R < r | held) = [F(r) - F(p)]/[1 - F(p)]; the rod's least of two joints, by scipy."""
    law = oracles.weakest(oracles.mixed(oracles.lognormal(oracles.BOND, cov).cdf, weak, 0.3), 2)
    load = oracles.BOND * float(np.exp(cov * low))
    asked = load * float(np.exp(cov * more))
    below = {x: float(law(np.array([x]))[0]) for x in (load, asked)}
    exact = (below[asked] - below[load]) / (1.0 - below[load])
    monkeypatch.setattr(drawing, "MOST_JOINTS", 2**17)
    spreads = NONE | {
        "adhesive.shear_strength": Lognormal(10.0, 10.0 * cov),
        "weak_bonds.lone_weight": weak,
    }
    known = oracles.load(Uniform(asked - 1e-3, asked + 1e-3))
    bench = bench_of(pull_sample(oracles.plain(spreads, [known]), 1, None, (load,)))
    held = bench.weight * pull(bench, load).hold
    share = held / held.mean()
    fails = bench.sample.fails
    found = float((share * fails).mean())
    error = float((share * (fails - found)).std() / np.sqrt(fails.size))
    assert oracles.agrees(found, error, exact, within=4.5)
    assert left(bench, load) == pytest.approx(found, rel=1e-9)


# Ageing that new strength says nothing of --------------------------------------------------------


COV, WEAK_KEEPS, LATENT, LATENT_KEEPS, WET = 0.12, 0.3, 0.005, 0.3, 0.7


def worth(oracles, load, mean, *, wet):
    """Return failure before and after a pull: each joint weak or not, undone by damp or not."""
    joint = oracles.lognormal(oracles.BOND, COV)
    log_kept = oracles.log_kept_yearly(oracles.gumbel(mean, 0.2))
    sizes = np.linspace(300.0, 9000.0, 4001)
    steps = np.diff(np.concatenate([[0.0], np.exp(log_kept(sizes))]))
    latent, kept = (LATENT, WET) if wet else (0.0, 1.0)

    def outlives(pulled):
        found = 0.0
        for weak, keeps in ((0.01, WEAK_KEEPS), (0.99, 1.0)):
            for undone, leaves in ((latent, LATENT_KEEPS), (1.0 - latent, 1.0)):
                need = np.maximum(sizes / (keeps * leaves * kept), pulled / keeps)
                found = found + weak * undone * joint.sf(need)
        return found**2

    def fails(pulled):
        above = outlives(pulled)
        held = 1.0 if pulled < 1.0 else above[0]  # nothing fails in service at the least size
        return float(steps @ (held - above)) / held

    return fails(0.1), fails(load)


def test_ageing_apart_from_new_strength_takes_most_of_a_pulls_worth(oracles, monkeypatch):
    """In the dry the pull divides failure by more than a hundred; in the wet by about three."""
    monkeypatch.setattr(drawing, "MOST_JOINTS", 2**18)
    load, mean = 3500.0, 1200.0
    jerk = oracles.load(Gumbel(mean, 0.2 * mean))
    damp = {
        "ageing.wet_share": WET,
        "ageing.wetting_time": 0.02,
        "ageing.own_scatter": 0.0,
        "weak_bonds.latent_weight": LATENT,
        "weak_bonds.latent_keeps": LATENT_KEEPS,
    }
    spreads = WEAK | NONE | damp | {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
    divided = {}
    for humidity in (0.4, 1.0):
        scenario = oracles.plain(spreads | {"service.humidity": humidity}, [jerk])
        bench = bench_of(pull_sample(scenario, 1, None, (load,), 0.015))
        before, after = worth(oracles, load, mean, wet=humidity == 1.0)
        assert unpulled(bench) == pytest.approx(before, rel=0.06)
        assert left(bench, load) == pytest.approx(after, rel=0.08)
        divided[humidity] = unpulled(bench) / left(bench, load)
    assert divided[0.4] > 5.0 * divided[1.0]
    assert divided[1.0] < 5.0


def test_a_wet_place_takes_most_of_a_pulls_worth_from_a_drag_link():
    """The same pull of the demo rod: dry indoors it divides failure by hundreds, wet by ten."""
    text = Path("scenarios/gravity-racer-drag-link.toml").read_text("utf-8")
    given, load = "{ never_outside = [0.55, 0.75] }", 4000.0
    assert given in text
    divided = {}
    for humidity in ("0.45", "0.9"):
        scenario = jointrisk.load_text(text.replace(given, humidity))
        bench = bench_of(pull_sample(scenario, 1, None, (load,)))
        divided[humidity] = unpulled(bench) / left(bench, load)
    assert divided["0.45"] > 300.0  # 620 and 9.5 with many draws
    assert 6.0 < divided["0.9"] < 15.0
