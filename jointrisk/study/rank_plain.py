"""What the failure probability hangs on in plain terms: every change of every variable.

For each variable the failure probability with its spread halved, its mean a tenth higher and a
tenth lower, as a ratio to the one it is. Two ways lead there: weighting the main sample anew
and running the changed rods on the same random numbers. Where both can tell, the sharper of the
two is given and the other stands beside it as a check.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.model.draws import Change
from jointrisk.model.layout import varies
from jointrisk.reliability.interval import ratio_interval
from jointrisk.study.influence import DEGREES, HALVED, RIGHT_ANGLE, SECOND_FIT, SMALLEST, TENTH
from jointrisk.study.rank_results import Effect, ModeEffect, Variable
from jointrisk.study.rank_reweight import reweighted
from jointrisk.study.rank_rows import fails_under
from jointrisk.study.results import Chance

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.reliability.interval import Bounds
    from jointrisk.scenario.types import Kind, Scenario
    from jointrisk.scenario.types import Variable as Quantity
    from jointrisk.study.rank_rows import Fails, Stage
    from jointrisk.study.sample import Sample

    Array = npt.NDArray[np.float64]

HIGHER, LOWER = "mean a tenth higher", "mean a tenth lower"
ALL_LOWER = "all values a tenth lower"
"""Of what cannot be negative and scatters so widely that a plain step would make it so."""
RARELY = np.float64(1e-12)
Z95 = 1.959964
"""Two-sided 95 % score of the normal distribution."""
MODE_EFFECTS = 6
"""Changes told for each leading mode."""


@dataclass(frozen=True, slots=True)
class Question:
    """One change of one variable."""

    key: str
    name: str
    kind: Kind
    measure: str
    changes: Mapping[str, Change]


@dataclass(frozen=True, slots=True)
class Answer:
    """A change worked out."""

    question: Question
    effect: Effect
    fails: Fails
    log_terms: Array
    """Terms whose mean over the rows is 0 and whose spread is the error of the log, (n,) [-]."""


def answers(sample: Sample, rows: Stage, pool: Any = None) -> list[Answer]:
    """Work out every change that is asked about, in the order of the variables."""
    asked = questions(sample.rods.scenario, sample.rods.variables)
    found = fails_under(rows.rods, rows.pieces, [each.changes for each in asked], pool)
    kept: dict[str, Array] = {}
    result = []
    for question, fails in zip(asked, found, strict=True):
        again = ratio_to_before(rows, fails)
        if np.isfinite(again.estimate):
            effect = _effect(sample, question, again, kept)
            result.append(Answer(question, effect, fails, _log_terms(rows, fails)))
    return result


def ratio_to_before(rows: Stage, fails: Fails) -> Bounds:
    """Return the failure probability over that of the rows as they are, with its interval."""
    return ratio_interval(rows.weight * fails.whole, rows.weight * rows.before.whole)


def _effect(sample: Sample, question: Question, again: Bounds, kept: dict[str, Array]) -> Effect:
    """Choose the sharper way, and keep the other as a check."""
    new = reweighted(sample, question.changes, kept)
    run = Effect(question.measure, *again[:3], how="run again", effective=None, check=None)
    if new is None:
        return run
    weighed = Chance(*new.ratio[:3])
    if _width(new.ratio) < _width(again):
        return replace(
            run,
            value=weighed.estimate,
            low=weighed.low,
            high=weighed.high,
            how="weighted anew",
            effective=new.effective,
            check=Chance(*again[:3]),
        )
    return replace(run, effective=new.effective, check=weighed)


def _width(found: Bounds) -> float:
    return float(np.log(max(found.high, SMALLEST) / max(found.low, SMALLEST)))


def _log_terms(rows: Stage, fails: Fails) -> Array:
    after, before = rows.weight * fails.whole, rows.weight * rows.before.whole
    return np.asarray(
        after / max(float(after.mean()), SMALLEST) - before / max(float(before.mean()), SMALLEST)
    )


# Questions -----------------------------------------------------------------------------------


def questions(scenario: Scenario, variables: Mapping[str, Quantity]) -> list[Question]:
    """Return every change to be tried: of all that varies, of loads, and of the gap."""
    everything = dict(variables)
    everything.update({load.size.key: load.size for load in scenario.loads})
    asked: list[Question] = []
    for key, variable in everything.items():
        if key in (*scenario.fit, SECOND_FIT) or key.startswith("proof."):
            continue
        own: list[tuple[str, Change]] = []
        if varies(variable):
            own.append((HALVED, Change(squeeze=0.5)))
        if varies(variable) or key.startswith("load."):
            drawn = key in variables
            own += _steps(variable, drawn=drawn)
        asked += [
            Question(key, variable.label, variable.kind, measure, {key: change})
            for measure, change in own
        ]
    return asked + _gap(scenario, everything)


def _steps(variable: Quantity, *, drawn: bool) -> list[tuple[str, Change]]:
    """Return a step of the mean up and one down; none where a tenth of it says nothing."""
    mean = float(variable.spread.mean)
    if variable.unit == "degC":
        step, unit = DEGREES, "K"
    elif variable.unit == "deg":
        step, unit = DEGREES, "deg"
    elif mean == 0.0:
        return []
    else:
        step, unit = TENTH * mean, ""
    if unit:
        names = (f"mean {step:.0f} {unit} higher", f"mean {step:.0f} {unit} lower")
    else:
        names = (HIGHER, LOWER)
    down = Change(shift=-step)
    if not unit and drawn and _turns_negative(variable, step):
        names, down = (names[0], ALL_LOWER), Change(squeeze=1.0 - TENTH, shift=-step)
    found = [(names[0], Change(shift=step)), (names[1], down)]
    away_first = variable.unit != "deg" or mean >= RIGHT_ANGLE
    return found if away_first else found[::-1]


def _turns_negative(variable: Quantity, step: float) -> bool:
    """Tell whether a step down would make something negative that never is."""
    least = float(variable.spread.ppf(RARELY))
    return least >= 0.0 and least - step <= 0.0


def _gap(scenario: Scenario, variables: Mapping[str, Quantity]) -> list[Question]:
    """Ask about the two diameters at the glue together: what matters of them is the gap."""
    wide, narrow = scenario.fit
    fits = [key for key in (wide, narrow, SECOND_FIT) if key in variables]
    clearance = float(variables[wide].spread.mean - variables[narrow].spread.mean)
    key = f"{wide} - {narrow}"
    name = f"gap between {'insert' if scenario.end == 'plug' else 'sleeve'} and tube"
    own: list[tuple[str, dict[str, Change]]] = []
    moving = {fit: Change(squeeze=0.5) for fit in fits if varies(variables[fit])}
    if moving:
        own.append((HALVED, moving))
    own.append((HIGHER, {wide: Change(shift=TENTH * clearance)}))
    own.append((LOWER, {wide: Change(shift=-TENTH * clearance)}))
    return [Question(key, name, "scatter", measure, changes) for measure, changes in own]


# Order ---------------------------------------------------------------------------------------


def ranked(found: Sequence[Answer]) -> tuple[Variable, ...]:
    """Return what scatters and then what is not known, each strongest first, ties as ties."""
    kinds: tuple[Kind, ...] = ("scatter", "not known")
    return tuple(
        entry
        for kind in kinds
        for entry in _ranked([answer for answer in found if answer.question.kind == kind])
    )


def _ranked(found: Sequence[Answer]) -> tuple[Variable, ...]:
    by_key: dict[str, list[Answer]] = {}
    for answer in found:
        by_key.setdefault(answer.question.key, []).append(answer)
    leading = {key: max(own, key=_strength) for key, own in by_key.items()}
    order = sorted(leading.values(), key=lambda answer: -_strength(answer))
    ranks = tied_ranks(order, _not_apart)
    return tuple(
        Variable(
            answer.question.key,
            answer.question.name,
            answer.question.kind,
            rank,
            answer.question.measure,
            tuple(other.effect for other in by_key[answer.question.key]),
        )
        for answer, rank in zip(order, ranks, strict=True)
    )


def tied_ranks(order: Sequence[Any], not_apart: Callable[[Any, Any], bool]) -> list[int]:
    """Return the rank of each entry of a sorted list: that of the first it is not told from.

    Compared are an entry and the first one of the rank before it, so that a long row of small
    steps does not make one rank of all.
    """
    ranks: list[int] = []
    first = 0
    for place, entry in enumerate(order):
        if place and not not_apart(order[first], entry):
            first = place
        ranks.append(first + 1)
    return ranks


def _strength(answer: Answer) -> float:
    return abs(float(np.log(max(answer.effect.value, SMALLEST))))


def _not_apart(first: Answer, second: Answer) -> bool:
    """Tell whether two strengths may be the same: ranges overlap, and the paired difference too."""
    (a, b), (c, d) = _range(first.effect), _range(second.effect)
    if min(b, d) < max(a, c):
        return False
    sides = [np.sign(np.log(max(each.effect.value, SMALLEST))) for each in (first, second)]
    terms = sides[0] * first.log_terms - sides[1] * second.log_terms
    error = float(terms.std()) / np.sqrt(terms.size)
    return bool(_strength(first) - _strength(second) <= Z95 * error)


def _range(effect: Effect) -> tuple[float, float]:
    """Return the ends of the strength of an effect [-]; from 0 where it may be nothing."""
    ends = [float(np.log(max(end, SMALLEST))) for end in (effect.low, effect.high)]
    most = max(abs(end) for end in ends)
    return (0.0 if ends[0] <= 0.0 <= ends[1] else min(abs(end) for end in ends)), most


# Modes ---------------------------------------------------------------------------------------


def mode_effects(
    rows: Stage, found: Sequence[Answer], modes: Sequence[tuple[int, str]]
) -> tuple[ModeEffect, ...]:
    """Return the strongest changes of each leading mode.

    Parameters
    ----------
    rows : Stage
    found : sequence of Answer
    modes : sequence of (int, str)
        Place and name of each mode asked about.
    """
    result: list[ModeEffect] = []
    for place, name in modes:
        before = rows.weight * rows.before.modes[place]
        own = []
        for answer in found:
            ratio = ratio_interval(rows.weight * answer.fails.modes[place], before)
            if np.isfinite(ratio.estimate):
                own.append((answer.question, ratio))
        own.sort(key=lambda pair: -abs(float(np.log(max(pair[1].estimate, SMALLEST)))))
        seen: dict[str, ModeEffect] = {}
        for question, ratio in own:  # of each variable its strongest change
            entry = ModeEffect(name, question.key, question.name, question.measure, *ratio[:3])
            seen.setdefault(question.key, entry)
        result += list(seen.values())[:MODE_EFFECTS]
    return tuple(result)
