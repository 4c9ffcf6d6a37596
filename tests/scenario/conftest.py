"""A small scenario to change one thing in, and a way to read what is wrong with it."""

import pytest

from jointrisk import scenario
from jointrisk.errors import ScenarioError

SMALL = """
schema = 1
[life]
duration = "10 years"
[rods]
length = "400 mm"
[tube]
material = "carbon tube, roll-wrapped"
outer_diameter = "14 mm"
bore = { mean = "12 mm", sd = "0.03 mm" }
[plug]
material = "aluminium 6082-T6"
diameter = { mean = "11.6 mm", sd = "0.02 mm" }
overlap = { mean = "25 mm", sd = "0.5 mm" }
[adhesive]
class = "two-part toughened epoxy"
[service]
hottest = "45 degC"
coldest = "-10 degC"
humidity = 0.45
"""


@pytest.fixture
def small():
    """Return a function that gives the small scenario's text with parts put in and replaced."""

    def text(*changes, after=""):
        changed = SMALL
        for old, new in changes:
            assert changed.count(old) == 1, old
            changed = changed.replace(old, new)
        return changed + after

    return text


@pytest.fixture
def problems():
    """Return a function that gives the lines of what is wrong with a text."""

    def lines(text):
        with pytest.raises(ScenarioError) as caught:
            scenario.load_text(text, name="rod.toml")
        assert caught.value.exit_status == 3
        assert str(caught.value).splitlines() == [
            problem.line("rod.toml") for problem in caught.value.problems
        ]
        return str(caught.value).splitlines()

    return lines
