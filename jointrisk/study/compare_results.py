"""What a comparison of options returns: frozen, with every number a report may show.

Loads and strengths [N], probabilities and shares [-], times [years], masses [g].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import _failure_dict, _fields, _target_dict, clean

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from jointrisk.scenario.types import Assumption, Money, Warning_
    from jointrisk.study.results import (
        Chance,
        FailureProbability,
        Mode,
        PermittedLoad,
        Strength,
        TargetVerdict,
    )


@dataclass(frozen=True, slots=True)
class Difference:
    """One resolved value that an option has apart from the baseline."""

    key: str
    value: str | None
    """None: the option has no such value."""
    baseline: str | None


@dataclass(frozen=True, slots=True)
class PullNeeded:
    """The smallest pull that meets the option's target, or why there is none."""

    verdict: str
    """As in `jointrisk.study.results.ProofAnswer`."""
    reason: str
    load_newton: float | None
    reject_fraction: float | None
    """Share of all rods that break in it."""


@dataclass(frozen=True, slots=True)
class AfterPull:
    """What a pull leaves: the largest that the option names, or else the one it needs."""

    label: str
    """"" for the pull needed."""
    load_newton: float
    fail: Chance
    """Over the life, of sets whose rods all held."""
    reject_fraction: float


@dataclass(frozen=True, slots=True)
class Option:
    """One option on the common draws."""

    name: str
    title: str
    differences: tuple[Difference, ...]
    """From the baseline; none for the baseline itself."""
    rods: int
    failure_probability: FailureProbability
    as_target: float | None
    """Failure probability as the target counts it; None without one."""
    target: TargetVerdict | None
    permitted_load: PermittedLoad | None
    strength_new: Strength
    strength_service: Strength
    modes: tuple[Mode, ...]
    pull: PullNeeded
    after_pull: AfterPull | None
    """None where no pull is named or needed, or too few draws hold it to say."""
    cost: Money | None
    """Of one rod."""
    mass: float | None
    """Of one rod [g]."""
    letters: str
    """Options that share a letter are not told apart."""
    dominated_by: tuple[str, ...]
    """Options that are told to fail less often and cost and weigh no more."""


def _inverse(ratio: float) -> float:
    return math.inf if ratio == 0.0 else 1.0 / ratio


@dataclass(frozen=True, slots=True)
class Ratio:
    """How many times as often one option fails as another, with its paired interval [-]."""

    estimate: float
    low: float
    high: float
    verdict: str
    """"lower", "higher" or "not told apart"."""

    @property
    def turned(self) -> Ratio:
        """The other way round."""
        words = {"lower": "higher", "higher": "lower"}
        verdict = words.get(self.verdict, self.verdict)
        return Ratio(_inverse(self.estimate), _inverse(self.high), _inverse(self.low), verdict)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two options against each other."""

    option: str
    other: str
    ratio: Ratio
    """Of `option` over `other`, as built, over the life."""
    better: Chance | None
    """Share of what is not known in which `option` fails less often; None where all is known."""
    after_pull: Ratio | None
    """The same after the pull of each; None where neither has one, or it cannot be told."""
    as_target: Ratio | None = None
    """The same as their target counts it; None where that is no other, or their targets differ."""

    @property
    def turned(self) -> Pair:
        """The other way round."""
        from jointrisk.study.results import Chance

        share = self.better
        if share is not None:
            share = Chance(1.0 - share.estimate, 1.0 - share.high, 1.0 - share.low)
        after, aim = (
            None if ratio is None else ratio.turned for ratio in (self.after_pull, self.as_target)
        )
        return Pair(self.other, self.option, self.ratio.turned, share, after, aim)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Options side by side, all on the same draws."""

    title: str
    baseline: str
    options: tuple[Option, ...]
    pairs: tuple[Pair, ...]
    """Each two options once."""
    groups: tuple[tuple[str, ...], ...]
    """The largest groups of which no two are told apart, the lowest failure first."""
    lowest: tuple[str, ...]
    """The option of the lowest failure probability and those not told apart from it."""
    confidence: float
    """Of the intervals of one option [-]."""
    confidence_of_pairs: float
    """That of each pair's ratio, so that all pairs together have `confidence` [-]."""
    evaluations: int
    """Draws of each option."""
    converged: bool
    assumptions: tuple[Assumption, ...]
    """Of the baseline."""
    warnings: tuple[Warning_, ...]
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    def option(self, name: str) -> Option:
        """Return one option by its name."""
        return next(option for option in self.options if option.name == name)

    def pair(self, option: str, other: str) -> Pair:
        """Return two options against each other, `option` over `other`."""
        for pair in self.pairs:
            if (pair.option, pair.other) == (option, other):
                return pair
            if (pair.option, pair.other) == (other, option):
                return pair.turned
        raise KeyError((option, other))

    def to_dict(self) -> dict[str, Any]:
        """Return the document, null in place of NaN."""
        document: dict[str, Any] = clean(
            {
                "schema_version": 1,
                "title": self.title,
                "baseline": self.baseline,
                "options": [_option_dict(option) for option in self.options],
                "against_baseline": [
                    _pair_dict(self.pair(option.name, self.baseline))
                    for option in self.options
                    if option.name != self.baseline
                ],
                "pairs": [_pair_dict(pair) for pair in self.pairs],
                "not_told_apart": self.groups,
                "lowest": self.lowest,
                "confidence": self.confidence,
                "confidence_of_pairs": self.confidence_of_pairs,
                "evaluations": self.evaluations,
                "converged": self.converged,
                "assumptions": [_fields(entry) for entry in self.assumptions],
                "warnings": [_fields(entry) for entry in self.warnings],
                "run": dict(self.run),
                "host": dict(self.host),
            }
        )
        return document

    def to_frame(self) -> pd.DataFrame:
        """Return one row an option, its ratio to the baseline beside it."""
        import pandas as pd

        return pd.DataFrame([_row(self, option) for option in self.options])


def _row(result: Comparison, option: Option) -> dict[str, Any]:
    chance = option.failure_probability
    ratio = Ratio(1.0, 1.0, 1.0, "")
    if option.name != result.baseline:
        ratio = result.pair(option.name, result.baseline).ratio
    return {
        "option": option.name,
        "failure_probability": chance.estimate,
        "low": chance.low,
        "high": chance.high,
        "band_p05": chance.band_p05,
        "band_p95": chance.band_p95,
        "ratio_to_baseline": ratio.estimate,
        "ratio_low": ratio.low,
        "ratio_high": ratio.high,
        "verdict": ratio.verdict,
        "median_strength_newton": option.strength_new.median,
        "pull_needed_newton": math.nan
        if option.pull.load_newton is None
        else option.pull.load_newton,
    }


def _option_dict(option: Option) -> dict[str, Any]:
    document = _fields(option) or {}
    document["differences"] = [_fields(entry) for entry in option.differences]
    document["failure_probability"] = _failure_dict(option.failure_probability)
    document["target"] = _target_dict(option.target)
    for name in ("permitted_load", "strength_new", "strength_service", "pull", "cost"):
        document[name] = _fields(document[name])
    document["modes"] = [_fields(mode) for mode in option.modes]
    after = _fields(option.after_pull)
    if after is not None:
        after["fail"] = _fields(after["fail"])
    document["after_pull"] = after
    document["mass_gram"] = document.pop("mass")
    return document


def _pair_dict(pair: Pair) -> dict[str, Any]:
    return {
        "option": pair.option,
        "other": pair.other,
        "ratio": _fields(pair.ratio),
        "better_given_what_is_not_known": _fields(pair.better),
        "after_pull": _fields(pair.after_pull),
        "as_target": _fields(pair.as_target),
    }
