"""Cycles and steady loads on a bond of known strength, against the fatigue line by hand."""

from __future__ import annotations

import numpy as np
import pytest

from jointrisk.model.members import CREPT, WORN, modes_of

TOUGH = {"adhesive.toughness": 1e5}
HOLDS = 20.0 * 2 * np.pi * 6.5 * 20.0
"""Strength of the tough joint [N]."""
LINE = {
    "ageing.fatigue_exponent": 0.125,
    "ageing.fatigue_height": 1.71,
    "ageing.damage_at_failure": 1.0,
}
CYCLES = (
    '[[load]]\nname = "{}"\nkind = "cycles"\nsize = "{} N"\nmean = "{} N"\nrate = "{} / year"\n'
)
STEADY = '[[load]]\nname = "hangs"\nkind = "sustained"\nsize = "{} N"\n'
SHARE = "[ageing]\nsteady_share = {{ mean = {}, cov = 0.1 }}\n"


def lives(ratio):
    """Return how many cycles a bond lives through at a ratio of load to strength."""
    return (1.71 / ratio) ** (1 / 0.125)


def worn(found, scenario):
    """Return whether repeated load has undone the first rod at the end of its life."""
    return bool(found.pull[modes_of(scenario).index(WORN), 0, 0] == 0.0)


@pytest.fixture
def cycled(round_set, joint):
    """Return a function that gives one rod under loads written as text, and its scenario."""

    def build(more, values=None, *, loads=(), life="1 years", **how):
        asked = {"loads": loads, "more": more, "words": {"life": life}} | how
        set_of = {key: value for key, value in asked.items() if key != "drawn"}
        values = TOUGH | LINE | (values or {}) if "cycles" in more else TOUGH | (values or {})
        return joint(values, **asked), round_set(values, **set_of).scenario

    return build


@pytest.mark.parametrize("ratio", [0.3, 0.5, 0.9])
def test_a_bond_dies_when_its_cycles_are_used_up(cycled, ratio):
    for count, dies in ((0.999 * lives(ratio), False), (1.001 * lives(ratio), True)):
        found, scenario = cycled(CYCLES.format("sway", ratio * HOLDS, 0, count))
        assert worn(found, scenario) == dies


def test_the_rest_of_the_strength_goes_along_a_straight_line(cycled):
    """After half of its cycles it has lost half of what lies between it and the cycle's top."""
    found, _ = cycled(CYCLES.format("sway", 0.5 * HOLDS, 0, 0.5 * lives(0.5)))
    assert found.pull_rod[0, 0] == pytest.approx(0.75 * HOLDS, rel=1e-6)
    assert found.rig_pull[0, 0] == pytest.approx(HOLDS, rel=1e-9)


def test_blocks_add_up_and_a_life_twice_as_long_has_twice_the_cycles(cycled):
    two = CYCLES.format("a", 0.5 * HOLDS, 0, 0.3 * lives(0.5)) + CYCLES.format(
        "b", 0.4 * HOLDS, 0, 0.3 * lives(0.4)
    )
    found, scenario = cycled(two)
    assert not worn(found, scenario)
    assert found.pull_rod[0, 0] == pytest.approx(HOLDS * (1 - 0.5 * 0.6), rel=1e-6)
    assert worn(*cycled(two, life="2 years"))


def test_the_top_of_a_cycle_is_its_mean_and_its_amplitude_and_what_hangs_there(cycled):
    lifted = CYCLES.format("sway", 0.2 * HOLDS, 0.2 * HOLDS, 0.5 * lives(0.5))
    found, _ = cycled(lifted + STEADY.format(0.1 * HOLDS))
    assert found.pull_rod[0, 0] == pytest.approx(0.75 * HOLDS, rel=1e-6)


def test_a_push_counts_as_much_as_a_pull_and_not_behind_a_shoulder(cycled):
    pushed = CYCLES.format("sway", 0.3 * HOLDS, -0.2 * HOLDS, 0.5 * lives(0.5))
    found, _ = cycled(pushed)
    assert found.pull_rod[0, 0] == pytest.approx(0.75 * HOLDS, rel=1e-6)
    found, _ = cycled(pushed, shoulder=True)  # only the pull of 0.1 is left
    keeps = 1 - 0.9 * 0.5 * lives(0.5) / lives(0.1)
    assert found.pull_rod[0, 0] == pytest.approx(keeps * HOLDS, rel=1e-6)


def test_damage_adds_up_over_the_slices_of_an_ageing_life(cycled):
    """Two slices: a quarter of the life's cycles in each half, at the strength of its end."""
    damp = {
        "service.humidity": 1.0,
        "ageing.wet_share": 0.6,
        "ageing.wetting_time": 1.0,
        "ageing.own_scatter": 0.0,
    }
    text = CYCLES.format("sway", 0.3 * HOLDS, 0, 0.2 * lives(0.4))
    how = {"words": {"life": "2 years", "humidity": 1.0}}
    found, _ = cycled(text, damp, slices=2, **how)
    left = [1 - 0.4 * (1 - np.exp(-year)) for year in (1.0, 2.0)]
    ratios = [0.3 / share for share in left]
    damage = sum(0.2 * lives(0.4) / lives(ratio) for ratio in ratios)
    held = HOLDS * left[1] * (1 - (1 - ratios[1]) * damage)
    assert found.pull_rod[0, 0] == pytest.approx(held, rel=1e-6)


def test_what_a_first_cycle_breaks_is_gone(cycled):
    assert worn(*cycled(CYCLES.format("sway", 1.01 * HOLDS, 0, 1)))
    assert not worn(*cycled(CYCLES.format("sway", 0.99 * HOLDS, 0, 1)))


def test_a_worn_rod_fails_for_sure_and_by_that_name(cycled, round_set):
    text = CYCLES.format("sway", 0.5 * HOLDS, 0, 2 * lives(0.5))
    rods = round_set(TOUGH | LINE, loads=(("pull", "900 N"),), more=text, words={"life": "1 years"})
    values = rods.values(np.zeros((1, rods.layout.dimension)))
    strength = rods.resistance(values, np.zeros((1, rods.layout.label_count), dtype=bool))
    assert rods.failure_chance(values, strength)[0] == 1.0
    rates = rods.hazard(values, strength).mode[0, :, 0]
    assert np.flatnonzero(np.isinf(rates)).tolist() == [modes_of(rods.scenario).index(WORN)]


@pytest.mark.parametrize(("force", "dies"), [(0.29, False), (0.31, True), (-0.31, True)])
def test_a_steady_load_undoes_a_bond_only_where_its_share_is_counted(cycled, force, dies):
    text = STEADY.format(force * HOLDS)
    found, scenario = cycled(text, loads=(("pull", "900 N"),))
    assert CREPT not in modes_of(scenario)
    assert found.steady[0] == pytest.approx(abs(force), rel=1e-9)
    found, scenario = cycled(SHARE.format(0.3) + text, loads=(("pull", "900 N"),))
    place = modes_of(scenario).index(CREPT)
    assert (found.pull[place, 0, 0] == 0.0) == dies
