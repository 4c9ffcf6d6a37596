"""How near does plain Monte Carlo come to a bare NumPy loop, and how much memory does it take?

Run by hand: ``python tests/benchmarks/crude_rate.py [DRAWS] [ROUNDS]``. One process, three
runs take turns in changing order: the package, a loop over as many draws of NumPy's default
generator, and a loop over the package's own blocks of draws. The loops draw, map and count in
blocks of the same size, with the formulas written out. Prints draws a processor second, the
package's rate over that of each loop (median over the rounds) and the growth of the largest
resident memory, in all and from a tenth of the draws to all of them: growth that stays at a
tenth stays at ten times as many.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

from jointrisk import reliability, spread
from jointrisk.reliability.crude import PURPOSE
from jointrisk.reliability.streams import normal_block

BLOCK = 2**14
VARIABLES = {
    "r": spread.Lognormal(1000.0, 100.0),
    "s": spread.Normal(0.0, 30.0),
    "d": spread.Normal(600.0, 60.0),
}
LOG_SD = np.sqrt(np.log1p(0.01))
LOG_MEAN = np.log(1000.0) - 0.5 * LOG_SD**2


def failing(u):
    """Plain NumPy: failures in a block."""
    r = np.exp(LOG_MEAN + LOG_SD * u[:, 0])
    return int(np.count_nonzero(r + 30.0 * u[:, 1] < 600.0 + 60.0 * u[:, 2]))


def loop(draws, seed):
    """Draws of NumPy's default generator."""
    rng = np.random.default_rng(seed)
    blocks = draws // BLOCK
    return sum(failing(rng.standard_normal((BLOCK, 3))) for _ in range(blocks)) / (blocks * BLOCK)


def same(draws, seed):
    """The package's own draws."""
    blocks = draws // BLOCK
    chances = (failing(normal_block(seed, PURPOSE, block, 3)) for block in range(blocks))
    return sum(chances) / (blocks * BLOCK)


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
    start = time.process_time()
    chance = run(draws, seed)
    return time.process_time() - start, chance


def peak():
    """Largest resident memory so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main(draws, rounds):
    runs = (package, loop, same)
    for run in runs:
        run(10 * BLOCK, 0)
    start = peak()
    package(draws // 10, 0)
    tenth = peak()
    seconds = []
    for seed in range(rounds):
        order = np.roll(np.arange(3), seed)
        found = {runs[i]: timed(runs[i], draws, seed) for i in order}
        seconds.append([found[run][0] for run in runs])
        said = (
            f"{run.__name__} {draws / found[run][0]:,.0f} ({found[run][1]:.5g})" for run in runs
        )
        print(f"round {seed}, draws/s (chance): {', '.join(said)}", flush=True)
    ours, *others = np.array(seconds).T
    for run, theirs in zip(runs[1:], others, strict=True):
        print(f"rate over that of {run.__name__}: {np.median(theirs / ours):.3f}")
    grown, late = peak() - start, peak() - tenth
    print(f"memory grown {grown:.1f} MB over {draws:,} draws, {late:.1f} MB past a tenth of them")
    print(f"ten times as many at the growth past a tenth: {grown + 10.0 * late:.0f} MB")


if __name__ == "__main__":
    main(
        int(float(sys.argv[1])) if len(sys.argv) > 1 else 10**8,
        int(sys.argv[2]) if len(sys.argv) > 2 else 3,
    )
