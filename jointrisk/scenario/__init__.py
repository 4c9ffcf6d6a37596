"""The file boundary: a scenario in TOML becomes frozen dataclasses, or one list of problems."""

from jointrisk.scenario.read import load, load_options, load_text, schema
from jointrisk.scenario.recipe import RecipeRow, recipes
from jointrisk.scenario.rows import Row, describe
from jointrisk.scenario.start import kinds, new
from jointrisk.scenario.types import (
    Assumption,
    Load,
    Proof,
    Pull,
    Scenario,
    Target,
    Thread,
    Variable,
    Warning_,
)

__all__ = [
    "Assumption",
    "Load",
    "Proof",
    "Pull",
    "RecipeRow",
    "Row",
    "Scenario",
    "Target",
    "Thread",
    "Variable",
    "Warning_",
    "describe",
    "kinds",
    "load",
    "load_options",
    "load_text",
    "new",
    "recipes",
    "schema",
]
