"""Options at the same states of what is not known: laws in closed form, ties, noise."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from jointrisk.spread import Gumbel, Lognormal
from jointrisk.study.band import STATES, band
from jointrisk.study.common import common_draws
from jointrisk.study.compare_states import States, better, states_of

MODEL = {"model.bond_factor": Lognormal(1.0, 0.15)}


def options(oracles, *spreads, **facts):
    loads = [oracles.load(Gumbel(3000.0, 600.0))]
    return [oracles.plain(given, loads, **facts) for given in spreads]


def unknown(scenario, *keys):
    """Return a scenario in which the quantities are not known, one for all joints."""
    changed = {key: replace(scenario.variables[key], kind="not known", scope="all") for key in keys}
    return replace(scenario, variables={**scenario.variables, **changed})


def states(scenarios, seed=1):
    common, samples = common_draws(scenarios, seed, with_rig=False)
    return states_of(common, samples), samples


def test_one_unknown_that_all_share_settles_the_question(oracles):
    """A weaker glue is the worse one whatever the model factor is."""
    glues = ({"adhesive.shear_strength": s} for s in (10.0, 9.9))
    found, _ = states(options(oracles, *(MODEL | glue for glue in glues)))
    assert better(found, 0, 1).estimate == 1.0
    assert better(found, 1, 0).estimate == 0.0
    assert better(found, 0, 1).low > 0.98


def test_band_of_each_is_that_of_the_factor(oracles):
    """As for one option alone: each state has its share of the law of the factor."""
    strengths = (10.0, 8.0)
    found, _ = states(
        options(oracles, *(MODEL | {"adhesive.shear_strength": s} for s in strengths))
    )
    law = oracles.gumbel(3000.0, 0.2)
    for strength, own in zip(strengths, found.bands, strict=True):
        for level in (0.05, 0.5, 0.95):
            held = oracles.lognormal(1.0, 0.15).isf(level) * oracles.BOND * strength / 10.0
            exact = -math.expm1(4.0 * law.logcdf(held))
            assert np.quantile(own.life, level) == pytest.approx(exact, rel=0.15)


@pytest.mark.parametrize(("first", "second"), [(10.0, 10.0), (10.0, 11.0), (10.0, 8.5)])
def test_two_glues_of_which_different_things_are_known_are_drawn_apart(oracles, first, second):
    """The chance that one lognormal strength is above another that is independent of it."""
    key = "adhesive.shear_strength"
    laws = (Lognormal(first, 0.1 * first), Lognormal(second, 0.15 * second))
    made = [unknown(s, key) for s in options(oracles, *({key: law} for law in laws))]
    found, _ = states(made)
    sds = [math.sqrt(math.log1p(cov**2)) for cov in (0.1, 0.15)]
    medians = [m / math.sqrt(1 + cov**2) for m, cov in ((first, 0.1), (second, 0.15))]
    exact = stats.norm.cdf(math.log(medians[0] / medians[1]) / math.hypot(*sds))
    share = better(found, 0, 1)
    # at most the error of so many independent states, 4 of them
    assert abs(share.estimate - exact) < 4 * math.sqrt(exact * (1 - exact) / STATES)
    assert share.low < exact < share.high


def test_the_same_knowledge_of_one_thing_is_one_draw(oracles):
    key = "adhesive.shear_strength"
    made = options(oracles, *({key: Lognormal(10.0, 1.0), "plug.overlap": x} for x in (20.0, 20.5)))
    found, _ = states([unknown(s, key) for s in made])
    assert better(found, 1, 0).estimate == 1.0


def test_shares_of_a_pair_sum_to_all(oracles):
    keys = ("adhesive.shear_strength",)
    made = options(oracles, *({keys[0]: Lognormal(m, 0.2 * m)} for m in (10.0, 10.4)))
    found, _ = states([unknown(s, *keys) for s in made])
    one, other = better(found, 0, 1), better(found, 1, 0)
    assert one.estimate + other.estimate == pytest.approx(1.0)
    assert one.low + other.high == pytest.approx(1.0)
    assert one.low <= one.estimate <= one.high


def test_alike_in_every_draw_is_a_tie(oracles):
    found, _ = states(options(oracles, MODEL, MODEL))
    assert better(found, 0, 1).estimate == better(found, 0, 1).low == 0.5


def test_nothing_unknown_has_no_states(oracles):
    found, _ = states(options(oracles, {}, {"adhesive.shear_strength": 9.0}))
    assert found is None


def test_an_option_that_knows_all_has_no_band(oracles):
    found, _ = states(options(oracles, MODEL, {"adhesive.shear_strength": 4.0}))
    assert found.bands[1].life.size == 0
    assert found.bands[0].life.size == STATES
    assert better(found, 0, 1).estimate == 1.0


def test_bands_agree_with_those_of_an_option_alone(make):
    made = [make(), make(rods=3, batch=2), make(lone="{ p05 = 0.005, p95 = 0.08 }")]
    found, samples = states(made, 3)
    for sample, own in zip(samples, found.bands, strict=True):
        alone = band(sample, 3).life
        assert np.log(np.median(own.life) / np.median(alone)) == pytest.approx(0.0, abs=0.25)
        assert np.log(own.life).std() == pytest.approx(np.log(alone).std(), rel=0.2)


def noisy(first, second, noise, seed):
    """Return states made by hand: chances at each, and the noise of 64 draws."""
    rng = np.random.default_rng(seed)
    state = np.tile(np.arange(STATES), 64)
    terms = [c[state] * rng.gamma(noise**-2, noise**2, state.size) for c in (first, second)]
    return States((), tuple(terms), state, ())


def test_noise_alone_makes_no_winner(oracles):
    """Alike at every state but for noise: the interval holds a half, nearly always."""
    chance = np.geomspace(1e-5, 1e-2, STATES)
    held = [better(noisy(chance, chance, 1.0, seed), 0, 1) for seed in range(100)]
    assert sum(share.low <= 0.5 <= share.high for share in held) >= 90


def test_noise_does_not_hide_a_difference_at_every_state(oracles):
    """A twentieth lower everywhere, noise of a fifth: counting the states would say 60 %."""
    chance = np.geomspace(1e-5, 1e-2, STATES)
    made = noisy(0.95 * chance, chance, 1.0, 1)
    raw = np.bincount(made.state, made.terms[0]) < np.bincount(made.state, made.terms[1])
    assert 0.5 < raw.mean() < 0.75
    found = better(made, 0, 1)
    assert found.high > 0.99
    assert found.estimate > raw.mean() + 0.1


def test_states_at_which_neither_fails_count_half():
    state = np.tile(np.arange(STATES), 2)
    none = np.zeros(STATES * 2)
    some = np.where(state < STATES // 4, 0.1, 0.0)
    share = better(States((), (none, some), state, ()), 0, 1)
    assert share.estimate == pytest.approx(0.25 + 0.5 * 0.75)
