"""A hypothesis strategy for the text of valid scenarios over the whole format of the file.

Valid by construction: sizes are drawn from the outside in (tube, gap, plug, hole), spreads
are kept as narrow as the range of their quantity asks. Numbers come from coarse grids, so
that a failing scenario shrinks to one that a person can read.
"""

from __future__ import annotations

import math
import runpy
import tomllib
from dataclasses import replace
from pathlib import Path

from hypothesis import strategies as st

from jointrisk.scenario import recipes, tables
from jointrisk.scenario.catalogue import LOAD_FAMILY, QUANTITIES

_PEN = runpy.run_path(str(Path(__file__).with_name("pen.py")))
_LINKAGE = runpy.run_path(str(Path(__file__).with_name("strategies_linkage.py")))
_IN_LINE = runpy.run_path(str(Path(__file__).with_name("strategies_in_line.py")))
_linkage, _by_moment = _LINKAGE["linkage"], _LINKAGE["by_moment"]
_SLEEVE = runpy.run_path(str(Path(__file__).with_name("strategies_sleeve.py")))
_gap = _SLEEVE["gap_of"]
_in_line, _other_in_line = _IN_LINE["in_line"], _IN_LINE["other_in_line"]
Pen, toml = _PEN["Pen"], _PEN["toml"]
_spread, _plain = _PEN["spread_about"], _PEN["plain_about"]

METALS = (
    *("aluminium 6082-T6", "aluminium 6061-T6", "aluminium 7075-T6"),
    *("steel S355", "steel 25CrMo4", "titanium Ti-6Al-4V"),
)
COMPOSITES = (
    *("carbon tube, pultruded", "carbon tube, roll-wrapped", "carbon tube, woven"),
    "glass tube, pultruded",
)
CLASSES = (
    *("two-part toughened epoxy", "two-part general epoxy", "two-part methacrylate"),
    *("two-part structural polyurethane", "heat-cured epoxy", "don't know"),
)
EVIDENCE = ("class default", "data sheet", "own coupons", "own pulls")
SURFACES = (
    *("as received", "degreased", "abraded and wiped", "grit blasted", "anodised", "etched"),
)
THREADS = {  # major diameter [mm]
    **{f"M{d}": float(d) for d in (3, 4, 5, 6, 8, 10, 12, 16, 20)},
    **{"M8x1": 8.0, "M10x1.25": 10.0, "10-32": 4.826, "1/4-28": 6.35, "3/8-16": 9.525},
}
RECIPES = {row.name: row for row in recipes()}
WITH_RATE = ("a full push on a brake pedal at inspection",)
NAMES = ("kerb", "hand on the lever", 'a "knock"', "Stoß", "<b>jerk</b> & more", "100 % load")


# Tables whose keys do not hang on one another ---------------------------------------------------

PLUG = {
    "glued_share": _spread(0.3, 1.0, straight=True),
    "off_centre": _spread(0.0, 0.95, straight=True),
    "strength": _spread(150, 1200),
    "modulus": _plain(4e4, 2.2e5, "stress"),
    "expansion": _plain(8e-6, 2.4e-5, "expansion"),
}
MODEL = {
    "bond_factor": _spread(0.5, 1.5),
    "load_factor": _spread(0.7, 1.4),
    "gap_factor_exponent": _spread(0.0, 2.0, straight=True),
    "toughness_exponent": _spread(0.0, 3.0, straight=True),
}
WEAK_BONDS = {
    "lone_weight": _spread(0.0, 0.08, straight=True),
    "bad_batch_weight": _spread(0.0, 0.08, straight=True),
    "share_in_bad_batch": _spread(0.1, 1.0, straight=True),
    "keeps": _spread(0.0, 1.0, straight=True),
    "latent_weight": _spread(0.0, 0.08, straight=True),
    "latent_keeps": _spread(0.0, 1.0, straight=True),
}
AGEING = {
    "wet_share": _spread(0.1, 1.0, straight=True),
    "wetting_time": _spread(0.02, 3.0),
    "own_scatter": _spread(0.0, 0.5, straight=True),
    "steady_share": _spread(0.05, 0.9),
    "fatigue_exponent": _spread(0.07, 0.2),
    "fatigue_height": _spread(1.0, 2.0),
    "damage_at_failure": _spread(0.3, 2.0),
}
TUBE = {
    "modulus": _spread(1e4, 2.4e5),
    "tension_strength": _spread(100, 1800),
    "compression_strength": _spread(80, 1200),
    "shear_modulus": _plain(2e3, 8e4, "stress"),
    "expansion": _plain(-1e-6, 2.4e-5, "expansion", straight=True),
}
PLIES = {
    "interlaminar_strength": _spread(15, 90),
    "interlaminar_toughness": _spread(0.2, 2.0),
    "peel_strength": _plain(5, 60, "stress"),
}
PROOF = {
    "rig": lambda pen, _: pen.one_of(tables.rigs()),
    "hold_time": _plain(1e-6, 2e-3, "time"),
    "damage_from": _spread(0.3, 0.9, straight=True),
    "damage_most": _spread(0.05, 0.5, straight=True),
    "rig_error": _plain(0.0, 0.2, "ratio", straight=True),
    "rig_bias": _plain(0.0, 0.2, "ratio", straight=True),
    "highest": _plain(200, 5e4, "force"),
    "most_to_refuse": _plain(0.01, 1.0, "ratio", straight=True),
}


def _made(pen, section, makers):
    return pen.some(section, {name: lambda k, m=make: m(pen, k) for name, make in makers.items()})


def _fit(pen):
    """Return tube, plug and second plug, which must go into one another."""
    bore, gap = pen.near(5, 40), pen.near(0.02, 0.6)
    wall, overlap = pen.near(0.5, 5), pen.near(4, 80)
    plug = bore - 2 * gap
    tube = _tube(pen) | {"outer_diameter": pen.number(bore + 2 * wall, "length")}
    solid = COMPOSITES if pen.whole(0, 7) == 0 else METALS  # a plug turned from a rod with plies
    first = {"material": pen.one_of(solid), "overlap": pen.spread("plug.overlap", overlap)}
    first |= _made(pen, "plug", PLUG)
    sizes = {"tube.bore": (tube, bore), "plug.diameter": (first, plug)}
    from_gap = pen.whole(0, 2) == 0
    if from_gap:
        sizes.pop(pen.one_of(sizes))
        first["radial_gap"] = _gap(pen, gap)
    for key, (table, middle) in sizes.items():
        table[key.split(".")[1]] = pen.spread(key, middle, low=middle - 2 * gap, high=middle + gap)
        if from_gap:
            pen.varied.pop(key, None)  # held at its mean: the gap holds the scatter of both
    second, least = _second(pen, bore, overlap, from_gap, plug)
    return tube, first, second, (bore, overlap, wall, least)


def _tube(pen):
    """Return what a tube is of."""
    tube = {"material": pen.one_of(pen.one_of((METALS, COMPOSITES)))}
    tube |= _made(pen, "tube", TUBE)
    if tube["material"] in COMPOSITES:
        tube |= _made(pen, "tube", PLIES)
    if pen.often():
        tube["strength_by_temperature"] = _curve(pen)
    return tube


def _sleeves(pen, document):
    """Add tube, sleeves and thread; return tube outside, wall and overlap [mm]."""
    makers = {name: lambda key, m=make: m(pen, key) for name, make in PLUG.items()}
    sizes, sleeve, (outside, wall, overlap, widest) = _SLEEVE["fit"](pen, METALS, makers)
    document |= {"tube": _tube(pen) | sizes, "sleeve": sleeve}
    fitting = [name for name, major in THREADS.items() if major < 0.8 * widest]
    if fitting and pen.often():
        document["thread"] = {"size": pen.one_of(fitting)}
        if pen.often():
            document["thread"]["engagement"] = pen.spread("thread.engagement", pen.near(2, 40))
    return outside, wall, overlap


def _ends(pen, document):
    """Add tube and metal ends; return the surfaces there are, and sizes that others go by [mm]."""
    if pen.whole(0, 4) == 0:
        outside, wall, overlap = _sleeves(pen, document)
        bore, least, shortest = outside - 2 * wall, outside, overlap
        surfaces = ("sleeve", "tube")
    else:
        document["tube"], document["plug"], second, sizes = _fit(pen)
        bore, overlap, wall, least = sizes
        shortest = overlap / 2
        document["second_plug"] = second
        _holes(pen, document, least)
        surfaces = ("plug", "tube", "second_plug", "second_tube")
    document["rods"] = _rods(pen, bore, wall, overlap)
    return surfaces, (shortest, least), overlap, math.pi * (bore + 2 * wall) * overlap * 15.0


def _second(pen, bore, overlap, from_gap, plug):
    """Return what the second plug has of its own, and the narrower of the two plugs [mm]."""
    if not pen.often():
        return {}, plug
    own = _made(pen, "second_plug", PLUG)
    if pen.often():
        own["material"] = pen.one_of(METALS + COMPOSITES)
    if pen.often():
        own["overlap"] = pen.spread("second_plug.overlap", overlap * pen.near(0.5, 2))
    if pen.often() and not from_gap:
        gap = pen.near(0.02, 0.6)
        low, high = bore - 4 * gap, bore - gap
        own["diameter"] = pen.spread("second_plug.diameter", bore - 2 * gap, low=low, high=high)
        plug = min(plug, bore - 2 * gap)
    return own, plug


def _holes(pen, document, least):
    """Add threads and holes, narrower than the narrower plug."""
    fitting = {name: major for name, major in THREADS.items() if major < 0.8 * least}
    for place, thread in (("plug", "thread"), ("second_plug", "second_thread")):
        if thread == "second_thread" and "thread" not in document:
            continue
        if fitting and pen.often():
            name = pen.one_of(fitting)
            document[thread] = {"size": name}
        if pen.often() and (thread in document or thread == "second_thread"):
            length = pen.spread(f"{thread}.engagement", pen.near(2, 40))
            document.setdefault(thread, {})["engagement"] = length
        if document[place] and pen.often():
            document[place]["bore"] = pen.number(pen.between(0, 0.8) * least, "length")


def _curve(pen):
    """Return a curve over temperature that rises in degC and falls in strength."""
    count = pen.whole(2, 4)
    warm = [23.0 + 30.0 * step for step in range(count)]
    return [
        [pen.number(degrees, "temperature"), round(1.0 - 0.3 * step, 2)]
        for step, degrees in enumerate(warm)
    ]


def _adhesive(pen):
    evidence = pen.one_of([None, *EVIDENCE])
    table = {"class": pen.one_of(CLASSES)}
    if evidence:
        table["evidence"] = evidence
    if evidence not in (None, "class default") or pen.often():
        table["shear_strength"] = pen.spread("adhesive.shear_strength", pen.near(3, 60))
    how = pen.one_of([None, "toughness", "failure_strain"])
    if how:
        ends = {"toughness": (0.2, 15), "failure_strain": (0.02, 2)}[how]
        table[how] = pen.spread(f"adhesive.{how}", pen.near(*ends))
    makers = {
        "shear_modulus": _spread(30, 2000),
        "cure_temperature": _plain(15, 150, "temperature"),
        "hard_stop_temperature": _plain(45, 150, "temperature"),
    }
    table |= _made(pen, "adhesive", makers)
    if pen.often():
        table["strength_by_temperature"] = _curve(pen)
    if pen.often():
        table["evidence_surface"] = pen.one_of(SURFACES)
    return table


def _surface(pen, key):
    return pen.one_of(SURFACES) if pen.often() else pen.spread(key, pen.near(0.1, 1.5))


def _service(pen):
    """Return how warm and damp it is, the hottest at times the adhesive's end."""
    warmest = 125 if pen.whole(0, 9) == 0 else 45
    makers = {
        "workshop_temperature": _plain(8, 35, "temperature"),
        "hottest": _spread(25, warmest, straight=True),
        "coldest": _spread(-40, 15, straight=True),
        "humidity": _spread(0.0, 1.0, straight=True),
    }
    return _made(pen, "service", makers)


def _load(pen, name, rough):
    """Return one load about a rough strength [N], of its own or from a recipe."""
    table = {"name": name}
    recipe = RECIPES[pen.one_of(RECIPES)] if pen.often() else None
    kind = recipe.kind if recipe else pen.one_of(LOAD_FAMILY)
    own = recipe is None or pen.whole(0, 3) == 0
    if recipe:
        table["recipe"] = recipe.name
        if not own and recipe.weight_of:
            table["weight"] = pen.number(pen.near(0.003, 0.5) * rough, "force")
    if recipe is None or pen.often():
        table["kind"] = kind
    lasting = kind in ("sustained", "cycles")
    if not lasting and pen.often():
        table["direction"] = pen.one_of(["pull", "push", "both"])
    if kind == "event" and (recipe is None or pen.often() or recipe.name not in WITH_RATE):
        table["rate"] = pen.number(pen.near(0.02, 2000), "rate")
    if kind == "cycles":
        table["rate"] = pen.number(pen.near(5, 1e7), "rate")
    if kind == "cycles" and pen.often():
        middle = pen.between(-0.1, 0.1) * rough
        table["mean"] = _size(pen, name, "sustained", middle) if middle else "0 N"
    if own:
        sign = -1.0 if kind == "sustained" and pen.often() else 1.0
        table["size"] = _size(pen, name, kind, sign * pen.near(0.002, 0.7) * rough)
    if recipe is None and pen.whole(0, 3) == 0:
        table |= _by_moment(pen, table, kind, rough)
    elif pen.whole(0, 2) == 0:
        table |= _linkage(pen, name, kind, in_rod=bool(recipe) and recipe.acts == "in the rod")
    notes = {"scope": lambda _: pen.one_of(["all", "rod"]), "note": lambda _: "on the bench"}
    return table | pen.some("load", notes)


def _size(pen, name, kind, middle):
    low = -math.inf if kind == "sustained" else 0.0
    like = replace(QUANTITIES["tube.bore"], dimension="force", family=LOAD_FAMILY[kind], low=low)
    written = pen.spread(f"load.{name}.size", middle, quantity=like)
    pen.varied.pop(f"load.{name}.size", None)
    return written


def _target(pen):
    way = pen.one_of(["probability", "index", "failure_would_be"])
    table = {
        "probability": lambda: {"probability": pen.number(pen.near(1e-8, 0.3), "ratio")},
        "index": lambda: {"index": pen.between(0.5, 6)},
        "failure_would_be": lambda: {way: pen.one_of(["nuisance", "injury", "death"])},
    }[way]()
    periods = ["year"] if way == "failure_would_be" else ["life", "year"]
    scopes = {
        "period": lambda _: pen.one_of(periods),
        "scope": lambda _: pen.one_of(["set", "rod"]),
    }
    return table | pen.some("target", scopes)


def _pulls(pen, rough):
    makers = {"label": lambda _: pen.one_of(NAMES)}
    return [
        {"load": pen.number(pen.near(0.01, 2) * rough, "force")} | pen.some("pull", makers)
        for _ in range(pen.whole(0, 3))
    ]


def _rods(pen, bore, wall, overlap):
    makers = {
        "count": lambda _: pen.whole(1, 8),
        "end_fixity": lambda _: pen.number(pen.between(0.5, 2), "ratio"),
        "bow": lambda key: pen.spread(key, pen.between(0, 0.01)),
        "load_offset": lambda key: pen.spread(key, pen.between(0, 0.3) * (bore + 2 * wall)),
        "shoulder": lambda _: pen.often(),
        "cost_per_rod": lambda _: f"{pen.whole(0, 90)} EUR",
        "mass_per_rod": lambda _: pen.number(pen.near(3, 900), "mass"),
    }
    length = max(pen.near(60, 2500), 2.1 * overlap)
    return {"length": pen.number(length, "length")} | pen.some("rods", makers)


def _correlations(pen, own):
    """Return pairs of what varies and is drawn for the same thing, each key in one pair at most."""
    apart = {key for key in own if "second_" in key}
    if "second_plug.material" in apart:
        apart.add("second_plug.strength")
    if "second_thread.size" in apart:
        apart.add("second_thread.engagement")
    apart |= {key.replace("second_", "") for key in apart}
    pairs = []
    keys = {k: (scope, k in apart) for k, scope in pen.varied.items() if k not in WEIGHTS}
    while len(pairs) < 2 and len(keys) > 1 and pen.often():
        first = pen.one_of(keys)
        like = keys.pop(first)
        mates = [key for key, value in keys.items() if value == like]
        if mates:
            mate = pen.one_of(mates)
            keys.pop(mate)
            value = pen.number(pen.between(-0.5, 0.6), "ratio")
            pairs.append({"between": [first, mate], "value": value})
    return pairs


WEIGHTS = ("rods.bow",)


def _option(pen, document, overlap):
    """Return what one option of a file changes; what is correlated keeps its spread."""
    tied = {key for pair in document.get("correlation", []) for key in pair["between"]}
    changes = pen.some("", {"title": lambda _: "another way", "note": lambda _: "as an option"})
    changes |= _other_in_line(pen, document, tied)
    droppable = [key for key in ("title", "note", "target", "pull", "proof") if key in document]
    if droppable and pen.often():
        changes["without"] = [pen.one_of(droppable)]
    if changes.get("without") == ["target"] or "target" not in document:
        changes |= pen.some("", {"target": lambda _: _target(pen)})
    for key, make in OPTIONAL.items():
        table, name = key.split(".")
        first = key.replace("second_", "")
        if table.endswith("thread") and "thread" not in document:
            continue
        if ("second_" in key or table == "plug") and "sleeve" in document:
            continue
        if table == "sleeve" and "sleeve" not in document:
            continue
        if tied & {key, first, f"second_{first}"} or pen.whole(0, 3):
            continue
        changes.setdefault(table, {})[name] = make(pen, overlap)
    loads = document.get("load", [])
    if loads and pen.often():
        name = pen.one_of([load["name"] for load in loads])
        changes["load"] = {name: {"note": "less often", "scope": pen.one_of(["all", "rod"])}}
    elif "life" in document and pen.often():
        changes["load"] = [_load(pen, "another", 2000.0)]
    lists = {"pull": lambda _: _pulls(pen, 2000.0), "correlation": lambda _: []}
    return changes | pen.some("", lists)


OPTIONAL = {
    "life.duration": lambda pen, _: pen.number(pen.near(0.1, 20), "time"),
    "rods.count": lambda pen, _: pen.whole(1, 4),
    "rods.length": lambda pen, overlap: pen.number(3 * overlap, "length"),
    "tube.modulus": lambda pen, _: pen.number(pen.near(2e4, 2e5), "stress"),
    "plug.glued_share": lambda pen, _: pen.number(pen.between(0.4, 1), "ratio"),
    "sleeve.glued_share": lambda pen, _: pen.number(pen.between(0.4, 1), "ratio"),
    "second_plug.modulus": lambda pen, _: pen.number(pen.near(5e4, 2e5), "stress"),
    "thread.engagement": lambda pen, _: pen.number(pen.near(4, 20), "length"),
    "second_thread.engagement": lambda pen, _: pen.number(pen.near(4, 20), "length"),
    "adhesive.class": lambda pen, _: pen.one_of(CLASSES),
    "preparation.second_tube": lambda pen, _: pen.one_of(SURFACES),
    "weak_bonds.bad_batch_weight": lambda pen, _: 0,
    "ageing.wet_share": lambda pen, _: pen.number(pen.between(0.3, 0.9), "ratio"),
    "batch.rods": lambda pen, _: pen.whole(1, 4),
    "service.workshop_temperature": lambda pen, _: pen.number(22.0, "temperature"),
    "model.load_factor": lambda pen, _: pen.number(pen.near(0.8, 1.2), "ratio"),
    "proof.most_to_refuse": lambda pen, _: pen.number(pen.between(0.02, 0.5), "ratio"),
}


def _drawn(draw):
    pen = Pen(draw)
    document = {"schema": 1}
    texts = {"title": lambda _: pen.one_of(NAMES), "note": lambda _: "Every number invented."}
    document |= pen.some("", texts | {"seed": lambda _: pen.whole(0, 99)})
    surfaces, drilled, overlap, rough = _ends(pen, document)
    document["adhesive"] = _adhesive(pen)
    makers = dict.fromkeys(surfaces, _surface)
    document |= _in_line(pen, THREADS, drilled, rough, NAMES)
    names = draw(st.permutations(NAMES))[: pen.whole(0, 3)]
    loads = [_load(pen, name, rough) for name in names]
    makers_of = {"preparation": makers, "weak_bonds": WEAK_BONDS, "model": MODEL, "proof": PROOF}
    makers_of["ageing"] = AGEING
    document |= {name: _made(pen, name, found) for name, found in makers_of.items()}
    if document["proof"].get("rig") == "lever" and pen.whole(0, 4):
        document["proof"]["lever_ratio"] = pen.number(pen.near(0.5, 20), "ratio")
    factor = {"bond_factor": lambda key: pen.spread(key, pen.near(0.6, 1.3))}
    document["batch"] = pen.some("batch", {"rods": lambda _: pen.whole(1, 9)} | factor)
    document["service"] = _service(pen)
    if loads or pen.often():
        document["life"] = {"duration": pen.number(pen.near(0.05, 40), "time")}
        if pen.whole(0, 3) == 0:
            document["life"]["slices"] = pen.whole(1, 5)
    if pen.whole(0, 3):
        document["target"] = _target(pen)
    document |= {"load": loads, "pull": _pulls(pen, rough)}
    own = [
        f"{table}.{key}"
        for table, keys in document.items()
        if isinstance(keys, dict)
        for key in keys
    ]
    document["correlation"] = _correlations(pen, own)
    document = {key: value for key, value in document.items() if value not in ({}, [])}
    if pen.whole(0, 3) == 0:
        names = ["longer", "as in 'B'"][: pen.whole(1, 2)]
        document["options"] = {name: _option(pen, document, 2.2 * overlap) for name in names}
    if pen.whole(0, 3) == 0:
        document.setdefault("proof", {})["direction"] = pen.one_of(("pull", "push"))
    return document


@st.composite
def scenarios(draw):
    """Draw the text of a valid scenario."""
    document = _drawn(draw)
    text = toml(document)
    assert tomllib.loads(text) == document
    return text
