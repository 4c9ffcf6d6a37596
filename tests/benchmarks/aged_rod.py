"""What does the whole limit state of one rod cost, next to drawing its variables in bare NumPy?

Run by hand: ``python tests/benchmarks/aged_rod.py [RODS] [ROUNDS] [SCENARIO]``. One rod a set.
The bare script draws as many standard normal numbers as a rod has variables and takes as many
exponentials. The limit state starts from as many draws, made as plain counting makes them:
labels, values, resistances in service and the failure rate of a year. Both go in blocks of one
size and take turns. Prints the ratio of their times on one thread (asked: at most 6), rods a
second on two threads, best and median of the rounds (asked: at least 1e6), what each step
costs, what a joint costs in `tubular.pull_out`, and the dearest functions.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np

from jointrisk import load
from jointrisk.mechanics import tubular
from jointrisk.model import rod_set
from jointrisk.reliability.streams import block_rng, normal_block

BLOCK = 2**16
"""Smaller blocks fit the processor's memory better, and make two threads wait for each other."""
SCENARIO = Path(__file__).parents[2] / "scenarios" / "gravity-racer-drag-link.toml"
EPOXY, BRITTLE, RUBBERY = (700.0, 25.0, 3.0), (1200.0, 35.0, 0.5), (60.0, 9.0, 5.0)
MIXES = {
    "toughened epoxy": (EPOXY, 0.0),
    "toughened epoxy, cold": (EPOXY, -1e-3),
    "brittle epoxy": (BRITTLE, 0.0),
    "brittle epoxy, cold": (BRITTLE, -1e-3),
    "polyurethane": (RUBBERY, 0.0),
    "polyurethane, cold": (RUBBERY, -1e-3),
}


def bare(dimension, seed, number):
    """One block of plain NumPy."""
    u = np.random.default_rng((seed, number)).standard_normal((BLOCK, dimension))
    return float(np.exp(0.1 * u).sum())


def limit_state(rods, with_rig, seed, number):
    """One block of the package."""
    total = 0.0
    for _, done in steps(rods, with_rig, seed, number):
        total = done
    return float(total.sum())


def steps(rods, with_rig, seed, number):
    """One block of the package step by step: the name of each with what it found."""
    layout = rods.layout
    u = normal_block(seed, 0, number, layout.dimension, BLOCK)
    yield "draws", u
    rng, chance = block_rng(seed, 1, number), rods.label_chances(u)
    labels = np.zeros((layout.label_count, BLOCK), dtype=bool).T
    for label in range(layout.label_count):
        labels[:, label] = rng.random(BLOCK) < chance(label, labels)
    yield "labels", labels
    values = rods.values(u, keys=rods.strength_keys, labels=labels)
    yield "values", values
    strength = rods.resistance(values, labels, with_rig=with_rig)
    yield "resistance", strength
    yield "failure rate", rods.failure_rate(values, strength)


def step_table(rods, blocks):
    """Print microseconds a rod that each step takes on one thread, the rig among them."""
    taken = {}
    for number in range(blocks):
        start = time.thread_time()
        for name, _ in steps(rods, True, 0, number):
            now = time.thread_time()
            taken.setdefault(name, []).append(now - start)
            start = now
    for name, each in taken.items():
        print(f"{name:12s} {1e6 * np.median(each) / BLOCK:6.3f} us a rod")


def seconds(work, blocks, seed, clock=time.thread_time):
    """Time of so many blocks."""
    start = clock()
    for number in range(blocks):
        work(seed, number)
    return clock() - start


def two_threads(work, blocks, seed):
    """Wall time of so many blocks shared by two threads."""
    start = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(partial(work, seed), range(blocks)))
    return time.perf_counter() - start


def joints(law, misfit, n=2**14):
    """Arguments of `pull_out`: aluminium plugs in carbon tubes."""
    rng = np.random.default_rng(1)
    modulus, strength, toughness = (x * np.exp(0.2 * rng.standard_normal(n)) for x in law)
    plug, gap = rng.uniform(5.0, 8.0, n), rng.uniform(0.1, 0.3, n)
    return {
        "plug_radius": plug,
        "gap": gap,
        "tube_outer_radius": plug + gap + rng.uniform(0.9, 1.5, n),
        "plug_bore_radius": 0.45 * plug,
        "overlap": rng.uniform(20.0, 40.0, n),
        "tube_modulus": 1e5 * np.exp(0.08 * rng.standard_normal(n)),
        "plug_modulus": 7e4,
        "adhesive_shear_modulus": modulus,
        "adhesive_shear_strength": strength,
        "mode_ii_toughness": toughness,
        "misfit_strain": misfit * (1.0 + 0.4 * rng.standard_normal(n)),
        "offset": gap * rng.uniform(0.0, 0.6, n),
    }


def pull_out_table(rounds):
    """Print seconds of `pull_out` for a million joints in each mix."""
    for name, (law, misfit) in MIXES.items():
        arguments = joints(law, misfit)
        result = tubular.pull_out(**arguments)
        taken = []
        for _ in range(10 * rounds):
            start = time.thread_time()
            tubular.pull_out(**arguments)
            taken.append(time.thread_time() - start)
        best = 1e6 * min(taken) / result.force.size
        print(f"{name:24s} {best:6.3f} s a million joints, {np.mean(result.governs):4.0%} solved")


def main(number, rounds, scenario):
    rods = rod_set(load(scenario), rods=1)
    blocks = 2 * max(1, round(number / (2 * BLOCK)))  # as many for each of two threads
    plain = partial(bare, rods.layout.dimension)
    for with_rig in (True, False):
        whole = partial(limit_state, rods, with_rig)
        whole(0, 0)
        pairs = [[seconds(work, blocks, seed) for work in (whole, plain)] for seed in range(rounds)]
        ours, theirs = np.array(pairs).T
        rates = [blocks * BLOCK / two_threads(whole, blocks, seed) for seed in range(rounds)]
        print(
            f"{'with' if with_rig else 'without'} the rig: "
            f"{1e6 * ours.min() / (blocks * BLOCK):.2f} us a rod, "
            f"{np.median(ours / theirs):.2f} times the bare draws; "
            f"on two threads {max(rates):,.0f} rods/s at best, {np.median(rates):,.0f} middling"
        )
    step_table(rods, blocks)
    pull_out_table(rounds)
    profile = cProfile.Profile()
    profile.runcall(seconds, partial(limit_state, rods, True), max(1, blocks // 10), 0)
    pstats.Stats(profile).strip_dirs().sort_stats("tottime").print_stats(15)


if __name__ == "__main__":
    main(
        int(float(sys.argv[1])) if len(sys.argv) > 1 else 10**6,
        int(sys.argv[2]) if len(sys.argv) > 2 else 3,
        sys.argv[3] if len(sys.argv) > 3 else SCENARIO,
    )
