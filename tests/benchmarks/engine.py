"""How right, how honest and how dear is `estimate` over the whole set of limit states?

Run by hand: ``python tests/benchmarks/engine.py [SEEDS] [PART OF A NAME OR TAG]``. One row a
case at default settings: reference; median estimate; worst relative error of the runs
that claim convergence; share of runs further than four of their own standard errors from the
reference; evaluations and seconds, median and largest; share converged; method. Two processes
share the cases. The last lines sum up.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

from limit_states import CASES

from jointrisk.reliability import estimate

HEAD = (
    f"{'case':26s} {'reference':>10s} {'median':>10s} {'worst':>7s} {'> 4 se':>7s} "
    f"{'rows':>9s} {'most':>9s} {'s':>6s} {'most':>6s} {'conv.':>6s}  method"
)


@dataclass(frozen=True, slots=True)
class Row:
    """All runs of one case."""

    name: str
    reference: float
    probability: np.ndarray
    cov: np.ndarray
    rows: np.ndarray
    seconds: np.ndarray
    converged: np.ndarray
    methods: Counter[str]

    @property
    def off(self):
        """Relative error of each run [-]."""
        return self.probability / self.reference - 1.0

    @property
    def worst(self):
        """Largest relative error among the runs that claim convergence; NaN without one."""
        return np.abs(self.off[self.converged]).max() if self.converged.any() else np.nan

    @property
    def far(self):
        """Runs further than four of their own errors; no failure seen says nothing of its error."""
        seen = np.isfinite(self.cov)
        own = np.where(seen, self.cov, 0.0) * self.probability
        return seen & (np.abs(self.probability - self.reference) > 4.0 * own)

    def __str__(self):
        methods = ", ".join(f"{name} {count}" for name, count in self.methods.most_common())
        return (
            f"{self.name:26s} {self.reference:10.3e} {np.median(self.probability):10.3e} "
            f"{100 * self.worst:5.1f} % {100 * self.far.mean():5.0f} % "
            f"{np.median(self.rows):9,.0f} {self.rows.max():9,d} "
            f"{np.median(self.seconds):6.2f} {self.seconds.max():6.2f} "
            f"{100 * self.converged.mean():4.0f} %  {methods}"
        )


def measured(number, seeds):
    """Run one case with every seed."""
    case = CASES[number]
    found, seconds = [], []
    for seed in range(seeds):
        start = time.perf_counter()
        found.append(
            estimate(
                case.limit_state,
                case.variables,
                correlation=case.correlation,
                correlation_of=case.correlation_of,
                target_cov=0.05,
                seed=seed,
            )
        )
        seconds.append(time.perf_counter() - start)
    return Row(
        case.name,
        case.reference,
        np.array([e.probability for e in found]),
        np.array([e.cov for e in found]),
        np.array([e.evaluations for e in found]),
        np.array(seconds),
        np.array([e.converged for e in found]),
        Counter(e.method for e in found),
    )


def summary(rows):
    """Figures over all cases and runs."""
    claimed = np.concatenate([row.off[row.converged] for row in rows])
    far = np.concatenate([row.far for row in rows])
    false = np.concatenate([(row.far & row.converged) for row in rows])
    evaluations = np.concatenate([row.rows for row in rows])
    seconds = np.concatenate([row.seconds for row in rows])
    converged = np.concatenate([row.converged for row in rows])
    never = [row.name for row in rows if not row.converged.all()]
    print(f"\n{len(rows)} cases, {far.size} runs")
    print(f"converged: {100 * converged.mean():.1f} % of runs; not always: {never or 'none'}")
    if claimed.size:
        print(
            f"of those that claim it: worst error {100 * np.abs(claimed).max():.1f} %, root mean "
            f"square {100 * np.sqrt(np.mean(claimed**2)):.1f} %, "
            f"off by more than 20 %: {np.sum(np.abs(claimed) > 0.2)}"
        )
    print(f"further than four own errors: {far.sum()} runs, {false.sum()} claim convergence")
    print(f"rows: median {np.median(evaluations):,.0f}, largest {evaluations.max():,d}")
    print(f"seconds: median {np.median(seconds):.2f}, largest {seconds.max():.2f}")


def main(seeds, part):
    chosen = [i for i, case in enumerate(CASES) if part in case.name or part in case.tags]
    print(HEAD)
    rows = []
    with ProcessPoolExecutor(2) as pool:
        for row in pool.map(partial(measured, seeds=seeds), chosen):
            print(row, flush=True)
            rows.append(row)
    summary(rows)


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 20,
        sys.argv[2] if len(sys.argv) > 2 else "",
    )
