"""Thread sizes by name: ISO metric M3 to M24, coarse and fine, and common unified inch sizes."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING

from jointrisk.errors import InputError, nearest

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["ThreadGeometry", "find", "sizes"]

_INCH = 25.4
_METRIC = re.compile(r"M(\d+(?:\.\d+)?)(?:X(\d+(?:\.\d+)?))?")
_UNIFIED = re.compile(r"(\d+(?:/\d+)?-\d+)(UN[CF])?")


@dataclass(frozen=True, slots=True)
class ThreadGeometry:
    """What of a thread its strength needs."""

    size: str
    """Its name, such as "M6", "M8x1" or "1/4-28" [-]."""
    major_diameter: float
    """Basic major diameter [mm]."""
    pitch: float
    """Pitch [mm]."""
    series: str = ""
    """"coarse" or "fine", "UNC" or "UNF" [-]."""


@cache
def sizes() -> Mapping[str, ThreadGeometry]:
    """Return every size known, by name.

    Returns
    -------
    mapping of str to ThreadGeometry

    Notes
    -----
    Package data ``mechanics/data/threads.toml``, which names its sources and how far to trust them.
    """
    text = files("jointrisk.mechanics").joinpath("data/threads.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    found = [
        ThreadGeometry(f"M{d:g}", float(d), float(p), "coarse") for d, p in data["metric"]["coarse"]
    ]
    found += [
        ThreadGeometry(f"M{d:g}x{p:g}", float(d), float(p), "fine")
        for d, p in data["metric"]["fine"]
    ]
    found += [
        ThreadGeometry(name, row["major"] * _INCH, _INCH / row["per_inch"], row["series"])
        for name, row in data["unified"].items()
    ]
    return MappingProxyType({thread.size: thread for thread in found})


def find(size: str) -> ThreadGeometry:
    """Return the thread of that name.

    Parameters
    ----------
    size : str
        Such as "M6", "M8x1", "M8 x 1", "1/4-28", "#10-32" or "1/4-28 UNF"; a trailing LH or RH
        (left- or right-hand) is allowed and changes nothing.

    Returns
    -------
    ThreadGeometry

    Raises
    ------
    InputError
        For a name not known, with the nearest that is.
    """
    plain = re.sub(r"[\s\"#]", "", str(size).upper()).replace("×", "X").replace(",", ".")
    plain = re.sub(r"(LH|RH)$", "", plain)
    plain = re.sub(r"UN[JR]([CF])$", r"UN\1", plain)  # J and R only mark the form of the root
    for thread in sizes().values():
        if _same(plain, thread):
            return thread
    known = list(sizes())
    stem = re.split("[X-]", plain)[0]
    close = [name for name in known if re.split("[x-]", name)[0] == stem]
    if not close:
        match = nearest(plain, known)
        close = [match] if match else known
    raise InputError(f"unknown thread size {size!r}; the nearest known: {', '.join(close)}")


def _same(plain: str, thread: ThreadGeometry) -> bool:
    """Tell whether the tidied name `plain` means `thread`."""
    if match := _METRIC.fullmatch(plain):
        diameter, pitch = float(match[1]), match[2]
        if not thread.size.startswith("M") or diameter != thread.major_diameter:
            return False
        return "x" not in thread.size if pitch is None else float(pitch) == thread.pitch
    unified = _UNIFIED.fullmatch(plain)
    if unified is None or unified[1] != thread.size:
        return False
    return unified[2] in {None, thread.series}
