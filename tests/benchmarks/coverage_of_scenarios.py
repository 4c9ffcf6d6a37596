"""Does the sampling interval of each demo scenario hold? Run by hand: N seeds, default 200.

Prints, for each scenario, how often the interval covers the long-run value, and the median
half-width over 1.96 times the scatter over seeds.
"""

import sys
from pathlib import Path

import numpy as np

import jointrisk
from jointrisk.reliability.interval import weighted_interval
from jointrisk.study.sample import weighted_sample

SEEDS = int(sys.argv[1]) if len(sys.argv) > 1 else 200

for path in sorted(Path("scenarios").glob("*.toml")):
    scenario = jointrisk.load(path)
    found = []
    for seed in range(1000, 1000 + SEEDS):
        sample = weighted_sample(scenario, seed)
        bound = weighted_interval(sample.weight * sample.fails, sample.component, 0.95)
        found.append((bound.estimate, bound.low, bound.high))
    estimate, low, high = np.array(found).T
    truth = estimate.mean()
    covered = np.mean((low <= truth) & (truth <= high))
    width = np.median((high - low) / 2) / (1.96 * estimate.std(ddof=1))
    print(
        f"{path.stem:28s} long run {truth:.5g}  covered {covered:.3f}  "
        f"half-width / (1.96 sd) {width:.2f}  cov {estimate.std() / truth:.3f}",
        flush=True,
    )
