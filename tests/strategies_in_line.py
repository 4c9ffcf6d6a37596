"""What else may stand in line with a drawn rod: rod ends, a back-up, other parts."""

from __future__ import annotations

from dataclasses import replace

from jointrisk.scenario.catalogue import QUANTITIES

PIN_METALS = ("steel S355", "steel 25CrMo4", "titanium Ti-6Al-4V", "aluminium 7075-T6")
USES = ("constant, one way", "fluctuating, one way", "changes direction")
KINDS = ("cross pin", "bolt", "screw")


def in_line(pen, threads, sizes, rough, names):
    """Return the tables of what is in line, those that are drawn to be there.

    `threads` by name, `sizes` the shortest overlap and the narrower plug [mm], `rough` a rough
    strength of the rod [N].
    """
    found = {}
    if pen.whole(0, 2) == 2:
        found["rod_end"] = _rod_end(pen, threads, rough)
    if pen.whole(0, 2) == 2:
        found["backup"] = _backup(pen, *sizes)
    if pen.whole(0, 2) == 2:
        found["part"] = [_part(pen, name, rough) for name in names[: pen.whole(1, 2)]]
    return found


def _rod_end(pen, threads, rough):
    table = {"static_rating": pen.number(pen.near(0.05, 8) * rough, "force")}
    makers = {
        "strength_ratio": lambda key: pen.spread(key, pen.near(0.8, 2)),
        "use": lambda _: pen.one_of(USES),
        "shank": lambda _: pen.one_of(threads),
        "in_rig": lambda _: pen.often(),
    }
    table |= pen.some("rod_end", makers)
    if "shank" in table and pen.often():
        table["shank_strength"] = pen.spread("rod_end.shank_strength", pen.near(300, 1200))
    return table


def _backup(pen, overlap, least):
    """Draw a hole that leaves the plug half of its width, well inside the shorter overlap."""
    widest = min(0.5 * least, 0.4 * overlap)
    pin = pen.near(0.2, 0.8) * widest
    table = {"kind": pen.one_of(KINDS), "diameter": pen.number(pin, "length")}
    mouth = pen.spread("backup.end_distance", 0.45 * overlap)
    table["end_distance"] = mouth
    if pen.often():
        table["shear_strength"] = pen.spread("backup.shear_strength", pen.near(50, 900))
    if "shear_strength" not in table or pen.often():
        table["material"] = pen.one_of(PIN_METALS)
    makers = {
        "hole": lambda key: pen.spread(key, widest),
        "insert_end_distance": lambda key: pen.spread(key, pen.near(0.5, 3) * overlap),
        "tube_bearing_strength": lambda key: pen.spread(key, pen.near(80, 1500)),
        "tube_shear_strength": lambda key: pen.spread(key, pen.near(15, 500)),
        "insert_bearing_strength": lambda key: pen.spread(key, pen.near(80, 1500)),
        "insert_shear_strength": lambda key: pen.spread(key, pen.near(15, 500)),
        "stress_concentration": lambda key: pen.spread(key, pen.between(1.0, 3.0)),
    }
    return table | pen.some("backup", makers)


def _part(pen, name, rough):
    table = {"name": name}
    if pen.often():
        table["at"] = pen.one_of(["rod", "end"])
    scope = "joint" if table.get("at") == "end" else "rod"
    first = pen.one_of([["pull"], ["push"], ["pull", "push"]])
    for direction in first:
        like = replace(QUANTITIES["tube.bore"], dimension="force", family="lognormal", scope=scope)
        key, middle = f"part.{name}.{direction}", pen.near(0.05, 8) * rough
        table[direction] = pen.spread(key, middle, quantity=like)
    notes = {"in_rig": lambda _: pen.often(), "note": lambda _: "made by others"}
    return table | pen.some("part", notes)


def other_in_line(pen, document, tied):
    """Return what an option of a file changes in line; `tied` keys keep what they have."""
    makers = {"rod_end": lambda _: {"static_rating": pen.number(pen.near(1e3, 5e4), "force")}}
    if "backup" in document:
        makers["backup"] = lambda _: {"kind": pen.one_of(KINDS)}
    if not any(key.startswith("part.") for key in tied):
        makers["part"] = lambda _: [{"name": "stay", "pull": "20 kN"}][: pen.whole(0, 1)]
    return pen.some("", makers)
