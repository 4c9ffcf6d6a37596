"""The delta robot's six forearm rods, computed straight through: prints its figures as JSON."""

import json

import straight_joint

# The numbers of scenarios/delta-robot-forearms.toml, defaults included.
# Pairs are (mean, sd) where normal, (mean, CoV) where lognormal or Gumbel, (5 %, 95 %) for ranges.
GIVEN = {
    "rods": 6,
    "years": 5.0,
    "length": 310.0,
    "outer": 10.0,
    "bore": (8.06, 0.03),
    "plug": (7.72, 0.02),
    "plug_hole": 3.3,
    "overlap": (16.0, 0.4),
    "thread": (4.0, 0.7),
    "engagement": (9.0, 0.0),
    "tube_modulus": (130e3, 0.05),
    "tube_tension": (1500.0, 0.10),
    "tube_compression": (900.0, 0.12),
    "tube_expansion": -0.2e-6,
    "ply_strength": (41.0, 0.10),
    "plug_modulus": 71.7e3,
    "plug_expansion": 23.5e-6,
    "insert_strength": (540.0, 0.05),
    "glue_strength": (19.0, 0.10),
    "glue_range": None,
    "evidence": (1.0, 0.20),
    "evidence_on": "glue",  # own coupons on the real surface
    "lone_weight": (0.001, 0.03),
    "cure": 23.0,
    "workshop": 21.0,
    "hot": (38.0, 2.0),
    "cold": (12.0, 2.0),
    "humidity": (0.45, 0.45),  # anywhere between
    "event_rate": 1.0,
    "event_load": (430.0, 0.30),
    "yearly_load": (190.0, 0.12),
    "pulls": {"given": 25 * 9.80665, "harder": 1000.0},
    "rig_error": 0.01,
    "rig_bias": 0.01,
}

if __name__ == "__main__":
    print(json.dumps(straight_joint.run(GIVEN, draws=12_000, seed=1), indent=1))
