"""Two rods of which the glue yields as a whole, lived through piece by piece with NumPy.

A joint holds stress times area, or what the energy of a long overlap gives. A life is cut at every
year and at every end of a slice; in each piece the largest loads are drawn and held against what
is left at the end of its slice. Nothing of the package is used.
Lengths in mm, forces in N, stresses in MPa, toughness in N/mm, times in years.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

RODS, JOINTS = 2, 4
PLUG, BORE, TUBE = 12.8, 13.2, 16.0


def lognormal(rng, mean, cov, shape):
    s = np.sqrt(np.log1p(cov**2))
    return mean * np.exp(s * rng.standard_normal(shape) - s**2 / 2)


def lognormal_range(rng, low, high, shape):
    middle, s = (np.log(low) + np.log(high)) / 2, np.log(high / low) / (2 * 1.6448536269514722)
    return np.exp(middle + s * rng.standard_normal(shape))


# --- what the joints hold ------------------------------------------------------------------


def draw_bonds(rng, n, humidity):
    """Everything that makes the bonds and lets them age: (n, 1) for all, (n, joints)."""
    every, joint = (n, 1), (n, JOINTS)
    gap = (rng.normal(BORE, 0.03, joint) - rng.normal(PLUG, 0.03, joint)) / 2
    v = {"middle": PLUG / 2 + gap / 2}
    v["length"] = rng.normal(20.0, 0.5, joint) * rng.uniform(0.8, 1.0, joint)
    v["glue"] = lognormal(rng, 20.0, 0.1, joint) * lognormal(rng, 1.0, 0.08, every)
    v["glue"] = v["glue"] * lognormal(rng, 1.0, 0.075, every)  # batch
    v["model"], v["load_factor"] = lognormal(rng, 1.0, 0.1, every), lognormal(rng, 1.0, 0.05, every)
    v["weak"], v["keeps"] = rng.random(joint) < 0.001, rng.uniform(0.1, 0.5, joint)
    v["latent"], v["latent_keeps"] = rng.random(joint) < 0.02, rng.uniform(0.1, 0.5, joint)
    v["humidity"] = rng.uniform(*humidity, every)
    v["wet_share"] = rng.uniform(0.4, 0.6, every)
    v["wetting_time"] = lognormal_range(rng, 2.0, 8.0, every)
    v["own_score"] = rng.standard_normal(joint)
    return v


def surface_and_glue_left(v, age):
    """Share of the glue that the surface reaches, and what damp leaves of the glue."""
    wet = np.maximum(v["humidity"] - 0.5, 0.0) / 0.5
    done = wet * (1.0 - np.exp(-age / v["wetting_time"]))
    own = np.exp(v["own_score"] * np.sqrt(np.log(1.0 + (0.18 * done) ** 2)))
    surface = np.where(v["weak"], v["keeps"], 1.0) * own
    surface = np.where(v["latent"], surface * (1.0 - (1.0 - v["latent_keeps"]) * done), surface)
    return surface, 1.0 - (1.0 - v["wet_share"]) * done


def whole_overlap(v, age):
    """Stress times area, and whether the surface is what lets go."""
    surface, left = surface_and_glue_left(v, age)
    area = 2 * np.pi * v["middle"] * v["length"]
    force = v["model"] * np.minimum(surface, 1.0) * left * v["glue"] * area
    return force, surface < 1.0


def long_overlap(v, age):
    """By the energy that tube and plug set free; the glue's strength does not come in."""
    surface, _ = surface_and_glue_left(v, age)
    inner = 2 * v["middle"] - PLUG / 2
    plug, tube = 70e3 * np.pi * (PLUG / 2) ** 2, 70e3 * np.pi * (TUBE**2 / 4 - inner**2)
    freed = 2 * 2 * np.pi * v["middle"] * v["toughness"] * np.minimum(surface, 1.0) ** 2
    stretch = np.sqrt(freed * (1 / plug + 1 / tube))
    return v["model"] * np.minimum(plug, tube) * stretch, surface < 1.0


# --- loads ---------------------------------------------------------------------------------


def largest_of_a_part(rng, mean, cov, part, shape):
    """Largest of part of a year where that of a whole year is Gumbel: shifted by its scale."""
    scale = mean * cov * np.sqrt(6) / np.pi
    return rng.gumbel(mean - np.euler_gamma * scale + scale * np.log(part), scale, shape)


def largest_event(rng, rate, mean, cov, shape):
    """Largest of the events of a time in which `rate` of them are expected; none: 0."""
    count, largest = rng.poisson(rate, shape), np.zeros(shape)
    for number in range(count.max()):
        more = count > number
        largest[more] = np.maximum(largest[more], lognormal(rng, mean, cov, more.sum()))
    return largest


def pieces(life, slices):
    """Year and slice of every piece of a life, and how long it is."""
    ends = np.arange(1, slices + 1) * life / slices
    cuts = np.unique(np.round(np.concatenate([np.arange(life + 1), ends]), 9))
    for start, end in pairwise(cuts):
        middle = (start + end) / 2
        yield int(middle), int(np.searchsorted(ends, middle)), end - start


# --- cycles --------------------------------------------------------------------------------


def tire(rng, v, new, steady, blocks, life):
    """Return what cycles leave of each slice's strength, and where they have undone a joint.

    `blocks`: highest pull and push of a cycle, (n, joints) each, and cycles a year. A line of
    cycles over the load's share of the strength, damage added up, strength along a straight line.
    """
    n = len(v["glue"])
    slope = rng.uniform(0.11, 0.14, (n, 1))
    limit = lognormal(rng, 1.0, 0.3, (n, JOINTS))
    damage, left, dead = np.zeros((n, JOINTS)), [], []
    for force in new:
        share = [np.maximum(top + steady, low - steady) / force for top, low, _ in blocks]
        for each, (_, _, rate) in zip(share, blocks, strict=True):
            lives = np.where(each > 1.0, 1e-300, (1.71 / np.maximum(each, 1e-9)) ** (1 / slope))
            damage = damage + rate * life / len(new) / lives
        used = np.minimum(damage / limit, 1.0)
        dead.append(damage >= limit)
        left.append(np.where(dead[-1], 0.0, force * (1 - (1 - np.maximum(*share)) * used)))
    return left, dead


# --- lives ---------------------------------------------------------------------------------


def live(rng, life, held, at_surface, steady, loads, gone=None):
    """Live through every piece of a life; return chances with their standard errors.

    `held`, `at_surface`, `gone`: of each slice, (n, joints); `gone` joints hold nothing and have
    failed by themselves. `loads`: functions that draw the largest load of a part of a year,
    (n, 1 or rods). The mode that decides is that of the smallest strength over load in the life.
    Also returned: the chance of each year to fail, of those that enter it, with its error.
    """
    n, years = len(held[0]), int(np.ceil(life))
    alive, failed_rod = np.ones(n, bool), np.zeros((n, RODS), bool)
    entering, failing = np.zeros(years), np.zeros(years)
    modes = {name: np.zeros(n, bool) for name in ("inside", "surface", "time")}
    least, decides = np.full(n, np.inf), np.zeros(n, int)  # held over demand, and which mode it is
    year_before = -1
    for year, part, span in pieces(life, len(held)):
        if year != year_before:
            entering[year], year_before = alive.sum(), year
        load = np.zeros((n, RODS))
        for largest in loads:
            load = np.maximum(load, largest(rng, span))
        demand = np.repeat(load, 2, axis=1) + steady
        over = demand > held[part]
        undone = np.zeros((n, JOINTS), bool) if gone is None else gone[part]
        modes["inside"] |= (over & ~at_surface[part] & ~undone).any(axis=1)
        modes["surface"] |= (over & at_surface[part] & ~undone).any(axis=1)
        modes["time"] |= undone.any(axis=1)
        broken = over | undone
        failed_rod |= broken[:, ::2] | broken[:, 1::2]
        now = broken.any(axis=1)
        spare = np.where(undone, -1.0, held[part] / np.maximum(demand, 1e-9))
        worst = np.arange(n), spare.argmin(axis=1)
        how = np.where(undone[worst], 2, at_surface[part][worst])
        decides = np.where(spare[worst] < least, how, decides)
        least = np.minimum(least, spare[worst])
        failing[year] += (alive & now).sum()
        alive &= ~now
    found = {"life": ~alive, "rod": failed_rod.mean(axis=1), **modes}
    for code, name in enumerate(modes):
        found[f"{name} decides"] = decides[~alive] == code
    table = {name: (x.mean(), x.std() / np.sqrt(len(x))) for name, x in found.items()}
    return table, failing / entering, np.sqrt(failing) / entering
