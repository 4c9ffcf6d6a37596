"""What the parts of `straight_everything` hold, and the lives of its rods, with NumPy.

Pull-out and damp come from `straight_joint`; pins, members, cycles, the steady load and the years
are written out here. `v` holds what is drawn, (n, 1) for all or else (n, joints), and `g` the
plain numbers of the scenario. A way of +1 is a pull, of -1 a push.
"""

from __future__ import annotations

import numpy as np
import straight_crude as crude
import straight_joint as joint

RODS, ENDS, YEARS, SLICES = 2, 4, 6, 3
SECOND = np.arange(ENDS) % 2  # joints 0 and 1 are the ends of the first rod


# --- what each part holds ------------------------------------------------------------------


def bond(v, g, day, way, years):
    """Force of each bond and which limit it is, 0 to 3; `way` +1 pulls, -1 pushes."""
    left, own_way, undone = joint.aged(v, years)
    surface = v["surface"] * own_way * np.where(v["latent"], undone, 1.0)
    share, warm = np.minimum(surface, 1.0), np.interp(day, *joint.GLUE_BY_TEMPERATURE)
    state = layer(v, g, day, way)
    force = let_go(
        v, state, v["glue"] * left * share * warm, share ** v["exponent"] * v["toughness"]
    )
    limit = np.where(surface < 1.0, np.where(v["metal"] <= v["at_tube"], 1, 2), 0)
    return force, limit


def wall(v, g, day, way):
    """Force at which each joint's plies let go; damp leaves them alone."""
    own = v["ply"] * np.interp(day, *joint.WALL_BY_TEMPERATURE)
    return let_go(v, layer(v, g, day, way), own, v["ply_toughness"])


def layer(v, g, temperature, way):
    """Stiffness of tube and plug, the layer's circumference and compliance, and the misfit."""
    radius, outer = g["plug.diameter"]["mean"] / 2, g["tube.outer_diameter"] / 2
    inner, middle = radius + v["gap"], radius + v["gap"] / 2
    tube = v["tube_modulus"] * np.pi * (outer**2 - inner**2)
    plug = g["plug.modulus"] * np.pi * (radius**2 - at_ends(g["drill"]) ** 2 / 4)
    warm = np.interp(temperature, *joint.GLUE_BY_TEMPERATURE)
    compliance = middle / (v["glue_modulus"] * warm) * np.log(inner / radius)
    grown = (g["tube.expansion"] - g["plug.expansion"]) * (
        temperature - g["adhesive.cure_temperature"]
    )
    return tube, plug, 2 * np.pi * middle, compliance, way * grown


def let_go(v, state, strength, toughness):
    """Pull-out force of a layer of this strength and toughness."""
    tube, plug, around, compliance, misfit = state
    slip = joint.failure_slip(strength, toughness, compliance, v["off_centre"])
    return v["model"] * joint.pull_out(
        tube, plug, around, v["length"], compliance, strength, slip, misfit
    )


def at_ends(pair):
    """A number of each end laid over the joints."""
    return np.asarray(pair)[SECOND]


def hurt(bonds, kept):
    """The same bonds when each has kept a share of its strength."""
    return [
        {way: [(force * kept, limit) for force, limit in states] for way, states in each.items()}
        for each in bonds
    ]


def bonds_of_life(v, g):
    """Of every slice's end, pull and push: force and limit in the heat and in the cold."""
    plies = {(way, day): wall(v, g, v[day], way) for way in (1, -1) for day in ("hot", "cold")}
    found = []
    for end in np.arange(1, SLICES + 1) * YEARS / SLICES:
        both = {}
        for way in (1, -1):
            both[way] = []
            for day in ("hot", "cold"):
                force, limit = bond(v, g, v[day], way, end)
                limit = np.where(plies[way, day] < force, 3, limit)
                both[way].append((np.minimum(force, plies[way, day]), limit))
        found.append(both)
    return found


def net_area(outer, inner, hole):
    """Section of a ring less what a hole through both walls cuts."""

    def cut(radius):
        half = np.minimum(hole / 2, radius)
        across = np.sqrt(radius**2 - half**2)
        return 2 * (half * across + radius**2 * np.arcsin(half / radius))

    return np.pi * (outer**2 - inner**2) - cut(outer) + cut(inner)


def sections(g):
    """Outside and inside radius of the tube, and of each plug."""
    tube = g["tube.outer_diameter"] / 2, g["tube.bore"]["mean"] / 2
    return tube, (g["plug.diameter"]["mean"] / 2, at_ends(g["drill"]) / 2)


def across_hole(v, g, way):
    """What tube and plug hold across the hole of the pin."""
    tube, plug = sections(g)
    strength = v["tension"] if way == 1 else v["compression"]
    return (
        strength / v["concentration"] * net_area(*tube, v["hole"]),
        v["insert"] * net_area(*plug, v["hole"]),
    )


def pins(v, g, way):
    """What the pin of each joint holds: sheared, crushing its hole, tearing out, or the section."""
    (outer, inner), (plug, drill) = sections(g)
    d = g["backup.diameter"]
    limits = [2 * np.pi / 4 * d**2 * v["pin"], *across_hole(v, g, way)]
    limits += [
        2 * d * (outer - inner) * v["tube_bearing"],
        2 * d * (plug - drill) * v["insert_bearing"],
    ]
    if way == 1:
        half = v["hole"] / 2
        inside = np.maximum(v["overlap"] - v["mouth"] - half, 0.0)  # 0: the hole is cut open
        limits.append(4 * (v["mouth"] - half) * (outer - inner) * v["tube_shear"])
        limits.append(4 * inside * (plug - drill) * v["insert_shear"])
    return np.minimum.reduce(np.broadcast_arrays(*limits))


def strut(v, g):
    """Push at which the outermost fibre of the crooked rod reaches its strength."""
    (outer, inner), _ = sections(g)
    area, inertia = np.pi * (outer**2 - inner**2), np.pi / 4 * (outer**4 - inner**4)
    euler = np.pi**2 * v["tube_modulus"] * inertia / g["rods.length"] ** 2

    def spare(force):
        ratio = force / euler
        aside = v["bow"] / (1 - ratio) + v["offset"] / np.cos(np.pi / 2 * np.sqrt(ratio))
        return v["compression"] - force / area - force * aside * outer / inertia

    return joint.bisect(spare, euler * (1 - 1e-9))


def members(v, g, way, pinned):
    """What of each rod holds besides bonds and pins, by name."""
    tube, (radius, _) = sections(g)
    size = at_ends(g["thread"])
    flank = 0.5 + 0.57735 * 0.649519
    engaged = np.minimum(v["engaged"], 1.5 * size)
    rod_end = g["rod_end.static_rating"] * v["ratio"]
    found = {"thread strips": np.pi * size * flank * 0.9 * engaged * 0.6 * v["insert"]}
    if way == 1:
        found["tube breaks in tension"] = v["tension"] * np.pi * (tube[0] ** 2 - tube[1] ** 2)
        hole = np.maximum(size, at_ends(g["drill"]))
        net = np.pi * (radius**2 - hole**2 / 4)
        found["insert breaks at the tapped hole"] = v["insert"] * net
        across, turns = g["shank"]
        shank = np.pi / 4 * (across - 0.938194 * turns) ** 2
        rod_end = np.minimum(rod_end, shank * v["shank"])
        found["clamp lets go"] = v["clamp pull"]
    else:
        found["tube bends away as a strut"] = strut(v, g)
        found["clamp lets go"] = v["clamp push"]
    found["rod end breaks"] = rod_end
    if pinned:
        wall_, bar = across_hole(v, g, way)
        found["tube breaks at the hole of the back-up"] = wall_
        found["insert breaks at the hole of the back-up"] = bar
    return {name: rods_of(force) for name, force in found.items()}


def rods_of(forces):
    """The weaker end of each rod."""
    return np.minimum(forces[:, ::2], forces[:, 1::2])


# --- lives ---------------------------------------------------------------------------------

BOND = (
    "bond lets go inside the adhesive (cohesion)",
    "bond lets go at the insert (adhesion)",
    "bond lets go at the tube (adhesion)",
    "tube wall shears between plies at the bond",
)
PIN, WORN, CREPT = (
    "back-up gives way after the bond",
    "bond dies of repeated load",
    "bond gives way to a steady load",
)


def draw_loads(rng, v, g, n):
    """Largest gust and knock of each year, (n, 1 or rods, years); what is always there, (n, 1)."""
    factor, knock = v["load_factor"], g["knock on the lever"]
    gusts = crude.yearly_loads(rng, g["gust of the year"], n, RODS, YEARS)
    knocks = crude.yearly_loads(rng, knock, n, RODS, YEARS)
    turn = np.sin(np.radians(crude.draw(rng, knock["angle"], (n, RODS))))
    lever = crude.draw(rng, knock["arm_ratio"], (n, RODS)) / turn
    mean, cov = g["spring"]["size"]["mean"], g["spring"]["size"]["cov"]
    steady = rng.normal(mean, cov * mean, (n, 1)) * factor
    swing = crude.draw(rng, g["flutter"]["size"], (n, 1)) * factor
    middle = crude.draw(rng, g["flutter"]["mean"], (n, 1)) * factor
    return {
        "gusts": gusts * factor[:, :, None],
        "knocks": knocks * (lever * factor)[:, :, None],
        "steady": steady,
        "top": np.maximum(steady + middle + swing, steady),
        "bottom": np.minimum(steady + middle - swing, steady),
    }


def tire(v, g, bonds, loads):
    """Share of the strength left at each slice's end; where cycles or the spring undid a joint."""
    done, crept, found = 0.0, False, []
    for slice_ in bonds:
        pull, push = (np.minimum(slice_[way][0][0], slice_[way][1][0]) for way in (1, -1))
        there = (pull > 0) & (push > 0)  # what misfit alone has broken did not die of cycles
        pull, push = np.maximum(pull, 1e-9), np.maximum(push, 1e-9)
        ratio = np.maximum(loads["top"] / pull, np.maximum(-loads["bottom"], 0.0) / push)
        lives = np.where(ratio > 1, 1e-300, (g["height"] / ratio) ** (1 / v["slope"]))
        done = done + g["flutter"]["rate"] * YEARS / SLICES / lives
        crept = crept | (loads["steady"] / pull > v["steady_share"])
        left = 1 - (1 - np.minimum(ratio, 1)) * np.minimum(done / v["limit"], 1)
        found.append((left, (done >= v["limit"]) & there, crept))
    return found


def held_in_slice(bonds, worn, in_line, pin):
    """By name what each rod holds to a pull and to a push, and which rods time has undone.

    `in_line`: what members hold, by way; `pin`: what pins hold, by way, None without.
    """
    left, dead, crept = worn
    lost = dead | crept
    holds, undone = {1: {}, -1: {}}, {}
    for way in (1, -1):
        names = BOND + ((PIN,) if pin else ())
        forces = {name: np.full(lost.shape, np.inf) for name in names}
        for force, limit in bonds[way]:
            now = np.where(lost, 0.0 if pin else np.inf, force * left)
            if pin:
                limit = np.where(now <= pin[way], len(BOND), limit)  # 0 and 0: the pin is last
                now = np.maximum(now, pin[way])
            for code, name in enumerate(names):
                forces[name] = np.where(limit == code, np.minimum(forces[name], now), forces[name])
        holds[way] = {name: rods_of(force) for name, force in forces.items()} | in_line[way]
    if not pin:
        undone = {WORN: dead[:, ::2] | dead[:, 1::2], CREPT: crept[:, ::2] | crept[:, 1::2]}
    return holds, undone


def live(bonds, worn, in_line, pin, loads):
    """Which rod fails in which year by which name, (n, rods, years), and what it holds at last."""
    n, each = len(loads["steady"]), YEARS // SLICES
    failed, steady = {}, loads["steady"][:, :, None]
    for number, slice_ in enumerate(bonds):
        years = slice(number * each, (number + 1) * each)
        gusts, knocks = (loads[kind][:, :, years] for kind in ("gusts", "knocks"))
        holds, undone = held_in_slice(slice_, worn[number], in_line, pin)
        for name in holds[1].keys() | holds[-1].keys() | undone.keys():
            over = failed.setdefault(name, np.zeros((n, RODS, YEARS), bool))[:, :, years]
            if name in holds[1]:
                pull = holds[1][name][:, :, None]
                over |= (gusts > pull - steady) | (loads["top"][:, :, None] > pull)
            if name in holds[-1]:
                push = holds[-1][name][:, :, None]
                over |= np.maximum(gusts, knocks) > push + steady
                over |= -loads["bottom"][:, :, None] > push
            if name in undone:
                over |= undone[name][:, :, None]
        weakest = [np.minimum.reduce(list(holds[way].values())) for way in (1, -1)]
        for gone in undone.values():
            weakest = [np.where(gone, 0.0, each) for each in weakest]
    return failed, weakest
