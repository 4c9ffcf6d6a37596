"""The questions a scenario is asked; each returns one frozen result."""

from jointrisk.study.assessment import assess
from jointrisk.study.compare_study import compare
from jointrisk.study.coupon import single_lap
from jointrisk.study.proof_study import proof
from jointrisk.study.rank_study import rank
from jointrisk.study.rating_study import rating
from jointrisk.study.sweep_study import sweep

__all__ = ["assess", "compare", "proof", "rank", "rating", "single_lap", "sweep"]
