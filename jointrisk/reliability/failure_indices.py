"""Sobol' indices of the failure event, however rare: what decides whether a part lets go.

The variance of the margin speaks of ordinary parts, these indices of those that fail. Weighted
draws around all design points give the failures; drawing one variable of them anew tells
its total index, pairs of draws that share one variable its first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from jointrisk.errors import InputError
from jointrisk.reliability.estimates import Estimate, estimate
from jointrisk.reliability.failure_aims import Aim, Found, doubted, joined, total_of
from jointrisk.reliability.failure_pairs import COPIES, Pairs
from jointrisk.reliability.failure_plain import Pilot, Plain, look
from jointrisk.reliability.failure_redraw import (
    Opposite,
    Redrawn,
    contributions,
    label_firsts,
    labels_exactly,
    part_of,
)
from jointrisk.reliability.failure_regions import further_regions, weighed
from jointrisk.reliability.importance import Weighted, importance
from jointrisk.reliability.indices import (
    NOT_KNOWN,
    NOTHING,
    FailureIndices,
    Interval,
    checked_confidence,
    checked_count,
)
from jointrisk.reliability.interval import Bounds
from jointrisk.reliability.outcome import short_note, undefined_note
from jointrisk.reliability.pools import Pool
from jointrisk.reliability.space import Correlation, LimitState, Problem, Space
from jointrisk.reliability.streams import BLOCK, block_rng, resolve_seed
from jointrisk.spread import Spread

__all__ = ["failure_sobol"]

Array = npt.NDArray[np.float64]

PURPOSE = 24
_MOST = 2_000_000
_ROWS, _SHARED = 4096, 512
"""Draws of the first round: in all, and shared scores of each variable."""
_TOLD = 8
"""Names in a note at most."""
_LEAST_ROWS = 256
"""Plain draws that a further round has at least."""
_LEAST_SHARED = 64
"""Shared scores that a further round has at least."""
_PART = 0.7
"""Part of the aim that the pairs may use up; the probability uses the rest [-]."""
_CHECK_COV, _CHECK_PART = 0.1, 3
"""Coefficient of variation asked of the second value [-], its part of the calls left."""
_SEARCH_PART, _LOOK_PART = 4, 64
"""Parts of the calls for a first value, and for looking for regions that its search missed."""


def failure_sobol(
    limit_state: LimitState,
    variables: Mapping[str, Spread],
    *,
    correlation: Correlation | None = None,
    correlation_of: str = "values",
    target_cov: float = 0.05,
    samples: int | None = None,
    max_evaluations: int | None = None,
    confidence: float = 0.95,
    seed: int | None = None,
    pool: Pool | None = None,
) -> FailureIndices:
    """Estimate the first and total Sobol' indices of the event that a limit state is below 0.

    Parameters
    ----------
    limit_state : callable
        Mapping of name to values (n,) in; margin (n,) out, failure where it is < 0. A NaN
        counts as failure and is told in the notes.
    variables : mapping of str to Spread
    correlation : mapping of (str, str) to float, optional
        Coefficients [-] of the pairs that hang together.
    correlation_of : str
        "values" (product-moment) or "scores" (of the normal scores).
    target_cov : float
        Standard error to reach, over the index itself [-]; where that is less, over a tenth of
        the largest of its kind, for a first index over p / (2 (1 − p)) if that is smaller yet.
    samples : int, optional
        Draws around the failures, and draws for each pair of a variable [-], or plain draws
        where failure is common; then `target_cov` only says what counts as converged.
    max_evaluations : int, optional
        Calls of the limit state at most [-], 2,000,000 when not given; one round is always
        made.
    confidence : float
        Of the intervals [-].
    seed : int, optional
        0 is a seed; a fixed default when not given.
    pool : object with ``map``, optional
        Shares out the rows of large batches. Results do not depend on it.

    Returns
    -------
    FailureIndices
        First S = Var(P(F | X_i)) / (p (1 − p)), total T = E[Var(1_F | all but X_i)] / (p (1 − p)),
        with the failure probability p beside them.

    Raises
    ------
    InputError
        If an argument is out of range or the limit state returns another shape.

    Notes
    -----
    T p (1 − p) is the chance of failing and, with X_i drawn anew given all others, holding;
    S p (1 − p) that of failing twice with one X_i, less p². Of rare failures S is small
    and T near 1: they need several variables at once. Above p = 0.5 failing and
    holding change places, which changes no index.

    Where plain draws see enough failures (p above some 0.001 of 2,000,000 calls, and more
    than 20 coordinates or p above 0.05) they alone are used: nothing can be missed. First
    indices then come from the density of X_i among the failures over its own, by Bayes
    P(F | x) / p; what changes within a hundredth of its spread may be blurred, and is told
    where that is seen. Else the mixtures of importance sampling are used, with
    regions behind steps of single variables added, and `estimate` with "auto" has to agree
    with their probability: if not, `converged` is False and a note gives both values.

    References
    ----------
    The indices: Sobol' (2001), Math. Comp. Sim. 55, 271; for a failure event: Wei, Lu, Hao et
    al. (2012), Comp. Phys. Comm. 183, 946; interval of a sum: Zou & Donner (2008),
    Statistics in Medicine 27, 1693. From memory.
    """
    if not (np.isfinite(target_cov) and target_cov > 0):
        raise InputError(f"target_cov must be finite and > 0, got {target_cov:g}")
    confidence = checked_confidence(confidence)
    rows = None if samples is None else checked_count("samples", samples)
    most = _MOST if max_evaluations is None else checked_count("max_evaluations", max_evaluations)
    space = Space.of(variables, correlation, correlation_of)
    problem = Problem(space, limit_state, pool)
    run = _Run(problem, resolve_seed(seed), Aim(target_cov), rows, most, confidence)
    if space.dim == 0:
        return run.labels_alone()
    plain = Space.of(variables, correlation, correlation_of, enumerate_labels=False)
    part = most // _LOOK_PART if rows is None else min(most // _LOOK_PART, rows)
    pilot = run.looked(look(replace(problem, space=plain), part, run.rng()))
    if pilot.common:
        problem = replace(problem, space=plain, limit_state=run.problem.limit_state)
        return run.common(Plain(problem, pilot))

    def second(most: int) -> Estimate:
        return estimate(
            run.problem.limit_state,
            variables,
            correlation=correlation,
            correlation_of=correlation_of,
            target_cov=max(target_cov, _CHECK_COV),
            max_evaluations=most,
            confidence=confidence,
            seed=seed,
            pool=pool,
        )

    return run.indices(second)


@dataclass(slots=True)
class _Run:
    """One call: counts evaluations and hands out streams."""

    problem: Problem
    seed: int
    aim: Aim
    rows: int | None
    most: int
    confidence: float
    used: int = 0
    draws: int = 0
    undefined: int = 0
    streams: int = 0
    opposite: bool = False
    notes: list[str] = field(default_factory=list)

    def rng(self) -> np.random.Generator:
        """Next stream; they are asked for in a fixed order, so runs agree."""
        self.streams += 1
        return block_rng(self.seed, PURPOSE, self.streams)

    def looked(self, pilot: Pilot) -> Pilot:
        """Count the plain draws; where more than half failed, failing and holding change."""
        self.used += pilot.n
        self.undefined += pilot.undefined
        if pilot.opposite:
            self.problem = replace(self.problem, limit_state=Opposite(self.problem.limit_state))
            self.opposite = True
        return pilot

    def common(self, plain: Plain) -> FailureIndices:
        """Make plain draws until the probability and all indices are close enough."""
        before = self.used
        rows, anew = self.rows or _ROWS, True
        while True:
            for start in range(0, rows, BLOCK):
                plain.add(min(BLOCK, rows - start), self.rng(), anew=anew)
            self.used, self.draws = before + plain.calls, plain.n
            p, total, first, blurred = plain.learnt(self.confidence)
            if not plain.failures:
                break
            late = self.aim.excess(total)
            anew = late > 1.0
            short = max(
                2.0 * p.standard_error / p.estimate / self.aim.target,
                late,
                self.aim.excess(first, p.estimate),
            )
            wanted = max(1024.0, 1.1 * plain.n * short**2 - plain.n)
            rows = int(min(3.0 * plain.n, wanted, (self.most - self.used) / plain.cost(anew)))
            if short <= 1.0 or self.rows or rows < _LEAST_ROWS:
                break
        self.undefined += plain.undefined
        if not plain.failures:
            return self.unknown(p, plain.n)
        if blurred:
            self.notes.append(f"first index from few draws: {', '.join(blurred[:_TOLD])}")
        cov = p.standard_error / p.estimate
        if cov > self.aim.target:
            self.notes.append(short_note(cov, self.aim.target, plain.n))
        return self.told(p, first, total, cov <= self.aim.target)

    def unknown(self, p: Bounds, draws: int) -> FailureIndices:
        """Say that there is nothing to learn from."""
        said = "nothing held" if self.opposite else "nothing failed"
        self.notes.append(f"{said} in {draws:,} draws: the indices are not known")
        return self.told(p, {}, {}, False)

    def indices(self, second: Callable[[int], Estimate]) -> FailureIndices:
        """Find the failures, have another method confirm them, then both indices of each."""
        found = self.failures()
        if not 0.0 < found.bounds.estimate < 1.0:
            return self.unknown(found.bounds, int(sum(s.rows for s in found.strata)))
        if found.cov > self.aim.target:
            self.notes.append(short_note(found.cov, self.aim.target, found.evaluations))
        sure = self.confirmed(found, second)
        total = self.totals(found)
        first = self.firsts(found) | label_firsts(self.problem.space, found, self.confidence)
        return self.told(found.bounds, first, total, sure and found.cov <= self.aim.target)

    def confirmed(self, found: Weighted, second: Callable[[int], Estimate]) -> bool:
        """Tell whether a second value of the probability agrees; if not, say so."""
        left = max(1, (self.most - self.used) // _CHECK_PART)
        other = second(left if self.rows is None else min(left, 8 * self.rows))
        self.used += other.evaluations
        doubt = doubted(found, other)
        self.notes += [doubt] if doubt else []
        return not doubt

    def failures(self) -> Weighted:
        """Search and weigh the failures."""
        left = max(1, (self.most - self.used) // _SEARCH_PART)
        found = importance(
            self.problem,
            seed=self.seed,
            target_cov=0.5 * self.aim.target,
            max_evaluations=min(left, self.rows or left),
            confidence=self.confidence,
        )
        self.used += found.evaluations
        self.undefined += found.undefined
        found, calls = further_regions(
            self.problem, found, self.rng, self.rows or self.most // _LOOK_PART
        )
        self.used += calls
        if not all(s.rows for s in found.strata):
            found = weighed(
                self.problem,
                found,
                self.rng,
                target_cov=0.5 * self.aim.target,
                max_evaluations=min(left, self.rows or left),
                confidence=self.confidence,
            )
            self.used += found.evaluations
            self.undefined += found.undefined
        silent = [s for s in found.strata if not s.sums.sums.any()]
        if silent and len(silent) < len(found.strata):
            self.notes.append(f"no failure seen in {len(silent)} of {len(found.strata)} cells")
        return found

    # Total indices -------------------------------------------------------------------------------

    def totals(self, found: Weighted) -> Found:
        """Draw each variable of failing draws anew until the total indices are close enough."""
        holds = Redrawn(self.problem, found)
        rows, before = self.rows or _ROWS, self.used
        while True:
            for start in range(0, rows, BLOCK):
                holds.add(min(BLOCK, rows - start), self.rng())
            self.used, self.draws = before + holds.calls, holds.rows
            ratios = {name: self.total(holds, name, found.bounds) for name in holds.names}
            excess = self.aim.excess(ratios)
            done = holds.rows
            rows = int(min(3 * done, max(1024.0, 1.1 * done * excess**2 - done)))
            if excess <= 1.0 or self.rows or self.used + rows * holds.cost > self.most:
                self.undefined += holds.undefined
                return ratios

    def total(self, holds: Redrawn, name: str, p: Bounds) -> Bounds:
        """Total index of one variable: chance that a failure holds, over 1 − p."""
        weight, held = holds.weight, holds.held(name)
        if not weight.size:
            return Bounds(0.0, 0.0, 1.0, np.inf)
        found = part_of(weight, held, self.confidence)
        if found.estimate > 0.5:  # the interval of the rarer of the two holds better
            rest = part_of(weight, 1.0 - held, self.confidence)
            found = Bounds(
                1.0 - rest.estimate, 1.0 - rest.high, 1.0 - rest.low, rest.standard_error
            )
        return total_of(found, p)

    # First indices -------------------------------------------------------------------------------

    def firsts(self, found: Weighted) -> Found:
        """Draw pairs until the first indices of the coordinates are close enough."""
        space = self.problem.space
        factor = np.eye(space.dim) if space.factor is None else space.factor
        shares = contributions(found)
        pairs = {
            name: Pairs(self.problem, found.strata, shares, factor[i], found.bounds.estimate)
            for i, name in enumerate(space.coordinates)
        }
        rows = max(2, -(-self.rows // COPIES)) if self.rows else _SHARED
        todo = dict.fromkeys(pairs, rows)
        while True:
            for name, n in todo.items():
                for start in range(0, n, BLOCK // COPIES):
                    self.used += pairs[name].add(min(BLOCK // COPIES, n - start), self.rng())
            known = {name: self.first(pair, found.bounds) for name, pair in pairs.items()}
            plain = {name: entry[1] for name, entry in known.items()}
            floor = self.aim.floor(plain, found.bounds.estimate)
            todo = {
                name: self.further(pairs[name], plain[name], floor)
                for name in pairs
                if self.aim.short(plain[name], floor) > _PART
            }
            part = min(1.0, (self.most - self.used) / max(1, COPIES * sum(todo.values())))
            todo = {name: int(part * n) for name, n in todo.items() if part * n >= _LEAST_SHARED}
            if self.rows or not todo:
                self.undefined += sum(pair.undefined for pair in pairs.values())
                return {name: entry[0] for name, entry in known.items()}

    def first(self, pairs: Pairs, p: Bounds) -> tuple[Bounds, Bounds]:
        """First index of one variable, and the same with the error of the pairs alone."""
        found, chance = pairs.bounds(self.confidence), p.estimate
        scale = chance / (1.0 - chance)
        value = scale * found.estimate
        slope = value / chance * (1.0 / (1.0 - chance) - 2.0)
        low, high = joined(value, found, scale, slope, p)
        own = scale * found.standard_error
        error = float(np.hypot(own, slope * p.standard_error))
        value = min(max(value, 0.0), 1.0)
        return Bounds(value, low, high, error), Bounds(value, low, high, own)

    def further(self, pairs: Pairs, bounds: Bounds, floor: float) -> int:
        """Shared scores to draw next, at most three times those there are."""
        done = pairs.terms.size
        wanted = 1.1 * done * (self.aim.short(bounds, floor) / _PART) ** 2 - done
        return int(min(3 * done, max(128.0, wanted)))

    # The result ----------------------------------------------------------------------------------

    def labels_alone(self) -> FailureIndices:
        """Try every combination of labels: nothing is random."""
        space = self.problem.space
        margin = [float(self.problem.margin(np.zeros((1, 0)), cell)[0]) for cell in space.cells]
        self.used, self.undefined = len(margin), int(np.isnan(margin).sum())
        fails = (~(np.array(margin) >= 0)).astype(float)
        p = float(fails @ [cell.probability for cell in space.cells])
        first, total = labels_exactly(space, fails) if 0.0 < p < 1.0 else ({}, {})
        self.notes.append("labels alone: every combination was tried, the values are exact")
        return self.told(Bounds(p, p, p, 0.0), first, total, True)

    def told(self, p: Bounds, first: Found, total: Found, settled: bool) -> FailureIndices:
        """Name every variable, with what is not known and what is constant."""
        names = self.problem.space.names
        constants = dict(self.problem.space.constants)
        for kind, found, level in (("first", first, p.estimate), ("total", total, 1.0)):
            floor = self.aim.floor(found, level)
            late = [name for name, b in found.items() if self.aim.short(b, floor) > 1.0]
            settled = settled and not late
            if late:
                more = f" and {len(late) - _TOLD} more" if len(late) > _TOLD else ""
                self.notes.append(f"not converged: {kind} index of {', '.join(late[:_TOLD])}{more}")
        chance = 1.0 - p.estimate if self.opposite else p.estimate
        around = (1.0 - p.high, 1.0 - p.low) if self.opposite else (p.low, p.high)

        def interval(found: Found, name: str) -> Interval:
            unknown = NOTHING if name in constants else NOT_KNOWN
            return (found[name].low, found[name].high) if name in found else unknown

        return FailureIndices(
            mean=chance,
            variance=chance * (1.0 - chance),
            confidence=self.confidence,
            evaluations=self.used,
            samples=self.draws,
            notes=(*self.notes, *undefined_note(self.undefined, self.used)),
            first={name: first[name].estimate if name in first else 0.0 for name in names},
            total={name: total[name].estimate if name in total else 0.0 for name in names},
            first_interval={name: interval(first, name) for name in names},
            total_interval={name: interval(total, name) for name in names},
            probability=chance,
            probability_interval=around,
            converged=settled,
        )
