"""Sensitivity indices against closed forms and quadrature."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy import integrate
from scipy.special import ndtr, ndtri

from jointrisk import spread
from jointrisk.reliability import failure_sobol, shapley, sobol

UNIT = spread.Normal(0.0, 1.0)
SEEDS = range(4)


def numbered(spreads):
    return {f"x{i}": one for i, one in enumerate(spreads)}


def array(found):
    return np.array(list(found.values()))


# Closed forms ------------------------------------------------------------------------------------


def ishigami():
    """Ishigami & Homma (1990), a = 7, b = 0.1; printed values in Saltelli et al. (2008)."""

    def function(x):
        return np.sin(x["x0"]) * (1 + 0.1 * x["x2"] ** 4) + 7 * np.sin(x["x1"]) ** 2

    uniform = spread.Uniform(-np.pi, np.pi)
    first, total = [0.3139, 0.4424, 0.0], [0.5576, 0.4424, 0.2437]
    return function, numbered([uniform] * 3), first, total


def g_function(a):
    """Sobol' (1993): the product of (|4 x − 2| + a) / (1 + a), V_i = 1 / (3 (1 + a_i)²)."""

    def function(x):
        parts = [(np.abs(4 * x[f"x{i}"] - 2) + ai) / (1 + ai) for i, ai in enumerate(a)]
        return np.prod(parts, axis=0)

    part = 1 / 3 / (1 + np.array(a)) ** 2
    whole = np.prod(1 + part)
    first, total = part / (whole - 1), part / (1 + part) * whole / (whole - 1)
    return function, numbered([spread.Uniform(0, 1)] * len(a)), first, total


def sum_of_lognormals():
    sds = np.array([0.1, 0.3, 0.5, 0.05])
    share = sds**2 / np.sum(sds**2)
    laws = numbered([spread.Lognormal(2.0, sd) for sd in sds])
    return lambda x: sum(x.values()), laws, share, share


def product_of_lognormals():
    cov = np.array([0.2, 0.4, 0.1])
    up = 1 + cov**2
    first, total = cov**2 / (np.prod(up) - 1), cov**2 / up * np.prod(up) / (np.prod(up) - 1)
    laws = numbered([spread.Lognormal(3.0, 3.0 * c) for c in cov])
    return lambda x: np.prod(list(x.values()), axis=0), laws, first, total


CASES = {
    "Ishigami": ishigami(),
    "g of eight": g_function([0, 1, 4.5, 9, 99, 99, 99, 99]),
    "g of twenty": g_function([0.5, 1, 2, 4, 9] + [99] * 15),
    "sum": sum_of_lognormals(),
    "product": product_of_lognormals(),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("seed", SEEDS)
def test_closed_forms_within_a_hundredth(case, seed):
    function, variables, first, total = CASES[case]
    found = sobol(function, variables, samples=2**13, seed=seed)
    assert array(found.first) == pytest.approx(np.array(first), abs=0.01)
    assert array(found.total) == pytest.approx(np.array(total), abs=0.01)
    assert found.evaluations == 2**13 * (2 + 2 * len(variables))


@pytest.mark.parametrize("case", ["Ishigami", "product"])
def test_intervals_hold_their_confidence_over_seeds(case):
    """Of 40 seeds 35 to 40 hold (binomial, 99.9 %), each index on its own."""
    function, variables, first, total = CASES[case]
    truth = np.array([*first, *total])
    held = np.zeros(truth.size)
    for seed in range(40):
        found = sobol(function, variables, samples=2**10, seed=seed)
        around = np.array([*found.first_interval.values(), *found.total_interval.values()])
        held += (around[:, 0] <= truth + 5e-5) & (truth - 5e-5 <= around[:, 1])
    assert np.all(held >= 0.88 * 40)


def test_shapley_effects_of_the_ishigami_function():
    """Interactions are shared evenly: half of V_13 to each (Owen 2014, theorem 1)."""
    function, variables, first, total = CASES["Ishigami"]
    middle = 0.5 * (np.array(first) + total)
    found = shapley(function, variables, samples=2**14, seed=0)
    assert array(found.effect) == pytest.approx(middle, abs=0.01)
    assert sum(found.effect.values()) == pytest.approx(1.0, abs=1e-12)


# Correlated normals ------------------------------------------------------------------------------

TIES = {("x0", "x1"): 0.7, ("x1", "x2"): -0.4, ("x0", "x2"): 0.1}
SLOPES, SDS = np.array([1.0, 2.0, -1.0, 1.5]), np.array([1.0, 0.5, 2.0, 1.0])


def covariance():
    matrix = np.eye(4)
    for (a, b), value in TIES.items():
        i, j = int(a[1]), int(b[1])
        matrix[i, j] = matrix[j, i] = value
    return matrix * np.outer(SDS, SDS)


def left(drawn):
    """E[Var(Y | all but these)] of a linear Y of normals: the Schur complement."""
    c, new = covariance(), list(drawn)
    rest = [i for i in range(4) if i not in new]
    part = c[np.ix_(new, new)]
    if rest and new:
        cross = c[np.ix_(new, rest)]
        part = part - cross @ np.linalg.solve(c[np.ix_(rest, rest)], cross.T)
    return SLOPES[new] @ part @ SLOPES[new]


def by_definition():
    """First, total and Shapley shares (Iooss & Prieur 2019, from the covariance)."""
    c = covariance()
    variance = SLOPES @ c @ SLOPES
    first = (c @ SLOPES) ** 2 / np.diag(c) / variance
    total = np.array([left([i]) for i in range(4)]) / variance
    effect, orders = np.zeros(4), list(permutations(range(4)))
    for order in orders:
        for k, i in enumerate(order):
            effect[i] += left(order[: k + 1]) - left(order[:k])
    return first, total, effect / len(orders) / variance


def linear(x):
    return sum(slope * x[f"x{i}"] for i, slope in enumerate(SLOPES))


@pytest.mark.parametrize("seed", SEEDS)
def test_correlated_normals(seed):
    first, total, effect = by_definition()
    laws = numbered([spread.Normal(3.0, sd) for sd in SDS])
    found = sobol(linear, laws, correlation=TIES, seed=seed)
    assert array(found.first) == pytest.approx(first, abs=0.01)
    assert array(found.total) == pytest.approx(total, abs=0.01)
    shares = shapley(linear, laws, correlation=TIES, samples=2**15, seed=seed)
    assert array(shares.effect) == pytest.approx(effect, abs=0.015)


def test_shapley_intervals_hold_with_ties():
    truth = by_definition()[2]
    laws = numbered([spread.Normal(3.0, sd) for sd in SDS])
    held = np.zeros(4)
    for seed in range(40):
        found = shapley(linear, laws, correlation=TIES, samples=2**9, seed=seed)
        around = np.array(list(found.effect_interval.values()))
        held += (around[:, 0] <= truth) & (truth <= around[:, 1])
    assert np.all(held >= 0.85 * 40)  # 1 in 1000 of a binomial of 0.95 falls below


def test_a_group_has_what_its_variables_hold_together():
    laws = numbered([spread.Normal(3.0, sd) for sd in SDS])
    share = left([0, 1, 2]) / (SLOPES @ covariance() @ SLOPES)
    found = shapley(linear, laws, correlation=TIES, groups={"tied": ("x0", "x1", "x2")}, seed=0)
    assert list(found.effect) == ["tied", "x3"]
    assert found.effect["tied"] == pytest.approx(share, abs=0.012)


def test_values_that_are_no_normals_but_tied():
    """Lognormal values move with their scores: the closed form of two tied lognormals.

    Y = X0 X1, log sds s and t, scores tied by r: log Y is normal, and so is log Y given X0.
    """
    s, t, r = 0.3, 0.5, 0.6
    laws = numbered([spread.Lognormal(1.0, np.sqrt(np.expm1(v**2))) for v in (s, t)])
    ties = {("x0", "x1"): r}
    found = sobol(
        lambda x: x["x0"] * x["x1"], laws, correlation=ties, correlation_of="scores", seed=0
    )
    whole = np.expm1(s**2 + t**2 + 2 * r * s * t)
    first = np.expm1(np.array([s + r * t, t + r * s]) ** 2) / whole
    alone = np.array([s, t]) ** 2 * (1 - r**2)
    total = -np.expm1(-alone) * (1 + whole) / whole
    assert array(found.first) == pytest.approx(first, abs=0.01)
    assert array(found.total) == pytest.approx(total, abs=0.01)


# The failure event -------------------------------------------------------------------------------


def both_above(b, r):
    """Chance that two tied scores are above b: Plackett's integral (1954)."""
    inner = integrate.quad(lambda t: np.exp(-b * b / (1 + np.sin(t))), 0, np.arcsin(r), epsabs=0)
    return ndtr(-b) ** 2 + inner[0] / (2 * np.pi)


def of_the_event(p, shared, alone):
    """Indices of a linear event from the squared cosines of what is shared and what is new."""
    b, whole = -ndtri(p), p * (1 - p)
    first = np.array([(both_above(b, a) - p**2) / whole for a in shared])
    total = np.array([1 - (both_above(b, 1 - a) - p**2) / whole for a in alone])
    return first, total


SHARES = np.array([0.5, 0.3, 0.15, 0.05])


@pytest.mark.parametrize("p", [0.2, 1e-2, 1e-4, 1e-6, 1e-8])
def test_linear_failure_event(p):
    """Standard errors are below 2.5 %, so that 10 % is four of them."""
    first, total = of_the_event(p, SHARES, SHARES)
    found = failure_sobol(
        lambda x: -ndtri(p) - sum(np.sqrt(a) * x[f"x{i}"] for i, a in enumerate(SHARES)),
        numbered([UNIT] * 4),
        target_cov=0.025,
        seed=0,
    )
    assert found.converged
    assert found.probability == pytest.approx(p, rel=0.05)
    assert array(found.first) == pytest.approx(first, rel=0.1)
    assert array(found.total) == pytest.approx(total, rel=0.1)


@pytest.mark.parametrize("p", [1e-2, 1e-5])
def test_failure_intervals_hold_over_seeds(p):
    first, total = of_the_event(p, SHARES, SHARES)
    truth, held = np.array([*first, *total]), np.zeros(8)
    for seed in range(24):
        found = failure_sobol(
            lambda x: -ndtri(p) - sum(np.sqrt(a) * x[f"x{i}"] for i, a in enumerate(SHARES)),
            numbered([UNIT] * 4),
            target_cov=0.1,
            seed=seed,
        )
        around = np.array([*found.first_interval.values(), *found.total_interval.values()])
        held += (around[:, 0] <= truth) & (truth <= around[:, 1])
    assert np.all(held >= 19)  # of 24 at 0.95, 1 in 1000 is below


def test_linear_failure_event_with_ties_and_a_lognormal():
    p, slopes, ties = 1e-4, SLOPES[:3], np.eye(3)
    for (a, b), value in TIES.items():
        ties[int(a[1]), int(b[1])] = ties[int(b[1]), int(a[1])] = value
    size = np.sqrt(slopes @ ties @ slopes)
    shared = (ties @ slopes / size) ** 2
    alone = (slopes / size) ** 2 / np.diag(np.linalg.inv(ties))
    first, total = of_the_event(p, shared, alone)
    laws = numbered([UNIT, spread.Lognormal(1.0, 0.2), UNIT])

    def margin(x):
        scores = [x["x0"], laws["x1"].to_normal(x["x1"]), x["x2"]]
        return -ndtri(p) - slopes @ np.array(scores) / size

    found = failure_sobol(
        margin, laws, correlation=TIES, correlation_of="scores", target_cov=0.025, seed=0
    )
    assert array(found.first) == pytest.approx(first, rel=0.1)
    assert array(found.total) == pytest.approx(total, rel=0.1)


def test_four_branches_against_quadrature():
    """The series system of Waarts (2000): failure on four sides."""

    def margin(x):
        a, b = x["x0"], x["x1"]
        bow = 3 + 0.1 * (a - b) ** 2
        line = np.sqrt(0.5) * (a + b)
        return np.min([bow - line, bow + line, a - b + 7 / 2**0.5, b - a + 7 / 2**0.5], axis=0)

    step = 0.005
    axis = np.arange(-8, 8, step)
    density = np.exp(-0.5 * axis**2) / np.sqrt(2 * np.pi) * step
    given = np.array(
        [density @ (margin({"x0": np.full(axis.size, a), "x1": axis}) < 0) for a in axis]
    )
    p = density @ given
    first = (density @ given**2 - p**2) / (p * (1 - p))
    found = failure_sobol(margin, numbered([UNIT] * 2), target_cov=0.025, seed=0)
    assert found.probability == pytest.approx(p, rel=0.05)
    assert array(found.first) == pytest.approx(np.full(2, first), rel=0.1)
    # With two variables the total of one is what the first of the other leaves.
    assert array(found.total) == pytest.approx(np.full(2, 1 - first), rel=0.05)


# Labels: uniform scores below a chance ------------------------------------------------------------

NODES, MASS = np.polynomial.hermite_e.hermegauss(160)
MASS = MASS / MASS.sum()


def behind_a_label(high, low, w):
    """Failure of 0.8 a + 0.6 b beyond `high`, beyond `low` where a label of chance w is set."""
    strong, weak = ndtr(-high), ndtr(-low)
    p = (1 - w) * strong + w * weak
    whole = p * (1 - p)

    def of(own, other):
        given = [ndtr((other * NODES - limit) / own) for limit in (high, low)]
        total = sum(
            c * (MASS @ (q * (1 - q))) for c, q in zip((1 - w, w), given, strict=True)
        )  # of the variable with slope `own`
        first = MASS @ ((1 - w) * given[0] + w * given[1]) ** 2 - p**2  # of the other
        return total / whole, first / whole

    (of_a, first_b), (of_b, first_a) = of(0.8, 0.6), of(0.6, 0.8)
    label = w * (1 - w) * (weak - strong) / whole
    first_label = ((1 - w) * strong**2 + w * weak**2 - p**2) / whole
    total = {"a": of_a, "b": of_b, "label": label}
    return p, total, {"a": first_a, "b": first_b, "label": first_label}


def label_case(high, low, w, idle=0):
    laws = {"a": UNIT, "b": UNIT, "label": spread.Uniform(0, 1)}
    laws |= {f"idle {i}": UNIT for i in range(idle)}

    def margin(x):
        return high - 0.8 * x["a"] - 0.6 * x["b"] - (high - low) * (x["label"] < w)

    return margin, laws


@pytest.mark.parametrize(("high", "low"), [(4.0, 1.0), (5.0, 2.0), (3.5, 0.0)])
def test_a_rare_label_behind_a_margin(high, low):
    """Standard errors are 5 % at most: four of them."""
    p, total, first = behind_a_label(high, low, 0.005)
    margin, laws = label_case(high, low, 0.005)
    found = failure_sobol(margin, laws, seed=1)
    assert found.converged
    assert found.probability == pytest.approx(p, rel=0.1)
    assert found.total == pytest.approx(total, rel=0.2)
    assert found.first == pytest.approx(first, rel=0.2)


@pytest.mark.parametrize("seed", [0, 1])
def test_a_rare_label_among_many_variables(seed):
    """Without its region the total of the label is nil and p a twentieth."""
    p, total, _ = behind_a_label(5.0, 3.0, 0.005)
    margin, laws = label_case(5.0, 3.0, 0.005, idle=30)
    found = failure_sobol(margin, laws, max_evaluations=600_000, seed=seed)
    assert found.probability == pytest.approx(p, rel=0.2)
    for name, value in total.items():
        assert found.total[name] == pytest.approx(value, rel=0.15)


def test_heat_or_a_weak_joint_among_many_variables():
    """One variable far out, or a weak joint of two under a load they share, else nothing."""
    hot, w, keep = 0.008, 0.005, 0.5

    def margin(x):
        joints = [
            np.where((x[f"weak {i}"] < w) & (x[f"keeps {i}"] + x["load"] > keep), -1.0, 1.0)
            for i in (0, 1)
        ]
        return np.min([-ndtri(hot) - x["heat"], *joints], axis=0)

    laws = {"heat": UNIT, "load": UNIT} | {f"keeps {i}": UNIT for i in (0, 1)}
    laws |= {f"weak {i}": spread.Uniform(0, 1) for i in (0, 1)}
    laws |= {f"idle {i}": UNIT for i in range(30)}
    q = ndtr(NODES - keep)
    joint = 1 - MASS @ (1 - w * q) ** 2
    p = 1 - (1 - hot) * (1 - joint)
    whole = p * (1 - p)
    of_heat = (1 - joint) * hot * (1 - hot) / whole
    of_weak = (1 - hot) * (MASS @ ((1 - w * q) * q)) * w * (1 - w) / whole
    first_heat = (hot + (1 - hot) * joint**2 - p**2) / whole
    first_weak = (1 - hot) ** 2 * w * (1 - w) * (MASS @ (q * (1 - w * q))) ** 2 / whole
    found = failure_sobol(margin, laws, seed=0)
    assert found.probability == pytest.approx(p, rel=0.05)
    assert found.total["heat"] == pytest.approx(of_heat, rel=0.05)
    assert found.first["heat"] == pytest.approx(first_heat, rel=0.08)
    for i in (0, 1):
        assert found.total[f"weak {i}"] == pytest.approx(of_weak, rel=0.2)
        assert found.first[f"weak {i}"] == pytest.approx(first_weak, abs=0.004)
        low, high = found.first_interval[f"weak {i}"]
        assert low > 0.5 * first_weak
        assert high < 2.0 * first_weak
