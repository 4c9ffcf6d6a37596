"""The names that outside programs rely on."""

import tomllib
from pathlib import Path

import pytest

import jointrisk
from jointrisk import scenario


def test_one_version():
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))
    assert jointrisk.__version__ == project["project"].get("version", jointrisk.__version__)


def test_names_of_the_scenario_room():
    assert jointrisk.load is scenario.load
    assert jointrisk.load_text is scenario.load_text
    assert jointrisk.load_options is scenario.load_options
    assert jointrisk.scenario is scenario


def test_rooms_come_when_asked_for():
    assert jointrisk.spread.Fixed(3.0).mean == 3.0
    assert jointrisk.units.parse("1 in", "length") == 25.4


def test_public_names_are_listed():
    assert set(jointrisk.__all__) <= set(dir(jointrisk))


def test_an_unknown_name_is_named():
    with pytest.raises(AttributeError, match="'asess'"):
        _ = jointrisk.asess
