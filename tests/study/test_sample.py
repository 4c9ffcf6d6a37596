"""The weighted sample against quadrature: failure probability, weights, pools and seeds."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from jointrisk.spread import Fixed, Gumbel, Lognormal, Normal, Uniform
from jointrisk.study.sample import weighted_sample

COV = 0.12
GLUE = {"adhesive.shear_strength": Lognormal(10.0, COV * 10.0)}
SHARP = 0.01


def glue(oracles, cov=COV):
    """Law of one bond whose stress alone varies."""
    return oracles.lognormal(oracles.BOND, cov)


def rod_grid(oracles, joints=2, cov=COV):
    least = oracles.weakest(glue(oracles, cov).cdf, joints)
    return oracles.on_grid(least, 500.0, 30_000.0)


def test_the_oracle_is_that_of_scipys_adaptive_quadrature(oracles):
    law, load = glue(oracles), oracles.gumbel(3500.0, 0.25)

    def density(log_size):
        size = math.exp(log_size)
        lowest = 2.0 * law.pdf(size) * law.sf(size)
        return size * lowest * -math.expm1(oracles.YEARS * load.logcdf(size))

    parts = [integrate.quad(density, a, a + 0.5, epsabs=0.0)[0] for a in np.arange(6.5, 10.5, 0.5)]
    kept = oracles.log_kept_yearly(load)
    assert oracles.fail_chance(*rod_grid(oracles), kept) == pytest.approx(sum(parts), rel=1e-6)


@pytest.mark.parametrize(
    ("mean", "roughly"), [(5800.0, 0.3), (3800.0, 1e-2), (2600.0, 1e-4), (1600.0, 1e-8)]
)
def test_yearly_loads_against_strength_from_likely_to_rare(oracles, mean, roughly):
    load = oracles.gumbel(mean, 0.2)
    exact = oracles.fail_chance(*rod_grid(oracles), oracles.log_kept_yearly(load))
    assert 0.1 < exact / roughly < 10.0
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(mean, 0.2 * mean))])
    found, error = oracles.chance_of(weighted_sample(scenario, 1, target_cov=SHARP))
    assert oracles.agrees(found, error, exact)


@pytest.mark.parametrize(("mean", "rate"), [(1800.0, 12.0), (1100.0, 12.0), (2200.0, 0.05)])
def test_events_of_a_poisson_process(oracles, mean, rate):
    law = oracles.lognormal(mean, 0.4)
    exact = oracles.fail_chance(*rod_grid(oracles), oracles.log_kept_events(law, rate))
    events = oracles.load(Lognormal(mean, 0.4 * mean), "event", rate=rate)
    sample = weighted_sample(oracles.plain(GLUE, [events]), 2, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_two_loads_are_met_one_beside_the_other(oracles):
    yearly, event = oracles.gumbel(3300.0, 0.2), oracles.lognormal(1500.0, 0.4)

    def kept(x):
        return oracles.log_kept_yearly(yearly)(x) + oracles.log_kept_events(event, 6.0)(x)

    exact = oracles.fail_chance(*rod_grid(oracles), kept)
    loads = [
        oracles.load(Gumbel(3300.0, 660.0), name="year"),
        oracles.load(Lognormal(1500.0, 600.0), "event", rate=6.0, name="knock"),
    ]
    sample = weighted_sample(oracles.plain(GLUE, loads), 3, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


@pytest.mark.parametrize(
    ("steady", "direction", "room"),
    [(1200.0, "pull", 1200.0), (-1200.0, "pull", -1200.0), (1200.0, "push", -1200.0)],
)
def test_a_steady_load_takes_room_from_its_own_side_and_gives_to_the_other(
    oracles, steady, direction, room
):
    load = oracles.gumbel(3200.0, 0.2)
    kept = oracles.log_kept_yearly(load)
    values, chance = rod_grid(oracles)
    exact = oracles.fail_chance(values, chance, lambda x: kept(x - room))
    loads = [
        oracles.load(Gumbel(3200.0, 640.0), direction=direction),
        oracles.load(Normal(steady, 1e-6), "sustained", name="weight"),
    ]
    sample = weighted_sample(oracles.plain(GLUE, loads), 4, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_a_steady_load_that_varies_is_averaged_over(oracles):
    load = oracles.gumbel(3000.0, 0.2)
    kept = oracles.log_kept_yearly(load)
    values, chance = rod_grid(oracles)
    z = np.linspace(-6.0, 6.0, 121)
    share = np.exp(-0.5 * z * z)
    share /= share.sum()
    exact = sum(
        p * oracles.fail_chance(values, chance, lambda x, s=s: kept(x - s))
        for p, s in zip(share, 1000.0 + 300.0 * z, strict=True)
    )
    loads = [
        oracles.load(Gumbel(3000.0, 600.0)),
        oracles.load(Normal(1000.0, 300.0), "sustained", name="weight"),
    ]
    sample = weighted_sample(oracles.plain(GLUE, loads), 5, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_a_steady_load_alone_breaks_what_is_weaker_than_it(oracles):
    """No variable load at all: the chance is the law of strength at the load, to the digit."""
    loads = [oracles.load(Normal(5000.0, 1e-6), "sustained", name="weight")]
    exact = float(oracles.weakest(glue(oracles).cdf, 2)(5000.0))
    sample = weighted_sample(oracles.plain(GLUE, loads), 6, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


@pytest.mark.parametrize("factor", [0.8, 1.3])
def test_the_load_factor_multiplies_every_load(oracles, factor):
    kept = oracles.log_kept_yearly(oracles.gumbel(2700.0, 0.2))
    values, chance = rod_grid(oracles)
    exact = oracles.fail_chance(values, chance, lambda x: kept(x / factor - 900.0))
    loads = [
        oracles.load(Gumbel(2700.0, 540.0)),
        oracles.load(Normal(900.0, 1e-6), "sustained", name="weight"),
    ]
    scenario = oracles.plain(GLUE | {"model.load_factor": factor}, loads)
    assert oracles.agrees(*oracles.chance_of(weighted_sample(scenario, 7, target_cov=SHARP)), exact)


@pytest.mark.parametrize("rods", [3, 6])
def test_a_load_that_all_rods_meet_finds_the_weakest_joint_of_the_set(oracles, rods):
    kept = oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2))
    exact = oracles.fail_chance(*rod_grid(oracles, 2 * rods), kept)
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(2800.0, 560.0))], rods=rods)
    sample = weighted_sample(scenario, 8, target_cov=0.02)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


@pytest.mark.parametrize("rods", [3, 6])
def test_a_load_of_each_rod_its_own_makes_the_rods_independent(oracles, rods):
    kept = oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2))
    one = oracles.fail_chance(*rod_grid(oracles), kept)
    loads = [oracles.load(Gumbel(2800.0, 560.0), scope="rod")]
    sample = weighted_sample(oracles.plain(GLUE, loads, rods=rods), 9, target_cov=0.02)
    assert oracles.agrees(*oracles.chance_of(sample), -math.expm1(rods * math.log1p(-one)))
    rod = sample.weight * -np.expm1(-sample.outcome.rod_rate[0, 0] * sample.life)
    found, error = oracles.mean_and_error(rod)
    assert oracles.agrees(found, error, one, closest=0.1)


def test_rods_of_one_batch_share_its_factor_and_batches_are_independent(oracles):
    """Five rods in batches of two, two and one; each batch fails by its own factor."""
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2))
    values, chance = oracles.on_grid(oracles.lognormal(oracles.BOND, 0.15).cdf, 500.0, 30_000.0)
    outlive = [float(np.sum(chance * np.exp(k * kept(values)))) for k in (2, 2, 1)]
    scenario = oracles.plain(
        {"batch.bond_factor": Lognormal(1.0, 0.15)},
        [oracles.load(Gumbel(3000.0, 600.0), scope="rod")],
        rods=5,
        rods_per_batch=2,
    )
    sample = weighted_sample(scenario, 10, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), 1.0 - math.prod(outlive))


@pytest.mark.parametrize(("lone", "bad"), [(0.004, 0.0), (0.0, 0.01), (0.003, 0.02)])
def test_weak_joints_alone_and_by_the_batch(oracles, lone, bad):
    """A joint of a bad batch is weak by 0.8, any other by its own chance."""
    kept = oracles.log_kept_yearly(oracles.gumbel(1500.0, 0.2))
    exact = 0.0
    for state, share in ((bad, max(0.8, lone)), (1.0 - bad, lone)):
        joint = oracles.mixed(glue(oracles).cdf, share, 0.3)
        grid = oracles.on_grid(oracles.weakest(joint, 4), 200.0, 30_000.0)
        exact += state * oracles.fail_chance(*grid, kept)
    spreads = GLUE | {"weak_bonds.lone_weight": lone, "weak_bonds.bad_batch_weight": bad}
    loads = [oracles.load(Gumbel(1500.0, 300.0))]
    scenario = oracles.plain(spreads, loads, rods=2, rods_per_batch=2)
    sample = weighted_sample(scenario, 11, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_the_tube_breaks_by_its_section_and_strength(oracles):
    """Strength times pi (R2 - r2); both ends share the one tube, so no weakest of two."""
    law = oracles.lognormal(100.0 * oracles.TUBE_AREA, 0.1)
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2))
    exact = oracles.fail_chance(*oracles.on_grid(law.cdf, 500.0, 30_000.0), kept)
    scenario = oracles.plain(
        {"tube.tension_strength": Lognormal(100.0, 10.0)}, [oracles.load(Gumbel(3000.0, 600.0))]
    )
    sample = weighted_sample(scenario, 12, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact, within=5.0)


def test_heat_takes_strength_off_by_the_table_of_the_adhesive(oracles):
    """Hottest normal about 45 degC; strength as the scenario's points say, straight between."""
    points = oracles.plain().strength_by_temperature
    kept = oracles.log_kept_yearly(oracles.gumbel(2900.0, 0.15))
    z = np.linspace(-7.0, 7.0, 20_001)
    hot = np.minimum(45.0 + 3.0 * z, 64.99)
    force = oracles.BOND * np.interp(hot, *zip(*points, strict=True))
    share = np.exp(-0.5 * z * z)
    exact = oracles.fail_chance(force, share / share.sum(), kept)
    scenario = oracles.plain(
        {"service.hottest": Normal(45.0, 3.0)}, [oracles.load(Gumbel(2900.0, 435.0))]
    )
    sample = weighted_sample(scenario, 13, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_with_nothing_random_but_the_load_the_answer_is_exact(oracles):
    load = oracles.gumbel(3500.0, 0.25)
    scenario = oracles.plain({}, [oracles.load(Gumbel(3500.0, 875.0))])
    found, error = oracles.chance_of(weighted_sample(scenario, 0))
    assert found == pytest.approx(-math.expm1(4.0 * load.logcdf(oracles.BOND)), rel=1e-9)
    assert error < 1e-9 * found


def test_a_load_bounded_below_every_strength_never_fails(oracles):
    scenario = oracles.plain({}, [oracles.load(Uniform(100.0, 0.9 * oracles.BOND))])
    sample = weighted_sample(scenario, 0)
    assert sample.fails.max() == 0.0
    assert sample.converged


def test_the_wall_shears_by_its_own_strength_and_only_then_matters(oracles):
    """Wall strength of 6 MPa a rod over the same circle and overlap, beside a bond of 10 MPa."""
    loads = [oracles.load(Gumbel(2600.0, 520.0))]
    assert not weighted_sample(oracles.plain(GLUE, loads), 1).wall_matters
    kept = oracles.log_kept_yearly(oracles.gumbel(2600.0, 0.2))
    for strength, matters in ((6.0, True), (15.0, False)):
        base = oracles.plain(
            {}, loads, tube_is_composite=True, wall_strength_by_temperature=((23.0, 1.0),)
        )
        extra = {
            "tube.interlaminar_strength": Lognormal(strength, 0.1 * strength),
            "tube.interlaminar_toughness": Fixed(1000.0),
        }
        modulus = base.variables["tube.modulus"]
        variables = dict(base.variables) | {
            key: replace(modulus, key=key, spread=spread) for key, spread in extra.items()
        }
        sample = weighted_sample(replace(base, variables=variables), 1, target_cov=SHARP)
        wall = oracles.lognormal(strength / 10.0 * oracles.BOND, 0.1)
        grid = oracles.on_grid(wall.cdf, 1000.0, 60_000.0)
        exact = oracles.fail_chance(np.minimum(grid[0], oracles.BOND), grid[1], kept)
        assert oracles.agrees(*oracles.chance_of(sample), exact)
        assert sample.wall_matters is matters


@pytest.mark.parametrize("life", [0.5, 1.0, 10.0])
def test_a_longer_life_fails_by_the_power_of_its_years(oracles, life):
    kept = oracles.log_kept_yearly(oracles.gumbel(3000.0, 0.2), life)
    exact = oracles.fail_chance(*rod_grid(oracles), kept)
    scenario = oracles.plain(GLUE, [oracles.load(Gumbel(3000.0, 600.0))], life=life)
    sample = weighted_sample(scenario, 1, target_cov=SHARP)
    assert oracles.agrees(*oracles.chance_of(sample), exact)


@pytest.mark.parametrize("rho", [-0.6, 0.6])
def test_correlated_factors_widen_or_narrow_what_decides(oracles, rho):
    """Strength over load of two lognormal factors: normal logs, exact correlation of logs."""
    s1, s2 = (math.sqrt(math.log1p(cov**2)) for cov in (0.2, 0.15))
    of_logs = math.log1p(rho * 0.2 * 0.15) / (s1 * s2)
    spread = math.sqrt(s1**2 + s2**2 - 2.0 * of_logs * s1 * s2)
    middle = oracles.BOND * math.exp(-0.5 * s1**2 + 0.5 * s2**2)
    law = stats.lognorm(spread, scale=middle)
    kept = oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2))
    exact = oracles.fail_chance(*oracles.on_grid(law.cdf, 50.0, 200_000.0), kept)
    pair = ("model.bond_factor", "model.load_factor")
    spreads = dict(zip(pair, (Lognormal(1.0, 0.2), Lognormal(1.0, 0.15)), strict=True))
    loads = [oracles.load(Gumbel(2800.0, 560.0))]
    sample = weighted_sample(
        oracles.plain(spreads, loads, correlations={pair: rho}), 14, target_cov=SHARP
    )
    assert oracles.agrees(*oracles.chance_of(sample), exact)


def test_a_strut_fails_at_eulers_load_of_its_own_stiffness(oracles):
    """Straight and centred, of endless crushing strength: pi2 E I / L2, E lognormal a rod."""
    inertia = math.pi / 4.0 * (8.0**4 - 6.6**4)
    law = oracles.lognormal(math.pi**2 * 70_000.0 * inertia / 700.0**2, 0.1)
    kept = oracles.log_kept_yearly(oracles.gumbel(900.0, 0.2))
    exact = oracles.fail_chance(*oracles.on_grid(law.cdf, 100.0, 20_000.0), kept)
    spreads = {"tube.modulus": Lognormal(70_000.0, 7000.0), "rods.length": 700.0}
    push = oracles.load(Gumbel(900.0, 180.0), direction="push")
    sample = weighted_sample(oracles.plain(spreads, [push]), 15, target_cov=SHARP)
    assert sample.rods.scenario.end_fixity == 1.0
    assert oracles.agrees(*oracles.chance_of(sample), exact, within=5.0)


def test_a_bond_holds_a_push_as_it_holds_a_pull(oracles):
    kept = oracles.log_kept_yearly(oracles.gumbel(2800.0, 0.2))
    exact = oracles.fail_chance(*rod_grid(oracles), kept)
    for direction in ("push", "both"):
        load = oracles.load(Gumbel(2800.0, 560.0), direction=direction)
        sample = weighted_sample(oracles.plain(GLUE, [load]), 16, target_cov=SHARP)
        assert oracles.agrees(*oracles.chance_of(sample), exact)
        assert np.array_equal(sample.outcome.push, sample.outcome.pull)
