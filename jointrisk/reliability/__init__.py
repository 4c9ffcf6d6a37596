"""Estimators for any limit state: probability, interval, screening, indices, learning.

Names are loaded when they are first used: a study needs few of the methods.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jointrisk.reliability.estimates import Estimate, FailurePoint, estimate
    from jointrisk.reliability.failure_indices import failure_sobol
    from jointrisk.reliability.indices import Effects, FailureIndices, Indices
    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.reliability.proof import screen, smallest_load
    from jointrisk.reliability.screening import Screening
    from jointrisk.reliability.shapley_effects import shapley
    from jointrisk.reliability.sobol_indices import sobol
    from jointrisk.reliability.strength_learning import Learned, learn_strength
    from jointrisk.reliability.weak_learning import LearnedFraction, learn_weak_fraction

_HOME = {
    "Effects": "indices",
    "Estimate": "estimates",
    "FailureIndices": "indices",
    "FailurePoint": "estimates",
    "Indices": "indices",
    "Learned": "strength_learning",
    "LearnedFraction": "weak_learning",
    "Screening": "screening",
    "ScreeningLoad": "loads",
    "estimate": "estimates",
    "failure_sobol": "failure_indices",
    "learn_strength": "strength_learning",
    "learn_weak_fraction": "weak_learning",
    "screen": "proof",
    "shapley": "shapley_effects",
    "smallest_load": "proof",
    "sobol": "sobol_indices",
}

__all__ = [
    "Effects",
    "Estimate",
    "FailureIndices",
    "FailurePoint",
    "Indices",
    "Learned",
    "LearnedFraction",
    "Screening",
    "ScreeningLoad",
    "estimate",
    "failure_sobol",
    "learn_strength",
    "learn_weak_fraction",
    "screen",
    "shapley",
    "smallest_load",
    "sobol",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(f"jointrisk.reliability.{_HOME[name]}"), name)
    raise AttributeError(f"module 'jointrisk.reliability' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
