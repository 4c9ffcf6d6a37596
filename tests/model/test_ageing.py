"""Bonds in the course of a life, against strength by hand: a tough, short joint yields."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.model.ageing import OWN, unread_keys
from jointrisk.model.layout import varies
from jointrisk.model.rodset import rod_set

TOUGH = {"adhesive.toughness": 1e5}
YIELDS = 20.0 * 2 * np.pi * 6.5 * 20.0
"""Force of the tough joint when new: strength times area [N]."""
DAMP = {
    "service.humidity": 0.8,
    "ageing.wet_share": 0.4,
    "ageing.wetting_time": 0.5,
    "ageing.own_scatter": 0.0,
    "weak_bonds.latent_keeps": 0.2,
}
WORDS = {"humidity": 0.8, "life": "2 years"}


def left(years, share=0.4, damp=0.8, time=0.5):
    """Return what damp leaves of the strength: no loss up to half, then straight to all."""
    return 1.0 - (1.0 - share) * (damp - 0.5) / 0.5 * (1.0 - np.exp(-years / time))


def test_a_bond_is_new_in_the_rig_and_damp_at_the_end_of_its_life(joint):
    found = joint(TOUGH | DAMP, words=WORDS)
    assert found.rig_joint[:, 0] == pytest.approx([YIELDS, YIELDS], rel=1e-9)
    assert found.pull_rod[0, 0] == pytest.approx(YIELDS * left(2.0), rel=1e-9)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_each_slice_has_the_strength_of_its_end(joint, count):
    found = joint(TOUGH | DAMP, words=WORDS, slices=count)
    ends = 2.0 * np.arange(1, count + 1) / count
    held = [service.pull.min(axis=0)[0, 0] for service in found.slices]
    assert held == pytest.approx(YIELDS * left(ends), rel=1e-9)


@pytest.mark.parametrize("humidity", [0.0, 0.3, 0.5])
def test_dry_bonds_stay_as_they_are_and_draw_nothing_of_ageing(make, humidity):
    rods = rod_set(make(humidity=humidity))
    assert not rods.scenario.ages
    assert not [key for key in rods.variables if key.startswith("ageing.")]
    assert "weak_bonds.latent_keeps" not in rods.variables
    assert rods.layout.latent_joint_labels.stop == rods.layout.weak_joint_labels.stop


def test_what_nothing_reads_is_not_drawn(make):
    cycles = '[[load]]\nname = "sway"\nkind = "cycles"\nsize = "90 N"\nrate = "99 / year"\n'
    steady = '[[load]]\nname = "hangs"\nkind = "sustained"\nsize = "90 N"\n'
    share = "[ageing]\nsteady_share = { mean = 0.3, cov = 0.1 }\n"
    assert "ageing.fatigue_exponent" in unread_keys(make())
    assert "ageing.fatigue_exponent" not in unread_keys(make(more=cycles))
    assert "ageing.steady_share" in unread_keys(make(more=steady))
    assert "ageing.steady_share" in unread_keys(make(more=share))
    assert "ageing.steady_share" not in unread_keys(make(more=share + steady))


@pytest.mark.parametrize("score", [-2.0, 1.0])
def test_joints_age_apart_at_their_surface_in_proportion_to_the_loss(joint, score):
    """Scatter of the log: that of a lognormal whose CoV is the full one times the loss reached."""
    values = TOUGH | DAMP | {"preparation.plug": 0.5, "ageing.own_scatter": 0.18}
    found = joint(values, drawn={OWN: [score, 0.0]}, words=WORDS)
    reached = 0.6 * (1.0 - np.exp(-2.0 / 0.5))
    own = np.exp(score * np.sqrt(np.log(1.0 + (0.18 * reached) ** 2)))
    held = 0.5 * YIELDS * left(2.0)
    assert found.pull_rod[0, 0] == pytest.approx(held * min(own, 1.0), rel=1e-9)
    assert found.rig_joint[:, 0] == pytest.approx(0.5 * YIELDS, rel=1e-9)


def test_a_surface_never_grows_stronger_than_the_adhesive(joint):
    values = TOUGH | DAMP | {"ageing.own_scatter": 0.5}
    found = joint(values, drawn={OWN: [6.0, 6.0]}, words=WORDS)
    assert found.pull_rod[0, 0] == pytest.approx(YIELDS * left(2.0), rel=1e-9)


@pytest.mark.parametrize(
    ("key", "value", "share"),
    [("service.humidity", 1.03, left(2.0, damp=1.0)), ("ageing.wet_share", 1.04, 1.0)],
)
def test_a_share_moved_past_1_counts_as_1(joint, key, value, share):
    """A question of what a higher mean would do moves draws out of their range."""
    found = joint(TOUGH | DAMP, drawn={key: value}, words=WORDS)
    assert found.pull_rod[0, 0] == pytest.approx(YIELDS * share, rel=1e-9)


def test_damp_undoes_a_latent_joint_that_a_pull_today_cannot_tell(round_set):
    rods = round_set(TOUGH | DAMP, words=WORDS)
    labels = np.zeros((2, rods.layout.label_count), dtype=bool)
    labels[1, rods.layout.latent_joint_labels.start + 1] = True
    found = rods.resistance(rods.values(np.zeros((2, rods.layout.dimension))), labels)
    assert found.rig_pull[0, 0] == found.rig_pull[0, 1]
    reached = 0.6 * (1.0 - np.exp(-2.0 / 0.5))
    share = found.pull_rod[0, 1] / found.pull_rod[0, 0]
    assert share == pytest.approx(1.0 - 0.8 * reached, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([2, 3, 7]))
def test_more_slices_never_make_a_life_worse(seed, count):
    rods, sliced = LIVES[1], LIVES[count]
    rng = np.random.default_rng(seed)
    u = rng.standard_normal((20, rods.layout.dimension))
    labels = rng.random((20, rods.layout.label_count)) < 0.2
    chances, exact = [], np.ones(20, dtype=bool)
    for one in (rods, sliced):
        values = one.values(u)
        strength = one.resistance(values, labels)
        chances.append(one.failure_chance(values, strength))
        exact &= ~strength.bounded  # a stand-in for a missing closed form follows no order
    assert (chances[1] <= chances[0] * (1 + 1e-12))[exact].all()


def test_all_of_it_varies_by_default(make):
    rods = rod_set(make(humidity="{ never_outside = [0.6, 0.9] }"))
    for key in ("service.humidity", "ageing.wet_share", "ageing.wetting_time", OWN):
        assert varies(rods.variables[key])
    assert rods.variables[OWN].scope == "joint"
    unknown = [key for key in rods.variables if key.startswith(("ageing.w", "service.h"))]
    assert {rods.variables[key].kind for key in unknown if "humid" in key or "wet" in key} == {
        "not known"
    }


@pytest.fixture(autouse=True, scope="module")
def _lives():
    import jointrisk

    text = SLICED
    LIVES.update(
        {count: rod_set(jointrisk.load_text(text.format(count))) for count in (1, 2, 3, 7)}
    )


LIVES: dict = {}
SLICED = """
schema = 1
[life]
duration = "6 years"
slices = {}
[rods]
length = "300 mm"
[tube]
material = "carbon tube, roll-wrapped"
outer_diameter = "16 mm"
bore = {{ mean = "13.2 mm", sd = "0.03 mm" }}
[plug]
material = "aluminium 6082-T6"
diameter = {{ mean = "12.9 mm", sd = "0.03 mm" }}
overlap = "20 mm"
off_centre = 0.0
[adhesive]
class = "two-part toughened epoxy"
[service]
humidity = 0.9
[ageing]
wetting_time = "3 years"
[[load]]
name = "jerk"
kind = "annual_maximum"
direction = "pull"
size = {{ mean = "1500 N", cov = 0.3 }}
[[load]]
name = "sway"
kind = "cycles"
size = {{ mean = "500 N", cov = 0.3 }}
rate = "20000 / year"
"""
