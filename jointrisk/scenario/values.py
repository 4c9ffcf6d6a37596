"""The kinds of values that a scenario file holds: how each is read, and its JSON Schema.

Every reader raises InputError with our own words; pydantic hands them on.
"""

from __future__ import annotations

import itertools
import re
from functools import partial
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from jointrisk import units
from jointrisk.errors import InputError, nearest
from jointrisk.scenario import given, tables
from jointrisk.scenario.given import Given
from jointrisk.scenario.types import Money

VERSION = 1
MONEY = "12.50 EUR"
FEW = 3
"""Words that are listed even beside the nearest one [-]."""
_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)\s*([^\W\d_]{1,12}|[$€£¥])")

# Readers -----------------------------------------------------------------------------------


def _text(raw: object) -> str:
    if not isinstance(raw, str):
        raise InputError(f"takes a text in quotes (got {_shown(raw)})")
    if not raw.strip():
        raise InputError("is empty")
    return raw.strip()


def _version(raw: object) -> int:
    if isinstance(raw, bool) or raw != VERSION:
        raise InputError(f"is a form this program does not read (got {_shown(raw)}; expected 1)")
    return VERSION


def _flag(raw: object) -> bool:
    if not isinstance(raw, bool):
        raise InputError(f"takes true or false (got {_shown(raw)})")
    return raw


def _whole(raw: object, least: int) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or raw < least:
        raise InputError(f"takes a whole number (got {_shown(raw)}; expected {least} or more)")
    return raw


def _number(raw: object) -> float:
    return units.parse(raw, "ratio")  # type: ignore[arg-type]  # refuses other types itself


def _choice(raw: object, names: tuple[str, ...]) -> str:
    if isinstance(raw, str) and raw in names:
        return raw
    close = nearest(raw, names) if isinstance(raw, str) else None
    listed = ", ".join(f'"{name}"' for name in names)
    words = [f"expected one of {listed}"] if close is None or len(names) <= FEW else []
    rest = "; ".join([*words, *([f'did you mean "{close}"?'] if close else [])])
    raise InputError(f"is not known (got {_shown(raw)}; {rest})")


def _preparation(raw: object) -> str | Given:
    """Return the name of a preparation, or its strength ratio as a spread."""
    if isinstance(raw, str) and not raw.strip()[:1].isdigit():
        return _choice(raw, tuple(tables.preparations()))
    return given.read_given(raw, "ratio")


def _points(raw: object) -> tables.Points:
    """Return a curve over temperature, rising in degC."""
    if not isinstance(raw, list) or len(raw) < 2:
        raise InputError(
            f'takes two points or more (got {_shown(raw)}; expected [["23 degC", 1.0], …])'
        )
    points = []
    for row in raw:
        if not isinstance(row, list) or len(row) != 2:
            raise InputError(f'has a bad point (got {_shown(row)}; expected ["23 degC", 1.0])')
        factor = units.parse(row[1], "ratio")
        if not 0 <= factor <= 10:
            raise InputError(f"has a factor out of range (got {factor:g}; expected 0 to 10)")
        points.append((units.parse(row[0], "temperature"), factor))
    for (before, _), (after, _) in itertools.pairwise(points):
        if not before < after:
            raise InputError(f"does not rise in degC (got {before:g} degC, then {after:g} degC)")
    return tuple(points)


def _money(raw: object) -> Money:
    """Return an amount with the word for its currency."""
    found = _AMOUNT.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if found is None:
        what = f'expected a number and the word of a currency, such as "{MONEY}"'
        raise InputError(f"is not an amount of money (got {_shown(raw)}; {what})")
    return Money(float(found[1]), found[2])


def _force_or_moment(raw: object) -> Given:
    """Return a force or a moment; what is neither is refused as a force."""
    try:
        return given.read_given(raw, "moment")
    except InputError:
        return given.read_given(raw, "force")


def _place(raw: object) -> tuple[float, ...]:
    """Return the coordinates of a point [mm]."""
    if not isinstance(raw, list) or len(raw) not in (2, 3):
        raise InputError(
            f'takes two lengths, or three in space (got {_shown(raw)}; expected ["20 mm", "5 mm"])'
        )
    return tuple(units.parse(item, "length") for item in raw)


def _direction(raw: object) -> tuple[float, ...]:
    if not isinstance(raw, list) or len(raw) != 3:
        raise InputError(f"takes three numbers (got {_shown(raw)}; expected [0, 0, 1])")
    return tuple(units.parse(item, "ratio") for item in raw)


def _two_names(raw: object) -> tuple[str, str]:
    if isinstance(raw, list) and len(raw) == 2 and all(isinstance(r, str) for r in raw):
        return raw[0], raw[1]
    raise InputError(f'takes two keys (got {_shown(raw)}; expected ["plug.overlap", "tube.bore"])')


def _shown(raw: object) -> str:
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, bool):
        return str(raw).lower()
    return f'"{raw}"' if isinstance(raw, str) else str(raw)


# What each kind of value looks like to an editor -----------------------------------------------


def _plain_json(dimension: str) -> dict[str, Any]:
    kinds = ["string", "number"] if dimension == "ratio" else ["string"]
    text = f'{dimension}, such as "{units.example(dimension)}"'
    return {"type": kinds if len(kinds) > 1 else kinds[0], "description": text}


def _spread_json(dimension: str) -> dict[str, Any]:
    plain = _plain_json(dimension)
    value = {"type": plain["type"]}
    pair = {"type": "array", "items": value, "minItems": 2, "maxItems": 2}
    names = ("value", "mean", "sd", "median", "p05", "p95", "most_likely")
    table: dict[str, Any] = {
        **dict.fromkeys(names, value),
        "cov": {"type": ["string", "number"]},
        "never_outside": pair,
        "truncated": pair,
        "dist": {"enum": list(given.FAMILIES)},
        "scope": {"enum": list(given.SCOPES)},
        "kind": {"enum": list(given.KINDS)},
        "source": {"type": "string"},
    }
    shape = {"type": "object", "properties": table, "additionalProperties": False}
    return {"anyOf": [value, shape], "description": plain["description"]}


def _one(dimension: str) -> tuple[PlainValidator, WithJsonSchema]:
    reader = partial(given.read_plain, dimension=dimension)
    return PlainValidator(reader), WithJsonSchema(_plain_json(dimension))


def _any(dimension: str) -> tuple[PlainValidator, WithJsonSchema]:
    reader = partial(given.read_given, dimension=dimension)
    return PlainValidator(reader), WithJsonSchema(_spread_json(dimension))


def one_of(*names: str) -> tuple[PlainValidator, WithJsonSchema]:
    """Return what reads one of `names` as a value."""
    return PlainValidator(partial(_choice, names=names)), WithJsonSchema({"enum": list(names)})


def _least(least: int) -> tuple[PlainValidator, WithJsonSchema]:
    shape = {"type": "integer", "minimum": least}
    return PlainValidator(partial(_whole, least=least)), WithJsonSchema(shape)


_POINTS_JSON = {
    "type": "array",
    "minItems": 2,
    "items": {"type": "array", "minItems": 2, "maxItems": 2},
}
_NAMES_JSON = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}
_PLACE_JSON = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 3}
_DIRECTION_JSON = {
    "type": "array",
    "items": {"type": ["string", "number"]},
    "minItems": 3,
    "maxItems": 3,
}
_PREPARATION_JSON = {
    "anyOf": [
        {"enum": list(tables.preparations())},
        {"type": "string", "pattern": "^[0-9]"},
        {"type": "number"},
        _spread_json("ratio")["anyOf"][1],
    ],
    "description": "a preparation by name, or a strength ratio",
}

Version = Annotated[int | None, PlainValidator(_version), WithJsonSchema({"enum": [VERSION]})]
Text = Annotated[str | None, PlainValidator(_text), WithJsonSchema({"type": "string"})]
Flag = Annotated[bool | None, PlainValidator(_flag), WithJsonSchema({"type": "boolean"})]
Count = Annotated[int | None, *_least(1)]
Seed = Annotated[int | None, *_least(0)]
Number = Annotated[float | None, PlainValidator(_number), WithJsonSchema(_plain_json("ratio"))]
Surface = Annotated[
    str | Given | None, PlainValidator(_preparation), WithJsonSchema(_PREPARATION_JSON)
]
Curve = Annotated[tables.Points | None, PlainValidator(_points), WithJsonSchema(_POINTS_JSON)]
TwoNames = Annotated[
    tuple[str, str] | None, PlainValidator(_two_names), WithJsonSchema(_NAMES_JSON)
]
Material = Annotated[str | None, *one_of(*tables.materials())]
AdhesiveClass = Annotated[str | None, *one_of(*tables.adhesives())]
OneLength = Annotated[Given | None, *_one("length")]
OneForce = Annotated[Given | None, *_one("force")]
OneStress = Annotated[Given | None, *_one("stress")]
OneExpansion = Annotated[Given | None, *_one("expansion")]
OneTemperature = Annotated[Given | None, *_one("temperature")]
OneTime = Annotated[Given | None, *_one("time")]
OneRate = Annotated[Given | None, *_one("rate")]
OneRatio = Annotated[Given | None, *_one("ratio")]
OneMass = Annotated[Given | None, *_one("mass")]
OneCost = Annotated[
    Money | None,
    PlainValidator(_money),
    WithJsonSchema({"type": "string", "description": f'money, such as "{MONEY}"'}),
]
Length = Annotated[Given | None, *_any("length")]
Force = Annotated[Given | None, *_any("force")]
Moment = Annotated[Given | None, *_any("moment")]
ForceOrMoment = Annotated[
    Given | None, PlainValidator(_force_or_moment), WithJsonSchema(_spread_json("force"))
]
Angle = Annotated[Given | None, *_any("angle")]
Place = Annotated[tuple[float, ...] | None, PlainValidator(_place), WithJsonSchema(_PLACE_JSON)]
Direction = Annotated[
    tuple[float, ...] | None, PlainValidator(_direction), WithJsonSchema(_DIRECTION_JSON)
]
Stress = Annotated[Given | None, *_any("stress")]
Toughness = Annotated[Given | None, *_any("toughness")]
Time = Annotated[Given | None, *_any("time")]
Temperature = Annotated[Given | None, *_any("temperature")]
Ratio = Annotated[Given | None, *_any("ratio")]
