"""The study `plan`: against quadrature of one unknown, bounds, verdicts, costs, and bytes.

The answers are worked out on a grid of the one unknown with numpy and scipy alone (`oracles`).
"""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

import jointrisk
from jointrisk.errors import InputError
from jointrisk.spread import Gumbel, Lognormal, Normal
from jointrisk.study.plan_results import COST_KEYS, Before, Candidate
from jointrisk.study.plan_study import plan
from jointrisk.study.plan_verdict import chosen, cost_of, judged
from jointrisk.study.results import Chance

COV, FACTOR_COV, JERK, JERK_COV, TARGET, PULL = 0.10, 0.25, 3000.0, 0.15, 1e-3, 4500.0
GLUE = {"adhesive.shear_strength": Lognormal(10.0, 10.0 * COV)}
UNKNOWN = "model.bond_factor"
ERROR, BIAS = 0.02, 0.02
GRID = np.linspace(-4.5, 4.5, 1801)
PRIOR = stats.norm.pdf(GRID) / stats.norm.pdf(GRID).sum()
SD = math.sqrt(math.log1p(FACTOR_COV**2))
FACTOR = np.exp(SD * GRID - SD**2 / 2.0)


def scenario(oracles, *, load=JERK, target=TARGET, spreads=None, **more):
    spread = {UNKNOWN: Lognormal(1.0, FACTOR_COV)} | GLUE if spreads is None else spreads
    wanted = None if target is None else (target,)
    loads = [oracles.load(Gumbel(load, JERK_COV * load))]
    return oracles.plain(spread, loads, target=wanted, rig=(ERROR, BIAS), **more)


@pytest.fixture(scope="module")
def one(oracles):
    """One unknown, and a pull of the maker's own."""
    return plan(scenario(oracles, pulls=(PULL,)), costs={"rod": 25.0, "coupon": 4}, seed=3)


@pytest.fixture(scope="module")
def shipped():
    return jointrisk.plan(jointrisk.load("scenarios/delta-robot-forearms.toml"))


def of(result, key):
    return next(each for each in result.candidates if each.key == key)


@pytest.fixture(scope="module")
def exact(oracles):
    """Failure at each value of the factor, with no pull and after it, and of rods in the rig."""
    joint = oracles.lognormal(oracles.BOND, COV)
    law = oracles.weakest(joint.cdf, 2)
    values, chance = oracles.on_grid(law, 0.4 * oracles.BOND, 1.8 * oracles.BOND, 2001)
    kept = oracles.log_kept_yearly(oracles.gumbel(JERK, JERK_COV))

    @cache
    def fails():
        return np.array([oracles.fail_chance(f * values, chance, kept) for f in FACTOR])

    @cache
    def after(pull):
        few = slice(None, None, 20)
        found = [
            oracles.after_pull(f * values, chance, pull, kept, error=ERROR, bias_sd=BIAS)
            for f in FACTOR[few]
        ]
        return GRID[few], *np.array(found).T

    logs = np.log(values)
    own = float(np.sqrt(chance @ (logs - chance @ logs) ** 2))
    return {"fails": fails, "after": after, "own": own, "law": (values, chance)}


def quantile(level):
    return float(np.interp(level, np.cumsum(PRIOR), GRID))


def log_fails(exact, z):
    return np.interp(z, GRID, np.log(exact["fails"]()))


def inside(found, value, more=0.0):
    return found.low - more <= value <= found.high + more


# Against quadrature -----------------------------------------------------------------------------


def test_band_and_chance_before(one, exact):
    before, fails = one.before, exact["fails"]()
    assert inside(before.failure, float(PRIOR @ fails))
    for value, level in ((before.p05, 0.95), (before.p50, 0.5)):
        assert math.log(value) == pytest.approx(log_fails(exact, quantile(level)), abs=0.8)
    assert math.log(before.p95) == pytest.approx(log_fails(exact, quantile(0.05)), abs=0.1)
    met = float(PRIOR[fails <= TARGET].sum())
    assert inside(before.chance_met, met)
    assert before.chance_met.estimate == pytest.approx(met, abs=0.02)
    assert before.wrong.estimate == pytest.approx(min(met, 1.0 - met), abs=0.02)


@pytest.mark.parametrize("count", [1, 2, 4, 8])
def test_rods_pulled_to_break(one, exact, count):
    """Conjugate normal: the mean of the logs of k loads, scatter of the weaker of two ends."""
    variance = (exact["own"] ** 2 + ERROR**2) / count + BIAS**2
    left = 1.0 / math.sqrt(1.0 + SD**2 / variance)  # posterior sd in scores
    means = math.sqrt(1.0 - left**2) * GRID
    ends = [log_fails(exact, means + side * stats.norm.ppf(0.95) * left) for side in (-1, 1)]
    width = float(PRIOR @ (ends[0] - ends[1]))
    border = float(np.interp(-math.log(TARGET), -np.log(exact["fails"]()), GRID))
    met = stats.norm.sf((border - means) / left)
    wrong = float(PRIOR @ np.minimum(met, 1.0 - met))
    told = of(one, f"rod:{count}")
    assert told.width.estimate == pytest.approx(width, rel=0.08)
    assert told.wrong_after.estimate == pytest.approx(wrong, abs=0.015)
    assert told.speaks_to[0][0] == UNKNOWN


def test_pulls_to_a_load(one, exact):
    """Binomial given factor and bias of the gauge, each number of broken rods by itself."""
    values, chance = exact["law"]
    met = exact["fails"]() <= TARGET
    wrong = 0.0
    points, weights = np.polynomial.hermite_e.hermegauss(9)
    each = np.array([
        [float(chance @ stats.norm.cdf(-(f * values / one.pull_newton - 1 - BIAS * b) / ERROR))
         for f in FACTOR[::20]]
        for b in points
    ])  # fmt: skip
    for broken in range(30):
        like = stats.binom.pmf(broken, 29, np.clip(each, 1e-9, 1 - 1e-9)).T @ (
            weights / weights.sum()
        )
        like = PRIOR * np.interp(GRID, GRID[::20], like)
        wrong += min(float(like[met].sum()), float(like[~met].sum()))
    told = of(one, "pull:29")
    assert told.load_newton == one.pull_newton
    assert told.wrong_after.estimate == pytest.approx(wrong, abs=0.02)


def test_a_pull_of_the_rod_of_service(one, exact):
    few, after, refused = exact["after"](PULL)
    prior = stats.norm.pdf(few) / stats.norm.pdf(few).sum()
    told = next(e for e in one.candidates if e.screens and e.load_newton == PULL)
    held = prior * (1.0 - refused)
    assert inside(told.fail_after, float(held @ after) / held.sum())
    # few states lie right at the border, where after the pull is about the target
    sure = [float(prior[after <= TARGET * f].sum()) for f in (0.7, 1.4)]
    assert inside(told.chance_met, np.clip(told.chance_met.estimate, *sure), 0.03)
    assert told.uses_up == pytest.approx(float(prior @ refused), abs=0.01)


def test_coupons_tell_their_part_of_the_evidence(oracles, exact):
    """A data sheet's number, of which own coupons tell what the table of evidence says."""
    sd = math.sqrt(math.log1p(0.3**2))
    given = {"evidence.factor": Lognormal(0.6, 0.18)} | GLUE
    result = plan(scenario(oracles, load=1500.0, spreads=given, evidence="data sheet"), seed=5)
    told, before = of(result, "coupon:6"), result.before
    shown = sd**2 - math.log1p(0.2**2)
    own = math.log1p(COV**2) / 6
    left = sd**2 - shown**2 / (shown + own)  # of the log of the factor, given the coupons
    scale = 1500.0 / JERK
    middle = math.log(0.6 / scale) - sd**2 / 2.0

    def logs(z):  # the surface never holds more than the glue
        factor = np.minimum(np.exp(middle + sd * z), 1.0 / scale)
        return log_fails(exact, (np.log(factor) + SD**2 / 2.0) / SD)

    width = [float(logs(side * -stats.norm.ppf(0.95))) for side in (1, -1)]
    assert before.width.estimate == pytest.approx(width[0] - width[1], rel=0.12)
    rest = math.sqrt(left) / sd
    means = math.sqrt(1.0 - rest**2) * GRID
    ends = [logs(means - side * stats.norm.ppf(0.95) * rest) for side in (1, -1)]
    assert told.width.estimate == pytest.approx(float(PRIOR @ (ends[0] - ends[1])), rel=0.12)
    assert told.speaks_to == (("evidence.factor", told.speaks_to[0][1]),)


def test_measuring_the_overlap(oracles, exact):
    """The weaker end is the one with less overlap; everything else is plain."""
    given = {UNKNOWN: Lognormal(1.0, FACTOR_COV), "plug.overlap": Normal(20.0, 2.5)}
    result = plan(scenario(oracles, spreads=given), seed=4)
    told = of(result, "overlap")
    kept = oracles.log_kept_yearly(oracles.gumbel(JERK, JERK_COV))
    levels = stats.norm.ppf((np.arange(400) + 0.5) / 400)
    joint = np.maximum(20.0 + 2.5 * levels, 1.0) / 20.0
    weaker = (1.0 - np.arange(401) / 400.0) ** 2  # chance that both ends have more
    share = -np.diff(weaker)
    strength = oracles.BOND * FACTOR[:, None] * joint[None, :]
    fails = -np.expm1(kept(strength))
    met = PRIOR @ (fails <= TARGET)  # given each measured overlap
    before = float(share @ met)
    wrong = float(share @ np.minimum(met, 1.0 - met))
    assert told.wrong_before.estimate == pytest.approx(min(before, 1 - before), abs=0.03)
    assert told.wrong_after.estimate == pytest.approx(wrong, abs=0.03)
    assert told.wrong_drop.estimate > 0.0
    assert told.speaks_to == ()
    assert of(result, "coupon:6").wrong_drop.estimate == pytest.approx(0.0, abs=1e-12)
    assert all(each.key != "gap" for each in result.candidates)


# Bounds -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fixture", ["one", "shipped"])
def test_nothing_brings_more_than_to_settle_everything(fixture, request):
    result = request.getfixturevalue(fixture)
    for each in result.candidates:
        assert 0.0 <= each.wrong_after.estimate <= 0.5
        assert each.wrong_drop.estimate <= each.wrong_before.estimate + 1e-12
        assert each.width_drop.estimate <= result.before.width.estimate + 1e-12
        assert each.width.estimate >= 0.0


def test_one_unknown_settled_leaves_nothing(one):
    told = of(one, f"settle:{UNKNOWN}")
    assert told.width.estimate == pytest.approx(0.0, abs=1e-9)
    assert told.wrong_after.estimate == 0.0
    assert not told.doable
    for key in ("coupon:12", "rod:8", "pull:59", "gauge:4"):
        assert of(one, key).gain.estimate <= told.gain.estimate


@pytest.mark.parametrize("fixture", ["one", "shipped"])
def test_more_parts_leave_less(fixture, request):
    result = request.getfixturevalue(fixture)
    for keys in (
        ("rod:1", "rod:2", "rod:4", "rod:8"),
        ("pull:12", "pull:29", "pull:59"),
        ("coupon:3", "coupon:6", "coupon:12"),
    ):
        widths = [of(result, key).width.estimate for key in keys]
        assert all(b <= a + 1e-9 for a, b in pairwise(widths)), keys


def test_a_better_gauge_leaves_less(one):
    told = of(one, "gauge:4")
    assert told.width.estimate < of(one, "rod:4").width.estimate
    assert told.beside == "rod:4"
    difference = of(one, "rod:4").wrong_after.estimate - told.wrong_after.estimate
    assert told.gain.estimate == pytest.approx(difference, abs=1e-12)


def test_only_a_pull_that_screens_changes_how_often_the_target_is_met(shipped):
    met = shipped.before.chance_met.estimate
    for each in shipped.candidates:
        if each.kind in ("coupon", "rod", "gauge") or (each.kind == "pull" and not each.screens):
            assert each.chance_met.estimate == met
        elif each.kind in ("gap", "overlap", "settle"):  # over the sizes, or values, as well
            assert each.chance_met.estimate == pytest.approx(met, abs=0.02)
    assert of(shipped, "pull:set").chance_met.estimate > met + 0.3


def test_success_runs_of_the_shipped_robot(shipped):
    runs = {(run.reliability, run.confidence): run for run in shipped.success_runs}
    assert runs[0.90, 0.95].pulls == 29
    hold = [run.all_hold.estimate for run in sorted(runs.values(), key=lambda run: run.pulls)]
    assert all(1.0 > a > b > 0.0 for a, b in pairwise(hold))


def test_the_shipped_robot_is_told_to_pull(shipped):
    proof = jointrisk.proof(jointrisk.load("scenarios/delta-robot-forearms.toml"))
    told = of(shipped, "pull:set")
    assert shipped.verdict == "pull"
    assert shipped.next_key == told.key
    assert told.load_newton == pytest.approx(proof.load_newton, rel=0.03)
    assert told.fail_after.low < proof.best.as_target < told.fail_after.high
    assert of(shipped, "coupon:6").gain.estimate == pytest.approx(0.0, abs=1e-9)  # own coupons


def test_the_band_is_that_of_the_answer(shipped):
    """Another reckoning of the same thing: 320 states, each with its own draws."""
    found = jointrisk.assess(jointrisk.load("scenarios/delta-robot-forearms.toml"))
    chance = found.failure_probability
    assert shipped.before.failure.low <= chance.high
    assert chance.low <= shipped.before.failure.high
    for name in ("p05", "p50", "p95"):
        own, other = getattr(shipped.before, name), getattr(chance, f"band_{name}")
        assert abs(math.log(own / other)) < 0.6
    assert found.target.chance_met == pytest.approx(shipped.before.chance_met.estimate, abs=0.06)


# Verdicts -----------------------------------------------------------------------------------------


def test_a_target_that_is_met_everywhere(oracles):
    result = plan(scenario(oracles, load=400.0), seed=2)
    assert (result.verdict, result.next_key) == ("met everywhere", None)
    assert result.before.chance_met.estimate == 1.0
    assert result.measure == "band width"


def test_a_target_that_is_missed_everywhere(oracles):
    result = plan(scenario(oracles, load=9000.0, max_reject=0.01), seed=2)
    assert result.verdict == "missed everywhere"
    assert result.before.chance_met.estimate < 0.02
    assert "Change the joint or the loads" in result.reason


def test_without_a_target_the_band_counts(oracles):
    result = plan(scenario(oracles, target=None), seed=2)
    assert (result.verdict, result.measure) == ("test", "band width")
    assert result.before.wrong is None
    assert result.next.wrong_after is None
    assert result.next.kind == "rod"
    json.dumps(result.to_dict(), allow_nan=False)


def test_where_all_is_known_nothing_can_be_learned(oracles):
    result = plan(scenario(oracles, spreads=GLUE), seed=2)
    assert (result.verdict, result.candidates) == ("all is known", ())
    assert result.before.p05 == result.before.p95 == result.before.failure.estimate


def test_without_a_load_there_is_nothing_to_plan(oracles):
    with pytest.raises(InputError, match="the scenario names no load"):
        plan(oracles.plain(GLUE))


# Costs and choice ---------------------------------------------------------------------------------

NONE = Chance(0.0, 0.0, 0.0)


def candidate(key, gain, *, parts=1, doable=True, half=0.008):
    kind = key.split(":")[0]
    drop = Chance(gain, gain - half, gain + half)
    return Candidate(
        key=key, kind=kind, name=key, count=parts, load_newton=None, doable=doable, speaks_to=(),
        to_make=parts, uses_up=float(parts), cost=None, p05=0.1, p50=0.1, p95=0.1, width=NONE,
        high=NONE, width_drop=drop, comes_out=(0.0, 1.0), wrong_before=Chance(0.3, 0.29, 0.31),
        wrong_after=NONE, wrong_drop=drop, chance_met=None, chance_clear=None, fail_after=None,
        gain=drop, brings=False, rank=0, gain_per_cost=None, beside="", note="",
    )  # fmt: skip


BEFORE = Before(NONE, 1e-4, 1e-3, 1e-2, Chance(4.6, 4.5, 4.7), Chance(0.4, 0.38, 0.42),
                Chance(0.4, 0.38, 0.42), clear=False)  # fmt: skip
SOME = (
    candidate("rod:8", 0.20, parts=8),
    candidate("rod:2", 0.17, parts=2),
    candidate("rod:1", 0.10),
    candidate("coupon:6", 0.18, parts=6),
    candidate("settle:x", 0.4, doable=False),
)


def test_the_fewest_parts_of_those_that_bring_nearly_as_much():
    found = judged(SOME, BEFORE, 1e-3, {})
    assert (found.verdict, found.next_key, found.measure) == ("test", "rod:2", "wrong decision")
    assert [each.rank for each in found.candidates] == [1, 2, 2, 4, 1]
    assert found.candidates[-1].key == "settle:x"


def test_the_cheapest_where_costs_are_given():
    found = judged(SOME, BEFORE, 1e-3, {"rod": 25.0, "coupon": 4.0})
    assert found.next_key == "coupon:6"
    coupons = next(each for each in found.candidates if each.key == "coupon:6")
    assert (coupons.cost, coupons.gain_per_cost) == (24.0, pytest.approx(0.18 / 24.0))


def test_a_gain_that_is_not_told_from_nothing_is_none():
    found = judged([candidate("rod:2", 0.05, half=0.06)], BEFORE, 1e-3, {})
    assert (found.verdict, found.next_key) == ("nothing tells", None)
    small = judged([candidate("rod:2", 0.015)], BEFORE, 1e-3, {})
    assert small.verdict == "nothing tells"


def test_a_gauge_is_no_test_by_itself():
    assert chosen([replace(candidate("gauge:4", 0.3), brings=True)]) is None


def test_costs_of_pulls_count_the_rods_that_break():
    pulls = replace(candidate("pull:29", 0.1, parts=29), uses_up=0.5)
    assert cost_of(pulls, {"pull": 2.0, "rod": 30.0}) == 29 * 2.0 + 15.0
    assert cost_of(candidate("gauge:4", 0.1, parts=4), {"gauge": 100.0, "rod": 30.0}) == 220.0
    assert cost_of(pulls, {"rod": 30.0}) is None
    assert COST_KEYS == ("coupon", "rod", "pull", "gauge", "gap", "overlap")


def test_costs_that_cannot_be(oracles):
    with pytest.raises(InputError) as error:
        plan(scenario(oracles), costs={"cupon": 4.0, "rod": -1.0, "pull": math.inf})
    assert str(error.value).splitlines() == [
        "costs: nothing is called 'cupon'; did you mean coupon?",
        "costs: rod must be a finite number of 0 or more, got -1",
        "costs: pull must be a finite number of 0 or more, got inf",
    ]


def test_costs_come_with_the_answer(one):
    assert one.costs == {"rod": 25.0, "coupon": 4.0}
    assert of(one, "rod:4").cost == 100.0
    assert of(one, "pull:29").cost is None


# The document -------------------------------------------------------------------------------------


def test_the_document_holds_every_number(one):
    document = json.loads(json.dumps(one.to_dict(), allow_nan=False))
    assert document["next_key"] == one.next_key
    assert len(document["candidates"]) == len(one.candidates)
    first = document["candidates"][0]
    assert first["gain"]["estimate"] == one.candidates[0].gain.estimate
    frame = one.to_frame()
    assert list(frame["key"]) == [each.key for each in one.candidates]
    assert frame["gain_low"][0] == one.candidates[0].gain.low


def test_same_document_at_any_pool_and_seed_0_is_a_seed(oracles, one):
    given = scenario(oracles, pulls=(PULL,))

    def told(seed, pool=None):
        document = plan(given, costs={"rod": 25.0, "coupon": 4}, seed=seed, pool=pool).to_dict()
        document.pop("host")
        return json.dumps(document)

    own = one.to_dict()
    own.pop("host")
    with ThreadPoolExecutor(3) as pool:
        assert told(3, pool) == json.dumps(own)
    zero = json.loads(told(0))
    assert zero["run"]["seed"] == 0
    assert zero["before"] != own["before"]
