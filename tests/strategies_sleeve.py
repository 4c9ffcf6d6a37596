"""Sleeves over the ends of a drawn rod, in the place of plugs."""

from __future__ import annotations


def fit(pen, metals, makers):
    """Return tube and sleeve, which must go over one another, and the sizes drawn for them [mm].

    The tube without material and own strengths; `makers` of what a metal end may have beside its
    sizes. The sizes: tube outside and wall, overlap, sleeve outside.
    """
    outside, gap = pen.near(5, 40), pen.near(0.02, 0.6)
    overlap, around = pen.near(4, 80), pen.near(0.4, 6)
    wall = pen.near(0.1, 0.4) * outside
    bore, widest = outside + 2 * gap, outside + 2 * gap + 2 * around
    solid = pen.whole(0, 4) == 0
    tube = {"bore": "0 mm" if solid else pen.number(outside - 2 * wall, "length")}
    sleeve = {"material": pen.one_of(metals), "overlap": pen.spread("sleeve.overlap", overlap)}
    sleeve["outer_diameter"] = pen.number(widest, "length")
    sleeve |= pen.some("sleeve", makers)
    sides = {"tube.outer_diameter": (tube, outside), "sleeve.bore": (sleeve, bore)}
    from_gap = pen.whole(0, 2) == 0
    if from_gap:
        sides.pop("sleeve.bore")
        sleeve["radial_gap"] = gap_of(pen, gap)
    for key, (table, middle) in sides.items():
        high = middle + min(gap, around)
        table[key.split(".")[1]] = pen.spread(key, middle, low=middle - 2 * gap, high=high)
        if from_gap:
            pen.varied.pop(key, None)  # held at its mean: the gap holds the scatter of both
    return tube, sleeve, (outside, outside / 2 if solid else wall, overlap, widest)


def gap_of(pen, gap):
    """Write a gap on one side in the ways that can be turned into a diameter."""
    limits = {"never_outside": [pen.number(share * gap, "length") for share in (0.6, 1.4)]}
    most = limits | {"most_likely": pen.number(gap, "length")}
    about = {"mean": pen.number(gap, "length"), "sd": pen.number(gap / 6, "length")}
    return pen.one_of([about["mean"], limits, most, about])
