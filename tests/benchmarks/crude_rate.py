"""How near does plain Monte Carlo come to a bare NumPy loop, and how much memory does it take?

Run by hand: ``python tests/benchmarks/crude_rate.py [DRAWS] [ROUNDS]``. One process, the two
take turns and swap who goes first. The loop draws, maps and counts in blocks of the same size,
with the formulas written out. Prints draws a second of both, the ratio (median over the rounds)
and the growth of the largest resident memory, in all and from a tenth of the draws to all of
them: growth that stays at a tenth stays at ten times as many.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

from jointrisk import reliability, spread

BLOCK = 2**14
VARIABLES = {
    "r": spread.Lognormal(1000.0, 100.0),
    "s": spread.Normal(0.0, 30.0),
    "d": spread.Normal(600.0, 60.0),
}
LOG_SD = np.sqrt(np.log1p(0.01))
LOG_MEAN = np.log(1000.0) - 0.5 * LOG_SD**2


def loop(draws, seed):
    """Plain NumPy: failures over all blocks."""
    rng = np.random.default_rng(seed)
    failures = 0
    for _ in range(draws // BLOCK):
        u = rng.standard_normal((BLOCK, 3))
        r = np.exp(LOG_MEAN + LOG_SD * u[:, 0])
        failures += int(np.count_nonzero(r + 30.0 * u[:, 1] < 600.0 + 60.0 * u[:, 2]))
    return failures / (draws // BLOCK * BLOCK)


def package(draws, seed):
    """The same count by the package."""
    return reliability.estimate(
        lambda x: x["r"] + x["s"] - x["d"],
        VARIABLES,
        method="crude",
        target_cov=1e-9,
        max_evaluations=draws,
        seed=seed,
    ).probability


def timed(run, draws, seed):
    start = time.perf_counter()
    chance = run(draws, seed)
    return time.perf_counter() - start, chance


def peak():
    """Largest resident memory so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main(draws, rounds):
    package(10 * BLOCK, 0)
    loop(10 * BLOCK, 0)
    start = peak()
    package(draws // 10, 0)
    tenth = peak()
    seconds = []
    for seed in range(rounds):
        order = (package, loop) if seed % 2 else (loop, package)
        found = {run: timed(run, draws, seed) for run in order}
        seconds.append((found[package][0], found[loop][0]))
        print(
            f"round {seed}: package {draws / found[package][0]:,.0f} draws/s, "
            f"loop {draws / found[loop][0]:,.0f} draws/s, "
            f"chances {found[package][1]:.5g} and {found[loop][1]:.5g}",
            flush=True,
        )
    ours, bare = np.array(seconds).T
    print(f"rate over that of the loop: {np.median(bare / ours):.3f}")
    grown, late = peak() - start, peak() - tenth
    print(f"memory grown {grown:.1f} MB over {draws:,} draws, {late:.1f} MB past a tenth of them")
    print(f"ten times as many at the growth past a tenth: {grown + 10.0 * late:.0f} MB")


if __name__ == "__main__":
    main(
        int(float(sys.argv[1])) if len(sys.argv) > 1 else 10**8,
        int(sys.argv[2]) if len(sys.argv) > 2 else 3,
    )
