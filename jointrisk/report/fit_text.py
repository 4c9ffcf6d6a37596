"""What broken coupons or rods say, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report import fit_rows, fit_sentences
from jointrisk.report.blocks import cautioned, headline, listed, ran
from jointrisk.report.plain import bold, table

if TYPE_CHECKING:
    from jointrisk.study.fit_results import CouponFit

COLUMNS = ("shape", "1 in 100", "true value", "1 in 1,000", "true value, 90 in 100")
FIT_COLUMNS = ("shape", "criterion", "worse fit", "B basis", "A basis", "fit alone", "parameters")


def text(result: CouponFit, *, color: bool = False, width: int = 80, verbose: int = 0) -> str:
    """Return the answer as plain text with a line end.

    Parameters
    ----------
    result : CouponFit
        What `jointrisk.fit` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    verbose : int
        1 adds the fits, the values and the run's own facts [-].
    """
    blocks = [headline(fit_sentences.headline(result), color, width)]
    if result.families:
        shown = table(COLUMNS, fit_rows.shape_rows(result), width)
        blocks.append(f"{bold('Expected below, by shape', color)}\n{shown}")
    if result.batches is not None:
        shown = table(fit_rows.BATCH_COLUMNS, fit_rows.batch_rows(result), width, " rr")
        blocks.append(f"{bold('Batches', color)}\n{shown}")
    if result.written is not None:
        lines = [f"  {line}".rstrip() for line in result.written.lines]
        blocks.append("\n".join([bold("In a scenario", color), *lines]))
    blocks.append(listed("What these do not say", fit_sentences.SILENT, color, width))
    if verbose:
        blocks += _detail(result, color, width)
    blocks.append(cautioned(color, width))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _detail(result: CouponFit, color: bool, width: int) -> list[str]:
    """Return the fits, the values in order, and the facts of the run."""
    blocks = []
    if result.families:
        rows = [(row[0], *row[2:], row[1]) for row in fit_rows.fit_rows(result)]
        shown = table(FIT_COLUMNS, rows, width)
        blocks.append(f"{bold('Fits', color)}\n{shown}")
    rows = [
        (
            str(c.row),
            fit_sentences.value(result, c.value, 4),
            "held" if c.held else "broke",
            c.batch,
            c.note or "-",
        )
        for c in sorted(result.coupons, key=lambda c: c.value)
    ]
    shown = table(("line", "value", "", "batch", "note"), rows, width, "rr")
    blocks.append(f"{bold('Values', color)}\n{shown}")
    unread = [f"not read: {name}" for name in result.unread]
    return [*blocks, ran(result.run, result.host, color, width, unread)]
