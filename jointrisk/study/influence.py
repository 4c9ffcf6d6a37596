"""What the failure probability hangs on, in plain terms.

For every variable: the failure probability if its spread were halved (same mean), and if
its mean were a tenth higher (same standard deviation), each as a ratio to the one it is. The
same random numbers serve before and after, so that the ratio is known far better than
either. The draws are a second stage of the main sample: rows are picked again in
proportion to weight times the root of their failure chance, which favours the rows that
decide without losing those that nearly do.

Ways to fail that make up less than one failure in a hundred are not worked out again where
that takes long (the tube wall).

Changing a share of weak bonds changes the chance of the labels, not the labels: those
draws are reweighted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.draws import Change
from jointrisk.model.layout import varies
from jointrisk.reliability.interval import ratio_interval
from jointrisk.reliability.streams import block_rng
from jointrisk.study.results import Influence
from jointrisk.study.sample import RANK

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from jointrisk.model.resistance import Resistance
    from jointrisk.model.rodset import RodSet
    from jointrisk.reliability.mixture import Draw
    from jointrisk.scenario.types import Scenario, Variable
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

ROWS = 448
JOINTS_ALLOWED = 2688
FEWEST_ROWS = 224
JOINTS_AT_ONCE = 2**14
SMALLEST = 1e-300
TENTH = 0.1
DEGREES = 5.0
RIGHT_ANGLE = 90.0
HALVED = "spread halved"
SECOND_FIT = "second_plug.diameter"
WEIGHT_KEYS = (
    "weak_bonds.lone_weight",
    "weak_bonds.bad_batch_weight",
    "weak_bonds.share_in_bad_batch",
    "weak_bonds.latent_weight",
)
WITHOUT_STRENGTH = (*WEIGHT_KEYS, "model.load_factor")
"""Variables that change no resistance: those of the draws as they are serve again."""
MEMBERS_ONLY = (
    "tube.tension_strength",
    "tube.compression_strength",
    "rods.bow",
    "rods.load_offset",
    "thread.engagement",
    "plug.strength",
    "sleeve.strength",
    "second_thread.engagement",
    "second_plug.strength",
)
"""Variables that change no bond: only the members are worked out anew."""
IN_LINE = ("part.", "rod_end.")
"""How the keys of other members begin that change no bond."""
BEHIND_BOND = (
    "tube.tension_strength",
    "tube.compression_strength",
    "plug.strength",
    "sleeve.strength",
    "second_plug.strength",
)
"""Of `MEMBERS_ONLY`, those that a back-up's capacity hangs on too: with one, not members only."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Draws that were picked from the main sample, worked out as they are."""

    u: Array
    labels: npt.NDArray[np.bool_]
    weight: Array
    """So that the mean of weight times anything is its expectation over the scatter."""
    before: Array
    """Failure chance of each row as it is, (n,) [-]."""
    values: Mapping[str, Array]
    strength: Resistance
    wall: bool
    """Whether the limit of the tube wall counts among the failures."""


@dataclass(frozen=True, slots=True)
class _Question:
    variable: str
    name: str
    measure: str
    changes: Mapping[str, Change]


def influences(sample: Sample, seed: int, pool: Any = None) -> tuple[Influence, ...]:
    """Return every variable's two measures, the strongest first.

    Empty where the failure probability has no draw that shows it.
    """
    if not np.any(sample.weight * sample.fails > 0.0):
        return ()
    count = int(np.clip(JOINTS_ALLOWED // sample.rods.layout.joints, FEWEST_ROWS, ROWS))
    picked, weight = second_stage(sample, count, block_rng(seed, RANK, 0))
    rows = worked_out(sample, picked, weight)
    questions = _questions(sample.rods.scenario, sample.rods.variables)
    quick = [question for question in questions if keeps_bonds(sample.rods, question.changes)]
    slow = [question for question in questions if question not in quick]
    size = max(1, JOINTS_AT_ONCE // (rows.weight.size * sample.rods.layout.joints))
    batches = [slow[start : start + size] for start in range(0, len(slow), size)]

    def answer(batch: list[_Question]) -> list[Influence]:
        return _together(sample.rods, rows, batch)

    mapped = map(answer, batches) if pool is None else pool.map(answer, batches)
    found = [_alone(sample.rods, rows, question) for question in quick]
    found += [entry for batch in mapped for entry in batch]
    found = [entry for entry in found if entry.value == entry.value]
    return tuple(sorted(found, key=lambda entry: -abs(np.log(max(entry.value, SMALLEST)))))


def second_stage(
    sample: Sample, count: int, rng: np.random.Generator
) -> tuple[npt.NDArray[np.intp], Array]:
    """Pick draws again, those that decide or nearly do the more often.

    Returns
    -------
    ndarray of int, ndarray, (count,)
        Rows of the sample, and weights under which the mean over the rows picked of anything is
        its expectation [-].
    """
    fails = sample.fails
    importance = sample.weight * np.sqrt(fails * max(float(fails.max()), SMALLEST))
    importance += 0.02 * sample.weight * importance.sum() / max(sample.weight.sum(), SMALLEST)
    chance = importance / importance.sum()
    # systematic sampling: even over the rows, one random start
    points = (np.arange(count) + rng.random()) / count
    picked = np.minimum(np.searchsorted(np.cumsum(chance), points), chance.size - 1)
    return picked, sample.weight[picked] / (chance[picked] * chance.size)


def worked_out(sample: Sample, picked: npt.NDArray[np.intp], weight: Array) -> Rows:
    """Return rows of a sample with their values and strengths."""
    u, labels = sample.draws.u[picked], sample.draws.labels[picked]
    values, wall = sample.rods.values(u), sample.wall_matters
    strength = sample.rods.resistance(values, labels, with_rig=False, with_wall=wall)
    before = sample.rods.failure_chance(values, strength) * strength.assembles
    return Rows(u, labels, weight, before, values, strength, wall)


def keeps_bonds(rods: RodSet, changes: Mapping[str, Change]) -> bool:
    """Tell whether the bonds of the draws as they are serve under the changes too."""
    linkages = {
        key
        for load in rods.scenario.loads
        if not load.lasting
        for key in (*load.ratios, load.angle)
    }
    return all(
        key in WITHOUT_STRENGTH
        or _member(rods, key)
        or key in linkages
        or key not in rods.variables
        for key in changes
    )


def _member(rods: RodSet, key: str) -> bool:
    """Tell whether a variable changes members and no joint."""
    if key in BEHIND_BOND and rods.scenario.backup is not None:
        return False
    return key in MEMBERS_ONLY or key.startswith(IN_LINE)


def changed(rods: RodSet, rows: Rows, changes: Mapping[str, Change], key: str) -> Array:
    """Return the values of one key under the changes, as they are where it is not changed."""
    values = rows.values[key]
    if key not in changes:
        return values
    return changes[key].apply(values, float(rods.variables[key].spread.mean))


def _alone(rods: RodSet, rows: Rows, question: _Question) -> Influence:
    """Answer a question whose bonds are known."""
    changes = question.changes
    values, strength = bonds_kept(rods, rows, changes)
    after = rods.failure_chance(values, strength, changes) * strength.assembles
    if set(changes) & set(WEIGHT_KEYS):
        after = after * label_ratio(rods, rows, changes)
    return _influence(question, rows, after)


def bonds_kept(
    rods: RodSet, rows: Rows, changes: Mapping[str, Change]
) -> tuple[dict[str, Array], Resistance]:
    """Return values and strengths under changes that leave the bonds as they are."""
    values = {key: changed(rods, rows, changes, key) for key in rows.values}
    if any(_member(rods, key) for key in changes):
        return values, rods.with_members(rows.strength, values)
    return values, rows.strength


def _together(rods: RodSet, rows: Rows, batch: list[_Question]) -> list[Influence]:
    """Answer questions that need the bonds worked out anew, side by side in one call."""
    n = rows.weight.size
    values: dict[str, Array] = {}
    for key, plain in rows.values.items():
        if any(key in question.changes for question in batch):
            parts = [changed(rods, rows, question.changes, key) for question in batch]
            values[key] = np.concatenate(
                [np.broadcast_to(part, (plain.shape[0], n)) for part in parts], axis=1
            )
        else:
            values[key] = plain if plain.shape[1] == 1 else np.tile(plain, (1, len(batch)))
    labels = np.tile(rows.labels, (len(batch), 1))
    strength = rods.resistance(values, labels, with_rig=False, with_wall=rows.wall)
    after = rods.failure_chance(values, strength) * strength.assembles
    return [
        _influence(question, rows, part)
        for question, part in zip(batch, after.reshape(len(batch), n), strict=True)
    ]


def label_ratio(rods: RodSet, rows: Rows | Draw, changes: Mapping[str, Change]) -> Array:
    """Return the chance of the labels under changes over that without, (n,) [-]."""
    ratio = np.ones(rows.u.shape[0])
    for label in range(rods.layout.label_count):
        held = rows.labels[:, label]
        old = rods.label_chance(label, rows.u, rows.labels)
        new = rods.label_chance(label, rows.u, rows.labels, changes)
        ratio *= np.where(
            held, new / np.maximum(old, SMALLEST), (1 - new) / np.maximum(1 - old, SMALLEST)
        )
    return ratio


def _influence(question: _Question, rows: Rows, after: Array) -> Influence:
    """Ratio of the two failure probabilities with its 95 % interval (delta method, paired)."""
    found = ratio_interval(rows.weight * after, rows.weight * rows.before)
    return Influence(
        question.variable,
        question.name,
        question.measure,
        found.estimate,
        found.low,
        found.high,
    )


def _questions(scenario: Scenario, variables: Mapping[str, Variable]) -> list[_Question]:
    asked: list[_Question] = []
    everything = dict(variables)
    everything.update({load.size.key: load.size for load in scenario.loads})
    for key, variable in everything.items():
        if key in (*scenario.fit, SECOND_FIT) or key.startswith("proof."):
            continue
        if varies(variable):
            halved = {key: Change(squeeze=0.5)}
            asked.append(_Question(key, variable.label, HALVED, halved))
        if variable.kind == "not known" and not varies(variable):
            continue
        step = _step(variable)
        if step is not None:
            measure, shift = step
            asked.append(_Question(key, variable.label, measure, {key: Change(shift=shift)}))
    return asked + _fit_questions(scenario, everything)


def _step(variable: Variable) -> tuple[str, float] | None:
    """Return what a step of the mean is called, and how large it is; None where none is asked."""
    mean = float(variable.spread.mean)
    if not varies(variable) and not variable.key.startswith("load."):
        return None
    if variable.unit == "degC":
        return f"mean {DEGREES:.0f} K higher", DEGREES
    if variable.unit == "deg":  # away from a right angle, which gives the least force
        higher = mean >= RIGHT_ANGLE
        measure = f"mean {DEGREES:.0f} deg {'higher' if higher else 'lower'}"
        return measure, DEGREES if higher else -DEGREES
    if mean == 0.0:
        return None
    return "mean a tenth higher", TENTH * mean


def _fit_questions(scenario: Scenario, variables: Mapping[str, Variable]) -> list[_Question]:
    """Ask about the two diameters at the glue together: what matters of them is the gap."""
    wide, narrow = scenario.fit
    fits = [key for key in (wide, narrow, SECOND_FIT) if key in variables]
    clearance = float(variables[wide].spread.mean - variables[narrow].spread.mean)
    key = f"{wide} - {narrow}"
    name = f"gap between {'insert' if scenario.end == 'plug' else 'sleeve'} and tube"
    shifted = {wide: Change(shift=TENTH * clearance)}
    asked = [_Question(key, name, "mean a tenth higher", shifted)]
    if any(varies(variables[fit]) for fit in fits):
        halved = {fit: Change(squeeze=0.5) for fit in fits}
        asked.insert(0, _Question(key, name, HALVED, halved))
    return asked
