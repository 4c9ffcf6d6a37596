"""Sobol' indices side by side with SALib at the same number of draws; do the intervals hold?

Run by hand: ``python tests/benchmarks/indices.py [RUNS] [SEEDS]``. One process, the two take
turns. Seconds hold the draws, the function on NumPy arrays, and the analysis with its
intervals. SALib runs without second-order indices, in about half our calls of the function, and
where variables are few also as it comes, with them, in as many calls as ours. Errors are the
largest over all indices, medians over the runs. Then the share of intervals that hold the
closed form.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from SALib.analyze import sobol as analysis
from SALib.sample import sobol as sampling

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

from test_reliability_indices import CASES, SHARES, TIES, by_definition, linear, of_the_event

from jointrisk import spread
from jointrisk.reliability import failure_sobol, shapley, sobol

SAMPLES = 2**13
FEW = 10
BOUNDS = {"Ishigami": (-np.pi, np.pi), "g of twenty": (0.0, 1.0)}


def ours(case, seed):
    """Indices, calls and seconds."""
    function, variables, *_ = CASES[case]
    start = time.perf_counter()
    found = sobol(function, variables, samples=SAMPLES, seed=seed)
    seconds = time.perf_counter() - start
    return np.array([*found.first.values(), *found.total.values()]), found.evaluations, seconds


def theirs(case, seed, *, second):
    """The same from SALib."""
    function, variables, *_ = CASES[case]
    names = list(variables)
    problem = {"num_vars": len(names), "names": names, "bounds": [BOUNDS[case]] * len(names)}
    start = time.perf_counter()
    rows = sampling.sample(problem, SAMPLES, calc_second_order=second, seed=seed)
    output = function({name: rows[:, i] for i, name in enumerate(names)})
    found = analysis.analyze(problem, output, calc_second_order=second, seed=seed)
    seconds = time.perf_counter() - start
    return np.array([*found["S1"], *found["ST"]]), len(rows), seconds


def side_by_side(case, runs):
    """Print a row for each of the three."""
    truth = np.concatenate(CASES[case][2:])
    ways = {
        "ours": lambda seed: ours(case, seed),
        "SALib, no second order": lambda seed: theirs(case, seed, second=False),
    }
    if len(CASES[case][1]) <= FEW:  # pairs of many take minutes
        ways["SALib"] = lambda seed: theirs(case, seed, second=True)
    found = {name: [] for name in ways}
    for seed in range(runs + 1):
        for name, run in ways.items():
            values, calls, seconds = run(seed)
            if seed:  # the first warms up
                found[name].append((np.abs(values - truth).max(), calls, seconds))
    mine = np.median(found["ours"], axis=0)[2]
    for name, rows in found.items():
        error, calls, seconds = np.median(rows, axis=0)
        print(
            f"{case:12s} {name:24s} error {error:.4f}  calls {calls:9,.0f}  "
            f"{seconds:7.3f} s  ours over it {mine / seconds:.2f}",
            flush=True,
        )


def failure(p):
    """Indices of a linear failure event."""

    def run(seed):
        cosine = np.sqrt(SHARES)
        beta = -spread.Normal(0.0, 1.0).ppf(p)
        return failure_sobol(
            lambda x: beta - sum(c * x[f"x{i}"] for i, c in enumerate(cosine)),
            {f"x{i}": spread.Normal(0.0, 1.0) for i in range(SHARES.size)},
            seed=seed,
        )

    return run, of_the_event(p, SHARES, SHARES)


def intervals_of(found):
    """Every interval of a result, in the order of its indices."""
    kinds = ("first", "total") if hasattr(found, "first") else ("effect",)
    return np.array([i for kind in kinds for i in getattr(found, f"{kind}_interval").values()])


def coverage(seeds):
    """Print the share of the intervals that hold, over seeds."""
    scores = {f"x{i}": spread.Normal(3.0, sd) for i, sd in enumerate((1.0, 0.5, 2.0, 1.0))}
    first, total, effect = by_definition()
    runs = {
        f"sobol, {case}": (
            lambda seed, case=case: sobol(*CASES[case][:2], samples=2**11, seed=seed),
            CASES[case][2:],
        )
        for case in ("Ishigami", "g of eight", "product")
    }
    runs["sobol, tied"] = (
        lambda seed: sobol(linear, scores, correlation=TIES, samples=2**11, seed=seed),
        (first, total),
    )
    runs["shapley, tied"] = (
        lambda seed: shapley(linear, scores, correlation=TIES, samples=2**11, seed=seed),
        (effect,),
    )
    runs |= {f"failure, {p:g}": failure(p) for p in (1e-2, 1e-4, 1e-6)}
    for name, (run, truths) in runs.items():
        truth = np.concatenate(truths)
        held = []
        for seed in range(seeds):
            low, high = intervals_of(run(seed)).T
            held.append((low <= truth + 5e-5 * truth) & (truth - 5e-5 * truth <= high))
        each = np.mean(held, axis=0)
        print(
            f"{name:20s} held {np.mean(held):.3f}  (lowest of one index {each.min():.2f})",
            flush=True,
        )


if __name__ == "__main__":
    for chosen in BOUNDS:
        side_by_side(chosen, int(sys.argv[1]) if len(sys.argv) > 1 else 5)
    coverage(int(sys.argv[2]) if len(sys.argv) > 2 else 100)
