"""From pydantic's errors to lines of our own, and a file with the faulty keys taken out."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from jointrisk.errors import Problem, nearest
from jointrisk.scenario.shape import File, Section

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pydantic_core import ErrorDetails

__all__ = ["ARRAYS", "dotted", "keys_of", "section_of", "shown", "unknown", "validate"]

ARRAYS = ("part", "load", "pull", "correlation")
_HINTS = {
    "gap": 'per side or in total? write plug.radial_gap = "…" for the gap on one side, '
    "or give tube.bore and plug.diameter",
    "glue": "the table is called adhesive",
    "clearance": "write plug.radial_gap for the gap on one side, "
    "or give tube.bore and plug.diameter",
}
_ENDS = ("plug", "sleeve")
"""Tables of which a file has exactly one."""


def validate(raw: dict[str, Any]) -> tuple[File, list[Problem], set[str]]:
    """Return what of `raw` can be used, the problems found, and the keys they concern.

    Faulty keys are taken out and the rest is read again, so that what the values mean together
    can still be looked at, and all problems of a file come together.
    """
    problems: list[Problem] = []
    skip: set[str] = set()
    left = copy.deepcopy(raw)
    for _ in range(3):
        try:
            file = File.model_validate(left)
        except ValidationError as error:
            for detail in error.errors():
                problems.append(_translate(detail))
                skip.add(dotted(detail["loc"]))
                _take_out(left, detail["loc"])
        else:
            problems += _missing(file, skip)
            return file, problems, skip
    return File(), problems, skip | {*File.needed, "plug"}


def dotted(loc: Sequence[int | str]) -> str:
    """Return ``load[1].size`` for ("load", 0, "size"): people count from one."""
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def keys_of(section: type[Section]) -> dict[str, str]:
    """Return the keys of a table as written in a file, each with its attribute's name."""
    return {field.alias or name: name for name, field in section.model_fields.items()}


def _translate(detail: ErrorDetails) -> Problem:
    loc = detail["loc"]
    key = dotted(loc)
    kind = detail["type"]
    got = shown(detail["input"])
    if kind == "value_error":
        return Problem(key, str(detail["ctx"]["error"]))
    if kind == "extra_forbidden":
        return unknown(loc)
    if kind in ("tuple_type", "list_type"):
        name = loc[0]
        return Problem(key, f"is a list of tables: write [[{name}]] with two brackets", got)
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return Problem(key, "is a table", got, f"[{key}] on a line of its own")
    return Problem(key, "cannot be read", got)


def unknown(loc: Sequence[int | str], allowed: Sequence[str] = ()) -> Problem:
    """Name the key nearest to one that nobody knows; `allowed`: other keys than the table's."""
    name = str(loc[-1])
    section = _section(loc[:-1])
    allowed = allowed or list(keys_of(section))
    if name in _HINTS:
        hint = _HINTS[name]
        if loc[0] == "sleeve":
            hint = hint.replace("tube.bore and plug.diameter", "sleeve.bore")
            hint = hint.replace("plug.radial_gap", "sleeve.radial_gap")
        return Problem(dotted(loc), f"unknown key: {hint}")
    elsewhere = [
        f"[{table}]"
        for table in keys_of(File)
        if (inner := _section((table,))) is not File and name in keys_of(inner)
    ]
    where = "" if section is File else f" in [{loc[0]}]"
    if elsewhere:
        return Problem(dotted(loc), f"unknown key{where}; it belongs in {' or '.join(elsewhere)}")
    close = nearest(name, allowed)
    meant = f"did you mean {close}?" if close else f"known{where}: {', '.join(allowed)}"
    return Problem(dotted(loc), f"unknown key{where}; {meant}")


def _section(loc: Sequence[int | str]) -> type[Section]:
    """Return the model of the table at `loc`."""
    return (section_of(File, str(loc[0])) if loc else None) or File


def section_of(section: type[Section], key: str) -> type[Section] | None:
    """Return the model of the table, or list of tables, that stands under `key`."""
    field = section.model_fields.get(keys_of(section).get(key, ""))
    if field is not None:
        for candidate in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(candidate, type) and issubclass(candidate, Section):
                return candidate
    return None


def _missing(file: File, skip: set[str]) -> list[Problem]:
    """Name the keys that must be there and are not."""
    problems = [
        Problem(name, "is missing", expected=_FIRST[name])
        for name in File.needed
        if name not in skip and keys_of(File)[name] not in file.model_fields_set
    ]
    ends = [name for name in _ENDS if getattr(file, name) is not None or name in skip]
    if not ends:
        problems.append(Problem("plug", "is missing", expected=_FIRST["plug"]))
    elif len(ends) > 1:
        what = "stands beside [plug]: the metal ends are plugs or sleeves, not both"
        problems.append(Problem("sleeve", what, "both", "one of [plug] and [sleeve]"))
    absent = {problem.key for problem in problems} | skip
    for name, attribute in keys_of(File).items():
        value = getattr(file, attribute)
        entries = value if isinstance(value, tuple) else (value,)
        for index, entry in enumerate(entries):
            if not isinstance(entry, Section) or name in absent:
                continue
            loc = (name, index) if name in ARRAYS else (name,)
            if dotted(loc) in skip:
                continue
            for key in entry.needed:
                there = keys_of(type(entry))[key] in entry.model_fields_set
                if not there and dotted((*loc, key)) not in skip:
                    problems.append(Problem(dotted((*loc, key)), "is missing"))
    return problems


_FIRST = {
    "schema": "schema = 1 at the top",
    "rods": "a table [rods] with at least the length",
    "tube": "a table [tube] with at least material and outer_diameter",
    "plug": "a table [plug] or [sleeve] with at least material and overlap",
    "adhesive": "a table [adhesive] with at least its class",
}


def _take_out(raw: Any, loc: Sequence[int | str]) -> None:
    """Remove the faulty entry; a list keeps its length so that indices stay true."""
    *path, last = loc
    for part in path:
        try:
            raw = raw[part]
        except (KeyError, IndexError, TypeError):
            return
    if isinstance(raw, dict):
        raw.pop(last, None)
    elif isinstance(raw, list) and isinstance(last, int):
        raw[last] = {}


def shown(raw: object) -> str:
    """Return a value in a message's few words."""
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    if isinstance(raw, bool):
        return str(raw).lower()
    return f'"{raw}"' if isinstance(raw, str) else str(raw)
