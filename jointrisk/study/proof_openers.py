"""What would let a pull reach the target: each change is tried on the same draws.

For every change the best pull within the limits is looked for on some loads, and compared with
the best one without the change on the same draws and loads; the ratio of the two is put on the
floor that the full search has found.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.model.draws import Change
from jointrisk.model.layout import varies
from jointrisk.scenario.types import DRY
from jointrisk.spread import Fixed
from jointrisk.study.bench import bench_of, pull, rates_after
from jointrisk.study.influence import label_ratio
from jointrisk.study.judgement import target_value
from jointrisk.study.proof_results import Opener
from jointrisk.study.pulls import MOST_BROKEN, enough, load_refusing
from jointrisk.study.sample import evaluate, share_of_blocks

if TYPE_CHECKING:
    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.study.bench import Bench
    from jointrisk.study.pulls import Verdict

    Array = npt.NDArray[np.float64]

MOST_JOINTS = 2**16
LOADS = (1.0, 0.85, 0.7, 0.5, 0.3)
"""Loads tried, over the highest admissible one [-]."""
AND = ", and "
MOST_TOGETHER = 4
"""Changes tried together where none of them alone is enough [-]."""
HELPS = 0.95
"""A change that leaves more than this of the floor does not help [-]."""
LIGHTER = 0.8
SHORTER = 0.5
HALVED = MappingProxyType(
    {
        "care that halves the chance of weak bonds": (
            "weak_bonds.lone_weight",
            "weak_bonds.bad_batch_weight",
        ),
        "care that halves the chance of bonds that damp undoes": ("weak_bonds.latent_weight",),
    }
)
EVIDENCE = "evidence.factor"
HUMIDITY = "service.humidity"
HOTTEST = "service.hottest"
COOLER = 10.0
"""[K]"""
FARTHEST = 37.0
"""Score that spreads hold to [-]."""


@dataclass(frozen=True, slots=True)
class _Case:
    """A set in a rig, and how it is used."""

    bench: Bench
    factor: float = 1.0
    """On every load of service [-]."""
    life: float | None = None
    highest: float | None = None
    """Largest load of the rig [N]; None: no limit."""
    max_reject: float = MOST_BROKEN


def openers(bench: Bench, judged: Verdict) -> tuple[Opener, ...]:
    """Try changes where no pull meets the target; those that open a window stand first.

    Parameters
    ----------
    bench : Bench
    judged : Verdict
        Empty unless its verdict is "empty" or "unreachable", and something was searched.
    """
    if judged.verdict not in ("empty", "unreachable") or judged.found is None:
        return ()
    target, found = bench.scenario.target, judged.found
    assert target is not None  # noqa: S101
    sample = share_of_blocks(bench.sample, MOST_JOINTS)
    proof = bench.scenario.proof
    plain = _Case(bench_of(sample), highest=proof.highest, max_reject=proof.max_reject)
    base, _ = _best(plain)
    changes = _changes(plain)

    def tried(names: Sequence[str]) -> Opener:
        case = plain
        for name in sorted(names, key=list(changes).index):
            case = changes[name](case)
        best, load = _best(case)
        value = best * found.floor / base if base > 0.0 else best
        return Opener(AND.join(names), min(value, 1.0), load, bool(value <= target.probability))

    singles = sorted((tried([name]) for name in changes), key=lambda opener: opener.best)
    helps = [opener.name for opener in singles if opener.best < HELPS * found.floor]
    together: list[Opener] = []
    for count in range(2, min(len(helps), MOST_TOGETHER) + 1):
        if singles[0].opens or (together and together[-1].opens):
            break
        together.append(tried(helps[:count]))
    return tuple(sorted(singles + together, key=lambda opener: not opener.opens))


def _changes(plain: _Case) -> dict[str, Callable[[_Case], _Case]]:
    """Return every change that this scenario leaves room for, by its plain name.

    Those that need the draws worked out anew come first: together they are made in this order.
    """
    bench = plain.bench
    variables = bench.rods.variables
    found: dict[str, Callable[[_Case], _Case]] = {f"{COOLER:g} K less heat in service": _cooler}
    if bench.scenario.ages:
        found["a dry place"] = lambda case: _held_at(case, HUMIDITY, DRY)
    if EVIDENCE in variables and varies(variables[EVIDENCE]):
        found["tests of your own that settle what the bond is worth"] = lambda case: _held_at(
            case, EVIDENCE, float(variables[EVIDENCE].spread.mean)
        )
    for name, keys in HALVED.items():
        weights = [key for key in keys if key in variables and variables[key].spread.mean > 0.0]
        if weights:
            found[name] = partial(_reweighted, keys=weights)
    return found | _of_rig(plain) | _of_use(plain)


def _of_use(plain: _Case) -> dict[str, Callable[[_Case], _Case]]:
    life = SHORTER * plain.bench.scenario.life
    return {
        "half the life": lambda case: replace(case, life=life),
        "loads a fifth smaller": lambda case: replace(case, factor=LIGHTER),
    }


def _of_rig(plain: _Case) -> dict[str, Callable[[_Case], _Case]]:
    bench = plain.bench
    found: dict[str, Callable[[_Case], _Case]] = {}
    if bench.error > 0.0 or np.any(bench.bias != 0.0):
        found["a rig that pulls just what it shows"] = lambda case: replace(
            case, bench=case.bench.with_perfect_rig()
        )
    if np.any(bench.most > 0.0):
        found["tests that show the pull does no harm"] = lambda case: replace(
            case, bench=replace(case.bench, most=np.zeros_like(case.bench.most))
        )
    if plain.highest is not None:
        found["a stronger rig"] = lambda case: replace(case, highest=None)
    if plain.max_reject < MOST_BROKEN:
        found["breaking up to half of all rods"] = lambda case: replace(
            case, max_reject=MOST_BROKEN
        )
    return found


def _best(case: _Case) -> tuple[float, float]:
    """Return the best that a pull within the limits leaves [-], and its load [N]; 0: no pull."""
    bench = case.bench
    target = bench.scenario.target
    assert target is not None  # noqa: S101
    top = load_refusing(bench, case.max_reject)
    if case.highest is not None:
        top = min(top, case.highest)
    unpulled = rates_after(bench, bench.unhurt, case.factor)
    best = target_value(bench.scenario, unpulled, target, bench.weight, case.life), 0.0
    for share in LOADS:
        pulled = pull(bench, share * top)
        weight = bench.weight * pulled.hold
        if enough(weight):
            rates = rates_after(bench, pulled, case.factor)
            value = target_value(bench.scenario, rates, target, weight, case.life)
            best = min(best, (value, share * top))
    return best


def _held_at(case: _Case, key: str, value: float) -> _Case:
    """Return the case with one variable known."""
    sample = case.bench.sample
    variable = sample.rods.variables[key]
    known = {**sample.rods.variables, key: replace(variable, spread=Fixed(value))}
    return _evaluated(case, replace(sample.rods, variables=known), sample.draws.u)


def _cooler(case: _Case) -> _Case:
    """Return the case with a lower hottest temperature in service."""
    sample = case.bench.sample
    spread = sample.rods.variables[HOTTEST].spread
    columns = sample.rods.layout.columns.get(HOTTEST)
    if columns is None:
        return _held_at(case, HOTTEST, float(spread.mean) - COOLER)
    u = sample.draws.u.copy()
    cooler = spread.to_normal(spread.from_normal(u[:, columns]) - COOLER)
    u[:, columns] = np.clip(cooler, -FARTHEST, FARTHEST)
    return _evaluated(case, sample.rods, u)


def _evaluated(case: _Case, rods: RodSet, u: Array) -> _Case:
    """Return the case with other draws, or other rods, under the same weights."""
    sample = case.bench.sample
    outcome = evaluate(rods, u, sample.draws.labels)
    changed = replace(sample, rods=rods, draws=replace(sample.draws, u=u), outcome=outcome)
    return replace(case, bench=bench_of(changed))


def _reweighted(case: _Case, keys: list[str]) -> _Case:
    """Return the case with half the chance of what `keys` weigh."""
    sample = case.bench.sample
    variables = sample.rods.variables
    changes = {key: Change(0.5, -0.5 * float(variables[key].spread.mean)) for key in keys}
    weight = sample.weight * label_ratio(sample.rods, sample.draws, changes)
    return replace(case, bench=replace(case.bench, sample=replace(sample, weight=weight)))
