"""The cheap path: right where one smooth surface fails, and out of it at the first doubt."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal, ncx2, norm

from jointrisk import spread
from jointrisk.reliability import easy as module
from jointrisk.reliability.crude import Counts
from jointrisk.reliability.easy import easy, may_be_easy
from jointrisk.reliability.space import Problem, Space

UNIT = spread.Normal(0.0, 1.0)
NOTHING = Counts(0, 0, 512)


def rows(x):
    return np.array(list(x.values()))


def problem(g, dim):
    """Limit state of scores (d, n) in unit variables."""
    return Problem(Space.of({f"x{i}": UNIT for i in range(dim)}), lambda x: g(rows(x)))


def run(g, dim, seed=0, pilot=NOTHING, target_cov=0.05, most=10**5):
    return easy(
        problem(g, dim),
        pilot,
        seed=seed,
        target_cov=target_cov,
        max_evaluations=most,
        confidence=0.95,
    )


def plane(beta):
    return lambda u: beta - u.sum(axis=0) / np.sqrt(len(u))


def bowl(beta, bend):
    """Paraboloid in the first three coordinates."""
    return lambda u: beta - u[0] + 0.5 * (bend[0] * u[1] ** 2 + bend[1] * u[2] ** 2)


def bowl_chance(beta, bend):
    """By the trapezoid rule over the two bent coordinates: exact to 1e-9 for such smooth ones."""
    at = np.linspace(-9.0, 9.0, 601)
    a, b = np.meshgrid(at, at)
    chance = ndtr(-beta - 0.5 * (bend[0] * a**2 + bend[1] * b**2))
    return (norm.pdf(a) * norm.pdf(b) * chance).sum() * (at[1] - at[0]) ** 2


@pytest.mark.parametrize("dim", [2, 7, 20])
@pytest.mark.parametrize("beta", [2.4, 4.0, 7.0])
def test_plane(dim, beta):
    found = run(plane(beta), dim, pilot=Counts(round(512 * ndtr(-beta)), 0, 512))
    bounds = found.outcome.bounds
    assert bounds.estimate == pytest.approx(ndtr(-beta), rel=1e-4)
    assert bounds.low < ndtr(-beta) < bounds.high
    assert found.outcome.points[0][1].beta == pytest.approx(beta, rel=1e-3)


@pytest.mark.parametrize("bend", [(0.1, 0.0), (0.3, 0.1), (-0.1, 0.05), (-0.12, -0.08)])
@pytest.mark.parametrize("beta", [3.0, 4.0])
def test_paraboloid(beta, bend):
    exact = bowl_chance(beta, bend)
    found = [run(bowl(beta, bend), 5, seed, Counts(1, 0, 512)) for seed in range(4)]
    answers = [one.outcome.bounds for one in found if one.outcome]
    assert len(answers) >= 2
    for bounds in answers:
        assert bounds.standard_error <= 0.05 * bounds.estimate
        assert abs(bounds.estimate - exact) < 4 * bounds.standard_error < 0.2 * exact


def test_interval_holds_over_seeds():
    """94 % of 150 or more: one in a hundred sets of seeds would show 91 % of an interval at 95."""
    exact, inside, sure = bowl_chance(3.5, (0.2, -0.1)), 0, 0
    errors, widths = [], []
    for seed in range(150):
        found = run(bowl(3.5, (0.2, -0.1)), 4, seed).outcome
        if found:
            sure += 1
            inside += found.bounds.low <= exact <= found.bounds.high
            errors.append(found.bounds.estimate / exact - 1)
            widths.append((found.bounds.high - found.bounds.low) / exact)
    assert sure >= 120
    assert inside >= 0.91 * sure
    assert np.median(widths) / 2 <= 1.3 * 1.96 * np.std(errors)


def test_correlated_spreads():
    """Resistance over load of two lognormals tied by their scores: closed form."""
    pair = {"r": spread.Lognormal(300.0, 45.0), "d": spread.Lognormal(100.0, 30.0)}
    tied = Problem(Space.of(pair, {("r", "d"): 0.4}, "scores"), lambda x: x["r"] - x["d"])
    one, two = np.sqrt(np.log1p([0.15**2, 0.3**2]))
    gap = np.log(3.0) - 0.5 * one**2 + 0.5 * two**2
    exact = ndtr(-gap / np.sqrt(one**2 + two**2 - 0.8 * one * two))
    found = easy(tied, NOTHING, seed=1, target_cov=0.05, max_evaluations=9999, confidence=0.95)
    assert found.outcome.bounds.estimate == pytest.approx(exact, rel=0.02)


def nan_where_wide(u):
    return np.where(u[1] > 4.5, np.nan, 4.0 - u[0])


@pytest.mark.parametrize(
    ("g", "dim", "why"),
    [
        (lambda u: 4.0 - abs(u[0]), 2, "design points at 4 and 4"),
        (lambda u: 4.0 - np.sqrt((u**2).sum(axis=0)), 3, "design points at 4 and 4"),
        (lambda u: np.minimum(4.5 - u[0], 50 * (4 - u[1])), 3, "4.5 and 4"),
        (lambda u: np.where(u[0] > 4, -1.0, 1.0), 3, "not settle"),
        (lambda u: np.ones(u.shape[1]), 3, "not settle"),
        (lambda u: -3.0 - u[0], 2, "at -3"),
        (lambda u: 0.5 - u[0], 2, "at 0.5"),
        (lambda u: 12.0 - u[0], 2, "at 12"),
        (nan_where_wide, 2, "not finite"),
        (lambda u: np.where(u[1] < -4.5, np.inf, 4.0 - u[0]), 2, "not finite"),
        (lambda u: abs(u[0] - 4.0) - 0.3, 2, "more than once"),
        (lambda u: 3.0 - u[0] + (4.0 * u[1]) ** 4, 2, "line"),
    ],
)
def test_whatever_is_odd_ends_it_with_a_reason(g, dim, why):
    found = run(g, dim)
    assert found.outcome is None
    assert why in found.said
    assert 0 < found.evaluations < 4000


def test_plain_draws_can_contradict():
    assert "plain draws" in run(plane(3.0), 3, pilot=Counts(12, 0, 512)).said
    assert "not finite" in run(plane(3.0), 3, pilot=Counts(1, 1, 512)).said
    assert run(plane(3.0), 3, pilot=Counts(1, 0, 512)).outcome


def test_weighted_draws_can_contradict(monkeypatch):
    """Lines whose roots all lie 0.15 too near make the value 1.8 times too large."""
    honest = module._Run.roots
    monkeypatch.setattr(module._Run, "roots", lambda *a: honest(*a) - 0.15)
    found = run(plane(4.0), 3)
    assert found.outcome is None
    assert "weighted draws" in found.said


@pytest.mark.parametrize("dim", [2, 3, 6, 15])
@pytest.mark.parametrize("cosine", [-0.5, 0.5, 0.7, 0.9])
def test_a_second_surface_is_not_missed(dim, cosine):
    """Two planes, the second a little farther out: within 15 % or no answer."""

    def g(u):
        other = cosine * u[0] + np.sqrt(1 - cosine**2) * u[1]
        return np.minimum(4.0 - u[0], 4.2 - other)

    tied = multivariate_normal([0, 0], [[1, cosine], [cosine, 1]])
    exact = ndtr(-4.0) + ndtr(-4.2) - tied.cdf([-4.0, -4.2])
    for seed in range(5):
        found = run(g, dim, seed).outcome
        assert found is None or found.bounds.estimate == pytest.approx(exact, rel=0.15)


@pytest.mark.parametrize(("dim", "radius", "away"), [(2, 1.0, 4.0), (3, 1.5, 5.0), (5, 2.0, 5.0)])
def test_an_island_is_not_missed(dim, radius, away):
    """A ball beside a plane; its chance by the chi-square off centre."""

    def g(u):
        centre = np.zeros((dim, 1))
        centre[1] = away
        return np.minimum(4.0 - u[0], np.sqrt(((u - centre) ** 2).sum(axis=0)) - radius)

    assert ncx2(dim, away**2).cdf(radius**2) > 0.15 * ndtr(-4.0)
    assert all(run(g, dim, seed).outcome is None for seed in range(5))


def test_rows_are_counted_and_bounded():
    seen = []

    def g(u):
        seen.append(u.shape[1])
        return bowl(4.0, (0.1, -0.05))(u)

    found = run(g, 12)
    assert found.outcome
    assert found.evaluations == found.outcome.evaluations == sum(seen) < 2500
    short = run(bowl(2.5, (0.5, 0.3)), 4, target_cov=0.002, most=5000)
    assert short.outcome is None
    assert "too many" in short.said
    assert short.evaluations < 5000


def test_finer_aim_is_reached():
    exact = bowl_chance(3.5, (0.1, -0.05))
    bounds = run(bowl(3.5, (0.1, -0.05)), 4, target_cov=0.003).outcome.bounds
    assert bounds.standard_error <= 0.003 * bounds.estimate
    assert bounds.estimate == pytest.approx(exact, rel=0.015)


def test_a_seed_gives_the_same_numbers():
    one, two, other = (run(bowl(3.5, (0.1, -0.05)), 4, seed) for seed in (3, 3, 4))
    assert one.outcome.bounds == two.outcome.bounds
    assert one.outcome.bounds != other.outcome.bounds


def test_what_may_be_easy():
    coin = spread.Mixture([(0.9, spread.Fixed(0.0)), (0.1, spread.Fixed(1.0))])

    def units(count):
        return {f"x{i}": UNIT for i in range(count)}

    assert may_be_easy(Space.of(units(2)))
    assert may_be_easy(Space.of(units(20)))
    assert not may_be_easy(Space.of(units(1)))
    assert not may_be_easy(Space.of(units(21)))
    assert not may_be_easy(Space.of(units(3) | {"k": coin}))
