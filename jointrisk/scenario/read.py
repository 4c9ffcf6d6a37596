"""From a file or a text to a `Scenario`."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jointrisk.errors import Problem, ScenarioError, nearest

if TYPE_CHECKING:
    import os

    from jointrisk.scenario.types import Scenario

__all__ = ["load", "load_options", "load_text", "schema"]


def load(path: str | os.PathLike[str], *, option: str | None = None) -> Scenario:
    """Return the scenario that the file at `path` holds.

    Parameters
    ----------
    path : str or path-like
        A TOML file.
    option : str, optional
        Name of one of the file's options; without it the file as written.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        No such file or option, or a file with faults, in any option; every fault is in its
        `problems`.
    """
    return _pick(load_options(path), option, str(path))


def load_options(path: str | os.PathLike[str]) -> dict[str, Scenario]:
    """Return the scenarios of the file at `path`: "as written" first, then each option by name.

    Raises
    ------
    ScenarioError
        As for `load`.
    """
    name = str(path)
    try:
        content = Path(path).read_bytes()
    except FileNotFoundError:
        raise _refused(name, "there is no such file") from None
    except IsADirectoryError:
        raise _refused(name, "is a folder, not a scenario file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refused(name, f"cannot be read: {reason}") from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = "is not a text file in UTF-8"
        raise _refused(name, what, f"byte {content[error.start]:#04x} at {error.start}") from None
    return _scenarios(text, name, content)


def load_text(text: str, name: str = "scenario", *, option: str | None = None) -> Scenario:
    """Return the scenario that `text` holds.

    Parameters
    ----------
    text : str
        What a TOML file holds.
    name : str
        Stands for the file in messages.
    option : str, optional
        Name of one of its options; without it the text as written.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        Faults in the text, or no such option; every fault is in its `problems`.
    """
    return _pick(_scenarios(text, name, text.encode("utf-8")), option, name)


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario file, in the part that draft 4 knows."""
    from jointrisk.scenario.json_schema import json_schema

    return json_schema()


def _scenarios(text: str, name: str, content: bytes) -> dict[str, Scenario]:
    from jointrisk.scenario.options import judge, variants

    if "\x00" in text:
        raise _refused(name, "is not a text file", "a zero byte")
    try:
        raw = tomllib.loads(text)
        found, problems = variants(raw)
    except RecursionError:
        raise _refused(name, "is nested too deeply to be a scenario") from None
    except ValueError as error:
        raise ScenarioError(name, [_toml_problem(text, str(error))]) from None
    return judge(found, problems, path=name, sha256=hashlib.sha256(content).hexdigest())


def _pick(found: dict[str, Scenario], option: str | None, name: str) -> Scenario:
    """Return one of the scenarios of a file, or refuse with the options there are."""
    label = next(iter(found)) if option is None else option
    if label in found:
        return found[label]
    close = nearest(label, list(found))
    meant = f'; did you mean "{close}"?' if close else ""
    listed = ", ".join(f'"{known}"' for known in found)
    what = f"no such option{meant}"
    raise ScenarioError(name, [Problem("options", what, f'"{label}"', f"one of {listed}")])


def _refused(name: str, what: str, got: str = "") -> ScenarioError:
    return ScenarioError(name, [Problem("", what, got)])


def _toml_problem(text: str, message: str) -> Problem:
    """Say which line is at fault, and what is usually meant there."""
    found = re.search(r"at line (\d+)", message)
    number = int(found.group(1)) if found else len(text.splitlines())
    lines = text.splitlines()
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    reason = message.split(" (at ", maxsplit=1)[0]
    what = f"line {number} cannot be read as TOML: {reason[:1].lower()}{reason[1:]}"
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return Problem("", what, line, "a point for decimals: 0.15, not 0,15")
    if re.search(r"=\s*[+-]?[\d.]+\s*[^\d\s.,\]}#]", line):
        return Problem("", what, line, 'quotes round a value with a unit: bore = "14.2 mm"')
    return Problem("", what, line)
