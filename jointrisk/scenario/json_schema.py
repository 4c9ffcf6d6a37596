"""The JSON Schema of a scenario file, made from its shape."""

from __future__ import annotations

import json
import re
from typing import Any

from jointrisk.scenario.shape import File, Section

__all__ = ["json_schema"]

_WAYS = {
    "LoadTable": (
        ["kind", "size"],
        ["kind", "moment", "near_end", "far_end", "pivot"],
        ["recipe"],
    ),
    "PartTable": (["pull"], ["push"]),
    "BackupTable": (["shear_strength"], ["material"]),
}
"""Tables of which the file says one of these sets of keys."""


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario, kept to what draft 4 knows."""
    document = File.model_json_schema(by_alias=True, ref_template="#/definitions/{model}")
    definitions = document.pop("$defs")
    sections: list[type[Section]] = Section.__subclasses__()
    for section in sections:
        shape = document if section is File else definitions.get(section.__name__)
        if shape is not None and section.needed:
            shape["required"] = list(section.needed)
    for name, ways in _WAYS.items():
        definitions[name]["anyOf"] = [{"required": keys} for keys in ways]
    document["oneOf"] = [{"required": ["plug"]}, {"required": ["sleeve"]}]
    document["properties"]["options"] = _options_json(document, definitions)
    top = {"$schema": "http://json-schema.org/draft-04/schema#", **document}
    return _plainer({**top, "definitions": definitions})  # type: ignore[no-any-return]


def _options_json(document: dict[str, Any], definitions: dict[str, Any]) -> dict[str, Any]:
    """Return what `options` may hold, and add tables in which nothing must be there."""
    whole = dict(document["properties"])
    text = json.dumps({"properties": whole, "definitions": definitions})
    loose = json.loads(re.sub(r'(#/definitions/\w+)"', r'\1Change"', text))
    for name, shape in loose["definitions"].items():
        bare = {k: v for k, v in shape.items() if k not in ("required", "anyOf")}
        definitions[f"{name}Change"] = bare
    changes = {
        name: whole[name] if shape.get("type") == "array" else shape
        for name, shape in loose["properties"].items()
        if name not in ("schema", "seed", "options")
    }
    by_name = {"$ref": "#/definitions/LoadTableChange"}
    mapping = {"type": "object", "additionalProperties": by_name}
    changes["load"] = {"anyOf": [changes["load"], mapping]}
    changes["without"] = {"type": "array", "items": {"type": "string"}}
    option = {"type": "object", "additionalProperties": False, "properties": changes}
    definitions["Option"] = option
    return {"type": "object", "additionalProperties": {"$ref": "#/definitions/Option"}}


def _plainer(node: Any) -> Any:
    """Drop what TOML or draft 4 does not know: null, defaults, made-up titles."""
    if isinstance(node, list):
        return [_plainer(item) for item in node if item != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    kept = {k: _plainer(v) for k, v in node.items() if k != "default"}
    if isinstance(kept.get("title"), str):
        del kept["title"]
    if list(kept) == ["anyOf"] and len(kept["anyOf"]) == 1:
        return kept["anyOf"][0]
    return kept
