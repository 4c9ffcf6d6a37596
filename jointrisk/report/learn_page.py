"""What pulls have taught as a page: no script, nothing fetched."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import learn_figures
from jointrisk.report import learn_sentences as say
from jointrisk.report import learn_tables as made
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped

if TYPE_CHECKING:
    from jointrisk.study.learn_results import Learnt


NO_BREAK = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(r"(?<=\d) (?=in \d)|(?<=\d in) (?=\d)|(?<=\d) (?=(?:sd|bits|%))")
"""Blanks at which no line of a table ends."""


def html(result: Learnt) -> str:
    """Return the page of what was learnt as one HTML document."""
    from markupsafe import Markup

    drawn = learn_figures.all_svg(result)
    told = learn_figures.describe(result)
    fail = _whole(made.fail_rows(result))
    values: dict[str, Any] = {
        "r": result,
        "answers": say.headline(result),
        "odds": say.expected(result),
        "fail_heads": made.FAIL_COLUMNS,
        "fail_rows": fail,
        "short_rows": [row[:-1] for row in fail],
        "unknown_heads": made.UNKNOWN_COLUMNS,
        "unknown_rows": _whole(made.unknown_rows(result)),
        "group_heads": made.GROUP_COLUMNS,
        "group_rows": _whole(made.group_rows(result)),
        "taught": []
        if not say.trusted(result)
        else [
            (name, made.bits(value))
            for name, value in (
                ("the whole log", result.information),
                ("the pulls that held, without the others", result.information_held),
                ("the breaks, without the others", result.information_broke),
            )
        ],
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {name: title for name, (title, _) in told.items()},
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, made.NAMES[name]) for name in made.csv_texts(result)],
    }
    return environment().get_template("learn.html.j2").render(**values) + "\n"


def _whole(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return rows in which a chance, or a share, stays in one line."""
    return [tuple(_TOGETHER.sub(NO_BREAK, cell) for cell in row) for row in rows]
