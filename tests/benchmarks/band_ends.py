"""Do the intervals of the ends of the band hold? Run by hand: seeds (default 60), scenarios.

    python tests/benchmarks/band_ends.py 60 delta-robot-forearms gravity-racer-drag-link

Holds what `assess` tells against a long run of other random numbers: states with so many draws
each that the noise left hardly widens the spread of their logs. The long run takes one or two
minutes a scenario.

Prints for 5, 50 and 95 % of the states and for the chance that the target is met: the long run,
the bias and the scatter over seeds (of the log of the quantiles), how often the interval holds
the long run, and the median half-width over 1.96 times the scatter. Beside it the scatter of as
many sorted independent states without any noise: what a band without a fit could do at best.
"""

import sys
from pathlib import Path

import numpy as np

import jointrisk
from jointrisk.study import assessment, judgement
from jointrisk.study.band import STATES, band, drawn_states
from jointrisk.study.band_ends import quantile_interval, share_interval

SEEDS = int(sys.argv[1]) if len(sys.argv) > 1 else 60
NAMES = sys.argv[2:] or [path.stem for path in sorted(Path("scenarios").glob("*.toml"))]
LEVELS = np.array(judgement.BAND_QUANTILES)
JOINTS = 1.2e7
DRAWS = 400
PIECE = 100


def long_run(sample, target):
    """Return failure probabilities at many states: over the life, and as the target counts."""
    whole, own = [], []
    pieces = int(JOINTS / (DRAWS * PIECE * sample.rods.layout.joints))
    for piece in range(max(pieces, 10)):
        rng = np.random.default_rng([20, piece])
        _, state, weight, outcome = drawn_states(sample, PIECE, DRAWS, rng)
        year = judgement.worst_year(sample, target)
        fails, gone = judgement.target_terms(sample.rods.scenario, outcome, target, year)
        life, counted, lost = (
            np.bincount(state, weight * x, PIECE) / DRAWS
            for x in (-np.expm1(-outcome.hazard), fails, gone)
        )
        whole.append(life)
        own.append(counted / (1.0 - lost))
    return np.concatenate(whole), np.concatenate(own)


def told(scenario, seed):
    """Return ends and intervals of one seed, the last column the chance that the target is met."""
    sample = assessment.samples(scenario, seed, None)[0]
    found, limit = band(sample, seed, again=True), scenario.target.probability
    own = (found.life, found.life_again)
    rows = [(np.quantile(own[0], q), *quantile_interval(*own, q, 0.95)) for q in LEVELS]
    own = (found.target, found.target_again)
    return np.array([*rows, (np.mean(own[0] <= limit), *share_interval(*own, limit, 0.95))]).T


def line(word, numbers, places=3):
    print(f"  {word:34s}" + "".join(f"{number:12.{places}f}" for number in numbers), flush=True)


def compared(name):
    scenario = jointrisk.load(f"scenarios/{name}.toml")
    whole, own = long_run(assessment.samples(scenario, 0, None)[0], scenario.target)
    exact = np.append(np.quantile(whole, LEVELS), np.mean(own <= scenario.target.probability))
    estimate, low, high = np.array([told(scenario, 1000 + i) for i in range(SEEDS)]).swapaxes(0, 1)
    held = np.mean((low <= exact) & (exact <= high), axis=0)
    with np.errstate(divide="ignore"):
        logs = np.concatenate([np.log(estimate[:, :3]), estimate[:, 3:]], axis=1)
        ends = [np.concatenate([np.log(e[:, :3]), e[:, 3:]], axis=1) for e in (low, high)]
        right = np.append(np.log(exact[:3]), exact[3])
    scatter = logs.std(axis=0, ddof=1)
    half = np.median(ends[1] - ends[0], axis=0) / 2.0 / (1.96 * np.maximum(scatter, 1e-12))
    rng = np.random.default_rng(1)
    alone = [np.log(np.quantile(rng.choice(whole, STATES), LEVELS)) for _ in range(400)]
    print(f"{name}: {whole.size} states, {SEEDS} seeds; columns 5 %, 50 %, 95 %, chance met")
    line("long run, 1 in", [*(1.0 / exact[:3]), exact[3]], 4)
    line("bias (log; share)", logs.mean(axis=0) - right)
    line("scatter over seeds (log; share)", scatter)
    line("interval holds the long run", held)
    line("half-width / (1.96 scatter)", half)
    line("scatter of sorted states alone", np.std(alone, axis=0))


if __name__ == "__main__":
    for each in NAMES:
        compared(each)
