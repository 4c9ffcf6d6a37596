"""The JSON Schema of a result's document, read off the result's own dataclasses and `to_dict`.

No key of a document is typed here. Specimens of the result, each field a marker, go through its
`to_dict`; what comes out, over every form that a result may have, is the schema. What a `to_dict`
would do only for one word or number in place of another is not seen: documents of real results are
held against it in the tests.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from importlib import import_module
from typing import TYPE_CHECKING, Any

from jointrisk.errors import InputError, nearest
from jointrisk.report.result_fields import kinds_of
from jointrisk.report.result_specimens import Maker, Mark, alike, cases

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jointrisk.report.result_fields import Field, Kind

DIALECT = "https://json-schema.org/draft/2020-12/schema"
RESULTS = {
    "assess": ("study.results", "Assessment"),
    "proof": ("study.proof_results", "Proof"),
    "rank": ("study.rank_results", "Ranking"),
    "compare": ("study.compare_results", "Comparison"),
    "sweep": ("study.sweep_results", "Sweep"),
    "rating": ("study.rating_results", "Rating"),
    "fit": ("study.fit_results", "CouponFit"),
    "learn": ("study.learn_results", "Learnt"),
    "plan": ("study.plan_results", "TestPlan"),
    "single-lap": ("study.coupon", "SingleLap"),
}
"""Module and class of what each command's document is made from."""
_JSON_WORDS = {"None": "null", "NaN": "null", "True": "true", "False": "false"}
UNTOLD_WORDS = "a number is null where it cannot be told or has no limit"
"""What is said of a number that may be NaN or infinite."""


def result_schema(what: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the document of a command.

    Parameters
    ----------
    what : str
        The command, one of `RESULTS`.

    Returns
    -------
    dict
        The schema, as plain data.

    Raises
    ------
    InputError
        When there is no such document.
    """
    if what not in RESULTS:
        close = nearest(what, list(RESULTS))
        guess = f"; did you mean {close!r}?" if close else ""
        raise InputError(f"got {what!r}; expected one of: {', '.join(RESULTS)}{guess}")
    module, name = RESULTS[what]
    return schema_of(getattr(import_module(f"jointrisk.{module}"), name), what)


def schema_of(root: type, what: str) -> dict[str, Any]:
    """Return the JSON Schema of what the `to_dict` of a result dataclass returns.

    Parameters
    ----------
    root : type
        The dataclass.
    what : str
        The command it belongs to, for the title.
    """
    kinds = kinds_of(root)
    maker = Maker(kinds)
    documents = [_matched(maker.make(root, case)).to_dict() for case in cases(kinds)]
    reader = _Reader(kinds)
    whole = reader.whole(documents)
    return {
        "$schema": DIALECT,
        "title": f"Document of jointrisk {what} --json",
        "description": _as_json(kinds[root].text),
        **whole,
        "$defs": reader.named(),
    }


def _matched(made: Any) -> Any:
    """Give the pairs of a comparison the names of its options, by which it looks them up."""
    if type(made).__name__ != "Comparison" or not made.options:
        return made
    first, *others = (option.name for option in made.options)
    named = [
        replace(pair, option=alike(pair.option, name), other=alike(pair.other, first))
        for pair, name in zip(made.pairs, others, strict=False)
    ]
    pairs = (*named, *made.pairs[len(named) :])
    return replace(made, baseline=alike(made.baseline, first), pairs=pairs)


class _Reader:
    """Reads a schema off what stands in one place of several documents."""

    def __init__(self, kinds: Mapping[type, Kind]) -> None:
        self.kinds = kinds
        self._shared: dict[str, tuple[str, dict[str, Any]]] = {}

    def named(self) -> dict[str, Any]:
        """Return the schemas that stand under a name, in order."""
        return dict(sorted(self._shared.values()))

    def whole(self, documents: Sequence[dict[str, Any]]) -> dict[str, Any]:
        """Return the schema of documents."""
        return self._table(documents, (), None)

    def of(
        self, found: Sequence[Any], above: tuple[Field, ...], *, entry: bool = False
    ) -> dict[str, Any]:
        """Return the schema of one place; `above` is the way to what it stands in.

        An `entry` is one of many in a list or a mapping that the last field of `above` holds.
        """
        way = _common(found)
        forms = []
        tables = [value for value in found if isinstance(value, dict)]
        lists = [value for value in found if isinstance(value, list)]
        inside = way if len(way) > len(above) else above
        if tables:
            owner = _owner(tables, way) if entry or way == inside != above else None
            forms.append(self._table(tables, inside, owner))
        if lists:
            forms.append(self._list(lists, inside))
        forms += self._single([v for v in found if not isinstance(v, dict | list)])
        made = _either(forms)
        said = self._said(way, own=not _adds(forms)) if len(way) > len(above) else ""
        return {"description": said, **made} if said else made

    def _single(self, found: Sequence[Any]) -> list[dict[str, Any]]:
        """Return schemas of numbers, words and null."""
        forms: dict[str, dict[str, Any]] = {}
        for value in found:
            form = value.allowed if isinstance(value, Mark) else _fixed(value)
            forms.setdefault(json.dumps(form), form)
        fixed: dict[str, list[dict[str, Any]]] = {}
        for form in forms.values():
            if "const" in form:
                fixed.setdefault(_type(form["const"]), []).append(form)
        for name, several in fixed.items():
            plain = {"type": name}
            if len(several) > 1 or plain in forms.values():
                forms = {k: v for k, v in forms.items() if v not in several}
                forms.setdefault(json.dumps(plain), plain)
        return list(forms.values())

    def _list(self, found: Sequence[list[Any]], above: tuple[Field, ...]) -> dict[str, Any]:
        lengths = {len(value) for value in found}
        if len(lengths) > 1:
            return {
                "type": "array",
                "items": self.of([part for value in found for part in value], above, entry=True),
            }
        if lengths == {0}:
            place = ".".join(field.name for field in above)
            raise TypeError(f"a list of the document is empty in every specimen (near {place!r})")
        columns = [self.of(column, above, entry=True) for column in zip(*found, strict=True)]
        length = {"minItems": len(columns), "maxItems": len(columns)}
        if all(column == columns[0] for column in columns):
            return {"type": "array", "items": columns[0], **length}
        return {"type": "array", "prefixItems": columns, "items": False, **length}

    def _table(
        self, found: Sequence[dict[str, Any]], inside: tuple[Field, ...], owner: type | None
    ) -> dict[str, Any]:
        keys = list(dict.fromkeys(key for value in found for key in value))
        free = [key for key in keys if isinstance(key, Mark)]
        if free or not keys:
            entries = [value[key] for value in found for key in value]
            inner = self.of(entries, inside, entry=True)
            return {"type": "object", **({"additionalProperties": inner} if inner else {})}
        made = {
            "type": "object",
            "properties": self._columns({k: [v[k] for v in found if k in v] for k in keys}, inside),
            "required": [key for key in keys if all(key in value for value in found)],
            "additionalProperties": False,
        }
        return self._under_name(made, owner, inside)

    def _columns(
        self, columns: Mapping[str, list[Any]], inside: tuple[Field, ...]
    ) -> dict[str, Any]:
        """Return the schema of each key; a field shown under two keys is told of under its own."""
        ways = {key: _common(found) for key, found in columns.items()}
        shown = list(ways.values())
        made = {}
        for key, found in columns.items():
            way = ways[key]
            again = len(way) > len(inside) and shown.count(way) > 1 and way[-1].name != key
            made[key] = self.of(found, way if again else inside)
        return made

    def _under_name(
        self, made: dict[str, Any], owner: type | None, inside: tuple[Field, ...]
    ) -> dict[str, Any]:
        """Put a table of a dataclass under its name, and return where it stands."""
        if owner is None:
            return made
        made = {"description": _as_json(self.kinds[owner].text), **made}
        key = json.dumps(made)
        if key not in self._shared:
            taken = {name for name, _ in self._shared.values()}
            untold = any(field.untold for field in inside)
            base = owner.__name__.rstrip("_") + ("OrNull" if untold else "")
            free = (f"{base}{n}" if n > 1 else base for n in range(1, len(taken) + 2))
            self._shared[key] = (next(name for name in free if name not in taken), made)
        return {"$ref": f"#/$defs/{self._shared[key][0]}"}

    def _said(self, way: tuple[Field, ...], *, own: bool) -> str:
        """Return what is told of the field at the end of a way, with its unit.

        What it says of None is left out where the document has words of its own for that.
        """
        field = way[-1]
        text = field.text if own else re.sub(r"\W*\bNone\b.*", "", field.text)
        text = _as_json(text)
        unit = self.kinds[field.owner].unit if field.hint in (float, float | None) else ""
        text = text if "[" in text else f"{text} {unit}".strip()
        if not field.untold or "NaN" in field.text:
            return text
        return f"{text.rstrip('.')}; {UNTOLD_WORDS}".lstrip("; ")


def _as_json(text: str) -> str:
    for python, word in _JSON_WORDS.items():
        text = re.sub(rf"\b{python}\b", word, text)
    return text


def _marks(found: Any) -> list[Mark]:
    if isinstance(found, Mark):
        return [found]
    if isinstance(found, dict):
        return [mark for value in (*found, *found.values()) for mark in _marks(value)]
    return [m for value in found for m in _marks(value)] if isinstance(found, list) else []


def _common(found: Sequence[Any]) -> tuple[Field, ...]:
    """Return the fields that all markers have come through."""
    ways = [mark.way for mark in _marks(list(found))]
    common = []
    for steps in zip(*ways, strict=False):
        if any(step is not steps[0] for step in steps):
            break
        common.append(steps[0])
    return tuple(common)


def _owner(found: Sequence[Any], way: tuple[Field, ...]) -> type | None:
    """Return the dataclass of which all that stands here is, None where there is no one such."""
    owners = {mark.way[len(way)].owner for mark in _marks(list(found)) if len(mark.way) > len(way)}
    return owners.pop() if len(owners) == 1 else None


def _fixed(value: Any) -> dict[str, Any]:
    if value is None or isinstance(value, bool):
        return {"type": "null" if value is None else "boolean"}
    return {"const": value}


def _adds(forms: Sequence[dict[str, Any]]) -> bool:
    """Tell whether a document says a word in place of a value that a field has."""
    return len(forms) > 1 and any("const" in form for form in forms)


def _type(value: Any) -> str:
    names = {int: "integer", float: "number", str: "string"}
    return names[type(value)]


def _either(forms: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return one schema for what may have several forms; null is taken into a form's own type."""
    null = {"type": "null"}
    kept = [form for form in forms if form != null]
    if len(kept) == len(forms) or not kept:
        return kept[0] if len(kept) == 1 else {"anyOf": kept} if kept else dict(null)
    if len(kept) == 1 and set(kept[0]) == {"type"}:
        types = kept[0]["type"]
        both = types if isinstance(types, list) else [types]
        return {"type": [*both, *(["null"] if "null" not in both else [])]}
    if len(kept) == 1 and set(kept[0]) == {"enum"}:
        return {"enum": [*kept[0]["enum"], None]}
    return kept[0] if kept == [{}] else {"anyOf": [*kept, null]}
