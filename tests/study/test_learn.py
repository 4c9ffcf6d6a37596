"""`learn`: limits, order, seeds, and what it shares with `assess` and `proof`."""

from __future__ import annotations

import importlib.util
import math
import sys
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import jointrisk
from jointrisk.errors import InputError
from jointrisk.scenario.pull_log import Pull
from jointrisk.spread import Gumbel, Lognormal, Uniform
from jointrisk.study.learn_log import log_of

_SPEC = importlib.util.spec_from_file_location(
    "oracles_for_learn_study", Path(__file__).with_name("oracles.py")
)
oracles = importlib.util.module_from_spec(_SPEC)
sys.modules[_SPEC.name] = oracles
_SPEC.loader.exec_module(oracles)


@cache
def rod():
    """Return a plain rod with a factor and a weight of weak bonds that are not known."""
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 1.2),
        "model.bond_factor": Lognormal(1.0, 0.2),
        "batch.bond_factor": Lognormal(1.0, 0.05),
        "weak_bonds.lone_weight": Uniform(0.0, 0.05),
        "proof.damage_most": Uniform(0.1, 0.5),
    }
    load = oracles.load(Gumbel(2000.0, 400.0))
    return oracles.plain(spreads, [load], target=(1e-3, "year", "set"), rig=(0.02, 0.02))


def rows(*given):
    """Return pulls of one batch: (load, kind, count)."""
    found = []
    for load, kind, count in given:
        for _ in range(count):
            number = len(found)
            found.append(Pull(f"r{number}", "", load, kind == "held", kind, number + 2))
    return found


@cache
def learnt(*given, seed=0):
    return jointrisk.learn(rod(), rows(*given), seed=seed)


def of(told, key):
    return next(row for row in told.unknowns if row.key == key)


def document(told):
    return {key: value for key, value in told.to_dict().items() if key != "host"}


def test_no_pull_leaves_what_assess_tells():
    told, known = learnt(), jointrisk.assess(rod(), seed=0, curves=False)
    chance = known.failure_probability
    for found in (told.before.life, told.after.life):
        assert found.estimate == pytest.approx(chance.estimate, rel=1e-9)
        band = chance.band_p05, chance.band_p50, chance.band_p95
        assert (found.p05, found.p50, found.p95) == pytest.approx(band, rel=1e-9)
    assert told.after.chance_met == pytest.approx(known.target.chance_met)
    assert told.information == 0.0
    assert told.taught_nothing


def test_a_pull_of_one_newton_teaches_nothing():
    told = learnt((1.0, "held", 12))
    assert told.taught_nothing
    assert told.information < 1e-3
    assert told.after.life.estimate == pytest.approx(told.before.life.estimate, rel=0.01)
    assert all(abs(row.shift) < 0.02 for row in told.unknowns)


def test_rods_that_hold_raise_strength_and_lower_failure():
    told = [learnt((load, "held", 12)) for load in (1.0, 5000.0, 6500.0)]
    for less, more in pairwise(told):
        assert of(more, "model.bond_factor").shift > of(less, "model.bond_factor").shift
        assert more.after.life.estimate < less.after.life.estimate
        assert more.weak.after_mean < less.weak.after_mean
    assert all(each.after.life.estimate < each.before.life.estimate for each in told[1:])


def test_a_low_break_lowers_strength_and_raises_failure():
    told = learnt((4280.0, "held", 11), (900.0, "broke at", 1))
    assert of(told, "weak_bonds.lone_weight").shift > 0.1
    assert told.weak.after_mean > told.weak.before_mean
    assert told.after.life.estimate > told.before.life.estimate
    assert told.information_broke > told.information_held


def test_a_rod_that_held_is_as_proof_has_it():
    """One pull of a set of one rod is the same question to both, answered by other means."""
    told = learnt((4280.0, "held", 1)).rods[0]
    wanted = jointrisk.proof(rod(), pulls=[4280.0], seed=1).pulls[0].fail_after
    assert told.kind == "held"
    assert told.after.low < wanted.high
    assert told.after.high > wanted.low
    assert told.after.estimate == pytest.approx(wanted.estimate, rel=0.3)


def test_order_of_pulls_is_irrelevant():
    """What is drawn and told hangs on the counts of the log alone."""
    pulls = rows((4280.0, "held", 3), (2000.0, "broke below", 1))
    pulls += [Pull(f"s{n}", "other", 900.0 + n, True, "held", n) for n in range(3)]
    one, other = log_of(pulls), log_of(pulls[::-1])
    assert one.histories == other.histories
    assert one.batches == other.batches
    assert np.array_equal(one.counts, other.counts)


def test_same_numbers_with_a_pool():
    pulls = rows((4280.0, "held", 12))
    with ThreadPoolExecutor(2) as pool:
        told = jointrisk.learn(rod(), pulls, seed=0, pool=pool)
    assert document(told) == document(learnt((4280.0, "held", 12)))


def test_seeds_agree_within_their_intervals():
    told = [learnt((4280.0, "held", 12), seed=seed) for seed in range(2)]
    logs = [math.log(each.after.life.estimate) for each in told]
    assert 0.0 < abs(np.diff(logs)[0]) < 0.2
    assert abs(np.diff([of(each, "model.bond_factor").shift for each in told])[0]) < 0.15


def test_breaks_far_above_what_the_file_can_explain_give_no_number():
    """Rods that broke at five times what is expected once raised the chance to fail."""
    told = learnt((60000.0, "broke at", 4))
    assert told.conflict.found
    assert told.conflict.far_off
    assert not told.converged
    assert "log-against-file" in {warning.code for warning in told.warnings}
    assert told.before is not None
    assert told.after is None
    assert told.rods == ()


def test_a_log_as_expected_is_not():
    told = learnt((4280.0, "held", 12))
    assert not told.conflict.found
    assert told.converged
    assert told.conflict.breaks_p05 <= 0 <= told.conflict.breaks_p95


def test_all_mistakes_at_once():
    pulls = [
        Pull("a", "", -5.0, True, "held", 2),
        Pull("b", "", 500.0, False, "broke", 3),
        Pull("c", "", 500.0, False, "broke at", 4),
        Pull("c", "", 600.0, True, "held", 5),
    ]
    with pytest.raises(InputError) as caught:
        jointrisk.learn(rod(), pulls)
    text = str(caught.value)
    assert "row 2, part 'a': load must be finite and above 0 N, got -5 N" in text
    assert "got 'broke'" in text
    assert "row 5, part 'c': it had broken in row 4" in text
