"""The set in `limit_states.py`: its references computed again, and `estimate` against them.

References come from formulas and quadrature with SciPy; with one or two variables also from a
fine grid over the limit state itself, with more from plain NumPy draws.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from jointrisk.reliability import estimate


def beside(path):
    """Load a module by its file, so that those loaded later can import it by name."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
states = beside(HERE / "limit_states.py")
plain = beside(HERE / "limit_states_plain.py")
exact = beside(HERE / "limit_states_exact.py")
script = beside(HERE.parent / "benchmarks" / "bonded_joint_reference.py")
CASES = {case.name: case for case in states.CASES}

SLOW_GRID = {"Beta and Triangular", "truncated strength"}
ALONG_THE_LINES = {"metaball", "label of one in a million", "Rastrigin", "two cubes"}
"""Cases whose edge runs along the lines of the grid, where it is coarse."""
ON_GRID = [
    name
    for name, case in CASES.items()
    if len(case.variables) <= 2 and name not in SLOW_GRID | ALONG_THE_LINES
]
DRAWN = [
    name
    for name, case in CASES.items()
    if len(case.variables) > 2
    and "bonded" not in case.tags
    and (case.reference > 5e-4 or (len(case.variables) <= 6 and case.reference > 5e-6))
]


def test_the_set_is_large_and_every_case_is_its_own():
    assert len(states.CASES) >= 44
    assert len(CASES) == len(states.CASES)
    assert {1, 2, 3, 5, 10, 12, 20, 50, 100} <= {len(case.variables) for case in states.CASES}
    assert min(case.reference for case in states.CASES) <= 1e-10
    assert max(case.reference for case in states.CASES) >= 0.998
    assert all(case.source and case.tags for case in states.CASES)


def test_every_case_but_the_bonded_ones_has_a_formula():
    assert set(exact.EXACT) == {name for name, case in CASES.items() if "bonded" not in case.tags}


@pytest.mark.parametrize("name", exact.EXACT)
def test_reference_by_formula_or_quadrature(name):
    assert CASES[name].reference == pytest.approx(
        exact.EXACT[name](), rel=exact.ROUGH.get(name, 1e-5)
    )


@pytest.mark.parametrize("name", ON_GRID)
def test_reference_on_a_grid_of_scores(name):
    assert CASES[name].reference == pytest.approx(plain.on_grid(CASES[name]), rel=1e-3)


@pytest.mark.parametrize("name", DRAWN)
def test_reference_by_plain_draws(name):
    """Within three standard errors, and those small enough to tell."""
    mean, error = plain.drawn(CASES[name])
    assert error < 0.12 * CASES[name].reference
    assert abs(mean - CASES[name].reference) < 3.0 * error


@pytest.mark.parametrize("load", [1320.0, 820.0, 540.0])
def test_reference_of_the_bonded_joint(load):
    """Fewer draws of the script that made them, another seed."""
    mean, error = script.reference(load, 50_000, seed=1)
    assert error < 0.01 * mean
    assert abs(mean - CASES[f"bonded joint, {load:g} N"].reference) < 3.0 * error


@pytest.mark.parametrize("load", [1320.0, 820.0])
def test_bonded_limit_state_is_the_script_s_strength_less_the_load(load):
    """The margin itself at random scores: the two are written apart."""
    case = CASES[f"bonded joint, {load:g} N"]
    order = ("shear_strength", "shear_modulus", "model", "preparation", "wet", "gap")
    order += ("diameter", "tube_modulus", "wall", "plug_modulus", "overlap")
    z = np.random.default_rng(2).standard_normal((1000, 11))
    tied = np.zeros((1000, 12))
    tied[:, [list(case.variables).index(name) for name in order]] = z
    expected = script.capacity(z) - plain.gumbel(load, 0.25 * load).median()
    np.testing.assert_allclose(plain.margin(case, tied), expected, rtol=1e-9)


@pytest.mark.parametrize("name", CASES)
def test_estimate_agrees(name):
    """Converged, and within four of its own errors or 20 %."""
    case = CASES[name]
    found = estimate(
        case.limit_state,
        case.variables,
        correlation=case.correlation,
        correlation_of=case.correlation_of,
        seed=0,
    )
    assert found.converged, found.notes
    own = found.cov * found.probability
    assert abs(found.probability - case.reference) <= max(4.0 * own, 0.2 * case.reference)
