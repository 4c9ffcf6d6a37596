"""The JSON document of a result."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jointrisk.study.results import Assessment


def json_text(assessment: Assessment) -> str:
    """Return one JSON document with a line end: unrounded, keys in the contract's order.

    Raises
    ------
    ValueError
        When the result's own document holds a NaN or an infinity: null is the word for those.
    """
    return json.dumps(assessment.to_dict(), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
