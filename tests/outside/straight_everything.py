"""Two struts with every feature at once, lived through one by one with NumPy.

TEXT is the scenario, all numbers invented: a greenhouse vent held by two struts. What it says is
read here without the package; what its words stand for is in MEANT. Everything is drawn and
counted: each joint, each pin, each year's largest loads. Neither this nor the scripts it takes
from share any code with the package.
Lengths in mm, forces in N, stresses in MPa, toughness in N/mm, temperatures in degC, years.
"""

from __future__ import annotations

import json
import sys
import tomllib

import numpy as np
import straight_crude as crude
import straight_joint as joint
from straight_everything_parts import (
    ENDS,
    RODS,
    YEARS,
    bond,
    bonds_of_life,
    draw_loads,
    hurt,
    live,
    members,
    pins,
    rods_of,
    tire,
    wall,
)

TEXT = """
schema = 1
title = "Two struts of a greenhouse vent"
note = "Every number is invented for the demonstration."
seed = 11
[life]
duration = "6 years"
slices = 3
[target]
probability = 1e-2
period = "life"
scope = "set"
[rods]
count = 2
length = "360 mm"
[tube]
material = "carbon tube, roll-wrapped"
outer_diameter = "12 mm"
bore = { mean = "10.0 mm", sd = "0.04 mm" }
tension_strength = { mean = "300 MPa", cov = 0.12 }
compression_strength = { mean = "220 MPa", cov = 0.12 }
[plug]
material = "aluminium 6082-T6"
diameter = { mean = "9.6 mm", sd = "0.03 mm" }
overlap = { mean = "14 mm", sd = "0.5 mm" }
glued_share = { never_outside = [0.8, 1.0] }
off_centre = { never_outside = [0, 0.4] }
bore = "5.2 mm"
[thread]
size = "M6"
engagement = { mean = "5 mm", sd = "0.3 mm" }
[second_plug]
overlap = { mean = "24 mm", sd = "0.6 mm" }
[second_thread]
size = "M5"
engagement = { mean = "1.3 mm", sd = "0.2 mm" }
[adhesive]
class = "two-part toughened epoxy"
evidence = "own coupons"
shear_strength = { mean = "15 MPa", cov = 0.12 }
toughness = { mean = "0.9 N/mm", cov = 0.15 }
cure_temperature = "60 degC"
[preparation]
plug = "abraded and wiped"
tube = "abraded and wiped"
second_plug = "degreased"
[weak_bonds]
lone_weight = { p05 = 0.005, p95 = 0.05, dist = "lognormal" }
bad_batch_weight = { p05 = 0.005, p95 = 0.05, dist = "lognormal" }
latent_weight = { p05 = 0.005, p95 = 0.05, dist = "lognormal" }
[batch]
rods = 2
[service]
workshop_temperature = "20 degC"
hottest = { mean = "45 degC", sd = "3 K" }
coldest = { mean = "-8 degC", sd = "3 K" }
humidity = { never_outside = [0.7, 0.9] }
[ageing]
wet_share = { never_outside = [0.4, 0.6] }
wetting_time = { p05 = "0.5 years", p95 = "2 years", dist = "lognormal" }
own_scatter = { never_outside = [0.1, 0.25] }
steady_share = { mean = 0.25, cov = 0.2 }
[[load]]
name = "gust of the year"
kind = "annual_maximum"
direction = "both"
size = { mean = "600 N", cov = 0.25 }
[[load]]
name = "knock on the lever"
kind = "event"
rate = "1 / year"
direction = "push"
scope = "rod"
size = { mean = "210 N", cov = 0.3 }
arm_ratio = { mean = 3, cov = 0.08 }
angle = { never_outside = ["55 deg", "75 deg"] }
[[load]]
name = "spring"
kind = "sustained"
size = { mean = "140 N", cov = 0.1 }
[[load]]
name = "flutter"
kind = "cycles"
size = { mean = "190 N", cov = 0.2 }
mean = { mean = "80 N", sd = "10 N" }
rate = "2e4 / year"
[[part]]
name = "clamp"
pull = { mean = "3.2 kN", cov = 0.3 }
push = { mean = "2.8 kN", cov = 0.3 }
at = "end"
in_rig = true
[rod_end]
static_rating = "1.9 kN"
shank = "M4"
shank_strength = { mean = "260 MPa", cov = 0.08 }
[backup]
kind = "cross pin"
diameter = "3 mm"
hole = { mean = "3.05 mm", sd = "0.03 mm" }
shear_strength = { mean = "105 MPa", cov = 0.08 }
end_distance = { mean = "11 mm", sd = "0.4 mm" }
tube_bearing_strength = { mean = "290 MPa", cov = 0.12 }
tube_shear_strength = { mean = "34 MPa", cov = 0.1 }
[[correlation]]
between = ["adhesive.shear_strength", "adhesive.toughness"]
value = 0.5
[[correlation]]
between = ["service.hottest", "service.coldest"]
value = -0.4
[[correlation]]
between = ["model.bond_factor", "evidence.factor"]
value = 0.6
[proof]
rig_error = "2 %"
rig_bias = "2 %"
highest = "6 kN"
[[pull]]
label = "hung over a beam"
load = "1200 N"
"""
PARTS = 40  # standard errors come from the scatter of this many parts of the run

# What the words of the scenario, and its silence, mean in the package's tables.
MEANT = {
    "tube.modulus": {"mean": 80e3, "cov": 0.08},
    "tube.expansion": 1e-6,
    "ply": {"mean": 45.0, "cov": 0.10},
    "ply_toughness": {"mean": 0.8, "cov": 0.25},
    "plug.modulus": 70e3,
    "plug.strength": {"mean": 310.0, "cov": 0.05},
    "plug.expansion": 23.5e-6,
    "drill": (5.2, 4.2),  # the second end has the tapping drill of its own thread
    "thread": (6.0, 5.0),
    "shank": (4.0, 0.7),
    "adhesive.shear_modulus": {"p05": 400.0, "p95": 1000.0},
    "adhesive.toughness_range": 1.0,  # none where the scenario has its own number
    "evidence": {"mean": 1.0, "cov": 0.20},
    "preparation": {"mean": 1.0, "cov": 0.05},
    "second_preparation": {"mean": 0.54, "cov": 0.08},
    "rod_end.strength_ratio": {"mean": 1.2, "cov": 0.08},
    "insert_bearing": {"mean": 1.5 * 310.0, "cov": 0.05},
    "insert_shear": {"mean": 0.6 * 310.0, "cov": 0.05},
    "concentration": {"never_outside": (1.5, 3.0), "most_likely": 2.0},
    "slope": {"never_outside": (0.11, 0.14)},
    "height": 1.71,
    "limit": {"mean": 1.0, "cov": 0.3},
}
UNITS = {
    **dict.fromkeys(("mm", "MPa", "N", "N/mm", "degC", "K", "years", "deg", "/ year"), 1.0),
    **{"kN": 1000.0, "%": 0.01},
}


def plain(value):
    """A value of the scenario without its unit."""
    if isinstance(value, dict):
        return {key: plain(v) for key, v in value.items()}
    if isinstance(value, list):
        return [plain(v) for v in value]
    number, _, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
    return float(number) * UNITS[unit] if unit in UNITS else value


def numbers():
    """Every number by key: the defaults, those of the scenario, and what its words mean."""
    found = {}
    for table, row in plain(tomllib.loads(TEXT)).items():
        if isinstance(row, dict):
            found |= {f"{table}.{key}": value for key, value in row.items()}
        elif isinstance(row, list):
            names = (each.get("name", each.get("label")) for each in row)
            found |= dict(zip(names, row, strict=True))
    linked = tomllib.loads(TEXT)["correlation"]
    found |= dict(zip(("bonds", "days", "worth"), (each["value"] for each in linked), strict=True))
    found |= {f"clamp {way}": found["clamp"][way] for way in ("pull", "push")}
    return {**crude.DEFAULTS, **found, **MEANT}


# --- what is drawn -------------------------------------------------------------------------


def draw_set(rng, g, n):
    """Draw everything but the loads: (n, 1) for all, else (n, joints)."""

    def every(key):
        return crude.draw(rng, g[key], (n, 1))

    def rod(key):
        return np.repeat(crude.draw(rng, g[key], (n, RODS)), 2, axis=1)

    def end(key, other=None):
        found = crude.draw(rng, g[key], (n, ENDS))
        if other is not None:
            found[:, 1::2] = crude.draw(rng, g[other], (n, RODS))
        return found

    v = {"gap": (end("tube.bore") - end("plug.diameter")) / 2}
    if (v["gap"] <= 0).any():
        raise RuntimeError("a plug does not fit its bore: such sets would have to be left out")
    v["overlap"] = end("plug.overlap", "second_plug.overlap")
    v["length"] = v["overlap"] * end("plug.glued_share")
    v["off_centre"] = end("plug.off_centre")
    v["tube_modulus"], v["compression"] = rod("tube.modulus"), rod("tube.compression_strength")
    v["tension"], v["insert"] = rod("tube.tension_strength"), end("plug.strength")
    v["ply"], v["ply_toughness"] = rod("ply"), rod("ply_toughness")
    v["metal"], v["at_tube"] = end("preparation", "second_preparation"), end("preparation")
    v["load_factor"] = every("model.load_factor")
    worth = g["model.bond_factor"], g["evidence"]
    v["model"], evidence = alike(rng, *worth, g["worth"], (n, 1))
    v["exponent"] = every("model.toughness_exponent")
    v["glue_modulus"] = every("adhesive.shear_modulus")
    days = g["service.hottest"], g["service.coldest"]
    v["hot"], v["cold"] = together(rng, *days, g["days"], (n, 1))
    glue = g["adhesive.shear_strength"], g["adhesive.toughness"]
    v["glue"], v["toughness"] = alike(rng, *glue, g["bonds"], (n, ENDS))
    v["toughness"] = v["toughness"] * every("adhesive.toughness_range")
    batch = every("batch.bond_factor")  # both rods are of one batch
    thin = np.interp(v["gap"], *joint.GAP_POINTS) ** every("model.gap_factor_exponent")
    v["glue"] = v["glue"] * evidence * batch * thin
    draw_labels(rng, v, every, end, (n, ENDS))
    draw_members(v, g, every, rod, end)
    v["hurt_from"], v["hurt_most"] = every("proof.damage_from"), every("proof.damage_most")
    v["rig"] = 1 + rng.normal(0, g["proof.rig_bias"], (n, 1))
    v["rig"] = v["rig"] + rng.normal(0, g["proof.rig_error"], (n, RODS))
    return v


def together(rng, first, second, correlation, shape):
    """Two normal quantities that go together."""
    a, b = rng.standard_normal((2, *shape))
    b = correlation * a + np.sqrt(1 - correlation**2) * b
    return first["mean"] + first["sd"] * a, second["mean"] + second["sd"] * b


def alike(rng, first, second, correlation, shape):
    """Two lognormal quantities whose values have this correlation."""
    s, t = (np.sqrt(np.log1p(each["cov"] ** 2)) for each in (first, second))
    inner = np.log1p(correlation * first["cov"] * second["cov"]) / (s * t)
    one = {"mean": 0.0, "sd": 1.0}
    a, b = together(rng, one, one, inner, shape)
    return first["mean"] * np.exp(s * a - s**2 / 2), second["mean"] * np.exp(t * b - t**2 / 2)


def draw_labels(rng, v, every, end, shape):
    """Which joints are weak or will be, and how damp takes its share."""
    lone = every("weak_bonds.lone_weight")
    bad = rng.random((shape[0], 1)) < every("weak_bonds.bad_batch_weight")
    share = np.maximum(every("weak_bonds.share_in_bad_batch"), lone)
    weak = rng.random(shape) < np.where(bad, share, lone)
    v["surface"] = np.minimum(v["metal"], v["at_tube"])
    v["surface"] = v["surface"] * np.where(weak, end("weak_bonds.keeps"), 1.0)
    v["latent"] = rng.random(shape) < every("weak_bonds.latent_weight")
    v["latent_keeps"] = end("weak_bonds.latent_keeps")
    v["humidity"], v["wet_share"] = every("service.humidity"), every("ageing.wet_share")
    v["wetting_time"], v["own_scatter"] = every("ageing.wetting_time"), every("ageing.own_scatter")
    v["own_score"] = rng.standard_normal(shape)
    v["steady_share"], v["limit"], v["slope"] = (
        end("ageing.steady_share"),
        end("limit"),
        every("slope"),
    )


def draw_members(v, g, every, rod, end):
    """Everything else in line, and the pin."""
    v["bow"] = rod("rods.bow") * g["rods.length"]
    v["offset"] = rod("offset_over_diameter") * g["tube.outer_diameter"]
    v["engaged"] = end("thread.engagement", "second_thread.engagement")
    v["clamp pull"], v["clamp push"] = end("clamp pull"), end("clamp push")
    v["ratio"], v["shank"] = end("rod_end.strength_ratio"), end("rod_end.shank_strength")
    v["hole"] = np.maximum(end("backup.hole"), g["backup.diameter"])
    v["pin"], v["mouth"] = end("backup.shear_strength"), end("backup.end_distance")
    v["tube_bearing"] = rod("backup.tube_bearing_strength")
    v["tube_shear"] = rod("backup.tube_shear_strength")
    v["insert_bearing"], v["insert_shear"] = end("insert_bearing"), end("insert_shear")
    v["concentration"] = every("concentration")


# --- the answers ---------------------------------------------------------------------------


def shares(failed, prefix):
    """Chances of one life table: the set, one rod, each year of those left, each name."""
    any_ = np.logical_or.reduce(list(failed.values()))
    by_year = any_.any(axis=1)
    gone = np.logical_or.accumulate(by_year, axis=1)
    found = {f"{prefix} life": gone[:, -1], f"{prefix} rod": any_.any(axis=2).mean(axis=1)}
    found |= {f"{prefix} {name}": each.any(axis=(1, 2)) for name, each in failed.items()}
    found = {key: float(np.mean(x)) for key, x in found.items()}
    for year in range(YEARS):
        left = np.ones(len(gone), bool) if year == 0 else ~gone[:, year - 1]
        found[f"{prefix} year {year + 1}"] = float(by_year[left, year].mean())
    return found


def answers(rng, g, n):
    """Every share of one part of the run, and the strengths whose medians are asked."""
    v = draw_set(rng, g, n)
    bonds, loads = bonds_of_life(v, g), draw_loads(rng, v, g, n)
    workshop = g["service.workshop_temperature"]
    new = np.minimum(bond(v, g, workshop, 1, 0.0)[0], wall(v, g, workshop, 1))
    applied = g["hung over a beam"]["load"] * v["rig"]
    pulled = hurt(bonds, joint.kept(v, np.repeat(applied, 2, axis=1), new))
    worn, worn_after = (tire(v, g, each, loads) for each in (bonds, pulled))
    found, strength = {}, {}
    for prefix, pinned in (("pinned", True), ("plain", False)):
        in_line = {way: members(v, g, way, pinned) for way in (1, -1)}
        pin = {way: pins(v, g, way) for way in (1, -1)} if pinned else None
        reached = [force for name, force in in_line[1].items() if name != "rod end breaks"]
        strength[f"{prefix} new"] = np.minimum.reduce([rods_of(new), *reached])
        failed, last = live(bonds, worn, in_line, pin, loads)
        strength |= {f"{prefix} aged": last[0], f"{prefix} pushed": last[1]}
        found |= shares(failed, prefix)
        refused = strength[f"{prefix} new"] < applied
        after = live(pulled, worn_after, in_line, pin, loads)[0]
        after = np.logical_or.reduce(list(after.values())).any(axis=(1, 2))
        found[f"{prefix} refused"] = float(refused.mean())
        found[f"{prefix} after"] = float(after[~refused.any(axis=1)].mean())
    return found, strength


def run(sets, seed):
    """Each figure with its standard error, from PARTS independent parts of the run."""
    g, parts = numbers(), []
    for child in np.random.SeedSequence(seed).spawn(PARTS):
        found, strength = answers(np.random.default_rng(child), g, sets // PARTS)
        parts.append(found | {key: float(np.median(x)) for key, x in strength.items()})
    table = {key: np.array([part[key] for part in parts]) for key in parts[0]}
    return {
        key: {"value": float(x.mean()), "error": float(x.std(ddof=1) / np.sqrt(PARTS))}
        for key, x in table.items()
    }


if __name__ == "__main__":
    print(json.dumps(run(int(sys.argv[1]) if len(sys.argv) > 1 else 36_000, seed=1), indent=1))
