"""Flat strips against the bars and springs of oracle.py, the tubular joint, and limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.mechanics import flat, tubular

STRIPS = {
    "width": 25.0,
    "overlap": 25.0,
    "thickness_1": 2.0,
    "thickness_2": 3.0,
    "modulus_1": 7e4,
    "modulus_2": 2.1e5,
    "adhesive_thickness": 0.2,
    "adhesive_shear_modulus": 700.0,
    "adhesive_shear_strength": 25.0,
}
HUGE = 1e5  # mm, radius at which a tube is as good as flat


def random_face(index):
    rng = np.random.default_rng([77, index])
    return {
        "width": rng.uniform(10, 60),
        "overlap": rng.uniform(4, 120),
        "thickness_1": rng.uniform(0.8, 6),
        "thickness_2": rng.uniform(0.8, 6),
        "modulus_1": rng.uniform(2e4, 2.1e5),
        "modulus_2": rng.uniform(2e4, 2.1e5),
        "adhesive_thickness": rng.uniform(0.05, 1.5),
        "adhesive_shear_modulus": rng.uniform(60, 4000),
        "adhesive_shear_strength": rng.uniform(5, 40),
        "mode_ii_toughness": 10 ** rng.uniform(-0.7, 1),
        "misfit_strain": rng.choice([0.0, rng.uniform(-5e-4, 5e-4)]),
    }


@pytest.mark.parametrize("index", range(20))
def test_force_against_bars_and_springs(oracle, index):
    """The oracle's ring of springs of huge radius, its force brought to the strip's width."""
    face = random_face(index)
    tau, t = face["adhesive_shear_strength"], face["adhesive_thickness"]
    G, work = face["adhesive_shear_modulus"], face["mode_ii_toughness"]
    slip = (
        work / tau + t * tau / G / 2 if work > t * tau**2 / G / 2 else math.sqrt(2 * work * t / G)
    )
    joint = oracle.Joint(
        R=HUGE + t + face["thickness_2"],
        rp=HUGE,
        rb=HUGE - face["thickness_1"],
        t=t,
        L=face["overlap"],
        Et=face["modulus_2"],
        Ep=face["modulus_1"],
        G=G,
        tau=tau,
        slip=slip,
        misfit=face["misfit_strain"],
    )
    force, yielded = oracle.pull_out(joint, nodes=801)
    found = flat.pull_apart(**face)
    expected = force * face["width"] / joint.circumference
    assert found.force == pytest.approx(expected, rel=3e-4)
    assert found.yielded == (yielded == "all")


def test_a_tube_of_huge_radius_is_flat():
    """Same layer, same stretch stiffness around the same glued width."""
    joint = tubular.pull_out(
        tube_outer_radius=HUGE + 3.2,
        plug_radius=HUGE,
        plug_bore_radius=HUGE - 2,
        gap=0.2,
        overlap=60.0,
        tube_modulus=2.1e5,
        plug_modulus=7e4,
        adhesive_shear_modulus=700.0,
        adhesive_shear_strength=25.0,
        mode_ii_toughness=2.0,
    )
    face = flat.pull_apart(**{**STRIPS, "overlap": 60.0}, mode_ii_toughness=2.0)
    assert not face.yielded
    around = 2 * math.pi * (HUGE + 0.1)
    assert joint.force / around == pytest.approx(face.force / STRIPS["width"], rel=1e-4)


def test_a_short_lap_yields_all_over():
    found = flat.pull_apart(**{**STRIPS, "overlap": 5.0}, mode_ii_toughness=2.0)
    assert found.yielded
    assert found.force == found.yield_force == pytest.approx(25.0 * 25 * 5)


def test_a_long_lap_holds_what_its_toughness_gives():
    found = flat.pull_apart(**{**STRIPS, "overlap": 500.0}, mode_ii_toughness=2.0)
    strips = {k: v for k, v in STRIPS.items() if k.startswith(("width", "thick", "modulus"))}
    endless = flat.long_lap_force(**strips, mode_ii_toughness=2.0)
    assert found.force == pytest.approx(endless, rel=1e-9)
    soft, stiff = 7e4 * 2, 2.1e5 * 3
    assert endless == pytest.approx(25 * soft * math.sqrt(2 * 2.0 * (1 / soft + 1 / stiff)))


@given(
    longer=st.floats(1, 20), wider=st.floats(0.1, 10), work=st.floats(0.05, 20),
    tau=st.floats(2, 60),
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_what_must_hold(longer, wider, work, tau):
    case = {**STRIPS, "adhesive_shear_strength": tau}
    one = flat.pull_apart(**case, mode_ii_toughness=work)
    assert 0 < one.force <= one.yield_force * (1 + 1e-12)
    more = flat.pull_apart(**{**case, "overlap": 25 * longer}, mode_ii_toughness=work)
    assert more.force >= one.force * (1 - 1e-9)
    wide = flat.pull_apart(**{**case, "width": 25 * wider}, mode_ii_toughness=work)
    assert wide.force == pytest.approx(one.force * wider)
    tougher = flat.pull_apart(**case, mode_ii_toughness=1.2 * work)
    assert tougher.force >= one.force * (1 - 1e-9)
    turned = {f"{name}_{3 - n}": case[f"{name}_{n}"] for name in ("thickness", "modulus")
              for n in (1, 2)}  # fmt: skip
    assert flat.pull_apart(**{**case, **turned}, mode_ii_toughness=work).force == pytest.approx(
        one.force
    )


def test_strain_at_failure_and_toughness_are_the_same_thing():
    tau, G, t, strain = 25.0, 700.0, 0.2, 0.5
    work = tau * t * (strain - tau / G / 2)
    by_strain = flat.pull_apart(**{**STRIPS, "overlap": 80.0}, failure_shear_strain=strain)
    by_work = flat.pull_apart(**{**STRIPS, "overlap": 80.0}, mode_ii_toughness=work)
    assert by_strain.force == pytest.approx(by_work.force)


def test_arrays_broadcast():
    found = flat.pull_apart(
        **{**STRIPS, "overlap": [[5.0], [50.0]]}, mode_ii_toughness=[1.0, 2.0, 3.0]
    )
    assert found.force.shape == found.yielded.shape == found.yield_force.shape == (2, 3)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"width": -2.0}, r"^width .* got -2$"),
        ({"thickness_2": 0.0}, r"^thickness_2 .* got 0$"),
        ({"adhesive_thickness": -0.3}, r"^adhesive_thickness .* got -0\.3$"),
        ({"adhesive_shear_strength": 0.0}, r"^adhesive_shear_strength .* got 0$"),
        ({"mode_ii_toughness": -1.0}, r"^mode_ii_toughness .* got -1$"),
        ({"mode_ii_toughness": None}, "got neither"),
        ({"failure_shear_strain": 0.4}, "got both"),
        ({"failure_shear_strain": -0.4, "mode_ii_toughness": None}, r"^failure_shear.* got -0\.4$"),
        ({"overlap": [1.0, 2.0], "width": [1.0, 2.0, 3.0]}, r"width \(3,\).*overlap \(2,\)"),
    ],
)
def test_refusals(changed, message):
    with pytest.raises(InputError, match=message):
        flat.pull_apart(**{**STRIPS, "mode_ii_toughness": 2.0, **changed})
