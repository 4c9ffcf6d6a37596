"""Writes what a maker writes: numbers in many units, spreads in every way, TOML tables."""

from __future__ import annotations

import json
import math
import re

from hypothesis import strategies as st

from jointrisk.scenario.catalogue import QUANTITIES

SCOPES = ("joint", "rod", "batch", "all")
_BARE = re.compile(r"[A-Za-z0-9_-]+")

# Units: what one of each is in the unit of the house --------------------------------------------

UNITS = {
    "length": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "um": 1e-3, "in": 25.4, "thou": 0.0254},
    "force": {"N": 1.0, "kN": 1e3, "kgf": 9.80665, "lbf": 4.4482216152605},
    "moment": {"N m": 1.0, "Nm": 1.0, "N mm": 1e-3, "lbf ft": 1.3558179483314},
    "angle": {"deg": 1.0, "°": 1.0, "rad": 57.29577951308232},
    "stress": {"MPa": 1.0, "GPa": 1e3, "N/mm²": 1.0, "psi": 0.006894757293168, "bar": 0.1},
    "toughness": {"N/mm": 1.0, "kJ/m2": 1.0, "J/m²": 1e-3, "lbf/in": 0.1751268352464},
    "temperature difference": {"K": 1.0, "degF": 5 / 9},
    "expansion": {"/K": 1.0, "ppm/K": 1e-6, "ppm/degF": 1.8e-6},
    "time": {"years": 1.0, "months": 1 / 12, "days": 1 / 365.25, "h": 1 / 8766},
    "rate": {"/ year": 1.0, "per month": 12.0, "per day": 365.25, "times a week": 365.25 / 7},
    "ratio": {"": 1.0, "%": 0.01},
    "mass": {"g": 1.0, "kg": 1e3, "lb": 453.59237, "oz": 28.349523125},
}
DEGREES = {"degC": (1.0, 0.0), "°C": (1.0, 0.0), "K": (1.0, 273.15), "degF": (1.8, 32.0)}


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
        if self.whole(0, 3) == 0 and not key.startswith("load."):
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


def spread_about(low, high, *, straight=False):
    """Return a maker of a spread about a middle drawn from a range [house unit]."""

    def make(pen, key):
        return pen.spread(key, (pen.between if straight else pen.near)(low, high))

    return make


def plain_about(low, high, dimension, *, straight=False):
    """Return a maker of one value drawn from a range [house unit]."""

    def make(pen, _key):
        return pen.number((pen.between if straight else pen.near)(low, high), dimension)

    return make


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
