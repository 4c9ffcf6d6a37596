"""A plan of tests as a page: no script, nothing fetched, readable on paper and on a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jointrisk.report import plan_cells as cells
from jointrisk.report import plan_figures
from jointrisk.report import plan_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped
from jointrisk.report.plan_tables import NAMES, csv_texts
from jointrisk.report.words import chance, chance_range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.plan_results import Candidate, TestPlan

NO_BREAK = "\N{NO-BREAK SPACE}"
SHORT = 20
"""Cells of no more characters are kept in one line [-]."""


def html(result: TestPlan) -> str:
    """Return the page of a plan of tests as one HTML document."""
    from markupsafe import Markup

    drawn = plan_figures.all_svg(result)
    told = plan_figures.describe(result)
    values: dict[str, Any] = {
        "r": result,
        "answers": say.headline(result),
        "no_gain": say.NO_GAIN if any(not e.brings for e in result.candidates) else "",
        "ranked_by": say.ranked_by(result),
        "own_pulls": say.OWN_PULLS if say.pulls(result) else "",
        "both_alike": say.BOTH_ALIKE if result.measure == say.WRONG else "",
        "heads": _heads(result),
        "rows": _rows(result, result.doable),
        "bound_head": say.BOUND_HEAD,
        "bound_heads": _heads(result, doable=False),
        "bound_rows": _rows(result, result.bounds, doable=False),
        "comes_rows": _comes_rows(result),
        "pull_rows": _pull_rows(result),
        "note_rows": [(e.name, cells.speaks(e)) for e in result.doable],
        "notes": cells.notes(result),
        "run_heads": _run_heads(result),
        "run_rows": [cells.run_row(run)[: len(_run_heads(result))] for run in result.success_runs],
        "run_words": say.success_words(result),
        "not_shown": say.not_shown(result),
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {name: title for name, (title, _) in told.items()},
        "assumptions": grouped(cast("Any", result)),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
    }
    return environment().get_template("plan.html.j2").render(**values) + "\n"


def _heads(result: TestPlan, *, doable: bool = True) -> tuple[str, ...]:
    wrong = ("wrong decision then", "less by") if result.measure == say.WRONG else ()
    cost = ("cost", *(("less by, for 100 of cost",) if wrong else ())) if result.costs else ()
    return ("what", *wrong, "band then", *(("parts to make", "lost", *cost) if doable else ()))


def _rows(
    result: TestPlan, entries: Sequence[Candidate], *, doable: bool = True
) -> list[tuple[str, ...]]:
    """Return candidates as rows of `_heads`, the rank before the name."""
    marks = cells.ranks(entries)
    wrong, cost = result.measure == say.WRONG, bool(result.costs)
    return [
        (
            f"{mark} {cells.own_name(entry)}",
            *((_whole(cells.wrong_cell(entry)), _gain(entry)) if wrong else ()),
            _whole(cells.band_left(entry)),
            *(cells.parts(entry) if doable else ()),
            *(_costs(entry, rate=wrong) if doable and cost else ()),
        )
        for mark, entry in zip(marks, entries, strict=True)
    ]


def _gain(entry: Candidate) -> str:
    if entry.wrong_drop is None:
        return ""
    beyond = ", beyond the same without it" if entry.beside else ""
    return _whole(cells.points(entry.wrong_drop)) + beyond


def _costs(entry: Candidate, *, rate: bool) -> tuple[str, ...]:
    told = _whole(cells.gain_per_cost(entry)) if entry.brings else ""
    return (cells.money(entry.cost), *((told,) if rate else ()))


def _comes_rows(result: TestPlan) -> list[tuple[str, ...]]:
    """Return what may come of each test: the average, the upper end, and a plain answer."""
    return [
        (
            entry.name,
            _whole(chance_range(*entry.comes_out)),
            _whole(chance(entry.high.estimate, entry.high.low, entry.high.high)),
            "" if entry.chance_clear is None else _whole(cells.with_ends(entry.chance_clear)),
        )
        for entry in result.doable
    ]


def _pull_rows(result: TestPlan) -> list[tuple[str, ...]]:
    """Return what each pull of the rods of service leaves, before any pull first."""
    found = say.pulls(result)
    if not found:
        return []
    before = result.before
    rows = [("no pull", before.failure, before.chance_met, "")]
    rows += [(e.name, e.fail_after, e.chance_met, cells.parts(e)[1]) for e in found if e.fail_after]
    made: list[tuple[str, ...]] = []
    for name, left, met, lost in rows:
        told = "" if met is None else _whole(say.of_states(result, met))
        made.append((name, _whole(chance(left.estimate, left.low, left.high)), told, lost))
    return made


def _run_heads(result: TestPlan) -> tuple[str, ...]:
    heads = ("share of all parts that hold", "confidence", "pulls", "chance that all hold here")
    return heads if any(run.all_hold is not None for run in result.success_runs) else heads[:-1]


def _whole(cell: str) -> str:
    """Keep what is short in one line, and a chance in one line always."""
    if len(cell) <= SHORT:
        return cell.replace(" ", NO_BREAK)
    return cell.replace("1 in ", f"1{NO_BREAK}in{NO_BREAK}").replace(" %", f"{NO_BREAK}%")
