"""A hand-made comparison: every number is invented and belongs to no rod."""

from dataclasses import replace

from jointrisk.scenario.types import Assumption, Money, Warning_
from jointrisk.study import compare_results as c
from jointrisk.study.results import (
    Chance,
    FailureProbability,
    Mode,
    PermittedLoad,
    Strength,
    TargetVerdict,
)


def _chance(value):
    return FailureProbability(
        estimate=value, low=0.96 * value, high=1.05 * value, confidence=0.95,
        band_p05=value / 20, band_p50=value / 2, band_p95=min(1.0, 6 * value), beta=3.0,
        period_years=5.0, basis="all rods, whole life", per_rod=value / 4, worst_year=value / 3,
        worst_year_number=1, method="importance sampling", evaluations=16384,
    )  # fmt: skip


def option(name, value, **changes):
    """Return one invented option, with some of its fields replaced."""
    made = c.Option(
        name=name,
        title=f"Invented rods & ends: {name}",
        differences=(),
        rods=4,
        failure_probability=_chance(value),
        as_target=value / 3,
        target=TargetVerdict(1e-4, 1.0, "set", None, 0.62, "an invented table"),
        permitted_load=PermittedLoad(812.0, 770.0, 850.0, "largest pull of the life"),
        strength_new=Strength(6300.0, 3300.0, 1200.0),
        strength_service=Strength(5100.0, 2500.0, 900.0),
        modes=(Mode("bond lets go at the tube", value, 0.71), Mode("glue shears", value / 3, 0.29)),
        pull=c.PullNeeded("window", "It is the smallest.", 2143.0, 0.0041),
        after_pull=c.AfterPull(
            "weight of the maker", 735.5, Chance(value / 2, value / 2.1, value / 1.9), 0.001
        ),
        cost=Money(41.5, "EUR"),
        mass=68.0,
        letters="b",
        dominated_by=(),
    )  # fmt: skip
    return replace(made, **changes)


def ratio(value, spread=0.05):
    """Return an invented ratio with its verdict."""
    low, high = value * (1 - spread), value * (1 + spread)
    verdict = "lower" if high < 1.0 else "higher" if low > 1.0 else "not told apart"
    return c.Ratio(value, low, high, verdict)


def pair(name, other, value, **changes):
    """Return an invented pair, with some of its fields replaced."""
    made = c.Pair(name, other, ratio(value), Chance(0.83, 0.71, 0.92), ratio(0.9, 0.02), ratio(0.7))
    return replace(made, **changes)


LONGER = option(
    "longer <overlap> $1$", 2.05e-4,
    differences=(
        c.Difference("plug.overlap", "26 mm on average, sd 0.7 mm, normal", "19 mm"),
        c.Difference("backup.kind", None, "cross pin"),
        c.Difference("rod_end.use", "steady", None),
    ),
    cost=Money(43.0, "EUR"), mass=71.25, letters="a",
    pull=c.PullNeeded("empty", "A pull of 9000 N would do.", None, None),
)  # fmt: skip
OTHER = option(
    "other glue", 3.4e-4, cost=Money(47.0, "EUR"), dominated_by=("longer <overlap> $1$",)
)


def invented_compare(**changes):
    """Return the invented comparison with some of its fields replaced."""
    base = option("as written", 3.31e-4)
    result = c.Comparison(
        title="Invented rods & ends",
        baseline="as written",
        options=(base, LONGER, OTHER),
        pairs=(
            pair(LONGER.name, "as written", 0.62),
            pair("other glue", "as written", 1.027),
            pair("other glue", LONGER.name, 1.66, better=None, after_pull=None, as_target=None),
        ),
        groups=((LONGER.name,), ("as written", "other glue")),
        lowest=(LONGER.name,),
        confidence=0.95,
        confidence_of_pairs=1 - 0.05 / 3,
        evaluations=16384,
        converged=True,
        assumptions=(
            Assumption("plug.overlap", "19 mm", "scenario", "your scenario", "given"),
            Assumption("proof.rig_error", "0.02", "default", "a table", "judgement, no source"),
        ),
        warnings=(Warning_("targets-differ", "The options have different targets."),),
        run={
            "seed": 1,
            "versions": {"jointrisk": "0", "python": "3"},
            "scenarios_sha256": {"as written": "abc"},
            "options": {"confidence": 0.95},
        },
        host={"started_utc": "2026-01-01T00:00:00Z", "seconds": 1.5},
    )
    return replace(result, **changes)


def alike():
    """Return an invented comparison of two options that differ in their pulls alone."""
    same = c.Ratio(1.0, 1.0, 1.0, "not told apart")
    bare = dict.fromkeys(("cost", "mass", "target", "as_target", "permitted_load"))
    one = option("no pull", 3e-4, **bare, after_pull=None, letters="a")
    two = option("pulled", 3e-4, **bare, letters="a")
    return invented_compare(
        baseline="no pull",
        options=(one, two),
        pairs=(c.Pair("pulled", "no pull", same, Chance(0.5, 0.5, 0.5), ratio(0.31)),),
        groups=(("no pull", "pulled"),),
        lowest=("no pull", "pulled"),
        warnings=(),
    )
