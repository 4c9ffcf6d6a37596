"""Scenarios small enough to reason about by hand."""

from __future__ import annotations

import pytest

import jointrisk

PLAIN = """
schema = 1
title = "test rod"
[life]
duration = "{life}"
[rods]
count = {rods}
length = "300 mm"
[tube]
material = "{tube}"
outer_diameter = "16 mm"
bore = {{ mean = "13.2 mm", sd = "0.03 mm" }}
[plug]
material = "{plug}"
diameter = {{ mean = "12.9 mm", sd = "0.03 mm" }}
overlap = {{ mean = "20 mm", sd = "0.5 mm" }}
[adhesive]
class = "two-part toughened epoxy"
evidence = "{evidence}"
shear_strength = {{ mean = "20 MPa", cov = 0.1 }}
[preparation]
plug = "abraded and wiped"
tube = "abraded and wiped"
[weak_bonds]
lone_weight = {lone}
bad_batch_weight = {bad}
[batch]
rods = {batch}
[service]
workshop_temperature = "23 degC"
hottest = "{hottest}"
coldest = "{coldest}"
humidity = {humidity}
{more}
"""

LOAD = """
[[load]]
name = "jerk"
kind = "annual_maximum"
direction = "{direction}"
size = {{ mean = "{mean}", cov = 0.25 }}
"""


@pytest.fixture
def make():
    """Return a function that builds a scenario, every word of it replaceable."""

    def build(loads: tuple[tuple[str, str], ...] = (("pull", "900 N"),), more: str = "", **words):
        values = {
            "life": "3 years",
            "rods": 1,
            "tube": "carbon tube, roll-wrapped",
            "plug": "aluminium 6082-T6",
            "evidence": "own coupons",
            "lone": "0.01",
            "bad": "0.01",
            "batch": 1,
            "hottest": "23 degC",
            "coldest": "23 degC",
            "humidity": 0.4,
        }
        values |= words
        text = PLAIN.format(more=more, **values)
        for direction, mean in loads:
            text += LOAD.format(direction=direction, mean=mean).replace(
                '"jerk"', f'"jerk {direction}"'
            )
        return jointrisk.load_text(text)

    return build
