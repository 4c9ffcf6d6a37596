"""Hand-made answers about pulls: every number is invented and belongs to no rod."""

import math
from dataclasses import replace

from jointrisk.scenario.types import Assumption, Warning_
from jointrisk.study import learn_results as s

ASSUMED = (
    Assumption("plug.overlap", "14 mm", "scenario", "your scenario", "given"),
    Assumption("model.bond_factor", "1 on average", "default", "a table", "from memory"),
)
RUN = {"seed": 4, "versions": {"jointrisk": "0.1.0"}, "scenario_sha256": "cd" * 32, "option": None}
HOST = {"seconds": 3.25, "machine": "here"}


def outlook(value, wide=6.0, sampled=0.04):
    return s.Outlook(
        estimate=value,
        low=value * (1.0 - sampled),
        high=min(1.0, value * (1.0 + sampled)),
        p05=value / wide,
        p50=0.8 * value,
        p95=min(1.0, value * wide),
    )


def whole_set(value, wide=6.0, met=None, chance_met=0.31):
    return s.SetOutlook(outlook(value, wide), outlook(value / 2.0, wide), chance_met, met)


def held(value=0.004, count=11, load=900.0, batch="A"):
    return s.RodOutlook("held", batch, load, count, 0.007, outlook(value))


def fresh(kind="next", value=0.005, batch="A"):
    return s.RodOutlook(
        kind, None if kind == "new batch" else batch, None, 0, 0.007, outlook(value)
    )


def unknown(**changes):
    made = s.LearntUnknown(
        key="model.bond_factor",
        name="true strength of a bond over the model's",
        unit="-",
        prior_mean=1.02,
        prior_p05=0.72,
        prior_p50=1.0,
        prior_p95=1.39,
        posterior_mean=1.12,
        posterior_p05=0.86,
        posterior_p50=1.11,
        posterior_p95=1.4,
        shift=0.53,
        narrowed=0.81,
    )
    return replace(made, **changes)


def group(**changes):
    made = s.PullGroup(
        batch="A",
        load_newton=900.0,
        kind="held",
        count=11,
        chance_before=0.87,
        chance_after=0.93,
        information=0.31,
    )
    return replace(made, **changes)


def conflict(**changes):
    made = s.Conflict(
        found=False,
        breaks=1,
        counted=12,
        breaks_expected=1.6,
        breaks_p05=0.0,
        breaks_p95=5.0,
        p_breaks=0.92,
        p_loads=None,
        loads_middle=None,
        loads_expected=None,
        text="",
    )
    return replace(made, **changes)


def curve():
    loads = tuple(200.0 * 1.25**i for i in range(16))
    before = tuple(1.0 / (1.0 + (1800.0 / x) ** 3) for x in loads)
    after = tuple(1.0 / (1.0 + (2000.0 / x) ** 3.4) for x in loads)
    return s.ReadingCurve(loads, before, after)


def invented_learnt(**changes):
    """Return what twelve pulls of one batch taught, one of them a break."""
    made = s.Learnt(
        title="Rods for show <&>",
        pulls=12,
        parts=12,
        held=11,
        broke=1,
        batches=("A",),
        batches_told=("A",),
        before=whole_set(0.04),
        after=whole_set(0.024, 4.0, chance_met=0.46),
        rods=(held(), fresh(), fresh("new batch", 0.0055)),
        unknowns=(
            unknown(),
            unknown(
                key="weak_bonds.keeps", name="share of strength a weak bond keeps", shift=0.05,
                narrowed=0.99, prior_p05=0.05, prior_p50=0.21, prior_p95=0.5,
                posterior_p05=0.06, posterior_p50=0.22, posterior_p95=0.49,
            ),
            unknown(
                key="adhesive.shear_modulus", name="adhesive shear modulus", unit="MPa",
                shift=0.0, narrowed=1.0, prior_p05=400.0, prior_p50=632.0, prior_p95=1004.0,
                posterior_p05=400.0, posterior_p50=632.0, posterior_p95=1004.0,
            ),
        ),
        weak=s.WeakShare(0.021, 0.064, 0.019, 0.055),
        groups=(group(), group(kind="broke at", load_newton=812.0, count=1, information=0.12)),
        information=0.4,
        information_held=0.31,
        information_broke=0.12,
        taught_nothing=False,
        conflict=conflict(),
        curve=curve(),
        target=0.001,
        target_period="year",
        target_scope="set",
        rods_of_set=6,
        life_years=3.0,
        confidence=0.95,
        states=2048,
        effective_states=812.4,
        rounds=2,
        evaluations=196608,
        converged=True,
        assumptions=ASSUMED,
        warnings=(Warning_("corrosion", "aluminium on carbon"),),
        run=RUN,
        host=HOST,
    )  # fmt: skip
    return replace(made, **changes)


def too_light():
    """Return a log of pulls so light that it taught nothing."""
    return invented_learnt(
        held=12,
        broke=0,
        after=whole_set(0.0398),
        rods=(held(0.0069, 12, 120.0), fresh(value=0.0069), fresh("new batch", 0.007)),
        unknowns=(unknown(shift=0.004, narrowed=1.0),),
        weak=s.WeakShare(0.021, 0.064, 0.021, 0.0639),
        groups=(group(load_newton=120.0, count=12, chance_before=0.9996, chance_after=0.9996,
                      information=0.0004),),
        information=0.0004,
        information_held=0.0004,
        information_broke=0.0,
        taught_nothing=True,
        conflict=conflict(breaks=0, breaks_expected=0.005, breaks_p95=0.0, p_breaks=1.0),
    )  # fmt: skip


def all_held():
    """Return a log of pulls at the load that was asked for, all of which held."""
    return invented_learnt(
        held=12,
        broke=0,
        rods=(held(0.002, 12), fresh(value=0.003), fresh("new batch", 0.0032)),
        groups=(group(count=12, information=0.42),),
        information_broke=0.0,
        conflict=conflict(breaks=0),
    )


def all_broke():
    """Return a log in which no part held."""
    return invented_learnt(
        held=0,
        broke=12,
        after=whole_set(0.21, 3.0, met=False, chance_met=0.004),
        rods=(fresh(value=0.05), fresh("new batch", 0.04)),
        unknowns=(unknown(posterior_p05=0.4, posterior_p50=0.51, posterior_p95=0.66, shift=-2.6,
                          narrowed=0.5),),
        groups=(group(kind="broke below", count=12, chance_after=0.21, information=3.2),),
        information=3.2,
        information_held=0.0,
        information_broke=3.2,
        conflict=conflict(
            found=True, breaks=12, p_breaks=0.004,
            text="All 12 broke; such a log is rare by the file.",
        ),
    )  # fmt: skip


def until_broken():
    """Return a log of parts that were all pulled until they broke."""
    return invented_learnt(
        held=0,
        broke=3,
        pulls=3,
        parts=3,
        batches=("",),
        batches_told=("",),
        rods=(fresh(batch=""), fresh("new batch", 0.0055)),
        groups=tuple(group(batch="", kind="broke at", load_newton=x, count=1, information=y)
                     for x, y in ((2100.0, 0.2), (2440.0, 0.01), (2890.0, 0.3))),
        conflict=conflict(counted=0, breaks=0, p_breaks=None, p_loads=0.4, loads_middle=2455.0,
                          loads_expected=1910.0),
    )  # fmt: skip


def not_converged():
    """Return an answer that must not be used."""
    text = "Of 2,048 states no more than about 3 fit the log: these numbers are not to be trusted."
    warnings = (Warning_("not-converged", text),)
    return replace(all_broke(), converged=False, effective_states=3.2, warnings=warnings)


def impossible():
    """Return an answer, with many states, to a log that the file holds for next to impossible."""
    odd = conflict(
        found=True, counted=0, breaks=0, p_breaks=None, p_loads=0.0005, loads_middle=128e3,
        loads_expected=7940.0, text="Sixteen times as strong as expected.",
    )  # fmt: skip
    return replace(all_broke(), conflict=odd)


def without_load():
    """Return an answer of a scenario that names no load."""
    return invented_learnt(before=None, after=None, rods=(), target=None, target_period=None,
                           target_scope=None, weak=None)  # fmt: skip


def one_rod():
    """Return the answer of a set of one rod, with no target and nothing unknown."""
    flat = s.SetOutlook(outlook(0.04, 1.0), None, None, None)
    known = replace(flat, life=replace(flat.life, p05=0.04, p50=0.04, p95=0.04))
    return invented_learnt(
        before=known, after=known, rods_of_set=1, pulls=3, parts=1, held=1, broke=0, unknowns=(),
        weak=None, target=None, target_period=None, target_scope=None,
        rods=(held(0.03, 1), fresh("new batch", 0.04)), groups=(group(count=3, information=0.0),),
    )  # fmt: skip


def untold():
    """Return an answer in which some chances cannot be told."""
    nothing = s.Outlook(*[math.nan] * 6)
    return invented_learnt(
        after=s.SetOutlook(nothing, nothing, None, None),
        rods=(replace(held(), after=nothing), fresh("new batch")),
        groups=(group(information=math.nan),),
        unknowns=(unknown(posterior_p05=math.nan),),
    )
