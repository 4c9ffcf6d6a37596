"""Linkages in drawn scenarios: ratios, angles, and moments with the points they turn about."""

from __future__ import annotations

import math
from dataclasses import replace

from jointrisk.scenario.catalogue import LOAD_FAMILY, QUANTITIES

_LIKE = QUANTITIES["tube.bore"]
_RATIO = replace(_LIKE, dimension="ratio", family="lognormal", low=1e-3)
_ANGLE = replace(_LIKE, dimension="angle", family="normal", low=1.0, high=179.0)


def _lasting(pen, name, key, middle, quantity):
    written = pen.spread(f"load.{name}.{key}", middle, quantity=quantity)
    pen.varied.pop(f"load.{name}.{key}", None)
    return written


def linkage(pen, name, kind, *, in_rod):
    """Return keys of a lever between a force and the rod."""
    makers = {}
    if not in_rod:
        makers["arm_ratio"] = lambda _: _lasting(pen, name, "arm_ratio", pen.near(0.2, 5), _RATIO)
        makers["angle"] = lambda _: _lasting(pen, name, "angle", pen.between(25, 155), _ANGLE)
    if kind != "sustained":
        makers["dynamic_factor"] = lambda _: _lasting(
            pen, name, "dynamic_factor", pen.near(1, 3), _RATIO
        )
    return pen.some("load", makers)


def by_moment(pen, table, kind, rough):
    """Turn a load of its own size [N] into one given by a moment; return what it then says."""
    name, arm, space = table["name"], pen.near(15, 150), pen.often()
    table.pop("size", None)
    table.pop("mean", None)
    if table.get("direction") in ("pull", "push"):
        table.pop("direction")
    sign = -1.0 if kind != "cycles" and pen.often() else 1.0
    middle = float(f"{sign * pen.near(0.002, 0.7) * rough * arm / 1000:.3g}")
    low = -math.inf if sign < 0 or kind == "sustained" else 0.0
    quantity = replace(_LIKE, dimension="moment", family=LOAD_FAMILY[kind], low=low)
    found = {"moment": _lasting(pen, name, "moment", middle, quantity)}
    if kind == "cycles" and pen.often():
        found["mean"] = pen.number(float(f"{pen.between(-0.5, 0.5) * middle:.3g}"), "moment")
    points = {
        "near_end": (arm, 0.0, 7.0),
        "far_end": (pen.between(0.5, 1.5) * arm, 250.0 if pen.often() else -250.0, 7.0),
        "pivot": (0.0, 0.0, pen.between(-50, 50)),
    }
    for key, point in points.items():
        found[key] = [pen.number(value, "length") for value in (point if space else point[:2])]
    if space:
        found["axis"] = [0, 0, pen.one_of([1, -1, 2.5])]
    return found | pen.some(
        "load",
        {"dynamic_factor": lambda _: _lasting(pen, name, "dynamic_factor", pen.near(1, 3), _RATIO)}
        if kind != "sustained"
        else {},
    )
