"""A hypothesis strategy for the text of valid scenarios over the whole format of the file.

Valid by construction: sizes are drawn from the outside in (tube, gap, plug, hole), spreads
are kept as narrow as the range of their quantity asks. Numbers come from coarse grids, so
that a failing scenario shrinks to one that a person can read.
"""

from __future__ import annotations

import json
import math
import re
import tomllib

from hypothesis import strategies as st

from jointrisk.scenario import recipes
from jointrisk.scenario.catalogue import LOAD_FAMILY, QUANTITIES

# Units: what one of each is in the unit of the house --------------------------------------------

UNITS = {
    "length": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "um": 1e-3, "in": 25.4, "thou": 0.0254},
    "force": {"N": 1.0, "kN": 1e3, "kgf": 9.80665, "lbf": 4.4482216152605},
    "stress": {"MPa": 1.0, "GPa": 1e3, "N/mm²": 1.0, "psi": 0.006894757293168, "bar": 0.1},
    "toughness": {"N/mm": 1.0, "kJ/m2": 1.0, "J/m²": 1e-3, "lbf/in": 0.1751268352464},
    "temperature difference": {"K": 1.0, "degF": 5 / 9},
    "expansion": {"/K": 1.0, "ppm/K": 1e-6, "ppm/degF": 1.8e-6},
    "time": {"years": 1.0, "months": 1 / 12, "days": 1 / 365.25, "h": 1 / 8766},
    "rate": {"/ year": 1.0, "per month": 12.0, "per day": 365.25, "times a week": 365.25 / 7},
    "ratio": {"": 1.0, "%": 0.01},
}
DEGREES = {"degC": (1.0, 0.0), "°C": (1.0, 0.0), "K": (1.0, 273.15), "degF": (1.8, 32.0)}

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
NAMES = ("kerb", "hand on the lever", 'a "knock"', "Stoß", "<b>jerk</b> & more", "100 % load")
SCOPES = ("joint", "rod", "batch", "all")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


class Pen:
    """Draws the words and numbers that a maker writes."""

    def __init__(self, draw):
        self.draw = draw
        self.varied = {}  # key to scope, of quantities that can be correlated

    def often(self):
        return self.draw(st.booleans())

    def one_of(self, options):
        return self.draw(st.sampled_from(tuple(options)))

    def whole(self, low, high):
        return self.draw(st.integers(low, high))

    def between(self, low, high):
        """Draw from a straight grid of three digits."""
        return float(f"{low + (high - low) * self.whole(0, 40) / 40:.3g}")

    def near(self, low, high):
        """Draw from a grid of equal ratios, of three digits."""
        return float(f"{low * (high / low) ** (self.whole(0, 40) / 40):.3g}")

    def number(self, value, dimension):
        """Write a value [house unit] in one of the units there are."""
        if dimension == "temperature":
            unit = self.one_of(DEGREES)
            factor, offset = DEGREES[unit]
            return f"{value * factor + offset:.7g} {unit}"
        unit = self.one_of(UNITS[dimension])
        if unit == "" and self.often():
            return value
        return f"{value / UNITS[dimension][unit]:.7g} {unit}".strip()

    # Spreads -----------------------------------------------------------------------------------

    def spread(self, key, middle, *, family=None, low=None, high=None, quantity=None):
        """Write a quantity about `middle` in any way there is; `key` is noted where it varies."""
        known = quantity or QUANTITIES[key]
        low, high = known.low if low is None else low, known.high if high is None else high
        dimension = known.dimension
        sd = self._sd(middle, dimension, low, high)
        if sd == 0.0 or not self.often():
            value = self.number(middle, dimension)
            return self._words({"value": value}, key, known) if self.whole(0, 5) == 0 else value
        ways = (self._two_numbers, self._limits)
        written = self.one_of(ways)(middle, sd, known, family or known.family, (low, high))
        return self._words(written, key, known, varies=True)

    def _sd(self, middle, dimension, low, high):
        """Return a standard deviation that leaves the quantity its range."""
        room = min(middle - low, high - middle, math.inf)
        widest = 8.0 if dimension == "temperature" else abs(middle) / 2
        return min(self.near(0.01, 0.38) * widest, room / 5)

    def _two_numbers(self, middle, sd, known, family, limits):
        """Write a spread of a family by two of its numbers."""
        dimension, warm = known.dimension, known.dimension == "temperature"
        gap = "temperature difference" if warm else dimension
        families = ["normal", "gumbel"]
        if middle > 0 and not warm:
            families += ["lognormal", "weibull"]
        dist = self.one_of([None, *families])
        if middle <= 0 and family in ("lognormal", "beta", "weibull"):
            dist = dist or "normal"
        forms = ["mean sd", "p05 p95"]
        if not warm and middle != 0:
            forms += ["mean cov"] + (["median cov"] if dist or family != "beta" else [])
        form = self.one_of(forms)
        written = {}
        if form == "p05 p95":
            written = {"p05": self.number(middle - 1.6 * sd, dimension)}
            written["p95"] = self.number(middle + 1.6 * sd, dimension)
        else:
            written = {form.split()[0]: self.number(middle, dimension)}
            if form.endswith("cov"):
                written["cov"] = self.number(float(f"{sd / abs(middle):.4g}"), "ratio")
            else:
                written["sd"] = self.number(sd, gap)
        if dist:
            written["dist"] = dist
        if self.whole(0, 4) == 0:
            cut = (max(middle - 3 * sd, limits[0]), min(middle + 3 * sd, limits[1]))
            written["truncated"] = [self.number(end, dimension) for end in cut]
        return written

    def _limits(self, middle, sd, known, _family, _limits):
        """Write a spread between two limits."""
        dimension = known.dimension
        ends = [self.number(middle + step * sd, dimension) for step in (-2.5, 2.0)]
        written = {"never_outside": ends}
        how = self.one_of(["uniform", "triangular", "beta"])
        if how == "triangular":
            written["most_likely"] = self.number(middle, dimension)
        elif how == "beta":
            warm = dimension == "temperature"
            written["mean"] = self.number(middle, dimension)
            written["sd"] = self.number(sd, "temperature difference" if warm else dimension)
        if self.often():
            written["dist"] = how
        return written

    def _words(self, written, key, known, varies=False):
        """Add scope, kind and source to a spread."""
        if self.whole(0, 3) == 0:
            written["kind"] = self.one_of(["scatter", "not known"])
        if self.whole(0, 3) == 0:
            written["source"] = 'shop book, page 7, "cold" side'
        if self.whole(0, 3) == 0 and not key.startswith("load."):
            written["scope"] = self.one_of(SCOPES[SCOPES.index(known.scope) :])
        if varies:
            self.varied[key] = written.get("scope", known.scope)
        return written

    def some(self, section, choices):
        """Return those of the keys that are drawn to be there, each from its maker."""
        found = {}
        for name, make in choices.items():
            if self.often():
                found[name] = make(f"{section}.{name}")
        return found


def _spread(low, high, *, straight=False):
    """Return a maker of a spread about a middle drawn from a range [house unit]."""

    def make(pen, key):
        return pen.spread(key, (pen.between if straight else pen.near)(low, high))

    return make


def _plain(low, high, dimension, *, straight=False):
    """Return a maker of one value drawn from a range [house unit]."""

    def make(pen, _key):
        return pen.number((pen.between if straight else pen.near)(low, high), dimension)

    return make


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
}
PROOF = {
    "rig_error": _plain(0.0, 0.2, "ratio", straight=True),
    "rig_bias": _plain(0.0, 0.2, "ratio", straight=True),
    "highest": _plain(200, 5e4, "force"),
    "most_to_refuse": _plain(0.0, 1.0, "ratio", straight=True),
}


def _made(pen, section, makers):
    return pen.some(section, {name: lambda k, m=make: m(pen, k) for name, make in makers.items()})


def _fit(pen):
    """Return tube, plug and second plug, which must go into one another."""
    bore, gap = pen.near(5, 40), pen.near(0.02, 0.6)
    wall, overlap = pen.near(0.5, 5), pen.near(4, 80)
    plug = bore - 2 * gap
    tube = {"material": pen.one_of(pen.one_of((METALS, COMPOSITES)))}
    tube["outer_diameter"] = pen.number(bore + 2 * wall, "length")
    tube |= _made(pen, "tube", TUBE)
    if tube["material"] in COMPOSITES:
        tube |= _made(pen, "tube", PLIES)
    if pen.often():
        tube["strength_by_temperature"] = _curve(pen)
    first = {"material": pen.one_of(METALS), "overlap": pen.spread("plug.overlap", overlap)}
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


def _gap(pen, gap):
    """Write a gap on one side in the ways that can be turned into a diameter."""
    limits = {"never_outside": [pen.number(share * gap, "length") for share in (0.6, 1.4)]}
    most = limits | {"most_likely": pen.number(gap, "length")}
    about = {"mean": pen.number(gap, "length"), "sd": pen.number(gap / 6, "length")}
    return pen.one_of([about["mean"], limits, most, about])


def _second(pen, bore, overlap, from_gap, plug):
    """Return what the second plug has of its own, and the narrower of the two plugs [mm]."""
    if not pen.often():
        return {}, plug
    own = _made(pen, "second_plug", PLUG)
    if pen.often():
        own["material"] = pen.one_of(METALS)
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
    """Return temperatures, the hottest at times at the adhesive's end, never below the coldest."""
    warmest = 125 if pen.whole(0, 9) == 0 else 45
    makers = {
        "workshop_temperature": _plain(8, 35, "temperature"),
        "hottest": _spread(25, warmest, straight=True),
        "coldest": _spread(-40, 15, straight=True),
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
        if not own and recipe.acts != "in the rod" and pen.often():
            table["arm_ratio"] = pen.near(0.1, 8)
    if recipe is None or pen.often():
        table["kind"] = kind
    if kind != "sustained" and pen.often():
        table["direction"] = pen.one_of(["pull", "push", "both"])
    if kind == "event" and (recipe is None or pen.often() or not _has_rate(recipe)):
        table["rate"] = pen.number(pen.near(0.02, 2000), "rate")
    if own:
        sign = -1.0 if kind == "sustained" and pen.often() else 1.0
        table["size"] = _size(pen, name, kind, sign * pen.near(0.002, 1.2) * rough)
    table |= pen.some("load", {"scope": lambda _: pen.one_of(["all", "rod"])})
    return table | pen.some("load", {"note": lambda _: "measured on the bench"})


def _has_rate(recipe):
    return recipe.name == "a full push on a brake pedal at inspection"


def _size(pen, name, kind, middle):
    from dataclasses import replace

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
    table |= pen.some("target", {"period": lambda _: pen.one_of(periods)})
    return table | pen.some("target", {"scope": lambda _: pen.one_of(["set", "rod"])})


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
    }
    length = max(pen.near(60, 2500), 2.1 * overlap)
    return {"length": pen.number(length, "length")} | pen.some("rods", makers)


def _correlations(pen, second):
    """Return pairs of what varies and is drawn for the same thing, each key in one pair at most."""
    apart = {key for key in second if "second_" in key}
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


WEIGHTS = ("weak_bonds.lone_weight", "weak_bonds.bad_batch_weight", "rods.bow")


def _option(pen, document, overlap):
    """Return what one option of a file changes."""
    changes = {}
    tied = [key for pair in document.get("correlation", []) for key in pair["between"]]
    if pen.often():
        changes["title"] = "another way"
    droppable = [key for key in ("title", "note", "target", "pull", "proof") if key in document]
    if droppable and pen.often():
        changes["without"] = [pen.one_of(droppable)]
        if changes["without"] == ["target"] and pen.often():
            changes["target"] = _target(pen)
    if "plug.glued_share" not in tied and pen.often():
        changes["plug"] = {"glued_share": pen.number(pen.between(0.4, 1), "ratio")}
    if pen.often():
        changes["rods"] = {"count": pen.whole(1, 4), "length": f"{3 * overlap:.5g} mm"}
    if pen.often():
        changes["adhesive"] = {"class": pen.one_of(CLASSES)}
    loads = document.get("load", [])
    if loads and pen.often():
        name = pen.one_of([load["name"] for load in loads])
        changes["load"] = {name: {"note": "less often", "scope": pen.one_of(["all", "rod"])}}
    if pen.often():
        changes["pull"] = _pulls(pen, 2000.0)
    return changes


def _drawn(draw):
    pen = Pen(draw)
    document = {"schema": 1}
    texts = {"title": lambda _: pen.one_of(NAMES), "note": lambda _: "Every number invented."}
    document |= pen.some("", texts | {"seed": lambda _: pen.whole(0, 99)})
    tube, plug, second, (bore, overlap, wall, least) = _fit(pen)
    document |= {"rods": _rods(pen, bore, wall, overlap), "tube": tube, "plug": plug}
    document["second_plug"] = second
    _holes(pen, document, least)
    document["adhesive"] = _adhesive(pen)
    surfaces = ("plug", "tube", "second_plug", "second_tube")
    makers = dict.fromkeys(surfaces, _surface)
    rough = math.pi * bore * overlap * 15.0
    names = draw(st.lists(st.sampled_from(NAMES), max_size=3, unique=True))
    loads = [_load(pen, name, rough) for name in names]
    makers_of = {"preparation": makers, "weak_bonds": WEAK_BONDS, "model": MODEL, "proof": PROOF}
    document |= {name: _made(pen, name, found) for name, found in makers_of.items()}
    factor = {"bond_factor": lambda key: pen.spread(key, pen.near(0.6, 1.3))}
    document["batch"] = pen.some("batch", {"rods": lambda _: pen.whole(1, 9)} | factor)
    document["service"] = _service(pen)
    if loads or pen.often():
        document["life"] = {"duration": pen.number(pen.near(0.05, 40), "time")}
    if pen.whole(0, 3):
        document["target"] = _target(pen)
    document |= {"load": loads, "pull": _pulls(pen, rough)}
    said = [f"{table}.{key}" for table in document if isinstance(document[table], dict)
            for key in document[table]]  # fmt: skip
    document["correlation"] = _correlations(pen, [key for key in said if "second_" in key])
    document = {key: value for key, value in document.items() if value not in ({}, [])}
    if pen.whole(0, 3) == 0:
        names = ["longer", "as in 'B'"][: pen.whole(1, 2)]
        document["options"] = {name: _option(pen, document, 2.2 * overlap) for name in names}
    return document


# Text ------------------------------------------------------------------------------------------


def _inline(value):
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(name)} = {_inline(item)}" for name, item in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    return json.dumps(value, ensure_ascii=False)


def _key(name):
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def toml(document):
    """Return a document as TOML text: plain keys first, then tables and lists of tables."""
    lines = [f"{k} = {_inline(v)}" for k, v in document.items() if not isinstance(v, dict | list)]
    for name, value in document.items():
        tables = value if isinstance(value, list) else [value] if isinstance(value, dict) else []
        if name == "options":
            for option, changes in value.items():
                lines += [f"\n[options.{_key(option)}]"]
                lines += [f"{_key(k)} = {_inline(v)}" for k, v in changes.items()]
            continue
        for table in tables:
            lines += ["", f"[[{name}]]" if isinstance(value, list) else f"[{name}]"]
            lines += [f"{_key(k)} = {_inline(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


@st.composite
def scenarios(draw):
    """Draw the text of a valid scenario."""
    document = _drawn(draw)
    text = toml(document)
    assert tomllib.loads(text) == document
    return text
