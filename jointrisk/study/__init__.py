"""The questions a scenario is asked; each returns one frozen result."""

from jointrisk.study.assessment import assess
from jointrisk.study.coupon import single_lap
from jointrisk.study.proof_study import proof

__all__ = ["assess", "proof", "single_lap"]
