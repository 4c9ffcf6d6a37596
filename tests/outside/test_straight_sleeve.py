"""A rod with sleeves over its ends in plain NumPy, without a line of the package's mechanics.

The glue is strong and brittle, so that it breaks before it yields and Volkersen's closed form for
the elastic layer (1938) is the whole answer: an end lets go where its shear reaches
sqrt(2 toughness / compliance), and shear is linear in the force.
"""

import numpy as np
import pytest

import jointrisk

TEXT = """
schema = 1
[life]
duration = "4 years"
[rods]
count = 2
length = "100 mm"
[tube]
material = "carbon tube, pultruded"
outer_diameter = {{ mean = "10 mm", sd = "0.03 mm" }}
bore = "{bore}"
modulus = {{ mean = "120 GPa", cov = 0.06 }}
expansion = "0.5e-6/K"
tension_strength = "90 GPa"
compression_strength = "90 GPa"
interlaminar_strength = "9 GPa"
interlaminar_toughness = "900 N/mm"
[sleeve]
material = "{metal}"
outer_diameter = "{outside}"
bore = {{ mean = "10.35 mm", sd = "0.02 mm" }}
overlap = {{ mean = "22 mm", sd = "1 mm" }}
glued_share = {{ never_outside = [0.7, 1.0] }}
off_centre = {{ never_outside = [0.1, 0.4] }}
modulus = "{modulus} GPa"
expansion = "{expansion}e-6/K"
strength = "90 GPa"
[adhesive]
class = "heat-cured epoxy"
evidence = "own pulls"
shear_strength = "400 MPa"
shear_modulus = "900 MPa"
toughness = {{ mean = "1.1 N/mm", cov = 0.2 }}
cure_temperature = "80 degC"
hard_stop_temperature = "150 degC"
strength_by_temperature = [["20 degC", 1.0], ["60 degC", 1.0]]
[preparation]
sleeve = {{ mean = 0.7, cov = 0.15 }}
tube = {{ mean = 0.8, cov = 0.1 }}
[weak_bonds]
lone_weight = 0
bad_batch_weight = 0
[batch]
bond_factor = 1.0
[service]
hottest = {{ never_outside = ["40 degC", "60 degC"] }}
coldest = "-20 degC"
humidity = 0.3
[model]
bond_factor = {{ mean = 1.0, cov = 0.1 }}
load_factor = 1.0
gap_factor_exponent = 0
toughness_exponent = 2
[[load]]
name = "jerk"
kind = "annual_maximum"
direction = "{direction}"
size = {{ mean = "{load} N", cov = 0.2 }}
"""
CASES = {
    "stiff sleeve": {"metal": "steel S355", "outside": "14 mm", "modulus": 210, "expansion": 11.5},
    "soft sleeve": {
        "metal": "aluminium 6082-T6",
        "outside": "12.4 mm",
        "modulus": 70,
        "expansion": 23.5,
    },
}
VARY = {
    *("tube.outer_diameter", "tube.modulus", "sleeve.bore", "sleeve.overlap", "sleeve.off_centre"),
    *("sleeve.glued_share", "adhesive.toughness", "preparation.sleeve", "preparation.tube"),
    *("evidence.factor", "service.hottest", "model.bond_factor"),
    *("rods.bow", "rods.load_offset"),  # a strut far from bending away
}
UNREAD = ("ageing.", "weak_bonds.", "proof.", "load.")
DRAWS = 400_000


def lognormal(rng, mean, cov, shape):
    s = np.sqrt(np.log1p(cov**2))
    return mean * np.exp(s * rng.standard_normal(shape) - s**2 / 2)


def force_of(sizes, strain):
    """Return the force at which the first of the two ends lets go, the sleeve pulled off [N]."""
    inner, gap, length, tube, sleeve, breaks = sizes
    middle = inner + gap / 2
    around = 2 * np.pi * middle
    compliance = middle * np.log(1 + gap / inner) / 900.0
    rate = np.sqrt(around * (1 / tube + 1 / sleeve) / compliance)
    over = compliance * rate * np.sinh(rate * length)
    cosh = np.cosh(rate * length)
    # shear = a F + b at the sleeve's mouth, where the tube has all, and at the tube's end
    mouth = ((1 / sleeve + cosh / tube) / over, strain * (1 - cosh) / over)
    end = ((1 / tube + cosh / sleeve) / over, strain * (cosh - 1) / over)
    return np.minimum(*[(breaks - b) / a for a, b in (mouth, end)])


def failures(case, direction, load, bore, rng):
    """Return each draw's chance that a rod of the two fails in four years."""
    n, joints = DRAWS, (4, DRAWS)
    inner = 5.0  # nominal; only the gap has the scatter of both diameters
    outside = rng.normal(10.0, 0.03, joints)
    gap = (rng.normal(10.35, 0.02, joints) - outside) / 2
    length = rng.normal(22.0, 1.0, joints) * rng.uniform(0.7, 1.0, joints)
    tube = lognormal(rng, 120e3, 0.06, (2, n)).repeat(2, axis=0) * np.pi * (inner**2 - bore**2 / 4)
    thick = float(case["outside"].split()[0]) / 2
    sleeve = case["modulus"] * 1e3 * np.pi * (thick**2 - (inner + gap) ** 2)
    tough = lognormal(rng, 1.1, 0.2, joints)
    surfaces = [lognormal(rng, mean, cov, joints) for mean, cov in ((0.7, 0.15), (0.8, 0.1))]
    share = np.minimum(np.minimum(*surfaces), 1.0)
    compliance = (inner + gap / 2) * np.log(1 + gap / inner) / 900.0
    breaks = share * np.sqrt(2 * tough / compliance) * (1 - rng.uniform(0.1, 0.4, joints))
    sizes = (inner, gap, length, tube, sleeve, breaks)
    unlike = (case["expansion"] - 0.5) * 1e-6 * (-1 if direction == "push" else 1)
    hot, cold = rng.uniform(40.0, 60.0, n), -20.0
    held = np.minimum(*[force_of(sizes, unlike * (t - 80.0)) for t in (hot, cold)])
    held = held * lognormal(rng, 1.0, 0.1, n)  # what own pulls are worth is of the yield alone
    scale = 0.2 * load * np.sqrt(6) / np.pi
    rate = np.exp(-(held.min(axis=0) - load + np.euler_gamma * scale) / scale)
    return np.where(held.min(axis=0) > 0, -np.expm1(-4.0 * rate), 1.0)


@pytest.mark.parametrize(
    ("name", "direction", "load", "bore"),
    [
        ("stiff sleeve", "pull", 1000, 7.0),
        ("stiff sleeve", "push", 1500, 0.0),
        ("soft sleeve", "pull", 200, 7.0),
        ("soft sleeve", "push", 250, 7.0),
    ],
)
def test_the_failure_probability_is_that_of_plain_numpy(name, direction, load, bore):
    case = CASES[name]
    words = case | {"direction": direction, "load": load, "bore": f"{bore} mm"}
    scenario = jointrisk.load_text(TEXT.format(**words))
    varying = {key for key, found in scenario.variables.items() if found.spread.sd > 0.0}
    assert {key for key in varying if not key.startswith(UNREAD)} == VARY
    found = jointrisk.assess(scenario, curves=False).failure_probability
    fails = failures(case, direction, load, bore, np.random.default_rng(4))
    plain, error = fails.mean(), fails.std() / np.sqrt(DRAWS)
    assert 2e-3 < plain < 0.3
    own = (found.high - found.low) / 2 / 1.96
    assert abs(found.estimate - plain) < 3.0 * np.hypot(own, error)
    assert own < 0.05 * found.estimate
