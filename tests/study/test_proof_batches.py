"""Rods of a batch taken in turn: every outcome of a few rods written out, and its chance."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.bench import bench_of, pull
from jointrisk.study.proof_batches import chosen, filled, over_all_hold, states_of, taken
from jointrisk.study.pull_sample import pull_sample

LOAD = 7000.0
CHANCES = st.lists(st.floats(0.0, 1.0), min_size=6, max_size=6)


def outcomes(chances):
    """Return every way that rods hold or break, with its chance."""
    for held in product((True, False), repeat=len(chances)):
        yield (
            held,
            float(np.prod([c if h else 1.0 - c for c, h in zip(chances, held, strict=True)])),
        )


def broken_when_filled(held, places, broken):
    """Walk rod by rod; None where the batch is dropped."""
    good = bad = 0
    for holds in held:
        good, bad = good + holds, bad + (not holds)
        if good == places:
            return bad
        if bad == broken:
            return None
    raise AssertionError("too few rods")


@given(CHANCES, st.sampled_from([(1, 1), (1, 2), (2, 3), (3, 2), (3, 4), (2, 1)]))
def test_places_are_filled_after_so_many_have_broken(chances, rule):
    places, broken = rule
    found = filled(np.array(chances)[:, None], places, broken)[:, 0]
    asked = np.zeros(broken)
    for held, chance in outcomes(chances):
        after = broken_when_filled(held, places, broken)
        if after is not None:
            asked[after] += chance
    assert found == pytest.approx(asked, abs=1e-12)


@pytest.mark.parametrize(("places", "broken"), [(1, 2), (2, 3), (2, 2), (3, 4), (3, 1)])
@pytest.mark.parametrize("holds", [0.9, 0.4])
def test_chance_to_fill_over_all_hold_has_no_bias(places, broken, holds):
    """Over every outcome of six further rods, of which the estimate sees only who broke."""
    mean = sum(
        chance * over_all_hold(np.array(held, dtype=float)[:, None], places, broken)[0]
        for held, chance in outcomes([holds] * 6)
    )
    exact = filled(np.full((places + broken, 1), holds), places, broken).sum() / holds**places
    assert mean == pytest.approx(exact, rel=1e-9)


@given(st.lists(st.booleans(), min_size=6, max_size=6))
def test_the_first_that_hold_fill_the_places(held):
    places, broken = 3, 3
    order, full = chosen(np.array(held)[:, None], places, broken)
    assert full[0] == (broken_when_filled(held, places, broken) is not None)
    if full[0]:
        assert list(order[:, 0]) == [n for n, holds in enumerate(held) if holds][:places]


@pytest.fixture(scope="module")
def states(oracles):
    """States of two batches of two rods, some of them bad, in a rig that errs."""
    spreads = {
        "adhesive.shear_strength": Lognormal(10.0, 1.0),
        "batch.bond_factor": Lognormal(1.0, 0.15),
        "weak_bonds.lone_weight": 0.02,
        "weak_bonds.bad_batch_weight": 0.1,
        "weak_bonds.share_in_bad_batch": 0.8,
    }
    jerk = oracles.load(Gumbel(3000.0, 600.0))
    scenario = oracles.plain(spreads, [jerk], rods=4, rods_per_batch=2, rig=(0.03, 0.1))
    bench = bench_of(pull_sample(scenario, 1))
    pulled = pull(bench, LOAD)
    return bench, states_of(bench, LOAD, 1.0 - pulled.refused, bench.weight)


def test_further_sets_share_what_a_batch_shares_and_nothing_else(states):
    bench, found = states
    layout = bench.rods.layout
    shared = layout.columns["batch.bond_factor"]
    own = layout.columns["adhesive.shear_strength"]
    assert np.all(found.u[1:, :, shared] == found.u[0, :, shared])
    assert not np.any(found.u[1:, :, own] == found.u[0, :, own])
    bad = layout.bad_batch_labels
    assert np.all(found.labels[1:, :, bad] == found.labels[0, :, bad])
    weak = found.labels[1:, :, layout.weak_joint_labels].reshape(2, -1, 2, 4)  # by batch
    for is_bad, chance in ((True, 0.8), (False, 0.02)):
        inside = weak[:, found.labels[0, :, bad] == is_bad]
        error = np.sqrt(chance * (1.0 - chance) / inside.size)
        assert inside.mean() == pytest.approx(chance, abs=4.0 * error)


def test_counts_and_chances_are_those_of_the_sample(states):
    """Of the rows' own rods and of further ones: rods of a batch are alike."""
    bench, found = states
    weight = bench.weight / bench.weight.sum()
    held = float((weight * (1.0 - pull(bench, LOAD).refused).mean(axis=0)).sum())
    assert found.count.mean() == pytest.approx(1.0, rel=0.03)
    for copy in range(3):
        each = found.count * found.chance[copy].mean(axis=0)
        assert each.mean() == pytest.approx(held, rel=0.02)


def test_further_sets_are_pulled_by_the_same_gauge(states):
    """Where it shows too little rods feel more, and fewer of them hold."""
    bench, found = states
    means = []
    for own in (bench.bias[found.rows] > 0.05, bench.bias[found.rows] < -0.05):
        count = found.count[own] / found.count[own].sum()
        first, *further = ((count * chance[:, own].mean(axis=0)).sum() for chance in found.chance)
        assert further == pytest.approx([first, first], rel=0.04)
        means.append(first)
    assert means[0] < 0.9 * means[1]


def test_sets_put_together_hold_the_rods_that_were_taken(states):
    bench, found = states
    layout = bench.rods.layout
    asked = np.array([3, 7])
    copy, rod = (
        np.array([[1, 2], [0, 0], [2, 1], [1, 0]]),
        np.array([[1, 0], [1, 1], [2, 3], [2, 2]]),
    )
    u, labels = taken(layout, found, asked, copy, rod)
    own, weak = layout.columns["adhesive.shear_strength"].start, layout.weak_joint_labels.start
    shared = layout.columns["batch.bond_factor"]
    for number, state in enumerate(asked):
        assert np.all(u[number, shared] == found.u[0, state, shared])
        for place in range(4):
            source = copy[place, number], state
            ends, among = 2 * place + np.arange(2), 2 * rod[place, number] + np.arange(2)
            assert np.all(u[number, own + ends] == found.u[source][own + among])
            assert np.all(labels[number, weak + ends] == found.labels[source][weak + among])
