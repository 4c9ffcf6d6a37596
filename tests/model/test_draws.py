"""From normal scores to values: spreads, correlations, changes, places, and chances of labels."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from jointrisk.model.draws import Change, correlate, correlated_groups, placed, values_of
from jointrisk.model.rodset import RIG_BIAS, rod_set
from jointrisk.spread import Fixed, Lognormal, Uniform


def pair(first, second, value):
    return f'[[correlation]]\nbetween = ["{first}", "{second}"]\nvalue = {value}\n'


def scores(rods, n, seed=0):
    return np.random.default_rng(seed).standard_normal((n, rods.layout.dimension))


def with_spreads(scenario, **of):
    """Return the scenario with other spreads, keys written with two underscores for the dot."""
    variables = dict(scenario.variables)
    for key, spread in of.items():
        key = key.replace("__", ".")
        variables[key] = replace(variables[key], spread=spread)
    return replace(scenario, variables=variables)


# --- one variable --------------------------------------------------------------------------


def test_scores_become_values_by_the_spread_of_each(make):
    """Normal and lognormal by their definitions, uniform by the normal distribution function."""
    from scipy.special import ndtr

    rods = rod_set(make(rods=2))
    u = scores(rods, 50)
    values = rods.values(u)

    def of(key):
        return u[:, rods.layout.columns[key]].T

    np.testing.assert_allclose(values["plug.overlap"], 20.0 + 0.5 * of("plug.overlap"), rtol=1e-12)
    log_sd = np.sqrt(np.log1p(0.1**2))
    strength = 20.0 * np.exp(log_sd * of("adhesive.shear_strength") - log_sd**2 / 2)
    np.testing.assert_allclose(values["adhesive.shear_strength"], strength, rtol=1e-12)
    kept = 0.1 + 0.4 * ndtr(of("weak_bonds.keeps"))
    np.testing.assert_allclose(values["weak_bonds.keeps"], kept, rtol=1e-9)


def test_constants_are_one_number_and_take_no_scores(make):
    rods = rod_set(make())
    values = rods.values(scores(rods, 7))
    assert values["rods.length"].tolist() == [[300.0]]
    assert values[RIG_BIAS].shape in {(1, 1), (1, 7)}
    assert values.keys() == rods.variables.keys()
    assert "rods.length" not in rods.layout.columns


def test_a_rig_without_bias_draws_none(make):
    scenario = make()
    rods = rod_set(replace(scenario, proof=replace(scenario.proof, rig_bias_sd=0.0)))
    assert rods.values(scores(rods, 3))[RIG_BIAS].tolist() == [[0.0]]
    biased = rod_set(replace(scenario, proof=replace(scenario.proof, rig_bias_sd=0.04)))
    u = scores(biased, 3)
    column = u[:, biased.layout.columns[RIG_BIAS]].T
    np.testing.assert_allclose(biased.values(u)[RIG_BIAS], 0.04 * column, rtol=1e-12)


def test_only_sustained_loads_are_drawn_with_the_rods(make):
    more = '[[load]]\nname = "preload"\nkind = "sustained"\nsize = { mean = "300 N", cov = 0.1 }\n'
    rods = rod_set(make((("pull", "900 N"),), more=more))
    assert "load.preload.size" in rods.variables
    assert "load.jerk pull.size" not in rods.variables


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        (Change(), [4.0, 5.0, 9.0]),
        (Change(squeeze=0.5), [4.5, 5.0, 7.0]),
        (Change(squeeze=0.0), [5.0, 5.0, 5.0]),
        (Change(shift=2.0), [6.0, 7.0, 11.0]),
        (Change(squeeze=2.0, shift=-1.0), [2.0, 4.0, 12.0]),
    ],
)
def test_a_change_squeezes_to_the_mean_and_then_moves(change, wanted):
    assert change.apply(np.array([4.0, 5.0, 9.0]), 5.0).tolist() == wanted


def test_a_change_reaches_constants_and_leaves_the_others(make):
    rods = rod_set(make())
    u = scores(rods, 20)
    plain = rods.values(u)
    changed = rods.values(u, {"rods.length": Change(shift=10.0), "plug.overlap": Change(0.0, 1.0)})
    assert changed["rods.length"].tolist() == [[310.0]]
    assert (changed["plug.overlap"] == 21.0).all()
    for key in plain.keys() - {"rods.length", "plug.overlap"}:
        np.testing.assert_array_equal(changed[key], plain[key])


# --- correlation ---------------------------------------------------------------------------

PAIRS = [
    ("adhesive.shear_strength", "adhesive.toughness", 0.6),  # joint: lognormal, lognormal
    ("plug.off_centre", "weak_bonds.keeps", -0.5),  # joint: triangular, uniform
    ("tube.bore", "plug.diameter", 0.9),  # joint: normal, normal
    ("tube.modulus", "tube.tension_strength", 0.7),  # rod
    ("batch.bond_factor", "weak_bonds.share_in_bad_batch", -0.4),  # batch
    ("evidence.factor", "adhesive.toughness_range", 0.8),  # all
]


@pytest.mark.parametrize(("first", "second", "asked"), PAIRS)
def test_drawn_values_have_the_correlation_asked_for(make, first, second, asked):
    n = 20_000
    rods = rod_set(make(rods=2, batch=1, more=pair(first, second, asked)))
    values = rods.values(scores(rods, n, seed=6))
    one, other = values[first], values[second]
    error = 4.0 / np.sqrt(n)  # heavy tails spread wider than (1 - r^2)/sqrt(n)
    for copy in range(one.shape[0]):
        assert np.corrcoef(one[copy], other[copy])[0, 1] == pytest.approx(asked, abs=error)
    for copy, elsewhere in itertools.permutations(range(one.shape[0]), 2):
        assert np.corrcoef(one[copy], other[elsewhere])[0, 1] == pytest.approx(0.0, abs=error)


@pytest.mark.parametrize(("first", "second", "asked"), PAIRS)
def test_correlation_leaves_each_spread_as_it_is(make, first, second, asked):
    from scipy.stats import kstest

    rods = rod_set(make(more=pair(first, second, asked)))
    values = rods.values(scores(rods, 5000, seed=7))
    for key in (first, second):
        spread = rods.variables[key].spread
        assert kstest(values[key][0], spread.cdf).pvalue > 1e-3


@pytest.mark.parametrize("asked", [-0.5, 0.3, 0.8])
def test_the_scores_of_two_lognormals_are_correlated_by_the_closed_form(make, asked):
    """r_scores = ln(1 + r c1 c2)/(z1 z2), z^2 = ln(1 + c^2): Der Kiureghian and Liu, 1986."""
    names = ("adhesive.shear_strength", "adhesive.toughness")
    rods = rod_set(make(more=pair(*names, asked)))
    c1, c2 = (rods.variables[name].spread.sd / rods.variables[name].spread.mean for name in names)
    of_scores = np.log1p(asked * c1 * c2) / np.sqrt(np.log1p(c1**2) * np.log1p(c2**2))
    (group,) = rods.groups
    assert set(group.keys) == set(names)
    lower = [[1.0, 0.0], [of_scores, np.sqrt(1 - of_scores**2)]]
    np.testing.assert_allclose(group.factor, lower, atol=1e-9)


def test_scores_are_mixed_copy_by_copy_with_the_lower_factor(make):
    names = ("tube.bore", "plug.diameter")
    rods = rod_set(make(rods=2, more=pair(*names, 0.6)))
    u = scores(rods, 9)
    before = u.copy()
    mixed = correlate(u, rods.layout, rods.groups)
    np.testing.assert_array_equal(u, before)
    one, other = (rods.layout.columns[name] for name in rods.groups[0].keys)
    np.testing.assert_allclose(mixed[:, one], u[:, one], rtol=1e-12)
    np.testing.assert_allclose(mixed[:, other], 0.6 * u[:, one] + 0.8 * u[:, other], rtol=1e-9)
    rest = np.setdiff1d(np.arange(u.shape[1]), np.r_[one, other])
    np.testing.assert_array_equal(mixed[:, rest], u[:, rest])


def test_three_that_hang_together_are_one_group(make):
    names = ("plug.overlap", "tube.bore", "plug.diameter")  # normal: scores like values
    asked = {(names[0], names[1]): 0.5, (names[1], names[2]): 0.6, (names[0], names[2]): 0.2}
    scenario = make(more="".join(pair(*both, value) for both, value in asked.items()))
    (group,) = rod_set(scenario).groups
    matrix = group.factor @ group.factor.T
    for (first, second), value in asked.items():
        i, j = group.keys.index(first), group.keys.index(second)
        assert matrix[i, j] == pytest.approx(value, abs=1e-9)
    np.testing.assert_allclose(np.diag(matrix), 1.0, atol=1e-12)
    assert np.triu(group.factor, 1).tolist() == np.zeros((3, 3)).tolist()


def test_a_chain_is_joined_whatever_its_order(make):
    """The last pair ties two groups that were apart."""
    names = ("plug.overlap", "tube.bore", "plug.diameter", "adhesive.shear_strength")
    links = [(0, 1), (2, 3), (1, 2)]
    more = "".join(pair(names[i], names[j], 0.3) for i, j in links)
    rods = rod_set(make(more=more))
    (group,) = rods.groups
    assert set(group.keys) == set(names)
    values = rods.values(scores(rods, 20_000, seed=2))
    for i, j in itertools.combinations(range(4), 2):
        found = np.corrcoef(values[names[i]][0], values[names[j]][0])[0, 1]
        assert found == pytest.approx(0.3 if (i, j) in links else 0.0, abs=0.03)


def test_pairs_that_share_nothing_are_groups_of_their_own(make):
    more = pair("plug.overlap", "tube.bore", 0.3) + pair("tube.modulus", "rods.bow", -0.2)
    groups = rod_set(make(more=more)).groups
    found = {frozenset(group.keys) for group in groups}
    assert found == {
        frozenset({"plug.overlap", "tube.bore"}),
        frozenset({"tube.modulus", "rods.bow"}),
    }


def test_no_correlation_and_constants_make_no_group(make):
    more = pair("plug.overlap", "tube.bore", 0.0)
    rods = rod_set(make(more=more))
    assert rods.groups == ()
    u = scores(rods, 4)
    assert correlate(u, rods.layout, rods.groups) is u
    scenario = make(more=pair("plug.overlap", "tube.bore", 0.5))
    still = rod_set(with_spreads(scenario, plug__overlap=Fixed(20.0)))
    assert correlated_groups(still.scenario, still.variables, still.layout) == ()


def test_the_second_end_has_correlations_of_its_own(make):
    more = (
        '[second_plug]\noverlap = { mean = "30 mm", sd = "2 mm" }\n'
        "off_centre = { never_outside = [0.1, 0.5] }\n"
    ) + pair("second_plug.overlap", "second_plug.off_centre", -0.7)
    rods = rod_set(make(more=more, rods=2))
    laid = placed(rods.values(scores(rods, 20_000)), rods.layout)
    for joint in range(4):
        found = np.corrcoef(laid["plug.overlap"][joint], laid["plug.off_centre"][joint])[0, 1]
        assert found == pytest.approx(-0.7 if joint % 2 else 0.0, abs=0.03)


# --- places --------------------------------------------------------------------------------


def test_values_of_rods_and_batches_are_laid_over_their_joints(make):
    rods = rod_set(make(rods=3, batch=2))
    values = rods.values(scores(rods, 5))
    laid = placed(values, rods.layout)
    np.testing.assert_array_equal(laid["tube.modulus"], values["tube.modulus"])
    np.testing.assert_array_equal(laid["tube.bore"], values["tube.bore"])
    batch = values["batch.bond_factor"]
    np.testing.assert_array_equal(laid["batch.bond_factor"], batch[[0, 0, 0, 0, 1, 1]])
    assert laid["evidence.factor"].shape == (1, 5)
    assert laid["plug.overlap"].shape == (6, 5)


def test_a_value_of_the_rod_at_the_joint_serves_both_its_ends(make):
    scenario = make(rods=3)
    key = "plug.strength"
    variables = dict(scenario.variables)
    variables[key] = replace(variables[key], scope="rod")
    rods = rod_set(replace(scenario, variables=variables))
    values = rods.values(scores(rods, 5))
    laid = placed(values, rods.layout)[key]
    np.testing.assert_array_equal(laid, values[key][[0, 0, 1, 1, 2, 2]])


def test_values_need_no_more_than_the_scores_of_a_variable(make):
    rods = rod_set(make(rods=2))
    u = scores(rods, 6)
    again = u.copy()
    again[:, rods.layout.columns["plug.overlap"]] += 1.0
    one, other = (values_of(x, rods.variables, rods.layout, {}) for x in (u, again))
    differ = {key for key in one if not np.array_equal(one[key], other[key])}
    assert differ == {"plug.overlap"}
    np.testing.assert_allclose(other["plug.overlap"], one["plug.overlap"] + 0.5, rtol=1e-12)


# --- labels --------------------------------------------------------------------------------


def labels_of(rods, u, seed=1):
    """Draw labels one after the other, each with the chance it is told."""
    rng = np.random.default_rng(seed)
    labels = np.zeros((len(u), rods.layout.label_count), dtype=bool)
    for label in range(rods.layout.label_count):
        labels[:, label] = rng.random(len(u)) < rods.label_chance(label, u, labels)
    return labels


def close(count, chance, n):
    return abs(count / n - chance) < 4.5 * np.sqrt(chance * (1 - chance) / n)


def test_weak_joints_come_as_often_as_weights_say(make):
    """Share U(0.3, 1) in a bad batch: mean 0.65, mean square 0.4633; else 0.02 each."""
    n, bad, lone, mean, square = 40_000, 0.3, 0.02, 0.65, 0.65**2 + 0.7**2 / 12
    rods = rod_set(make(lone="0.02", bad="0.3", rods=3, batch=2))
    labels = labels_of(rods, scores(rods, n))
    batches, weak = labels[:, rods.layout.bad_batch_labels], rods.weak_joints(labels)
    assert weak.shape == (6, n)
    for batch in range(2):
        assert close(batches[:, batch].sum(), bad, n)
    for joint in range(6):
        assert close(weak[joint].sum(), bad * mean + (1 - bad) * lone, n)
    together = bad * square + (1 - bad) * lone**2
    for one, other in itertools.combinations(range(6), 2):
        alone = (bad * mean + (1 - bad) * lone) ** 2
        same = one // 4 == other // 4
        assert close((weak[one] & weak[other]).sum(), together if same else alone, n)


def test_lone_weak_joints_come_on_their_own(make):
    n = 40_000
    rods = rod_set(make(lone="0.1", bad="0", rods=2))
    labels = labels_of(rods, scores(rods, n))
    assert labels.shape == (n, 4)
    weak = rods.weak_joints(labels)
    np.testing.assert_array_equal(weak, labels.T)
    for one, other in itertools.combinations(range(4), 2):
        assert close((weak[one] & weak[other]).sum(), 0.01, n)


def test_without_lone_ones_only_bad_batches_have_weak_joints(make):
    rods = rod_set(make(lone="0", bad="0.2", rods=2, batch=1))
    labels = labels_of(rods, scores(rods, 5000))
    weak = rods.weak_joints(labels)
    assert weak.any()
    assert not weak[:2, ~labels[:, 0]].any()
    assert not weak[2:, ~labels[:, 1]].any()


def test_a_joint_in_a_bad_batch_is_no_less_often_weak_than_one_alone(make):
    scenario = with_spreads(
        make(lone="0.4", bad="0.3"), weak_bonds__share_in_bad_batch=Uniform(0.0, 0.8)
    )
    rods = rod_set(scenario)
    u = scores(rods, 200)
    labels = np.zeros((200, rods.layout.label_count), dtype=bool)
    labels[:, 0] = True
    share = rods.values(u)["weak_bonds.share_in_bad_batch"][0]
    np.testing.assert_allclose(rods.label_chance(1, u, labels), np.maximum(share, 0.4), rtol=1e-12)


def test_weights_that_vary_are_read_off_the_scores(make):
    scenario = with_spreads(
        make(rods=2, batch=1),
        weak_bonds__lone_weight=Lognormal(0.01, 0.02),
        weak_bonds__bad_batch_weight=Lognormal(0.4, 0.6),
    )
    rods = rod_set(scenario)
    u = scores(rods, 300)
    values = rods.values(u)
    labels = np.zeros((300, rods.layout.label_count), dtype=bool)
    bad, lone = (values[f"weak_bonds.{name}_weight"][0] for name in ("bad_batch", "lone"))
    assert bad.max() > 1.0  # more than certain counts as certain
    for label in (0, 1):
        chance = rods.label_chance(label, u, labels)
        np.testing.assert_allclose(chance, np.minimum(bad, 1.0), rtol=1e-12)
    for label in range(2, 6):
        np.testing.assert_allclose(rods.label_chance(label, u, labels), lone, rtol=1e-12)


def test_each_batch_has_its_own_share_of_weak_joints(make):
    rods = rod_set(make(rods=2, batch=1, bad="0.1"))
    u = scores(rods, 30)
    labels = np.zeros((30, rods.layout.label_count), dtype=bool)
    labels[:, :2] = True
    share = rods.values(u)["weak_bonds.share_in_bad_batch"]
    for label, batch in ((2, 0), (3, 0), (4, 1), (5, 1)):
        np.testing.assert_allclose(rods.label_chance(label, u, labels), share[batch], rtol=1e-12)


def test_a_changed_weight_changes_the_chance(make):
    rods = rod_set(make(lone="0.02", bad="0.1"))
    u = scores(rods, 4)
    labels = np.zeros((4, rods.layout.label_count), dtype=bool)
    changes = {
        "weak_bonds.lone_weight": Change(shift=0.03),
        "weak_bonds.bad_batch_weight": Change(shift=-1.0),
    }
    assert rods.label_chance(0, u, labels, changes).tolist() == [0.0] * 4
    assert rods.label_chance(1, u, labels, changes) == pytest.approx([0.05] * 4)
    labels[:, 0] = True
    share = {"weak_bonds.share_in_bad_batch": Change(squeeze=0.0)}
    assert rods.label_chance(1, u, labels, share) == pytest.approx([0.65] * 4)


@pytest.mark.parametrize(
    ("mate", "key", "label"),
    [
        ("batch.bond_factor", "weak_bonds.share_in_bad_batch", 1),
        ("evidence.factor", "weak_bonds.lone_weight", 1),
        ("evidence.factor", "weak_bonds.bad_batch_weight", 0),
    ],
)
def test_the_chance_of_a_label_follows_a_correlated_weight(make, mate, key, label):
    """The weight that decides is the weight that `values` shows."""
    weights = {"lone": "{ mean = 0.02, cov = 0.3 }", "bad": "{ mean = 0.1, cov = 0.3 }"}
    rods = rod_set(make(more=pair(mate, key, 0.8), **weights))
    u = scores(rods, 50)
    labels = np.zeros((50, rods.layout.label_count), dtype=bool)
    labels[:, 0] = key.endswith("share_in_bad_batch")
    shown = rods.values(u)[key][0]
    np.testing.assert_allclose(rods.label_chance(label, u, labels), shown, rtol=1e-9)
