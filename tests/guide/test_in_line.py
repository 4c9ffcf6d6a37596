"""What the guide says of rod ends, parts and back-ups is what the program does."""

import math
import re

import pytest

from jointrisk.mechanics import backup, members
from jointrisk.model.members import DRILLED, lets_go
from jointrisk.scenario import inline, tables
from jointrisk.scenario.types import Part


@pytest.fixture(scope="module")
def told(plain):
    return plain["in-line"]


def test_the_stress_area_of_a_shank(told):
    assert "F = strength pi/4 ((d2 + d3)/2)^2 d2 = d - 0.6495 P d3 = d - 1.2269 P" in told
    d, P = 8.0, 1.25
    area = math.pi / 4 * ((d - 0.6495 * P + d - 1.2269 * P) / 2) ** 2
    assert members.thread_stress_area(d, P) == pytest.approx(area, rel=1e-4)


@pytest.mark.parametrize("n", [1, 2])
def test_the_limits_of_a_back_up(told, n):
    for line in (
        "pin shears off F = n pi/4 d^2 shear strength of the pin",
        "hole is crushed F = n d h bearing strength",
        "wall tears out F = 2 n e h shear strength of the wall",
    ):
        assert line in told
    d, h, e, strength = 3.0, 1.2, 7.0, 250.0
    assert backup.pin_shear(d, strength, n) == pytest.approx(n * math.pi / 4 * d**2 * strength)
    assert backup.hole_bearing(d, h, strength, n) == pytest.approx(n * d * h * strength)
    assert backup.shear_out(e, h, strength, n) == pytest.approx(2 * n * e * h * strength)


def test_a_thin_wall_loses_four_strips_at_most(told):
    """Strength over concentration times the ring less 2 holes by the wall, nearly."""
    assert "section breaks F = strength/concentration (A - what the hole cuts)" in told
    found = backup.drilled_tube_tension(20.0, 19.9, 2.0, 300.0, 1.5)
    ring = math.pi * (20.0**2 - 19.9**2)
    assert found == pytest.approx(300.0 / 1.5 * (ring - 2 * 2.0 * 0.1), rel=2e-3)


def test_n_is_two_for_pin_and_bolt(told):
    assert "with n = 2 for pin and bolt and 1 for a screw" in told
    assert inline._PLANES == {"cross pin": 2, "bolt": 2, "screw": 1}


@pytest.mark.parametrize("use", list(tables.rod_end_uses()))
def test_a_use_is_its_row(texts, use):
    row = tables.rod_end_uses()[use]
    (line,) = re.findall(rf"(?m)^    {use} +(.*)$", texts["in-line"])
    assert line == f"{row.low:g} to {row.high:g}"
    assert row.source.split(";")[0] in " ".join(texts["sources"].split())


def test_names_in_the_report_are_those_the_guide_leads_to(told):
    for name in DRILLED:
        assert name.endswith("breaks at the hole of the back-up")
    assert "told as breaking at the hole of the back-up" in told
    assert lets_go(Part("clamp", "rod", in_rig=False)) == "clamp lets go"


def test_the_rule_book_is_named_and_others_come_first(told):
    """Formula SAE Rules 2026, V.3.2.7, read in the source."""
    assert "Formula SAE Rules 2026, V.3.2.7" in told
    assert "where you live or race come first" in told
