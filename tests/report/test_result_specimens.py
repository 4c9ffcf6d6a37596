"""How a schema is read off a dataclass and its `to_dict`: each kind of field, each turn."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import pytest

from jointrisk.report.result_schema import schema_of


@dataclass(frozen=True, slots=True)
class Piece:
    """A length of rope [m]."""

    long: float
    """From end to end."""
    colour: Literal["red", "blue"]
    knots: int | None
    """None where nobody counted."""


@dataclass(frozen=True, slots=True)
class Ropes:
    """All ropes of a boat."""

    pieces: tuple[Piece, ...]
    spare: Piece | None
    """The one in the locker."""
    span: tuple[float, float]
    """[m]"""
    marks: tuple[tuple[str, int], ...]
    load: float
    """NaN where it was not measured [N]."""
    by_name: Mapping[str, float]
    run: Mapping[str, Any]
    new: bool | None
    wet: bool

    def to_dict(self):
        def fields(piece):
            return piece and {name: getattr(piece, name) for name in Piece.__dataclass_fields__}

        return {
            "schema_version": 7,
            "pieces": [fields(piece) for piece in self.pieces],
            "longest": max((piece.long for piece in self.pieces), default=0.0) + 1.0,
            "label": f"{len(self.pieces)} of {self.load}",
            "spare": fields(self.spare),
            "span": {"low": self.span[0], "high": self.span[1]},
            "ends": list(self.span),
            "marks": [list(mark) for mark in self.marks],
            "counts": dict(self.marks),
            "load_newton": self.load,
            "by_name": dict(self.by_name),
            "run": dict(self.run),
            "new": "nobody knows" if self.new is None else self.new,
            **({"knots": self.spare.knots} if self.spare else {}),
            **({} if self.wet else {"dry_since": self.load}),
        }


def test_each_kind_of_field_and_each_turn_of_a_document_is_read():
    schema = schema_of(Ropes, "ropes")
    shown = schema["properties"]
    number = {"type": "number"}
    assert schema["description"] == "All ropes of a boat."
    assert shown["schema_version"] == {"const": 7}
    assert shown["pieces"] == {"type": "array", "items": {"$ref": "#/$defs/Piece"}}
    assert shown["longest"]["type"] == "number"
    assert shown["label"] == {"type": "string"}
    assert shown["spare"] == {
        "description": "The one in the locker.",
        "anyOf": [{"$ref": "#/$defs/Piece"}, {"type": "null"}],
    }
    assert shown["span"]["required"] == ["low", "high"]
    assert shown["ends"] == {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
    assert shown["marks"]["items"]["prefixItems"] == [{"type": "string"}, {"type": "integer"}]
    assert shown["counts"] == {"type": "object", "additionalProperties": {"type": "integer"}}
    assert shown["load_newton"] == {"type": ["number", "null"]}
    assert shown["by_name"] == {"type": "object", "additionalProperties": number}
    assert shown["run"] == {"type": "object"}
    assert shown["new"] == {"anyOf": [{"type": "boolean"}, {"const": "nobody knows"}]}
    assert set(shown) - set(schema["required"]) == {"knots", "dry_since"}
    assert schema["$defs"]["Piece"] == {
        "description": "A length of rope [m].",
        "type": "object",
        "properties": {
            "long": {"description": "From end to end. [m]", "type": "number"},
            "colour": {"enum": ["red", "blue"]},
            "knots": {"description": "null where nobody counted.", "type": ["integer", "null"]},
        },
        "required": ["long", "colour", "knots"],
        "additionalProperties": False,
    }


def test_a_number_that_may_be_untold_says_so():
    shown = schema_of(Rope, "rope")["properties"]
    assert shown["load"] == {
        "description": "null where it was not measured [N].",
        "type": ["number", "null"],
    }


@dataclass(frozen=True, slots=True)
class Rope:
    """One rope."""

    load: float
    """NaN where it was not measured [N]."""
    kept: tuple[str, ...] = ()

    def to_dict(self):
        return {"load": self.load}


class Bare(Rope):
    """A rope of which the document never shows what is kept."""

    def to_dict(self):
        return {"kept": [word for word in self.kept if word == "a rope"]}


def test_a_list_that_no_specimen_fills_is_named_rather_than_left_open():
    with pytest.raises(TypeError, match="a list of the document is empty in every specimen"):
        schema_of(Bare, "bare")


@dataclass(frozen=True, slots=True)
class Odd:
    """A result with a field of which no document is known."""

    rest: frozenset[str]

    def to_dict(self):
        return {"rest": sorted(self.rest)}


def test_a_type_that_no_document_is_known_of_is_named():
    with pytest.raises(TypeError, match=r"Odd\.rest: no JSON Schema is known"):
        schema_of(Odd, "odd")
