"""Options side by side as a page: no script, nothing fetched."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import compare_figures, compare_text
from jointrisk.report import compare_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.compare_tables import NAMES, csv_texts
from jointrisk.report.page import environment, grouped
from jointrisk.report.words import load

if TYPE_CHECKING:
    from jointrisk.study.compare_results import Comparison, Option, Pair


def html(result: Comparison) -> str:
    """Return the page of a comparison as one HTML document."""
    return environment().get_template("compare.html.j2").render(**_values(result)) + "\n"


def _values(result: Comparison) -> dict[str, Any]:
    from markupsafe import Markup

    drawn = compare_figures.all_svg(result)
    return {
        "r": result,
        "answers": say.headline(result),
        "heads": compare_text.option_heads(result),
        "rows": compare_text.option_rows(result),
        "ties": say.ties(result),
        "strength_rows": [_strength_row(option) for option in result.options],
        "pair_rows": [_pair_row(pair) for pair in result.pairs],
        "differences": [(o.name, say.differs(o)) for o in result.options if o.differences],
        "after": compare_text.after(result),
        "prices": say.prices(result),
        "notes": say.notes(result),
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {
            "options": "How often each option fails. Dots are averages over what is not known.",
            "ratios": "Dots filled: told apart from the baseline. Dots hollow: not told apart.",
            "price": "Further down fails less often, further left costs or weighs less.",
        },
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }


def _strength_row(option: Option) -> tuple[str, ...]:
    new, old = option.strength_new, option.strength_service
    return (
        option.name,
        say.leading(option),
        load(new.median),
        load(new.one_in_100_below),
        load(old.median),
        load(old.one_in_100_below),
        say.permitted(option),
        say.counted(option),
        say.after_words(option),
    )


def _pair_row(pair: Pair) -> tuple[str, ...]:
    share = pair.better
    told = ""
    if share is not None:
        told = f"{say.part(share.estimate)} ({say.part(share.low)} to {say.part(share.high)})"
    return (
        f"{pair.option} against {pair.other}",
        say.times(pair.ratio),
        say.span(pair.ratio),
        pair.ratio.verdict,
        "" if pair.as_target is None else say.figures(pair.as_target),
        told,
    )
