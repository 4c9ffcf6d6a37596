"""A hand-made answer about pulls: every number is invented and belongs to no rod."""

import math
from dataclasses import replace

from jointrisk.scenario.types import Assumption, Rig, Warning_
from jointrisk.study import proof_results as p
from jointrisk.study.results import Chance


def about(value, spread=0.1):
    return Chance(value, value * (1 - spread), min(1.0, value * (1 + spread)))


def _below(median, cov):
    return lambda x: 0.5 * math.erfc(-math.log(x / median) / cov / math.sqrt(2))


def _curve():
    loads = tuple(300 * 1.13**i for i in range(26))
    after = [1e-5 + 3.3e-4 / (1 + (x / 1500) ** 6) + 1e-5 * (x / 3400) ** 4 for x in loads]
    unhurt = [1e-6 + 3.3e-4 / (1 + (x / 1500) ** 6) for x in loads]
    sound, weak = _below(6300, 0.18), _below(900, 0.3)
    return p.ProofCurve(
        load_newton=loads,
        reject=tuple(about(0.004 * weak(x) + 0.99 * sound(x)) for x in loads),
        reject_weak=tuple(about(weak(x), 0.02) for x in loads),
        reject_sound=tuple(about(sound(x)) for x in loads),
        fail_after=(*map(about, after[:-1]), Chance(math.nan, math.nan, math.nan)),
        fail_after_unhurt=tuple(unhurt),
        as_target=tuple(after),
        hurt=tuple(min(1.0, x / 40000) for x in loads),
    )


def effect(label="", load=2143.0, **changes):
    """Return what one invented pull is worth, with some of its fields replaced."""
    made = p.PullEffect(
        label=label,
        load_newton=load,
        reject=about(0.0041),
        reject_weak=about(0.93, 0.02),
        reject_sound=about(0.00023),
        all_hold=0.951,
        fail_before=3.31e-4,
        fail_after=about(4.7e-5),
        fail_after_unhurt=3.9e-5,
        as_target_before=3.31e-4,
        as_target=4.7e-5,
        meets_target=True,
        hurt=0.013,
        spoiled_in_run=0.0492,
        spoiled_per_100=0.41,
        years_before=0.8,
        years_after=5.0,
        needed_newton=2143.0,
    )
    return replace(made, **changes)


def _own_pulls():
    weight = effect(
        "weight of the maker", 735.5, reject=about(0.0011), reject_weak=about(0.21),
        fail_after=about(3.2e-4), as_target=3.2e-4, meets_target=False, spoiled_in_run=0.013,
        spoiled_per_100=0.11, years_after=0.9,
    )  # fmt: skip
    return (weight, effect("2500 N", 2500.0, fail_after=about(3.1e-5), as_target=3.1e-5))


def invented_proof(**changes):
    """Return the invented answer with some of its fields replaced."""
    result = p.Proof(
        title="Invented rods & ends",
        verdict="window",
        reason="It is the smallest pull after which the target (about 1 in 20,000) is met.",
        reachable=True,
        load_newton=2143.0,
        load_low=2087.0,
        load_high=2206.0,
        windows=((2143.0, 3478.0), (5010.0, 5220.0)),
        floor=1.2e-5,
        floor_newton=2900.0,
        target=5e-5,
        target_period="life",
        target_scope="set",
        fail_before=about(3.31e-4, 0.06),
        best=effect(),
        pulls=_own_pulls(),
        limits=(("thread in the plug", 7410.0), ("tube in tension", 9120.0)),
        openers=(),
        policies=(
            p.Policy(
                "all",
                "pull every rod; the set counts when all have held",
                about(4.7e-5),
                Chance(1.0, 1.0, 1.0),
                0.05,
                0.95,
            ),
            p.Policy(
                "replace",
                "pull every rod and replace what breaks",
                about(6.1e-5),
                Chance(1.3, 1.25, 1.36),
                0.06,
                1.0,
                "Note.",
            ),
        ),
        policy_newton=2143.0,
        next_rod=p.NextRod(
            11, 2143.0, about(2.8e-5, 0.05), about(1.9e-5, 0.08), Chance(0.68, 0.64, 0.73)
        ),
        curve=_curve(),
        rods=12,
        life_years=5.0,
        rig=Rig("lever", 4.0, 60.0),
        rig_error=0.02,
        rig_bias=0.032,
        rig_highest_newton=9000.0,
        rig_temperature=21.0,
        most_to_refuse=0.1,
        confidence=0.95,
        evaluations=131072,
        converged=True,
        assumptions=(
            Assumption("proof.rig", "lever", "scenario", "your scenario", "given"),
            Assumption("proof.rig_error", "0.02", "default", "friction", "judgement, no source"),
        ),
        warnings=(Warning_("wide-class", "the adhesive is a class, not a product"),),
        run={"seed": 20260101, "versions": {"jointrisk": "0.1.0"}, "scenario_sha256": "ab" * 32},
        host={"seconds": 1.5, "jobs": 2},
    )
    return replace(result, **changes)


def no_pull(verdict="unreachable", **changes):
    """Return the invented answer where no pull meets the target."""
    fields = {
        "verdict": verdict,
        "reason": "No pull meets the target: the best is about 1 in 8,700",
        "reachable": False,
        "load_newton": None,
        "load_low": None,
        "load_high": None,
        "windows": (),
        "best": None,
        "floor": 1.15e-4,
        "openers": (
            p.Opener("half the life", 4.4e-5, 2300.0, True),
            p.Opener("a stronger rig", 1.1e-4, 2900.0, False),
        ),
        "pulls": tuple(replace(e, needed_newton=None, meets_target=False) for e in _own_pulls()),
        "policy_newton": 735.5,
    }
    return invented_proof(**(fields | changes))


def not_judged():
    """Return the answer for a scenario that names neither load nor target."""
    nothing = Chance(math.nan, math.nan, math.nan)
    curve = _curve()
    blank = (math.nan,) * len(curve.load_newton)
    pulls = tuple(
        replace(
            e, fail_before=math.nan, fail_after=nothing, fail_after_unhurt=math.nan,
            as_target=None, as_target_before=None, meets_target=None, years_before=None,
            years_after=None, needed_newton=None,
        )
        for e in _own_pulls()
    )  # fmt: skip
    return no_pull(
        "not judged", reason="The scenario names no load.", reachable=None, floor=None,
        floor_newton=None, target=None, target_period=None, target_scope=None, openers=(),
        fail_before=nothing, pulls=pulls, policies=(), policy_newton=None, next_rod=None,
        limits=(),
        curve=replace(
            curve, fail_after=(nothing,) * len(blank), fail_after_unhurt=blank, as_target=None
        ),
    )  # fmt: skip
