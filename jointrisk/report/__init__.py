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
    from jointrisk.study.results import Assessment

__all__ = ["save"]


def save(result: Assessment, folder: str | os.PathLike[str]) -> tuple[Path, Path]:
    """Write a result to a folder: ``report.html``, ``result.json``, ``tables/*.csv``.

    All are made in full before anything is written, and each is put in place in one step:
    no half-written file is ever seen. Files of these names are replaced or removed.

    Parameters
    ----------
    result : Assessment
        What `jointrisk.assess` returned.
    folder : path
        Made, with its parents, if it does not exist.

    Returns
    -------
    tuple of Path
        The page and the document.

    Raises
    ------
    InputError
        When `result` is not an Assessment, or `folder` cannot be written to.
    """
    from jointrisk.report.document import json_text
    from jointrisk.report.page import html
    from jointrisk.report.tables import csv_texts
    from jointrisk.study.results import Assessment

    if not isinstance(result, Assessment):
        raise InputError(
            f"result must be an Assessment, as assess returns; got {type(result).__name__}"
        )
    target = Path(folder)
    tables = csv_texts(result)
    texts = {"report.html": html(result), "result.json": json_text(result)}
    try:
        _put_tables(target / "tables", tables)
        paths = [_put(target / name, text) for name, text in texts.items()]
    except OSError as problem:
        raise InputError(f"cannot write the report to {target}: {problem.strerror}") from problem
    return paths[0], paths[1]


def _put_tables(folder: Path, texts: dict[str, str]) -> None:
    """Write the tables, and remove those that an older result had and this one has not."""
    from jointrisk.report.tables import NAMES

    folder.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        if name in texts:
            _put(folder / name, texts[name])
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
