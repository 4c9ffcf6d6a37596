"""Is the value at which a sweep meets a target right? Against long runs, value by value.

Run by hand: ``python tests/benchmarks/sweep_reference.py [NAME] [RUNS]``. For three scenarios
failure is worked out at values round the root by the sample of `assess`, with draws of its own
for every value and seed: nothing of the sweep is used. A parabola of the logs through the means
gives the reference and its standard error. Prints, for some seeds of the sweep, how far its value
lies off, its interval, and the processor time of a sweep of 25 values.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

import jointrisk
from jointrisk.scenario.moved import moved
from jointrisk.scenario.types import Target
from jointrisk.study.judgement import before_any_pull
from jointrisk.study.sample import weighted_sample
from jointrisk.study.sweep_study import spaced, sweep

SCENARIOS = Path(__file__).parents[2] / "scenarios"
MORE = Target(0.02, "life", "set", "")
LIFE, YEAR = Target(0.01, "life", "set", ""), Target(3e-3, "year", "rod", "")
CASES = {
    "delta": ("delta-robot-forearms", "plug.overlap", 10.0, 24.0, 0.035, LIFE),
    "link": ("gravity-racer-drag-link", "plug.overlap", 6.0, 20.0, 0.035, MORE),
    "brace": ("sun-heated-brace", "service.hottest", 40.0, 66.0, 0.005, YEAR),
}
"""File, key, range, step between the values of the reference, and target."""
SEEDS = 5
PLACES = (-2.0, -1.0, 0.0, 1.0, 2.0)


def reference(scenario, key, near, step, runs):
    """Return the root and its standard error from independent runs at values round it."""
    values = np.array([near * (1.0 + step * place) for place in PLACES])
    logs, errors = [], []
    for value in values:
        there = moved(scenario, key, float(value))
        found = [
            before_any_pull(weighted_sample(there, 1000 + run), scenario.target)
            for run in range(runs)
        ]
        logs.append(np.log(np.mean(found) / scenario.target.probability))
        errors.append(np.std(found, ddof=1) / np.sqrt(runs) / np.mean(found))
    x = np.log(values / near)

    def root(y):
        roots = np.roots(np.polyfit(x, y, 2))
        real = roots[np.abs(roots.imag) < 1e-9].real
        return near * float(np.exp(real[np.argmin(np.abs(real))]))

    rng = np.random.default_rng(0)
    tried = [root(np.array(logs) + rng.standard_normal(x.size) * errors) for _ in range(400)]
    return root(np.array(logs)), float(np.std(tried))


def main(name, runs):
    file, key, low, high, step, target = CASES[name]
    scenario = replace(jointrisk.load(SCENARIOS / f"{file}.toml"), target=target)
    values = spaced(scenario, key, low, high, 25)
    edges = []
    for seed in range(SEEDS):
        started = time.process_time()
        found = sweep(scenario, key, values, seed=seed)
        edges.append((found.smallest or found.largest, time.process_time() - started))
    near = float(np.median([edge.value for edge, _ in edges]))
    exact, error = reference(scenario, key, near, step, runs)
    print(f"{name}: {key} {exact:.4f} +- {error:.4f} ({100 * error / exact:.2f} %)")
    for edge, seconds in edges:
        held = edge.low is not None and edge.high is not None and edge.low <= exact <= edge.high
        print(
            f"  sweep {edge.value:.4f}, off by {100 * (edge.value / exact - 1):+.2f} %, "
            f"interval {edge.low} to {edge.high}{'' if held else ' misses'}, {seconds:.1f} s"
        )


if __name__ == "__main__":
    for case in sys.argv[1:2] or CASES:
        main(case, int(sys.argv[2]) if len(sys.argv) > 2 else 16)
