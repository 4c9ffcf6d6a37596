"""The gravity racer's drag link, computed straight through: prints its figures as JSON."""

import json

import straight_joint

# The numbers of scenarios/gravity-racer-drag-link.toml, defaults included.
# Pairs are (mean, sd) where normal, (mean, CoV) where lognormal or Gumbel, (5 %, 95 %) for ranges.
GIVEN = {
    "rods": 1,
    "years": 4.0,
    "length": 465.0,
    "outer": 17.2,
    "bore": (15.10, 0.04),
    "plug": (14.74, 0.05),
    "plug_hole": 5.0,
    "overlap": (19.0, 0.7),
    "thread": (6.0, 1.0),
    "engagement": (14.0, 0.5),
    "tube_modulus": (80e3, 0.08),
    "tube_tension": (700.0, 0.10),
    "tube_compression": (450.0, 0.12),
    "tube_expansion": 1e-6,
    "ply_strength": (45.0, 0.10),
    "plug_modulus": 70e3,
    "plug_expansion": 23.5e-6,
    "insert_strength": (310.0, 0.05),
    "glue_strength": (25.0, 0.10),
    "glue_range": (18 / (18 * 32) ** 0.5, 32 / (18 * 32) ** 0.5),
    "evidence": (0.6, 0.30),
    "evidence_on": "surface",  # class default: the step from laboratory to workshop
    "lone_weight": (0.004, 0.06),
    "cure": 23.0,
    "workshop": 20.0,
    "hot": (32.0, 3.0),
    "cold": (8.0, 3.0),
    "humidity": (0.55, 0.75),  # anywhere between
    "event_rate": 3.0,
    "event_load": (620.0, 0.35),
    "yearly_load": (340.0, 0.15),
    "pulls": {"given": 82 * 9.80665, "harder": 2500.0},
    "rig_error": 0.04,
    "rig_bias": 0.03,
}

if __name__ == "__main__":
    print(json.dumps(straight_joint.run(GIVEN, draws=60_000, seed=1), indent=1))
