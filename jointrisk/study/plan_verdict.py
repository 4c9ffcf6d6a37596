"""Which candidate comes first, which is told from which, and whether any is worth doing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from jointrisk.study.pulls import odds
from jointrisk.study.rank_plain import tied_ranks

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from jointrisk.study.plan_results import Before, Candidate

SETTLED = 0.02
"""Share of the states that may disagree where the rest of them settle the target [-]."""
LEAST_GAIN = 0.05
"""Least share of what perfect knowledge would bring that is worth naming [-]."""
NEARLY = 0.8
"""Share of what the best candidate brings that is nearly as much (judgement) [-]."""
MOST, ROUNDING = 0.5, 1e-3
"""Share of states that meet the target after a pull, above which it is recommended; what a pull
chosen to meet the target just so may be over it, relative [-]."""


@dataclass(frozen=True, slots=True)
class Judged:
    """Candidates in their order, and what to do."""

    candidates: tuple[Candidate, ...]
    verdict: str
    reason: str
    next_key: str | None
    measure: str


def judged(
    found: Sequence[Candidate], before: Before, target: float | None, costs: Mapping[str, float]
) -> Judged:
    """Rank the candidates and say which to do next.

    Parameters
    ----------
    found : sequence of Candidate
    before : Before
    target : float, optional
        Failure probability to meet [-].
    costs : mapping of str to float
        By kind.
    """
    open_ = before.chance_met is None or SETTLED < before.chance_met.estimate < 1.0 - SETTLED
    decides = target is not None and open_
    measure = "wrong decision" if decides else "band width"
    perfect = before.wrong if decides and before.wrong is not None else before.width
    all_ = [_with_gain(each, decides, perfect.estimate, costs) for each in found]
    ranked = (*_ranked(each for each in all_ if each.doable),)
    ranked += (*_ranked(each for each in all_ if not each.doable),)
    if target is not None and not open_:
        return Judged(ranked, *_settled(ranked, before, target), measure)
    best = chosen(ranked)
    if best is not None:
        return Judged(ranked, "test", _test(best, before, decides), best.key, measure)
    pull = None if target is None else sorting(ranked, target)
    met = before.chance_met
    if decides and pull is not None and met is not None and met.estimate < MOST:
        return Judged(ranked, "pull", _sorted(before, pull), pull.key, measure)
    return Judged(ranked, "nothing tells", _nothing(ranked, decides), None, measure)


def _with_gain(
    each: Candidate, decides: bool, perfect: float, costs: Mapping[str, float]
) -> Candidate:
    """Set what the candidate is ranked by, whether it brings that, and its cost."""
    drop = each.wrong_drop if decides else each.width_drop
    assert drop is not None  # noqa: S101 - there is a target where decisions count
    cost = cost_of(each, costs)
    return replace(
        each,
        gain=drop,
        brings=drop.low > 0.0 and drop.estimate >= LEAST_GAIN * perfect,
        cost=cost,
        gain_per_cost=drop.estimate / cost if cost else None,
    )


def cost_of(each: Candidate, costs: Mapping[str, float]) -> float | None:
    """Return what a candidate costs, None where a cost that it needs was not given."""
    if each.kind not in costs:
        return None
    own = costs[each.kind]
    if each.kind == "pull":
        return own * each.count + costs.get("rod", 0.0) * each.uses_up
    if each.kind == "gauge":
        return own + costs.get("rod", 0.0) * each.count
    return own * each.count


def _ranked(found: Iterable[Candidate]) -> list[Candidate]:
    order = sorted(found, key=lambda each: -each.gain.estimate)
    ranks = tied_ranks(order, lambda one, other: one.gain.low <= other.gain.high)
    return [replace(each, rank=rank) for each, rank in zip(order, ranks, strict=True)]


def chosen(ranked: Sequence[Candidate]) -> Candidate | None:
    """Return the cheapest of the candidates that bring nearly as much as the best one.

    Without a cost for each of them: the one with the fewest parts to make or to lose.
    """
    able = [each for each in ranked if each.doable and each.brings and each.kind != "gauge"]
    if not able:
        return None
    enough = NEARLY * max(each.gain.estimate for each in able)
    near = [each for each in able if each.gain.estimate >= enough]
    if all(each.cost is not None for each in near):
        return min(near, key=lambda each: (each.cost or 0.0, -each.gain.estimate))
    return min(near, key=lambda each: (max(each.to_make, each.uses_up), -each.gain.estimate))


def _settled(
    ranked: Sequence[Candidate], before: Before, target: float
) -> tuple[str, str, str | None]:
    met = before.chance_met.estimate if before.chance_met is not None else 0.0
    share = f"{100 * (1 - SETTLED):g} % or more of all that is thought possible"
    if met > 0.5:
        reason = f"In {share} the target of {odds(target)} is met: no test can change that answer."
        return "met everywhere", reason, None
    reason = (
        f"In {share} the target of {odds(target)} is missed: whatever a test shows of what is not "
        "known, the answer stays."
    )
    change = "change the joint or the loads."
    best = sorting(ranked, target)
    if best is not None and best.chance_met is not None:
        after = 100 * best.chance_met.estimate
        said = f"To {best.name} leaves rods that meet it in {after:.0f} % of the states; else"
        return "missed everywhere", f"{reason} {said} {change}", best.key
    pulls = [each for each in ranked if each.screens]
    if not pulls:
        return "missed everywhere", f"{reason} {change.capitalize()}", None
    least = min(pulls, key=_left)
    said = f"To {least.name} leaves more than that, too."
    return "missed everywhere", f"{reason} {said} {change.capitalize()}", None


def _left(each: Candidate) -> float:
    return 1.0 if each.fail_after is None else each.fail_after.estimate


def sorting(ranked: Sequence[Candidate], target: float) -> Candidate | None:
    """Return the pull of the rods of service after which the target is met, None without one.

    By the average over what is not known, and in most states, even at the lower end of the interval
    of their share; of several the one after which most states meet it.

    Parameters
    ----------
    ranked : sequence of Candidate
    target : float
        Failure probability to meet [-].
    """
    found, share = None, 0.0
    for each in ranked:
        met, after = each.chance_met, each.fail_after
        if met is None or after is None or met.low <= MOST:
            continue
        if after.estimate > target * (1.0 + ROUNDING):
            continue
        if met.estimate > share:
            found, share = each, met.estimate
    return found


def _sorted(before: Before, pull: Candidate) -> str:
    met = [0.0 if each.chance_met is None else each.chance_met.estimate for each in (before, pull)]
    return (
        f"As the rods are the target is met in {100 * met[0]:.0f} % of the states, and no test "
        f"that only teaches is likely to change that answer. To {pull.name} leaves rods that meet "
        f"it in {100 * met[1]:.0f} %."
    )


def _nothing(ranked: Sequence[Candidate], decides: bool) -> str:
    bound = next((each for each in ranked if not each.doable and each.brings), None)
    what = "the chance to be wrong about the target" if decides else "the band"
    text = f"No test here makes {what} noticeably smaller."
    if bound is not None:
        text += f" It would help most to {bound.name}."
    return text


def _test(best: Candidate, before: Before, decides: bool) -> str:
    if decides and before.wrong is not None and best.wrong_after is not None:
        was = best.wrong_before if best.wrong_before is not None else before.wrong
        return (
            f"It brings the chance to be wrong about the target from {_share(was.estimate)} to "
            f"{_share(best.wrong_after.estimate)} on average."
        )
    return (
        f"It brings the band, now {odds(before.p05)} to {odds(before.p95)}, to {odds(best.p05)} to "
        f"{odds(best.p95)} on average."
    )


def _share(chance: float) -> str:
    return f"{100 * chance:.2g} %"
