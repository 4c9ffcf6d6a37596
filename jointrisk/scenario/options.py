"""Options: named variants of one file, each the file as written with some keys changed."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from jointrisk.errors import Problem, ScenarioError, nearest
from jointrisk.scenario.problems import (
    ARRAYS,
    keys_of,
    section_of,
    shown,
    unknown,
    validate,
)
from jointrisk.scenario.resolve import resolve
from jointrisk.scenario.shape import File

if TYPE_CHECKING:
    from collections.abc import Iterator

    from jointrisk.scenario.shape import Section
    from jointrisk.scenario.types import Scenario

__all__ = ["AS_WRITTEN", "Variant", "judge", "variants"]

AS_WRITTEN = "as written"
_FIXED = ("schema", "seed", "options")
_EXAMPLE = '[options."longer overlap"]'


@dataclass(frozen=True, slots=True)
class Variant:
    """The file as written, or one option of it, checked for its shape."""

    name: str | None
    file: File
    problems: list[Problem]
    """Of the merged file, by the keys of a file of its own."""
    skip: set[str]
    own: list[Problem] = field(default_factory=list)
    """Of the option itself, by the keys inside it."""
    own_title: bool = True
    places: dict[str, str] = field(default_factory=dict)
    """Loads by name in place of their number, where the option addresses them so."""


def variants(raw: dict[str, Any]) -> tuple[list[Variant], list[Problem]]:
    """Return the file as written, then each of its options, and what is wrong with their names."""
    base = {key: value for key, value in raw.items() if key != "options"}
    found = [Variant(None, *validate(base))]
    written = raw.get("options", {})
    if not isinstance(written, dict):
        what = "is a table of named variants"
        return found, [Problem("options", what, shown(written), _EXAMPLE)]
    problems = []
    for name, changes in written.items():
        if not isinstance(changes, dict):
            problems.append(Problem(_at(name), "is a table", shown(changes), _EXAMPLE))
        elif not name.strip() or name == AS_WRITTEN:
            what = "cannot be the name of an option"
            problems.append(Problem("options", what, f'"{name}"', f"a name, not {AS_WRITTEN!r}"))
        else:
            merged, own = _merge(base, changes)
            places = _places(merged) if isinstance(changes.get("load"), dict) else {}
            found.append(Variant(name, *validate(merged), own, "title" in changes, places))
    return found, problems


def judge(
    found: list[Variant], problems: list[Problem], *, path: str, sha256: str
) -> dict[str, Scenario]:
    """Return every variant's scenario by its name, the file as written first.

    Raises
    ------
    ScenarioError
        Problems of the file or of any option. What is wrong with the file as written is not
        told again for each option.
    """
    names = tuple(variant.name for variant in found if variant.name is not None)
    scenarios: dict[str, Scenario] = {}
    told: list[Problem] = []
    of_base: set[Problem] = set()
    for variant in found:
        name = variant.name
        try:
            made = resolve(
                variant.file, problems=variant.problems, skip=variant.skip, path=path, sha256=sha256
            )
        except ScenarioError as error:
            faults = [problem for problem in error.problems if not _told(problem, of_base)]
        else:
            title = made.title
            if name is not None and not variant.own_title:
                title = f"{title}: {name}" if title else name
            scenarios[name or AS_WRITTEN] = replace(made, title=title, option=name, options=names)
            faults = []
        if name is None:
            of_base, told = set(faults), [*faults, *problems]
        else:
            told += [_inside(name, p, variant.places) for p in [*variant.own, *faults]]
    if told:
        raise ScenarioError(path, dict.fromkeys(told))
    return scenarios


def _told(problem: Problem, of_base: set[Problem]) -> bool:
    """Return whether a problem stems from the file as written."""
    if problem in of_base:
        return True
    table = problem.key.split(".")[0]
    return problem.what == "is missing" and any(known.key == table for known in of_base)


def _at(name: str) -> str:
    return f'options."{name}"'


def _inside(name: str, problem: Problem, places: dict[str, str]) -> Problem:
    """Return a problem of an option under its key in the whole file."""
    head, dot, rest = problem.key.partition(".")
    key = f"{_at(name)}.{places.get(head, head)}{dot}{rest}".removesuffix(".")
    return Problem(key, problem.what, problem.got, problem.expected)


def _places(merged: dict[str, Any]) -> dict[str, str]:
    loads = merged.get("load", ())
    return {
        f"load[{number}]": f'load."{entry["name"]}"'
        for number, entry in enumerate(loads if isinstance(loads, list) else (), start=1)
        if isinstance(entry, dict) and "name" in entry
    }


def _merge(base: dict[str, Any], changes: dict[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """Return the base with the changes of an option made, and what is wrong with these."""
    merged = copy.deepcopy(base)
    loads = _by_name(merged.get("load", []))
    if loads is not None:
        merged["load"] = loads
    problems = _drop(merged, changes["without"]) if "without" in changes else []
    allowed = ["without", *(key for key in keys_of(File) if key not in _FIXED)]
    for name, value in changes.items():
        if name == "without":
            continue
        if name in _FIXED:
            what = "cannot differ between the options of a file"
            problems.append(Problem(name, what, shown(value)))
        elif name not in allowed:
            problems.append(unknown((name,), allowed))
        elif name == "load" and isinstance(value, dict):
            problems += _change_loads(merged.get("load", {}), value)
        elif name in ARRAYS and not isinstance(value, list):
            what = f'is a list of tables: write [[options."NAME".{name}]] with two brackets'
            problems.append(Problem(name, what, shown(value)))
        elif name not in ARRAYS and section_of(File, name) and not isinstance(value, dict):
            problems.append(Problem(name, "is a table", shown(value), f"{name}.KEY = …"))
        else:
            _put(merged, name, value, File)
    if isinstance(merged.get("load"), dict):
        merged["load"] = list(merged["load"].values())
    return merged, problems


def _put(table: dict[str, Any], key: str, value: Any, section: type[Section]) -> None:
    """Put a value in the place of the one that is there; of a table, key by key."""
    inner = section_of(section, key)
    there = table.get(key, {})
    if inner is None or not isinstance(value, dict):
        table[key] = value
    elif isinstance(there, dict):
        table[key] = there
        for name, item in value.items():
            _put(there, name, item, inner)


def _by_name(loads: Any) -> dict[str, Any] | None:
    """Return the loads by their names, or None where they cannot be told apart."""
    if not isinstance(loads, list) or not all(isinstance(entry, dict) for entry in loads):
        return None
    named = {entry["name"]: entry for entry in loads if isinstance(entry.get("name"), str)}
    return named if len(named) == len(loads) else None


def _change_loads(loads: Any, changes: dict[str, Any]) -> list[Problem]:
    """Change keys of loads by their names; names the nearest to one that is not there."""
    if not isinstance(loads, dict):
        return []  # the loads of the base are at fault, and that is told there
    problems = []
    for name, change in changes.items():
        if name not in loads:
            known = list(loads)
            close = nearest(name, known)
            meant = f'; did you mean "{close}"?' if close else ""
            listed = ", ".join(f'"{other}"' for other in known) or "none: the file names no load"
            what = f"no such load in the file{meant}"
            problems.append(Problem("load", what, f'"{name}"', listed))
        elif not isinstance(change, dict):
            problems.append(Problem(f'load."{name}"', "is a table", shown(change), "KEY = …"))
        else:
            loads[name].update(change)
    return problems


def _drop(merged: dict[str, Any], words: Any) -> list[Problem]:
    """Take out the keys of the base that the option does without.

    A misspelt key is told and then taken for the nearest, so that nothing else follows from it.
    """
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        return [Problem("without", "takes a list of keys", shown(words), '["plug.diameter"]')]
    there = {".".join(path): path for path in _there(merged, File)}
    problems = []
    for word in words:
        key: str | None = word.replace('"', "")
        if key not in there:
            key = nearest(word, list(there))
            meant = f"; did you mean {key}?" if key else ""
            problems.append(Problem("without", f"no such key in the file{meant}", f'"{word}"'))
        if key is None:
            continue
        path = there[key]
        table = merged
        for part in path[:-1]:
            table = table.get(part, {})
        table.pop(path[-1], None)
    return problems


def _there(
    table: dict[str, Any], section: type[Section] | None, at: tuple[str, ...] = ()
) -> Iterator[tuple[str, ...]]:
    """Yield the path of every table and key that an option may do without."""
    for key, value in table.items():
        if at or key not in _FIXED:
            yield (*at, key)
        inner = section_of(section, key) if section is not None else None
        if at == ("load",):
            inner = section_of(File, "load")
        if inner is not None and isinstance(value, dict):
            yield from _there(value, None if key == "load" and not at else inner, (*at, key))
