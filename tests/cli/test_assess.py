import json
from dataclasses import replace
from pathlib import Path

import pytest

from jointrisk.errors import EstimateError, InputError, Problem, ScenarioError


def test_answers_on_stdout_and_writes_the_folder_beside(run, study):
    done = run("assess", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Strength")
    assert "1 in 3,000" in done.out.splitlines()[1]
    assert done.err == "report: rods-report/report.html\n"
    written = sorted(p.name for p in Path("rods-report").iterdir())
    assert written == ["report.html", "result.json", "tables"]


def test_json_is_one_document_and_no_folder(run, study):
    done = run("assess", "rods.toml", "--json")
    assert json.loads(done.out)["title"] == "Invented rods & ends"
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("assess", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/result.json").read_text())


def test_quiet_leaves_the_answer_alone(run, study):
    done = run("assess", "rods.toml", "-q")
    assert done.err == ""
    assert "1 in 3,000" in done.out


def test_verbose_shows_assumptions(run, study):
    assert "weak_bonds.lone_weight: 0.5 %" not in run("assess", "r.toml").out
    assert "weak_bonds.lone_weight: 0.5 %" in run("assess", "r.toml", "-v").out


@pytest.mark.parametrize(("words", "seed"), [((), None), (("--seed", "0"), 0), (("--seed=7",), 7)])
def test_the_seed_is_handed_on_and_nought_is_one(run, study, words, seed):
    run("assess", "rods.toml", *words)
    assert study.calls == [(study.scenario, seed, None)]


def test_jobs_hands_on_a_pool_with_map(run, study):
    run("assess", "rods.toml", "--jobs", "3")
    pool = study.calls[0][2]
    assert pool._max_workers == 3
    assert callable(pool.map)


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--seed", "-1"), ("--seed", "'-1'", "0 or more")),
        (("--seed", "1.5"), ("--seed", "'1.5'")),
        (("--jobs", "0"), ("--jobs", "'0'", "1 or more")),
        (("--fail-above", "2"), ("--fail-above", "'2'", "'target'")),
        (("--fail-above", "nan"), ("--fail-above", "'nan'")),
        (("--sede", "1"), ("--sede", "--seed")),
    ],
)
def test_usage_errors_name_option_and_value(run, study, words, parts):
    done = run("assess", "rods.toml", *words)
    assert done.status == 2
    assert done.out == ""
    for part in parts:
        assert part in done.err
    assert not study.calls


def test_a_file_in_the_folders_place_is_refused_before_the_work(run, study):
    Path("taken").write_text("mine")
    done = run("assess", "rods.toml", "--out", "taken")
    assert done.status == 2
    assert "taken is a file" in done.err
    assert not study.calls


@pytest.mark.parametrize(("limit", "status"), [("1e-4", 5), ("0.00031", 5), ("0.001", 0)])
def test_fail_above_compares_the_estimate(run, study, limit, status):
    done = run("assess", "rods.toml", "--fail-above", limit)
    assert done.status == status
    assert ("failure probability 1 in 3,000 is above" in done.err) == (status == 5)
    assert done.out.startswith("Strength")
    assert Path("rods-report").is_dir()


@pytest.mark.parametrize(
    ("met", "status", "word"), [(True, 0, ""), (False, 5, "missed"), (None, 5, "undecided")]
)
def test_fail_above_target_asks_for_a_target_that_is_met(run, study, invented, met, status, word):
    study.result = invented(target=replace(study.result.target, met=met))
    done = run("assess", "rods.toml", "-q", "--fail-above", "target")
    assert done.status == status
    assert word in done.err


@pytest.mark.parametrize(("field", "part"), [("loads", "no load"), ("target", "no target")])
def test_fail_above_needs_something_to_compare(run, study, field, part):
    setattr(study.scenario, field, None)
    done = run("assess", "rods.toml", "--fail-above", "target")
    assert done.status == 2
    assert part in done.err
    assert not study.calls


def test_every_problem_of_a_file_is_a_line_of_its_own(run, study):
    long = "a/very/long/path/" + "x" * 90 + ".toml"
    problems = [Problem("plug.overlap", "is too long", "900 mm", "at most 200 mm")]
    problems.append(Problem("rods.count", "is missing"))
    study.result = ScenarioError(long, problems)
    done = run("assess", "rods.toml")
    assert done.status == 3
    assert done.err.splitlines() == [
        f"{long}: plug.overlap: is too long (got 900 mm; expected at most 200 mm)",
        f"{long}: rods.count: is missing",
    ]
    assert done.out == ""


@pytest.mark.parametrize(
    ("error", "status"), [(EstimateError("cov is 80 %"), 4), (InputError("cov is 80 %"), 1)]
)
def test_our_own_errors_are_plain_and_leave_no_folder(run, study, error, status):
    study.result = error
    done = run("assess", "rods.toml")
    assert done.status == status
    assert done.err == "cov is 80 %\n"
    assert not list(Path().iterdir())


def test_an_unexpected_error_is_said_to_be_ours(run, study):
    study.result = ZeroDivisionError("division by nought")
    done = run("assess", "rods.toml")
    assert done.status == 1
    assert len(done.err.splitlines()) == 1
    for part in ("a mistake in jointrisk", "ZeroDivisionError: division by nought", "-v"):
        assert part in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize("word", ["-v", "-vv", "--verbose"])
def test_verbose_shows_where_an_unexpected_error_arose(run, study, word):
    study.result = ZeroDivisionError("division by nought")
    done = run("assess", "rods.toml", word)
    assert done.status == 1
    assert "Traceback" in done.err
    assert done.err.splitlines()[-1].startswith("jointrisk: a mistake in jointrisk")


def test_interrupted_leaves_with_130_and_no_traceback(run, study):
    study.result = KeyboardInterrupt()
    done = run("assess", "rods.toml")
    assert done.status == 130
    assert done.err == ""


@pytest.mark.parametrize(
    ("words", "environment", "bold"),
    [
        ((), {}, False),
        ((), {"FORCE_COLOR": "1"}, True),
        (("--no-color",), {"FORCE_COLOR": "1"}, False),
        ((), {"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
    ],
)
def test_bold_letters(run, study, monkeypatch, words, environment, bold):
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert ("\x1b[" in run("assess", "rods.toml", *words).out) == bold


def test_columns_rules_the_width(run, study, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    done = run("assess", "rods.toml")
    assert max(len(line) for line in done.out.splitlines()) <= 60
