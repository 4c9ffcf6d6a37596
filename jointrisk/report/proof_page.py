"""The answer about pulls as a page, and the shop card as a sheet to print: no script, no net."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from jointrisk.report import card as sheet
from jointrisk.report import proof_figures, proof_text
from jointrisk.report import proof_sentences as say
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.page import environment, grouped
from jointrisk.report.practice import PRACTICE
from jointrisk.report.proof_tables import NAMES, csv_texts
from jointrisk.report.words import chance, chance_range, load, number, percent

if TYPE_CHECKING:
    from jointrisk.study.proof_results import Proof, PullEffect

MANY_ROWS = 12
"""More rows than these are set lower on the card [-]."""
CURVE_ROWS = 14
"""Rows of the curve shown on the page; the CSV file holds all [-]."""


def html(result: Proof) -> str:
    """Return the page of a result about pulls as one HTML document."""
    return environment().get_template("proof.html.j2").render(**_values(result)) + "\n"


def card_html(result: Proof) -> str:
    """Return the shop card as one HTML document that prints on one sheet."""
    card = sheet.card(result)
    many = card.rows > MANY_ROWS
    half = math.ceil(card.rows / 2) if card.rows else 0
    return (
        environment()
        .get_template("card.html.j2")
        .render(
            card=card,
            columns=sheet.TABLE_COLUMNS,
            halves=[half, card.rows - half],
            many=many,
        )
        + "\n"
    )


def _values(result: Proof) -> dict[str, Any]:
    from markupsafe import Markup

    drawn = proof_figures.all_svg(result)
    effects = (
        [(f"the {result.rig.direction} to make", result.best)] if result.best is not None else []
    )
    effects += [(say.name_of(effect), effect) for effect in result.pulls]
    return {
        "r": result,
        "way": result.rig.direction,
        "answers": say.headline(result),
        "worth": [say.worth(effect, result) for effect in result.pulls],
        "openers": [say.opener(entry, result) for entry in result.openers],
        "opened": any(entry.opens for entry in result.openers),
        "notes": proof_text.good_to_know(result),
        "policy_head": proof_text.policy_head(result) if result.policies else "",
        "policy_rows": [(row[-1], *row[:-1]) for row in proof_text.policy_rows(result)],
        "pull_rows": [_pull_row(label, effect) for label, effect in effects],
        "curve_rows": _curve_rows(result),
        "practice": PRACTICE,
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {
            name: f"{title}. {seen}"
            for name, (title, seen) in proof_figures.describe(result).items()
        },
        "assumptions": grouped(result),
        "cautions": CAUTIONS,
        "tables": [(name, NAMES[name]) for name in csv_texts(result)],
        "has_card": not sheet.card(result).why_not,
    }


def _pull_row(label: str, effect: PullEffect) -> tuple[str, ...]:
    weak = effect.reject_weak
    after = effect.fail_after
    return (
        label,
        load(effect.load_newton, 3, "up" if not effect.label else "nearest"),
        percent(effect.reject.estimate),
        "" if weak is None else percent(weak.estimate),
        percent(effect.reject_sound.estimate),
        chance(after.estimate, after.low, after.high),
        percent(effect.hurt),
        number(effect.spoiled_in_run),
    )


def _curve_rows(result: Proof) -> list[tuple[str, ...]]:
    data = result.curve
    step = max(1, -(-len(data.load_newton) // CURVE_ROWS))
    return [
        (
            load(data.load_newton[i], 3),
            percent(data.reject[i].estimate),
            "" if data.reject_weak is None else percent(data.reject_weak[i].estimate),
            chance(data.fail_after[i].estimate, data.fail_after[i].low, data.fail_after[i].high),
            chance_range(data.fail_after[i].low, data.fail_after[i].high),
            percent(data.hurt[i]),
        )
        for i in range(0, len(data.load_newton), step)
    ]
