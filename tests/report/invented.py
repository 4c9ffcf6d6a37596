"""A hand-made result: every number is invented and belongs to no rod."""

import math
from dataclasses import replace

from jointrisk.scenario.types import Assumption, Warning_
from jointrisk.study import results as r


def _curve(loads, rule, spread=0.1):
    values = tuple(min(1.0, rule(x)) for x in loads)
    return r.Curve(
        load=tuple(loads),
        value=values,
        low=tuple(v * (1 - spread) for v in values),
        high=tuple(min(1.0, v * (1 + spread)) for v in values),
    )


def _below(median, cov):
    return lambda x: 0.5 * math.erfc(-math.log(x / median) / cov / math.sqrt(2))


def _figures():
    loads = [200 * 1.06**i for i in range(62)]
    return r.Figures(
        strength_new=_curve(loads, lambda x: 0.004 * _below(900, 0.3)(x) + _below(6300, 0.18)(x)),
        strength_service=_curve(
            loads, lambda x: 0.004 * _below(700, 0.3)(x) + _below(5000, 0.2)(x)
        ),
        load_exceeded=_curve(loads, lambda x: 1 - math.exp(-math.exp(-(x - 900) / 140))),
        fail_after_pull=_curve(loads, lambda x: 1e-5 + 3.3e-4 / (1 + (x / 1500) ** 6), 0.3),
        reject=_curve(loads, lambda x: 0.004 * _below(900, 0.3)(x) + _below(6300, 0.18)(x)),
        reject_weak=_curve(loads, _below(900, 0.3)),
        band=tuple(5e-5 * 100 ** (i / 63) for i in range(64)),
    )


def _assumptions():
    given, default = ("scenario", "the file", "given"), ("default", "handbook range, 2001")
    return (
        Assumption("plug.overlap", "30 mm, spread 1 mm", *given),
        Assumption("tube.bore", "12.1 mm, spread 0.05 mm", *given),
        Assumption("adhesive.class", "toughened epoxy <two part>", *given),
        Assumption("adhesive.shear_strength", "31 MPa, CoV 9 %", *default, "from memory"),
        Assumption("weak_bonds.lone_weight", "0.5 %", "default", "none", "judgement, no source"),
        Assumption("model.bond_factor", "1, CoV 20 %", *default, "as quoted"),
    )


def _proof():
    return r.ProofAnswer(
        reachable=True,
        load_newton=2143.0,
        load_low=2087.0,
        load_high=2206.0,
        window=(2143.0, 3480.0),
        verdict="window",
        reason="A pull of 2,150 N brings the set below 1 in 20,000",
        reject_fraction=0.0041,
        sound_rejected_fraction=0.0002,
        fail_after=4.7e-5,
        floor=1.2e-5,
        damage_fraction=0.013,
        limits=(("thread in the plug", 7410.0), ("tube in tension", 9120.0)),
        pulls=(
            r.PullWorth("Weight of the maker", 735.5, 3.2e-4, 0.0011, 0.21, 2143.0),
            r.PullWorth("Crane scale", 2500.0, 3.1e-5, 0.0047, 0.99, 2143.0),
        ),
    )


def end(**changes):
    """Return one invented end with some of its sizes replaced."""
    sizes = r.JointGeometry(
        tube_outer_mm=17.2,
        tube_bore_mm=15.1,
        plug_diameter_mm=14.74,
        plug_bore_mm=5.0,
        radial_gap_mm=0.18,
        overlap_mm=19.0,
        wetted_overlap_mm=16.625,
        thread="M6",
        thread_major_diameter_mm=6.0,
        thread_engagement_mm=14.0,
        shoulder=False,
    )
    return replace(sizes, **changes)


def invented(**changes):
    """Return the invented result with some of its fields replaced."""
    result = r.Assessment(
        title="Invented rods & ends",
        strength_new=r.Strength(6312.0, 4123.0, 1020.0),
        strength_aged=r.Strength(5008.0, 3140.0, 830.0),
        push_new=None,
        push_aged=None,
        permitted_load=r.PermittedLoad(1284.0, 1150.0, 1420.0, "largest load of the life, set"),
        failure_probability=r.FailureProbability(
            estimate=3.31e-4,
            low=3.11e-4,
            high=3.52e-4,
            confidence=0.95,
            band_p05=5.1e-5,
            band_p50=2.4e-4,
            band_p95=4.9e-3,
            beta=3.404,
            period_years=5.0,
            basis="all rods, whole life",
            per_rod=2.8e-5,
            worst_year=1.21e-4,
            worst_year_number=1,
            method="importance sampling over the design points",
            evaluations=131072,
        ),
        target=r.TargetVerdict(5e-5, 5.0, "set", None, 0.12, "given in the file"),
        modes=(
            r.Mode("bond lets go at the mouth", 2.7e-4, 0.8157),
            r.Mode("thread strips", 6.1e-5, 0.1843),
        ),
        ranking=(
            r.Influence("weak_bonds.lone_weight", "weight of lone weak bonds", "spread halved",
                        0.21, 0.18, 0.25),
            r.Influence("plug.overlap", "overlap", "mean a tenth higher", 0.62, 0.58, 0.66),
            r.Influence("service.hottest", "hottest day", "mean a tenth higher", 1.43, 1.3, 1.6),
            r.Influence("rods.bow", "bow of the rod", "spread halved", 0.99, 0.95, 1.04),
        ),
        proof=_proof(),
        geometry=r.RodGeometry(465.0, (end(),)),
        assumptions=_assumptions(),
        warnings=(Warning_("wide-class", "the adhesive is a class, not a product"),),
        figures=_figures(),
        facts={"rods": 12, "ends": 24, "life_years": 5.0, "median_gap": 0.05},
        run={
            "seed": 20260101,
            "versions": {"jointrisk": "0.1.0", "numpy": "2.4.6"},
            "scenario_sha256": "ab" * 32,
            "options": {"confidence": 0.95},
        },
        host={"started": "2026-01-01T00:00:00Z", "seconds": 1.5, "jobs": 2},
    )  # fmt: skip
    return replace(result, **changes)


def without_load():
    """Return the invented result as it is when the scenario names neither load nor target."""
    base = invented()
    proof = replace(
        base.proof,
        reachable=None,
        load_newton=None,
        window=None,
        verdict="not judged",
        reason="without a load there is nothing to judge a pull by",
        fail_after=None,
        floor=None,
        damage_fraction=None,
        pulls=tuple(replace(p, fail_after=None, needed_newton=None) for p in base.proof.pulls),
    )
    figures = replace(base.figures, load_exceeded=None, fail_after_pull=None, band=())
    return replace(
        base,
        failure_probability=None,
        target=None,
        permitted_load=None,
        ranking=(),
        proof=proof,
        figures=figures,
    )
