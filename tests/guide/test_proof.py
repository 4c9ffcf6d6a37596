"""What the guide says of rigs and of the card is what the program does."""

import re

import pytest

from jointrisk.report.card import LOG_COLUMNS
from jointrisk.scenario import tables


@pytest.mark.parametrize("name", list(tables.rigs()))
def test_a_rig_is_its_row(texts, name):
    row = tables.rigs()[name]
    (line,) = re.findall(rf"(?m)^    {re.escape(name)} +(\d.*)$", texts["proof"])
    error, bias = (float(word) / 100 for word in line.replace("%", "").split())
    assert (error, bias) == pytest.approx((row.error.typical, row.bias.typical), rel=2e-3)
    assert f"rig, {name}: " in texts["sources"]
    assert row.bias.source in " ".join(texts["sources"].split())


def test_the_arms_of_a_lever_are_their_cell(texts):
    (share,) = re.findall(r"its arms, measured with a tape +([\d.]+) %", texts["proof"])
    assert float(share) / 100 == tables.rigs()["lever"].arms.typical
    assert "bias = sqrt(gauge^2 + arms^2)" in texts["proof"]


def test_a_class_is_taken_as_the_guide_says(plain):
    assert "standard deviation c/sqrt(3) for +-c" in plain["proof"]
    bias = tables.rigs()["jack, gauge class 1"].bias.typical
    assert bias == pytest.approx(0.01 / 3**0.5, rel=0.01)


def test_the_files_of_the_folder_are_those_that_are_written(plain):
    for name in ("proof.html", "card.html", "card.txt", "log.csv", "proof.json"):
        assert name in plain["proof"]
    assert LOG_COLUMNS[:4] == ("part", "batch", "load [N]", "held")


def test_a_person_is_never_a_weight(plain):
    assert "Never let a person hang from a rod" in plain["proof"]
