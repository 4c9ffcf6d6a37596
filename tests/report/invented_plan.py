"""Hand-made plans of tests: every number is invented and belongs to no rod."""

from dataclasses import replace

from jointrisk.scenario.types import Assumption, Warning_
from jointrisk.study import plan_results as r
from jointrisk.study.results import Chance

GLUE = ("adhesive.shear_strength", "glue strength & more")
WORTH = ("evidence.factor", "worth of the evidence")
MODEL = ("model.bond_factor", "how good the model is")
LOADS = ("model.load_factor", "how well the loads are known")


def about(value, spread=0.1):
    return Chance(value, value * (1 - spread), value * (1 + spread))


BEFORE = 0.2134
WIDTH = 4.2


def candidate(key, name, after, p05, p95, rank, **changes):
    """Return a candidate that leaves the chance `after` of a wrong decision."""
    kind, _, count = key.partition(":")
    made = r.Candidate(
        key=key, kind=kind, name=name, count=int(count) if count.isdigit() else 12,
        load_newton=None, doable=kind != "settle", speaks_to=(GLUE,),
        to_make=int(count) if count.isdigit() else 0,
        uses_up=float(count) if count.isdigit() else 0.0, cost=None,
        p05=p05, p50=(p05 * p95) ** 0.5, p95=p95, width=about(3.1), high=about(1.1 * p95),
        width_drop=about(1.1), comes_out=(1.1e-4, 2.3e-3), wrong_before=about(BEFORE, 0.05),
        wrong_after=about(after, 0.06), wrong_drop=about(max(BEFORE - after, 1e-4), 0.12),
        chance_met=about(0.34), chance_clear=about(0.52), fail_after=None,
        gain=about(max(BEFORE - after, 1e-4), 0.12), brings=BEFORE - after > 0.01, rank=rank,
        gain_per_cost=None, beside="", note="It tells nothing of the years.",
    )  # fmt: skip
    return replace(made, **changes)


def _candidates():
    pull = {"load_newton": 1500.0, "speaks_to": (GLUE, MODEL)}
    return (
        candidate("rod:8", "pull 8 rods until they break", 0.081, 2.1e-4, 1.3e-3, 1,
                  speaks_to=(GLUE, WORTH)),
        candidate("rod:4", "pull 4 rods until they break", 0.096, 1.9e-4, 1.5e-3, 2,
                  speaks_to=(GLUE, WORTH)),
        candidate("coupon:12", "break 12 lap coupons", 0.148, 1.1e-4, 2.1e-3, 3),
        candidate("coupon:6", "break 6 lap coupons", 0.151, 1.0e-4, 2.2e-3, 3),
        candidate("rod:2", "pull 2 rods until they break", 0.131, 1.2e-4, 1.8e-3, 5),
        candidate("coupon:3", "break 3 lap coupons", 0.17, 9.1e-5, 2.3e-3, 6),
        candidate("rod:1", "pull 1 rod until it breaks", 0.172, 9.0e-5, 2.2e-3, 6),
        candidate("pull:set", "pull all 12 rods to 1,500 N", 0.19, 5.1e-5, 1.3e-3, 8,
                  fail_after=about(2.2e-4), uses_up=0.34, **pull),
        candidate("pull:29", "pull 29 rods to 1,500 N", 0.195, 6.0e-5, 2.4e-3, 9,
                  uses_up=0.83, **pull),
        candidate("gap", "measure the gap of every rod", 0.2133, 4.3e-5, 2.5e-3, 10,
                  speaks_to=(), wrong_before=about(0.2135), note="It speaks of these rods only."),
        candidate("overlap", "measure the overlap of every rod", 0.2134, 4.2e-5, 2.6e-3, 10,
                  speaks_to=(), note="It speaks of these rods only."),
        candidate("settle:evidence.factor", "settle the worth of the evidence", 0.06, 2.3e-4,
                  1.0e-3, 1, speaks_to=(WORTH,)),
        candidate("settle:model.load_factor", "settle how well the loads are known", 0.11, 1.4e-4,
                  1.6e-3, 2, speaks_to=(LOADS,)),
    )  # fmt: skip


def invented_plan(**changes):
    """Return the invented plan with some of its fields replaced."""
    made = r.TestPlan(
        title="Invented rods & ends",
        verdict="test",
        reason="The target lies inside the band; 4 rods bring nearly all that 8 would.",
        next_key="rod:4",
        measure="wrong decision",
        before=r.Before(about(6.1e-4), 4.2e-5, 3.1e-4, 2.6e-3, about(WIDTH), about(0.2134),
                        about(BEFORE, 0.05), False),
        candidates=_candidates(),
        success_runs=(
            r.SuccessRun(0.9, 0.95, 29, about(0.44)), r.SuccessRun(0.99, 0.95, 299, about(2e-4)),
            r.SuccessRun(0.9999, 0.95, 29956, Chance(0.0, 0.0, 1e-5)),
        ),
        pull_newton=1500.0, pull_origin="the pull on the bench", target=1e-4,
        target_period="year", target_scope="set", rods=12, life_years=5.0, costs={},
        states=1024, outcomes=512, unexplained=Chance(0.03, 0.02, 0.04), confidence=0.95,
        evaluations=212345, converged=True,
        assumptions=(
            Assumption("plug.overlap", "20 mm", "scenario", "your scenario", "given"),
            Assumption("model.bond_factor", "1", "default", "field", "judgement, no source"),
        ),
        warnings=(Warning_("not-converged", "the draws ran out"),),
        run={"seed": 20260101, "versions": {"jointrisk": "0.1.0"}, "scenario_sha256": "ab" * 32},
        host={"seconds": 1.5, "jobs": 2},
    )  # fmt: skip
    return replace(made, **changes)


def with_costs():
    """Return the same with a cost of a coupon and of a rod."""
    costs = {"coupon": 4.0, "rod": 25.0}
    candidates = []
    for each in invented_plan().candidates:
        each_cost = costs.get(each.kind)
        cost = None if each_cost is None else each_cost * each.count
        rate = None if cost is None else each.gain.estimate / cost
        candidates.append(replace(each, cost=cost, gain_per_cost=rate))
    return invented_plan(candidates=tuple(candidates), costs=costs, next_key="coupon:6")


def without_target():
    """Return a plan of a file without a target: the band is what counts."""
    made = invented_plan()
    none = dict.fromkeys(
        ("wrong_before", "wrong_after", "wrong_drop", "chance_met", "chance_clear")
    )
    return replace(
        made, measure="band width", target=None, target_period=None, target_scope=None,
        reason="No target: what narrows the band most comes first.",
        before=replace(made.before, chance_met=None, wrong=None, clear=None),
        candidates=tuple(replace(each, gain=each.width_drop, **none) for each in made.candidates),
    )  # fmt: skip


def no_test(verdict="missed everywhere"):
    """Return a plan that finds no test worth its parts."""
    made = invented_plan()
    return replace(
        made, verdict=verdict, next_key=None,
        reason="The target is missed in 998 of 1,000 cases of what is not known.",
        candidates=tuple(replace(each, brings=False) for each in made.candidates),
    )  # fmt: skip


def all_known():
    """Return a plan of a file in which everything is known."""
    made = invented_plan()
    return replace(
        made, verdict="all is known", next_key=None, reason="Nothing is left to learn.",
        candidates=(), success_runs=(), pull_newton=None, warnings=(),
        before=replace(made.before, p05=6e-4, p50=6e-4, p95=6e-4, width=Chance(0.0, 0.0, 0.0)),
    )  # fmt: skip
