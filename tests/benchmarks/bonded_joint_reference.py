"""References of the bonded joint in `tests/outside/limit_states.py`, without the package.

Run by hand: ``python tests/benchmarks/bonded_joint_reference.py [DRAWS]``. The load is a Gumbel
spread independent of the rest: its chance to exceed the strength is taken exactly. The
other eleven variables are drawn around the most likely point of failure and weighted.
Prints one row a load: probability and its standard error.
"""

from __future__ import annotations

import sys

import numpy as np
from scipy import optimize, special

LOADS = (1320.0, 820.0, 540.0)
FEW = 1_000_000


def lognormal(mean, sd, z):
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    return mean * np.exp(log_sd * z - 0.5 * log_sd**2)


def capacity(z):
    """Strength [N] from independent normal scores (n, 11)."""
    one, two = np.log1p([(2.6 / 22.0) ** 2, (135.0 / 900.0) ** 2])
    tie = np.log1p(0.5 * 2.6 / 22.0 * 135.0 / 900.0) / np.sqrt(one * two)
    stiff = tie * z[:, 0] + np.sqrt(1.0 - tie**2) * z[:, 1]
    share = 0.5 * 0.5 / (0.07 / 0.4) ** 2 - 1.0
    shear = lognormal(22.0, 2.6, z[:, 0]) * lognormal(1.0, 0.12, z[:, 2])
    shear *= 0.95 * (-special.log_ndtr(-z[:, 3])) ** (1.0 / 12.0)
    shear *= 0.6 + 0.4 * special.betaincinv(share / 2.0, share / 2.0, special.ndtr(z[:, 4]))
    diameter = 12.9 + 0.05 * z[:, 6]
    tube = (60_000.0 + 4000.0 * z[:, 7]) * (1.4 + 0.05 * z[:, 8])
    plug = (70_000.0 + 1500.0 * z[:, 9]) * diameter / 4.0
    lag = np.sqrt(lognormal(900.0, 135.0, stiff) / lognormal(0.15, 0.04, z[:, 5]))
    lag *= np.sqrt(1.0 / tube + 1.0 / plug)
    return np.pi * diameter * shear * 2.0 / lag * np.tanh(lag * (22.0 + 0.5 * z[:, 10]) / 2.0)


def exceeds(load, strength):
    """Chance that the Gumbel load of CoV 25 % is above the strength."""
    scale = 0.25 * load * np.sqrt(6.0) / np.pi
    return -np.expm1(-np.exp(-(strength - load + np.euler_gamma * scale) / scale))


def reference(load, draws, seed=0):
    """Probability and standard error."""

    def against(z):
        return 0.5 * z @ z - np.log(exceeds(load, capacity(z[None, :]))[0])

    centre = optimize.minimize(against, np.zeros(11)).x
    rng = np.random.default_rng(seed)
    sums = np.zeros(2)
    for start in range(0, draws, FEW):
        z = rng.standard_normal((min(FEW, draws - start), 11))
        terms = exceeds(load, capacity(z + centre)) * np.exp(-z @ centre - 0.5 * centre @ centre)
        sums += terms.sum(), (terms**2).sum()
    mean, second = sums / draws
    return mean, np.sqrt((second - mean**2) / draws)


if __name__ == "__main__":
    for load in LOADS:
        mean, error = reference(load, int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000)
        print(f"{load:6g} N  {mean:.6e}  +- {error:.1e}  ({100 * error / mean:.3f} %)")
