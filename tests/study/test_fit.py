"""The study `fit`: what it says, what it leaves unsaid, and what it gives a scenario to read."""

import json
import math
import tomllib

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

import jointrisk
from jointrisk import scenario
from jointrisk.errors import ScenarioError
from jointrisk.study.fit_results import CouponFit

SIX = [18.2, 19.5, 17.1, 20.3, 18.8, 16.9]
BATCHED = [18.2, 19.5, 17.1, 20.3, 18.8, 16.9, 22.2, 25.0, 23.4, 14.0, 13.0, 13.3]
NAMES = list("aaabbbcccddd")


def of(values, **more):
    return jointrisk.fit(values, **{"unit": "MPa", **more})


# What it says ------------------------------------------------------------------------------------


def test_plain_numbers_of_a_set():
    found = of(SIX)
    assert (found.count, found.broke, found.held, found.unit) == (6, 6, 0, "MPa")
    assert found.mean == pytest.approx(np.mean(SIX))
    assert found.sd == pytest.approx(np.std(SIX, ddof=1))
    assert found.cov == pytest.approx(found.sd / found.mean)
    assert [entry.aic for entry in found.families] == sorted(e.aic for e in found.families)
    assert found.families[0].aic_above_best == 0.0


@pytest.mark.parametrize("n", [3, 6, 30])
def test_what_is_expected_is_lower_than_the_fit_and_most_so_for_few(n):
    x = np.exp(np.random.default_rng(n).normal(3.0, 0.1, n))
    for entry in of(list(x)).families:
        for tail in (entry.one_in_100, entry.one_in_1000):
            assert tail.predicted < tail.plain
            assert tail.low < tail.plain < tail.high
        assert entry.one_in_1000.predicted < entry.one_in_100.predicted
        b, a = (each.value for each in entry.basis)
        assert a < b


def test_more_coupons_narrow_it_and_start_from_what_is_there():
    found = of(SIX)
    counts, values = zip(*found.more, strict=True)
    assert counts == (6, 10, 15, 20, 30, 60)
    assert values[0] == pytest.approx(found.family("lognormal").one_in_100.predicted)
    assert list(values) == sorted(values)
    y = np.log(SIX)
    endless = math.exp(y.mean() + stats.norm.ppf(0.01) * y.std(ddof=1))
    assert values[-1] < endless


def test_a_held_one_makes_it_stronger_than_left_out_and_weaker_than_unbroken():
    out, held = of(SIX), of([*SIX, 21.0], held=[False] * 6 + [True])
    broke = of([*SIX, 21.0])
    medians = [e.family("lognormal").parameters["log_mean"] for e in (out, broke, held)]
    assert medians == sorted(medians)
    assert (held.mean, held.sd, held.more) == (None, None, ())
    assert held.outliers.critical is None
    assert [e.anderson_darling for e in held.families] == [None] * 3
    assert held.coupons[-1].rank is None


def test_significance_only_from_eight_values_on():
    assert all(e.significance is None for e in of(BATCHED[:7]).families)
    assert all(0.0 < e.significance < 1.0 for e in of(BATCHED[:8]).families)


# What it does not say ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "held", "why"),
    [
        ([14.0], None, "one"),
        ([14.0], [True], "one"),
        ([14.0, 15.0], None, "few"),
        ([14.0, 15.0, 16.0], [False, False, True], "few"),
        ([14.0, 15.0], [True, True], "few"),
        ([10.0, 10.0, 10.0], None, "equal"),
        ([10.0, 10.0, 10.0, 12.0], [False, False, False, True], "equal"),
    ],
)
def test_where_nothing_is_fitted(values, held, why):
    found = of(values, held=held)
    assert found.why_no_fit == why
    assert (found.families, found.curves, found.written, found.weak, found.more) == (
        *((), (), None, None),
        (),
    )
    json.dumps(found.to_dict(), allow_nan=False)


def test_a_far_one_is_named_and_never_taken_out():
    found = of([*SIX, 17.7, 6.2])
    (out,) = found.outliers.flagged
    assert (out.row, out.value, out.side) == (8, 6.2, "low")
    assert out.residual > out.critical
    assert found.outliers.mean_without == pytest.approx(np.mean([*SIX, 17.7]))
    assert found.mean == pytest.approx(np.mean([*SIX, 17.7, 6.2]))
    assert found.weak.rows == (8,)


def test_two_far_ones_are_found_one_after_the_other():
    crowd = list(20.0 + 0.1 * np.arange(12))
    found = of([*crowd, 4.0, 50.0])
    assert {(o.value, o.side) for o in found.outliers.flagged} == {(4.0, "low"), (50.0, "high")}


def test_too_many_are_refused():
    with pytest.raises(ScenarioError, match="got 5001; expected 5000 or fewer"):
        of([14.0] * 5001)


# Batches -----------------------------------------------------------------------------------------


def test_batches_that_differ_pull_down_what_is_expected():
    plain, found = of(BATCHED), of(BATCHED, batches=NAMES)
    assert plain.batches is None
    told = found.batches
    assert told.verdict == "apart"
    assert told.significance < 0.001
    assert told.between_low < told.between < told.between_high
    assert told.one_in_100 < plain.family("lognormal").one_in_100.predicted
    assert found.more == ()
    assert found.written.batch_cov > told.between
    assert [b.count for b in told.batches] == [3] * 4


def test_batches_alike_leave_the_default():
    found = of([18.2, 19.5, 17.1, 18.0, 20.1, 17.9, 18.3, 19.3, 16.2], batches=list("aaabbbccc"))
    assert (found.batches.verdict, found.batches.between) == ("not apart", 0.0)
    assert found.batches.between_high > 0.0
    even = of([18.2, 19.5, 17.1, 18.2, 19.5, 17.1, 18.2, 19.5, 17.1], batches=list("aaabbbccc"))
    assert even.batches.between_high is None
    assert found.written.batch_cov is None
    log = found.family("lognormal").one_in_100.predicted
    assert found.batches.one_in_100 == pytest.approx(log, rel=1e-6)


@pytest.mark.parametrize(
    ("names", "held", "verdict"),
    [(list("aaabbb"), None, "few"), (list("abcdef"), None, "few"),
     (list("aabbcc"), [True, *[False] * 5], "held")],
)  # fmt: skip
def test_batches_that_tell_nothing(names, held, verdict):
    found = of(SIX, batches=names, held=held)
    assert (found.batches.verdict, found.batches.between) == (verdict, None)


# What to write -----------------------------------------------------------------------------------


def pasted(lines):
    """A scenario to start from with the lines laid over it, as the sentence beside them says."""
    raw = scenario.new("plug-in-tube")
    own = tomllib.loads("\n".join(lines))
    start, rest = "\n".join(lines).split("\n\n", 1)
    text = raw.replace("[adhesive]\n", f"{start}\n", 1) + f"\n{rest}\n"
    return scenario.load_text(text), own


@pytest.mark.parametrize(
    ("values", "more"),
    [
        (SIX, {}),
        (SIX[:3], {}),
        ([*SIX, 21.0], {"held": [False] * 6 + [True]}),
        ([*SIX, 17.7, 6.2], {}),
        (BATCHED, {"batches": NAMES}),
    ],
)
def test_the_lines_are_read_by_a_scenario_and_meet_what_is_expected(values, more):
    """By plain draws: scatter, batch and doubt put 1 in 100 where it is expected of the next."""
    found = of(values, **more)
    told, own = pasted(found.written.lines)
    read = told.variables
    strength = read["adhesive.shear_strength"]
    assert (strength.kind, strength.scope, told.evidence) == ("scatter", "joint", "own coupons")
    assert strength.spread.ppf(0.5) == pytest.approx(found.written.median, rel=1e-3)
    assert strength.source.startswith(f"{found.broke} coupons")
    model = read["model.bond_factor"]
    assert model.kind == "not known"
    default = scenario.tables.default("model.bond_factor").value["cov"]
    assert model.spread.sd == pytest.approx(found.written.model_cov, abs=1e-3)
    doubt = (1 + model.spread.sd**2) / (1 + default**2) - 1
    assert doubt == pytest.approx(found.written.unknown_cov**2, abs=1e-3)
    rng = np.random.default_rng(0)
    drawn = strength.spread.sample(400_000, rng=rng)
    for cov in (
        found.written.unknown_cov,
        own.get("batch", {}).get("bond_factor", {}).get("cov", 0),
    ):
        drawn *= np.exp(math.sqrt(math.log1p(cov**2)) * rng.normal(size=drawn.size))
    wanted = found.family(found.written.shape).one_in_100.predicted
    if "batch" in own:
        wanted = found.batches.one_in_100
    assert np.quantile(drawn, 0.01) == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize(("n", "factor"), [(3, 2.994), (6, 1.446), (10, 1.213), (30, 1.058)])
def test_the_factor_is_that_of_students_t(n, factor):
    x = list(np.exp(np.random.default_rng(n).normal(3.0, 0.1, n)))
    wanted = stats.t.ppf(0.99, n - 1) / stats.norm.ppf(0.99)
    assert wanted == pytest.approx(factor, abs=1e-3)
    assert of(x).written.widened == pytest.approx(wanted, rel=1e-6)


def test_where_lognormal_is_far_worse_the_lines_are_weibull():
    share = (np.arange(60) + 0.5) / 60
    found = of(list(20.0 * (-np.log1p(-share)) ** (1 / 9)))
    assert found.family("lognormal").aic_above_best > found.far_better
    assert found.written.shape == "weibull"
    told, _ = pasted(found.written.lines)
    strength = told.variables["adhesive.shear_strength"].spread
    assert type(strength).__name__ == "Weibull"
    assert strength.ppf(0.01) == pytest.approx(
        found.family("weibull").one_in_100.predicted, rel=0.03
    )


def test_too_wide_a_scatter_is_not_written():
    found = of([1.0, 10.0, 300.0, 2.0])
    assert found.families
    assert found.written is None


def test_loads_give_no_lines():
    assert of([4.0, 4.2, 3.9], unit="kN").written is None


def test_a_name_with_quotes_stays_a_text(tmp_path):
    path = tmp_path / 'a "b" \\c.csv'
    path.write_text("strength [MPa]\n14\n15\n13.2\n")
    told, _ = pasted(jointrisk.fit(path).written.lines)
    assert told.evidence == "own coupons"


# Form --------------------------------------------------------------------------------------------


def test_document_and_frame(tmp_path):
    path = tmp_path / "coupons.csv"
    path.write_text("strength [MPa];batch;who\n" + "".join(f"{v};A;x\n" for v in SIX))
    found = jointrisk.fit(path)
    document = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert document["schema_version"] == 1
    assert document["families"][0]["one_in_100"]["predicted"] == (
        found.families[0].one_in_100.predicted
    )
    assert document["run"]["column"] == "strength [MPa]"
    assert (found.title, found.unread) == ("coupons.csv", ("who",))
    assert list(found.to_frame()["family"]) == [e.family for e in found.families]
    again = jointrisk.fit(path).to_dict()
    for each in (again, document):
        del each["host"]
    assert json.dumps(again) == json.dumps(document)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    values=st.lists(st.floats(1e-3, 1e6), min_size=1, max_size=12),
    held=st.lists(st.booleans(), min_size=12, max_size=12),
    names=st.lists(st.sampled_from("abc"), min_size=12, max_size=12),
)
def test_any_numbers_give_an_answer_that_can_be_written(values, held, names):
    n = len(values)
    found = of(values, held=held[:n], batches=names[:n])
    json.dumps(found.to_dict(), allow_nan=False)
    assert isinstance(found, CouponFit)
    if found.written is not None:
        pasted(found.written.lines)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(times=st.floats(0.01, 100.0), seed=st.integers(0, 99))
def test_values_times_as_large_give_limits_times_as_large(times, seed):
    x = np.exp(np.random.default_rng(seed).normal(3.0, 0.1, 6))
    one, other = of(list(x)), of(list(x * times))
    for name in ("lognormal", "normal", "weibull"):
        a, b = one.family(name), other.family(name)
        assert b.one_in_100.predicted == pytest.approx(a.one_in_100.predicted * times, rel=1e-6)
        assert b.one_in_100.low == pytest.approx(a.one_in_100.low * times, rel=1e-6)
    assert other.written.scatter_cov == pytest.approx(one.written.scatter_cov, rel=1e-6)
