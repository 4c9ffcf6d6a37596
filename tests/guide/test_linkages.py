"""The worked examples of the topic on linkages, worked again."""

import math
import re

import pytest

from jointrisk.mechanics.linkage import dynamic_factor, rod_force, two_force_member
from jointrisk.units import parse


@pytest.fixture
def topic(plain):
    return plain["linkages"]


def test_the_lever_of_the_example(topic):
    told = re.search(
        r"(\d+) N at a lever of (\d+) mm, a rod at (\d+) mm and (\d+) deg: .*? = (\d+) N; "
        r"jerked, x ([\d.]+) = (\d+) N",
        topic,
    )
    size, lever, arm, angle, force, jerk, jerked = map(float, told.groups())
    found = rod_force(size, lever / arm, math.radians(angle))
    assert force == pytest.approx(float(found), abs=0.5)
    assert jerked == pytest.approx(jerk * float(found), abs=0.5)
    assert f"counts {dynamic_factor():g}" in topic


def test_the_steering_arm_of_the_example(topic, pieces):
    (load,) = [piece["load"][0] for piece in pieces["linkages"] if "moment" in piece["load"][0]]
    points = {
        name: [parse(text, "length") for text in load[name]]
        for name in ("near_end", "far_end", "pivot")
    }
    per = float(two_force_member(1.0, **points))
    arm, force = re.search(r"= ([\d.]+) mm and the rod meets .*? = (\d+) N", topic).groups()
    assert float(arm) == pytest.approx(1.0 / per, abs=0.05)
    moment = parse(load["moment"]["mean"], "moment")
    assert float(force) == pytest.approx(1000.0 * moment * per, abs=0.5)
