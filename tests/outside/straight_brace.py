"""The two sun-heated braces, drawn crudely: prints its figures as JSON."""

import json

import straight_crude

# The numbers of scenarios/sun-heated-brace.toml, under its keys, in mm, N, MPa, degC, years.
GIVEN = {
    "life.duration": 8.0,
    "rods.count": 2,
    "rods.length": 540.0,
    "rods.shoulder": True,
    "tube.outer_diameter": 20.0,
    "tube.bore": {"mean": 16.00, "sd": 0.03},
    "plug.diameter": {"mean": 15.60, "sd": 0.03},
    "plug.overlap": {"mean": 25.0, "sd": 0.5},
    "plug.off_centre": {"never_outside": [0.0, 0.3]},
    "plug.glued_share": {"never_outside": [0.9, 1.0]},
    "adhesive.shear_strength": {"mean": 21.0, "cov": 0.08},
    "weak_bonds.lone_weight": {"p05": 0.0003, "p95": 0.005},
    "weak_bonds.bad_batch_weight": {"p05": 0.0003, "p95": 0.005},
    "service.workshop_temperature": 20.0,
    "service.hottest": {"mean": 59.0, "sd": 2.5},
    "service.coldest": -8.0,
    "service.humidity": {"never_outside": [0.65, 0.8]},
    "load": [
        {"kind": "sustained", "size": {"mean": -160.0, "cov": 0.05}},
        {"kind": "annual_maximum", "direction": "pull", "size": {"mean": 820.0, "cov": 0.25}},
    ],
    "pull": [{"load": 4000.0}],
    "proof.rig_error": 0.01,
    "proof.rig_bias": 0.01,
}
# What its words mean in the package's tables.
WORDS = {
    "tube.material": "aluminium 6082-T6",
    "plug.material": "aluminium 6082-T6",
    "thread.size": "M8",
    "adhesive.class": "two-part toughened epoxy",
    "adhesive.evidence": "own pulls",
}
MEANT = {
    "tube.modulus": {"mean": 70e3, "cov": 0.02},
    "tube.tension_strength": {"mean": 310.0, "cov": 0.05},
    "tube.compression_strength": {"mean": 260.0, "cov": 0.06},
    "tube.expansion": 23.5e-6,
    "plug.modulus": 70e3,
    "plug.strength": {"mean": 310.0, "cov": 0.05},
    "plug.expansion": 23.5e-6,
    "thread": (8.0, 1.25),
    "adhesive.shear_modulus": {"p05": 400.0, "p95": 1000.0},
    "adhesive.toughness": {"mean": 3.0, "cov": 0.15},
    "adhesive.toughness_range": {"p05": 0.5, "p95": 2.0},
    "adhesive.cure_temperature": 23.0,
    "glue_by_temperature": ([23.0, 60.0, 65.0], [1.0, 0.55, 0.2]),
    "hard_stop": 65.0,
    "evidence": {"mean": 1.0, "cov": 0.08},
    "preparation": 1.0,  # own pulls contain it
}
HARDER = 12_000.0

if __name__ == "__main__":
    given = {**GIVEN, **MEANT, "harder": HARDER}
    print(json.dumps(straight_crude.run(given, draws=40_000, seed=1), indent=1))
