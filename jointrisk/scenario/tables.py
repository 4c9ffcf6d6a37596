"""The default tables, read from package data; every cell knows its source and its mark."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from jointrisk import units
from jointrisk.scenario.given import Given, read_given

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "CONFIDENCE",
    "UNKNOWN_CLASS",
    "Adhesive",
    "Cell",
    "Default",
    "Material",
    "Points",
    "Preparation",
    "Recipe",
    "RigRow",
    "RodEndUse",
    "TargetRow",
    "adhesives",
    "default",
    "defaults",
    "materials",
    "preparations",
    "read_table",
    "recipes",
    "rigs",
    "rod_end_uses",
    "targets",
]

CONFIDENCE = MappingProxyType(
    {
        "C": "read in the source",
        "C2": "as quoted",
        "A": "abstract only",
        "D": "arithmetic",
        "M": "from memory",
        "J": "judgement, no source",
    }
)
UNKNOWN_CLASS = "don't know"
Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One default number with its range; entries that a row does not need are None."""

    typical: float | None
    low: float | None
    high: float | None
    cov: float | None
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Adhesive:
    """One class of adhesive."""

    shear_strength: Cell
    shear_modulus: Cell
    toughness: Cell
    glass_transition: float
    """[degC]"""
    strength_at_60: float
    """Strength at 60 degC over that at 23 degC [-]."""
    cure_temperature: float
    """[degC]"""
    brittle: bool | None
    """Whether a lap coupon of it breaks from its ends, by peel; None where nobody can know."""
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Material:
    """Stuff of a tube or plug; `cells` by the key it has in a scenario, without the table."""

    composite: bool
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Preparation:
    """Strength of a prepared surface over the best of the table, and its own scatter."""

    ratio: float
    cov: float
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class TargetRow:
    """What a failure would do, and the yearly target a code gives for it."""

    consequence: str
    index: float
    probability: float
    source: str


@dataclass(frozen=True, slots=True)
class Recipe:
    """A load to start from, where its own is not known."""

    kind: str
    direction: str | None
    """None for a sustained load, whose sign says it."""
    rate: str | None
    """None where the scenario must say how often."""
    acts: str
    """Where the force is, such as "at the hand"."""
    weight_of: str | None
    """Whose weight `size` is counted in; None where `size` is a force."""
    size: Given
    """A force [N], or times a weight [-]."""
    source: str
    confidence: str

    @property
    def in_rod(self) -> bool:
        """Whether the force is that of the rod itself, with no linkage between."""
        return self.acts == "in the rod"


@dataclass(frozen=True, slots=True)
class RodEndUse:
    """What makers ask of a rod end's static rating over the load, by how it is loaded."""

    low: float
    high: float
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class RigRow:
    """A kind of rig: standard deviations as shares of the load [-]."""

    error: Cell
    """From pull to pull."""
    bias: Cell
    """Of gauge or weights, one for all pulls."""
    arms: Cell | None
    """Of the ratio of a lever's arms where none is given; None where there is no lever."""
    use_from: Cell | None
    """Lowest use, as a share of the rig's largest load; None: no such limit."""


@dataclass(frozen=True, slots=True)
class Default:
    """What is taken for a key that a scenario leaves out."""

    row: Mapping[str, Any]
    source: str
    confidence: str

    @property
    def value(self) -> Any:
        """The value as a scenario would write it."""
        return self.row["value"]

    def given(self, dimension: str) -> Given:
        """Return the value read as one of `dimension`."""
        return read_given(self.value, dimension)

    def points(self, name: str = "points") -> Points:
        """Return the points of a curve."""
        return tuple((float(x), float(y)) for x, y in self.row[name])


@cache
def adhesives() -> Mapping[str, Adhesive]:
    """Return the classes of adhesive by name."""
    table = read_table("adhesives")
    shared = {k: table.pop(k) for k in [k for k, v in table.items() if not isinstance(v, dict)]}
    return MappingProxyType({name: _adhesive(row, shared) for name, row in table.items()})


@cache
def materials() -> Mapping[str, Material]:
    """Return the materials of tubes and plugs by name."""
    table = read_table("materials")
    common = table.pop("source")
    table.pop("scatter_source")
    dimension = {"expansion": "expansion", "interlaminar_toughness": "toughness"}
    rows = {}
    for name, row in table.items():
        composite = row.pop("composite")
        cells = {}
        for key, cell in row.items():
            value = units.parse(cell["value"], dimension.get(key, "stress"))
            source = f"{name}: {cell.get('source', common)}"
            confidence = CONFIDENCE[cell["mark"]]
            cells[key] = Cell(value, None, None, cell.get("cov"), source, confidence)
        rows[name] = Material(composite, MappingProxyType(cells))
    return MappingProxyType(rows)


@cache
def preparations() -> Mapping[str, Preparation]:
    """Return the surface preparations by name."""
    table = read_table("preparations")
    source = table.pop("source")
    table.pop("cov_source")
    table.pop("cov_mark")
    return MappingProxyType(
        {
            name: Preparation(row["ratio"], row["cov"], source, CONFIDENCE[row["mark"]])
            for name, row in table.items()
        }
    )


@cache
def targets() -> Mapping[str, TargetRow]:
    """Return the yearly targets by what a failure would do."""
    table = read_table("targets")
    source = f"{table.pop('source')}; {table.pop('advice')}"
    table.pop("mark")
    return MappingProxyType(
        {
            name: TargetRow(
                row["consequence"],
                row["index"],
                row["probability"],
                f"{row['consequence']}, reliability index {row['index']}: {source}",
            )
            for name, row in table.items()
        }
    )


@cache
def recipes() -> Mapping[str, Recipe]:
    """Return the load recipes by name."""
    return MappingProxyType({name: _recipe(row) for name, row in read_table("loads").items()})


@cache
def rod_end_uses() -> Mapping[str, RodEndUse]:
    """Return how a rod end can be loaded, by name, mildest first."""
    table = read_table("rod-end-uses")
    source, mark = table.pop("source"), CONFIDENCE[table.pop("mark")]
    return MappingProxyType(
        {name: RodEndUse(row["low"], row["high"], source, mark) for name, row in table.items()}
    )


@cache
def rigs() -> Mapping[str, RigRow]:
    """Return the rigs by name."""
    return MappingProxyType({name: _rig(row) for name, row in read_table("rigs").items()})


def default(key: str) -> Default:
    """Return what is taken where a scenario leaves `key` out."""
    return defaults()[key]


@cache
def defaults() -> Mapping[str, Default]:
    """Return every row of the table of defaults by key."""
    return MappingProxyType(
        {
            key: Default(MappingProxyType(row), row["source"], CONFIDENCE[row["mark"]])
            for key, row in read_table("defaults").items()
        }
    )


def _recipe(row: Mapping[str, Any]) -> Recipe:
    return Recipe(
        row["kind"],
        row.get("direction"),
        row.get("rate"),
        row["acts"],
        row.get("weight_of"),
        read_given(row["size"], "ratio" if row["unit"] == "weight" else "force"),
        f"{row['source']} ({CONFIDENCE[row['mark']]}); {row['spread']}",
        CONFIDENCE["J"],  # the force is published, its scatter is not
    )


def _rig(row: Mapping[str, Any]) -> RigRow:
    cells = {
        key: Cell(cell["value"], None, None, None, cell["source"], CONFIDENCE[cell["mark"]])
        for key, cell in row.items()
    }
    return RigRow(cells["error"], cells["bias"], cells.get("arms"), cells.get("use_from"))


def _adhesive(row: Mapping[str, Any], shared: Mapping[str, Any]) -> Adhesive:
    source = row.get("source", shared["source"])
    confidence = CONFIDENCE[row.get("mark", shared["mark"])]

    def cell(key: str, dimension: str, cov: float | None) -> Cell:
        read = {k: units.parse(v, dimension) for k, v in row[key].items() if k != "cov"}
        typical, low, high = (read.get(k) for k in ("typical", "low", "high"))
        return Cell(typical, low, high, row[key].get("cov", cov), source, confidence)

    return Adhesive(
        cell("shear_strength", "stress", None),
        cell("shear_modulus", "stress", None),
        cell("toughness", "toughness", shared["toughness_cov"]),
        units.parse(row["glass_transition"], "temperature"),
        row["strength_at_60"],
        units.parse(row["cure_temperature"], "temperature"),
        row.get("brittle"),
        source,
        confidence,
    )


def read_table(name: str) -> dict[str, Any]:
    """Return a file of package data as it stands."""
    text = (files("jointrisk.scenario") / "data" / f"{name}.toml").read_text("utf-8")
    return tomllib.loads(text)
