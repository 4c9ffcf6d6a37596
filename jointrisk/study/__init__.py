"""The questions a scenario is asked; each returns one frozen result."""

from jointrisk.study.assessment import assess

__all__ = ["assess"]
