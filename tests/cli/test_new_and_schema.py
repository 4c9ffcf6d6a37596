import json
from pathlib import Path

import pytest


def test_without_kind_the_kinds_are_listed(run):
    done = run("new")
    assert done.status == 0
    assert done.out.startswith("plug-in-tube  ")
    assert not list(Path().iterdir())


def test_each_kind_stands_on_a_line_of_its_own(run):
    lines = run("new").out.splitlines()
    assert [line.split()[0] for line in lines] == ["plug-in-tube", "sleeve-over-tube"]


def test_a_sleeve_s_file_can_be_checked(run):
    run("new", "sleeve-over-tube", "s.toml")
    done = run("check", "s.toml")
    assert done.status == 0
    assert "sleeve.outer_diameter" in done.out
    assert "plug." not in done.out


def test_writes_a_scenario_and_says_what_comes_next(run):
    done = run("new", "plug-in-tube")
    assert done.status == 0
    assert done.out == ""
    assert "jointrisk check plug-in-tube.toml" in done.err
    assert "schema = 1" in Path("plug-in-tube.toml").read_text(encoding="utf-8")


def test_the_file_can_be_named_and_quiet_says_nothing(run):
    done = run("new", "plug-in-tube", "mine.toml", "-q")
    assert done.err == ""
    assert Path("mine.toml").exists()


def test_an_existing_file_is_left_as_it_is(run):
    Path("mine.toml").write_text("dear to me")
    done = run("new", "plug-in-tube", "mine.toml")
    assert done.status == 2
    assert "mine.toml exists" in done.err
    assert Path("mine.toml").read_text() == "dear to me"


def test_a_folder_that_is_not_there_is_named(run):
    done = run("new", "plug-in-tube", "nowhere/mine.toml")
    assert done.status == 2
    assert "nowhere/mine.toml" in done.err


@pytest.mark.parametrize(("kind", "guess"), [("plug-in-tub", True), ("zzz", False)])
def test_an_unknown_kind_names_the_known_and_the_nearest(run, kind, guess):
    done = run("new", kind)
    assert done.status == 2
    assert repr(kind) in done.err
    assert "expected one of: plug-in-tube" in done.err
    assert ("did you mean" in done.err) == guess


def test_schema_is_one_json_document(run):
    done = run("schema")
    assert done.status == 0
    assert json.loads(done.out)["type"] == "object"
    assert done.err == ""
