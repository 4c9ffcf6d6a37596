"""What the result dataclasses say of themselves: fields, their types, and what is told of each."""

from __future__ import annotations

import ast
import inspect
import re
import sys
from dataclasses import dataclass, fields, is_dataclass
from importlib import import_module
from itertools import pairwise
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

UNTOLD = frozenset(
    {
        *("FailureProbability.beta",),
        *("Ratio.estimate", "Ratio.low", "Ratio.high"),
        *("Entry.moves", "Entry.moves_low", "Entry.moves_high"),
        *("ProofCurve.reject_weak", "ProofCurve.reject_sound", "ProofCurve.fail_after"),
        *("ProofCurve.fail_after_unhurt", "ProofCurve.as_target", "ProofCurve.hurt"),
        *("PullEffect.reject_weak", "PullEffect.reject_sound", "PullEffect.fail_before"),
        *("PullEffect.fail_after", "PullEffect.fail_after_unhurt", "PullEffect.hurt"),
        *("Policy.fail", "Policy.ratio", "NextRod.fail_before", "NextRod.fail_after"),
        *("NextRod.ratio", "Proof.fail_before", "Rated.failure"),
        *("SweepPoint.failure", "SweepPoint.as_target", "SweepPoint.ratio"),
        *("SweepPoint.one_in_100_below", "SweepMap.failure"),
        *("SetOutlook.life", "SetOutlook.target", "RodOutlook.before", "RodOutlook.after"),
        *("LearntUnknown.posterior_mean", "LearntUnknown.posterior_p05"),
        *("LearntUnknown.posterior_p50", "LearntUnknown.posterior_p95", "PullGroup.information"),
    }
)
"""Fields that may hold NaN or no limit, which a document says as null, though their text does not
say so. A field whose own text names NaN needs no entry."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a result dataclass."""

    owner: type
    name: str
    hint: Any
    """Its type."""
    text: str
    """What is told of it, "" where nothing is."""
    untold: bool
    """Whether its numbers may be NaN or without limit: null in the document."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One result dataclass."""

    text: str
    """First sentence of its docstring, in one line."""
    unit: str
    """Unit of all its numbers that name none, "" where there is no such unit."""
    fields: tuple[Field, ...]


def kinds_of(root: type) -> dict[type, Kind]:
    """Return every dataclass that a result is made of, itself included.

    Parameters
    ----------
    root : type
        The dataclass of the result.
    """
    found: dict[type, Kind] = {}
    waiting = [root]
    while waiting:
        kind = waiting.pop()
        if kind not in found:
            found[kind] = _kind(kind)
            waiting += [t for field in found[kind].fields for t in _dataclasses(field.hint)]
    return found


def _dataclasses(hint: Any) -> Iterator[type]:
    """Give the dataclasses that a type names, at any depth."""
    if is_dataclass(hint) and isinstance(hint, type):
        yield hint
    for part in get_args(hint):
        yield from _dataclasses(part)


def _kind(kind: type) -> Kind:
    module = sys.modules[kind.__module__]
    tree = ast.parse(inspect.getsource(module))
    body = next(
        n for n in tree.body if isinstance(n, ast.ClassDef) and n.name == kind.__name__
    ).body
    hints = get_type_hints(kind, {**_late_names(tree, body), **vars(module)})
    told = _texts(body)
    first = " ".join((inspect.getdoc(kind) or "").split("\n\n")[0].split())
    units = re.findall(r"\[[^\]]+\]", first)
    made = (_field(kind, entry.name, hints[entry.name], told) for entry in fields(kind))
    return Kind(first, units[0] if len(units) == 1 else "", tuple(made))


def _field(kind: type, name: str, hint: Any, told: Mapping[str, str]) -> Field:
    text = told.get(name, "")
    untold = f"{kind.__name__}.{name}" in UNTOLD or "NaN" in text
    return Field(kind, name, hint, text, untold)


def _texts(body: Sequence[ast.stmt]) -> dict[str, str]:
    """Return the docstring below each field of a class, in one line."""
    found = {}
    for line, below in pairwise(body):
        if isinstance(line, ast.AnnAssign) and isinstance(below, ast.Expr):
            value = below.value
            if isinstance(value, ast.Constant) and isinstance(value.value, str):
                found[ast.unparse(line.target)] = " ".join(value.value.split())
    return found


def _late_names(tree: ast.Module, body: Sequence[ast.stmt]) -> dict[str, Any]:
    """Return what the types in a class name, of what is imported for readers of types alone."""
    types = [line.annotation for line in body if isinstance(line, ast.AnnAssign)]
    used = {n.id for hint in types for n in ast.walk(hint) if isinstance(n, ast.Name)}
    found: dict[str, Any] = {}
    for block in tree.body:
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING":
            for line in block.body:
                if isinstance(line, ast.ImportFrom) and line.module:
                    names = [n for n in line.names if (n.asname or n.name) in used]
                    module = import_module(line.module) if names else None
                    found |= {n.asname or n.name: getattr(module, n.name) for n in names}
    return found
