"""From named variables to independent normal scores, labels and constants.

A variable becomes one of three things: a constant (one atom), a label (a few atoms), or a
coordinate, a standard normal score mapped through the variable's own spread. Every
combination of labels is a *cell* with its own probability; inside a cell only coordinates
vary. Dependence goes through a Gaussian copula on the scores.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from math import prod
from typing import Literal

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.pools import Pool, mapped
from jointrisk.spread import Spread

__all__ = ["Cell", "LimitState", "Problem", "Space", "checked_margin"]

Array = npt.NDArray[np.float64]
Values = dict[str, Array]
LimitState = Callable[[Values], Array]
Correlation = Mapping[tuple[str, str], float]

PIECE = 2**12
"""Rows worked out in one call: enough that handing them to a worker pays."""
MOST_CELLS = 64
"""Labels are enumerated as long as their combinations number no more than this."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One combination of labels."""

    labels: tuple[tuple[str, float], ...]
    """Name and value of each label."""
    probability: float
    """[-]."""


@dataclass(frozen=True, slots=True)
class Space:
    """Names, spreads and dependence; maps scores (n, d) to named values."""

    names: tuple[str, ...]
    constants: tuple[tuple[str, float], ...]
    coordinates: tuple[str, ...]
    spreads: tuple[Spread, ...]
    """Of the coordinates."""
    factor: Array | None
    """Cholesky factor of the score correlations, (d, d); None when independent."""
    cells: tuple[Cell, ...]

    @classmethod
    def of(
        cls,
        variables: Mapping[str, Spread],
        correlation: Correlation | None = None,
        correlation_of: str = "values",
        *,
        enumerate_labels: bool = True,
    ) -> Space:
        """Sort variables into constants, labels and coordinates.

        Parameters
        ----------
        variables : mapping of str to Spread
        correlation : mapping of (str, str) to float, optional
            Coefficients [-] of the pairs that hang together.
        correlation_of : str
            "values" (product-moment, converted) or "scores".
        enumerate_labels : bool
            False makes labels coordinates too, as plain Monte Carlo wants.

        Returns
        -------
        Space

        Raises
        ------
        InputError
            If there is no variable, a value is no spread, or a correlation is not usable.
        """
        _check_variables(variables)
        pairs = dict(correlation or {})
        tied = _check_pairs(pairs, variables)
        atoms = {name: spread.atoms for name, spread in variables.items()}
        constants = tuple((name, a[0][0]) for name, a in atoms.items() if a and len(a) == 1)
        labels = {
            name: a
            for name, a in atoms.items()
            if a and len(a) > 1 and enumerate_labels and name not in tied
        }
        labels = _few_enough(labels)
        fixed = dict(constants)
        coordinates = tuple(n for n in variables if n not in fixed and n not in labels)
        for name in tied & set(fixed):
            raise InputError(f"{name!r} is a constant, {fixed[name]:g}: it has no correlation")
        spreads = tuple(variables[name] for name in coordinates)
        factor = _factor(coordinates, pairs, spreads, correlation_of) if pairs else None
        cells = tuple(
            Cell(
                tuple((name, value) for name, (value, _) in zip(labels, choice, strict=True)),
                prod(chance for _, chance in choice),
            )
            for choice in product(*labels.values())
        )
        possible = tuple(cell for cell in cells if cell.probability > 0)
        return cls(tuple(variables), constants, coordinates, spreads, factor, possible)

    @property
    def dim(self) -> int:
        """Number of coordinates d."""
        return len(self.coordinates)

    def correlate(self, u: Array) -> Array:
        """Give correlated scores, (n, d), from independent ones."""
        return u if self.factor is None else u @ self.factor.T

    def values(self, u: Array, cell: Cell) -> Values:
        """Give every variable by name, (n,), in the order the caller named them."""
        n = u.shape[0]
        scores = self.correlate(u)
        found: Values = {
            name: np.asarray(spread.from_normal(scores[:, i]), dtype=float)
            for i, (name, spread) in enumerate(zip(self.coordinates, self.spreads, strict=True))
        }
        for name, value in (*self.constants, *cell.labels):
            found[name] = np.full(n, float(value))
        return {name: found[name] for name in self.names}

    def directions(self, alpha: Array) -> dict[str, float]:
        """Name the entries of a unit normal; labels and constants have 0.

        With dependence the normal is taken in the space of the correlated scores and
        made a unit vector again, so that it does not hang on the order of the names
        (Der Kiureghian 2005, importance vector gamma, from memory).
        """
        if self.factor is not None and np.all(np.isfinite(alpha)):
            alpha = np.asarray(np.linalg.solve(self.factor.T, alpha), dtype=float)
            alpha = alpha / np.linalg.norm(alpha)
        return dict.fromkeys(self.names, 0.0) | {
            name: float(a) for name, a in zip(self.coordinates, alpha, strict=True)
        }


@dataclass(frozen=True, slots=True)
class Problem:
    """A limit state in its space."""

    space: Space
    limit_state: LimitState
    pool: Pool | None = None
    """Shares out the pieces of large batches."""

    def margin(self, u: Array, cell: Cell) -> Array:
        """Give the checked margin, (n,); NaN stays NaN.

        More than `PIECE` rows go in pieces, with a pool or without: the last bits of a
        value may hang on how many rows are worked out together.
        """
        if u.shape[0] <= PIECE:
            return self.at_once(u, cell)
        alone = partial(replace(self, pool=None).at_once, cell=cell)
        pieces = [u[start : start + PIECE] for start in range(0, u.shape[0], PIECE)]
        return np.concatenate(list(mapped(self.pool, alone, pieces)))

    def at_once(self, u: Array, cell: Cell) -> Array:
        """Give the checked margin in one call of the limit state, (n,)."""
        return checked_margin(self.limit_state(self.space.values(u, cell)), u.shape[0])


def checked_margin(found: object, n: int, name: str = "limit_state") -> Array:
    """Give what a limit state returned as floats, refusing any other shape or type.

    Parameters
    ----------
    found : object
        What the caller's function returned.
    n : int
        Rows it was given.
    name : str
        What to call the function in the message.

    Returns
    -------
    ndarray, (n,)

    Raises
    ------
    InputError
        If it is no real numeric array of shape (n,).
    """
    array = np.asarray(found)
    if array.dtype.kind not in "fiu" or array.shape != (n,):
        raise InputError(
            f"{name} must return real numbers of shape ({n},), "
            f"got {array.dtype} of shape {array.shape}"
        )
    return array.astype(float, copy=False)


def _check_variables(variables: Mapping[str, Spread]) -> None:
    """Refuse an empty mapping and values that are no spreads."""
    if not variables:
        raise InputError("variables must name at least one spread, got none")
    for name, spread in variables.items():
        if not isinstance(spread, Spread):
            raise InputError(
                f"variable {name!r} must be a spread such as Normal(mean, sd), got {spread!r}"
            )


def _check_pairs(pairs: Correlation, variables: Mapping[str, Spread]) -> set[str]:
    """Names in any correlation; refuse malformed and unknown ones."""
    tied: set[str] = set()
    for pair in pairs:
        if not isinstance(pair, tuple) or len(pair) != 2:
            raise InputError(f"a correlation is keyed by two names, got {pair!r}")
        for name in pair:
            if name not in variables:
                known = ", ".join(repr(other) for other in variables)
                raise InputError(f"correlation names {name!r}, which is not among {known}")
        tied |= set(pair)
    return tied


def _few_enough(
    labels: dict[str, tuple[tuple[float, float], ...]],
) -> dict[str, tuple[tuple[float, float], ...]]:
    """Keep labels, those of fewest atoms first, while the cells stay countable."""
    kept: dict[str, tuple[tuple[float, float], ...]] = {}
    cells = 1
    for name in sorted(labels, key=lambda name: len(labels[name])):
        cells *= len(labels[name])
        if cells > MOST_CELLS:
            break
        kept[name] = labels[name]
    return kept


def _factor(
    names: tuple[str, ...], pairs: Correlation, spreads: tuple[Spread, ...], of: str
) -> Array:
    """Cholesky factor of the score correlations."""
    from jointrisk.spread.copula import GaussianCopula

    if of not in ("values", "scores"):
        raise InputError(f'correlation_of must be "values" or "scores", got {of!r}')
    kind: Literal["values", "scores"] = "values" if of == "values" else "scores"
    return GaussianCopula(names, pairs, spreads, of=kind).factor
