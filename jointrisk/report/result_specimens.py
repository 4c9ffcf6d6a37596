"""Results made of markers: put through their own `to_dict`, they show where each field goes.

A marker is a number or a word like any other and remembers the fields that lead to it. No two are
alike, so what a document works out from them is told apart from what it always says.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, is_dataclass
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Any, Literal, Union, get_args, get_origin

if TYPE_CHECKING:
    from collections.abc import Iterator

    from jointrisk.report.result_fields import Field, Kind


class Mark:
    """What all markers are."""

    way: tuple[Field, ...]
    """Fields from the result down to it."""
    allowed: dict[str, Any]
    """JSON Schema of what may stand in its place."""

    def __deepcopy__(self, memo: object) -> Mark:
        """Return itself."""
        return self


class Number(Mark, float):
    """A number."""


class Whole(Mark, int):
    """A whole number."""


class Word(Mark, str):
    """A text."""


class Other(Mark):
    """True or false, or anything at all."""

    def __init__(self, truth: bool) -> None:
        self.truth = truth

    def __bool__(self) -> bool:
        """Return what it counts as where the document asks."""
        return self.truth


def alike(word: Word, other: str) -> Word:
    """Return a word of the same field that says what another does.

    Parameters
    ----------
    word : Word
    other : str
    """
    made = Word(other)
    made.way, made.allowed = word.way, word.allowed
    return made


@dataclass(frozen=True, slots=True)
class Case:
    """Which of the forms that a result may have is made."""

    entries: int = 2
    """Of every tuple of any length and of every mapping."""
    no_parts: bool = False
    """Whether every part that may be missing is."""
    no_values: bool = False
    """The same for single values, such as numbers."""
    without: tuple[type, str] | None = None
    """A field that alone is missing: its class and name."""
    choice: int = 0
    """Which type is taken of several."""
    truth: bool = True
    """What each true or false counts as."""


_FORMS = (
    *(Case(entries=count, choice=choice) for count in (2, 1, 0) for choice in range(3)),
    *(
        Case(truth=False),
        Case(no_parts=True),
        Case(no_values=True),
        Case(no_parts=True, no_values=True),
    ),
)


def cases(kinds: Mapping[type, Kind]) -> Iterator[Case]:
    """Give the cases that show each form of a result: all there, nothing there, one missing.

    One is missed beside all other values and beside none: what a document says of a value may hang
    on a part that is elsewhere.
    """
    yield from _FORMS
    for kind in kinds.values():
        for field in kind.fields:
            if NoneType in get_args(field.hint):
                for bare in (False, True):
                    yield Case(no_values=bare, without=(field.owner, field.name))


class Maker:
    """Makes the specimens of a result, one a case."""

    def __init__(self, kinds: Mapping[type, Kind]) -> None:
        self.kinds = kinds
        self._count = itertools.count(1)

    def make(self, kind: type, case: Case, way: tuple[Field, ...] = ()) -> Any:
        """Return one specimen.

        Parameters
        ----------
        kind : type
            The dataclass.
        case : Case
        way : tuple of Field
            Fields that lead to it.

        Raises
        ------
        TypeError
            When a field has a type of which no document is known.
        """
        fields = self.kinds[kind].fields
        return kind(**{f.name: self._value(f.hint, case, (*way, f)) for f in fields})

    def _value(self, hint: Any, case: Case, way: tuple[Field, ...]) -> Any:
        origin, parts = get_origin(hint), get_args(hint)
        if origin in (Union, UnionType):
            return self._of_union(parts, case, way)
        if is_dataclass(hint) and isinstance(hint, type):
            return self.make(hint, case, way)
        if origin is tuple:
            many = len(parts) == 2 and parts[1] is Ellipsis
            types = parts[:1] * case.entries if many else parts
            return tuple(self._value(part, case, way) for part in types)
        if origin in (dict, Mapping):
            return {
                self._value(parts[0], case, way): self._value(parts[1], case, way)
                for _ in range(case.entries)
            }
        return self._mark(hint, case, way)

    def _of_union(self, parts: tuple[Any, ...], case: Case, way: tuple[Field, ...]) -> Any:
        types = [part for part in parts if part is not NoneType]
        taken = types[case.choice % len(types)]
        if NoneType in parts:
            whole = is_dataclass(taken) or get_origin(taken) in (tuple, dict, Mapping)
            missing = case.no_parts if whole else case.no_values
            if missing or case.without == (way[-1].owner, way[-1].name):
                return None
        return self._value(taken, case, way)

    def _mark(self, hint: Any, case: Case, way: tuple[Field, ...]) -> Mark:
        count = next(self._count)
        mark: Mark
        allowed: dict[str, Any]
        if get_origin(hint) is Literal:
            mark, allowed = Word(f"word {count}"), {"enum": list(get_args(hint))}
        elif hint is str:
            mark, allowed = Word(f"word {count}"), {"type": "string"}
        elif hint is float:
            mark, allowed = Number(1.0 + count / 4096.0), {"type": _number(way)}
        elif hint is int:
            mark, allowed = Whole(1_000_000 + count), {"type": "integer"}
        elif hint is bool:
            mark, allowed = Other(case.truth), {"type": "boolean"}
        elif hint is Any:
            mark, allowed = Other(case.truth), {}
        else:
            place = f"{way[-1].owner.__name__}.{way[-1].name}"
            raise TypeError(f"{place}: no JSON Schema is known for the type {hint}")
        mark.way, mark.allowed = way, allowed
        return mark


def _number(way: tuple[Field, ...]) -> Any:
    return ["number", "null"] if any(field.untold for field in way) else "number"
