"""How far do the numbers of `proof` scatter over seeds? Run by hand: SCENARIO, N seeds, default 20.

Prints a line a seed, and at the end, of the pull to make and of the failure probability after a
pull of one of those loads: the mean, the scatter over seeds, and how many intervals hold the mean.
"""

import sys
import time

import numpy as np

import jointrisk

PATH = sys.argv[1]
SEEDS = int(sys.argv[2]) if len(sys.argv) > 2 else 20
FIRST = int(sys.argv[3]) if len(sys.argv) > 3 else 500


def summary(name, estimate, low, high):
    """Print mean, scatter and how many intervals hold the mean."""
    mean = estimate.mean()
    high = np.where(np.isnan(high), np.inf, high)
    held = int(((low <= mean) & (mean <= high)).sum())
    print(
        f"{name}: mean {mean:.5g}, scatter over seeds {estimate.std(ddof=1) / mean:.4f}, "
        f"{held} of {estimate.size} intervals hold the mean, "
        f"median half-width {np.median(high - low) / 2 / mean:.4f}"
    )


scenario = jointrisk.load(PATH)
fixed = jointrisk.proof(scenario, seed=FIRST - 1).load_newton
if fixed is None:
    sys.exit("no pull meets the target of this file: nothing to hold against the mean")
rows, used = [], []
for seed in range(FIRST, FIRST + SEEDS):
    started = time.process_time()
    found = jointrisk.proof(scenario, seed=seed, pulls=[fixed])
    used.append(time.process_time() - started)
    (effect,) = found.pulls
    ends = [np.nan if end is None else end for end in (found.load_low, found.load_high)]
    after = effect.fail_after
    rows.append((found.load_newton or np.nan, *ends, after.estimate, after.low, after.high))
    print(
        f"{seed}: {rows[-1][0]:.0f} N ({ends[0]:.0f} to {ends[1]:.0f}), after {fixed:.0f} N "
        f"{after.estimate:.3g} ({after.low:.3g} to {after.high:.3g}), {used[-1]:.2f} s, "
        f"{found.evaluations} draws{'' if found.converged else ', not converged'}",
        flush=True,
    )
table = np.array(rows, dtype=float).T
summary("pull to make", *table[:3])
summary(f"failure after {fixed:.0f} N", *table[3:])
print(f"processor time: median {np.median(used):.2f} s, longest {max(used):.2f} s")
