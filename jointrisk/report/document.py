"""The JSON document of a result."""

from __future__ import annotations

import json
from typing import Any, Protocol


class Result(Protocol):
    """A result of any study."""

    def to_dict(self) -> dict[str, Any]:
        """Return its document."""
        ...


def json_text(result: Result) -> str:
    """Return one JSON document with a line end: unrounded, keys in the contract's order.

    Raises
    ------
    ValueError
        When the result's own document holds a NaN or an infinity: null is the word for those.
    """
    return json.dumps(result.to_dict(), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
