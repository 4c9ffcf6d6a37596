"""Scenarios to start from, commented, and such that they run as they are."""

from __future__ import annotations

from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING

from jointrisk.errors import InputError, nearest

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["kinds", "new"]

_KINDS = MappingProxyType(
    {
        "plug-in-tube": "a metal plug glued into each end of a tube, with a thread for a rod end",
        "sleeve-over-tube": "a metal sleeve glued over each end of a tube or solid rod",
    }
)


def kinds() -> Mapping[str, str]:
    """Return the kinds of scenario there are to start from, each with one line about it."""
    return _KINDS


def new(kind: str) -> str:
    """Return a commented scenario of `kind` as TOML text.

    Raises
    ------
    InputError
        No such kind.
    """
    if kind not in _KINDS:
        close = nearest(kind, list(_KINDS))
        hint = f'; did you mean "{close}"?' if close else ""
        raise InputError(f'no such kind (got "{kind}"; expected {", ".join(_KINDS)}{hint})')
    return (files("jointrisk.scenario") / "data" / f"new-{kind}.toml").read_text("utf-8")
