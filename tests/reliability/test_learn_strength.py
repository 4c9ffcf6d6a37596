"""What must hold whatever the pulls: order, direction, scale; and what is refused."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import spread
from jointrisk.errors import InputError
from jointrisk.reliability import Learned, estimate, learn_strength
from jointrisk.reliability.pull_likelihood import condensed, log_held

PRIOR = spread.Normal(7.0, 0.3)
Q = np.array([0.001, 0.05, 0.5, 0.95, 0.999])


def learn(**change) -> Learned:
    return learn_strength(**({"location": PRIOR, "within_sd": 0.15} | change))


loads = st.floats(300.0, 4000.0)
few = st.lists(loads, max_size=4)
settings_ = st.fixed_dictionaries(
    {
        "family": st.just("lognormal"),
        "within_sd": st.floats(0.03, 0.5),
        "joints_per_pull": st.integers(1, 4),
        "rig_error_cov": st.sampled_from([0.0, 0.02]),
        "survived_at": few,
        "failed_at": few,
        "failed_below": few,
    }
)


@settings(max_examples=6, deadline=None)
@given(settings_, loads)
def test_a_pull_that_held_never_lowers_and_a_break_below_never_raises(told, load):
    before = learn(**told).location_quantile(Q)
    held = learn(**told | {"survived_at": [*told["survived_at"], load]}).location_quantile(Q)
    broke = learn(**told | {"failed_below": [*told["failed_below"], load]}).location_quantile(Q)
    assert np.all(held >= before - 1e-8)
    assert np.all(broke <= before + 1e-8)


@settings(max_examples=6, deadline=None)
@given(settings_, loads, st.floats(1.01, 3.0))
def test_a_break_at_a_higher_load_speaks_for_a_higher_location(told, load, factor):
    low = learn(**told | {"failed_at": [*told["failed_at"], load]})
    high = learn(**told | {"failed_at": [*told["failed_at"], load * factor]})
    assert np.all(high.location_quantile(Q) >= low.location_quantile(Q) - 1e-8)


@settings(max_examples=6, deadline=None)
@given(settings_, st.floats(0.05, 30.0))
def test_another_unit_of_force_only_moves_the_log(told, factor):
    names = ("survived_at", "failed_at", "failed_below")
    scaled = told | {name: [load * factor for load in told[name]] for name in names}
    shift = np.log(factor)
    one = learn(**told)
    other = learn(**scaled, location=spread.Normal(7.0 + shift, 0.3))
    assert other.location_mean == pytest.approx(one.location_mean + shift, abs=1e-8)
    assert other.location_sd == pytest.approx(one.location_sd, rel=1e-7)
    for q in (1e-9, 0.5):
        assert other.predictive.ppf(q) == pytest.approx(factor * one.predictive.ppf(q), rel=1e-7)


def test_a_normal_batch_scales_as_well():
    told = {"survived_at": [900.0, 950.0], "failed_at": [800.0], "rig_error_cov": 0.05}
    told |= {"family": "normal", "joints_per_pull": 2}
    one = learn(**told, location=spread.Normal(1000, 200), within_sd=90.0)
    scaled = told | {name: [2.5 * x for x in told[name]] for name in ("survived_at", "failed_at")}
    other = learn(**scaled, location=spread.Normal(2500, 500), within_sd=225.0)
    assert other.location_mean == pytest.approx(2.5 * one.location_mean, rel=1e-9)
    assert other.location_sd == pytest.approx(2.5 * one.location_sd, rel=1e-9)


@settings(max_examples=6, deadline=None)
@given(settings_, st.randoms(use_true_random=False))
def test_the_order_of_the_pulls_is_irrelevant(told, random):
    mixed = {n: random.sample(v, len(v)) if isinstance(v, list) else v for n, v in told.items()}
    one, other = learn(**told), learn(**mixed)
    assert (one.location_mean, one.location_sd) == (other.location_mean, other.location_sd)
    assert one.predictive.ppf(0.01) == other.predictive.ppf(0.01)


@settings(max_examples=6, deadline=None)
@given(settings_)
def test_the_answer_is_always_a_number_and_a_spread(told):
    found = learn(**told)
    numbers = [found.location_mean, found.location_sd, found.log_evidence, found.surprise]
    assert np.all(np.isfinite([*numbers, found.predictive.mean, found.predictive.sd]))
    assert np.all(np.diff(found.location_quantile(Q)) > 0)
    u = np.linspace(-37, 37, 149)
    x = found.predictive.from_normal(u)
    assert np.all(np.diff(x) > 0)
    np.testing.assert_allclose(found.predictive.to_normal(x), u, atol=1e-9)


def test_two_joints_of_which_the_weaker_breaks_speak_for_stronger_joints():
    """A rod of two that held 900 N says more than one joint that did; so does its break."""
    for kind in ("survived_at", "failed_at"):
        means = [learn(**{kind: [900.0]}, joints_per_pull=k).location_mean for k in (1, 2, 5)]
        assert means[0] < means[1] < means[2]
    below = [learn(failed_below=[900.0], joints_per_pull=k).location_mean for k in (1, 2, 5)]
    assert below[0] < below[1] < below[2] < 7.0


def test_two_joints_that_held_are_two_pulls_of_one():
    pair = learn(survived_at=[900.0] * 3, joints_per_pull=2)
    single = learn(survived_at=[900.0] * 6)
    assert pair.location_mean == pytest.approx(single.location_mean, rel=1e-12)


def test_more_pulls_narrow_on_average():
    rng = np.random.default_rng(2)
    widths = []
    for pulls in (2, 8, 32):
        drawn = [np.exp(rng.normal(7.0, 0.15, pulls)) for _ in range(20)]
        widths.append(np.mean([learn(failed_at=x, joints_per_pull=2).location_sd for x in drawn]))
    assert widths[0] > 1.5 * widths[1] > 2.2 * widths[2]


def test_without_pulls_it_is_what_was_believed_before():
    found = learn()
    assert (found.location_mean, found.location_sd, found.pulls) == (7.0, 0.3, 0)
    np.testing.assert_allclose(found.location_quantile(Q), PRIOR.ppf(Q), rtol=1e-10)
    assert found.log_evidence == pytest.approx(0.0, abs=1e-10)
    assert found.notes == ()


def test_a_pull_of_next_to_nothing_teaches_next_to_nothing():
    found = learn(survived_at=[1.0] * 50, joints_per_pull=2, rig_error_cov=0.05)
    assert found.location_mean == pytest.approx(7.0, abs=1e-10)
    assert found.location_sd == pytest.approx(0.3, rel=1e-9)


def test_gauge_error_makes_a_pull_tell_less():
    sharp, blurred = (learn(failed_at=[700.0] * 3, rig_error_cov=c) for c in (0.0, 0.2))
    assert sharp.location_sd < blurred.location_sd < 0.3
    assert sharp.location_mean < blurred.location_mean < 7.0


@pytest.mark.parametrize("error", [0.0, 0.06])
@pytest.mark.parametrize("family", ["lognormal", "normal"])
def test_many_loads_are_condensed_without_loss(family, error):
    """Sums over all loads, one by one, against what is learned from them at once."""
    rng = np.random.default_rng(8)
    drawn = rng.normal(1000, 130, 150 if error == 0.0 else 50)
    location, width = (PRIOR, 0.15) if family == "lognormal" else (spread.Normal(1000, 300), 150.0)
    found = learn(
        family=family, location=location, within_sd=width, failed_below=drawn,
        joints_per_pull=2, rig_error_cov=error,
    )  # fmt: skip
    m = np.linspace(*found.location_quantile([1e-9, 1 - 1e-9]), 151)
    log = location.logpdf(m)
    for load in drawn:
        if family == "lognormal":
            log += log_held("failed_below", (np.log(load) - m) / width, error / width, 2, error)
        else:
            t = error * load / width
            log += log_held("failed_below", (load - m) / width, t, 2, 0.0, error)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    assert found.location_mean == pytest.approx(weight @ m, rel=1e-8)


def test_condensed_points_keep_every_smooth_sum():
    x = np.sort(np.random.default_rng(0).uniform(0.0, 3.0, 500))
    at, weights = condensed(x, np.ones(500), 0.5)
    assert at.size < 120
    assert weights.sum() == pytest.approx(500.0)
    assert weights @ np.exp(-at) == pytest.approx(np.exp(-x).sum(), rel=1e-13)


PRIORS = {
    "uniform": spread.Uniform(6.5, 7.5),
    "triangular": spread.Triangular(6.5, 7.0, 7.2),
    "truncated": spread.Truncated(PRIOR, 6.6, np.inf),
    "gumbel": spread.Gumbel(7.0, 0.2),
    "student": spread.StudentT(7.0, 0.1, 3),
    "two batches": spread.Mixture([(0.9, PRIOR), (0.1, spread.Normal(5.0, 0.1))]),
    "list": spread.Empirical([6.5, 7.0, 7.0, 7.4]),
    "known or not": spread.Mixture([(0.5, PRIOR), (0.5, spread.Fixed(6.9))]),
}


@pytest.mark.parametrize("prior", PRIORS.values(), ids=PRIORS.keys())
def test_any_spread_may_be_the_prior(prior):
    """Against weights on 200,000 quantiles of the prior."""
    p = (np.arange(200_000) + 0.5) / 200_000
    m = prior.ppf(p)
    log = 4 * log_held("survived_at", (np.log(950.0) - m) / 0.15, 0.0, 2)
    log += log_held("failed_at", (np.log(800.0) - m) / 0.15, 0.0, 2)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    found = learn(location=prior, survived_at=[950.0] * 4, failed_at=[800.0], joints_per_pull=2)
    assert found.location_mean == pytest.approx(weight @ m, rel=1e-5)
    median = found.location_quantile(0.5)
    assert weight[m <= median + 1e-9].sum() >= 0.5 - 1e-4
    assert weight[m < median - 1e-9].sum() <= 0.5 + 1e-4
    assert found.location_quantile(0.0) == prior.ppf(0.0)
    assert found.location_quantile(1.0) == prior.ppf(1.0)


def test_a_location_between_two_believed_in_is_found():
    """Two narrow beliefs far apart, and data between: the nearer tail of each is weighed."""
    prior = spread.Mixture([(0.5, spread.Normal(6.0, 0.05)), (0.5, spread.Normal(8.0, 0.05))])
    found = learn(location=prior, failed_at=[np.exp(6.8)] * 200)
    precision = 1 / 0.05**2 + 200 / 0.15**2
    nearer = (6.0 / 0.05**2 + 200 * 6.8 / 0.15**2) / precision
    assert found.location_mean == pytest.approx(nearer, rel=1e-9)


def test_a_known_location_stays_and_the_pulls_are_told_to_be_odd():
    found = learn(location=spread.Fixed(7.0), survived_at=[3000.0] * 5)
    assert (found.location_mean, found.location_sd) == (7.0, 0.0)
    assert found.predictive.cdf(np.exp(7.0)) == pytest.approx(0.5)
    assert "a pull that held 3000 N" in " ".join(found.notes)


def test_a_bound_of_the_prior_holds_and_is_told():
    found = learn(location=spread.Uniform(6.5, 7.0), survived_at=[3000.0] * 50)
    assert 6.99 < found.location_mean < 7.0
    assert "contradict" in found.notes[0]
    assert "higher than the prior" in found.notes[0]


def test_readings_that_scatter_more_than_the_batch_are_told():
    found = learn(failed_at=[400.0, 1000.0, 2500.0])
    told = " ".join(found.notes)
    assert "a pull that broke at 2500 N" in told
    assert "a pull that broke at 400 N" in told
    assert learn(failed_at=[950.0, 1000.0, 1100.0]).notes == ()


def test_the_predictive_goes_where_any_spread_goes():
    found = learn(survived_at=[900.0] * 5, joints_per_pull=2)
    variables = {"r": found.predictive, "d": spread.Gumbel(300, 60)}
    answer = estimate(lambda x: x["r"] - x["d"], variables, seed=0)
    assert answer.interval[0] < answer.probability < answer.interval[1]
    again = pickle.loads(pickle.dumps(found.predictive))  # noqa: S301 - our own bytes
    assert again.ppf(0.001) == found.predictive.ppf(0.001)
    assert again.sample(4, rng=0) == pytest.approx(found.predictive.sample(4, rng=0))
    assert spread.Truncated(found.predictive, 500.0).mean > found.predictive.mean
    assert "learned strength, median" in str(found.predictive)


def test_moments_that_are_infinite_say_so():
    """A log-median with an exponential upper tail of mean 1.2 has no mean strength."""
    found = learn(location=spread.Exponential(6.2, 5.0), survived_at=[1000.0])
    assert found.predictive.mean == np.inf
    assert found.predictive.sd == np.inf
    assert np.isfinite(found.predictive.ppf(0.5))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"family": "lognorml"},
            r"'lognormal', 'normal', got 'lognorml'; did you mean 'lognormal'",
        ),
        ({"family": "weibull"}, "got 'weibull'$"),
        ({"location": 7.0}, r"location must be a spread, got 7.0 .*spread.Fixed"),
        ({"location": spread.Normal(1000, 100)}, "log of the median .* mean 1000"),
        ({"location": spread.StudentT(7, 0.1, 2)}, "finite standard deviation.* with inf"),
        ({"within_sd": 0.0}, "within_sd must be a finite number above 0, got 0.0"),
        ({"within_sd": "0.1"}, "within_sd .*got '0.1'"),
        ({"within_sd": np.nan}, "within_sd .*got nan"),
        ({"within_sd": 1e-9}, "reaches too far: .*32768 times within_sd = 1e-09"),
        ({"survived_at": [900, -1, np.nan]}, "survived_at .* got -1 at place 2, nan at place 3"),
        ({"failed_at": 900.0}, "failed_at must be a list of loads in N, got 900.0"),
        ({"failed_below": "900"}, "failed_below must be a list of loads in N, got '900'"),
        ({"failed_below": [True]}, "failed_below must be a list"),
        ({"survived_at": [0.0] * 8}, "0 at place 1, .* and 3 more"),
        ({"joints_per_pull": 0}, "joints_per_pull .* from 1 to 1000, got 0"),
        ({"joints_per_pull": 1.5}, "joints_per_pull .*got 1.5"),
        ({"rig_error_cov": 0.5}, "rig_error_cov .*from 0 to 0.3, got 0.5"),
        ({"rig_error_cov": -0.1}, "rig_error_cov .*got -0.1"),
    ],
)
def test_what_is_refused_is_told_by_name_and_value(change, words):
    with pytest.raises(InputError, match=words):
        learn(**change)


def test_pulls_further_out_than_can_be_reckoned_are_refused():
    with pytest.raises(InputError, match=r"more than 37.5 standard scores out .*Gumbel"):
        learn(location=spread.Gumbel(7.0, 0.05), within_sd=0.05, failed_below=[10.0] * 500)


@pytest.mark.parametrize("q", [-0.1, 1.1, np.nan, "half"])
def test_a_quantile_of_no_chance_is_refused(q):
    with pytest.raises(InputError, match="q must"):
        learn().location_quantile(q)
