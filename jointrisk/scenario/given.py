"""A value as a scenario writes it, and the spread it stands for.

A value is a plain text ("14.2 mm") or an inline table that says what its numbers mean:
``{ mean, sd }``, ``{ mean, cov }``, ``{ median, cov }``, ``{ p05, p95 }``,
``{ never_outside }``, ``{ never_outside, most_likely }``, ``{ never_outside, mean, sd }``.
Reading checks words and units; building checks numbers and gives the spread.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from jointrisk import units
from jointrisk.errors import InputError, nearest
from jointrisk.scenario.types import Kind, Scope  # pydantic reads the annotations of Given

if TYPE_CHECKING:
    from jointrisk.spread import Spread

__all__ = ["FAMILIES", "FORMS", "Given", "build", "hold_within", "read_given", "read_plain"]

FAMILIES = ("normal", "lognormal", "weibull", "gumbel", "uniform", "triangular", "beta")
SCOPES = ("joint", "rod", "batch", "all")
KINDS = ("scatter", "not known")
FORMS = (
    "{ mean, sd }",
    "{ mean, cov }",
    "{ median, cov }",
    "{ p05, p95 }",
    "{ never_outside = [a, b] }",
    "{ value }",
)
_NUMBERS = ("value", "mean", "sd", "cov", "median", "p05", "p95", "most_likely")
_KEYS = (*_NUMBERS, "never_outside", "truncated", "dist", "scope", "kind", "source")
_HINTS = {
    "low": "never_outside = [a, b], or p05",
    "high": "never_outside = [a, b], or p95",
    "min": "never_outside = [a, b]",
    "max": "never_outside = [a, b]",
    "mu": "mean (of the quantity itself, not of its logarithm)",
    "sigma": "sd, or cov (of the quantity itself, not of its logarithm)",
    "std": "sd",
    "stdev": "sd",
    "mode": "most_likely",
    "distribution": "dist",
    "family": "dist",
}
_Z95 = 1.6448536269514722
_EULER = 0.5772156649015329
_TINY = 1e-12
_MOST_CUT = 0.01


@dataclass(frozen=True, slots=True)
class Given:
    """A value as written: numbers in house units, still without a family chosen for it."""

    dimension: str
    text: str
    numbers: Mapping[str, float]
    never_outside: tuple[float, float] | None = None
    truncated: tuple[float, float] | None = None
    dist: str | None = None
    scope: Scope | None = None
    kind: Kind | None = None
    source: str | None = None

    @property
    def plain(self) -> float | None:
        """The value where it is one number without a spread."""
        return self.numbers.get("value")


def read_plain(raw: object, dimension: str) -> Given:
    """Return one number with its unit; a table is refused."""
    if isinstance(raw, dict):
        raise InputError(
            f"takes one value, not a spread "
            f'(got a table; expected a text such as "{units.example(dimension)}")'
        )
    value = units.parse(raw, dimension)  # type: ignore[arg-type]  # refuses other types itself
    return Given(dimension, raw if isinstance(raw, str) else f"{value:g}", {"value": value})


def read_given(raw: object, dimension: str) -> Given:
    """Return what `raw`, a text, a number or a table, says.

    Raises
    ------
    InputError
        An unknown word, a missing or wrong unit; every fault of the table in one message each,
        joined by "; and ".
    """
    if not isinstance(raw, dict):
        return read_plain(raw, dimension)
    faults: list[str] = []
    numbers: dict[str, float] = {}
    pairs: dict[str, tuple[float, float]] = {}
    for key, value in raw.items():
        try:
            if key in _NUMBERS:
                numbers[key] = units.parse(value, _dimension_of(key, dimension))
            elif key in ("never_outside", "truncated"):
                pairs[key] = _pair(value, dimension)
            else:
                _check_word(key, value)
        except InputError as error:
            faults.append(str(error) if key not in _KEYS else f"{key} {error}")
    if faults:
        raise InputError("; and ".join(faults))
    words = {k: raw.get(k) for k in ("dist", "scope", "kind", "source")}
    return Given(
        dimension,
        "",
        numbers,
        pairs.get("never_outside"),
        pairs.get("truncated"),
        **words,
    )


def build(given: Given, family: str, limits: tuple[float, float] = (0.0, 1.0)) -> Spread:
    """Return the spread that `given` stands for; `family` is used where it names none.

    A beta without limits of its own lies between `limits`, those of its quantity.

    Raises
    ------
    InputError
        Numbers that do not go together, or are out of range for the family.
    """
    from jointrisk import spread

    form = frozenset(given.numbers) | ({"never_outside"} if given.never_outside else set())
    if form == {"value"}:
        if given.dist or given.truncated:
            raise InputError("a plain value has no dist and no truncated limits")
        return spread.Fixed(given.numbers["value"])
    if given.never_outside:
        base = _between(given, form)
    else:
        base = _from_two(given, form, given.dist or family, limits)
    if given.truncated is None:
        return base
    return spread.Truncated(base, *given.truncated)


def hold_within(base: Spread, low: float, high: float, unit: str) -> Spread:
    """Return `base` kept to [low, high], the range its quantity can have.

    A rare stray is cut off; where more than one draw in a hundred would stray, the spread is
    refused, since the quantity cannot be what was written.
    """
    from jointrisk import spread

    cut = 0.0
    if math.isfinite(low):
        cut += float(base.cdf(_just_below(low)))
    if math.isfinite(high):
        cut += float(base.sf(high * (1.0 + _TINY)))  # "95 %" is read as a hair above 0.95
    if cut <= _TINY:
        return base
    if cut > _MOST_CUT:
        # From 0 to 1 reads better than an endless upper limit.
        limits = f"at least {units.format_value(low, unit)}"
        if math.isfinite(high):
            limits = f"{units.format_value(low, unit)} to {units.format_value(high, unit)}"
        value = units.format_value(float(base.mean), unit)
        if isinstance(base, spread.Fixed):
            raise InputError(f"is out of range (got {value}; expected {limits})")
        found = f"{100 * cut:.3g} % of this spread lies outside what can be"
        raise InputError(f"{found} (got {value} on average; expected {limits})")
    return spread.Truncated(base, low, high)


def _just_below(x: float) -> float:
    return math.nextafter(x, -math.inf)


def _dimension_of(key: str, dimension: str) -> str:
    if key == "cov":
        return "ratio"
    if key == "sd" and dimension == "temperature":
        return "temperature difference"
    return dimension


def _pair(value: object, dimension: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"takes two limits (got {value!r}; expected [lower, upper])")
    low, high = (units.parse(v, dimension) for v in value)
    if not low < high:
        raise InputError(f"has its limits reversed (got [{value[0]}, {value[1]}]; lower first)")
    return low, high


def _check_word(key: str, value: object) -> None:
    """Refuse an unknown key, and a word that `key` does not take."""
    allowed = {"dist": FAMILIES, "scope": SCOPES, "kind": KINDS}.get(key)
    if allowed is not None and value not in allowed:
        close = nearest(value, allowed) if isinstance(value, str) else None
        rest = f'did you mean "{close}"?' if close else f"expected {', '.join(allowed)}"
        raise InputError(f'is not known (got "{value}"; {rest})')
    if key == "source" and not isinstance(value, str):
        raise InputError(f"takes a text (got {value!r})")
    if key not in _KEYS:
        hint = _HINTS.get(key) or nearest(key, _KEYS)
        meant = f"did you mean {hint}?" if hint else f"expected {', '.join(_KEYS)}"
        raise InputError(f'unknown key "{key}" ({meant})')


def _between(given: Given, form: frozenset[str]) -> Spread:
    """Spread between two limits."""
    from jointrisk import spread

    assert given.never_outside is not None  # noqa: S101
    low, high = given.never_outside
    kinds = {
        frozenset({"never_outside"}): "uniform",
        frozenset({"never_outside", "most_likely"}): "triangular",
        frozenset({"never_outside", "mean", "sd"}): "beta",
    }
    dist: str = kinds.get(form, "")
    if not dist:
        raise InputError(_misfit(form, "never_outside goes alone, with most_likely, or mean + sd"))
    if given.dist not in (None, dist):
        raise InputError(f'these numbers make dist = "{dist}" (got "{given.dist}")')
    if dist == "uniform":
        return spread.Uniform(low, high)
    if dist == "triangular":
        mode = given.numbers["most_likely"]
        if not low <= mode <= high:
            raise InputError(
                f"most_likely lies outside never_outside "
                f"(got {mode:g}; expected {low:g} to {high:g})"
            )
        return spread.Triangular(low, mode, high)
    return spread.Beta(low, high, given.numbers["mean"], given.numbers["sd"])


def _from_two(given: Given, form: frozenset[str], dist: str, limits: tuple[float, float]) -> Spread:
    """Spread of a family with two parameters, from two numbers."""
    if dist in ("uniform", "triangular") or (dist == "beta" and given.dist == "beta"):
        raise InputError(f'dist = "{dist}" needs never_outside = [a, b]')
    n = given.numbers
    if form == {"p05", "p95"}:
        return _from_quantiles(n["p05"], n["p95"], "lognormal" if dist == "beta" else dist)
    if form not in ({"mean", "sd"}, {"mean", "cov"}, {"median", "cov"}):
        raise InputError(_misfit(form, "expected one of " + ", ".join(FORMS)))
    for key in ("sd", "cov"):
        if key in n and n[key] <= 0:
            zero = "; leave it out and write a plain value" if n[key] == 0 else ""
            unit = units.house_unit(_dimension_of(key, given.dimension))
            got = units.format_value(n[key], unit)
            raise InputError(f"{key} is not above zero (got {got}{zero})")
    if "cov" in n and given.dimension == "temperature":
        raise InputError("a temperature takes sd, not cov: its zero is arbitrary")
    if "cov" in n and n.get("mean", n.get("median")) == 0:
        raise InputError("cov says nothing about a mean of 0; write sd")
    mean = n["mean"] if "mean" in n else _mean_of(n["median"], n["cov"], dist)
    sd = n["sd"] if "sd" in n else n["cov"] * abs(mean)
    return _make(dist, mean, sd, limits)


def _misfit(form: frozenset[str], expected: str) -> str:
    if not form:
        return f"gives no numbers ({expected})"
    return f"numbers that do not go together (got {', '.join(sorted(form))}; {expected})"


def _make(dist: str, mean: float, sd: float, limits: tuple[float, float]) -> Spread:
    from jointrisk import spread

    if dist in ("lognormal", "weibull", "beta") and mean <= 0:
        raise InputError(f"{dist} needs a mean above zero (got {mean:g})")
    if dist == "beta":
        return spread.Beta(*limits, mean, sd)
    if dist == "weibull":
        shape = _weibull_shape(sd / mean)
        return spread.Weibull(shape, mean / math.gamma(1 + 1 / shape))
    makers = {"normal": spread.Normal, "lognormal": spread.Lognormal, "gumbel": spread.Gumbel}
    made: Spread = makers[dist](mean, sd)
    return made


def _mean_of(median: float, cov: float, dist: str) -> float:
    """Mean of a spread given its median and its coefficient of variation."""
    if dist == "lognormal":
        return median * math.sqrt(1 + cov**2)
    if dist == "gumbel":
        return median / (1 - cov * math.sqrt(6) / math.pi * (_EULER + math.log(math.log(2))))
    if dist == "weibull":
        shape = _weibull_shape(cov)
        return median * math.gamma(1 + 1 / shape) / math.exp(math.log(math.log(2)) / shape)
    if dist == "normal":
        return median
    raise InputError(f"{dist} takes mean, not median")


def _weibull_shape(cov: float) -> float:
    """Shape of a Weibull spread whose sd over mean is `cov`."""
    from scipy.optimize import brentq

    def excess(log_shape: float) -> float:
        k = math.exp(log_shape)
        return math.lgamma(1 + 2 / k) - 2 * math.lgamma(1 + 1 / k) - math.log1p(cov**2)

    if not 1e-4 <= cov <= 20:
        raise InputError(f"cov is out of range for a Weibull spread (got {cov:g}; 0.0001 to 20)")
    root = brentq(excess, math.log(0.1), math.log(2e4), xtol=1e-14, rtol=1e-14)
    return math.exp(float(root))


def _from_quantiles(p05: float, p95: float, dist: str) -> Spread:
    """Spread of family `dist` through its 5 and 95 % points."""
    from jointrisk import spread

    if not p05 < p95:
        raise InputError(f"p05 is not below p95 (got {p05:g} and {p95:g})")
    if dist in ("lognormal", "weibull") and p05 <= 0:
        raise InputError(f"{dist} needs p05 above zero (got {p05:g})")
    if dist == "lognormal":
        s = math.log(p95 / p05) / (2 * _Z95)
        mean = math.sqrt(p05 * p95) * math.exp(s * s / 2)
        return spread.Lognormal(mean, mean * math.sqrt(math.expm1(s * s)))
    if dist == "normal":
        return spread.Normal((p05 + p95) / 2, (p95 - p05) / (2 * _Z95))
    low, high = -math.log(-math.log(0.05)), -math.log(-math.log(0.95))
    if dist == "gumbel":
        scale = (p95 - p05) / (high - low)
        return spread.Gumbel(p05 - scale * low + _EULER * scale, scale * math.pi / math.sqrt(6))
    low, high = math.log(-math.log(0.95)), math.log(-math.log(0.05))
    shape = (high - low) / math.log(p95 / p05)
    return spread.Weibull(shape, p05 / math.exp(low / shape))
