"""Numbers of the default tables put in the place of their names, and paragraphs broken into lines.

In a topic ``${KEY}`` stands for the default of that key as a scenario would write it,
``${KEY FIELD}`` for another field of its row, and ``${table NAME}``, alone in its paragraph,
for one of the tables below. Indented lines, headings and tables are left as they are.
"""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Any

from jointrisk.errors import InputError
from jointrisk.scenario import tables

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from jointrisk.scenario.tables import Cell

__all__ = ["WIDTH", "filled"]

WIDTH = 78
"""Longest line [characters]."""
_NAME = re.compile(r"\$\{([^}]+)\}")
_SPREAD = re.compile(r"\{[^}]*\}")
_GLUE = "\0"
"""Holds the words of a spread together in one line."""
_MARKS = {words: mark for mark, words in tables.CONFIDENCE.items()}


def filled(raw: str) -> str:
    """Return a topic with its numbers, ready to print.

    Raises
    ------
    InputError
        A name in the topic stands for nothing.
    """
    return "\n\n".join(_set(_NAME.sub(_value, part)) for part in raw.strip().split("\n\n")) + "\n"


def _set(paragraph: str) -> str:
    """Break a paragraph, or each entry of a list, into lines; leave what is set by hand."""
    if paragraph[:1] in ("#", " "):
        return paragraph
    entries = re.split(r"\n(?=\* )", paragraph)
    return "\n".join(_wrap(entry, "  " if entry.startswith("* ") else "") for entry in entries)


def _wrap(words: str, later: str = "", first: str = "") -> str:
    whole = _SPREAD.sub(lambda found: found[0].replace(" ", _GLUE), " ".join(words.split()))
    lines = textwrap.fill(
        whole,
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return lines.replace(_GLUE, " ")


def _value(found: re.Match[str]) -> str:
    """Return what a name in a topic stands for."""
    name = found[1]
    kind, _, rest = name.partition(" ")
    try:
        if kind == "table":
            return _TABLES[rest]()
        key, field = _key_and_field(name)
        return _shown(tables.default(key).row[field])
    except KeyError:
        raise InputError(f"the guide names no such default or table: {name!r}") from None


def _key_and_field(name: str) -> tuple[str, str]:
    """Part a name; keys of kinds of evidence hold spaces themselves."""
    try:
        tables.default(name)
    except KeyError:
        key, _, field = name.rpartition(" ")
        return key, field
    return name, "value"


def _shown(value: Any) -> str:
    """Return a value as a scenario writes it; a text and a list bare."""
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return ", ".join(f"{y:g} at {x:g}" for x, y in value)
        return " to ".join(_toml(item) for item in value)
    return value if isinstance(value, str) else _toml(value)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"


# Tables ------------------------------------------------------------------------------------


def _range(cell: Cell) -> str:
    between = f"{cell.low:g} to {cell.high:g}"
    return between if cell.typical is None else f"{cell.typical:g} ({between})"


def _adhesives() -> str:
    blocks = []
    for name, row in tables.adhesives().items():
        strength, tough = row.shear_strength, row.toughness
        blocks.append(
            f"    {name}\n"
            f"        shear strength {_range(strength)} MPa, CoV {strength.cov:g}\n"
            f"        shear modulus {_range(row.shear_modulus)} MPa\n"
            f"        toughness {_range(tough)} N/mm, CoV {tough.cov:g}\n"
            f"        carries nothing from {row.glass_transition:g} degC; at 60 degC "
            f"{row.strength_at_60:g} of its strength\n"
            f"        cures at {row.cure_temperature:g} degC; {row.confidence}"
        )
    return "\n".join(blocks)


def _preparations() -> str:
    lines = [f"    {'preparation':<20}{'ratio':>6}{'CoV':>6}  how it is known"]
    for name, row in tables.preparations().items():
        lines.append(f"    {name:<20}{row.ratio:>6g}{row.cov:>6g}  {row.confidence}")
    return "\n".join(lines)


_COLUMNS = (
    ("modulus", "E", 1e3),
    ("tension_strength", "pull", 1.0),
    ("compression_strength", "push", 1.0),
    ("interlaminar_strength", "ply", 1.0),
    ("interlaminar_toughness", "tough", 1.0),
    ("peel_strength", "peel", 1.0),
    ("shear_modulus", "G", 1e3),
    ("expansion", "heat", 1e-6),
)


def _materials() -> str:
    lines = ["    " + " " * 26 + "".join(f"{head:>6}" for _, head, _ in _COLUMNS)]
    for name, row in tables.materials().items():
        line = f"    {name:<26}"
        for key, _, unit in _COLUMNS:
            cell = row.cells.get(key)
            number = "" if cell is None or cell.typical is None else f"{cell.typical / unit:.4g}"
            line += f"{number:>6}"
        lines.append(line.rstrip())
    return "\n".join(lines)


def _targets() -> str:
    lines = [f"    {'failure would be':<18}{'index':>6}{'a year':>8}  code's words"]
    for name, row in tables.targets().items():
        lines.append(f"    {name:<18}{row.index:>6g}{row.probability:>8g}  {row.consequence}")
    return "\n".join(lines)


def _rod_end_uses() -> str:
    lines = [f"    {'use':<22}{'rating over load':>16}"]
    for name, row in tables.rod_end_uses().items():
        lines.append(f"    {name:<22}{f'{row.low:g} to {row.high:g}':>16}")
    return "\n".join(lines)


def _rigs() -> str:
    lines = [f"    {'rig':<30}{'error':>7}{'bias':>7}"]
    for name, row in tables.rigs().items():
        error, bias = (f"{100 * (cell.typical or 0.0):.3g} %" for cell in (row.error, row.bias))
        lines.append(f"    {name:<30}{error:>7}{bias:>7}")
        if row.arms is not None:
            arms = f"{100 * (row.arms.typical or 0.0):.3g} %"
            lines.append(f"    {'  its arms, measured with a tape':<37}{arms:>7}")
    return "\n".join(lines)


def _recipes() -> str:
    blocks = []
    for name, row in tables.recipes().items():
        times = "" if row.weight_of is None else f" times the weight of {row.weight_of}"
        size = ", ".join(f"{word} {number:g}" for word, number in row.size.numbers.items())
        limits = row.size.never_outside
        size = size or ("" if limits is None else f"from {limits[0]:g} to {limits[1]:g}")
        said = f"{row.kind}, {row.acts}: {size}{times or ' N'}; {row.source}"
        blocks.append(f"    {name}\n{_wrap(said, '        ', '        ')}")
    return "\n".join(blocks)


def _evidence() -> str:
    lines = [f"    {'evidence':<16}{'mean':>6}{'CoV':>6}"]
    for name in ("class default", "data sheet", "own coupons", "own pulls"):
        value = tables.default(f"evidence.{name}").value
        lines.append(f"    {name:<16}{value['mean']:>6g}{value['cov']:>6g}")
    return "\n".join(lines)


def _defaults() -> str:
    """Every row of the table of defaults, with its source and its mark."""
    blocks = []
    for key, row in tables.defaults().items():
        fields = {k: v for k, v in row.row.items() if k not in ("source", "mark")}
        said = "; ".join(
            _shown(value) if name == "value" else f"{name.replace('_', ' ')} {_shown(value)}"
            for name, value in fields.items()
        )
        blocks.append(_wrap(f"{key}: {said}", "        ", "    "))
        blocks.append(_wrap(f"[{_MARKS[row.confidence]}] {row.source}", "        ", "        "))
    return "\n".join(blocks)


def _marks() -> str:
    return "\n".join(f"    {mark:<4}{words}" for mark, words in tables.CONFIDENCE.items())


def _table_sources() -> str:
    """Return every source that the rows of adhesives, materials and preparations name."""
    found = [f"adhesives: {row.source}" for row in tables.adhesives().values()]
    found += [f"preparations: {row.source}" for row in tables.preparations().values()]
    found += [cell.source for row in tables.materials().values() for cell in row.cells.values()]
    found += [f"targets: {row.source}" for row in tables.targets().values()]
    found += [f"rod ends: {row.source}" for row in tables.rod_end_uses().values()]
    for name, row in tables.rigs().items():
        cells = filter(None, (row.error, row.bias, row.arms, row.use_from))
        found += [f"rig, {name}: [{_MARKS[cell.confidence]}] {cell.source}" for cell in cells]
    return "\n".join(_wrap(line, "        ", "    ") for line in dict.fromkeys(found))


_TABLES: Mapping[str, Callable[[], str]] = {
    "adhesives": _adhesives,
    "preparations": _preparations,
    "materials": _materials,
    "targets": _targets,
    "evidence": _evidence,
    "recipes": _recipes,
    "rod end uses": _rod_end_uses,
    "rigs": _rigs,
    "defaults": _defaults,
    "marks": _marks,
    "table sources": _table_sources,
}
