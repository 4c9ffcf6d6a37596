"""Warnings of what time in service does to the bonds: steady loads, cycles, damp."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from jointrisk.scenario.types import Warning_

if TYPE_CHECKING:
    from jointrisk.study.sample import Sample

SHARE = 0.01
"""Share of the sets from which on a steady load is warned of [-]."""
LINE = (1e2, 1e7)
"""Cycles between which the fatigue line was measured [-]."""
STEADY_KEY = "ageing.steady_share"


def of_time(sample: Sample) -> list[Warning_]:
    """Return the warnings of long service."""
    return [*_steady(sample), *_cycles(sample)]


def _steady(sample: Sample) -> list[Warning_]:
    """Warn of a steady load that takes more of the strength than a bond should bear for long."""
    scenario = sample.rods.scenario
    if scenario.steady_fails or STEADY_KEY not in scenario.variables:
        return []
    allowed = float(scenario.variables[STEADY_KEY].spread.mean)
    weight = sample.weight / sample.weight.sum()
    above = float((weight * (sample.outcome.steady > allowed)).sum())
    if above < SHARE:
        return []
    order = np.argsort(sample.outcome.steady)
    middle = np.searchsorted(np.cumsum(weight[order]), 0.5)
    ratio = float(sample.outcome.steady[order[min(int(middle), order.size - 1)]])
    return [
        Warning_(
            "steady-load-high",
            f"In {100.0 * above:.2g} % of the sets a steady load takes more than "
            f"{100.0 * allowed:.2g} % of what the weaker bond holds at the end of its life "
            f"(middling set: {100.0 * min(ratio, 1.0):.2g} %). Bonds creep under such a load, and "
            "hot or damp ones fail within days at half their strength; the failure probability "
            "does not count that. Give ageing.steady_share a spread to count it.",
        )
    ]


def _cycles(sample: Sample) -> list[Warning_]:
    """Warn of cycles outside the fatigue line, and that only bonds are held against them."""
    scenario = sample.rods.scenario
    if not scenario.cycles:
        return []
    found = [
        Warning_(
            "only-bonds-tire",
            "Cycles are counted against the bonds alone. Threads, rod ends and metal parts tire "
            "as well, threads first of all: hold them against their maker's fatigue figures.",
        )
    ]
    counts = {load.name: load.rate * scenario.life for load in scenario.cycles}
    outside = [
        f'"{name}" {count:.2g}' for name, count in counts.items() if not LINE[0] <= count <= LINE[1]
    ]
    if outside:
        found.append(
            Warning_(
                "fatigue-line-drawn-on",
                f"Cycles over the life: {', '.join(outside)}. The fatigue line was measured from "
                "100 to ten million; it is drawn on beyond, where nobody has looked.",
            )
        )
    return found
