"""What scenarios drawn at random showed up, kept small."""

import pytest

from jointrisk import scenario
from jointrisk.errors import ScenarioError

START = scenario.new("plug-in-tube")
OVERLAP = "overlap = {"
DIAMETER = 'diameter = { mean = "11.6 mm", sd = "0.02 mm" }'


@pytest.mark.parametrize(
    ("key", "said", "value"),
    [
        ("off_centre", '"95 %"', 0.95),  # 95 times 0.01 is a hair above 0.95
        ("off_centre", "0.95", 0.95),
        ("glued_share", '"100 %"', 1.0),
        ("off_centre", '"0 %"', 0.0),
    ],
)
def test_a_share_may_lie_at_its_limit(key, said, value):
    found = scenario.load_text(START.replace(OVERLAP, f"{key} = {said}\n{OVERLAP}", 1))
    assert found.variables[f"plug.{key}"].spread.mean == pytest.approx(value, rel=1e-12)


def test_a_share_a_little_above_its_limit_is_refused():
    with pytest.raises(ScenarioError, match=r"off_centre: is out of range \(got 0.951; "):
        scenario.load_text(START.replace(OVERLAP, f'off_centre = "95.1 %"\n{OVERLAP}', 1))


def test_scope_kind_and_source_of_a_gap_go_with_the_diameter_made_of_it():
    gap = 'radial_gap = { mean = "0.2 mm", sd = "0.03 mm"'
    plain = scenario.load_text(START.replace(DIAMETER, gap + " }", 1)).variables["plug.diameter"]
    words = ', scope = "batch", kind = "not known", source = "feeler" }'
    said = scenario.load_text(START.replace(DIAMETER, gap + words, 1)).variables["plug.diameter"]
    assert (plain.scope, plain.kind) == ("joint", "scatter")
    assert (said.scope, said.kind, said.source) == ("batch", "not known", "feeler")
    assert said.spread == plain.spread
