"""Limit states with known failure probabilities, to judge estimators by.

`CASES` holds them. References are plain numbers; `limit_states_exact.py` computes them
again without the package. Values under "from memory" were not looked up: they are
held by the computation only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from jointrisk import spread
from jointrisk.spread import Fixed, Gumbel, Lognormal, Mixture, Normal

UNIT = Normal(0.0, 1.0)
ROOT2 = np.sqrt(2.0)


@dataclass(frozen=True, slots=True)
class Case:
    """One limit state: failure where it is below zero."""

    name: str
    limit_state: Callable[[dict[str, np.ndarray]], np.ndarray]
    variables: Mapping[str, spread.Spread]
    correlation: Mapping[tuple[str, str], float] | None
    correlation_of: str
    reference: float
    """Failure probability [-]."""
    source: str
    tags: tuple[str, ...]


def case(name, limit_state, variables, reference, source, *tags, tied=None, of="scores"):
    return Case(name, limit_state, variables, tied, of, reference, source, tags)


def units(count):
    return {f"x{i}": UNIT for i in range(1, count + 1)}


def coin(weight, value, other):
    """Two atoms: `value` with chance `weight`, else `other`."""
    return Mixture([(weight, Fixed(value)), (1.0 - weight, Fixed(other))])


def rows(x):
    """All variables, (d, n)."""
    return np.array(list(x.values()))


def along(x):
    """Score along the diagonal, standard normal for unit variables."""
    return rows(x).sum(axis=0) / np.sqrt(len(x))


def square(x):
    return (rows(x) ** 2).sum(axis=0)


def less(x):
    return x["r"] - x["d"]


def all_pairs(count, coefficient):
    names = list(units(count))
    return {(a, b): coefficient(i, j) for i, a in enumerate(names) for j, b in enumerate(names[:i])}


def loading(i):
    """Share of the common cause in part i of the series of ten."""
    return 0.3 + 0.06 * i


# --- shapes in unit normal variables --------------------------------------------------------


def four_branches(x):
    a, b = x["x1"], x["x2"]
    bend = 3.0 + 0.1 * (a - b) ** 2
    pair = np.minimum(bend - (a + b) / ROOT2, bend + (a + b) / ROOT2)
    return np.minimum(pair, np.minimum(a - b, b - a) + 7.0 / ROOT2)


def three_regions(x):
    a, b, h = x["x1"], x["x2"], np.sqrt(0.75)
    return np.minimum(np.minimum(3.5 - a, 3.7 + a / 2 - h * b), 4.0 + a / 2 + h * b)


def metaball(x):
    a, b = x["x1"], x["x2"]
    one = 30.0 / ((4.0 * (a + 2.0) ** 2 / 9.0 + b**2 / 25.0) ** 2 + 1.0)
    two = 20.0 / (((a - 2.5) ** 2 / 4.0 + (b - 0.5) ** 2 / 25.0) ** 2 + 1.0)
    return one + two - 5.0


def steep_corners(x):
    """Near the middle x2 matters most; the nearer failure lies along x1."""
    a, b = x["x1"], x["x2"]
    one = np.where(a > 3.5, 4.0 - a, 0.85 - 0.1 * a)
    two = np.where(b > 2.0, 0.5 - 0.1 * b, 2.3 - b)
    return np.minimum(one, two)


def multimodal(x):
    a, b = x["x1"], x["x2"]
    return 2.0 + np.sin(2.5 * a) - (a**2 + 4.0) * (b - 1.0) / 20.0


def rastrigin(x):
    u = rows(x)
    return 10.0 - (u**2 - 5.0 * np.cos(2.0 * np.pi * u)).sum(axis=0)


def bowl(x, distance, bend):
    """Paraboloid around x1: bend < 0 wraps around the origin."""
    return distance - x["x1"] + bend * (rows(x)[1:] ** 2).sum(axis=0)


# fmt: off
SHAPES = (
    case("four branches", four_branches, units(2), 0.002222795,
         "Waarts 2000, 2.22e-3, from memory; quadrature over turned axes", "regions", "published"),
    case("opposite sides, alike", lambda x: 4.0 - abs(along(x)), units(2), 6.334248e-5,
         "closed form", "regions"),
    case("opposite sides, unlike", lambda x: np.minimum(3.5 - along(x), 4.0 + along(x)),
         units(3), 0.0002643003, "closed form", "regions"),
    case("three regions", three_regions, units(2), 0.0003721001,
         "inclusion and exclusion with bivariate normal quadrature", "regions"),
    case("two points alike", lambda x: 5.0 - x["x2"] - 0.5 * x["x1"] ** 2, units(2), 0.002891466,
         "quadrature over x1", "regions", "curved"),
    case("two points, one nearer", lambda x: 5.0 - x["x2"] - 0.5 * (x["x1"] - 0.1) ** 2,
         units(2), 0.003016312,
         "Der Kiureghian and Dakessian 1998, 3.02e-3, from memory; quadrature over x1",
         "regions", "curved", "published"),
    case("four corners", lambda x: 3.5 - abs(rows(x)).min(axis=0), units(2), 2.164652e-7,
         "closed form", "regions", "kink"),
    case("metaball", metaball, units(2), 1.128557e-5,
         "Breitung 2019, 1.13e-5, from memory; quadrature over both", "regions", "published"),
    case("steep corners", steep_corners, units(2), 3.195788e-5,
         "Breitung 2019, 3.2e-5, from memory; closed form", "regions", "kink", "published"),
    case("cut sets", lambda x: np.minimum(np.maximum(2.5 - x["x1"], 3.0 - x["x2"]), 4.2 - x["x3"]),
         units(3), 2.172805e-5, "closed form", "kink", "regions", "system"),
    case("diamond", lambda x: 6.0 - abs(rows(x)).sum(axis=0), units(2), 4.418051e-5,
         "quadrature over x1", "kink", "regions"),
    case("wedge", lambda x: 3.0 + 3.0 * abs(x["x2"]) - x["x1"], units(2), 0.0001008935,
         "quadrature over x2", "kink", "valley"),
    case("thin strip", lambda x: np.maximum(3.0 - x["x1"], abs(x["x1"] - x["x2"]) - 0.1),
         units(2), 6.324852e-7, "quadrature over x1", "kink", "valley"),
    case("narrow valley", lambda x: 3.0 - x["x2"] + (4.0 * x["x1"]) ** 4, units(2), 0.0001781589,
         "Grooteman 2008, 1.8e-4, from memory; quadrature over x1", "valley", "published"),
    case("wrapped", lambda x: 2.5 + 0.1 * (x["x1"] - x["x2"]) ** 2 - (x["x1"] + x["x2"]) / ROOT2,
         units(2), 0.004207306,
         "Grooteman 2008, 4.16e-3, from memory; quadrature over turned axes",
         "curved", "published"),
    case("series of five", lambda x: 3.5 - rows(x).max(axis=0), units(5), 0.001097832,
         "equal correlation: quadrature over the common cause", "system", "correlated",
         tied=all_pairs(5, lambda i, j: 0.5)),
    case("parallel of three", lambda x: 2.5 - rows(x).min(axis=0), units(3), 0.0003516445,
         "equal correlation: quadrature over the common cause", "system", "correlated", "kink",
         tied=all_pairs(3, lambda i, j: 0.6)),
    case("series of ten", lambda x: (3.6 + 0.1 * np.arange(10)[:, None] - rows(x)).min(axis=0),
         units(10), 0.0004678303, "product correlation: quadrature over the common cause",
         "system", "correlated", tied=all_pairs(10, lambda i, j: loading(i) * loading(j))),
    case("series of fifty", lambda x: 4.5 - rows(x).max(axis=0), units(50), 0.0001698695,
         "closed form", "system", "regions", "many"),
    case("one variable", lambda x: 6.0 - x["x1"], units(1), 9.865876e-10, "closed form", "one"),
    case("sphere in 3", lambda x: 5.0 - np.sqrt(square(x)), units(3), 1.54405e-5,
         "closed form, chi-square", "sphere"),
    case("sphere in 10", lambda x: 6.0 - np.sqrt(square(x)), units(10), 8.41761e-5,
         "closed form, chi-square", "sphere"),
    case("sphere in 100", lambda x: 12.8 - np.sqrt(square(x)), units(100), 5.936608e-5,
         "closed form, chi-square", "sphere", "many"),
    case("inside a ball in 10", lambda x: square(x) - 1.0, units(10), 0.0001721156,
         "closed form, chi-square; the origin fails", "sphere"),
    case("linear in 100", lambda x: 4.0 - along(x), units(100), 3.167124e-5, "closed form", "many"),
    case("quadratic in 100", lambda x: 4.0 - along(x) + 1.25 * (x["x1"] - x["x2"]) ** 2,
         units(100), 6.620614e-6, "quadrature over x1 - x2", "many", "curved"),
    case("bowl away in 12", lambda x: bowl(x, 2.5, 0.1), units(12), 0.0004144539,
         "quadrature over a chi-square", "curved"),
    case("bowl around in 5", lambda x: bowl(x, 5.0, -0.1), units(5), 9.583576e-6,
         "quadrature over a chi-square", "curved"),
    case("half", along, units(4), 0.5, "symmetry", "large"),
    case("nearly certain", lambda x: -3.0 - along(x), units(3), 0.9986501, "closed form", "large"),
    case("one in 10 billion", lambda x: 6.361340902404056 - along(x), units(5), 1e-10,
         "closed form", "small"),
    case("indicator", lambda x: np.where(along(x) > 4.0, -1.0, 1.0), units(3), 3.167124e-5,
         "closed form", "step"),
    case("indicator in 20", lambda x: np.where(along(x) > 4.2, -1.0, 1.0), units(20), 1.334575e-5,
         "closed form", "step", "many"),
    case("island in 5", lambda x: square(x) - 8.0 * x["x1"] + 15.0, units(5), 3.416191e-5,
         "closed form, chi-square off centre", "sphere", "kink"),
    case("step behind a slope", lambda x: np.minimum(4.6 - x["x1"], np.where(
         x["x1"] + x["x2"] < -4.0 * ROOT2, -1.0, 9.0)), units(10), 3.37837e-5,
         "closed form, both together below 1e-10", "step", "regions"),
    case("stairs", lambda x: np.floor(2.0 * (4.0 - along(x))) + 0.5, units(4), 3.167124e-5,
         "closed form", "step"),
    case("thin shell", lambda x: abs(along(x) - 4.0) - 0.05, units(2), 1.346678e-5,
         "closed form", "kink", "valley"),
    case("plateau", lambda x: np.minimum(1.0, 4.5 - along(x)), units(3), 3.397673e-6,
         "closed form", "flat"),
    case("nearly flat", lambda x: np.tanh(2.0 * (4.5 - along(x))), units(2), 3.397673e-6,
         "closed form", "flat"),
    case("decoy slope", lambda x: np.minimum(5.2 - x["x2"], 50.0 * (3.8 - x["x1"])), units(2),
         7.244768e-5, "closed form", "regions", "flat"),
)
# fmt: on

# --- families of spreads, labels and dependence ---------------------------------------------

CHAIN = {f"x{i}": Lognormal(1.0, 0.1 * i) for i in range(1, 6)}


def short_column(x):
    b, h = 8.668, 25.0
    return 1.0 - 4.0 * x["m"] / (b * h**2 * x["y"]) - x["p"] ** 2 / (b * h * x["y"]) ** 2


def oscillator(x):
    """Spring-mass with a rectangular pulse; fails where it moves further than three r."""
    stiffness = x["c1"] + x["c2"]
    phase = np.sqrt(stiffness / x["m"]) * x["t"] / 2.0
    return 3.0 * x["r"] - abs(2.0 * x["f"] / stiffness * np.sin(phase))


def pulse(mean, sd):
    return {"m": Normal(1.0, 0.05), "c1": Normal(1.0, 0.1), "c2": Normal(0.1, 0.01),
            "r": Normal(0.5, 0.05), "f": Normal(mean, sd), "t": Normal(1.0, 0.2)}  # fmt: skip


def two_masses(x):
    """Peak force in the second spring under white noise (peak factor three)."""
    wp, ws = np.sqrt(x["kp"] / x["mp"]), np.sqrt(x["ks"] / x["ms"])
    wa, za = (wp + ws) / 2.0, (x["zp"] + x["zs"]) / 2.0
    ratio, tuning = x["ms"] / x["mp"], (wp - ws) / ((wp + ws) / 2.0)
    spectral = np.pi * x["s0"] / (4.0 * x["zs"] * ws**3)
    spectral = spectral * za * x["zs"] / (x["zp"] * x["zs"] * (4.0 * za**2 + tuning**2)
                                          + ratio * za**2)  # fmt: skip
    square = spectral * (x["zp"] * wp**3 + x["zs"] * ws**3) * wp / (4.0 * za * wa**4)
    return x["fs"] - 3.0 * x["ks"] * np.sqrt(square)


TWO_MASSES = {
    name: Lognormal(mean, mean * cov)
    for name, mean, cov in (
        ("mp", 1.5, 0.1), ("ms", 0.01, 0.1), ("kp", 1.0, 0.2), ("ks", 0.01, 0.2),
        ("zp", 0.05, 0.4), ("zs", 0.02, 0.5), ("fs", 15.0, 0.1), ("s0", 100.0, 0.1),
    )
}  # fmt: skip


def rippled(x):
    smooth = x["x1"] + 2.0 * x["x2"] + 2.0 * x["x3"] + x["x4"] - 5.0 * x["x5"] - 5.0 * x["x6"]
    return smooth + 0.001 * np.sin(100.0 * rows(x)).sum(axis=0)


RIPPLED = {f"x{i}": Lognormal(120.0, 12.0) for i in range(1, 5)} | {
    "x5": Lognormal(50.0, 15.0), "x6": Lognormal(40.0, 12.0)
}  # fmt: skip

# fmt: off
FAMILIES = (
    case("linear in 20", lambda x: (rows(x) * (-1.0) ** np.arange(20)[:, None]).sum(axis=0),
         {f"x{i}": Normal(12.0 if i % 2 else 10.0, 0.5 + 0.1 * i) for i in range(1, 21)},
         0.003423612,
         "closed form", "linear"),
    case("fifty waits", lambda x: 100.0 - rows(x).sum(axis=0),
         {f"x{i}": spread.Exponential(1.0) for i in range(1, 51)}, 1.17845e-8,
         "closed form, gamma", "many", "curved"),
    case("twenty waits, too short", lambda x: rows(x).sum(axis=0) - 5.0,
         {f"x{i}": spread.Exponential(1.0) for i in range(1, 21)}, 3.452136e-7,
         "closed form, gamma", "curved"),
    case("lognormals tied", less, {"r": Lognormal(300.0, 45.0), "d": Lognormal(100.0, 30.0)},
         3.882894e-6, "closed form, Nataf", "correlated", tied={("r", "d"): 0.5}, of="values"),
    case("product of a chain", lambda x: 8.0 - rows(x).prod(axis=0), CHAIN, 0.00494792,
         "closed form, Nataf", "correlated", "product", of="values",
         tied={(f"x{i}", f"x{i + 1}"): 0.4 for i in range(1, 5)}),
    case("Weibull and Gumbel tied", less, {"r": spread.Weibull(10.0, 100.0), "d": Gumbel(40, 6)},
         0.002446414, "quadrature over the load", "correlated", tied={("r", "d"): -0.5}),
    case("short column", short_column,
         {"p": Normal(500, 100), "m": Normal(2000, 400), "y": Lognormal(5, 0.5)}, 0.005970602,
         "Kuschel and Rackwitz 1997, from memory; quadrature over force and moment",
         "correlated", "published", tied={("p", "m"): 0.5}),
    case("label tied", lambda x: x["k"] * x["r"] - x["d"],
         {"k": coin(0.01, 0.5, 1.0), "r": Normal(1000, 100), "d": Normal(400, 40)}, 0.002871705,
         "quadrature over the strength", "label", "correlated", tied={("k", "r"): 0.5}),
    case("weak label", lambda x: x["k"] * x["r"] - x["d"],
         {"k": coin(0.005, 0.4, 1.0), "r": Lognormal(1000, 100), "d": Lognormal(350, 50)},
         0.001061443,
         "closed form in each label", "label"),
    case("two labels", lambda x: 5.5 - x["i"] - x["j"] - x["a"],
         {"i": coin(0.1, 1.0, 0.0), "j": coin(0.002, 3.0, 0.0), "a": UNIT}, 2.489498e-5,
         "closed form in each label", "label"),
    case("label of one in a million", lambda x: 7.0 - 6.0 * x["k"] - x["a"],
         {"k": coin(1e-6, 1.0, 0.0), "a": UNIT}, 1.586565e-7, "closed form in each label", "label"),
    case("three labels of three", lambda x: 9.0 - x["i"] - x["j"] - x["k"] - x["a"] - x["b"],
         {n: Mixture([(0.9, Fixed(0)), (0.09, Fixed(1)), (0.01, Fixed(2))]) for n in "ijk"}
         | {"a": UNIT, "b": UNIT}, 2.651239e-7, "closed form in each label", "label"),
    case("rare events", less,
         {"r": Normal(500, 40), "d": spread.MaximumOfEvents(Gumbel(200, 50), 0.02)}, 8.642747e-6,
         "quadrature over the strength; no event with chance 0.98", "label"),
    case("two makes", less,
         {"r": Mixture([(0.99, Normal(100, 6)), (0.01, Normal(60, 5))]), "d": Normal(40, 4)},
         8.936445e-6,
         "closed form in each make", "label", "regions"),
    case("Frechet load", less, {"r": Normal(200, 20), "d": spread.Frechet(4.0, 15.0)}, 3.518256e-5,
         "quadrature over the strength", "heavy"),
    case("Student load", less, {"r": Lognormal(100, 10), "d": spread.StudentT(20, 3, 3.0)},
         6.354115e-5,
         "quadrature over the strength", "heavy"),
    case("lognormals of CoV 1", lambda x: x["r"] / x["d"] - 1.0,
         {"r": Lognormal(100, 100), "d": Lognormal(1.0, 1.0)}, 4.590576e-5, "closed form",
         "heavy", "product"),
    case("Weibull of shape 0.7", less, {"r": Lognormal(50, 5), "d": spread.Weibull(0.7, 2.0)},
         9.169156e-5, "quadrature over the strength", "heavy"),
    case("five uniforms", lambda x: rows(x).sum(axis=0) - 0.3,
         {f"x{i}": spread.Uniform(0, 1) for i in range(1, 6)}, 2.025e-5,
         "closed form, Irwin and Hall", "bounded"),
    case("Beta and Triangular", less,
         {"r": spread.Beta(50, 150, 100, 15), "d": spread.Triangular(20, 40, 70)}, 0.000289459,
         "quadrature over the strength", "bounded"),
    case("bounds just meet", less,
         {"r": spread.Triangular(58, 100, 130), "d": spread.Uniform(20, 60)}, 2.204586e-5,
         "closed form", "bounded"),
    case("truncated strength", less,
         {"r": spread.Truncated(Normal(100, 10), low=80), "d": Gumbel(50, 5)}, 1.186841e-5,
         "quadrature over the strength", "bounded"),
    case("rippled sum", rippled, RIPPLED, 0.0122052,
         "Liu and Der Kiureghian 1991, from memory; the ripple averages out, x5 integrated, "
         "Sobol' over the rest", "noisy", "published"),
    case("product of two strengths", lambda x: x["a"] * x["b"] - x["d"],
         {"a": Lognormal(20, 2), "b": Lognormal(50, 5), "d": Gumbel(400, 60)}, 4.107002e-5,
         "quadrature over the product", "product"),
    case("product of two normals", lambda x: x["a"] * x["b"] - 146.14,
         {"a": Normal(78064.4, 11709.7), "b": Normal(0.0104, 0.00156)}, 1.452582e-7,
         "Eldred and Bichon 2006, 1.46e-7, from memory; quadrature over a",
         "product", "published"),
    case("multimodal", multimodal, {"x1": Normal(1.5, 1.0), "x2": Normal(2.5, 1.0)}, 0.03132049,
         "Bichon and others 2008, 3.13e-2, from memory; quadrature over x1",
         "regions", "published"),
    case("Rastrigin", rastrigin, units(2), 0.07297901,
         "Echard and others 2011, 7.3e-2, from memory; quadrature over both",
         "regions", "published"),
    case("two cubes", lambda x: x["x1"] ** 3 + x["x2"] ** 3 - 18.0,
         {"x1": Normal(10, 5), "x2": Normal(10, 5)}, 0.005487616,
         "Santosh and others 2006, 5.8e-3, from memory; quadrature over x1", "published"),
    case("oscillator", oscillator, pulse(1.0, 0.2), 0.0285956,
         "Bucher and Bourgund 1990, 2.86e-2, from memory; r integrated, Sobol' over the rest",
         "published"),
    case("oscillator, small", oscillator, pulse(0.6, 0.1), 9.131e-6,
         "Echard and others 2013, 9.09e-6, from memory; r integrated, Sobol' over the rest",
         "published", "small"),
    case("two masses", two_masses, TWO_MASSES, 0.0047723,
         "Der Kiureghian and de Stefano 1991, 4.8e-3, from memory; fs integrated, Sobol' over "
         "the rest", "published", "curved"),
)
# fmt: on

# --- a bonded joint of twelve variables -----------------------------------------------------


def bonded(x):
    """Plug glued into a tube: the load-carrying length is set by the shear-lag parameter [N]."""
    give = 1.0 / (x["tube_modulus"] * x["wall"]) + 4.0 / (x["plug_modulus"] * x["diameter"])
    lag = np.sqrt(x["shear_modulus"] / x["gap"] * give)
    length = np.tanh(lag * x["overlap"] / 2.0) * 2.0 / lag
    shear = x["shear_strength"] * x["preparation"] * x["wet"] * x["model"]
    return np.pi * x["diameter"] * length * shear - x["load"]


def bonded_joint(load):
    return {
        "shear_strength": Lognormal(22.0, 2.6),
        "gap": Lognormal(0.15, 0.04),
        "preparation": spread.Weibull(12.0, 0.95),
        "overlap": Normal(22.0, 0.5),
        "diameter": Normal(12.9, 0.05),
        "wall": Normal(1.4, 0.05),
        "tube_modulus": Normal(60_000.0, 4000.0),
        "plug_modulus": Normal(70_000.0, 1500.0),
        "shear_modulus": Lognormal(900.0, 135.0),
        "wet": spread.Beta(0.6, 1.0, 0.8, 0.07),
        "model": Lognormal(1.0, 0.12),
        "load": Gumbel(load, 0.25 * load),
    }


BONDED = tuple(
    case(f"bonded joint, {load:g} N", bonded, bonded_joint(load), reference,
         "load integrated exactly, weighted draws over the other eleven in plain NumPy: "
         "tests/benchmarks/bonded_joint_reference.py, standard error below 0.1 %",
         "bonded", "correlated", tied={("shear_strength", "shear_modulus"): 0.5}, of="values")
    for load, reference in ((1320.0, 1.00934e-3), (820.0, 1.08266e-5), (540.0, 1.01979e-7))
)  # fmt: skip

CASES = SHAPES + FAMILIES + BONDED
