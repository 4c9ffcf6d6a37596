import json
import re
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.errors import EstimateError, Problem, ScenarioError

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_rank.py"))


@pytest.fixture
def study(monkeypatch):
    """Put an invented ranking in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=_MAKERS["invented_rank"](), calls=[], options=[])
    scenario = SimpleNamespace(title="t")

    def load(path, *, option=None):
        asked.options.append(option)
        return scenario

    def rank(given, *, seed=None, pool=None):
        asked.calls.append((given, seed, pool))
        if isinstance(asked.result, BaseException):
            raise asked.result
        return asked.result

    monkeypatch.setattr(jointrisk, "load", load, raising=False)
    monkeypatch.setattr(jointrisk, "rank", rank, raising=False)
    return asked


def test_answers_on_stdout_and_writes_the_folder_beside(run, study):
    done = run("rank", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Failure   About 1 in 3,000 that any of the 12 rods lets go")
    assert done.err == "report: rods-report/rank.html\n"
    written = {path.name for path in Path("rods-report").iterdir()}
    assert written == {"rank.html", "rank.json", "tables"}


def test_json_is_one_document_and_no_folder(run, study):
    done = run("rank", "rods.toml", "--json")
    document = json.loads(done.out)
    assert document["variables"][0]["variable"] == "plug.overlap"
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("rank", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/rank.json").read_text("utf-8"))


def test_quiet_leaves_the_answer_alone(run, study):
    done = run("rank", "rods.toml", "-q")
    assert done.err == ""
    assert "Hangs on" in done.out


def test_verbose_shows_more(run, study):
    assert "Design points" not in run("rank", "rods.toml").out
    assert "Design points" in run("rank", "rods.toml", "-v").out


@pytest.mark.parametrize(
    ("words", "seed"), [((), None), (("--seed", "0"), 0), (("--seed", "7"), 7)]
)
def test_the_seed_is_handed_on(run, study, words, seed):
    run("rank", "rods.toml", *words)
    assert study.calls[0][1] == seed


def test_jobs_hands_on_a_pool_with_map(run, study):
    run("rank", "rods.toml", "--jobs", "3")
    assert study.calls[0][2]._max_workers == 3


def test_an_option_is_asked_for_by_its_name(run, study):
    run("rank", "rods.toml", "--option", "longer overlap")
    assert study.options == ["longer overlap"]
    assert Path("rods-longer-overlap-report").is_dir()


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--seed", "-1"), ("--seed", "'-1'")),
        (("--jobs", "0"), ("--jobs", "'0'")),
        (("--sed", "1"), ("--sed", "--seed")),
    ],
)
def test_usage_errors_name_option_and_value(run, study, words, parts):
    done = run("rank", "rods.toml", *words)
    assert done.status == 2
    for part in parts:
        assert part in done.err
    assert not study.calls


@pytest.mark.parametrize(
    ("error", "status", "part"),
    [
        (ScenarioError("r.toml", [Problem("load", "is not given")]), 3, "r.toml: load: is not"),
        (EstimateError("cov is 80 %"), 4, "cov is 80 %"),
        (ZeroDivisionError("nought"), 1, "nought"),
        (KeyboardInterrupt(), 130, ""),
    ],
)
def test_errors_leave_with_their_status_and_no_folder(run, study, error, status, part):
    study.result = error
    done = run("rank", "rods.toml")
    assert done.status == status
    assert part in done.err
    assert done.out == ""
    assert not list(Path().iterdir())


def test_columns_rules_the_width(run, study, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    assert max(map(len, run("rank", "rods.toml").out.splitlines())) <= 60


@pytest.mark.parametrize("bold", [True, False])
def test_bold_letters(run, study, monkeypatch, bold):
    monkeypatch.setenv("FORCE_COLOR", "1")
    words = () if bold else ("--no-color",)
    assert ("\x1b[" in run("rank", "rods.toml", *words).out) == bold


def test_a_whole_run_from_a_file_and_without_its_load(run):
    """Nothing put in: the scenario to start from, and the same with its loads taken out."""
    assert run("new", "plug-in-tube", "rod.toml").status == 0
    one = re.sub(r"(?m)^count = \d+", "count = 1", Path("rod.toml").read_text("utf-8"))
    Path("rod.toml").write_text(one, encoding="utf-8")
    done = run("rank", "rod.toml", "--json", "--out", "here")
    assert done.status == 0, done.err
    document = json.loads(done.out)
    assert document["variables"]
    assert document["margin"]["entries"]
    assert Path("here/rank.html").is_file()
    text = Path("rod.toml").read_text("utf-8")
    head, *rest = text.split("[[load]]")
    kept = "".join(part[part.index("\n[") :] if "\n[" in part else "" for part in rest[-1:])
    Path("bare.toml").write_text(head + kept, encoding="utf-8")
    done = run("rank", "bare.toml")
    assert done.status == 3
    assert "bare.toml: load: is not given" in done.err
    assert "[[load]]" in done.err
