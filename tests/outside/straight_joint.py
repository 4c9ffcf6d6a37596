"""Rods with glued ends computed straight through with NumPy, sharing no code with the package.

The pull-out force is found by shooting: the end that gives way has used up its slip, so at a
trial force both its slip and its slope are known; the slip is followed to the other end, whose
slope the force prescribes too. Bisection on the force closes that gap.
Lengths in mm, forces in N, stresses in MPa, toughness in N/mm, temperatures in degC.
"""

from __future__ import annotations

import numpy as np

BATCHES = 40  # standard errors come from the scatter of this many parts of the run
GAP_POINTS = ([0.0, 0.05, 0.1, 0.25, 0.5, 1.0], [0.5, 0.9, 1.0, 1.0, 0.85, 0.75])
GLUE_BY_TEMPERATURE = ([23.0, 60.0, 65.0], [1.0, 0.55, 0.2])
WALL_BY_TEMPERATURE = ([23.0, 60.0, 100.0], [1.0, 0.85, 0.5])
HOURS = 24 * 365.25  # of a year
HURT_FROM, HURT_MOST = (0.6, 0.9), (0.1, 0.5)  # shares of its strength


# --- one joint -----------------------------------------------------------------------------


def failure_slip(strength, toughness, compliance, off_centre):
    """Slip at which the layer lets go: the area under its curve is the toughness."""
    ductile = toughness / strength + compliance * strength / 2
    brittle = np.sqrt(2 * toughness * compliance)
    elastic = toughness < compliance * strength**2 / 2
    return np.where(elastic, brittle, ductile) * (1 - np.minimum(off_centre, 0.95))


def slope_left_over(force, layer, near, far, misfit):
    """Slope found at the far end less the slope it must have; falls as the force grows.

    `layer`: yield slip, failure slip, plastic curvature, decay rate, length.
    The slip leaves the near end downwards as a parabola, goes on as hyperbolic functions, and
    may run into yield again, of either sign.
    """
    yield_slip, slip, curvature, decay, length = layer
    q = force / near + misfit
    plastic = np.maximum(slip - yield_slip, 0)
    under_root = q**2 - 2 * curvature * plastic
    slope = np.where(plastic > 0, np.sqrt(np.maximum(under_root, 0)), q)
    first = (q - slope) / curvature
    leaves_yield = (plastic == 0) | ((q > 0) & (under_root >= 0) & (first < length))
    rest = np.where(leaves_yield, length - first, 0.0)
    start = np.minimum(slip, yield_slip)
    up, down = (start - slope / decay) / 2, (start + slope / decay) / 2
    again = yield_slip + np.sqrt(np.maximum(yield_slip**2 - 4 * up * down, 0))
    again = np.log(again / np.maximum(2 * np.abs(up), 1e-300)) / decay
    inner = np.minimum(again, rest)
    grown = np.exp(decay * inner)
    end = decay * (up * grown - down / grown) + np.sign(up) * curvature * (rest - inner)
    end = np.where(leaves_yield, end, curvature * length - q)
    return end - (force / far - misfit)


def bisect(function, high, halvings=22):
    """Root of a falling function between 0 and `high`; 0 where it is negative from the start."""
    low = np.zeros_like(high)
    dead = function(low) <= 0
    for _ in range(halvings):
        middle = (low + high) / 2
        left = function(middle) > 0
        low, high = np.where(left, middle, low), np.where(left, high, middle)
    return np.where(dead, 0.0, low)


def pull_out(tube, plug, around, length, compliance, strength, slip, misfit):
    """Force at which the first end reaches its failure slip, at most the yield force [N].

    `tube`, `plug`: stiffness E A; `around`: circumference of the layer; `slip`: failure slip;
    `misfit`: (tube expansion - plug expansion) x (temperature - cure temperature).
    """
    kappa = around * (1 / tube + 1 / plug)
    args = (compliance * strength, slip, kappa * strength, np.sqrt(kappa / compliance), length)
    *args, tube, plug, misfit, highest = np.broadcast_arrays(
        *args, tube, plug, misfit, strength * around * length
    )
    layer = tuple(args)

    def tip(force):
        return slope_left_over(force, layer, tube, plug, misfit)

    force = bisect(tip, highest)
    # only where the mouth would already be past its slip has that end to be solved as well
    over = slope_left_over(force, layer, plug, tube, -misfit) < 0
    part = tuple(a[over] for a in layer)
    near, far, other = plug[over], tube[over], -misfit[over]
    force[over] = bisect(lambda f: slope_left_over(f, part, near, far, other), force[over])
    return force


# --- years in the damp ---------------------------------------------------------------------


def damp_done(v, years):
    """Share of the full loss that damp has brought about by an age."""
    wet = np.clip((v["humidity"] - 0.5) / 0.5, 0, 1)  # up to half damp a bond keeps what it has
    return wet * (1 - np.exp(-years / v["wetting_time"]))


def aged(v, years):
    """What is left of glue and surfaces alike, of each surface its own way, of a latent one."""
    done = damp_done(v, years)
    scatter = np.sqrt(np.log1p((v["own_scatter"] * done) ** 2))
    left = 1 - (1 - v["wet_share"]) * done
    return left, np.exp(scatter * v["own_score"]), 1 - (1 - v["latent_keeps"]) * done


def kept(v, applied, rig):
    """Share of a bond's strength after a pull that it held: a straight line from where it hurts."""
    hurt = (applied / np.maximum(rig, 1e-9) - v["hurt_from"]) / (1 - v["hurt_from"])
    return 1 - v["hurt_most"] * np.clip(hurt, 0, 1)


# --- spreads -------------------------------------------------------------------------------


def lognormal(rng, mean, cov, shape):
    """Lognormal draws from the mean and CoV of the variable itself."""
    s = np.sqrt(np.log1p(cov**2))
    return mean * np.exp(s * rng.standard_normal(shape) - s**2 / 2)


def lognormal_range(rng, low, high, shape):
    """Lognormal draws from their 5 and 95 % points."""
    middle, s = (np.log(low) + np.log(high)) / 2, np.log(high / low) / (2 * 1.6448536269514722)
    return np.exp(middle + s * rng.standard_normal(shape))


def gumbel_log_cdf(x, mean, cov):
    """Logarithm of the Gumbel distribution of maxima from mean and CoV."""
    scale = mean * cov * np.sqrt(6) / np.pi
    return -np.exp(-(x - mean + np.euler_gamma * scale) / scale)


def gumbel_cdf(x, mean, cov):
    """Gumbel distribution of maxima from mean and CoV."""
    return np.exp(gumbel_log_cdf(x, mean, cov))


# --- a set of rods -------------------------------------------------------------------------


def weakest(forces, chances):
    """Every value the least of independent joints can take, and its mass, (n, values) both.

    A joint has the strength `forces[s]` in the state s, which has the mass `chances[s]`.
    """
    values = np.sort(np.concatenate(forces, axis=1), axis=1)
    still = np.ones_like(values)  # mass of all joints at or above each value
    for joint in range(forces[0].shape[1]):
        holds = np.zeros_like(values)
        for force, chance in zip(forces, chances, strict=True):
            holds += chance[:, [joint]] * (force[:, [joint]] >= values)
        still *= holds
    return values, still - np.concatenate([still[:, 1:], np.zeros((len(still), 1))], axis=1)


def draw_joints(rng, given, n):
    """Draw everything that belongs to all, a batch, a rod and a joint.

    One letter says to whom a variable belongs: (n, 1) all or batch, (n, joints) the others.
    """
    rods, joints = given["rods"], 2 * given["rods"]
    every, rod, joint = (n, 1), (n, rods), (n, joints)

    def to_ends(values):
        return np.repeat(values, 2, axis=1)

    v = {}
    v["gap"] = (rng.normal(*given["bore"], joint) - rng.normal(*given["plug"], joint)) / 2
    v["length"] = rng.normal(*given["overlap"], joint) * rng.uniform(0.75, 1.0, joint)
    v["off_centre"] = rng.triangular(0.0, 0.3, 0.8, joint)
    v["preparation"] = np.minimum(
        lognormal(rng, 1.0, 0.05, joint), lognormal(rng, 1.0, 0.05, joint)
    )
    v["keeps"], v["latent_keeps"] = rng.uniform(0.1, 0.5, (2, *joint))
    v["glue"] = lognormal(rng, *given["glue_strength"], joint)
    if given["glue_range"]:
        v["glue"] = v["glue"] * lognormal_range(rng, *given["glue_range"], every)
    v["glue"] = v["glue"] * lognormal(rng, 1.0, 0.075, every)  # batch
    v["glue_modulus"] = lognormal_range(rng, 400.0, 1000.0, every)
    v["glue_toughness"] = lognormal(rng, 3.0, 0.15, joint) * lognormal_range(rng, 0.5, 2.0, every)
    v["evidence"] = lognormal(rng, *given["evidence"], every)
    v["gap_exponent"] = rng.triangular(0.0, 1.0, 2.0, every)
    v["toughness_exponent"] = rng.triangular(1.0, 2.0, 3.0, every)
    v["model"] = lognormal(rng, 1.0, 0.20, every)
    v["load_factor"] = lognormal(rng, 1.0, 0.05, every)
    v["hot"], v["cold"] = rng.normal(*given["hot"], every), rng.normal(*given["cold"], every)
    v["tube_modulus"] = to_ends(lognormal(rng, *given["tube_modulus"], rod))
    v["ply"] = to_ends(lognormal(rng, *given["ply_strength"], rod))
    v["ply_toughness"] = to_ends(lognormal(rng, 0.8, 0.25, rod))
    v["tension"] = to_ends(lognormal(rng, *given["tube_tension"], rod))
    v["compression"] = to_ends(lognormal(rng, *given["tube_compression"], rod))
    bow, offset = rng.uniform(0, 1 / 500, rod), rng.uniform(0.02, 0.05, rod)
    v["bow"], v["offset"] = to_ends(bow * given["length"]), to_ends(offset * given["outer"])
    v["insert"] = lognormal(rng, *given["insert_strength"], joint)
    v["engagement"] = rng.normal(*given["engagement"], joint)
    v["lone"] = lognormal_range(rng, *given["lone_weight"], every)
    v["bad_batch"] = lognormal_range(rng, 0.001, 0.03, every)
    v["latent"] = np.minimum(lognormal_range(rng, 0.00045, 0.02, every), 0.5)
    v["humidity"] = rng.uniform(*given["humidity"], every)
    v["wet_share"] = rng.uniform(0.4, 0.6, every)
    v["wetting_time"] = lognormal_range(rng, 1000 / HOURS, 4000 / HOURS, every)
    v["own_score"], v["own_scatter"] = rng.standard_normal(joint), 0.18
    v["share_weak"] = np.maximum(rng.uniform(0.3, 1.0, every), v["lone"])
    v["hurt_from"], v["hurt_most"] = rng.uniform(*HURT_FROM, every), rng.uniform(*HURT_MOST, every)
    v["rig_bias"] = rng.normal(0.0, given["rig_bias"], every)
    v["rig_error"] = to_ends(rng.normal(0.0, given["rig_error"], rod))
    if (v["gap"] <= 0).any():
        raise RuntimeError("a plug does not fit its bore: such sets would have to be left out")
    return v


def joint_forces(v, given, temperature, direction, years):
    """Force of each joint in every state of its bond, (n, joints) each [N]; direction +1 pulls.

    States: sound, weak, latent, weak and latent. Before any years a latent joint is like another.
    """
    plug_radius, outer = given["plug"][0] / 2, given["outer"] / 2
    inner, middle = plug_radius + v["gap"], plug_radius + v["gap"] / 2
    around = 2 * np.pi * middle
    plug = given["plug_modulus"] * np.pi * (plug_radius**2 - given["plug_hole"] ** 2 / 4)
    tube = v["tube_modulus"] * np.pi * (outer**2 - inner**2)
    warm = np.interp(temperature, *GLUE_BY_TEMPERATURE)
    compliance = middle / (v["glue_modulus"] * warm) * np.log(inner / plug_radius)
    expansion = given["tube_expansion"] - given["plug_expansion"]
    misfit = direction * expansion * (temperature - given["cure"])
    own = v["evidence"] if given["evidence_on"] == "glue" else 1.0
    left, own_way, undone = aged(v, years)
    glue = v["glue"] * own * np.interp(v["gap"], *GAP_POINTS) ** v["gap_exponent"] * warm * left
    known = v["evidence"] if given["evidence_on"] == "surface" else 1.0
    surface = v["preparation"] * known * own_way

    def force(strength, toughness):
        slip = failure_slip(strength, toughness, compliance, v["off_centre"])
        return v["model"] * pull_out(
            tube, plug, around, v["length"], compliance, strength, slip, misfit
        )

    def bond(share):
        share = np.minimum(share, 1.0)
        return force(share * glue, share ** v["toughness_exponent"] * v["glue_toughness"])

    wall = force(v["ply"] * np.interp(temperature, *WALL_BY_TEMPERATURE), v["ply_toughness"])
    states = [bond(surface), bond(surface * v["keeps"])]
    weaker = (surface * undone, surface * v["keeps"] * undone)
    states += states if np.all(undone == 1) else [bond(share) for share in weaker]
    return [np.minimum(state, wall) for state in states]


def members(v, given):
    """Members in pull and in push, the rod's own values repeated at both its ends [N]."""
    outer, bore, (size, _pitch) = given["outer"], given["bore"][0], given["thread"]
    area, inertia = np.pi / 4 * (outer**2 - bore**2), np.pi / 64 * (outer**4 - bore**4)
    flank = 0.5 + 0.57735 * 0.649519  # (d - d2)/p = 3 sqrt(3)/8 for a metric thread
    engaged = np.minimum(v["engagement"], 1.5 * size)  # more of a thread is not counted
    strip = np.pi * size * flank * 0.9 * engaged * 0.6 * v["insert"]
    section = np.pi / 4 * (given["plug"][0] ** 2 - size**2) * v["insert"]
    euler = np.pi**2 * v["tube_modulus"] * inertia / given["length"] ** 2
    squash = v["compression"] * area
    lever = area * outer / 2 / inertia

    def spare(force):
        # a bow grows by 1/(1 - F/P_E), the moment of an offset by the secant (Timoshenko)
        ratio = force / euler
        grown = v["bow"] / (1 - ratio) + v["offset"] / np.cos(np.pi / 2 * np.sqrt(ratio))
        return squash - force * (1 + lever * grown)

    strut = bisect(spare, euler * (1 - 1e-9))
    return np.minimum(np.minimum(v["tension"] * area, strip), section), np.minimum(strip, strut)


def strengths(v, given):
    """Strength of each joint with its rod in every state: rig, service pull, service push.

    The rig meets it new; in service it has for all its life the strength of its last day.
    """
    pull, push = members(v, given)
    rig = joint_forces(v, given, given["workshop"], +1, 0.0)
    found = {"rig": [np.minimum(f, pull) for f in rig], "rig_bonds": rig}
    found["members"], found["bonds"] = np.minimum(pull, push), [np.inf] * len(rig)
    for name, direction, limit in (("pull", +1, pull), ("push", -1, push)):
        hot = joint_forces(v, given, v["hot"], direction, given["years"])
        cold = joint_forces(v, given, v["cold"], direction, given["years"])
        bonds = [np.minimum(*both) for both in zip(hot, cold, strict=True)]
        found["bonds"] = [np.minimum(*both) for both in zip(found["bonds"], bonds, strict=True)]
        found[name] = [np.minimum(bond, limit) for bond in bonds]
    return found


def chance_of_load_above(strength, given, years):
    """Chance that the largest load of so many years exceeds the strength (already over factor)."""
    yearly = years * gumbel_log_cdf(strength, *given["yearly_load"])
    events = -given["event_rate"] * years * (1 - gumbel_cdf(strength, *given["event_load"]))
    return -np.expm1(yearly + events)


# --- the answers ---------------------------------------------------------------------------


def batch_states(v):
    """Chance of a weak joint and weight, for a good batch and for a bad one."""
    return ((v["lone"], 1 - v["bad_batch"]), (v["share_weak"], v["bad_batch"]))


def chances_of_states(v, weak, shape):
    """Chance of each state of `joint_forces` where a joint is weak by the chance `weak`."""
    each = [w * late for late in (1 - v["latent"], v["latent"]) for w in (1 - weak, weak)]
    return [np.broadcast_to(chance, shape) for chance in each]


def quantiles(found, v, name, levels, divide_by=1.0):
    """Weighted quantiles of the first rod's weaker end."""
    forces = [f[:, :2] / divide_by for f in found[name]]
    values, masses = [], []
    for weak, weight in batch_states(v):
        value, mass = weakest(forces, chances_of_states(v, weak, forces[0].shape))
        values.append(value.ravel())
        masses.append((mass * weight).ravel())
    values, masses = np.concatenate(values), np.concatenate(masses)
    order = np.argsort(values)
    reached = np.cumsum(masses[order])
    return values[order][np.searchsorted(reached, np.asarray(levels) * reached[-1])]


def failure(found, v, given, ends, years, pulled=None):
    """Chance that a load meets a weaker joint among the first `ends`, rod by rod pulled before.

    With `pulled` [N]: chance to pass all pulls and then fail, and chance to pass them.
    """
    bonds = found["bonds"]
    if pulled is not None:
        applied = pulled * (1 + v["rig_bias"] + v["rig_error"])
        pairs = zip(bonds, found["rig_bonds"], strict=True)
        bonds = [bond * kept(v, applied, rig) for bond, rig in pairs]
    forces = [np.minimum(bond, found["members"])[:, :ends] for bond in bonds]
    fail, passes = 0.0, 0.0
    for weak, weight in batch_states(v):
        chances = chances_of_states(v, weak, forces[0].shape)
        if pulled is not None:
            pairs = zip(chances, found["rig"], strict=True)
            chances = [chance * (rig >= applied)[:, :ends] for chance, rig in pairs]
        value, mass = weakest(forces, chances)
        fails = chance_of_load_above(value / v["load_factor"], given, years)
        fail = fail + np.mean(weight * (mass * fails).sum(axis=1, keepdims=True))
        passes = passes + np.mean(weight * mass.sum(axis=1, keepdims=True))
    return fail, passes


def weak_caught(found, v, pulled):
    """Of the rods with a weak joint, the share that the pull breaks."""
    applied = pulled * (1 + v["rig_bias"] + v["rig_error"][:, :2])
    holds = [f[:, :2] >= applied for f in found["rig"][:2]]  # a latent joint is still new
    weak, held = 0.0, 0.0
    for chance, weight in batch_states(v):
        all_hold = np.prod((1 - chance) * holds[0] + chance * holds[1], axis=1, keepdims=True)
        sound_hold = np.prod((1 - chance) * holds[0], axis=1, keepdims=True)
        held += np.mean(weight * (all_hold - sound_hold))
        weak += np.mean(weight * (1 - (1 - chance) ** 2))
    return 1 - held / weak


def answers(v, given):
    """All figures of one part of the run."""
    found = strengths(v, given)
    ends, years = 2 * given["rods"], given["years"]
    a = {}
    for name, key in (("new", "rig"), ("service_pull", "pull"), ("service_push", "push")):
        levels = quantiles(found, v, key, (0.5, 0.01, 0.001))
        for word, level in zip(("median", "one_in_100", "one_in_1000"), levels, strict=True):
            a[f"{name}_{word}"] = level
    noise = 1 + v["rig_bias"] + v["rig_error"][:, :2]
    (a["half_refused"],) = quantiles(found, v, "rig", (0.5,), noise)
    a["failure"], _ = failure(found, v, given, ends, years)
    a["failure_one_rod"], _ = failure(found, v, given, 2, years)
    a["failure_one_year"], _ = failure(found, v, given, ends, 1.0)
    for name, pulled in given["pulls"].items():
        failed, passed = failure(found, v, given, ends, years, pulled)
        a[f"{name}_load"] = pulled
        a[f"{name}_failure_after"] = failed / passed
        a[f"{name}_refused"] = 1 - failure(found, v, given, 2, years, pulled)[1]
        a[f"{name}_weak_caught"] = weak_caught(found, v, pulled)
    return a


def run(given, draws, seed):
    """Each figure with its standard error, from BATCHES independent parts of the run."""
    children = np.random.SeedSequence(seed).spawn(BATCHES)
    parts = []
    for child in children:
        v = draw_joints(np.random.default_rng(child), given, draws // BATCHES)
        parts.append(answers(v, given))
    table = {key: np.array([p[key] for p in parts]) for key in parts[0]}
    return {
        key: {"value": float(x.mean()), "error": float(x.std(ddof=1) / np.sqrt(BATCHES))}
        for key, x in table.items()
    }
