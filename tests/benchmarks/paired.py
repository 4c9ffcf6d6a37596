"""What common draws bring, and whether the intervals of ratios hold. Run by hand.

A:B are the seeds, by default 0:200; a third word picks the scenario or the case.

``paired.py widths [A:B]``: for each demo scenario with an overlap 5 % longer, the interval of
the ratio on common draws against that of two samples of their own, as many draws each.

``paired.py alike [A:B]``: two options of one law and different draws (the ends of a rod
changed over, a steady load under another name): how often they are told apart, which must be
5 in 100 at most up to the scatter of the count.

``paired.py covers [A:B]``: how often the interval of the ratio for an overlap 5 % longer
covers the mean over all seeds, and its half-width over 1.96 times the scatter over seeds.
"""

import sys
from pathlib import Path

import numpy as np

import jointrisk
from jointrisk.scenario.moved import moved, place_of
from jointrisk.study import common
from jointrisk.study.common import common_draws
from jointrisk.study.compare_pairs import Terms, paired_ratio, told_apart
from jointrisk.study.sample import weighted_sample

WHAT = sys.argv[1] if len(sys.argv) > 1 else "widths"
FIRST, LAST = (*map(int, (sys.argv[2] if len(sys.argv) > 2 else "0:200").split(":")),)
SEEDS = range(FIRST, LAST)
ONLY = sys.argv[3] if len(sys.argv) > 3 else ""
COV = 0.04

SECOND = '\n[second_plug]\noverlap = { mean = "24 mm", sd = "0.7 mm" }\n'
STEADY = '\n[[load]]\nname = "NAME"\nkind = "sustained"\nsize = { mean = "400 N", cov = 0.4 }\n'


PLANS = {}
SEARCH = common.first_plan


def searched_once(single, rods):
    """Return the search of a scenario, which no seed changes, made once for all seeds."""
    key = id(rods.scenario)
    if key not in PLANS:
        PLANS[key] = (rods.scenario, SEARCH(single, rods))  # held, so that the id stays its own
    return PLANS[key][1]


common.first_plan = searched_once


def terms(sample):
    return Terms(sample.weight * sample.fails, np.ones_like(sample.weight))


def paired(options, seed):
    """Return the ratio of the second option over the first, and the draws it took."""
    _, (one, other) = common_draws(options, seed, target_cov=COV, with_rig=False)
    return paired_ratio(terms(other), terms(one), one.component, 0.95), one.weight.size


def longer(scenario):
    key = f"{scenario.end}.overlap"
    return moved(scenario, key, 1.05 * place_of(scenario, key))


def demos():
    for path in sorted(Path("scenarios").glob("*.toml")):
        if ONLY in path.stem:
            scenario = jointrisk.load(path)
            yield path.stem, [scenario, longer(scenario)]


def apart(options, seed, rows):
    """Return the width that two samples of their own give the log of the ratio at so many rows."""
    errors = []
    for number, scenario in enumerate(options):
        sample = weighted_sample(scenario, 2 * seed + number, None, COV)
        found = sample.weight * sample.fails
        errors.append(found.std() / found.mean() / np.sqrt(rows))
    return 2 * 1.96 * np.hypot(*errors)


def widths():
    for name, options in demos():
        own, alone = [], []
        for seed in SEEDS:
            ratio, rows = paired(options, seed)
            own.append(np.log(ratio.high / ratio.low))
            alone.append(apart(options, seed, rows))
        print(
            f"{name:28s} width on common draws {np.median(own):.4f}, apart "
            f"{np.median(alone):.4f}: {np.median(alone) / np.median(own):.1f} x",
            flush=True,
        )


def alike():
    text = Path("scenarios/gravity-racer-drag-link.toml").read_text("utf-8")
    swapped = text.replace('mean = "19 mm"', 'mean = "24 mm"')
    cases = {
        "ends changed over": (text + SECOND, swapped + SECOND.replace("24", "19")),
        "steady load renamed": (
            text + STEADY.replace("NAME", "spring"),
            text + STEADY.replace("NAME", "preload"),
        ),
    }
    for name, texts in cases.items():
        if ONLY not in name:
            continue
        options = [jointrisk.load_text(each) for each in texts]
        ratios = [paired(options, seed)[0] for seed in SEEDS]
        told = sum(map(told_apart, ratios))
        errors = [np.log(r.estimate) * r.estimate / r.standard_error for r in ratios]
        print(
            f"{name:28s} told apart {told} of {len(SEEDS)}; error over its standard error: "
            f"mean {np.mean(errors):+.2f}, sd {np.std(errors):.2f}",
            flush=True,
        )


def covers():
    for name, options in demos():
        ratios = [paired(options, seed)[0] for seed in SEEDS]
        logs, low, high = np.log([(r.estimate, r.low, r.high) for r in ratios]).T
        truth = logs.mean()
        held = np.mean((low <= truth) & (truth <= high))
        width = np.median((high - low) / 2) / (1.96 * logs.std(ddof=1))
        print(
            f"{name:28s} ratio {np.exp(truth):.4f}  covered {held:.3f}  "
            f"half-width / (1.96 sd) {width:.2f}",
            flush=True,
        )


{"widths": widths, "alike": alike, "covers": covers}[WHAT]()
