"""`tubular.pull_out` against the independent bars-and-springs solution of oracle.py."""

import dataclasses
import math
from collections import Counter

import numpy as np
import pytest

from jointrisk.mechanics import tubular

COUNT = 300
TOLERANCE = 1e-4  # of force; the oracle's mesh is good for about 1e-5


def random_joint(index):
    """Keyword arguments of `pull_out` for one of the compared joints."""
    rng = np.random.default_rng([2024, index])
    plug, gap = rng.uniform(3, 12), rng.uniform(0.05, 0.6)
    strength, modulus = rng.uniform(8, 45), rng.uniform(100, 1200)
    case = {
        "plug_radius": plug,
        "gap": gap,
        "tube_outer_radius": plug + gap + rng.uniform(0.6, 3),
        "plug_bore_radius": rng.choice([0.0, rng.uniform(0.2, 0.85) * plug]),
        "overlap": rng.uniform(3, 60),
        "tube_modulus": rng.uniform(2e4, 2.1e5),
        "plug_modulus": rng.uniform(2e4, 2.1e5),
        "adhesive_shear_modulus": modulus,
        "adhesive_shear_strength": strength,
        "misfit_strain": rng.choice([0.0, 0.0, 5e-4, 2e-3, 5e-3]) * rng.uniform(-1, 1),
        "offset": rng.choice([0.0, 0.0, rng.uniform(0, 0.9)]) * gap,
    }
    if rng.random() < 0.5:
        case["failure_shear_strain"] = 10 ** rng.uniform(-0.5, 1.8) * strength / modulus
    else:
        case["mode_ii_toughness"] = 10 ** rng.uniform(-1.7, 0.9)
    return case


def in_plain_numbers(oracle, case):
    """The same joint for the oracle, slip at failure from the area under the stress-slip law."""
    tau, G = case["adhesive_shear_strength"], case["adhesive_shear_modulus"]
    numbers = {
        "R": case["tube_outer_radius"],
        "rp": case["plug_radius"],
        "rb": case["plug_bore_radius"],
        "t": case["gap"],
        "L": case["overlap"],
        "Et": case["tube_modulus"],
        "Ep": case["plug_modulus"],
        "G": G,
        "tau": tau,
        "misfit": case["misfit_strain"],
    }
    c = oracle.Joint(**numbers, slip=1.0).compliance
    if "failure_shear_strain" in case:
        slip = c * G * case["failure_shear_strain"]
    elif case["mode_ii_toughness"] <= c * tau**2 / 2:
        slip = math.sqrt(2 * case["mode_ii_toughness"] * c)
    else:
        slip = (case["mode_ii_toughness"] + c * tau**2 / 2) / tau
    return oracle.Joint(**numbers, slip=slip * (1 - case["offset"] / case["gap"]))


@pytest.fixture(scope="module")
def compared(oracle):
    cases = [random_joint(index) for index in range(COUNT)]
    answers = [oracle.pull_out(in_plain_numbers(oracle, case)) for case in cases]
    return cases, answers


def test_force_agrees(compared):
    cases, answers = compared
    off = {}
    for index, (case, (force, _)) in enumerate(zip(cases, answers, strict=True)):
        ours = tubular.pull_out(**case).force
        # A force below zero in the oracle: the misfit alone has broken the joint.
        scale = case["adhesive_shear_strength"] * case["plug_radius"] * case["overlap"]
        if abs(ours - max(force, 0.0)) > TOLERANCE * max(ours, 0.05 * scale):
            off[index] = (float(ours), force)
    assert off == {}


def test_governing_limit_agrees(compared):
    cases, answers = compared
    for case, (_, yielded) in zip(cases, answers, strict=True):
        code = tubular.pull_out(**case).governs
        assert (tubular.GOVERNS[code] == "yield") == (yielded == "all")


def test_comparison_covers_every_state(compared):
    cases, answers = compared
    seen = Counter(yielded for force, yielded in answers if force > 0)
    assert all(seen[state] >= 2 for state in ("none", "mouth", "tip", "both", "all", "opposite"))
    signs = {np.sign(case["misfit_strain"]) for case in cases}
    assert signs == {-1.0, 0.0, 1.0}
    assert any(case["offset"] > 0.5 * case["gap"] for case in cases)
    assert any(force < 0 for force, _ in answers)


def test_bounded_never_exceeds_true_plasticity(oracle):
    """With springs that unload elastically the joint holds at least what we say, within mesh."""
    checked = 0
    for index in range(1000, 1200):
        case = random_joint(index)
        case["misfit_strain"] = case["misfit_strain"] or 3e-3
        result = tubular.pull_out(**case)
        if not result.bounded or tubular.GOVERNS[result.governs] == "yield" or result.force == 0:
            continue
        true = oracle.plastic_pull_out_force(in_plain_numbers(oracle, case))
        assert result.force <= true * (1 + 1e-3)
        checked += 1
        if checked == 8:
            return
    raise AssertionError(f"only {checked} bounded joints found")


def test_broken_by_misfit_alone(oracle):
    """Where misfit alone slips an end too far, true plasticity says so as well."""
    checked = 0
    for index in range(2000, 2200):
        case = random_joint(index)
        case["misfit_strain"] = 8e-3
        result = tubular.pull_out(**case)
        if result.force > 0:
            continue
        assert oracle.plastic_pull_out_force(in_plain_numbers(oracle, case), nodes=401) == 0
        checked += 1
        if checked == 5:
            return
    raise AssertionError(f"only {checked} joints broken by misfit found")


@pytest.mark.parametrize(("eta", "low", "high"), [(0.3, 0.99, 1.02), (0.5, 0.99, 1.04)])
def test_off_centre_plug_against_a_ring_of_springs(oracle, eta, low, high):
    """Springs of differing length, each yielding at tau_p; the shortest breaks at gamma_max.

    For failure strains of six yield strains and more, as the docstring of `pull_out` says.
    """
    ratios = []
    for index in range(3000, 3030):
        case = random_joint(index) | {"misfit_strain": 0.0, "offset": 0.0}
        case.pop("mode_ii_toughness", None)
        yield_strain = case["adhesive_shear_strength"] / case["adhesive_shear_modulus"]
        case["failure_shear_strain"] = yield_strain * (6 + index % 25)
        plain = in_plain_numbers(oracle, case)
        ring = dataclasses.replace(plain, eta=eta, slip=plain.slip * (1 - eta))
        force, _ = oracle.pull_out(ring, nodes=301)
        ours = tubular.pull_out(**case | {"offset": eta * case["gap"]}).force
        ratios.append(float(ours) / force)
    assert low < min(ratios)
    assert max(ratios) < high
