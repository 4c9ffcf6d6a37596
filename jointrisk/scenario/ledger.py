"""The book that resolving writes in: values, where they came from, problems and warnings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, TypeVar

from jointrisk import units
from jointrisk.errors import InputError, Problem
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES, Quantity
from jointrisk.scenario.given import Given, build, hold_within
from jointrisk.scenario.types import Assumption, Variable, Warning_

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.scenario.types import End, Origin
    from jointrisk.spread import Spread

__all__ = ["YOURS", "Ledger", "spread_text"]

YOURS = ("your scenario", "given")
_LEAST_SDS = 4.0
T = TypeVar("T")


@dataclass(slots=True)
class Ledger:
    """Grows while a scenario is resolved; nothing of it leaves the room."""

    given: Mapping[str, Any]
    """What the file says, by dotted key."""
    skip: set[str]
    """Keys whose value could not be read; nothing more is said of them."""
    problems: list[Problem]
    warnings: list[Warning_] = field(default_factory=list)
    assumptions: list[Assumption] = field(default_factory=list)
    variables: dict[str, Variable] = field(default_factory=dict)
    end: End = "plug"
    """What the metal ends are."""

    @property
    def ends(self) -> tuple[str, ...]:
        """Tables that the metal ends may have: the first, and the second where it may differ."""
        return ("plug", "second_plug") if self.end == "plug" else ("sleeve",)

    def broken(self, *keys: str) -> bool:
        """Return whether any of `keys`, or the table it stands in, could not be read."""
        bad = self.skip | {problem.key for problem in self.problems}
        return any(key in bad or key.split(".")[0] in bad for key in keys)

    def problem(self, key: str, what: str, got: str = "", expected: str = "") -> None:
        """Write down one thing that is wrong."""
        self.problems.append(Problem(key, what, got, expected))

    def warn(self, code: str, text: str) -> None:
        """Write down one warning."""
        self.warnings.append(Warning_(code, text))

    def assume(self, key: str, value: str, origin: Origin, source: str, confidence: str) -> None:
        """Write down one resolved value."""
        self.assumptions.append(Assumption(key, value, origin, source, confidence))

    def fact(self, key: str, value: T | None, fallback: T | None = None) -> T | None:
        """Return a plain fact of the file, or its default, and write it down."""
        if value is not None:
            self.assume(key, _plain(value), "scenario", *YOURS)
            return value
        if self.broken(key):
            return fallback
        row = tables.default(key)
        taken = row.value if fallback is None else fallback
        self.assume(key, _plain(taken), "default", row.source, row.confidence)
        return taken

    def one(self, key: str) -> float:
        """Return a plain number with a unit, or its default, and write it down."""
        row = None if key in self.given else tables.default(key)
        dimension = "time" if key == "life.duration" else "ratio"
        found: Given = row.given(dimension) if row else self.given[key]
        value = found.numbers["value"]
        text = units.format_value(value, units.house_unit(found.dimension))
        source, confidence = (row.source, row.confidence) if row else YOURS
        self.assume(key, text, "default" if row else "scenario", source, confidence)
        return value

    def variable(self, key: str, fallback: Given | None = None, cell: Any = None) -> Spread | None:
        """Resolve one quantity of the catalogue and write it down.

        Parameters
        ----------
        key : str
            Key of the catalogue.
        fallback : Given, optional
            Taken where the file says nothing; with none, the table of defaults.
        cell : object with source and confidence, optional
            Where `fallback` comes from.
        """
        quantity = QUANTITIES[key]
        found = self.given.get(key)
        if isinstance(found, Given):
            return self.enter(quantity, found, "scenario", *YOURS)
        if self.broken(key):
            return None
        if fallback is None:
            row = tables.default(key)
            fallback, cell = row.given(quantity.dimension), row
        return self.enter(quantity, fallback, "default", cell.source, cell.confidence)

    def enter(
        self, quantity: Quantity, found: Given, origin: Origin, source: str, confidence: str
    ) -> Spread | None:
        """Build the spread of `found`, check its range and write it down."""
        order = ("joint", "rod", "batch", "all")
        if found.scope and order.index(found.scope) < order.index(quantity.scope):
            shared = {"rod": "each rod has one", "batch": "each batch has one"}
            what = f"scope is too fine: {shared.get(quantity.scope, 'all have one in common')}"
            coarser = " or ".join(f'"{name}"' for name in order[order.index(quantity.scope) :])
            self.problem(quantity.key, what, f'"{found.scope}"', coarser)
            return None
        try:
            base = _checked(quantity, build(found, quantity.family, (quantity.low, quantity.high)))
        except InputError as error:
            self.problem(quantity.key, str(error))
            return None
        self.put(
            replace(
                quantity,
                scope=found.scope or quantity.scope,
                kind=found.kind or quantity.kind,
            ),
            base,
            origin,
            found.source or source,
            confidence,
        )
        return base

    def enter_at(
        self,
        key: str,
        quantity: Quantity,
        found: Given,
        origin: Origin,
        source: str,
        confidence: str,
    ) -> None:
        """As `enter`; what is wrong is told under `key`, where it stands in the file."""
        count = len(self.problems)
        self.enter(quantity, found, origin, source, confidence)
        self.problems[count:] = [replace(each, key=key) for each in self.problems[count:]]

    def put(
        self, quantity: Quantity, base: Spread, origin: Origin, source: str, confidence: str
    ) -> None:
        """Write down a finished spread."""
        unit = units.house_unit(quantity.dimension)
        self.variables[quantity.key] = Variable(
            quantity.key,
            quantity.label,
            base,
            unit,
            quantity.scope,
            quantity.kind,
            origin,
            source,
            confidence,
        )
        self.assume(quantity.key, spread_text(base, unit), origin, source, confidence)

    def mean(self, key: str) -> float | None:
        """Return the mean of a resolved quantity, or None where it has a problem."""
        found = self.variables.get(key)
        return None if found is None else float(found.spread.mean)


def spread_text(base: Spread, unit: str) -> str:
    """Return a spread in words, such as "25 MPa on average, CoV 0.1, lognormal"."""
    from jointrisk import spread

    if isinstance(base, spread.Fixed):
        return units.format_value(float(base.mean), unit)
    if isinstance(base, spread.Truncated):
        inner = spread_text(base.base, unit)
        return f"{inner}, cut {_limits(base.low, base.high, unit)}"
    name = type(base).__name__.lower()
    if isinstance(base, spread.Uniform):
        return f"anywhere {_limits(base.low, base.high, unit)}"
    if isinstance(base, spread.Triangular):
        most = units.format_value(base.mode, unit)
        return f"{_limits(base.low, base.high, unit)}, most likely {most}"
    mean, sd = float(base.mean), float(base.sd)
    about = f"{units.format_value(mean, unit)} on average"
    if unit in ("mm", "deg", "degC") or mean == 0:
        sd_unit = "K" if unit == "degC" else unit
        return f"{about}, sd {units.format_value(sd, sd_unit)}, {name}"
    return f"{about}, CoV {sd / abs(mean):.3g}, {name}"


def _limits(low: float, high: float, unit: str) -> str:
    return f"from {units.format_value(low, unit)} to {units.format_value(high, unit)}"


def _checked(quantity: Quantity, base: Spread) -> Spread:
    """Hold a spread to the range that its quantity can have."""
    from jointrisk import spread

    unit = units.house_unit(quantity.dimension)
    if isinstance(base, spread.Normal) and quantity.low == 0:
        sds = base.mean / base.sd
        if sds < _LEAST_SDS:
            raise InputError(
                f"is normal but must stay above zero (got a mean {sds:.3g} sd above zero; "
                f'expected {_LEAST_SDS:g} or more, or dist = "lognormal", or never_outside)'
            )
    if quantity.above_zero and float(base.mean) <= 0:
        found = units.format_value(float(base.mean), unit)
        raise InputError(f"is not above zero (got {found})")
    return hold_within(base, quantity.low, quantity.high, unit)


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
