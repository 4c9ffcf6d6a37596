"""Sets of rods drawn crudely with NumPy: every load, every weak bond, counted as they fall.

Joints, members and spreads come from `straight_joint`, which shares no code with the package.
What a script hands in is a table of plain values under the keys of a scenario file. A spread is
a table of its numbers; which family it is follows from which numbers it has.
Lengths in mm, forces in N, stresses in MPa, toughness in N/mm, temperatures in degC.
"""

from __future__ import annotations

import numpy as np
import straight_joint as joint

BATCHES = 40  # standard errors come from the scatter of this many parts of the run

# What the package takes where a scenario says nothing.
DEFAULTS = {
    "rods.bow": {"never_outside": (0.0, 1 / 500)},
    "offset_over_diameter": {"never_outside": (0.02, 0.05)},
    "plug.glued_share": {"never_outside": (0.75, 1.0)},
    "weak_bonds.keeps": {"never_outside": (0.1, 0.5)},
    "weak_bonds.share_in_bad_batch": {"never_outside": (0.3, 1.0)},
    "weak_bonds.latent_weight": {"p05": 0.00045, "p95": 0.02},
    "weak_bonds.latent_keeps": {"never_outside": (0.1, 0.5)},
    "ageing.wet_share": {"never_outside": (0.4, 0.6)},
    "ageing.wetting_time": {"p05": 1000 / joint.HOURS, "p95": 4000 / joint.HOURS},
    "ageing.own_scatter": 0.18,
    "proof.damage_from": {"never_outside": joint.HURT_FROM},
    "proof.damage_most": {"never_outside": joint.HURT_MOST},
    "batch.bond_factor": {"mean": 1.0, "cov": 0.075},
    "model.bond_factor": {"mean": 1.0, "cov": 0.20},
    "model.load_factor": {"mean": 1.0, "cov": 0.05},
    "model.gap_factor_exponent": {"never_outside": (0.0, 2.0), "most_likely": 1.0},
    "model.toughness_exponent": {"never_outside": (1.0, 3.0), "most_likely": 2.0},
}


def draw(rng, spread, shape):
    """Draws of a spread: a plain value, normal, lognormal, uniform or triangular."""
    if not isinstance(spread, dict):
        return np.full(shape, float(spread))
    if "sd" in spread:
        return rng.normal(spread["mean"], spread["sd"], shape)
    if "cov" in spread:
        return joint.lognormal(rng, spread["mean"], spread["cov"], shape)
    if "p05" in spread:
        return joint.lognormal_range(rng, spread["p05"], spread["p95"], shape)
    low, high = spread["never_outside"]
    if "most_likely" in spread:
        return rng.triangular(low, spread["most_likely"], high, shape)
    return rng.uniform(low, high, shape)


# --- parts ---------------------------------------------------------------------------------


def draw_parts(rng, g, n):
    """Everything but the loads: (n, 1) for all, else (n, joints), a rod's ends side by side."""
    rods = g["rods.count"]
    batch_of_rod = np.arange(rods) // g.get("batch.rods", rods)
    batches = batch_of_rod[-1] + 1

    def every(key):
        return draw(rng, g[key], (n, 1))

    def batch(values):
        return np.repeat(values[:, batch_of_rod], 2, axis=1)

    def rod(key):
        return np.repeat(draw(rng, g[key], (n, rods)), 2, axis=1)

    def end(key):
        return draw(rng, g[key], (n, 2 * rods))

    v = {"gap": (end("tube.bore") - end("plug.diameter")) / 2, "overlap": end("plug.overlap")}
    if (v["gap"] <= 0).any():
        raise RuntimeError("a plug does not fit its bore: such sets would have to be left out")
    if "second_plug.overlap" in g:
        v["overlap"][:, 1::2] = draw(rng, g["second_plug.overlap"], (n, rods))
    v["length"] = v["overlap"] * end("plug.glued_share")
    v["off_centre"] = end("plug.off_centre")
    v["tube_modulus"], v["tension"] = rod("tube.modulus"), rod("tube.tension_strength")
    v["compression"], v["insert"] = rod("tube.compression_strength"), end("plug.strength")
    v["bow"] = rod("rods.bow") * g["rods.length"]
    v["offset"] = rod("offset_over_diameter") * g["tube.outer_diameter"]
    v["engagement"] = g.get("thread.engagement", 1.5 * g["thread"][0])
    v["model"], v["load_factor"] = every("model.bond_factor"), every("model.load_factor")
    v["hot"], v["cold"] = every("service.hottest"), every("service.coldest")
    v["exponent"] = every("model.toughness_exponent")
    # which joints are weak
    lone, bad = every("weak_bonds.lone_weight"), every("weak_bonds.bad_batch_weight")
    is_bad = rng.random((n, batches)) < bad
    share = draw(rng, g["weak_bonds.share_in_bad_batch"], (n, batches))
    chance = batch(np.where(is_bad, np.maximum(share, lone), lone))
    v["weak"] = rng.random((n, 2 * rods)) < chance
    # which joints damp undoes, and how far it goes
    v["latent"] = rng.random((n, 2 * rods)) < every("weak_bonds.latent_weight")
    v["latent_keeps"] = end("weak_bonds.latent_keeps")
    v["humidity"], v["wet_share"] = every("service.humidity"), every("ageing.wet_share")
    v["wetting_time"], v["own_scatter"] = every("ageing.wetting_time"), g["ageing.own_scatter"]
    v["own_score"] = rng.standard_normal((n, 2 * rods))
    # what the glue and its surfaces hold in the workshop
    v["glue"] = (
        end("adhesive.shear_strength")
        * every("evidence")
        * batch(draw(rng, g["batch.bond_factor"], (n, batches)))
    )
    v["glue"] *= np.interp(v["gap"], *joint.GAP_POINTS) ** every("model.gap_factor_exponent")
    v["glue_modulus"] = every("adhesive.shear_modulus")
    v["toughness"] = toughness(v, g, end, every)
    surface = np.minimum(end("preparation"), end("preparation"))
    keeps = np.where(v["weak"], end("weak_bonds.keeps"), 1.0)
    v["surface"] = surface * keeps
    # the rig, and what a pull in it takes of a bond that holds it
    v["hurt_from"], v["hurt_most"] = every("proof.damage_from"), every("proof.damage_most")
    v["rig"] = 1 + rng.normal(0, g["proof.rig_bias"], (n, 1))
    v["rig"] = v["rig"] + rng.normal(0, g["proof.rig_error"], (n, rods))
    return v


def layer(v, g):
    """Radius of the plug and of the bore around it."""
    radius = g["plug.diameter"]["mean"] / 2
    return radius, radius + v["gap"]


def toughness(v, g, end, every):
    """As given, or the area under the glue's curve up to the strain at which it fails."""
    if "adhesive.failure_strain" not in g:
        return end("adhesive.toughness") * every("adhesive.toughness_range")
    radius, inner = layer(v, g)
    thickness = (radius + inner) / 2 * np.log(inner / radius)
    strain, modulus = end("adhesive.failure_strain"), v["glue_modulus"]
    elastic = np.minimum(strain, v["glue"] / modulus)
    return thickness * (modulus * elastic**2 / 2 + v["glue"] * (strain - elastic))


def bonds(v, g, temperature, years):
    """Pull that each joint holds at a temperature after some years, (n, joints)."""
    left, own_way, undone = joint.aged(v, years)
    share = np.minimum(v["surface"] * own_way * np.where(v["latent"], undone, 1.0), 1.0)
    radius, inner = layer(v, g)
    middle, outer = (radius + inner) / 2, g["tube.outer_diameter"] / 2
    size, pitch = g["thread"]
    drill = (size - pitch) / 2
    warm = np.interp(temperature, *g["glue_by_temperature"])
    strength = v["glue"] * left * share * warm
    compliance = middle / (v["glue_modulus"] * warm) * np.log(inner / radius)
    slip = joint.failure_slip(
        strength, share ** v["exponent"] * v["toughness"], compliance, v["off_centre"]
    )
    force = v["model"] * joint.pull_out(
        v["tube_modulus"] * np.pi * (outer**2 - inner**2),
        g["plug.modulus"] * np.pi * (radius**2 - drill**2),
        2 * np.pi * middle,
        v["length"],
        compliance,
        strength,
        slip,
        (g["tube.expansion"] - g["plug.expansion"])
        * (temperature - g["adhesive.cure_temperature"]),
    )
    return np.where(temperature < g["hard_stop"], force, 0.0)


def strengths(v, g, pulled=0.0):
    """What each rod holds: new in the rig, pulled and pushed in service, (n, rods) each.

    In service it has for all its life the strength of its last day. Pushed it stands on its
    shoulders: a rod without them must not be pushed here. With `pulled` [N]: after that pull.
    """
    plain = {
        "outer": g["tube.outer_diameter"],
        "bore": (g["tube.bore"]["mean"],),
        "plug": (g["plug.diameter"]["mean"],),
        "thread": g["thread"],
        "length": g["rods.length"],
    }
    pull, push = joint.members(v, plain)
    rig = bonds(v, g, g["service.workshop_temperature"], 0.0)
    hot, cold = (bonds(v, g, v[day], g["life.duration"]) for day in ("hot", "cold"))
    left = joint.kept(v, pulled * np.repeat(v["rig"], 2, axis=1), rig)
    service = np.minimum(np.minimum(hot, cold) * left, pull)
    found = {"new": np.minimum(rig, pull), "service_pull": service}
    if g.get("rods.shoulder"):
        found["service_push"] = push  # the tube's end bears what its squashed wall does, or more
    return {key: np.minimum(x[:, ::2], x[:, 1::2]) for key, x in found.items()}


# --- loads ---------------------------------------------------------------------------------


def yearly_loads(rng, load, n, rods, years):
    """Largest of each year, (n, 1 or rods, years)."""
    shape = (n, rods if load.get("scope") == "rod" else 1, years)
    mean, cov = load["size"]["mean"], load["size"]["cov"]
    if load["kind"] == "annual_maximum":
        scale = mean * cov * np.sqrt(6) / np.pi
        return rng.gumbel(mean - np.euler_gamma * scale, scale, shape)
    count = rng.poisson(load["rate"], shape)
    largest = np.full(shape, -np.inf)  # a year without an event
    for number in range(count.max()):
        there = count > number
        largest[there] = np.maximum(
            largest[there], joint.lognormal(rng, mean, cov, np.count_nonzero(there))
        )
    return largest


def fails(rng, v, g, found):
    """Which rod fails in which year, (n, rods, years)."""
    n, rods = found["new"].shape
    years = int(g["life.duration"])
    steady = np.zeros((n, 1))
    for load in g["load"]:
        if load["kind"] == "sustained":
            mean, cov = load["size"]["mean"], load["size"]["cov"]
            steady = steady + rng.normal(mean, abs(mean) * cov, (n, 1))
    steady = (steady * v["load_factor"])[:, :, None]
    pull = found["service_pull"][:, :, None]
    failed = (steady > pull) + np.zeros((1, 1, years), dtype=bool)
    for load in g["load"]:
        if load["kind"] != "sustained":
            if load["direction"] != "pull":
                raise RuntimeError("only pulls vary here")
            size = yearly_loads(rng, load, n, rods, years) * v["load_factor"][:, :, None]
            failed |= steady + size > pull
    if "service_push" in found:
        failed |= -steady > found["service_push"][:, :, None]
    elif (steady < 0).any():
        raise RuntimeError("a rod without shoulders is pushed")
    return failed


# --- the answers ---------------------------------------------------------------------------


def answers(rng, g, n):
    """Shares of one part of the run, counted, and the strengths whose quantiles are asked."""
    v = draw_parts(rng, g, n)
    found = strengths(v, g)
    failed = fails(rng, v, g, found)
    rod_failed = failed.any(axis=2)
    set_failed = rod_failed.any(axis=1)
    weak = v["weak"][:, ::2] | v["weak"][:, 1::2]
    shares = {
        "failure": set_failed.mean(),
        "failure_one_rod": rod_failed.mean(),
        "failure_one_year": failed.any(axis=1).mean(),
    }
    for name, load in (("given", g["pull"][0]["load"]), ("harder", g["harder"])):
        refused = found["new"] < load * v["rig"]
        shares[f"{name}_load"] = load
        shares[f"{name}_refused"] = refused.mean()
        shares[f"{name}_weak_caught"] = refused[weak].mean()
        after = fails(rng, v, g, strengths(v, g, load)).any(axis=(1, 2))
        shares[f"{name}_failure_after"] = after[~refused.any(axis=1)].mean()
    return shares, {**found, "refused": found["new"] / v["rig"]}


def levels(strength):
    """Quantiles of one part, or of the whole run."""
    found = {}
    for name, x in strength.items():
        three = np.quantile(x, (0.5, 0.01, 0.001))
        for word, level in zip(("median", "one_in_100", "one_in_1000"), three, strict=True):
            found[f"{name}_{word}"] = level
    found["half_refused"] = found["refused_median"]
    return found


def run(given, draws, seed):
    """Each figure with its standard error, from BATCHES independent parts of the run."""
    g = {**DEFAULTS, **given}
    rngs = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(BATCHES))
    parts = [answers(rng, g, draws // BATCHES) for rng in rngs]
    each = [{**shares, **levels(strength)} for shares, strength in parts]
    strength = {key: np.concatenate([p[1][key] for p in parts]) for key in parts[0][1]}
    value = {key: np.mean([p[0][key] for p in parts]) for key in parts[0][0]} | levels(strength)
    return {
        key: {
            "value": float(value[key]),
            "error": float(np.std([e[key] for e in each], ddof=1) / np.sqrt(BATCHES)),
        }
        for key in value
    }
