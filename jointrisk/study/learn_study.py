"""The study `learn`: what finished pulls have taught of what was not known.

States of what is not known are weighted by how likely they make the log (`learn_states`), and
failure is worked out at some of them before and after (`learn_failure`), of rods of the log, of
their sisters, and of rods yet to be made.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.rodset import rod_set
from jointrisk.reliability.streams import block_rng, resolve_seed
from jointrisk.scenario.types import Warning_
from jointrisk.study.judgement import CONFIDENCE
from jointrisk.study.learn_conflict import conflict_of, expected
from jointrisk.study.learn_likelihood import reading_quantiles, readings_of
from jointrisk.study.learn_log import log_of
from jointrisk.study.learn_outlooks import NO_OUTLOOKS, outlooks
from jointrisk.study.learn_results import Learnt, PullGroup, ReadingCurve
from jointrisk.study.learn_rods import drawn_rods, even, space_of
from jointrisk.study.learn_states import FEWEST, Asked, information, learnt_states
from jointrisk.study.learn_unknowns import unknowns, weak_share
from jointrisk.study.running import host_of, run_of
from jointrisk.study.sample import LEARN

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from jointrisk.scenario.pull_log import Pull
    from jointrisk.scenario.types import Scenario
    from jointrisk.study.learn_log import Log
    from jointrisk.study.learn_outlooks import Outlooks
    from jointrisk.study.learn_results import Conflict
    from jointrisk.study.learn_rods import Space
    from jointrisk.study.learn_states import States

    Array = npt.NDArray[np.float64]

MOST_TOLD = 6
"""Batches that rods are told of, at most [-]."""
POINTS = 29
"""Loads of the curve [-]."""
ENDS_OF_CURVE = (0.002, 0.998)
ROUGH_STATES = 64
LITTLE = 0.02
"""Information that counts as nothing [bits]."""
MOST_BEYOND = 0.05
"""Share of the parts beyond what the file's rods can do from which nothing is trusted [-]."""
HARDLY = 0.05
"""Change of the log of the failure probability that counts as nothing [-]."""
STREAM = 9_000_000
"""Blocks of streams from here on serve what is not a state's own."""


def learn(
    scenario: Scenario, pulls: Sequence[Pull], *, seed: int | None = None, pool: Any = None
) -> Learnt:
    """Tell what finished pulls have taught.

    Parameters
    ----------
    scenario : Scenario
    pulls : sequence of Pull
        Rows of a log: parts that held a load, or broke.
    seed : int, optional
        By default the scenario's own; 0 is a seed.
    pool : object with ``map``, optional
        Threads or the like; the numbers do not depend on it.

    Returns
    -------
    Learnt

    Raises
    ------
    InputError
        If a pull is no load above 0 N, is of no known kind, or follows the break of its part.
    """
    started = time.time()
    used = resolve_seed(scenario.seed if seed is None else seed)
    log = log_of(pulls)
    space = space_of(rod_set(scenario, rods=1))
    points = _points(space, used)
    loads = [history[-1][0] for history in log.histories]
    asked = Asked(log, _told(log), np.unique(np.concatenate([points, loads])), expected(log))
    states = learnt_states(space, asked, used, pool)
    found = NO_OUTLOOKS
    if scenario.loads:
        found = outlooks(scenario, space, asked, states, used, pool)
    conflict = _conflict(states, asked)
    converged = _trusted(states, found) and not conflict.far_off
    if conflict.far_off:
        found = replace(found, after=None, rods=())
    told = tuple(log.batches[batch] for batch in asked.told)
    facts = _facts(log, space, asked, states, found, points)
    return Learnt(
        title=scenario.title,
        batches=log.batches,
        batches_told=told,
        conflict=conflict,
        target=None if scenario.target is None else scenario.target.probability,
        target_period=None if scenario.target is None else scenario.target.period,
        target_scope=None if scenario.target is None else scenario.target.scope,
        rods_of_set=scenario.rods,
        life_years=scenario.life,
        confidence=CONFIDENCE,
        converged=converged,
        assumptions=scenario.assumptions,
        warnings=_warnings(scenario, pulls, log, states, conflict, converged=converged),
        run=run_of(scenario, used),
        host=host_of(started, pool),
        **facts,
    )


def _told(log: Log) -> tuple[int, ...]:
    """Return the batches that rods are told of: those with most parts, in the log's order."""
    size = log.counts.sum(axis=1)
    most = np.argsort(-size, kind="stable")[:MOST_TOLD]
    return tuple(sorted(int(batch) for batch in most))


def _points(space: Space, seed: int) -> Array:
    """Return the loads of the curve [N], wide enough for nearly all sound rods."""
    rng = block_rng(seed, LEARN, STREAM)
    rough = drawn_rods(space, even(rng, 1, ROUGH_STATES, int(space.state.sum()))[0], rng)
    readings = readings_of(rough, space.rods.scenario.proof.rig_error_cov)
    low, high = reading_quantiles(readings, ENDS_OF_CURVE)
    return np.geomspace(0.1 * low, 1.1 * high, POINTS)


def _facts(
    log: Log, space: Space, asked: Asked, states: States, found: Outlooks, points: Array
) -> dict[str, Any]:
    """Return the fields that the states and the log give."""
    prior, posterior = states.prior, states.posterior
    before, after = prior @ states.curve, posterior @ states.curve
    place = np.searchsorted(asked.grid, points)
    whole = information(states.log_prior, states.log_chance)
    moved = 0.0
    if found.before is not None and found.after is not None:
        first, last = found.before.life.estimate, found.after.life.estimate
        moved = abs(float(np.log(last / first))) if first > 0.0 and last > 0.0 else 0.0
    held = int(log.counts[:, log.held].sum())
    return {
        "pulls": log.rows,
        "parts": log.parts,
        "held": held,
        "broke": log.parts - held,
        "before": found.before,
        "after": found.after,
        "rods": found.rods,
        "unknowns": unknowns(space, states),
        "weak": weak_share(space, states),
        "groups": _groups(log, asked, states, before, after),
        "information": whole,
        "information_held": information(states.log_prior, states.held),
        "information_broke": information(states.log_prior, states.broke),
        "taught_nothing": whole < LITTLE and moved < HARDLY,
        "curve": ReadingCurve(
            tuple(points.tolist()), tuple(before[place].tolist()), tuple(after[place].tolist())
        ),
        "states": int(states.log_prior.size),
        "effective_states": states.effective,
        "rounds": states.rounds,
        "evaluations": states.evaluations,
    }


def _groups(
    log: Log, asked: Asked, states: States, before: Array, after: Array
) -> tuple[PullGroup, ...]:
    """Return what each group of the log taught by itself, the most first."""
    rows = []
    for number, group in enumerate(log.groups):
        load, kind = log.histories[group.history][-1]
        place = int(np.searchsorted(asked.grid, load))
        rows.append(
            PullGroup(
                batch=log.batches[group.batch],
                load_newton=load,
                kind=kind,
                count=group.count,
                chance_before=float(1.0 - before[place]),
                chance_after=float(1.0 - after[place]),
                information=information(states.log_prior, states.of_groups[:, number]),
            )
        )
    return tuple(sorted(rows, key=lambda row: -row.information))


def _conflict(states: States, asked: Asked) -> Conflict:
    """Hold the log against what the states of the first round, of the file alone, expect."""
    rows = slice(0, states.first)
    return conflict_of(
        asked.expected, states.drawn_breaks[rows].ravel(), states.drawn_logs[rows].ravel()
    )


def _trusted(states: States, found: Outlooks) -> bool:
    enough = states.scores.shape[1] == 0 or states.effective >= FEWEST
    return bool(enough and found.converged and _beyond(states) < MOST_BEYOND)


def _beyond(states: States) -> float:
    """Return the share of the parts beyond what rods of the states that fit can do [-]."""
    return float(states.posterior @ states.beyond)


def _warnings(
    scenario: Scenario,
    pulls: Sequence[Pull],
    log: Log,
    states: States,
    conflict: Conflict,
    *,
    converged: bool,
) -> tuple[Warning_, ...]:
    """Return the scenario's warnings and those of the log."""
    own = []
    if _beyond(states) >= MOST_BEYOND:
        own.append(
            Warning_(
                "beyond-the-file",
                f"About {100 * _beyond(states):.0f} % of the parts did what hardly any rod of the "
                "file could do, whatever is not known of it: what is told of the failure of rods "
                "is not to be trusted. Look for what is wrong in the file or in the log.",
            )
        )
    elif not converged and not conflict.far_off:
        own.append(
            Warning_(
                "not-converged",
                f"Of {states.scores.shape[0]:,} states of what is not known that were tried, no "
                f"more than about {states.effective:.0f} fit the log (wanted {FEWEST:.0f}), or "
                "failure is too rare to be told: these numbers are not to be trusted.",
            )
        )
    if conflict.found:
        own.append(Warning_("log-against-file", conflict.text))
    own += _of_log(scenario, pulls, log)
    return (*scenario.warnings, *own)


def _of_log(scenario: Scenario, pulls: Sequence[Pull], log: Log) -> list[Warning_]:
    found = []
    measured = sum(pull.gap is not None or pull.overlap is not None for pull in pulls)
    if measured:
        found.append(
            Warning_(
                "sizes-not-used",
                f"The log gives a measured gap or overlap for {measured} of its rows; it is not "
                "used here: every rod is taken with the sizes and the scatter of the file.",
            )
        )
    size = log.counts.sum(axis=1)
    if size.size and size.max() > scenario.rods_per_batch:
        name = log.batches[int(size.argmax())]
        which = f"batch {name!r}" if name else "one batch"
        found.append(
            Warning_(
                "larger-batch",
                f"The log has {size.max():.0f} parts of {which}, while the file glues "
                f"{scenario.rods_per_batch} at a time: if they were not all glued together, name "
                "their batches in the log, since parts of one batch say less than parts of many.",
            )
        )
    if len(log.batches) > MOST_TOLD:
        found.append(
            Warning_(
                "batches-left-out",
                f"The log has {len(log.batches)} batches; all of them count, but rods are told of "
                f"only for the {MOST_TOLD} with most parts.",
            )
        )
    return found
