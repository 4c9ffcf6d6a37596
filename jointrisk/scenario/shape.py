"""The shape of a scenario file, declared with pydantic.

Only shape, words and units are checked here: which keys there are, and that each value can be
read. What values mean together is checked in `resolve` and `checks`. No wording of pydantic
reaches a user; `problems` translates.
"""

from __future__ import annotations

import json
import re
from typing import Annotated, Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field

from jointrisk.scenario import tables
from jointrisk.scenario.values import (
    AdhesiveClass,
    Count,
    Curve,
    Flag,
    Force,
    Length,
    Material,
    Number,
    OneExpansion,
    OneForce,
    OneLength,
    OneRate,
    OneRatio,
    OneStress,
    OneTemperature,
    OneTime,
    Ratio,
    Seed,
    Stress,
    Surface,
    Temperature,
    Text,
    Toughness,
    TwoNames,
    Version,
    one_of,
)

__all__ = ["File", "Section", "json_schema"]

# The file ------------------------------------------------------------------------------------


class Section(BaseModel):
    """A table of the file. Keys of `needed` must be there; the others have defaults."""

    model_config = ConfigDict(extra="forbid", frozen=True, protected_namespaces=())
    needed: ClassVar[tuple[str, ...]] = ()


class Life(Section):
    """How long a rod serves."""

    duration: OneTime = None


class TargetTable(Section):
    """The failure probability that is to be met."""

    probability: Number = None
    index: Number = None
    failure_would_be: Annotated[str | None, *one_of(*tables.targets())] = None
    period: Annotated[str | None, *one_of("life", "year")] = None
    scope: Annotated[str | None, *one_of("set", "rod")] = None


class Rods(Section):
    """The set of like rods, each with two bonded ends."""

    needed = ("length",)
    count: Count = None
    length: OneLength = None
    end_fixity: Number = None
    bow: Ratio = None
    load_offset: Length = None
    shoulder: Flag = None


class Tube(Section):
    """The tube."""

    needed = ("material", "outer_diameter")
    material: Material = None
    outer_diameter: OneLength = None
    bore: Length = None
    modulus: Stress = None
    tension_strength: Stress = None
    compression_strength: Stress = None
    interlaminar_strength: Stress = None
    interlaminar_toughness: Toughness = None
    shear_modulus: OneStress = None
    expansion: OneExpansion = None
    strength_by_temperature: Curve = None


class Plug(Section):
    """The metal end that is glued into the tube."""

    needed = ("material", "overlap")
    material: Material = None
    diameter: Length = None
    radial_gap: Length = None
    overlap: Length = None
    glued_share: Ratio = None
    off_centre: Ratio = None
    bore: OneLength = None
    strength: Stress = None
    modulus: OneStress = None
    expansion: OneExpansion = None


class SecondPlug(Section):
    """What differs in the plug of the second end; all else is as at the first."""

    material: Material = None
    diameter: Length = None
    overlap: Length = None
    glued_share: Ratio = None
    off_centre: Ratio = None
    bore: OneLength = None
    strength: Stress = None
    modulus: OneStress = None
    expansion: OneExpansion = None


class ThreadTable(Section):
    """The thread in the plug."""

    needed = ("size",)
    size: Text = None
    engagement: Length = None


class SecondThread(Section):
    """What differs in the thread of the second end."""

    size: Text = None
    engagement: Length = None


class AdhesiveTable(Section):
    """The adhesive, and how its strength is known."""

    needed = ("class",)
    class_: AdhesiveClass = Field(default=None, alias="class")
    evidence: Annotated[
        str | None, *one_of("class default", "data sheet", "own coupons", "own pulls")
    ] = None
    evidence_surface: Annotated[str | None, *one_of(*tables.preparations())] = None
    shear_strength: Stress = None
    shear_modulus: Stress = None
    toughness: Toughness = None
    failure_strain: Ratio = None
    cure_temperature: OneTemperature = None
    hard_stop_temperature: OneTemperature = None
    strength_by_temperature: Curve = None


class PreparationTable(Section):
    """How the two surfaces are prepared."""

    plug: Surface = None
    tube: Surface = None
    second_plug: Surface = None
    second_tube: Surface = None


class WeakBonds(Section):
    """Joints that are badly bonded although they look well."""

    lone_weight: Ratio = None
    bad_batch_weight: Ratio = None
    share_in_bad_batch: Ratio = None
    keeps: Ratio = None


class Batch(Section):
    """Rods glued in one go."""

    rods: Count = None
    bond_factor: Ratio = None


class Service(Section):
    """Temperatures at the rig and in service."""

    workshop_temperature: OneTemperature = None
    hottest: Temperature = None
    coldest: Temperature = None


class LoadTable(Section):
    """One service load along the rod, with kind and size or a recipe for them."""

    needed = ("name",)
    name: Text = None
    recipe: Annotated[str | None, *one_of(*tables.recipes())] = None
    arm_ratio: Number = None
    weight: OneForce = None
    kind: Annotated[str | None, *one_of("annual_maximum", "event", "sustained")] = None
    direction: Annotated[str | None, *one_of("pull", "push", "both")] = None
    size: Force = None
    rate: OneRate = None
    scope: Annotated[str | None, *one_of("all", "rod")] = None
    note: Text = None


class Model(Section):
    """How far the models themselves are trusted."""

    bond_factor: Ratio = None
    load_factor: Ratio = None
    gap_factor_exponent: Ratio = None
    toughness_exponent: Ratio = None


class PullTable(Section):
    """A proof pull that is already done."""

    needed = ("load",)
    label: Text = None
    load: OneForce = None


class ProofTable(Section):
    """The rig that pulls finished rods."""

    rig_error: OneRatio = None
    rig_bias: OneRatio = None
    highest: OneForce = None
    most_to_refuse: OneRatio = None


class CorrelationTable(Section):
    """Two quantities that go together."""

    needed = ("between", "value")
    between: TwoNames = None
    value: Number = None


class File(Section):
    """A scenario for jointrisk."""

    needed = ("schema", "rods", "tube", "plug", "adhesive")
    schema_: Version = Field(default=None, alias="schema")
    title: Text = None
    note: Text = None
    seed: Seed = None
    life: Life = Life()
    target: TargetTable | None = None
    rods: Rods = Rods()
    tube: Tube = Tube()
    plug: Plug = Plug()
    thread: ThreadTable | None = None
    second_plug: SecondPlug = SecondPlug()
    second_thread: SecondThread = SecondThread()
    adhesive: AdhesiveTable = AdhesiveTable()
    preparation: PreparationTable = PreparationTable()
    weak_bonds: WeakBonds = WeakBonds()
    batch: Batch = Batch()
    service: Service = Service()
    load: tuple[LoadTable, ...] = ()
    model: Model = Model()
    pull: tuple[PullTable, ...] = ()
    proof: ProofTable = ProofTable()
    correlation: tuple[CorrelationTable, ...] = ()
    options: Any = None  # read by the module of that name


# JSON Schema ---------------------------------------------------------------------------------


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario, kept to what draft 4 knows."""
    document = File.model_json_schema(by_alias=True, ref_template="#/definitions/{model}")
    definitions = document.pop("$defs")
    sections: list[type[Section]] = Section.__subclasses__()
    for section in sections:
        shape = document if section is File else definitions.get(section.__name__)
        if shape is not None and section.needed:
            shape["required"] = list(section.needed)
    ways: list[dict[str, Any]] = [{"required": ["kind", "size"]}, {"required": ["recipe"]}]
    definitions["LoadTable"]["anyOf"] = ways
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
