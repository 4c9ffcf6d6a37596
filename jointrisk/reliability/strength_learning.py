"""What pulled parts teach about the strength of their batch.

Joints of a batch scatter by a known spread about a location that is not known: lognormal about
a median, or normal about a mean. Each pull that held, broke at a load or broke somewhere below
one moves what is believed of the location. How likely each is stands in `pull_likelihood`, the
integral in `posterior`, the strength of the next joint in `learned_spread`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError, nearest
from jointrisk.reliability.learned_spread import LearnedStrength
from jointrisk.reliability.posterior import Posterior, posterior_of
from jointrisk.reliability.pull_likelihood import Kind, Pulls, log_chance
from jointrisk.spread import Spread

__all__ = ["Learned", "learn_strength"]

Array = npt.NDArray[np.float64]
Family = Literal["lognormal", "normal"]

FAMILIES = ("lognormal", "normal")
MOST_ERROR = 0.3
"""Beyond this a load read in the rig could as well have been next to nothing."""
MOST_JOINTS = 1000
HIGHEST_LOG = 300.0
"""A log-median above this is a strength that was not put as a log."""
FAR = 3.0
"""Score of the prior beyond which what was learned contradicts it."""
LEFT_OUT = 1e-30
"""Share of the location that is left out from which it is told."""
RARE = 1e-3
"""Chance of the oddest of all pulls, times their number, below which it is told."""


@dataclass(frozen=True, slots=True)
class Learned:
    """What the pulls have taught about a batch."""

    location_mean: float
    """Mean of the location: of the log-median (lognormal) [log of N] or of the mean [N]."""
    location_sd: float
    """Its standard deviation [-, or N]."""
    predictive: Spread
    """Strength of one new, untested joint of the batch [N]."""
    pulls: int
    """How many pulls were told."""
    log_evidence: float
    """Log of the chance (density, where loads at the break were read) of the pulls under the
    prior, up to a constant of the loads read at breaks [-]."""
    surprise: float
    """Normal score of the location's posterior mean in its prior: beyond ∓3 they contradict."""
    notes: tuple[str, ...]
    """What contradicts what, in words."""
    posterior: Posterior
    """The location on panels of scores of its prior."""

    def location_quantile(self, q: npt.ArrayLike) -> Array:
        """Return the location that the batch's lies at or below with chance `q`.

        Parameters
        ----------
        q : array_like, (n,) [-]
            Chances, 0 to 1.

        Returns
        -------
        ndarray, (n,) [log of N, or N]

        Raises
        ------
        InputError
            If `q` is no chance.
        """
        return self.posterior.quantile(q)


def learn_strength(
    *,
    family: Family = "lognormal",
    location: Spread,
    within_sd: float,
    survived_at: Sequence[float] = (),
    failed_at: Sequence[float] = (),
    failed_below: Sequence[float] = (),
    joints_per_pull: int = 1,
    rig_error_cov: float = 0.0,
) -> Learned:
    """Learn where a batch's strength lies from parts that were pulled.

    Parameters
    ----------
    family : str
        How joints scatter inside the batch: "lognormal" or "normal".
    location : Spread [log of N, or N]
        What is believed before: of the log of the median ("lognormal") or of the mean
        ("normal"). Its standard deviation must be finite.
    within_sd : float [-, or N]
        Spread inside the batch, of the log for "lognormal".
    survived_at : sequence of float, (s,) [N]
        Loads that were held, one a pull.
    failed_at : sequence of float, (f,) [N]
        Loads read at the break, one a pull.
    failed_below : sequence of float, (g,) [N]
        Loads at or below which a part broke, one a pull.
    joints_per_pull : int [-]
        Joints that a pull loads alike: the part breaks at its weakest. 1 for one joint, 2 for a
        rod with two ends.
    rig_error_cov : float [-]
        Standard deviation of each pull's own error e: the load that acts is L·(1 + e).

    Returns
    -------
    Learned
        Without pulls it is what was believed before. Where the pulls contradict the prior or
        the spread inside the batch, the answer is still Bayes' rule and `notes` says so.

    Raises
    ------
    InputError
        If an argument is out of range, or the prior leaves no value that could give the pulls.

    Notes
    -----
    With S the chance that a joint holds and f its density, a pull of k joints that held gives
    the likelihood S(L)^k, one that broke at L gives k f(L) S(L)^(k−1), one that broke at or
    below L gives 1 − S(L)^k, each averaged over e (derivation: independent joints). A gauge's
    error common to all pulls is not in it.
    """
    _check_kind(family, location)
    log = family == "lognormal"
    width = _number("within_sd", within_sd, above=0.0)
    error = _number("rig_error_cov", rig_error_cov, least=0.0, most=MOST_ERROR)
    joints = _joints(joints_per_pull)
    seen = {
        "survived_at": _loads("survived_at", survived_at),
        "failed_at": _loads("failed_at", failed_at),
        "failed_below": _loads("failed_below", failed_below),
    }
    batch = _Batch(log, width, joints, error)
    pulls = tuple(batch.pulls(kind, loads) for kind, loads in seen.items() if loads.size)

    def log_likelihood(part: Spread, u: Array) -> Array:
        return batch.log_likelihood(pulls, part.from_normal(u))

    found = posterior_of(location, log_likelihood, resolution=width)
    mean, sd = found.expect(found.values) if pulls else (location.mean, location.sd)
    surprise, _ = found.expect(np.clip(location.to_normal(found.values), -38.0, 38.0))
    notes = (*_far_from_prior(surprise), *_odd_pulls(batch, seen, found)) if pulls else ()
    return Learned(
        location_mean=mean,
        location_sd=sd,
        predictive=_predictive(found, width, log),
        pulls=sum(loads.size for loads in seen.values()),
        log_evidence=found.log_evidence,
        surprise=surprise,
        notes=(*notes, *_left_out(found)),
        posterior=found,
    )


@dataclass(frozen=True, slots=True)
class _Batch:
    """How joints of a batch scatter and how they are pulled."""

    log: bool
    width: float
    joints: int
    error: float

    def pulls(self, kind: str, loads: Array) -> Pulls:
        """Return pulls of one kind, counted."""
        return Pulls.of(kind, loads, self.log, self.width)  # type: ignore[arg-type]

    def log_likelihood(self, pulls: Sequence[Pulls], at: Array) -> Array:
        """Return the log-likelihood of pulls at locations, (n,)."""
        total = np.zeros(at.shape)
        for part in pulls:
            total += log_chance(
                part, at, log=self.log, width=self.width, joints=self.joints, error=self.error
            )
        return total


def _predictive(found: Posterior, width: float, log: bool) -> LearnedStrength:
    """Return the strength of a new joint; equal locations are taken together."""
    values, weights = found.values, found.log_weights
    keep = (weights > -745.0) & np.isfinite(values)
    at, place = np.unique(values[keep], return_inverse=True)
    total = np.full(at.size, -np.inf)
    np.logaddexp.at(total, place, weights[keep])
    endless = bool(np.isinf(found.prior.ppf(1.0)))
    return LearnedStrength(at, total, width, log, endless)


def _far_from_prior(surprise: float) -> tuple[str, ...]:
    """Say that prior and pulls contradict each other."""
    if abs(surprise) <= FAR:
        return ()
    side = "lower" if surprise < 0 else "higher"
    return (
        f"the pulls put the location {abs(surprise):.1f} standard scores {side} than the prior"
        " expects: they contradict each other; check the prior, the loads and their units",
    )


def _left_out(found: Posterior) -> tuple[str, ...]:
    """Say how deep the tails of the predictive can be read."""
    if found.left_out < LEFT_OUT:
        return ()
    return (
        f"a share of {found.left_out:.1g}, far out in the tails of the location, is left out:"
        " chances of the predictive near that or below it mean nothing",
    )


def _odd_pulls(batch: _Batch, seen: dict[str, Array], found: Posterior) -> tuple[str, ...]:
    """Say which pulls are next to impossible even with what was learned from them."""
    notes = []
    extremes: tuple[tuple[str, str, Kind], ...] = (
        ("survived_at", "max", "survived_at"),
        ("failed_below", "min", "failed_below"),
        ("failed_at", "max", "survived_at"),
        ("failed_at", "min", "failed_below"),
    )
    words = {"survived_at": "held", "failed_below": "broke at or below", "failed_at": "broke at"}
    weights = found.log_weights
    for kind, side, event in extremes:
        loads = seen[kind]
        if not loads.size:
            continue
        load = float(getattr(loads, side)())
        each = batch.log_likelihood([batch.pulls(event, np.array([load]))], found.values)
        chance = float(np.exp(np.logaddexp.reduce(weights + each)))
        if chance * loads.size < RARE:
            notes.append(
                f"a pull that {words[kind]} {load:g} N: the chance of one so far out is"
                f" {f'{chance:.1g}' if chance else 'below 1e-300'} even with what was learned;"
                " within_sd, the family or the record may be wrong"
            )
    return tuple(notes)


def _check_kind(family: str, location: Spread) -> None:
    """Refuse an unknown family and a location that is no spread of it."""
    if family not in FAMILIES:
        close = nearest(str(family), FAMILIES)
        hint = f"; did you mean {close!r}?" if close else ""
        raise InputError(
            f"family must be one of {', '.join(map(repr, FAMILIES))}, got {family!r}{hint}"
        )
    if not isinstance(location, Spread):
        raise InputError(
            f"location must be a spread, got {location!r} (a known number is spread.Fixed(value))"
        )
    if not (np.isfinite(location.mean) and np.isfinite(location.sd)):
        raise InputError(
            f"location must have a finite standard deviation, got ({location}) with {location.sd:g}"
        )
    if family == "lognormal" and abs(location.mean) > HIGHEST_LOG:
        raise InputError(
            'location must be the spread of the log of the median for "lognormal", such as'
            f" ln 1000 = 6.9, got ({location}) with mean {location.mean:g}"
        )


def _number(
    name: str, value: float, *, above: float = -np.inf, least: float = -np.inf, most: float = np.inf
) -> float:
    """Return a number, refusing what is none or outside its range."""
    allowed = f"above {above:g}" if np.isfinite(above) else f"from {least:g} to {most:g}"
    try:
        number = float("nan") if isinstance(value, bool | str | bytes) else float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not (np.isfinite(number) and above < number and least <= number <= most):
        raise InputError(f"{name} must be a finite number {allowed}, got {value!r}")
    return number


def _joints(value: int) -> int:
    """Return the joints in a pull, refusing what is no count."""
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not whole or not 1 <= value <= MOST_JOINTS:
        raise InputError(
            f"joints_per_pull must be a whole number from 1 to {MOST_JOINTS}, got {value!r}"
        )
    return int(value)


def _loads(name: str, values: Sequence[float]) -> Array:
    """Return loads, refusing all that are none, by their places."""
    try:
        loads = np.asarray(values, dtype=np.float64)
        text = isinstance(values, str | bytes) or np.asarray(values).dtype.kind in "bUS"
    except (TypeError, ValueError):
        raise InputError(f"{name} must be a list of loads in N, got {values!r}") from None
    if loads.ndim != 1 or (text and loads.size):
        raise InputError(f"{name} must be a list of loads in N, got {values!r}")
    bad = np.flatnonzero(~(np.isfinite(loads) & (loads > 0.0)))
    if bad.size:
        found = ", ".join(f"{loads[i]:g} at place {i + 1}" for i in bad[:5])
        more = f" and {bad.size - 5} more" if bad.size > 5 else ""
        raise InputError(f"{name} must hold finite loads above 0 N, got {found}{more}")
    return loads
