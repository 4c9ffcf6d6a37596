"""What passed and broken parts teach about the share of weak ones.

A share w of all parts is weak. In the pull a weak part survives with one chance, a sound one
with another; nobody sees which it was. With s survived and f failed the likelihood of w is

    (w p_weak + (1 − w) p_sound)^s (w (1 − p_weak) + (1 − w)(1 − p_sound))^f

on a Beta prior: a mixture of s + f + 1 Betas (derivation: expand both powers), integrated here
by quadrature, which does not mind how many parts there are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, bdtrc, xlogy

from jointrisk.errors import InputError
from jointrisk.reliability.posterior import Posterior, posterior_of
from jointrisk.spread import Beta, Spread

__all__ = ["LearnedFraction", "learn_weak_fraction"]

Array = npt.NDArray[np.float64]

FAR = 3.0
"""Score of the prior beyond which what was learned contradicts it."""
RARE = 1e-3
MOST_PARTS = 10**9


@dataclass(frozen=True, slots=True)
class LearnedFraction:
    """What the pulls have taught about the share of weak parts."""

    mean: float
    """Mean of the share: the chance that a part not pulled yet is weak [-]."""
    sd: float
    """Standard deviation of the share [-]."""
    survivor_is_weak: float
    """Chance that one of the parts told here as survived is weak [-].

    The mean over what is now believed of w of w p_weak / (w p_weak + (1 − w) p_sound). Where
    none has survived yet there is no such part, and this is that of the next one.
    """
    next_survivor_is_weak: float
    """Chance that the next part to be pulled is weak, once it has survived as well [-].

    A little below `survivor_is_weak`: that it survives is one more piece of evidence.
    """
    surprise: float
    """Normal score of the posterior in the prior: beyond ∓3 they contradict each other [-]."""
    log_evidence: float
    """Log of the chance of these pulls in one order, under the prior [-]."""
    notes: tuple[str, ...]
    """What teaches nothing or contradicts what, in words."""
    posterior: Posterior
    """The share on panels of scores of its prior."""

    def quantile(self, q: npt.ArrayLike) -> Array:
        """Return the share that the true one lies at or below with chance `q`.

        Parameters
        ----------
        q : array_like, (n,) [-]
            Chances, 0 to 1.

        Returns
        -------
        ndarray, (n,) [-]

        Raises
        ------
        InputError
            If `q` is no chance.
        """
        return self.posterior.quantile(q)


def learn_weak_fraction(
    *,
    prior: tuple[float, float],
    weak_survives: float,
    sound_survives: float,
    survived: int,
    failed: int,
) -> LearnedFraction:
    """Learn the share of weak parts from how many survived the pull.

    Parameters
    ----------
    prior : (float, float), (2,) [-]
        Exponents a and b of a Beta, both above 0: a weak among a + b parts, as it were.
    weak_survives : float [-]
        Chance that a weak part survives the pull, 0 to 1.
    sound_survives : float [-]
        Chance that a sound part survives the pull, 0 to 1.
    survived, failed : int [-]
        Parts that survived and that broke.

    Returns
    -------
    LearnedFraction

    Raises
    ------
    InputError
        If an argument is out of range, or nothing could have given these counts.
    """
    a, b = _pair(prior)
    chances = _chance("weak_survives", weak_survives), _chance("sound_survives", sound_survives)
    counts = _count("survived", survived), _count("failed", failed)
    _check_possible(chances, counts)
    share = _beta(a, b)
    mirrored = _beta(b, a)
    held, broke = np.array(chances), 1.0 - np.array(chances)

    def log_likelihood(_: Spread, u: Array) -> Array:
        both = np.array([share.from_normal(u), mirrored.from_normal(-u)])
        return np.asarray(xlogy(counts[0], held @ both) + xlogy(counts[1], broke @ both))

    found = posterior_of(share, log_likelihood)
    both = np.array([found.values, mirrored.from_normal(-found.scores)])
    mean, sd = found.expect(both[0]) if sum(counts) else (share.mean, share.sd)
    now, following = _survivors(found, held[:, None] * both)
    surprise, _ = found.expect(found.scores)
    return LearnedFraction(
        mean,
        sd,
        now if counts[0] else following,
        following,
        surprise,
        found.log_evidence,
        _notes(chances, counts, surprise, found, broke @ both),
        found,
    )


def _beta(a: float, b: float) -> Beta:
    """Return the Beta with these exponents."""
    total = a + b
    return Beta(0.0, 1.0, a / total, float(np.sqrt(a / total * (b / total) / (total + 1.0))))


def _survivors(found: Posterior, holds: Array) -> tuple[float, float]:
    """Return the chance that a survivor is weak, of those told and of the next.

    `holds`: chance of a part that is weak and survives, and of one that is sound and survives,
    at the nodes, (2, k).
    """
    total = holds.sum(axis=0)
    now, _ = found.expect(holds[0] / np.where(total > 0.0, total, 1.0))
    weak, sound = (found.expect(part)[0] for part in holds)
    return now, (weak / (weak + sound) if weak + sound > 0.0 else now)


def _notes(
    chances: tuple[float, float],
    counts: tuple[int, int],
    surprise: float,
    found: Posterior,
    breaks: Array,
) -> tuple[str, ...]:
    """Say what teaches nothing and what contradicts what; `breaks` is at the nodes, (k,)."""
    weak, sound = chances
    notes = []
    if weak == sound:
        notes.append(
            f"weak and sound parts survive alike, with chance {weak:g}: this pull teaches nothing"
            " about the share of weak ones"
        )
    if weak > sound:
        notes.append(
            f"weak parts survive more often ({weak:g}) than sound ones ({sound:g}):"
            " were the two swapped?"
        )
    if not sum(counts):
        return tuple(notes)
    if abs(surprise) > FAR:
        side = "fewer" if surprise < 0 else "more"
        notes.append(
            f"the pulls show {abs(surprise):.1f} standard scores {side} weak parts than the prior"
            " expects: they contradict each other"
        )
    n = sum(counts)
    least, _ = found.expect(bdtr(counts[1], n, breaks))
    most = 1.0 if not counts[1] else found.expect(bdtrc(counts[1] - 1, n, breaks))[0]
    if min(least, most) < RARE:
        notes.append(
            f"no share of weak parts explains {counts[1]:,} broken of {n:,}: the chance of so"
            f" {'few' if least < most else 'many'} is {min(least, most):.1g} even with what was"
            " learned; weak_survives, sound_survives or the record may be wrong"
        )
    return tuple(notes)


def _check_possible(chances: tuple[float, float], counts: tuple[int, int]) -> None:
    """Refuse chances under which nothing survives, and counts that cannot come about."""
    if not any(chances):
        raise InputError(
            "weak_survives and sound_survives are both 0: nothing can survive such a pull; one of"
            " them must be above 0"
        )
    if min(chances) == 1.0 and counts[1]:
        raise InputError(
            "weak_survives and sound_survives are both 1, so that nothing can break, but failed"
            f" is {counts[1]}"
        )


def _pair(prior: tuple[float, float]) -> tuple[float, float]:
    """Return the exponents of the prior, refusing all that are none."""
    try:
        a, b = (float("nan") if isinstance(x, bool | str | bytes) else float(x) for x in prior)
    except (TypeError, ValueError):
        a = b = float("nan")
    if not (1e-6 <= a <= 1e9 and 1e-6 <= b <= 1e9):
        raise InputError(
            f"prior must be two numbers (a, b) of a Beta, each from 1e-6 to 1e9, got {prior!r}"
        )
    return a, b


def _chance(name: str, value: float) -> float:
    """Return a chance, refusing what is none."""
    try:
        number = float("nan") if isinstance(value, bool | str | bytes) else float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not 0.0 <= number <= 1.0:
        raise InputError(f"{name} must be a chance from 0 to 1, got {value!r}")
    return number


def _count(name: str, value: int) -> int:
    """Return a count of parts, refusing what is none."""
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not whole or not 0 <= value <= MOST_PARTS:
        raise InputError(
            f"{name} must be a whole number of parts from 0 to {MOST_PARTS:,}, got {value!r}"
        )
    return int(value)
