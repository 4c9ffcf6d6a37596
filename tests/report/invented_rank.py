"""A hand-made ranking: every number is invented and belongs to no rod."""

from dataclasses import replace

from jointrisk.scenario.types import Assumption
from jointrisk.study import rank_results as r
from jointrisk.study.results import Chance


def about(value, spread=0.1):
    return Chance(value, value * (1 - spread), value * (1 + spread))


def effect(measure, value, spread=0.05, *, how="run again", check=None, effective=None):
    return r.Effect(
        measure, value, value * (1 - spread), value * (1 + spread), how, effective, check
    )


def variable(key, name, rank, halved, higher, lower, kind="scatter", **changes):
    """Return a variable whose leading change is to halve its spread."""
    made = r.Variable(
        variable=key,
        name=name,
        kind=kind,
        rank=rank,
        leading="spread halved",
        effects=(
            effect("spread halved", halved, how="weighted anew", check=about(halved * 1.02)),
            effect("mean a tenth higher", higher),
            effect("mean a tenth lower", lower),
        ),
    )
    return replace(made, **changes)


def _variables():
    heat = (
        effect("spread halved", 0.99, 0.02),
        effect("mean 5 K higher", 1.31),
        effect("mean 5 K lower", 0.78),
    )
    nothing = tuple(
        effect(m, v, 0.004)
        for m, v in (("spread halved", 1.001), ("all values a tenth lower", 0.999))
    )
    return (
        variable("plug.overlap", "overlap & more", 1, 0.31, 0.62, 1.71),
        variable("adhesive.shear_strength", "glue strength", 1, 0.33, 0.64, 1.66),
        variable(
            "service.hottest", "hottest in service", 3, 1, 1, 1, leading="mean 5 K higher",
            effects=heat,
        ),
        variable("rods.bow", "bow of the rod", 4, 1, 1, 1, effects=nothing),
        variable("model.bond_factor", "how good the model is", 1, 0.71, 0.55, 1.9, "not known"),
    )  # fmt: skip


def unknown(key="model.bond_factor", name="how good the model is", rank=1, share=0.61, **changes):
    made = r.Unknown(
        variable=key, name=name, unit="-", rank=rank, low_value=0.71, high_value=1.36,
        at_low=about(2.1e-3), at_high=about(1.4e-4), left_p05=1.1e-4, left_p95=1.4e-3,
        first=about(share - 0.1), total=about(share),
    )  # fmt: skip
    return replace(made, **changes)


def not_known(**changes):
    made = r.NotKnown(
        p05=4.2e-5,
        p50=3.1e-4,
        p95=2.6e-3,
        unknowns=(
            unknown(),
            unknown("evidence.factor", "worth of the evidence", 2, 0.33, left_p95=2.2e-3),
        ),
        shares_told=True,
        unexplained=about(0.03),
        middle=about(2.9e-4),
        states=1024,
        unseen=0,
    )
    return replace(made, **changes)


def _points():
    near = (
        r.Direction("plug.overlap", "overlap & more", 0.62, "low"),
        r.Direction("load.kerb.size", "largest load kerb of the life", 0.38, "high"),
    )
    return (
        r.DesignPoint(("bond lets go", "wall shears"), "sound", "either", 3.42, True, near),
        r.DesignPoint(("bond lets go",), "weak", "second", 1.21, False, near[:1]),
        r.DesignPoint(("bond lets go",), "undone by damp", "either", None, False, ()),
    )


def _indices(of, entries, together=()):
    made = [
        r.Index(key, name, rank, None if first is None else about(first), about(total))
        for rank, (key, name, first, total) in enumerate(entries, 1)
    ]
    return r.Indices(of, "Sobol' indices", tuple(made), together, 4096, ())


def invented_rank(**changes):
    """Return the invented ranking with some of its fields replaced."""
    made = r.Ranking(
        title="Invented rods & ends",
        failure_probability=about(3.31e-4, 0.04),
        rods=12,
        life_years=5.0,
        variables=_variables(),
        not_known=not_known(),
        modes=(
            r.ModeShare("bond lets go", about(2.9e-4), about(0.84), 0.88),
            r.ModeShare("wall shears", about(1.1e-4), about(0.1599), 0.33),
            r.ModeShare("thread strips", about(1e-9), about(1e-5), 1e-5),
        ),
        mode_effects=(
            r.ModeEffect(
                "wall shears", "plug.overlap", "overlap & more", "spread halved", 0.4, 0.3, 0.5
            ),
        ),
        design_points=_points(),
        margin=_indices(
            "the margin",
            [("plug.overlap", "overlap & more", 0.2, 0.5), ("rods.bow", "bow of the rod", 0, 1e-5)],
            ("plug.overlap",),
        ),
        event=_indices(
            "the failure",
            [("plug.overlap", "overlap & more", None, 0.7), ("loads", "load", None, 0.3)],
        ),
        confidence=0.95,
        evaluations=812345,
        converged=True,
        notes=("a note of the run",),
        assumptions=(
            Assumption("plug.overlap", "20 mm", "scenario", "your scenario", "given"),
            Assumption("model.bond_factor", "1", "default", "field", "judgement, no source"),
        ),
        run={"seed": 20260101, "versions": {"jointrisk": "0.1.0"}, "scenario_sha256": "ab" * 32},
        host={"seconds": 1.5, "jobs": 2},
    )  # fmt: skip
    return replace(made, **changes)


def all_known():
    """Return the ranking of a scenario in which everything is known."""
    made = invented_rank()
    return replace(made, not_known=None, variables=made.of_kind("scatter"))


def band_hidden():
    """Return the ranking of a band too narrow to share out."""
    return invented_rank(not_known=not_known(shares_told=False, p05=3.1e-4, p95=3.4e-4))


def one_thing():
    """Return the ranking where only one thing matters and nothing else stands out."""
    made = invented_rank()
    return replace(
        made,
        variables=made.variables[:1],
        not_known=None,
        modes=(),
        mode_effects=(),
        design_points=(),
        margin=_indices("the margin", [("plug.overlap", "overlap & more", 0.9, 0.91)]),
    )
