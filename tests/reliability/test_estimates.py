"""The public estimate: what each method promises, what `auto` says, what is refused."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import chi2

from jointrisk import reliability, spread
from jointrisk.errors import InputError
from jointrisk.reliability import Estimate, estimate

UNIT = spread.Normal(0.0, 1.0)
TWO = {"a": UNIT, "b": UNIT}
COIN = spread.Mixture([(0.99, spread.Fixed(0.0)), (0.01, spread.Fixed(1.0))])
METHODS = ["auto", "crude", "importance", "quasi", "subset", "line", "directional"]


def plane(beta):
    return lambda x: beta - (x["a"] + x["b"]) / np.sqrt(2)


def said(found, *words):
    text = " ".join(found.notes)
    assert all(word in text for word in words), text


@pytest.mark.parametrize("method", METHODS)
def test_method_holds_the_truth(method):
    found = estimate(plane(2.5), TWO, method=method, confidence=0.999, max_evaluations=10**6)
    assert found.interval[0] <= ndtr(-2.5) <= found.interval[1]
    assert found.converged
    assert found.cov <= 0.05
    assert found.beta == pytest.approx(2.5, abs=0.1)
    assert found.confidence == 0.999


@pytest.mark.parametrize("beta", [8.0, 15.0, 30.0, 36.0])
def test_far_tail(beta):
    found = estimate(plane(beta), TWO, confidence=0.999)
    assert found.method == "line"
    assert found.converged
    assert found.interval[0] <= ndtr(-beta) <= found.interval[1]
    assert found.beta == pytest.approx(beta, rel=0.01)


def test_auto_counts_when_failure_is_common_and_says_so():
    found = estimate(plane(1.0), TWO)
    assert found.method == "crude"
    said(found, "auto", "of 512", "plain Monte Carlo is enough")
    assert found.probability == estimate(plane(1.0), TWO, method="crude").probability


def test_auto_weights_when_failure_is_rare_and_says_so():
    found = estimate(plane(4.5), TWO)
    assert found.method == "line"
    said(found, "auto", "0 of 512", "importance agrees")
    assert found.evaluations < 3_000


def test_auto_takes_the_thorough_way_where_there_are_two_regions():
    found = estimate(lambda x: 4.0 - abs(plane(0.0)(x)), TWO)
    assert found.method == "line"
    said(found, "0 of 1,024", "importance agrees")
    assert found.probability == pytest.approx(2 * ndtr(-4.0), rel=0.05)
    assert found.evaluations > 3_000


def test_auto_counts_the_rows_of_both_ways():
    rows = []

    def g(x):
        rows.append(x["a"].size)
        return 4.0 - abs(plane(0.0)(x))

    found = estimate(g, TWO)
    assert 0 <= sum(rows) - found.evaluations <= 512  # the first draws are among the next


def test_auto_sees_failure_all_around():
    """Rays answer and subset confirms; a plane in as many variables goes on to lines."""
    many = {f"x{i}": UNIT for i in range(30)}
    ball = estimate(lambda x: 8.5 - np.sqrt(sum(v**2 for v in x.values())), many)
    assert ball.method == "directional"
    assert ball.converged
    said(ball, "subset agrees")
    assert ball.probability == pytest.approx(chi2(30).sf(8.5**2), rel=0.02)
    flat = estimate(lambda x: 4.0 - sum(x.values()) / np.sqrt(30), many)
    assert flat.method == "line"
    assert flat.probability == pytest.approx(ndtr(-4.0), rel=0.02)


def test_auto_believes_no_value_that_nothing_confirms(monkeypatch):
    """Two methods that differ by half are no answer, however sure each is of itself."""
    from dataclasses import replace

    from jointrisk.reliability import choice, estimates

    honest = estimates._Task.run

    def twisted(task, method, target_cov, rows):
        found = honest(task, method, target_cov, rows)
        return replace(found, probability=found.probability * (1.5 if method == "line" else 1.0))

    monkeypatch.setattr(estimates._Task, "run", twisted)
    monkeypatch.setattr(estimates, "may_be_easy", lambda _: False)
    monkeypatch.setattr(choice, "_PLAN", (("line", 0.0, 100_000), ("importance", 0.0, 100_000)))
    found = estimate(plane(4.0), TWO)
    assert not found.converged
    said(found, "no two methods confirm each other", "line", "importance")


def test_auto_keeps_to_its_rows():
    for most in (1, 5_000, 20_000):
        found = estimate(plane(4.0), TWO, max_evaluations=most)
        assert found.evaluations <= 3 * max(most, 20_000)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("level", "exact"), [(-1.0, 1.0), (1.0, 0.0)])
def test_constant_margin(method, level, exact):
    found = estimate(lambda x: level + 0 * x["a"], TWO, method=method, max_evaluations=40_000)
    assert found.probability == exact
    assert 0 <= found.interval[0] <= exact <= found.interval[1] <= 1
    assert found.interval[0] < found.interval[1]
    assert found.converged == (exact == 1.0)


def test_no_failure_is_never_a_bare_zero():
    found = estimate(plane(9.0), TWO, method="crude", max_evaluations=16_384)
    assert found.probability == 0.0
    assert found.cov == found.beta == np.inf
    assert 0 < found.interval[1] == pytest.approx(1 - 0.025 ** (1 / 16_384))
    assert not found.converged
    said(found, "no failure in 16,384 draws", "upper bound")


def test_not_converged_says_how_many_draws_it_would_take():
    found = estimate(plane(2.5), TWO, method="crude", max_evaluations=16_384, target_cov=0.001)
    assert not found.converged
    said(found, "not converged", "16,384", "0.001")


def test_probability_near_one():
    for method in METHODS:
        found = estimate(plane(-3.0), TWO, method=method, confidence=0.999)
        assert found.interval[0] <= ndtr(3.0) <= found.interval[1] < 1.0


def test_undefined_margins_are_failures_and_told():
    found = estimate(lambda x: np.where(x["a"] > 1, np.nan, 1.0), TWO)
    assert found.interval[0] <= ndtr(-1.0) <= found.interval[1]
    said(found, "NaN", "count as failures")


def test_four_branches_have_four_design_points():
    def margin(x):
        a, b = x["a"], x["b"]
        bend, root = 0.1 * (a - b) ** 2, np.sqrt(2)
        pair = np.minimum(3 + bend - (a + b) / root, 3 + bend + (a + b) / root)
        return np.minimum(pair, np.minimum(a - b, b - a) + 7 / root)

    found = estimate(margin, TWO, target_cov=0.02)
    betas = [point.beta for point in found.design_points]
    assert betas == pytest.approx([3.0, 3.0, 3.5, 3.5], rel=1e-3)
    # Waarts (2000), table of test functions: 2.22e-3
    assert found.probability == pytest.approx(2.22e-3, rel=0.08)


def test_alpha_has_loads_positive_and_strengths_negative():
    variables = {"r": spread.Normal(10, 2), "d": spread.Normal(2, 1), "k": spread.Fixed(1.0)}
    found = estimate(lambda x: x["r"] - x["k"] * x["d"], variables)
    expected = {"r": -2 / np.sqrt(5), "d": 1 / np.sqrt(5), "k": 0.0}
    assert found.alpha == pytest.approx(expected, abs=1e-4)


def test_design_point_is_told_in_the_caller_s_units():
    variables = {"r": spread.Normal(10, 2), "d": spread.Normal(2, 1)}
    point = estimate(lambda x: x["r"] - x["d"], variables, method="form").design_points[0]
    assert point.values == pytest.approx({"r": 3.6, "d": 3.6}, abs=1e-2)
    assert point.scores == pytest.approx({"r": -3.2, "d": 1.6}, abs=1e-2)
    assert point.probability == pytest.approx(ndtr(-8 / np.sqrt(5)), rel=1e-3)


def test_without_a_design_point_there_is_no_alpha():
    found = estimate(plane(1.0), TWO, method="crude")
    assert found.alpha is None
    assert found.design_points == ()


def test_form_gives_no_interval_and_says_why():
    found = estimate(plane(3.0), TWO, method="form")
    assert found.probability == pytest.approx(ndtr(-3.0), rel=1e-3)
    assert np.isnan(found.interval).all()
    assert found.converged
    said(found, "no interval")


def test_form_sums_over_labels():
    found = estimate(lambda x: 4 - 3 * x["w"] - x["a"], {"a": UNIT, "w": COIN}, method="form")
    exact = 0.99 * ndtr(-4.0) + 0.01 * ndtr(-1.0)
    assert found.probability == pytest.approx(exact, rel=1e-3)
    assert found.design_points[0].values["w"] == 1.0


@pytest.mark.parametrize("level", [-1.0, 1.0])
def test_form_of_a_flat_margin_is_not_called_converged(level):
    found = estimate(lambda x: level + 0 * x["a"], TWO, method="form")
    assert found.probability == (1.0 if level < 0 else 0.0)
    assert not found.converged


def test_form_warns_of_other_points():
    found = estimate(lambda x: np.minimum(3 - x["a"], 3.2 + x["b"]), TWO, method="form")
    said(found, "2 design points")


@pytest.mark.parametrize("method", ["auto", "importance"])
def test_labels_alone(method):
    found = estimate(lambda x: 0.5 - x["w"], {"w": COIN}, method=method)
    assert found.interval[0] <= 0.01 <= found.interval[1]


def test_silent_cells_are_named():
    found = estimate(
        lambda x: np.where(x["w"] > 0, 1 - x["a"], 1.0), {"a": UNIT, "w": COIN}, method="importance"
    )
    said(found, "no failure seen in 1 of 2 cells", "w = 0")


def test_hundred_variables():
    many = {f"x{i}": UNIT for i in range(100)}
    found = estimate(lambda x: 4.5 - sum(x.values()) / 10, many, confidence=0.999)
    assert found.interval[0] <= ndtr(-4.5) <= found.interval[1]
    assert found.alpha == pytest.approx(dict.fromkeys(many, 0.1), abs=1e-3)


def test_correlated_values():
    variables = {"r": spread.Normal(10, 1), "d": spread.Normal(4, 1)}
    found = estimate(
        lambda x: x["r"] - x["d"], variables, correlation={("r", "d"): 0.5}, confidence=0.999
    )
    assert found.interval[0] <= ndtr(-6.0) <= found.interval[1]


@settings(max_examples=10, deadline=None)
@given(st.floats(1e-9, 1e9), st.sampled_from(METHODS))
def test_unit_of_the_margin_does_not_matter(unit, method):
    plain = estimate(plane(3.0), TWO, method=method, max_evaluations=40_000)
    scaled = estimate(lambda x: unit * plane(3.0)(x), TWO, method=method, max_evaluations=40_000)
    assert scaled.probability == pytest.approx(plain.probability, rel=1e-2)


@pytest.mark.parametrize("method", [*METHODS, "form", "sorm"])
def test_same_seed_same_bytes_with_and_without_a_pool(method):
    with ThreadPoolExecutor(2) as pool:
        pooled = estimate(plane(2.5), TWO, method=method, seed=0, pool=pool)
    plain = estimate(plane(2.5), TWO, method=method, seed=0)
    assert repr(pooled) == repr(plain)


def test_no_seed_is_a_fixed_seed():
    assert repr(estimate(plane(3.0), TWO)) == repr(estimate(plane(3.0), TWO, seed=20_260_101))


def test_other_seed_other_draws():
    assert estimate(plane(3.0), TWO, seed=0) != estimate(plane(3.0), TWO, seed=1)


def test_a_missed_region_shows_against_the_plain_draws(monkeypatch):
    from jointrisk.reliability import choice, importance
    from jointrisk.reliability.search import Found, find_points

    def blind(g, dim, rng):
        found = find_points(g, dim, rng)
        return Found(found.points[1:], found.evaluations)

    monkeypatch.setattr(choice, "_PLAN", (("importance", 0.0, 100_000),))
    monkeypatch.setattr(importance, "find_points", blind)
    monkeypatch.setattr(importance._Run, "look_again", lambda *_: None)
    monkeypatch.setattr(importance, "GUARD", 0.02)
    monkeypatch.setattr(importance, "_LEAST_WIDTH", np.inf)
    found = estimate(lambda x: np.minimum(3.5 - x["a"], 5.8 + x["a"]), {"a": UNIT}, seed=1)
    assert found.interval[1] < ndtr(-3.5)
    assert not found.converged
    said(found, "a region may be missed")


def test_result_is_frozen():
    found = estimate(plane(1.0), TWO)
    assert isinstance(found, Estimate)
    with pytest.raises(AttributeError):
        found.probability = 0.0


def test_public_names_are_there():
    assert set(reliability.__all__) >= {
        "Estimate",
        "Screening",
        "ScreeningLoad",
        "estimate",
        "screen",
        "smallest_load",
    }


def test_every_method_is_told_of_to_who_names_another():
    told = r"'quasi'.*'sorm'.*'subset'.*'line', 'directional', got 'magic'"
    with pytest.raises(InputError, match=told):
        estimate(plane(1.0), TWO, method="magic")


@pytest.mark.parametrize("method", METHODS)
def test_nan_is_told_both_ways_where_it_matters(method):
    """P(a > 2) fails by NaN, P(b > 2) by a negative margin."""
    nan = estimate(
        lambda x: np.where(x["a"] > 2, np.nan, 2 - x["b"]), TWO, method=method, confidence=0.999
    )
    assert nan.interval[0] <= 1 - ndtr(2.0) ** 2 <= nan.interval[1]
    said(nan, "the margin is NaN in", "count as failures")
    told = next(note for note in nan.notes if "if it is none" in note)
    with_nan, without = (float(word) for word in told.split() if word[0].isdigit())
    assert with_nan == pytest.approx(nan.probability, rel=1e-3)
    # what is left: b > 2 while a <= 2
    assert without == pytest.approx(ndtr(-2.0) * ndtr(2.0), rel=0.2)


def test_nan_that_changes_little_is_only_counted():
    found = estimate(lambda x: np.where(x["a"] > 4.2, np.nan, 2 - x["b"]), TWO, method="line")
    said(found, "NaN")
    assert not any("if it is none" in note for note in found.notes)


@pytest.mark.parametrize("method", ["quasi", "sorm", "subset", "line", "directional"])
def test_labels_alone_are_exact(method):
    found = estimate(lambda x: 0.5 - x["w"], {"w": COIN}, method=method)
    assert found.probability == pytest.approx(0.01, rel=1e-12)
    assert found.converged
    assert found.evaluations == 2


def test_sorm_gives_no_interval_and_says_why():
    found = estimate(plane(3.0), TWO, method="sorm")
    assert found.probability == pytest.approx(ndtr(-3.0), rel=1e-3)
    assert np.isnan(found.interval).all()
    assert found.converged
    assert found.alpha == pytest.approx({"a": np.sqrt(0.5), "b": np.sqrt(0.5)}, abs=1e-3)
    said(found, "no interval", "Breitung", "Tvedt")


@pytest.mark.parametrize("method", ["quasi", "subset", "line", "directional"])
def test_limit_is_told_when_it_stops_the_run(method):
    found = estimate(plane(3.0), TWO, method=method, max_evaluations=5000, target_cov=1e-6)
    truth = ndtr(-3.0)
    assert not found.converged or method == "line"  # lines along a plane all agree: exact
    assert found.interval[0] <= truth <= found.interval[1]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"method": "magic"}, "'magic'"),
        ({"target_cov": 0.0}, "got 0"),
        ({"target_cov": np.nan}, "got nan"),
        ({"max_evaluations": 0}, "got 0"),
        ({"confidence": 1.0}, "got 1"),
        ({"seed": -3}, "-3"),
        ({"seed": True}, "True"),
        ({"correlation": {("a", "z"): 0.2}}, "'z'"),
        ({"correlation": {("a", "b"): 1.7}}, r"1\.7"),
        ({"correlation": {("a", "b"): 0.1}, "correlation_of": "ranks"}, "'ranks'"),
    ],
)
def test_bad_arguments_are_refused_with_their_value(change, told):
    with pytest.raises(InputError, match=told):
        estimate(plane(1.0), TWO, **change)


@pytest.mark.parametrize("method", [*METHODS, "form", "sorm"])
@pytest.mark.parametrize(
    "margin", [lambda _x: 1.0, lambda x: x["a"][:, None], lambda x: x["a"] < 0]
)
def test_margin_of_another_shape_or_kind_is_refused(method, margin):
    with pytest.raises(InputError, match=r"limit_state must return real numbers of shape \("):
        estimate(margin, TWO, method=method)
