"""Time of `estimate` against FORM and importance sampling of OpenTURNS, to the same accuracy.

Run by hand: ``python tests/benchmarks/against_openturns.py [PAIRS]``. One process, the two take
turns and swap who goes first; both are asked for a coefficient of variation of 0.05 on the
same vectorised limit state. OpenTURNS starts from the median, searches one design point and
draws around it. One row a case: estimates over the reference (medians), evaluations, seconds,
median of the ratio of seconds (ours over theirs) within a pair.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import openturns as ot

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

from limit_states import CASES

from jointrisk import spread
from jointrisk.reliability import estimate

NAMES = (
    "one in 10 billion",
    "linear in 100",
    "lognormals tied",
    "truncated strength",
    "Beta and Triangular",
    "Frechet load",
    "product of two strengths",
    "product of two normals",
    "oscillator, small",
    "bowl away in 12",
    "bonded joint, 1320 N",
    "bonded joint, 820 N",
    "bonded joint, 540 N",
)


def law(given):
    """The same spread from OpenTURNS."""
    match given:
        case spread.Normal():
            return ot.Normal(given.mean, given.sd)
        case spread.Lognormal():
            return ot.ParametrizedDistribution(ot.LogNormalMuSigma(given.mean, given.sd))
        case spread.Gumbel():
            return ot.ParametrizedDistribution(ot.GumbelMuSigma(given.mean, given.sd))
        case spread.Weibull():
            return ot.WeibullMin(given.scale, given.shape, given.shift)
        case spread.Frechet():
            return ot.Frechet(given.scale, given.shape, given.shift)
        case spread.Triangular():
            return ot.Triangular(given.low, given.mode, given.high)
        case spread.Truncated():
            return ot.TruncatedDistribution(
                law(given.base), given.low, ot.TruncatedDistribution.LOWER
            )
        case spread.Beta():
            return ot.ParametrizedDistribution(
                ot.BetaMuSigma(given.mean, given.sd, given.low, given.high)
            )
    raise TypeError(given)


def joint(case):
    """Joint law with a normal copula; product-moment coefficients of lognormals by Nataf."""
    names = list(case.variables)
    tied = ot.CorrelationMatrix(len(names))
    for (a, b), value in (case.correlation or {}).items():
        if case.correlation_of == "values":
            one, two = (case.variables[n].sd / case.variables[n].mean for n in (a, b))
            value = np.log1p(value * one * two) / np.sqrt(np.log1p(one**2) * np.log1p(two**2))
        tied[names.index(a), names.index(b)] = float(value)
    laws = [law(v) for v in case.variables.values()]
    return ot.JointDistribution(laws, ot.NormalCopula(tied))


def theirs(case, seed):
    """Probability, evaluations and seconds of FORM and importance sampling."""
    start = time.perf_counter()
    names = list(case.variables)

    def many(rows):
        values = np.asarray(rows)
        return case.limit_state({n: values[:, i] for i, n in enumerate(names)})[:, None]

    ot.RandomGenerator.SetSeed(seed)
    function = ot.PythonFunction(len(names), 1, func_sample=many)
    vector = ot.RandomVector(joint(case))
    event = ot.ThresholdEvent(ot.CompositeRandomVector(function, vector), ot.Less(), 0.0)
    solver = ot.AbdoRackwitz()
    solver.setStartingPoint([float(v.ppf(0.5)) for v in case.variables.values()])
    solver.setCheckStatus(False)
    solver.setMaximumCallsNumber(100_000)
    form = ot.FORM(solver, event)
    form.run()
    centre = form.getResult().getStandardSpaceDesignPoint()
    draws = ot.ImportanceSamplingExperiment(ot.Normal(centre, ot.CovarianceMatrix(len(names))))
    algorithm = ot.ProbabilitySimulationAlgorithm(ot.StandardEvent(event), draws)
    algorithm.setBlockSize(1000)
    algorithm.setMaximumOuterSampling(1000)
    algorithm.setMaximumCoefficientOfVariation(0.05)
    algorithm.run()
    probability = algorithm.getResult().getProbabilityEstimate()
    return probability, function.getEvaluationCallsNumber(), time.perf_counter() - start


def ours(case, seed):
    """Probability, evaluations and seconds of `estimate`."""
    start = time.perf_counter()
    found = estimate(
        case.limit_state,
        case.variables,
        correlation=case.correlation,
        correlation_of=case.correlation_of,
        target_cov=0.05,
        seed=seed,
    )
    return found.probability, found.evaluations, time.perf_counter() - start


def compared(case, pairs):
    """Runs of both, (pairs, 3) each; the first pair warms up and is dropped."""
    found = {ours: [], theirs: []}
    for seed in range(pairs + 1):
        for run in (ours, theirs) if seed % 2 else (theirs, ours):
            found[run].append(run(case, seed))
    return np.array(found[ours][1:]), np.array(found[theirs][1:])


def main(pairs):
    ot.Log.Show(ot.Log.NONE)
    print(
        f"{'case':26s} {'ours/ref':>9s} {'theirs/ref':>10s} {'rows':>9s} {'theirs':>9s} "
        f"{'s':>7s} {'theirs':>7s} {'ratio':>6s}"
    )
    ratios = []
    for case in CASES:
        if case.name not in NAMES:
            continue
        mine, other = compared(case, pairs)
        one, two = np.median(mine, axis=0), np.median(other, axis=0)
        ratios.append(np.median(mine[:, 2] / other[:, 2]))
        print(
            f"{case.name:26s} {one[0] / case.reference:9.3f} {two[0] / case.reference:10.3f} "
            f"{one[1]:9,.0f} {two[1]:9,.0f} {one[2]:7.3f} {two[2]:7.3f} {ratios[-1]:6.2f}",
            flush=True,
        )
    print(f"median ratio over the cases {np.median(ratios):.2f}, largest {max(ratios):.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
