"""Hand-made sweeps and ratings: every number is invented and belongs to no rod."""

import math
from dataclasses import replace

from jointrisk.scenario.types import Assumption, Warning_
from jointrisk.study import rating_results as r
from jointrisk.study import sweep_results as s
from jointrisk.study.results import Chance, Mode, PermittedLoad

ASSUMED = (
    Assumption("plug.overlap", "16 mm", "scenario", "your scenario", "given"),
    Assumption("model.bond_factor", "1 on average", "default", "a table", "from memory"),
)
RUN = {"seed": 6, "versions": {"jointrisk": "0.1.0"}, "scenario_sha256": "ab" * 32, "option": None}
HOST = {"seconds": 1.5, "machine": "here"}
NONE = Chance(math.nan, math.nan, math.nan)


def about(value, spread=0.04):
    return Chance(value, value * (1 - spread), min(1.0, value * (1 + spread)))


def fails(overlap):
    return 0.004 + 0.05 * math.exp(-(overlap - 10.0) / 3.0)


def point(overlap, **changes):
    failure = fails(overlap)
    made = s.SweepPoint(
        value=overlap,
        failure=about(failure),
        as_target=about(failure),
        meets=True if failure < 0.0095 else False if failure > 0.0105 else None,
        ratio=about(failure / fails(16.0), 0.02),
        modes=(Mode("bond lets go at the tube (adhesion)", 0.9 * failure, 0.9),),
        causes=(("bonds that came out weak", 0.83), ("bonds of full strength", 0.17)),
        permitted=PermittedLoad(20.0 * overlap, 19.0 * overlap, 21.0 * overlap, "for show"),
        one_in_100_below=65.0 * overlap,
        left_out=0.0,
    )
    return replace(made, **changes)


def edge(**changes):
    made = s.Edge(16.364, 16.102, 16.641, about(0.01), s.Band(4e-4, 6e-3, 0.045, 0.68), False)
    return replace(made, **changes)


def invented_sweep(**changes):
    """Return a sweep in which failure falls over the overlap, some of its fields replaced."""
    points = tuple(point(10.0 + i) for i in range(15))
    end = edge(
        value=24.0, low=None, high=None, failure=about(fails(24.0)), band=None, of_range=True
    )
    rule = "a step that lowers failure by less than 5 % does not pay"
    reason = "What fails there: bonds that came out weak (83 %)."
    knee = s.Knee("knee", "more", 21.37, rule, points[11].causes, 0.08, reason)
    made = s.Sweep(
        title="Rods for show <&>",
        quantity=s.Quantity("plug.overlap", "overlap", "mm", 16.0),
        points=points,
        as_written=point(16.0),
        verdict="met in part",
        windows=(s.Window(edge(), end),),
        best=points[-1],
        knee=knee,
        map=None,
        target=0.01,
        target_period="life",
        target_scope="set",
        rods=6,
        life_years=5.0,
        confidence=0.95,
        evaluations=79872,
        converged=True,
        assumptions=ASSUMED,
        warnings=(Warning_("corrosion", "aluminium on carbon"),),
        run=RUN,
        host=HOST,
    )
    return replace(made, **changes)


def unreachable(**changes):
    made = invented_sweep(verdict="unreachable within the range", windows=(), target=1e-4,
                          points=tuple(point(10.0 + i, meets=False) for i in range(15)),
                          best=point(24.0, meets=False))  # fmt: skip
    return replace(made, **changes)


def everywhere():
    return invented_sweep(verdict="met everywhere", target=0.5, windows=())


def not_judged():
    points = tuple(point(10.0 + i, as_target=None, meets=None, permitted=None) for i in range(15))
    return invented_sweep(
        verdict="not judged", windows=(), target=None, target_period=None, target_scope=None,
        points=points, best=points[-1], as_written=replace(point(16.0), as_target=None, meets=None),
    )  # fmt: skip


def with_gaps():
    """Return a sweep of which two values cannot be put together and one often not."""
    whole = invented_sweep()
    broken = tuple(
        s.SweepPoint(p.value, NONE, NONE, None, NONE, (), (), None, math.nan, 1.0)
        for p in whole.points[:2]
    )
    rare = replace(whole.points[2], left_out=0.31)
    knee = s.Knee("pays nowhere", "less", None, "a rule", (), None, "")
    return replace(whole, points=(*broken, rare, *whole.points[3:]), knee=knee)


def mapped():
    whole = invented_sweep()
    gaps = (0.1, 0.2, 0.4)
    rows = tuple(
        tuple(about(min(1.0, p.failure.estimate * (1.0 + 3.0 * abs(gap - 0.2))), 0.1)
              for p in whole.points) for gap in gaps
    )  # fmt: skip
    rows = ((NONE, *rows[0][1:]), *rows[1:])
    found = s.SweepMap(
        second=s.Quantity("gap", "radial gap", "mm", 0.17),
        values=gaps,
        failure=rows,
        meets=tuple(tuple(cell.high <= 0.01 for cell in row) for row in rows),
        crossings=((18.42,), (16.36,), ()),
        draws=1024,
    )
    return replace(whole, map=found)


def rated(label="as built", factor=0.8695, pull=None, **changes):
    loads = (
        r.RatedLoad("gust", "annual_maximum", "N", 190.0, 190.0 * factor, 184.0 * factor,
                    196.0 * factor),
        r.RatedLoad("crash", "event", "N", 430.0, 430.0 * factor, 416.0 * factor, 444.0 * factor),
    )  # fmt: skip
    made = r.Rated(label, pull, "rated", factor, 0.97 * factor, 1.03 * factor, about(0.0141),
                   False, loads)  # fmt: skip
    return replace(made, **changes)


def invented_rating(**changes):
    after = (
        rated("the smallest pull that meets the target", 1.0, 593.4, meets=None),
        rated("the pull of its window that leaves least", 2.41, 3441.0, meets=True),
        no_factor("not told", "far too hard", 9e4),
    )
    made = r.Rating(
        title="Rods for show <&>",
        as_built=rated(),
        cautious_factor=0.4281,
        cautious_verdict="rated",
        after_pull=after,
        proof_verdict="window",
        target=0.01,
        target_period="life",
        target_scope="set",
        rods=6,
        life_years=5.0,
        confidence=0.95,
        evaluations=244736,
        converged=True,
        assumptions=ASSUMED,
        warnings=(),
        run=RUN,
        host=HOST,
    )
    return replace(made, **changes)


def no_factor(verdict, label="as built", pull=None):
    failure = NONE if verdict == "not told" else about(0.03)
    meets = None if verdict == "not told" else verdict == "beyond"
    return r.Rated(label, pull, verdict, None, None, None, failure, meets, ())


def nothing_holds():
    return invented_rating(
        as_built=no_factor("unreachable"), cautious_factor=None, cautious_verdict="unreachable",
        after_pull=(no_factor("unreachable", "the bench", 2000.0),),
    )  # fmt: skip


def one_load():
    whole = invented_rating(after_pull=())
    return replace(whole, as_built=replace(whole.as_built, loads=whole.as_built.loads[:1]))
