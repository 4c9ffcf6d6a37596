"""Several options on the same draws: quadrature, samples of their own, and what is matched."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

import jointrisk
from jointrisk.errors import InputError
from jointrisk.model import rod_set
from jointrisk.scenario.moved import moved, place_of
from jointrisk.spread import Gumbel, Lognormal, Normal
from jointrisk.study.common import column_names, common_draws
from jointrisk.study.sample import weighted_sample

GLUE = {"adhesive.shear_strength": Lognormal(10.0, 1.0)}


def terms(sample):
    return sample.weight * sample.fails


def test_each_option_has_its_own_exact_probability(oracles):
    """Two glues, two loads, one of them for three rods: quadrature for each."""
    made, exact = [], []
    for strength, mean, rods in ((10.0, 3000.0, 1), (9.0, 3000.0, 1), (10.0, 2500.0, 3)):
        spreads = {"adhesive.shear_strength": Lognormal(strength, 0.1 * strength)}
        loads = [oracles.load(Gumbel(mean, 0.2 * mean))]
        made.append(oracles.plain(spreads, loads, rods=rods))
        law = oracles.lognormal(oracles.BOND * strength / 10.0, 0.1)
        values, chance = oracles.on_grid(oracles.weakest(law.cdf, 2 * rods), 500.0, 40_000.0)
        kept = oracles.log_kept_yearly(oracles.gumbel(mean, 0.2))
        exact.append(oracles.fail_chance(values, chance, kept))
    _, samples = common_draws(made, 1, with_rig=False)
    for sample, wanted in zip(samples, exact, strict=True):
        assert oracles.agrees(*oracles.chance_of(sample), wanted)


def test_weak_joints_of_different_chance_share_the_labels(oracles):
    """Weights carry the chance of each option; the drawn labels are common."""
    loads = [oracles.load(Gumbel(2000.0, 400.0))]
    made = [oracles.plain(GLUE | {"weak_bonds.lone_weight": p}, loads) for p in (0.002, 0.05, 0.0)]
    _, samples = common_draws(made, 2, with_rig=False)
    law = oracles.lognormal(oracles.BOND, 0.1)
    kept = oracles.log_kept_yearly(oracles.gumbel(2000.0, 0.2))
    for sample, weak in zip(samples, (0.002, 0.05, 0.0), strict=True):
        cdf = oracles.weakest(oracles.mixed(law.cdf, weak, 0.3), 2)
        values, chance = oracles.on_grid(cdf, 200.0, 40_000.0)
        exact = oracles.fail_chance(values, chance, kept)
        assert oracles.agrees(*oracles.chance_of(sample), exact, closest=0.08)
        share, error = oracles.mean_and_error(sample.weight * sample.outcome.weak_rod[0])
        assert abs(share - (1 - (1 - weak) ** 2)) <= 4 * error
    assert not samples[2].outcome.weak_rod[:, samples[2].weight > 0.0].any()


@pytest.fixture
def sleeve(make):
    """Return the small scenario as one with sleeves over the tube."""

    def build(**words):
        made = make(**words)
        text = (
            'schema = 1\n[life]\nduration = "3 years"\n[rods]\nlength = "300 mm"\n[tube]\n'
            'material = "carbon tube, roll-wrapped"\nbore = "13 mm"\n'
            'outer_diameter = { mean = "16 mm", sd = "0.03 mm" }\n[sleeve]\n'
            'material = "aluminium 6082-T6"\nouter_diameter = "20 mm"\n'
            'bore = { mean = "16.3 mm", sd = "0.03 mm" }\noverlap = { mean = "18 mm", '
            'sd = "0.5 mm" }\n[adhesive]\nclass = "two-part toughened epoxy"\n'
            'evidence = "own coupons"\nshear_strength = { mean = "20 MPa", cov = 0.1 }\n'
            "[service]\nhumidity = 0.4\n[weak_bonds]\nlone_weight = 0.02\n"
        )
        return replace(jointrisk.load_text(text), loads=made.loads)

    return build


def test_unlike_rods_agree_with_samples_of_their_own(make, sleeve):
    """Plug and sleeve, one rod and three, weak bonds seldom and often, another glue's spread."""
    made = [
        make(),
        sleeve(),
        make(rods=3, batch=2),
        make(lone="0.002"),
        make(lone="{ p05 = 0.005, p95 = 0.08 }", evidence="class default"),
    ]
    common, samples = common_draws(made, 3, with_rig=False)
    assert common.converged
    assert samples[0].weight.size <= 2**14  # joints beyond those of a smaller set are searched too
    for scenario, sample in zip(made, samples, strict=True):
        alone = terms(weighted_sample(scenario, 4))
        together = terms(sample)
        error = math.hypot(
            alone.std() / math.sqrt(alone.size), together.std() / math.sqrt(together.size)
        )
        assert error < 0.1 * alone.mean()
        assert abs(together.mean() - alone.mean()) < 4 * error
        weights = sample.weight
        assert abs(weights.mean() - 1.0) < 4 * weights.std() / math.sqrt(weights.size) + 1e-12


def test_the_same_option_twice_is_the_same_rows(make):
    scenario = make()
    _, (one, other) = common_draws([scenario, scenario], 5)
    assert np.array_equal(one.draws.u, other.draws.u)
    assert np.array_equal(terms(one), terms(other))


def test_what_is_common_is_drawn_once(make):
    """An option with a longer overlap: every score is that of the other option, row by row."""
    scenario = make()
    longer = moved(scenario, "plug.overlap", 1.05 * place_of(scenario, "plug.overlap"))
    _, (one, other) = common_draws([scenario, longer], 6, with_rig=False)
    assert np.array_equal(one.draws.u, other.draws.u)
    assert np.array_equal(one.weight, other.weight)
    change = terms(other) - terms(one)
    apart = np.hypot(terms(one).std(), terms(other).std())
    assert change.std() < 0.35 * apart
    assert change.mean() < 0.0


def test_columns_are_named_by_what_they_stand_for(make):
    plain = rod_set(make(rods=2))
    names = column_names(plain)
    assert len(names) == len(set(names)) == plain.layout.dimension
    assert [n for n in names if n[0] == "plug.overlap"] == [
        ("plug.overlap", "joint", joint) for joint in range(4)
    ]
    more = '[second_plug]\noverlap = { mean = "24 mm", sd = "0.5 mm" }'
    both = column_names(rod_set(make(rods=2, more=more)))
    assert set(both) == set(names)


def test_draws_serve_a_scenario_they_were_not_made_for(make):
    scenario = make()
    common, (one,) = common_draws([scenario], 7, with_rig=False)
    longer = moved(scenario, "plug.overlap", 22.0)
    found = common.sample(longer, with_rig=False)
    assert np.array_equal(found.draws.u, one.draws.u)
    assert terms(found).mean() < terms(one).mean()
    again = common.sample(scenario, with_rig=False)
    assert np.array_equal(terms(again), terms(one))


def test_a_variable_that_was_not_drawn_is_named(make):
    common, _ = common_draws([make()], 7, with_rig=False)
    other = make(more='[rod_end]\nstatic_rating = "9 kN"\n')
    with pytest.raises(InputError, match=r"rod_end\.strength_ratio is not among"):
        common.sample(other)


def test_threads_change_no_byte(make):
    made = [make(), make(lone="0.05")]
    _, alone = common_draws(made, 8)
    with ThreadPoolExecutor(2) as pool:
        _, shared = common_draws(made, 8, pool)
    for one, other in zip(alone, shared, strict=True):
        assert terms(one).tobytes() == terms(other).tobytes()
        assert one.outcome.rig_pull.tobytes() == other.outcome.rig_pull.tobytes()


def test_seeds_differ_and_nought_is_one(make):
    found = [terms(common_draws([make()], seed, with_rig=False)[1][0]).mean() for seed in (0, 1)]
    assert found[0] != found[1]


def test_draws_stop_at_the_wanted_error_or_at_the_limit(oracles):
    made = [oracles.plain(GLUE, [oracles.load(Normal(3000.0, 600.0))])]
    common, (sample,) = common_draws(made, 9, with_rig=False, target_cov=0.02)
    assert common.converged
    assert sample.cov <= 0.02
    short, (few,) = common_draws(made, 9, with_rig=False, target_cov=1e-4, most_joints=2**14)
    assert not short.converged
    assert few.cov > 1e-4
