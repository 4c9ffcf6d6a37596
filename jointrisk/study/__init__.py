"""The questions a scenario is asked; each returns one frozen result."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jointrisk.study.assessment import assess
    from jointrisk.study.compare_study import compare
    from jointrisk.study.coupon import single_lap
    from jointrisk.study.fit_study import fit
    from jointrisk.study.learn_study import learn
    from jointrisk.study.plan_study import plan
    from jointrisk.study.proof_study import proof
    from jointrisk.study.rank_study import rank
    from jointrisk.study.rating_study import rating
    from jointrisk.study.sweep_study import sweep

_HOME = {
    "assess": "assessment",
    "compare": "compare_study",
    "fit": "fit_study",
    "learn": "learn_study",
    "plan": "plan_study",
    "proof": "proof_study",
    "rank": "rank_study",
    "rating": "rating_study",
    "single_lap": "coupon",
    "sweep": "sweep_study",
}

__all__ = [
    "assess",
    "compare",
    "fit",
    "learn",
    "plan",
    "proof",
    "rank",
    "rating",
    "single_lap",
    "sweep",
]


def __getattr__(name: str) -> Any:
    """Load a study when it is first asked for (PEP 562)."""
    if name in _HOME:
        return getattr(import_module(f"jointrisk.study.{_HOME[name]}"), name)
    raise AttributeError(f"module 'jointrisk.study' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
