"""The things to test, measure or settle, each judged on the same states."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.study.plan_results import Candidate
from jointrisk.study.plan_rods import Rig
from jointrisk.study.plan_sizes import measured_logs, size_keys
from jointrisk.study.plan_states import calibrated, settled_logs
from jointrisk.study.plan_tests import (
    after_coupons,
    after_pulls,
    after_rods,
    coupon_reading,
    scores_told,
)
from jointrisk.study.plan_worth import Worth, chance_of, worth
from jointrisk.study.pulls import newton

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.scenario.types import Scenario, Variable
    from jointrisk.study.plan_rods import Rods
    from jointrisk.study.plan_sizes import Sizes
    from jointrisk.study.plan_states import Board
    from jointrisk.study.results import Chance

    Array = npt.NDArray[np.float64]

COUPONS, BROKEN, PULLED = (3, 6, 12), (1, 2, 4, 8), (12, 29, 59)
GAUGED = 4
TOLD, MOST_TOLD = 0.05, 4
"""Share of an unknown's variance from which a test speaks to it, and how many are named [-]."""
COMES_OUT = (0.05, 0.95)
COUPON_NOTE = (
    "They show what this glue does on these surfaces in these hands; how far a coupon differs from "
    "a rod they do not show. All are taken to come from one mix."
)
ROD_NOTE = (
    "They show the bond as it is made, new and in the workshop; ageing, heat and the loads of "
    "service they do not show. All are taken to come from one mix, and weak bonds to show on their "
    "faces."
)
PULL_NOTE = (
    "They show only that so many rods reach this load when new; nothing of ageing, heat, or "
    "weakness that comes later."
)
SCREEN_NOTE = (
    "It sorts out rods that break below this load today, and may hurt those that hold; what comes "
    "later it does not show. Rods that break are replaced by others that hold."
)
GAUGE_NOTE = "Scatter and bias of the gauge are taken as half of what they are."
SIZE_NOTE = (
    "It tells these rods from others; of what is not known it tells nothing. The reading is taken "
    "as exact."
)
SETTLE_NOTE = "A bound: what it would bring to know this exactly, however that may be done."


@dataclass(frozen=True, slots=True)
class Screen:
    """One pull of the rods of service."""

    key: str
    label: str
    load: float
    """[N]"""
    fail_after: Chance
    as_target: float
    """Failure of sets that held, as the target counts it [-]."""
    after: Array
    """Its logs at the states, (1 + GROUPS, K)."""


@dataclass(frozen=True, slots=True)
class Table:
    """Everything that candidates are judged with."""

    scenario: Scenario
    board: Board
    rods: Rods
    sizes: Sizes | None
    variables: Mapping[str, Variable]
    target: float | None
    before: Worth
    failure: float
    """Failure as the target counts it, by the main sample [-]."""
    seed: int

    @property
    def scale(self) -> float:
        """Failure by the main sample over the mean of the states, which is known less well [-]."""
        return self.failure / float(np.exp(self.board.logs[0]).mean())

    @property
    def rig(self) -> Rig:
        """The gauge as it is."""
        return Rig(self.scenario.proof.rig_error_cov, self.scenario.proof.rig_bias_sd)

    def worth(self, weight: Array, logs: Array | None = None) -> Worth:
        """Return what is expected with the states weighted after each outcome."""
        board = self.board
        own = board.logs if logs is None else logs
        return worth(
            lambda r: own[r], weight, board.truth_group, board.group, self.target, board.truths
        )

    def names(self, keys: Sequence[str]) -> tuple[tuple[str, str], ...]:
        """Return keys with their plain words."""
        return tuple((key, self.variables[key].label) for key in keys)


def candidates(own: Table, screens: Sequence[Screen], pool: Any = None) -> list[Candidate]:
    """Judge everything that can be done, then what could be settled.

    Parameters
    ----------
    own : Table
    screens : sequence of Screen
        Pulls of the rods of service; the first is the one that others are counted at.
    pool : object with ``map``, optional
    """
    tasks = [partial(coupon, own, count) for count in COUPONS]
    tasks += [partial(rods_broken, own, count) for count in BROKEN]
    tasks += [partial(screened, own, screen) for screen in screens]
    if screens:
        tasks += [partial(pulled, own, screens[0], count) for count in PULLED]
    tasks += [partial(gauge, own)]
    sizes = own.sizes
    if sizes is not None:
        kinds = [k for k, keys in size_keys(own.scenario).items() if sizes.measured(keys).any()]
        tasks += [partial(measured, own, sizes, kind) for kind in kinds]
    keys = own.board.keys
    asked = [place for place, key in enumerate(keys) if not key.startswith("proof.")]
    tasks += [partial(settled, own, place) for place in asked]
    return list(map(_do, tasks) if pool is None else pool.map(_do, tasks))


def _do(task: Callable[[], Candidate]) -> Candidate:
    return task()


def coupon(own: Table, count: int) -> Candidate:
    """Break so many coupons."""
    reading = coupon_reading(own.scenario, own.board)
    weight = after_coupons(reading, own.board, count, own.seed)
    name = f"break {count} coupons of the glue on the same surfaces"
    return _told(own, f"coupon:{count}", "coupon", name, count, weight, note=COUPON_NOTE)


def rods_broken(own: Table, count: int) -> Candidate:
    """Pull so many rods made for it until they break."""
    weight = after_rods(own.rods, own.board, count, own.rig, own.seed)
    name = f"pull {_rods(count)} to break in the rig"
    return _told(own, f"rod:{count}", "rod", name, count, weight, note=ROD_NOTE)


def gauge(own: Table) -> Candidate:
    """Pull rods to break with a better gauge, against the same with the gauge there is."""
    rig = own.rig
    plain = own.worth(after_rods(own.rods, own.board, GAUGED, rig, own.seed))
    weight = after_rods(own.rods, own.board, GAUGED, rig.halved(), own.seed)
    name = f"pull {_rods(GAUGED)} to break, with a gauge twice as good"
    made = _told(own, f"gauge:{GAUGED}", "gauge", name, GAUGED, weight, note=GAUGE_NOTE)
    found = own.worth(weight)
    drop = plain.wrong - found.wrong if own.target is not None else plain.width - found.width
    return replace(
        made,
        beside=f"rod:{GAUGED}",
        gain=chance_of(drop),
        width_drop=chance_of(plain.width - found.width),
        wrong_drop=None if own.target is None else chance_of(drop),
    )


def pulled(own: Table, screen: Screen, count: int) -> Candidate:
    """Pull so many rods of this making to the load."""
    sizes = batches(count, own.scenario.rods_per_batch)
    weight, broken, _ = after_pulls(own.rods, own.board, screen.load, sizes, own.rig, own.seed)
    name = f"pull {_rods(count)} of this making to {newton(screen.load)}"
    made = _told(own, f"pull:{count}", "pull", name, count, weight, note=PULL_NOTE)
    more = max(count - own.scenario.rods, 0)
    return replace(made, load_newton=screen.load, to_make=more, uses_up=broken)


def screened(own: Table, screen: Screen) -> Candidate:
    """Pull every rod of service to the load, and keep those that hold."""
    rods = own.scenario.rods
    weight, broken, held = after_pulls(
        own.rods,
        own.board,
        screen.load,
        batches(rods, own.scenario.rods_per_batch),
        own.rig,
        own.seed,
    )
    logs = calibrated(screen.after, held, min(screen.as_target / own.scale, 1.0))
    whose = "the rod" if rods == 1 else f"each of the {rods} rods"
    said = f" ({screen.label})" if screen.label else ""
    name = f"pull {whose} to {newton(screen.load)}{said}"
    made = _told(own, screen.key, "pull", name, rods, weight, logs, note=SCREEN_NOTE)
    return replace(
        made,
        load_newton=screen.load,
        to_make=0,
        uses_up=broken,
        fail_after=screen.fail_after,
    )


def measured(own: Table, sizes: Sizes, kind: str) -> Candidate:
    """Measure a size of every rod of service."""
    rods, board = own.scenario.rods, own.board
    logs, kept = measured_logs(sizes, board, kind, own.scenario, own.seed)
    found = _of_logs(own, logs, kept)
    plain = np.log(np.exp(logs).mean(axis=1))  # the same rods, not measured
    before = worth(lambda r: plain[r], None, board.truth_group, board.group[kept], own.target)
    what = {"gap": "bore and diameter, so the gap,", "overlap": "overlap"}[kind]
    whose = "the rod" if rods == 1 else f"each of the {rods} rods"
    name = f"measure {what} of {whose}"
    made = _candidate(own, kind, kind, name, rods, found, note=SIZE_NOTE)
    made = replace(made, width_drop=chance_of(before.width - found.width))
    if own.target is None:
        return replace(made, gain=made.width_drop)
    # as well known as without a reading: over the states and the sizes together
    met = np.array([float((part <= np.log(own.target)).mean()) for part in logs])
    wrong = np.minimum(met, 1.0 - met)
    drop = chance_of(wrong - found.wrong)
    return replace(made, wrong_before=chance_of(wrong, 0.0, 1.0), wrong_drop=drop, gain=drop)


def settled(own: Table, place: int) -> Candidate:
    """Settle one unknown, however that may be done."""
    key = own.board.keys[place]
    found = _of_logs(own, settled_logs(own.board, place))
    name = f"know exactly: {own.variables[key].label}"
    made = _candidate(own, f"settle:{key}", "settle", name, 0, found, note=SETTLE_NOTE)
    return replace(made, doable=False, speaks_to=own.names([key]))


def batches(count: int, size: int) -> list[int]:
    """Return the sizes of the batches that so many rods come in."""
    whole, rest = divmod(count, size)
    return [size] * whole + [rest] * (rest > 0)


def _rods(count: int) -> str:
    return "1 rod" if count == 1 else f"{count} rods"


def _of_logs(own: Table, logs: Array, kept: npt.NDArray[np.intp] | slice = slice(None)) -> Worth:
    """Return what is expected where each outcome has logs of its own and all states weigh alike."""
    outcomes = np.arange(logs.shape[1])
    truth_group = outcomes % (1 + int(own.board.group.max()))
    return worth(lambda r: logs[r], None, truth_group, own.board.group[kept], own.target)


def _told(
    own: Table,
    key: str,
    kind: str,
    name: str,
    count: int,
    weight: Array,
    logs: Array | None = None,
    *,
    note: str,
) -> Candidate:
    """Return a candidate that speaks to what is not known, its parts broken."""
    made = _candidate(own, key, kind, name, count, own.worth(weight, logs), note=note)
    told = scores_told(weight, own.board)
    best = [int(place) for place in np.argsort(-told, kind="stable") if told[place] >= TOLD]
    keys = [own.board.keys[place] for place in best[:MOST_TOLD]]
    return replace(made, to_make=count, uses_up=float(count), speaks_to=own.names(keys))


def _candidate(
    own: Table, key: str, kind: str, name: str, count: int, found: Worth, *, note: str
) -> Candidate:
    has = own.target is not None
    before = own.before
    width_drop = chance_of(before.width - found.width)
    wrong_drop = chance_of(before.wrong - found.wrong) if has else None
    low, high = np.minimum(own.scale * np.quantile(found.means, COMES_OUT), 1.0)
    return Candidate(
        key=key,
        kind=kind,
        name=name,
        count=count,
        load_newton=None,
        doable=True,
        speaks_to=(),
        to_make=0,
        uses_up=0.0,
        cost=None,
        p05=float(np.exp(found.low[0])),
        p50=float(np.exp(found.middle[0])),
        p95=float(np.exp(found.top[0])),
        width=chance_of(found.width, 0.0),
        high=chance_of(found.high, 0.0, 1.0),
        width_drop=width_drop,
        comes_out=(float(low), float(high)),
        wrong_before=chance_of(before.wrong, 0.0, 1.0) if has else None,
        wrong_after=chance_of(found.wrong, 0.0, 1.0) if has else None,
        wrong_drop=wrong_drop,
        chance_met=chance_of(found.met, 0.0, 1.0) if has else None,
        chance_clear=chance_of(found.clear, 0.0, 1.0) if has else None,
        fail_after=None,
        gain=width_drop if wrong_drop is None else wrong_drop,
        brings=False,
        rank=0,
        gain_per_cost=None,
        beside="",
        note=note,
    )
