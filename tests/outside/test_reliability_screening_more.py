"""Screening held to quadrature: one part of many kinds, several parts, damage, tails, floors."""

from __future__ import annotations

import importlib.util
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import fixed_quad
from scipy.optimize import brentq

from jointrisk import spread
from jointrisk.reliability import screen, smallest_load


def beside(name):
    """Load a module of this folder by its file."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


quad = beside("screening_parts")
PARTS, Part, integral = quad.PARTS, quad.Part, quad.integral
after, before, held, refused = quad.after, quad.before, quad.held, quad.refused
plain, less, labelled, labelled_less = quad.plain, quad.less, quad.labelled, quad.labelled_less

N, G = spread.Normal, spread.Gumbel
WITH_LABEL = [part for part in PARTS if "label" in part.name]


def named(part):
    return part.name


def screened(part, loads=None, **more):
    rig = {"rig_error_cov": part.error, "rig_bias_sd": part.bias}
    loads = part.loads if loads is None else loads
    return screen(part.margin, part.strength, part.variables, loads=loads, **(rig | more))


def found_load(part, **more):
    rig = {"rig_error_cov": part.error, "rig_bias_sd": part.bias, "target": part.target}
    return smallest_load(part.margin, part.strength, part.variables, **(rig | more))


def meets(curve, load, target):
    """A falling curve crosses the target within 1 % of the load."""
    return curve(0.99 * load) > target >= curve(1.01 * load)


@pytest.mark.parametrize("part", PARTS, ids=named)
def test_one_part_within_a_tenth(part):
    found = screened(part)
    assert found.fail_before == pytest.approx(before(part), rel=0.1)
    for i, load in enumerate(part.loads):
        assert found.reject[i] == pytest.approx(refused(part, load), rel=0.1)
        assert found.fail_after[i] == pytest.approx(after(part, load), rel=0.1)


@pytest.mark.parametrize("part", WITH_LABEL, ids=named)
def test_weak_and_sound_parts_within_a_tenth(part):
    """`reject_weak` and `reject_sound` are refusals inside a class."""
    found = screened(part, is_weak=lambda x: x["k"] < 1)
    for law, share in ((1, found.reject_weak), (0, found.reject_sound)):
        alone = Part("", {}, plain, less, ((1.0, *part.classes[law][1:]),), (), 0.5, part.error)
        truth = np.array([refused(alone, load) for load in part.loads])
        seen = truth > 1e-12
        np.testing.assert_allclose(share[seen], truth[seen], rtol=0.1)


def test_a_touch_shows_bonds_that_hold_nothing():
    """They fail without a pull and at none: any pull at all meets the target, zero does not."""
    (part,) = [part for part in PARTS if part.name == "bonds that hold nothing"]
    found = found_load(part, target=1e-5)
    assert before(part) > 1e-5 > after(part, 1.0)
    assert 0.0 < found.load < 1.0
    assert found.fail_after == pytest.approx(after(part, 1.0), rel=0.15)


def test_kissing_bonds_inside_one_spread():
    """Next to no strength lies between the two: a cliff in the map from normal scores."""
    (part,) = [part for part in PARTS if part.name == "kissing bonds"]
    both = [(0.997, spread.Lognormal(1000, 100)), (0.003, spread.Uniform(0, 300))]
    variables = {"r": spread.Mixture(both), "d": G(350, 35)}
    found = screen(less, plain, variables, loads=[400.0], rig_error_cov=0.03, target_cov=0.1)
    assert found.reject[0] == pytest.approx(refused(part, 400.0), rel=0.1)
    assert found.fail_after[0] == pytest.approx(after(part, 400.0), rel=0.1)


# --- tails ----------------------------------------------------------------------------------

DEEP = Part("deep", {"r": N(1000, 80), "d": N(430, 35)}, plain, less,
            ((1.0, stats.norm(1000, 80), stats.norm(430, 35).sf),), (), 1e-9, 0.02)  # fmt: skip


def test_refusal_survival_and_failure_of_one_in_a_billion():
    loads = (515.0, 540.0, 600.0, 1500.0)
    found = screened(DEEP, loads)
    truth = np.array([(refused(DEEP, p), held(DEEP, p), after(DEEP, p)) for p in loads])
    assert truth[0, 0] < 1.2e-9
    assert truth[3, 1] < 3e-9
    assert truth[0, 2] < 1e-9
    assert found.reject[:3] == pytest.approx(truth[:3, 0], rel=0.1)
    assert 1 - found.reject[3] == pytest.approx(truth[3, 1], rel=0.1)
    assert found.fail_after[:3] == pytest.approx(truth[:3, 2], rel=0.1)
    low, high = 1 - found.reject_interval[3, ::-1]
    assert low < truth[3, 1] < high
    assert high < 1.3 * truth[3, 1]


def test_smallest_load_for_one_in_a_billion():
    part = Part("", {"r": N(1000, 80), "d": N(500, 35)}, plain, less,
                ((1.0, stats.norm(1000, 80), stats.norm(500, 35).sf),), (), 1e-9, 0.02)  # fmt: skip
    found = found_load(part)
    assert meets(lambda load: after(part, load), found.load, 1e-9)


# --- several parts --------------------------------------------------------------------------


def test_twelve_parts_in_series_within_a_tenth():
    twelve, loads = quad.Twelve(), (500.0, 600.0, 700.0, 800.0)
    found = screen(
        twelve.margin,
        twelve.strength,
        twelve.variables,
        loads=loads,
        rig_error_cov=twelve.error,
        rig_bias_sd=twelve.bias,
    )
    truth = np.array([twelve.exact(load) for load in loads]).T
    assert found.reject == pytest.approx(truth[0], rel=0.1)
    assert found.reject_each == pytest.approx(truth[1], rel=0.1)
    assert found.fail_after == pytest.approx(truth[2], rel=0.1)


def lost(applied, strength):
    """Share of the strength that a pull takes: up to 40 % when it comes near the strength."""
    return 0.4 * np.clip((applied / strength - 0.7) / 0.3, 0, 1)


def test_two_pulls_that_do_damage_with_a_shared_bias():
    """Quadrature over the bias; own errors in closed form, since the service load is fixed."""
    load, service, error, bias = 850.0, 640.0, 0.03, 0.04
    laws = {"a": stats.norm(1000, 100), "b": quad.lognormal(1050, 110)}

    def strength(x):
        return np.vstack([x["a"], x["b"]])

    found = screen(
        lambda x: strength(x).min(axis=0) - service,
        strength,
        {"a": N(1000, 100), "b": spread.Lognormal(1050, 110)},
        loads=[load],
        after_pull=lambda x, applied: (1 - lost(applied, strength(x))) * strength(x) - service,
        rig_error_cov=error,
        rig_bias_sd=bias,
    )

    def part(law, z):
        """Chance to hold, and to hold and fail."""

        def top(r):
            return (r / load - 1 - bias * z) / error

        def fails(r):
            most = 0.7 + 0.3 * np.clip((1 - service / r) / 0.4, 0, 1)
            floor = (most * r / load - 1 - bias * z) / error
            both = stats.norm.cdf(top(r)) - stats.norm.cdf(floor)
            return np.where(r < service, stats.norm.cdf(top(r)), np.maximum(both, 0))

        knots = [service, service / 0.6, *np.linspace(600, 1200, 25)]
        return integral(law, lambda r: stats.norm.cdf(top(r)), knots), integral(law, fails, knots)

    holds = np.array([[part(law, z) for law in laws.values()] for z in quad.SCORES])
    one, bad = holds[:, :, 0], holds[:, :, 1]
    both = quad.SHARES @ one.prod(axis=1)
    failed = quad.SHARES @ (one.prod(axis=1) - (one - bad).prod(axis=1))
    assert 0.01 < failed / both < 0.9
    assert found.reject[0] == pytest.approx(1 - both, rel=0.05)
    assert found.fail_after[0] == pytest.approx(failed / both, rel=0.05)


# --- damage to one part ---------------------------------------------------------------------


def damaged_after(part, load):
    """Failure after a pull that takes strength, over strength and the pull's error."""

    def both(r, fails):
        spare = (0.7 * r / load - 1) / part.total
        total = stats.norm.cdf(spare) * fails(r)

        def near(y):
            density = stats.norm.pdf((y * r[:, None] / load - 1) / part.total)
            return (
                density * r[:, None] / load / part.total * fails((1.0 - lost(y, 1.0)) * r[:, None])
            )

        ends = np.linspace(0.7, 1.0, 7)
        return total + sum(fixed_quad(near, a, b, n=20)[0] for a, b in pairwise(ends))

    knots = load * np.linspace(0.6, 1.6, 21)
    total = sum(
        share * integral(law, lambda r, f=fails: both(r, f), knots)
        for share, law, fails in part.classes
    )
    return total / held(part, load)


def hurt(strength):
    return lambda x, applied: (1 - lost(applied, strength(x))) * strength(x) - x["d"]


def weak_label():
    (part,) = [part for part in PARTS if part.name == "weak label"]
    return part


def test_damage_with_own_error_and_bias_within_a_tenth():
    part = Part("", *(getattr(weak_label(), n) for n in ("variables", "strength", "margin",
                "classes", "loads", "target")), 0.03, 0.04)  # fmt: skip
    loads = (450.0, 550.0, 650.0, 800.0)
    found = screened(part, loads, after_pull=hurt(labelled))
    truth = [damaged_after(part, load) for load in loads]
    assert found.fail_after == pytest.approx(truth, rel=0.1)
    assert truth[2] < truth[0]
    assert truth[2] < truth[3]


def test_damage_leaves_windows_and_a_floor_inside():
    part = weak_label()

    def curve(load):
        return damaged_after(part, load)

    target = 1.5e-4
    turns = quad.crossings(curve, target, np.linspace(500, 950, 6))
    found = found_load(
        part, target=target, highest=950.0, after_pull=hurt(labelled), target_cov=0.03
    )
    assert len(turns) == 2
    assert np.ravel(found.windows) == pytest.approx(turns, rel=0.01)
    floor = min(curve(load) for load in np.linspace(635, 665, 4))
    assert found.floor == pytest.approx(floor, rel=0.1)
    never = found_load(
        part, target=0.3 * floor, highest=950.0, after_pull=hurt(labelled), target_cov=0.1
    )
    assert not never.reachable
    assert never.load is None
    assert never.floor == pytest.approx(floor, rel=0.1)


def test_every_window_of_a_curve_with_a_hump_is_found():
    """The pull hurts only near 620 N: strength in service falls by up to 250 N there."""
    limit, demand = 1e-4, stats.norm(500, 60)
    kinds = spread.Mixture([(0.99, spread.Fixed(1.0)), (0.01, spread.Fixed(0.4))])

    def loss(load):
        return 250 * np.exp(-(((load - 620) / 30) ** 2))

    def curve(load):
        hump = float(loss(load))
        classes = tuple(
            (share, law, lambda r, hump=hump: demand.sf(r - hump))
            for share, law in ((0.99, stats.norm(1000, 100)), (0.01, stats.norm(400, 40)))
        )
        return after(Part("", {}, plain, less, classes, (), limit), load)

    found = smallest_load(
        labelled_less,
        labelled,
        {"k": kinds, "r": N(1000, 100), "d": N(500, 60)},
        target=limit,
        after_pull=lambda x, applied: labelled(x) - loss(applied) - x["d"],
        target_cov=0.03,
    )
    turns = quad.crossings(curve, limit, np.linspace(300, 900, 61))
    assert len(turns) == 3
    assert len(found.windows) == 2
    assert np.ravel(found.windows)[:3] == pytest.approx(turns, rel=0.01)
    assert found.windows[1][1] == found.highest


# --- out of reach ---------------------------------------------------------------------------


def test_refusals_bound_the_load_and_the_floor_is_there():
    (part,) = [part for part in PARTS if part.name == "normal"]
    found = found_load(part, target=1e-9, max_reject=0.02)
    top = brentq(lambda load: refused(part, load) - 0.02, 600, 1000)
    assert not found.reachable
    assert found.load is None
    assert found.windows == ()
    assert found.highest == pytest.approx(top, rel=0.01)
    assert found.floor_load == pytest.approx(top, rel=0.01)
    assert found.floor == pytest.approx(after(part, top), rel=0.15)


def test_load_scatter_leaves_a_floor_at_the_strongest_part():
    law, demand = stats.uniform(700, 300), quad.gumbel(600, 60)
    part = Part("", {"r": spread.Uniform(700, 1000), "d": G(600, 60)}, plain, less,
                ((1.0, law, demand.sf),), (), 1e-5)  # fmt: skip
    found = found_load(part, highest=990.0)
    assert not found.reachable
    assert found.floor == pytest.approx(after(part, 990.0), rel=0.1)
    assert found.floor_load == pytest.approx(990.0, rel=0.01)


def test_latent_weakness_unseen_by_the_pull_leaves_its_share():
    """One in a hundred loses seven tenths of its strength after the pull, whatever it held."""
    demand, law = stats.norm(400, 40), stats.norm(1000, 100)
    kinds = spread.Mixture([(0.99, spread.Fixed(1.0)), (0.01, spread.Fixed(0.3))])
    part = Part("", {"k": kinds, "r": N(1000, 100), "d": N(400, 40)}, plain, labelled_less,
                ((0.99, law, demand.sf), (0.01, law, lambda r: demand.sf(0.3 * r))),
                (), 1e-3, 0.03)  # fmt: skip
    found = found_load(part, max_reject=0.1)
    top = brentq(lambda load: refused(part, load) - 0.1, 700, 1000)
    assert not found.reachable
    assert found.floor == pytest.approx(after(part, top), rel=0.05)
    assert found.floor > 0.009


def test_no_pull_is_admissible_where_too_many_bonds_hold_nothing():
    kinds = spread.Mixture([(0.85, spread.Fixed(1.0)), (0.15, spread.Fixed(0.0))])
    variables = {"k": kinds, "r": N(1000, 100), "d": N(400, 40)}
    found = smallest_load(labelled_less, labelled, variables, target=1e-3, max_reject=0.1)
    assert not found.reachable
    assert found.load is None
    assert found.floor == pytest.approx(0.15, rel=0.05)
    assert found.floor_load == 0.0
    met = smallest_load(labelled_less, labelled, variables, target=0.2, max_reject=0.1)
    assert met.load == 0.0
    assert met.fail_after == pytest.approx(0.15, rel=0.05)
