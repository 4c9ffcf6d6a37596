"""Strength, failure probability and proof load of rods with bonded ends.

Public names are loaded when they are first used, so that importing the package is cheap.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jointrisk.errors import EstimateError, InputError, JointriskError, ScenarioError
    from jointrisk.scenario import load, load_options, load_text
    from jointrisk.study import (
        assess,
        compare,
        fit,
        learn,
        plan,
        proof,
        rank,
        rating,
        single_lap,
        sweep,
    )

__version__ = "0.1.0"

_HOME = {
    "EstimateError": "errors",
    "InputError": "errors",
    "JointriskError": "errors",
    "ScenarioError": "errors",
    "assess": "study",
    "compare": "study",
    "fit": "study",
    "learn": "study",
    "load": "scenario",
    "load_options": "scenario",
    "load_text": "scenario",
    "plan": "study",
    "proof": "study",
    "rank": "study",
    "rating": "study",
    "single_lap": "study",
    "sweep": "study",
}
_ROOMS = ("mechanics", "model", "reliability", "report", "scenario", "spread", "study", "units")

__all__ = [
    "EstimateError",
    "InputError",
    "JointriskError",
    "ScenarioError",
    "__version__",
    "assess",
    "compare",
    "fit",
    "learn",
    "load",
    "load_options",
    "load_text",
    "plan",
    "proof",
    "rank",
    "rating",
    "single_lap",
    "sweep",
]


def __getattr__(name: str) -> Any:
    """Load a public name or a room when it is first asked for (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(f"jointrisk.{_HOME[name]}"), name)
    if name in _ROOMS:
        return import_module(f"jointrisk.{name}")
    raise AttributeError(f"module 'jointrisk' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names and the rooms."""
    return sorted({*__all__, *_ROOMS})
