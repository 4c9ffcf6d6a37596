"""First-order results and probabilities against OpenTURNS on seven limit states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import openturns as ot
import pytest

from jointrisk import spread
from jointrisk.reliability import estimate

ot.Log.Show(ot.Log.NONE)


@dataclass(frozen=True)
class Case:
    """One limit state, told to both libraries."""

    formula: str
    variables: dict
    laws: tuple
    scores: dict
    margin: object


def parametrized(family, *values):
    return ot.ParametrizedDistribution(family(*values))


CASES = {
    "strength less load": Case(
        "r - d",
        {"r": spread.Normal(1000, 100), "d": spread.Normal(500, 80)},
        (ot.Normal(1000, 100), ot.Normal(500, 80)),
        {},
        lambda x: x["r"] - x["d"],
    ),
    "lognormal ratio": Case(
        "r - d",
        {"r": spread.Lognormal(1000, 150), "d": spread.Lognormal(400, 80)},
        (
            parametrized(ot.LogNormalMuSigma, 1000, 150),
            parametrized(ot.LogNormalMuSigma, 400, 80),
        ),
        {},
        lambda x: x["r"] - x["d"],
    ),
    "bar in tension": Case(
        "s * 3.141592653589793 * b^2 / 4 - f",
        {
            "s": spread.Lognormal(300, 30),
            "b": spread.Normal(20, 0.4),
            "f": spread.Gumbel(50_000, 8000),
        },
        (
            parametrized(ot.LogNormalMuSigma, 300, 30),
            ot.Normal(20, 0.4),
            parametrized(ot.GumbelMuSigma, 50_000, 8000),
        ),
        {},
        lambda x: x["s"] * np.pi * x["b"] ** 2 / 4 - x["f"],
    ),
    "cantilever tip": Case(
        "30 - f * l^3 / (3 * e * i)",
        {
            "e": spread.Lognormal(210_000, 10_000),
            "f": spread.Gumbel(300, 40),
            "l": spread.Uniform(2500, 2600),
            "i": spread.Normal(500_000, 20_000),
        },
        (
            parametrized(ot.LogNormalMuSigma, 210_000, 10_000),
            parametrized(ot.GumbelMuSigma, 300, 40),
            ot.Uniform(2500, 2600),
            ot.Normal(500_000, 20_000),
        ),
        {},
        lambda x: 30 - x["f"] * x["l"] ** 3 / (3 * x["e"] * x["i"]),
    ),
    "weakest of a Weibull": Case(
        "r - d",
        {"r": spread.Weibull(9.0, 1000.0), "d": spread.Triangular(100, 200, 400)},
        (ot.WeibullMin(1000.0, 9.0, 0.0), ot.Triangular(100, 200, 400)),
        {},
        lambda x: x["r"] - x["d"],
    ),
    "curved in two scores": Case(
        "4 - a + 0.15 * b^2 - 0.3 * b",
        {"a": spread.Normal(0, 1), "b": spread.Normal(0, 1)},
        (ot.Normal(), ot.Normal()),
        {},
        lambda x: 4 - x["a"] + 0.15 * x["b"] ** 2 - 0.3 * x["b"],
    ),
    "tied scores": Case(
        "r - d",
        {"r": spread.Lognormal(1000, 100), "d": spread.Gumbel(500, 80)},
        (
            parametrized(ot.LogNormalMuSigma, 1000, 100),
            parametrized(ot.GumbelMuSigma, 500, 80),
        ),
        {("r", "d"): 0.5},
        lambda x: x["r"] - x["d"],
    ),
}


def reference_event(case):
    names = list(case.variables)
    tied = ot.CorrelationMatrix(len(names))
    for (one, other), value in case.scores.items():
        tied[names.index(one), names.index(other)] = value
    joint = ot.JointDistribution(list(case.laws), ot.NormalCopula(tied))
    function = ot.SymbolicFunction(names, [case.formula])
    output = ot.CompositeRandomVector(function, ot.RandomVector(joint))
    return ot.ThresholdEvent(output, ot.Less(), 0.0), joint


def reference_form(case):
    event, joint = reference_event(case)
    solver = ot.SQP()
    solver.setMaximumAbsoluteError(1e-8)
    solver.setMaximumRelativeError(1e-8)
    solver.setMaximumResidualError(1e-8)
    solver.setMaximumConstraintError(1e-8)
    solver.setMaximumIterationNumber(500)
    solver.setMaximumCallsNumber(5000)
    solver.setStartingPoint(joint.getMean())
    algorithm = ot.FORM(solver, event)
    algorithm.run()
    return algorithm.getResult()


def estimated(case, method, **more):
    return estimate(
        case.margin,
        case.variables,
        correlation=case.scores or None,
        correlation_of="scores",
        method=method,
        **more,
    )


@pytest.mark.parametrize("name", CASES)
def test_first_order_index_and_point(name):
    case, theirs = CASES[name], reference_form(CASES[name])
    ours = estimated(case, "form")
    assert ours.converged
    beta = theirs.getHasoferReliabilityIndex()
    assert ours.design_points[0].beta == pytest.approx(beta, rel=1e-3)
    point = np.array(theirs.getPhysicalSpaceDesignPoint())
    np.testing.assert_allclose(
        list(ours.design_points[0].values.values()), point, rtol=5e-3, atol=2e-2
    )
    assert ours.design_points[0].probability == pytest.approx(
        theirs.getEventProbability(), rel=1e-2
    )


@pytest.mark.parametrize("name", [name for name, case in CASES.items() if not case.scores])
def test_direction_cosines(name):
    case, theirs = CASES[name], reference_form(CASES[name])
    u = np.array(theirs.getStandardSpaceDesignPoint())
    ours = estimated(case, "form")
    np.testing.assert_allclose(list(ours.alpha.values()), u / np.linalg.norm(u), atol=2e-3)


@pytest.mark.parametrize("name", CASES)
def test_probability_against_directional_sampling(name):
    case = CASES[name]
    event, _ = reference_event(case)
    ot.RandomGenerator.SetSeed(1)
    algorithm = ot.DirectionalSampling(event)
    algorithm.setMaximumOuterSampling(4000)
    algorithm.setBlockSize(1)
    algorithm.setMaximumCoefficientOfVariation(0.05)
    algorithm.run()
    theirs = algorithm.getResult()
    ours = estimated(case, "auto", target_cov=0.02)
    error = np.hypot(theirs.getStandardDeviation() / theirs.getProbabilityEstimate(), 0.02)
    assert ours.converged
    assert error < 0.1
    assert ours.probability == pytest.approx(theirs.getProbabilityEstimate(), rel=4 * error)
