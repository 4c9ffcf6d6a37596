"""The shop card as plain text, for a printer that knows nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import card as sheet
from jointrisk.report.plain import wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.report.card import Card
    from jointrisk.study.proof_results import Proof

WIDTH = 78
"""Characters in a line [-]."""
COLUMNS = (12, 10, 12, 12, 8, 10)
"""Characters of each column to fill in [-]."""


def text(result: Proof) -> str:
    """Return the card as plain text with a line end."""
    card = sheet.card(result)
    body = _no_pull(card) if card.why_not else _pull(card)
    return "\n\n".join([f"SHOP CARD: {card.title}", *body, card.origin]) + "\n"


def _no_pull(card: Card) -> list[str]:
    return [_list(f"NO {card.way.upper()} ON THIS CARD", card.why_not)]


def _pull(card: Card) -> list[str]:
    head = "\n".join(
        [
            f"{card.way.upper()} EACH ROD TO  {card.load[0]}  =  {card.load[1]}  =  {card.load[2]}",
            f"NEVER ABOVE       {card.upper[0]}  =  {card.upper[1]}  =  {card.upper[2]}",
            f"HOLD              {card.hold}",
            wrap(f"({card.rounding})", WIDTH, "", " "),
        ]
    )
    steps = [f"{count}. {step}" for count, step in enumerate(card.steps, 1)]
    return [
        _list("FIRST", card.cautions),
        head,
        _list("WITH YOUR RIG", card.rig),
        "\n".join(["IN THIS ORDER", *(wrap(step, WIDTH, "  ", "     ") for step in steps)]),
        _list("WATCH FOR", card.watch),
        _list("REFUSE THE ROD WHEN", card.refuse),
        _list("WHEN ONE BREAKS", card.broken),
        _list("WHAT IS LEFT", card.left),
        _table(card),
    ]


def _list(head: str, lines: Sequence[str]) -> str:
    return "\n".join([head, *(wrap(line, WIDTH, "  - ", "    ") for line in lines)])


def _table(card: Card) -> str:
    heads = "  ".join(
        head.ljust(size) for head, size in zip(sheet.TABLE_COLUMNS, COLUMNS, strict=True)
    )
    blank = "  ".join("_" * size for size in COLUMNS)
    lines = [heads.rstrip(), *[blank] * card.rows]
    if card.more_rows:
        lines.append(f"{card.more_rows} more rods: print this card again, or fill in log.csv.")
    return "\n\n".join(lines)
