"""Estimators for any limit state: probability, interval, design points, screening.

Names are loaded when they are first used: a study needs few of the methods.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jointrisk.reliability.estimates import Estimate, FailurePoint, estimate
    from jointrisk.reliability.loads import ScreeningLoad
    from jointrisk.reliability.proof import screen, smallest_load
    from jointrisk.reliability.screening import Screening

_HOME = {
    "Estimate": "estimates",
    "FailurePoint": "estimates",
    "Screening": "screening",
    "ScreeningLoad": "loads",
    "estimate": "estimates",
    "screen": "proof",
    "smallest_load": "proof",
}

__all__ = [
    "Estimate",
    "FailurePoint",
    "Screening",
    "ScreeningLoad",
    "estimate",
    "screen",
    "smallest_load",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(f"jointrisk.reliability.{_HOME[name]}"), name)
    raise AttributeError(f"module 'jointrisk.reliability' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
