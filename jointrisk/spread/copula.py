"""Gaussian copula: spreads that move together.

Each variable is a spread read at a standard normal score, and the scores are jointly
normal. A correlation of the *values* is not the correlation of the *scores*; the link is the
series of Mehler: with the values' coefficients a_k, b_k on normalised Hermite polynomials,

    ρ_values = Σ a_k b_k ρ_scores^k / (sd₁ sd₂),   k = 1, 2, …

Not every ρ_values can be reached: the ends are those of scores correlated by −1 and +1.

Sources: Nataf (1962), Comptes Rendus 225, 42-43; Liu and Der Kiureghian (1986),
Probabilistic Engineering Mechanics 1(2), 105-112, doi:10.1016/0266-8920(86)90033-0; Mehler
(1866), J. reine angew. Math. 66, 161-176. Validity: any two spreads with finite sd.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np

from jointrisk.errors import InputError, nearest
from jointrisk.spread.base import FloatArray, Spread
from jointrisk.spread.families import Lognormal, Normal
from jointrisk.spread.moments import normal_nodes

__all__ = ["GaussianCopula", "reachable_correlation", "score_correlation"]

TERMS = 200
Pair = tuple[str, str]


@dataclass(frozen=True, slots=True, eq=False)
class GaussianCopula:
    """Joint scores of named variables.

    Parameters
    ----------
    names : sequence of str, (d,) [-]
        Variables, in the order of the columns.
    correlation : mapping of (str, str) to float [-]
        Coefficients of pairs, in either order; pairs not named are independent.
    spreads : mapping of str to Spread, or sequence of Spread, (d,) [-]
        Spreads of the variables; needed for correlations of the values.
    of : {"values", "scores"} [-]
        What the coefficients speak of: the values themselves (product-moment, converted)
        or their normal scores.

    Raises
    ------
    InputError
        For an unknown, repeated or self-paired name, a coefficient outside −1 to 1, one
        that the two spreads cannot reach, or a matrix that is not positive definite.
    """

    names: Sequence[str]
    correlation: Mapping[Pair, float]
    spreads: Mapping[str, Spread] | Sequence[Spread] | None = None
    of: Literal["values", "scores"] = "values"
    matrix: FloatArray = field(init=False, repr=False)
    factor: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if self.of not in ("values", "scores"):
            raise InputError(f'correlation must be of "values" or "scores", got {self.of!r}')
        object.__setattr__(self, "names", tuple(self.names))
        pairs = _checked_pairs(self.names, self.correlation)
        if self.of == "values" and pairs:
            known = _by_name(self.names, self.spreads)
            pairs = {
                (a, b): score_correlation(known[a], known[b], value, names=(a, b))
                for (a, b), value in pairs.items()
            }
        matrix = np.eye(len(self.names))
        for (a, b), value in pairs.items():
            i, j = self.names.index(a), self.names.index(b)
            matrix[i, j] = matrix[j, i] = value
        _require_positive_definite(matrix, pairs, self.names)
        object.__setattr__(self, "matrix", matrix)
        object.__setattr__(self, "factor", np.linalg.cholesky(matrix))

    def correlate(self, u: FloatArray) -> FloatArray:
        """Return correlated scores from independent ones.

        Parameters
        ----------
        u : ndarray, (n, d) [-]
            Independent standard normal scores.

        Returns
        -------
        ndarray, (n, d) [-]
            Scores with the correlations of `matrix`.
        """
        return np.asarray(u, dtype=np.float64) @ self.factor.T

    def decorrelate(self, z: FloatArray) -> FloatArray:
        """Return the independent scores behind correlated ones; the inverse of `correlate`.

        Parameters
        ----------
        z : ndarray, (n, d) [-]
            Correlated scores.

        Returns
        -------
        ndarray, (n, d) [-]
            Independent standard normal scores.
        """
        return np.asarray(np.linalg.solve(self.factor, np.asarray(z).T).T, dtype=np.float64)


def reachable_correlation(first: Spread, second: Spread) -> tuple[float, float]:
    """Return the range of value correlations that two spreads can have.

    Parameters
    ----------
    first, second : Spread [-]
        Spreads with finite, positive standard deviation.

    Returns
    -------
    tuple of float [-]
        Correlation of the values at score correlations −1 and +1 (the bounds of Fréchet and
        Hoeffding).
    """
    if isinstance(first, Lognormal) and isinstance(second, Lognormal):
        product = first.log_sd * second.log_sd
        scale = float(np.sqrt(np.expm1(first.log_sd**2) * np.expm1(second.log_sd**2)))
        return float(np.expm1(-product)) / scale, float(np.expm1(product)) / scale
    ends = [_value_correlation(first, second, rho) for rho in (-1.0, 1.0)]
    return ends[0], ends[1]


def score_correlation(
    first: Spread, second: Spread, value: float, *, names: Pair = ("first", "second")
) -> float:
    """Return the correlation of the scores that gives a correlation of the values.

    Closed for two normals and two lognormals, else Mehler's series solved by bisection.

    Parameters
    ----------
    first, second : Spread [-]
        The two spreads.
    value : float [-]
        Wanted product-moment correlation of the values.
    names : tuple of str [-]
        What to call the two in an error.

    Returns
    -------
    float [-]
        Correlation of the normal scores.

    Raises
    ------
    InputError
        When a spread has no finite, positive standard deviation or `value` cannot be reached.
    """
    pair = f"{names[0]} and {names[1]}"
    for name, spread in zip(names, (first, second), strict=True):
        if not 0.0 < spread.sd < np.inf:
            raise InputError(
                f"correlation of {pair}: {name} ({spread}) has a standard deviation of"
                f" {spread.sd:g}, so its values have no correlation"
            )
    low, high = reachable_correlation(first, second)
    if not low - 1e-12 <= value <= high + 1e-12:
        raise InputError(
            f"correlation of {pair}: these spreads can reach {low:.4f} to {high:.4f}, got {value:g}"
        )
    if value == 0.0:
        return 0.0
    if isinstance(first, Normal) and isinstance(second, Normal):
        return float(value)
    if isinstance(first, Lognormal) and isinstance(second, Lognormal):
        s1, s2 = first.log_sd, second.log_sd
        return float(
            np.clip(
                np.log1p(value * np.sqrt(np.expm1(s1**2) * np.expm1(s2**2))) / (s1 * s2), -1.0, 1.0
            )
        )
    left, right = (-1.0, 0.0) if value < 0.0 else (0.0, 1.0)
    for _ in range(60):
        middle = 0.5 * (left + right)
        if _value_correlation(first, second, middle) < value:
            left = middle
        else:
            right = middle
    return 0.5 * (left + right)


def _value_correlation(first: Spread, second: Spread, rho: float) -> float:
    """Return the correlation of the values at a score correlation, by Mehler's series.

    What the series leaves out after `TERMS` terms is known exactly at ρ = ±1 and is put on
    the next two powers, so that the ends are met.
    """
    product, at_plus, at_minus = _series(first, second)
    powers = rho ** np.arange(1, TERMS + 1)
    rest_plus = at_plus - float(product.sum())
    rest_minus = at_minus - float(product @ (-1.0) ** np.arange(1, TERMS + 1))
    odd, even = 0.5 * (rest_plus - rest_minus), 0.5 * (rest_plus + rest_minus)
    return float(product @ powers) + odd * rho ** (TERMS + 1) + even * rho ** (TERMS + 2)


@lru_cache(maxsize=256)
def _series(first: Spread, second: Spread) -> tuple[FloatArray, float, float]:
    """Return the products a_k b_k/(sd₁ sd₂), (TERMS,), and the correlations at ρ = ±1."""
    u, weight = normal_nodes(first, second)
    x, y = first.from_normal(u), second.from_normal(u)
    y_back = second.from_normal(-u)
    scale = first.sd * second.sd
    x = np.where(weight > 0.0, x - first.mean, 0.0)
    y = np.where(weight > 0.0, y - second.mean, 0.0)
    y_back = np.where(weight > 0.0, y_back - second.mean, 0.0)
    product = np.empty(TERMS)
    before, now = np.ones_like(u), u
    for k in range(1, TERMS + 1):
        product[k - 1] = float(weight @ (x * now)) * float(weight @ (y * now)) / scale
        before, now = now, (u * now - np.sqrt(k) * before) / np.sqrt(k + 1.0)
    return product, float(weight @ (x * y)) / scale, float(weight @ (x * y_back)) / scale


def _checked_pairs(names: Sequence[str], correlation: Mapping[Pair, float]) -> dict[Pair, float]:
    """Return the coefficients by pair, each pair once, refusing what cannot be meant."""
    if len(set(names)) != len(names):
        twice = sorted({name for name in names if list(names).count(name) > 1})
        raise InputError(f"correlation: the name {twice[0]} stands more than once in {names}")
    pairs: dict[Pair, float] = {}
    for (a, b), value in correlation.items():
        for name in (a, b):
            if name not in names:
                close = nearest(name, names)
                hint = f", did you mean {close}?" if close else f", known are {', '.join(names)}"
                raise InputError(f"correlation of {a} and {b}: there is no variable {name}{hint}")
        if a == b:
            raise InputError(f"correlation of {a} and {b}: a variable is not paired with itself")
        if not -1.0 <= value <= 1.0:
            raise InputError(f"correlation of {a} and {b}: must be from -1 to 1, got {value:g}")
        if pairs.get((b, a), value) != value:
            raise InputError(
                f"correlation of {a} and {b}: given twice, as {pairs[b, a]:g} and as {value:g}"
            )
        if (b, a) not in pairs:
            pairs[a, b] = float(value)
    return pairs


def _by_name(
    names: Sequence[str], spreads: Mapping[str, Spread] | Sequence[Spread] | None
) -> Mapping[str, Spread]:
    """Return the spread of every name."""
    if spreads is None:
        raise InputError('correlation of "values" needs the spreads of the variables, got none')
    if not isinstance(spreads, Mapping):
        if len(spreads) != len(names):
            raise InputError(
                f"correlation: {len(names)} names need as many spreads, got {len(spreads)}"
            )
        return dict(zip(names, spreads, strict=True))
    missing = [name for name in names if name not in spreads]
    if missing:
        raise InputError(f"correlation: no spread given for {', '.join(missing)}")
    return spreads


def _require_positive_definite(
    matrix: FloatArray, pairs: Mapping[Pair, float], names: Sequence[str]
) -> None:
    """Refuse a matrix of score correlations that no set of variables can have.

    The pairs named are those that pull the smallest eigenvalue down the most: with its
    eigenvector v, the terms 2 v_i v_j ρ_ij below zero.
    """
    if not pairs:
        return
    eigenvalues, vectors = np.linalg.eigh(matrix)
    if eigenvalues[0] > 1e-10:
        return
    v = vectors[:, 0]
    place = {name: i for i, name in enumerate(names)}
    pull = {(a, b): v[place[a]] * v[place[b]] * value for (a, b), value in pairs.items()}
    worst = [pair for pair in sorted(pull, key=pull.__getitem__) if pull[pair] < -1e-9][:3]
    told = ", ".join(f"{a} and {b} ({pairs[a, b]:.4g})" for a, b in worst)
    raise InputError(
        f"correlation: no variables can have these coefficients of the scores together: {told};"
        f" smallest eigenvalue {eigenvalues[0]:.3g}, must be above 0"
    )
