"""What a result looks like: text for a terminal, JSON, CSV tables, a page with pictures.

Shows only numbers that a result of the studies holds.
"""

from __future__ import annotations

import os
import tempfile
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jointrisk.errors import InputError

if TYPE_CHECKING:
    from jointrisk.study.compare_results import Comparison
    from jointrisk.study.fit_results import CouponFit
    from jointrisk.study.learn_results import Learnt
    from jointrisk.study.plan_results import TestPlan
    from jointrisk.study.proof_results import Proof
    from jointrisk.study.rank_results import Ranking
    from jointrisk.study.rating_results import Rating
    from jointrisk.study.results import Assessment
    from jointrisk.study.sweep_results import Sweep

    Result = (
        Assessment | Proof | Comparison | Ranking | Sweep | Rating | Learnt | TestPlan | CouponFit
    )

__all__ = ["save"]

Made = tuple[dict[str, str], dict[str, str | None]]
"""Text of each file, and of each table by its name: None for a table that must go."""
LOG = "log.csv"
"""Blank log of pulls, to be filled in."""


def save(result: Result, folder: str | os.PathLike[str]) -> tuple[Path, Path]:
    """Write a result to a folder.

    Of an assessment ``report.html``, ``result.json``, ``tables/*.csv``; of any other study files
    by its name: ``sweep.html``, ``sweep.json``, ``tables/sweep-*.csv``. Of `proof` also the shop
    card ``card.html``, ``card.txt``, and a blank ``log.csv``.

    All are made in full before anything is written, each is put in place in one step, and files
    of these names are replaced or removed: only a log that is there already is left alone.

    Parameters
    ----------
    result : Assessment, Proof, Comparison, Ranking, Sweep, Rating, Learnt, TestPlan or CouponFit
        What a study returned.
    folder : path
        Made, with its parents, if it does not exist.

    Returns
    -------
    tuple of Path
        The page and the document.

    Raises
    ------
    InputError
        When `result` is none of these, or `folder` cannot be written to.
    """
    texts, tables = _made(result)
    target = Path(folder)
    try:
        _put_tables(target / "tables", tables)
        kept = {n: t for n, t in texts.items() if n != LOG or not (target / n).exists()}
        paths = [_put(target / name, text) for name, text in kept.items()]
    except OSError as problem:
        raise InputError(f"cannot write the report to {target}: {problem.strerror}") from problem
    return paths[0], paths[1]


_STUDIES = {
    "Comparison": "compare",
    "CouponFit": "fit",
    "Learnt": "learn",
    "Proof": "proof",
    "Ranking": "rank",
    "Rating": "rating",
    "Sweep": "sweep",
    "TestPlan": "plan",
}
"""Name of the files of each result but the main one, and of the modules that make them."""


def _made(result: object) -> Made:
    """Return the files of a result, the page and the document first, and its tables."""
    from jointrisk.study.results import Assessment

    if isinstance(result, Assessment):
        return _of(result, "page", "tables", ("report.html", "result.json"))
    kind = type(result)
    name = _STUDIES.get(kind.__name__)
    if name is None or not kind.__module__.startswith("jointrisk.study."):
        raise InputError(
            "result must be what assess, proof, rank, compare, sweep, rating, learn, plan or "
            f"fit returned; got {kind.__name__}"
        )
    texts, tables = _of(result, f"{name}_page", f"{name}_tables", (f"{name}.html", f"{name}.json"))
    if name == "proof":
        texts |= _cards(result)
    return texts, tables


def _of(result: Any, page: str, tables: str, files: tuple[str, str]) -> Made:
    """Return page and document of a result, and its tables, made by the modules of these names."""
    from jointrisk.report.document import json_text

    made_by = import_module(f"jointrisk.report.{tables}")
    texts = made_by.csv_texts(result)
    html = import_module(f"jointrisk.report.{page}").html(result)
    made = {files[0]: html, files[1]: json_text(result)}
    return made, {name: texts.get(name) for name in made_by.NAMES}


def _cards(result: Any) -> dict[str, str]:
    """Return what goes to the rig: the card as a page and as text, and a log to fill in."""
    from jointrisk.report import card, card_text
    from jointrisk.report.proof_page import card_html

    return {
        "card.html": card_html(result),
        "card.txt": card_text.text(result),
        LOG: card.log_text(),
    }


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
