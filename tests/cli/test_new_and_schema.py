import inspect
import json
import subprocess
import sys
from pathlib import Path

import pytest

from jointrisk import scenario
from jointrisk.cli import app
from jointrisk.report.result_schema import RESULTS, result_schema


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


def test_schema_of_a_scenario_can_be_asked_for_by_name(run):
    assert json.loads(run("schema", "scenario").out) == scenario.schema()
    assert run("schema", "scenario").out == run("schema").out


@pytest.mark.parametrize("what", RESULTS)
def test_schema_of_a_document(run, what):
    done = run("schema", what)
    assert done.status == 0
    assert json.loads(done.out) == result_schema(what)
    assert done.err == ""


def test_every_command_that_prints_a_document_has_a_schema(run):
    commands = app.app.registered_commands
    with_json = {c.name for c in commands if "json" in inspect.signature(c.callback).parameters}
    assert set(RESULTS) == with_json
    told = "".join(run("schema", "-h").out.split())  # a line may end at the hyphen of a name
    for what in ("scenario", *RESULTS):
        assert what in told


@pytest.mark.parametrize(("what", "guess"), [("asess", "assess"), ("Scenarios", "scenario")])
def test_a_schema_of_something_unknown_names_the_known_and_the_nearest(run, what, guess):
    done = run("schema", what)
    assert done.status == 2
    assert done.out == ""
    assert f"WHAT: got {what!r}; expected one of: scenario, assess, proof" in done.err
    assert f"did you mean {guess!r}?" in done.err


def test_a_schema_of_something_far_off_gets_no_guess(run):
    done = run("schema", "zzz")
    assert done.status == 2
    assert "got 'zzz'" in done.err
    assert "did you mean" not in done.err


@pytest.mark.parametrize("words", [("-h",), ("rank",)])
def test_schema_loads_nothing_heavy(words):
    heavy = ("scipy", "pandas", "matplotlib", "jinja2", "rich")
    code = (
        f"import sys; sys.argv = ['jointrisk', 'schema', *{words!r}]\n"
        "from jointrisk.cli.app import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print([m for m in {heavy!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout
    assert done.stderr == "[]\n"
