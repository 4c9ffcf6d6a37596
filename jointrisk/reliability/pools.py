"""Work shared out: threads, processes or a cluster, whatever has a ``map``."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Protocol, TypeVar

__all__ = ["Pool", "mapped"]

Item = TypeVar("Item")
Found = TypeVar("Found")


class Pool(Protocol):
    """Anything with a ``map``: an executor, a process pool, a cluster client."""

    def map(self, function: Callable[[Any], Any], items: Any, /) -> Iterable[Any]:
        """Apply `function` to every item, in order."""


def mapped(
    pool: Pool | None, function: Callable[[Item], Found], items: Sequence[Item]
) -> Iterable[Found]:
    """Apply a function to every item, results in the order of the items.

    Parameters
    ----------
    pool : object with ``map``, optional
        A client that gives futures is waited for. None works in the caller's thread.
    function : callable
        Of one item; it and the items can be pickled where the pool is one of processes.
    items : sequence
        They do not depend on the pool, so neither do the results.

    Returns
    -------
    iterable
    """
    if pool is None:
        return map(function, items)
    return (
        found.result() if hasattr(found, "result") else found
        for found in pool.map(function, list(items))
    )
