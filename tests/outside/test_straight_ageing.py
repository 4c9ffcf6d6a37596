"""Lives with damp, cycles and steady loads, against rods lived through one by one with NumPy.

`straight_aged` beside this file draws and counts and shares no code with the package. The
package answers with several seeds: their mean has to agree within three standard errors of both.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

import jointrisk
from jointrisk.model.limit_state import limit_state
from jointrisk.reliability import estimate

SETS = 200_000
SEEDS = (None, 1, 2)  # None: the scenario's own

ROD = """
schema = 1
title = "a rod that ages"
seed = 3
[life]
duration = "{life} years"
slices = {slices}
[rods]
count = 2
length = "300 mm"
[tube]
material = "aluminium 6082-T6"
outer_diameter = "16 mm"
bore = {{ mean = "13.2 mm", sd = "0.03 mm" }}
modulus = "70 GPa"
tension_strength = "9 GPa"
compression_strength = "9 GPa"
[plug]
material = "aluminium 6082-T6"
diameter = {{ mean = "12.8 mm", sd = "0.03 mm" }}
modulus = "70 GPa"
overlap = {overlap}
glued_share = {glued}
off_centre = 0.0
[adhesive]
class = "two-part toughened epoxy"
evidence = "own pulls"
shear_strength = {{ mean = "20 MPa", cov = 0.1 }}
shear_modulus = "600 MPa"
toughness = {toughness}
[weak_bonds]
lone_weight = 0.001
bad_batch_weight = 0.0
latent_weight = 0.02
[batch]
rods = 2
[model]
bond_factor = {{ mean = 1.0, cov = 0.1 }}
gap_factor_exponent = 0.0
toughness_exponent = 2.0
[service]
workshop_temperature = "23 degC"
hottest = "23 degC"
coldest = "23 degC"
humidity = {{ never_outside = [0.7, 0.95] }}
[ageing]
wetting_time = {{ p05 = "2 years", p95 = "8 years" }}
"""
TOUGH = {
    "overlap": '{ mean = "20 mm", sd = "0.5 mm" }',
    "glued": "{ never_outside = [0.8, 1.0] }",
    "toughness": '"9000 N/mm"',
}
LONG = {
    "overlap": '"120 mm"',
    "glued": "1.0",
    "toughness": '{ mean = "0.4 N/mm", cov = 0.15 }',
}
YEARLY = '[[load]]\nname = "jerk"\nkind = "annual_maximum"\ndirection = "pull"\n'
EVENT = '[[load]]\nname = "bump"\nkind = "event"\ndirection = "pull"\nscope = "rod"\n'
STEADY = '[[load]]\nname = "hangs"\nkind = "sustained"\n'
CYCLES = '[[load]]\nname = "gust"\nkind = "cycles"\nrate = "20000 / year"\n'
HUM = '[[load]]\nname = "hum"\nkind = "cycles"\nscope = "rod"\nrate = "300000 / year"\n'
MODES = {
    "inside": "bond lets go inside the adhesive (cohesion)",
    "surface": "bond lets go at the insert (adhesion)",
}
TIRED = MODES | {"time": "bond dies of repeated load"}
CREPT = MODES | {"time": "bond gives way to a steady load"}


@pytest.fixture(scope="module")
def straight():
    path = Path(__file__).with_name("straight_aged.py")
    spec = importlib.util.spec_from_file_location("straight_aged", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def bonds(straight):
    """A stream of random numbers and drawn bonds."""
    rng = np.random.default_rng(7)
    return rng, straight.draw_bonds(rng, SETS, (0.7, 0.95))


def rod(overlap, life, slices, more):
    return jointrisk.load_text(ROD.format(life=life, slices=slices, **overlap) + more)


def size(mean, cov, key="size"):
    return f'{key} = {{ mean = "{mean} N", cov = {cov} }}\n'


def yearly(straight, factor, mean, cov):
    """Return what draws the largest load of a part of a year, one for all rods."""
    return lambda rng, part: factor * straight.largest_of_a_part(rng, mean, cov, part, factor.shape)


def events(straight, factor, rate, mean, cov):
    """Return what draws the largest event of a part of a year, each rod its own."""
    shape = (len(factor), straight.RODS)
    return lambda rng, part: factor * straight.largest_event(rng, rate * part, mean, cov, shape)


def agree(own, found):
    """Three standard errors of both sides; the seeds' own scatter counts where it is larger."""
    values, errors = np.array(found).T
    error = max(np.sqrt(np.mean(errors**2)), values.std(ddof=1)) / np.sqrt(len(values))
    value, own_error = own
    assert own_error < 0.2 * value
    assert values.mean() == pytest.approx(value, rel=0, abs=3 * np.hypot(own_error, error))


def compare(scenario, counted, modes):
    """Hold every figure of a life against the count."""
    own, by_year, year_error = counted
    answers = [jointrisk.assess(scenario, seed=seed, curves=False) for seed in SEEDS]
    chances = [answer.failure_probability for answer in answers]
    error = [(chance.high - chance.low) / (2 * 1.96 * chance.estimate) for chance in chances]

    def hold(value, found):
        agree(value, [(v, e * v) for v, e in zip(found, error, strict=True)])

    hold(own["life"], [chance.estimate for chance in chances])
    hold(own["rod"], [chance.per_rod for chance in chances])
    for name, mode in modes.items():
        told = [{m.name: m for m in answer.modes}[mode] for answer in answers]
        hold(own[name], [m.probability for m in told])
        hold(own[f"{name} decides"], [m.share for m in told])
    year = chances[0].worst_year_number - 1
    hold((by_year[year], year_error[year]), [chance.worst_year for chance in chances])
    assert by_year.max() - by_year[year] < 3 * np.hypot(*year_error[[year, by_year.argmax()]])
    assert by_year[0] < by_year[year] - 3 * year_error[year]


# --- damp ----------------------------------------------------------------------------------


def test_damp_under_loads_of_the_year_and_events(straight, bonds):
    """The slices end within years: the year of a failure hangs on the parts of both."""
    rng, v = bonds
    factor = v["load_factor"]
    slices = [straight.whole_overlap(v, end) for end in (5 / 3, 10 / 3, 5.0)]
    loads = [yearly(straight, factor, 4500.0, 0.2), events(straight, factor, 1.5, 2500.0, 0.4)]
    counted = straight.live(rng, 5, *zip(*slices, strict=True), 0.0, loads)
    more = YEARLY + size(4500, 0.2) + EVENT + 'rate = "1.5 / year"\n' + size(2500, 0.4)
    compare(rod(TOUGH, 5, 3, more), counted, MODES)


def test_damp_on_a_long_overlap_of_which_the_toughness_governs(straight, bonds):
    rng, v = bonds
    v["toughness"] = straight.lognormal(rng, 0.4, 0.15, v["glue"].shape)
    slices = [straight.long_overlap(v, end) for end in (2.0, 4.0)]
    loads = [yearly(straight, v["load_factor"], 7500.0, 0.2)]
    counted = straight.live(rng, 4, *zip(*slices, strict=True), 0.0, loads)
    compare(rod(LONG, 4, 2, YEARLY + size(7500, 0.2)), counted, MODES)


# --- cycles --------------------------------------------------------------------------------

SWAYS = (
    (YEARLY + size(2500, 0.2) + STEADY + size(200, 0.1))
    + (CYCLES + size(1500, 0.15) + size(800, 0.1, "mean"))
    + (HUM + size(900, 0.2))
)


def tired(straight, rng, v):
    """Count lives under two blocks of cycles, a steady load and the largest of a year."""
    factor, n = v["load_factor"], len(v["glue"])
    slices = [straight.whole_overlap(v, end) for end in (5 / 3, 10 / 3, 5.0)]
    steady = rng.normal(200.0, 20.0, (n, 1)) * factor
    amplitude = straight.lognormal(rng, 1500.0, 0.15, (n, 1)) * factor
    middle = rng.normal(800.0, 80.0, (n, 1)) * factor
    hum = np.repeat(straight.lognormal(rng, 900.0, 0.2, (n, straight.RODS)), 2, axis=1) * factor
    blocks = [(middle + amplitude, amplitude - middle, 2e4), (hum, hum, 3e5)]
    held, at_surface = zip(*slices, strict=True)
    left, dead = straight.tire(rng, v, held, steady, blocks, 5)
    loads = [yearly(straight, factor, 2500.0, 0.2)]
    return straight.live(rng, 5, left, at_surface, steady, loads, dead)


def test_cycles_use_a_bond_up_while_damp_weakens_it(straight, bonds):
    compare(rod(TOUGH, 5, 3, SWAYS), tired(straight, *bonds), TIRED)


def test_the_limit_state_counts_the_same_failures(straight, bonds):
    whole = limit_state(rod(TOUGH, 5, 3, SWAYS))
    found = estimate(whole.function, whole.variables, method="crude", target_cov=0.02, seed=1)
    value, error = tired(straight, *bonds)[0]["life"]
    both = 3 * np.hypot(error, found.cov * found.probability)
    assert found.cov < 0.03
    assert found.probability == pytest.approx(value, rel=0, abs=both)


# --- steady loads --------------------------------------------------------------------------


def test_a_steady_load_above_a_share_that_scatters(straight, bonds):
    rng, v = bonds
    slices = [straight.whole_overlap(v, end) for end in (2.0, 4.0)]
    steady = rng.normal(2000.0, 200.0, (SETS, 1)) * v["load_factor"]
    share = straight.lognormal(rng, 0.4, 0.2, v["glue"].shape)
    gone = [steady / held > share for held, _ in slices]
    left = [np.where(dead, 0.0, held) for dead, (held, _) in zip(gone, slices, strict=True)]
    at_surface = [where for _, where in slices]
    loads = [yearly(straight, v["load_factor"], 2500.0, 0.2)]
    counted = straight.live(rng, 4, left, at_surface, steady, loads, gone)
    more = "steady_share = { mean = 0.4, cov = 0.2 }\n" + STEADY + size(2000, 0.1)
    compare(rod(TOUGH, 4, 2, more + YEARLY + size(2500, 0.2)), counted, CREPT)


def test_the_top_of_a_cycle_is_held_against_the_thread_too():
    """Strip of the weakest of four threads under the largest cycle, drawn and counted."""
    rng, n = np.random.default_rng(3), 1_000_000
    engaged = 3.0 * 3 * np.pi * (0.5 + 0.57735 * 0.649519) * 0.9  # M3 over 3 mm
    s = np.sqrt(np.log1p(0.05**2))
    metal = 310.0 * np.exp(s * rng.standard_normal((n, 4)) - s**2 / 2).min(axis=1)
    top = 3000.0 * np.exp(
        np.sqrt(np.log1p(0.1**2)) * rng.standard_normal(n)
        - np.log1p(0.1**2) / 2
        + s * rng.standard_normal(n)  # the load factor has a CoV of 5 % as well
        - s**2 / 2
    )
    fails = top > 0.6 * metal * engaged
    own = fails.mean(), fails.std() / np.sqrt(n)
    more = '[thread]\nsize = "M3"\nengagement = "3 mm"\n[[load]]\nname = "hum"\nkind = "cycles"\n'
    scenario = rod(TOUGH, 5, 1, more + 'rate = "10 / year"\n' + size(3000, 0.1))
    found = []
    for seed in SEEDS:
        answer = jointrisk.assess(scenario, seed=seed, curves=False)
        chance = answer.failure_probability
        error = (chance.high - chance.low) / (2 * 1.96 * chance.estimate)
        value = {mode.name: mode.probability for mode in answer.modes}["thread strips"]
        found.append((value, error * value))
    agree(own, found)
