"""Sentences about pulls, said of pushes where the rig pushes."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from jointrisk.scenario.types import Scenario
    from jointrisk.study.proof_results import Proof

_PUSHED = {
    "pull": "push",
    "pulls": "pushes",
    "pulled": "pushed",
    "pulling": "pushing",
    "unpulled": "untested",
}


def directed(text: str, direction: str, keep: Iterable[str] = ()) -> str:
    """Return a text about pulls as one about what the rig does.

    Parameters
    ----------
    text : str
    direction : str
        "pull": the text stays as it is; "push".
    keep : iterable of str
        Names of the maker's own, of more than one word, that stay as they are.
    """
    if direction == "pull":
        return text
    own = sorted(filter(None, keep), key=len, reverse=True)
    words = r"\b(?:un)?pull(?:s|ed|ing)?\b"
    found = re.compile("|".join([*(f"(?:{re.escape(name)})" for name in own), words]), re.I)

    def put(match: re.Match[str]) -> str:
        word = match[0]
        other = _PUSHED.get(word.lower())
        if other is None:
            return word
        if word.isupper():
            return other.upper()
        return other.capitalize() if word[0].isupper() else other

    return found.sub(put, text)


def said_of(scenario: Scenario, text: str) -> str:
    """Return a text about pulls as one about what the scenario's rig does."""
    names = [part.name for part in scenario.parts] + [pull.label for pull in scenario.pulls]
    return directed(text, scenario.proof.rig.direction, names)


def in_its_words(result: Proof, scenario: Scenario) -> Proof:
    """Return a result with its texts about what the scenario's rig does."""
    return replace(
        result,
        reason=said_of(scenario, result.reason),
        openers=tuple(
            replace(entry, name=said_of(scenario, entry.name)) for entry in result.openers
        ),
        policies=tuple(
            replace(entry, name=said_of(scenario, entry.name), note=said_of(scenario, entry.note))
            for entry in result.policies
        ),
    )
