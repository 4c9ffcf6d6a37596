"""How often do intervals hold the truth over seeds, and how wide are they for it?

Run by hand: ``python tests/benchmarks/coverage.py [SEEDS] [PART] [MS]``. PART is one of kinds,
plain, states, screening, all (the default). Prints one row a case: share of intervals that hold
the exact value, median half width over 1.96 standard deviations of the estimates, bias of the
mean estimate in standard errors of it. "kinds" is one cheap limit state or more for each method,
meant for 2,000 seeds (five minutes of one core); it says whether weighted samples hold in 93 to
97.5 % and counts in 94 % or more, at a width of at most 1.3. "states" runs every method that
draws over eight limit states of different kind; a case of which one run takes more than MS
milliseconds is left out and named.
"""

from __future__ import annotations

import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
from scipy.special import ndtr

from jointrisk import reliability, spread

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

from limit_states import CASES

STATES = (
    "linear in 20",
    "four branches",
    "wrapped",
    "series of five",
    "weak label",
    "product of a chain",
    "oscillator",
    "multimodal",
)
KINDS = (
    ("Rastrigin", "crude", 0.1),
    ("short column", "crude", 0.1),
    ("multimodal", "quasi", 0.1),
    ("opposite sides, unlike", "importance", 0.1),
    ("Student load", "importance", 0.1),
    ("oscillator", "line", 0.1),
    ("multimodal", "subset", 0.3),
    ("bowl around in 5", "directional", 0.1),
    ("Beta and Triangular", "auto", 0.1),
)
"""Name, method, coefficient of variation asked for."""
METHODS = ("importance", "line", "subset", "quasi", "crude")

UNIT = spread.Normal(0.0, 1.0)


def row(name, results, truth):
    estimates, low, high = np.array(results).T
    sd = estimates.std(ddof=1)
    held = np.mean((low <= truth) & (truth <= high))
    width = np.median(high - low) / 2.0 / (1.96 * sd)
    bias = (estimates.mean() - truth) / (sd / np.sqrt(estimates.size))
    print(
        f"{name:32s} {100 * held:6.1f} % {width:6.2f} {bias:+6.2f}  sd/truth {sd / truth:.3f}",
        flush=True,
    )
    return held, width


def four_branch(x):
    a, b = x["a"], x["b"]
    bend, root = 0.1 * (a - b) ** 2, np.sqrt(2.0)
    pair = np.minimum(3 + bend - (a + b) / root, 3 + bend + (a + b) / root)
    return np.minimum(pair, np.minimum(a - b, b - a) + 7 / root)


def estimate_cases():
    two = {"a": UNIT, "b": UNIT}
    weak = {"a": UNIT, "w": spread.Mixture([(0.995, spread.Fixed(0)), (0.005, spread.Fixed(1))])}
    many = {f"x{i}": UNIT for i in range(100)}
    yield "one variable", lambda x: 4 - x["a"], {"a": UNIT}, ndtr(-4.0)
    yield "linear, beta 8", lambda x: 8 - (x["a"] + x["b"]) / np.sqrt(2), two, ndtr(-8.0)
    yield (
        "four branches",
        four_branch,
        two,
        2.2227950661944393e-3,
    )  # quadrature in axes turned by 45 degrees
    yield "circle", lambda x: 4 - np.hypot(x["a"], x["b"]), two, np.exp(-8.0)
    yield "step", lambda x: np.where(x["a"] + x["b"] > 6, -1.0, 1.0), two, ndtr(-6 / np.sqrt(2))
    yield "100 variables", lambda x: 4 - sum(x.values()) / 10, many, ndtr(-4.0)
    exact = 0.995 * ndtr(-5.0) + 0.005 * ndtr(-1.0)
    yield "weak label", lambda x: 5 - 4 * x["w"] - x["a"], weak, exact


def main(seeds, part, most):
    print(f"{'case':32s} {'held':>8s} {'width':>6s} {'bias':>6s}")
    if part in ("all", "kinds"):
        kinds(seeds)
    if part in ("all", "plain"):
        plain(seeds)
    if part in ("all", "states"):
        states(seeds, most)
    if part in ("all", "screening"):
        screening(max(20, seeds // 4))


def plain(seeds):
    for method in ("importance", "auto"):
        for name, g, variables, truth in estimate_cases():
            run = partial(reliability.estimate, g, variables, method=method)
            found = [run(seed=seed) for seed in range(seeds)]
            row(f"{method}: {name}", [(e.probability, *e.interval) for e in found], truth)


def runner(case, method, target_cov):
    return partial(
        reliability.estimate,
        case.limit_state,
        case.variables,
        correlation=case.correlation,
        correlation_of=case.correlation_of,
        method=method,
        target_cov=target_cov,
    )


def kinds(seeds):
    """Methods on cheap limit states, held against what is asked of intervals."""
    named = {case.name: case for case in CASES}
    for name, method, target_cov in KINDS:
        run = runner(named[name], method, target_cov)
        found = [run(seed=seed) for seed in range(seeds)]
        rows = [(e.probability, *e.interval) for e in found]
        held, width = row(f"{method}: {name}", rows, named[name].reference)
        least, most = (0.94, 1.0) if method == "crude" else (0.93, 0.975)
        if not (least <= held <= most and width <= 1.3):
            print(f"    asked: {100 * least:g} to {100 * most:g} %, width at most 1.3")


def states(seeds, most):
    """Every method over the eight limit states, to a coefficient of variation of 0.1."""
    for method in METHODS:
        for case in (case for case in CASES if case.name in STATES):
            run = runner(case, method, 0.1)
            run(seed=0)
            start = time.perf_counter()
            found = [run(seed=0), run(seed=1)]
            took = 500.0 * (time.perf_counter() - start)
            if took > most:
                print(f"{method}: {case.name:22s} left out: {took:.0f} ms a run", flush=True)
                continue
            found += [run(seed=seed) for seed in range(2, seeds)]
            rows = [(e.probability, *e.interval) for e in found]
            row(f"{method}: {case.name}", rows, case.reference)


def screening(seeds):
    strength, loads = spread.Normal(1000, 100), [600.0, 800.0, 1000.0]
    demand = spread.Normal(500, 60)
    sd = np.hypot(100, 60)
    found = [
        reliability.screen(
            lambda x: x["r"] - x["d"],
            lambda x: x["r"],
            {"r": strength, "d": demand},
            loads=loads,
            rig_error_cov=0.03,
            seed=seed,
        )
        for seed in range(seeds)
    ]
    truth = ndtr(-500 / sd)
    row("screen: before", [(s.fail_before, *s.fail_before_interval) for s in found], truth)
    for i, load in enumerate(loads):
        refused = ndtr(-(1000 - load) / np.hypot(100, 0.03 * load))
        rows = [(s.reject[i], *s.reject_interval[i]) for s in found]
        row(f"screen: refused at {load:g}", rows, refused)
        rows = [(s.fail_after[i], *s.fail_after_interval[i]) for s in found]
        row(f"screen: after {load:g}", rows, after(load))


def after(load):
    """Chance of failure after the pull by Gauss-Legendre quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    r = 1000 + 900 * nodes
    density = np.exp(-0.5 * ((r - 1000) / 100) ** 2)
    hold = ndtr((r / load - 1) / 0.03)
    return (weights * density * hold * ndtr((500 - r) / 60)).sum() / (
        weights * density * hold
    ).sum()


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 200,
        sys.argv[2] if len(sys.argv) > 2 else "all",
        float(sys.argv[3]) if len(sys.argv) > 3 else np.inf,
    )
