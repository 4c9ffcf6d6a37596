"""A scenario as named variables and limit states: what can fail, under which load."""

from jointrisk.model.limit_state import LimitState, limit_state
from jointrisk.model.rodset import RodSet, rod_set

__all__ = ["LimitState", "RodSet", "limit_state", "rod_set"]
