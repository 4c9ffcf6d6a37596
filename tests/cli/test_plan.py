"""`jointrisk plan`: streams, files, costs, and what is refused."""

import json
import re
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.errors import EstimateError, Problem, ScenarioError
from jointrisk.study.plan_results import COST_KEYS

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_plan.py"))


@pytest.fixture
def study(monkeypatch):
    """Put an invented plan in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=_MAKERS["invented_plan"](), calls=[], options=[])
    scenario = SimpleNamespace(title="t", path="rods.toml", loads=("a",))

    def load(path, *, option=None):
        asked.options.append(option)
        return scenario

    def plan(given, *, costs=None, seed=None, pool=None):
        asked.calls.append(SimpleNamespace(scenario=given, costs=costs, seed=seed, pool=pool))
        if isinstance(asked.result, BaseException):
            raise asked.result
        return asked.result

    asked.scenario = scenario
    monkeypatch.setattr(jointrisk, "load", load, raising=False)
    monkeypatch.setattr(jointrisk, "plan", plan, raising=False)
    return asked


def test_answers_on_stdout_and_writes_the_folder_beside(run, study):
    done = run("plan", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Next      Pull 4 rods until they break; that would lower")
    assert done.err == "report: rods-report/plan.html\n"
    written = {path.name for path in Path("rods-report").iterdir()}
    assert written == {"plan.html", "plan.json", "tables"}


def test_json_is_one_document_and_no_folder(run, study):
    done = run("plan", "rods.toml", "--json")
    document = json.loads(done.out)
    assert document["next_key"] == "rod:4"
    assert document["candidates"][0]["speaks_to"][0]["variable"] == "adhesive.shear_strength"
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("plan", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/plan.json").read_text("utf-8"))


def test_quiet_leaves_the_answer_alone(run, study):
    done = run("plan", "rods.toml", "-q")
    assert done.err == ""
    assert "What no test here can show" in done.out


def test_verbose_shows_more(run, study):
    assert "What each speaks to" not in run("plan", "rods.toml").out
    assert "What each speaks to" in run("plan", "rods.toml", "-v").out


@pytest.mark.parametrize(
    ("words", "seed"), [((), None), (("--seed", "0"), 0), (("--seed", "7"), 7)]
)
def test_the_seed_is_handed_on(run, study, words, seed):
    run("plan", "rods.toml", *words)
    assert study.calls[0].seed == seed


def test_jobs_hands_on_a_pool_with_map(run, study):
    run("plan", "rods.toml", "--jobs", "3")
    assert study.calls[0].pool._max_workers == 3


def test_an_option_is_asked_for_by_its_name(run, study):
    run("plan", "rods.toml", "--option", "longer overlap")
    assert study.options == ["longer overlap"]
    assert Path("rods-longer-overlap-report").is_dir()


# Costs -------------------------------------------------------------------------------------------


def test_no_costs_are_none(run, study):
    run("plan", "rods.toml")
    assert study.calls[0].costs is None


def test_costs_are_handed_on_by_name(run, study):
    run("plan", "rods.toml", "--cost", "coupon=4", "--cost", " rod = 25.50 ", "--cost", "gap=0")
    assert study.calls[0].costs == {"coupon": 4.0, "rod": 25.5, "gap": 0.0}


@pytest.mark.parametrize("name", COST_KEYS)
def test_every_kind_may_have_a_cost(run, study, name):
    assert run("plan", "rods.toml", "--cost", f"{name}=1").status == 0
    assert study.calls[0].costs == {name: 1.0}


def flat(text):
    """Return a usage error without its box and broken lines."""
    return re.sub(r"[\s\u2500-\u257f]+", " ", text)


@pytest.mark.parametrize(
    ("cost", "parts"),
    [
        ("copon=4", ("'copon'", "did you mean 'coupon'?", "'copon=4'")),
        ("zzz=4", ("'zzz'", "expected one of coupon, rod, pull")),
        ("coupon", ("'coupon'", "is not a number", "coupon=4.50")),
        ("coupon=", ("'coupon'", "is not a number")),
        ("coupon=4 EUR", ("'coupon'", "is not a number", "'coupon=4 EUR'")),
        ("rod=-1", ("'rod'", "0 or more", "'rod=-1'")),
        ("rod=nan", ("'rod'", "0 or more")),
        ("rod=inf", ("'rod'", "0 or more")),
        ("=3", ("no such test: ''", "expected one of")),
    ],
)
def test_a_cost_that_cannot_be_used_is_named(run, study, cost, parts):
    done = run("plan", "rods.toml", "--cost", cost)
    assert done.status == 2
    assert done.out == ""
    for part in ("--cost", *parts):
        assert part in flat(done.err), part
    assert not study.calls
    assert not list(Path().iterdir())


def test_all_costs_that_are_wrong_are_told_at_once(run, study):
    words = ("copon=4", "rod=x", "gap=1", "gap=2")
    done = run("plan", "rods.toml", *(word for cost in words for word in ("--cost", cost)))
    assert done.status == 2
    for part in ("did you mean 'coupon'?", "'rod' is not a number", "'gap' is given twice"):
        assert part in flat(done.err), part


# Errors ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--seed", "-1"), ("--seed", "'-1'")),
        (("--jobs", "0"), ("--jobs", "'0'")),
        (("--costs", "coupon=1"), ("--costs", "--cost")),
    ],
)
def test_usage_errors_name_option_and_value(run, study, words, parts):
    done = run("plan", "rods.toml", *words)
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
    done = run("plan", "rods.toml")
    assert done.status == status
    assert part in done.err
    assert done.out == ""
    assert not list(Path().iterdir())


def test_columns_rules_the_width(run, study, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    assert max(map(len, run("plan", "rods.toml").out.splitlines())) <= 60


@pytest.mark.parametrize("bold", [True, False])
def test_bold_letters(run, study, monkeypatch, bold):
    monkeypatch.setenv("FORCE_COLOR", "1")
    words = () if bold else ("--no-color",)
    assert ("\x1b[" in run("plan", "rods.toml", *words).out) == bold


def test_a_file_without_a_load_is_at_fault(run, study):
    study.scenario.loads = ()
    done = run("plan", "rods.toml")
    assert done.status == 3
    assert "rods.toml: load: the file names no load" in done.err
    assert not study.calls


def test_a_whole_run_from_a_file(run):
    """Nothing put in: the scenario to start from, with one rod."""
    assert run("new", "plug-in-tube", "rod.toml").status == 0
    one = re.sub(r"(?m)^count = \d+", "count = 1", Path("rod.toml").read_text("utf-8"))
    Path("rod.toml").write_text(one, encoding="utf-8")
    done = run("plan", "rod.toml", "--json", "--cost", "coupon=4", "--out", "here")
    assert done.status == 0, done.err
    document = json.loads(done.out)
    assert document["costs"] == {"coupon": 4.0}
    kinds = {entry["kind"] for entry in document["candidates"]}
    assert {"coupon", "rod", "settle"} <= kinds
    assert Path("here/plan.html").is_file()
