"""The rowing rigger's eight backstays, drawn crudely: prints its figures as JSON."""

import json

import straight_crude

# The numbers of scenarios/rowing-rigger-backstay.toml, under its keys, in mm, N, MPa, degC, years.
GIVEN = {
    "life.duration": 6.0,
    "rods.count": 8,
    "rods.length": 610.0,
    "batch.rods": 4,
    "tube.outer_diameter": 8.0,
    "tube.bore": {"mean": 6.00, "sd": 0.02},
    "plug.diameter": {"mean": 5.62, "sd": 0.06},
    "plug.overlap": {"mean": 30.0, "sd": 1.0},
    "plug.off_centre": {"never_outside": [0.0, 0.5]},
    "second_plug.overlap": {"mean": 45.0, "sd": 1.0},
    "thread.engagement": 6.0,
    "adhesive.shear_strength": {"mean": 17.0, "cov": 0.13},
    "adhesive.failure_strain": {"mean": 0.055, "cov": 0.2},
    "adhesive.cure_temperature": 38.0,
    "weak_bonds.lone_weight": {"p05": 0.0002, "p95": 0.004},
    "weak_bonds.bad_batch_weight": {"p05": 0.0002, "p95": 0.004},
    "service.workshop_temperature": 15.0,
    "service.hottest": {"mean": 30.0, "sd": 2.0},
    "service.coldest": {"mean": -14.0, "sd": 4.0},
    "service.humidity": 0.85,
    "load": [
        {"kind": "annual_maximum", "direction": "pull", "size": {"mean": 980.0, "cov": 0.2}},
        {
            "kind": "event",
            "direction": "pull",
            "scope": "rod",
            "rate": 2.0,
            "size": {"mean": 450.0, "cov": 0.35},
        },
    ],
    "pull": [{"load": 105 * 9.80665}],
    "proof.rig_error": 0.02,
    "proof.rig_bias": 0.02,
}
# What its words mean in the package's tables.
WORDS = {
    "tube.material": "aluminium 6082-T6",
    "plug.material": "steel S355",
    "thread.size": "M4",
    "adhesive.class": "two-part general epoxy",
    "adhesive.evidence": "own coupons",
    "preparation.plug": "abraded and wiped",
    "preparation.tube": "abraded and wiped",
}
MEANT = {
    "tube.modulus": {"mean": 70e3, "cov": 0.02},
    "tube.tension_strength": {"mean": 310.0, "cov": 0.05},
    "tube.compression_strength": {"mean": 260.0, "cov": 0.06},
    "tube.expansion": 23.5e-6,
    "plug.modulus": 210e3,
    "plug.strength": {"mean": 510.0, "cov": 0.05},
    "plug.expansion": 11.5e-6,
    "thread": (4.0, 0.7),
    "adhesive.shear_modulus": {"p05": 700.0, "p95": 1300.0},
    "glue_by_temperature": ([23.0, 60.0], [1.0, 0.60]),
    "hard_stop": 60.0,
    "evidence": {"mean": 1.0, "cov": 0.20},
    "preparation": {"mean": 1.0, "cov": 0.05},  # either surface, like that of the coupons
}
HARDER = 2000.0

if __name__ == "__main__":
    given = {**GIVEN, **MEANT, "harder": HARDER}
    print(json.dumps(straight_crude.run(given, draws=20_000, seed=1), indent=1))
