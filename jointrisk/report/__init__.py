"""What a result looks like: text for a terminal, JSON, CSV tables, a page with pictures.

Shows only numbers that a result of the studies holds.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from jointrisk.errors import InputError

if TYPE_CHECKING:
    from jointrisk.study.proof_results import Proof
    from jointrisk.study.results import Assessment

__all__ = ["save"]

Made = tuple[dict[str, str], dict[str, str | None]]
"""Text of each file, and of each table by its name: None for a table that must go."""
LOG = "log.csv"
"""Blank log of pulls, to be filled in."""


def save(result: Assessment | Proof, folder: str | os.PathLike[str]) -> tuple[Path, Path]:
    """Write a result to a folder.

    Of an assessment ``report.html``, ``result.json`` and ``tables/*.csv``; of an answer about
    pulls ``page.html``, ``pulls.json``, ``tables/proof-*.csv``, the shop card as ``card.html``
    and ``card.txt``, and the blank log ``log.csv``.

    All are made in full before anything is written, and each is put in place in one step:
    no half-written file is ever seen. Files of these names are replaced or removed; only a log
    that is there already is left alone, since somebody may have written in it.

    Parameters
    ----------
    result : Assessment or Proof
        What `jointrisk.assess` or `jointrisk.proof` returned.
    folder : path
        Made, with its parents, if it does not exist.

    Returns
    -------
    tuple of Path
        The page and the document.

    Raises
    ------
    InputError
        When `result` is neither, or `folder` cannot be written to.
    """
    texts, tables = _made(result)
    target = Path(folder)
    try:
        _put_tables(target / "tables", tables)
        paths = [
            _put(target / name, text)
            for name, text in texts.items()
            if name != LOG or not (target / name).exists()
        ]
    except OSError as problem:
        raise InputError(f"cannot write the report to {target}: {problem.strerror}") from problem
    return paths[0], paths[1]


def _made(result: object) -> Made:
    """Return the files of a result, the page and the document first, and its tables."""
    from jointrisk.study.proof_results import Proof
    from jointrisk.study.results import Assessment

    if isinstance(result, Assessment):
        return _of_assessment(result)
    if isinstance(result, Proof):
        return _of_proof(result)
    raise InputError(
        "result must be an Assessment or a Proof, as assess and proof return; "
        f"got {type(result).__name__}"
    )


def _of_assessment(result: Assessment) -> Made:
    from jointrisk.report.document import json_text
    from jointrisk.report.page import html
    from jointrisk.report.tables import NAMES, csv_texts

    tables = csv_texts(result)
    texts = {"report.html": html(result), "result.json": json_text(result)}
    return texts, {name: tables.get(name) for name in NAMES}


def _of_proof(result: Proof) -> Made:
    from jointrisk.report import card, card_text
    from jointrisk.report.document import json_text
    from jointrisk.report.proof_page import card_html, html
    from jointrisk.report.proof_tables import NAMES, csv_texts

    tables = csv_texts(result)
    texts = {
        "page.html": html(result),
        "pulls.json": json_text(result),
        "card.html": card_html(result),
        "card.txt": card_text.text(result),
        LOG: card.log_text(),
    }
    return texts, {name: tables.get(name) for name in NAMES}


def _put_tables(folder: Path, texts: dict[str, str | None]) -> None:
    """Write the tables, and remove those that an older result had and this one has not."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        if text is not None:
            _put(folder / name, text)
        else:
            (folder / name).unlink(missing_ok=True)


def _put(path: Path, text: str) -> Path:
    """Write a file beside its place, then move it there in one step."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with open(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path
