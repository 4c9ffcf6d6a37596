"""`--option` on check and assess."""

import json
from pathlib import Path

import pytest

import jointrisk

OPTIONS = """
[options."longer overlap"]
plug.overlap = { mean = "32 mm", sd = "0.5 mm" }
[options."Gap, measured!"]
without = ["plug.diameter"]
plug.radial_gap = { mean = "0.2 mm", sd = "0.03 mm" }
"""


@pytest.fixture
def rods(run):
    """Write a file with two options."""
    run("new", "plug-in-tube", "rods.toml")
    path = Path("rods.toml")
    path.write_text(path.read_text("utf-8") + OPTIONS, encoding="utf-8")
    return path


def test_check_lists_the_options_last(run, rods):
    done = run("check", rods)
    assert done.status == 0
    assert done.out.splitlines()[-3:] == [
        "Options of this file",
        '  jointrisk check rods.toml --option "longer overlap"',
        '  jointrisk check rods.toml --option "Gap, measured!"',
    ]
    assert "25 mm on average" in done.out


def test_check_shows_the_option_that_is_asked_for(run, rods):
    done = run("check", rods, "--option", "longer overlap")
    assert done.status == 0
    assert done.out.startswith("Rod with glued ends: longer overlap\n")
    assert "32 mm on average" in done.out
    assert "25 mm on average" not in done.out
    assert "Options of this file" not in done.out
    assert done.err.endswith('jointrisk assess rods.toml --option "longer overlap"\n')


def test_check_of_a_file_without_options_lists_none(run):
    run("new", "plug-in-tube", "rods.toml")
    assert "Options" not in run("check", "rods.toml").out


@pytest.mark.parametrize("command", ["check", "assess"])
def test_an_unknown_option_names_the_nearest(run, rods, command):
    done = run(command, rods, "--option", "longer overlp")
    assert done.status == 3
    assert done.out == ""
    for part in ('"longer overlp"', 'did you mean "longer overlap"?', '"Gap, measured!"'):
        assert part in done.err
    assert not list(Path().glob("*-report"))


def test_check_tells_faults_of_an_option_that_is_not_asked_for(run, rods):
    rods.write_text(rods.read_text("utf-8").replace('"32 mm"', '"32 MPa"'), encoding="utf-8")
    for words in ((), ("--option", "Gap, measured!")):
        done = run("check", rods, *words)
        assert done.status == 3
        assert 'rods.toml: options."longer overlap".plug.overlap: ' in done.err
        assert "32 MPa" in done.err


def test_assess_hands_the_option_on(run, study, monkeypatch):
    asked = []

    def load(path, *, option=None):
        asked.append(option)
        return study.scenario

    monkeypatch.setattr(jointrisk, "load", load, raising=False)
    run("assess", "rods.toml", "--json")
    run("assess", "rods.toml", "--json", "--option", "longer overlap")
    assert asked == [None, "longer overlap"]


@pytest.mark.parametrize(
    ("words", "folder"),
    [
        ((), "rods-report"),
        (("--option", "longer overlap"), "rods-longer-overlap-report"),
        (("--option", "Gap, measured!"), "rods-gap-measured-report"),
        (("--option", "Länge 3/4"), "rods-länge-3-4-report"),
        (("--option", "x", "--out", "here"), "here"),
    ],
)
def test_each_option_has_a_report_folder_of_its_own(run, study, words, folder):
    done = run("assess", "some/rods.toml", *words)
    assert done.err == f"report: {folder}/report.html\n"
    assert Path(folder, "report.html").exists()


def test_the_document_says_which_option_was_taken(run, rods):
    asked = jointrisk.load(rods, option="longer overlap")
    done = run("assess", rods, "--json", "--option", "longer overlap")
    document = json.loads(done.out)
    assert document["run"]["option"] == "longer overlap"
    assert document["run"]["scenario_sha256"] == asked.sha256
    assert document["title"] == asked.title == "Rod with glued ends: longer overlap"
    base = json.loads(run("assess", rods, "--json").out)
    assert base["run"]["option"] is None
    assert base["strength"] != document["strength"]
