"""Limits and invariants of `jointrisk.mechanics.tubular`."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.mechanics import tubular

N = 20_000
LAWS = ("failure_shear_strain", "mode_ii_toughness")


def law(kind, n, seed=1):
    rng = np.random.default_rng(seed)
    if kind == "failure_shear_strain":
        return {kind: 10 ** rng.uniform(-2.0, 1.5, n)}
    return {kind: 10 ** rng.uniform(-2.0, 1.2, n)}


def decay(joint):
    """lambda [1/mm], written out from its definition."""
    middle = joint["plug_radius"] + joint["gap"] / 2
    inner = joint["plug_radius"] + joint["gap"]
    plug = (
        joint["plug_modulus"] * np.pi * (joint["plug_radius"] ** 2 - joint["plug_bore_radius"] ** 2)
    )
    tube = joint["tube_modulus"] * np.pi * (joint["tube_outer_radius"] ** 2 - inner**2)
    c = middle / joint["adhesive_shear_modulus"] * np.log(inner / joint["plug_radius"])
    return np.sqrt(2 * np.pi * middle * (1 / plug + 1 / tube) / c), plug, tube, middle, c


# ---- limits with a closed form -------------------------------------------------------------


@pytest.mark.parametrize("kind", LAWS)
def test_short_overlap_yields_as_a_whole(many, kind):
    joints = many(N) | {"overlap": 0.01}
    ductile = {"failure_shear_strain": 10.0, "mode_ii_toughness": 50.0}[kind]
    result = tubular.pull_out(**joints, **{kind: ductile})
    middle = joints["plug_radius"] + joints["gap"] / 2
    expected = joints["adhesive_shear_strength"] * 2 * np.pi * middle * 0.01
    assert np.all(result.governs == tubular.GOVERNS.index("yield"))
    np.testing.assert_allclose(result.force, expected, rtol=1e-12)
    np.testing.assert_allclose(result.yield_force, expected, rtol=1e-12)


def test_long_overlap_reaches_its_energy_limit(many):
    joints, toughness = many(N), law("mode_ii_toughness", N)
    rate, *_ = decay(joints)
    strain = np.random.default_rng(3).uniform(-3e-4, 3e-4, N)
    joints["overlap"] = 60 / rate + 3000 * toughness["mode_ii_toughness"]
    result = tubular.pull_out(**joints, **toughness, misfit_strain=strain)
    shape = {
        key: value
        for key, value in joints.items()
        if not key.startswith("adhesive") and key != "overlap"
    }
    limit = tubular.long_overlap_force(**shape, **toughness, misfit_strain=strain)
    np.testing.assert_allclose(result.long_overlap_force, limit, rtol=1e-9, atol=1e-6)
    long_enough = (result.governs == 1) & ~result.bounded
    assert long_enough.mean() > 0.5
    np.testing.assert_allclose(result.force[long_enough], limit[long_enough], rtol=1e-6)


def test_long_overlap_formula(many):
    """F = min{S_p (s + e), S_t (s - e)}, s = sqrt(2 P G (1/S_p + 1/S_t)), written out."""
    joints, toughness = many(50), law("mode_ii_toughness", 50)["mode_ii_toughness"]
    _, plug, tube, middle, _ = decay(joints)
    s = np.sqrt(4 * np.pi * middle * toughness * (1 / plug + 1 / tube))
    shape = {key: joints[key] for key in joints if not key.startswith(("adhesive", "overlap"))}
    found = tubular.long_overlap_force(**shape, mode_ii_toughness=toughness, misfit_strain=1e-4)
    expected = np.minimum(plug * (s + 1e-4), tube * (s - 1e-4))
    np.testing.assert_allclose(found, np.maximum(expected, 0), rtol=1e-12)


def test_elastic_to_failure_is_the_elastic_peak(many):
    """A brittle layer breaks when `elastic_shear` says G gamma_max, at either end."""
    joints, strain = many(N), 2e-5
    brittle = 0.9 * joints["adhesive_shear_strength"] / joints["adhesive_shear_modulus"]
    result = tubular.pull_out(**joints, failure_shear_strain=brittle, misfit_strain=strain)
    elastic = {key: joints[key] for key in joints if key != "adhesive_shear_strength"}
    stress = tubular.elastic_shear(**elastic, force=result.force, misfit_strain=strain)
    alive = result.force > 0
    assert alive.mean() > 0.9
    assert np.all(result.governs == 1)
    larger = np.maximum(stress.mouth, stress.tip)
    allowed = 0.9 * joints["adhesive_shear_strength"]
    np.testing.assert_allclose(larger[alive], allowed[alive], rtol=1e-9)
    np.testing.assert_array_equal(result.first_yield, result.force)


def test_brittle_toughness_is_the_area_under_a_triangle(many):
    joints = many(N)
    *_, c = decay(joints)
    toughness = 0.3 * c * joints["adhesive_shear_strength"] ** 2
    by_energy = tubular.pull_out(**joints, mode_ii_toughness=toughness)
    strain = np.sqrt(0.6) * joints["adhesive_shear_strength"] / joints["adhesive_shear_modulus"]
    by_strain = tubular.pull_out(**joints, failure_shear_strain=strain)
    np.testing.assert_allclose(by_energy.force, by_strain.force, rtol=1e-9)


def test_first_yield_is_the_elastic_peak_at_the_strength(many):
    joints, strain = many(N), 1e-4
    result = tubular.pull_out(**joints, failure_shear_strain=20.0, misfit_strain=strain)
    elastic = {key: joints[key] for key in joints if key != "adhesive_shear_strength"}
    stress = tubular.elastic_shear(**elastic, force=result.first_yield, misfit_strain=strain)
    peak = np.maximum(stress.mouth, stress.tip)
    alive = result.first_yield > 0
    np.testing.assert_allclose(peak[alive], joints["adhesive_shear_strength"][alive], rtol=1e-9)


def test_equal_members_without_misfit_end_alike():
    """Equal stiffness: failure from both ends at once, F = P tau [L - 2(q - tanh q)/lambda]."""
    inner, gap = 6.0, 0.2
    joint = {
        "plug_radius": inner,
        "gap": gap,
        "plug_bore_radius": 0.0,
        "tube_outer_radius": math.sqrt(inner**2 + (inner + gap) ** 2),
        "tube_modulus": 70_000.0,
        "plug_modulus": 70_000.0,
        "adhesive_shear_modulus": 600.0,
        "adhesive_shear_strength": 30.0,
    }
    rate, _, _, middle, _ = decay(joint)
    q = 1.3
    for plastic in (0.0, 0.7, 4.0):
        p = plastic / rate
        joint["overlap"] = 2 * (p + q / rate)
        relative = 1 + plastic * math.tanh(q) + plastic**2 / 2
        strain = relative * joint["adhesive_shear_strength"] / joint["adhesive_shear_modulus"]
        found = tubular.pull_out(**joint, failure_shear_strain=strain)
        expected = 2 * math.pi * middle * 30.0 * (2 * p + 2 * math.tanh(q) / rate)
        assert found.force == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("margin", [-1e-6, 1e-6])
def test_global_yield_is_reached_exactly_at_its_ductility(many, margin):
    """Whole overlap yields iff delta_u >= delta_e + kappa tau p^2/2 with p of the longer zone."""
    joints = many(N)
    rate, plug, tube, _, c = decay(joints)
    tau, length = joints["adhesive_shear_strength"], joints["overlap"]
    kappa = rate**2 * c
    force = tau * length * 2 * np.pi * (joints["plug_radius"] + joints["gap"] / 2)
    difference = np.abs(force * (1 / plug - 1 / tube) / (kappa * tau))
    inside = difference <= length
    slip = c * tau + kappa * tau * ((length + difference) / 2) ** 2 / 2
    strain = slip * (1 + margin) / (c * joints["adhesive_shear_modulus"])
    governs = tubular.pull_out(**joints, failure_shear_strain=strain).governs
    assert inside.all()  # without misfit neither zone can be longer than the overlap
    assert np.all(governs == (0 if margin > 0 else 1))


# ---- invariants ----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", LAWS)
def test_scaling_lengths_and_stresses(many, kind):
    """Lengths x k, stresses x s: force x k^2 s, toughness being a stress times a length."""
    k, s = 25.4, 0.007
    joints, how = many(N), law(kind, N)
    strain = np.random.default_rng(5).uniform(-1e-3, 1e-3, N)
    offset = 0.4 * joints["gap"]
    base = tubular.pull_out(**joints, **how, misfit_strain=strain, offset=offset)
    lengths = ("plug_radius", "gap", "tube_outer_radius", "plug_bore_radius", "overlap")
    other = {key: value * (k if key in lengths else s) for key, value in joints.items()}
    if kind == "mode_ii_toughness":
        how = {kind: how[kind] * k * s}
    scaled = tubular.pull_out(**other, **how, misfit_strain=strain, offset=offset * k)
    np.testing.assert_allclose(scaled.force, base.force * k * k * s, rtol=1e-7, atol=1e-9)
    np.testing.assert_allclose(scaled.long_overlap_force, base.long_overlap_force * k * k * s)


def test_swapping_stiffness_and_misfit_mirrors_the_joint(many):
    """Members' stiffnesses exchanged and misfit reversed: same force from the other end."""
    joints, how = many(N), law("mode_ii_toughness", N)
    _, plug, tube, *_ = decay(joints)
    strain = np.random.default_rng(6).uniform(-1e-3, 1e-3, N)
    swapped = joints | {
        "plug_modulus": joints["plug_modulus"] * tube / plug,
        "tube_modulus": joints["tube_modulus"] * plug / tube,
    }
    one = tubular.pull_out(**joints, **how, misfit_strain=strain)
    two = tubular.pull_out(**swapped, **how, misfit_strain=-strain)
    np.testing.assert_allclose(two.force, one.force, rtol=1e-7, atol=1e-6)
    elastic = {key: joints[key] for key in joints if key != "adhesive_shear_strength"}
    mirror = {key: swapped[key] for key in elastic}
    here = tubular.elastic_shear(**elastic, force=1e3, misfit_strain=strain)
    there = tubular.elastic_shear(**mirror, force=1e3, misfit_strain=-strain)
    np.testing.assert_allclose(here.mouth, there.tip, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("factor", [1.01, 1.5, 4.0])
@pytest.mark.parametrize(
    "name", ["overlap", "mode_ii_toughness", "adhesive_shear_strength", "adhesive_shear_modulus"]
)
def test_more_never_weakens_a_centred_joint_without_misfit(many, name, factor):
    base = many(N) | law("mode_ii_toughness", N)
    more = base | {name: base[name] * factor}
    before, after = tubular.pull_out(**base).force, tubular.pull_out(**more).force
    assert np.all(after >= before * (1 - 1e-9))


@pytest.mark.parametrize("kind", LAWS)
def test_ductility_never_weakens(many, kind):
    """True at any misfit and offset."""
    joints, how = many(N), law(kind, N)
    strain = np.random.default_rng(7).uniform(-3e-3, 3e-3, N)
    extra = {"misfit_strain": strain, "offset": 0.5 * joints["gap"]}
    before = tubular.pull_out(**joints, **how, **extra).force
    after = tubular.pull_out(**joints, **{kind: how[kind] * 1.3}, **extra).force
    assert np.all(after >= before * (1 - 1e-9))


@pytest.mark.parametrize("exponent", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("ratio", [0.95, 0.5, 0.15])
def test_weaker_and_less_tough_is_weaker(many, exponent, ratio):
    """Strength x r and toughness x r^k, k >= 1: never stronger, at any misfit and offset."""
    joints, toughness = many(N), law("mode_ii_toughness", N)["mode_ii_toughness"]
    rng = np.random.default_rng(8)
    extra = {"misfit_strain": rng.uniform(-3e-3, 3e-3, N), "offset": rng.random(N) * joints["gap"]}
    before = tubular.pull_out(**joints, mode_ii_toughness=toughness, **extra).force
    joints["adhesive_shear_strength"] = ratio * joints["adhesive_shear_strength"]
    toughness = toughness * ratio**exponent
    after = tubular.pull_out(**joints, mode_ii_toughness=toughness, **extra).force
    assert np.all(after <= before * (1 + 1e-9))


def test_square_law_scales_the_force_by_the_ratio_itself(many):
    joints, toughness = many(N), law("mode_ii_toughness", N)["mode_ii_toughness"]
    offset = 0.3 * joints["gap"]
    before = tubular.pull_out(**joints, mode_ii_toughness=toughness, offset=offset).force
    joints["adhesive_shear_strength"] = 0.4 * joints["adhesive_shear_strength"]
    after = tubular.pull_out(**joints, mode_ii_toughness=toughness * 0.16, offset=offset).force
    np.testing.assert_allclose(after, 0.4 * before, rtol=1e-7)


def test_offset_can_make_a_stronger_layer_hold_less(joint):
    """Why strength alone must not be assumed to help: part of the ductility is cut off."""
    weak = joint | {"overlap": 300.0, "mode_ii_toughness": 0.6, "offset": 0.1}
    strong = weak | {"adhesive_shear_strength": 40.0}
    assert tubular.pull_out(**strong).force < 0.95 * tubular.pull_out(**weak).force


@pytest.mark.parametrize("kind", LAWS)
def test_order_of_the_forces(many, kind):
    joints, how = many(N), law(kind, N)
    result = tubular.pull_out(**joints, **how)
    assert np.all(result.first_yield <= result.force)
    assert np.all(result.force <= result.yield_force * (1 + 1e-12))
    assert np.all(result.force <= result.long_overlap_force * (1 + 1e-9))
    yields = result.governs == tubular.GOVERNS.index("yield")
    np.testing.assert_array_equal(yields, result.force >= result.yield_force * (1 - 1e-14))
    assert not result.bounded.any()


def test_offset_acts_as_a_smaller_failure_strain(joint):
    strain = {"failure_shear_strain": 0.4}
    offset = tubular.pull_out(**joint, **strain, offset=0.05).force
    less = tubular.pull_out(**joint, failure_shear_strain=0.3).force
    assert offset == pytest.approx(less, rel=1e-12)
    metal_contact = tubular.pull_out(**joint, **strain, offset=[0.19, 0.2, 0.5]).force
    capped = tubular.pull_out(**joint, failure_shear_strain=0.4 * 0.05).force
    np.testing.assert_allclose(metal_contact, capped, rtol=1e-12)


def test_push_is_a_pull_with_the_misfit_reversed(joint):
    elastic = {key: joint[key] for key in joint if key != "adhesive_shear_strength"}
    push = tubular.elastic_shear(**elastic, force=-800.0, misfit_strain=2e-4)
    pull = tubular.elastic_shear(**elastic, force=800.0, misfit_strain=-2e-4)
    assert (push.mouth, push.tip) == pytest.approx((-pull.mouth, -pull.tip))


extreme = st.floats(-3.0, 3.0)


@settings(deadline=None, max_examples=300)
@given(
    powers=st.lists(extreme, min_size=8, max_size=8),
    strain=st.one_of(st.just(0.0), st.floats(-0.05, 0.05)),
    kind=st.sampled_from(LAWS),
    eccentric=st.floats(0, 2),
)
def test_no_valid_joint_gives_nan_or_less_than_nothing(powers, strain, kind, eccentric):
    """Six decades of everything around the workshop joint."""
    scale = [10**p for p in powers]
    gap = 0.2 * scale[0]
    result = tubular.pull_out(
        plug_radius=6.8,
        gap=gap,
        tube_outer_radius=6.8 + gap + 1.2 * scale[1],
        overlap=30 * scale[2],
        tube_modulus=1e5 * scale[3],
        plug_modulus=7e4 * scale[4],
        adhesive_shear_modulus=700 * scale[5],
        adhesive_shear_strength=25 * scale[6],
        misfit_strain=strain,
        offset=eccentric * gap,
        **{kind: scale[7]},
    )
    for name in ("force", "first_yield", "yield_force", "long_overlap_force"):
        assert np.isfinite(getattr(result, name))
        assert getattr(result, name) >= 0
    assert result.first_yield <= result.force <= result.yield_force * (1 + 1e-9)
    if strain == 0:
        assert result.force > 0
        assert not result.bounded
        assert result.force <= result.long_overlap_force * (1 + 1e-7)


# ---- elastic stress ------------------------------------------------------------------------


def test_mean_is_force_over_area(many):
    joints = many(100)
    elastic = {key: joints[key] for key in joints if key != "adhesive_shear_strength"}
    middle = joints["plug_radius"] + joints["gap"] / 2
    found = tubular.elastic_shear(**elastic, force=1234.0).mean
    np.testing.assert_allclose(found * 2 * np.pi * middle * joints["overlap"], 1234.0)


def test_softer_member_peaks_where_it_is_alone(many):
    """The plug carries all at the mouth, the tube at the tip."""
    joints = many(N)
    _, plug, tube, *_ = decay(joints)
    elastic = {key: joints[key] for key in joints if key != "adhesive_shear_strength"}
    stress = tubular.elastic_shear(**elastic, force=1000.0)
    np.testing.assert_array_equal(stress.mouth > stress.tip, plug < tube)
    assert np.all(stress.peak >= stress.mean * (1 - 1e-9))


def test_peak_keeps_its_sign(joint):
    elastic = {key: joint[key] for key in joint if key != "adhesive_shear_strength"}
    stress = tubular.elastic_shear(**elastic, force=0.0, misfit_strain=[1e-4, -1e-4])
    np.testing.assert_allclose(np.abs(stress.peak), np.maximum(stress.mouth, stress.tip))
    np.testing.assert_allclose(stress.mouth, -stress.tip)
    np.testing.assert_allclose(stress.mean, 0.0)


def test_member_shear_lowers_the_peak(joint):
    elastic = {key: joint[key] for key in joint if key != "adhesive_shear_strength"}
    rigid = tubular.elastic_shear(**elastic, force=1e4).peak
    tube = tubular.elastic_shear(**elastic, force=1e4, tube_shear_modulus=4000.0).peak
    both = tubular.elastic_shear(
        **elastic, force=1e4, tube_shear_modulus=4000.0, plug_shear_modulus=26_000.0
    ).peak
    stiff = tubular.elastic_shear(
        **elastic, force=1e4, tube_shear_modulus=4e12, plug_shear_modulus=2e13
    ).peak
    assert rigid > tube > both
    assert stiff == pytest.approx(rigid, rel=1e-6)
