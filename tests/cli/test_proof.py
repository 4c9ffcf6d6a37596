import json
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.errors import EstimateError, InputError, Problem, ScenarioError

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_proof.py"))


@pytest.fixture
def study(monkeypatch):
    """Put an invented answer in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=_MAKERS["invented_proof"](), calls=[], options=[])
    scenario = SimpleNamespace(title="t", loads=("jerk",), target="set")
    asked.scenario = scenario

    def load(path, *, option=None):
        asked.options.append(option)
        return scenario

    def proof(given, *, pulls=None, seed=None, pool=None):
        asked.calls.append((given, pulls, seed, pool))
        if isinstance(asked.result, BaseException):
            raise asked.result
        return asked.result

    monkeypatch.setattr(jointrisk, "load", load, raising=False)
    monkeypatch.setattr(jointrisk, "proof", proof, raising=False)
    return asked


def test_answers_on_stdout_and_writes_the_folder_beside(run, study):
    done = run("proof", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Pull      Pull every finished rod to 2,150 N (219 kgf, 482 lbf)")
    assert done.err.splitlines() == [
        "report: rods-report/proof.html",
        "shop card: rods-report/card.html",
    ]
    written = {path.name for path in Path("rods-report").iterdir()}
    assert written == {"proof.html", "proof.json", "card.html", "card.txt", "log.csv", "tables"}


def test_of_a_rig_that_pushes_the_answer_and_the_card_speak_of_a_push(run, study):
    study.result = replace(study.result, rig=replace(study.result.rig, direction="push"))
    done = run("proof", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Push      Push every finished rod to 2,150 N (219 kgf, 482 lbf)")
    card = Path("rods-report/card.txt").read_text("utf-8")
    assert "PUSH EACH ROD TO  2,150 N" in card


def test_no_card_is_told_of_where_there_is_no_pull(run, study):
    study.result = _MAKERS["no_pull"]()
    done = run("proof", "rods.toml")
    assert done.status == 0
    assert done.err == "report: rods-report/proof.html\n"
    assert "No pull to give." in done.out


def test_json_is_one_document_and_no_folder(run, study):
    done = run("proof", "rods.toml", "--json")
    document = json.loads(done.out)
    assert (document["verdict"], document["load_newton"]) == ("window", 2143.0)
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("proof", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/proof.json").read_text("utf-8"))


def test_quiet_leaves_the_answer_alone(run, study):
    done = run("proof", "rods.toml", "-q")
    assert done.err == ""
    assert "2,150 N" in done.out


def test_verbose_shows_assumptions(run, study):
    assert "proof.rig_error: 0.02" not in run("proof", "r.toml").out
    assert "proof.rig_error: 0.02" in run("proof", "r.toml", "-v").out


@pytest.mark.parametrize(
    ("words", "pulls"),
    [
        ((), None),
        (("--load", "750 N"), ["750 N"]),
        (("--load", "750 N", "--load=90 kgf"), ["750 N", "90 kgf"]),
    ],
)
def test_loads_are_handed_on_as_written(run, study, words, pulls):
    run("proof", "rods.toml", *words)
    assert study.calls == [(study.scenario, pulls, None, None)]


@pytest.mark.parametrize(("words", "seed"), [((), None), (("--seed", "0"), 0), (("--seed=7",), 7)])
def test_the_seed_is_handed_on_and_nought_is_one(run, study, words, seed):
    run("proof", "rods.toml", *words)
    assert study.calls[0][2] == seed


def test_the_option_is_handed_on_and_names_the_folder(run, study):
    run("proof", "rods.toml", "--option", "longer overlap")
    assert study.options == ["longer overlap"]
    assert Path("rods-longer-overlap-report/card.html").is_file()


def test_jobs_hands_on_a_pool_with_map(run, study):
    run("proof", "rods.toml", "--jobs", "3")
    assert study.calls[0][3]._max_workers == 3


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--load", "75 kg"), ("--load", "mass", '"75 kgf"')),
        (("--load", "750"), ("--load", "no unit", "750 N")),
        (("--load", "-5 N"), ("--load", "above zero", "'-5 N'")),
        (("--load", "0 N"), ("--load", "above zero", "'0 N'")),
        (("--load", "3 mm"), ("--load", "length", '"3 mm"')),
        (("--load", "inf N"), ("--load", '"inf N"')),
        (("--seed", "-1"), ("--seed", "'-1'")),
        (("--jobs", "0"), ("--jobs", "'0'")),
        (("--lode", "5 N"), ("--lode", "--load")),
    ],
)
def test_usage_errors_name_option_and_value(run, study, words, parts):
    done = run("proof", "rods.toml", *words)
    assert done.status == 2
    assert done.out == ""
    for part in parts:
        assert part in done.err
    assert not study.calls


@pytest.mark.parametrize(
    ("words", "limit", "status"),
    [
        ((), "target", 0),
        ((), "4e-5", 5),
        ((), "5e-5", 0),
        (("--load", "735.5 N", "--load", "2500 N"), "target", 5),  # the lighter leaves 3.2e-4
        (("--load", "735.5 N", "--load", "2500 N"), "3.3e-4", 0),
    ],
)
def test_fail_above_looks_at_the_pull_to_make_or_at_those_given(run, study, words, limit, status):
    done = run("proof", "rods.toml", *words, "--fail-above", limit)
    assert done.status == status
    assert ("failure probability after the pull 1 in" in done.err) == (status == 5)
    assert done.out.startswith("Pull ")
    assert Path("rods-report/proof.html").is_file()


@pytest.mark.parametrize(("limit", "status"), [("1.2e-4", 0), ("1.1e-4", 5), ("target", 5)])
def test_fail_above_takes_the_best_there_is_where_no_pull_meets_the_target(
    run, study, limit, status
):
    study.result = _MAKERS["no_pull"]()
    done = run("proof", "rods.toml", "-q", "--fail-above", limit)
    assert done.status == status
    assert ("1 in 8,700 is above" in done.err) == (status == 5)


@pytest.mark.parametrize(
    ("limit", "status", "said"),
    [("1e-4", 5, "1 in 3,100 is above 1 in 10,000"), ("4e-4", 0, "")],
)
def test_fail_above_without_a_target_looks_at_the_files_pulls(run, study, limit, status, said):
    study.result = _MAKERS["invented_proof"](target=None, best=None, floor=None)
    done = run("proof", "rods.toml", "-q", "--fail-above", limit)
    assert done.status == status
    assert said in done.err


def test_fail_above_is_missed_by_a_pull_that_nothing_is_known_of(run, study):
    effect = _MAKERS["effect"]("hard", 9000.0, as_target=None)
    study.result = _MAKERS["invented_proof"](pulls=(effect,))
    done = run("proof", "rods.toml", "-q", "--load", "9 kN", "--fail-above", "0.5")
    assert done.status == 5
    assert "after the pull is not known" in done.err


@pytest.mark.parametrize(
    ("field", "limit", "part"),
    [("loads", "0.1", "no load"), ("target", "target", "no target"), ("loads", "2", "'2'")],
)
def test_fail_above_needs_something_to_compare(run, study, field, limit, part):
    setattr(study.scenario, field, None)
    done = run("proof", "rods.toml", "--fail-above", limit)
    assert done.status == 2
    assert part in done.err
    assert not study.calls


def test_a_file_in_the_folders_place_is_refused_before_the_work(run, study):
    Path("taken").write_text("mine")
    done = run("proof", "rods.toml", "--out", "taken")
    assert done.status == 2
    assert "taken is a file" in done.err
    assert not study.calls


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (ScenarioError("r.toml", [Problem("proof.rig", "is not known", '"levr"')]), 3),
        (EstimateError("cov is 80 %"), 4),
        (InputError("cov is 80 %"), 1),
        (ZeroDivisionError("nought"), 1),
        (KeyboardInterrupt(), 130),
    ],
)
def test_errors_leave_with_their_status_and_no_folder(run, study, error, status):
    study.result = error
    done = run("proof", "rods.toml")
    assert done.status == status
    assert done.out == ""
    assert "Traceback" not in done.err
    assert not list(Path().iterdir())


def test_columns_rules_the_width(run, study, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    assert max(map(len, run("proof", "rods.toml").out.splitlines())) <= 60


@pytest.mark.parametrize("bold", [True, False])
def test_bold_letters(run, study, monkeypatch, bold):
    monkeypatch.setenv("FORCE_COLOR", "1")
    words = () if bold else ("--no-color",)
    assert ("\x1b[" in run("proof", "rods.toml", *words).out) == bold


def test_a_whole_run_from_a_file_to_a_card(run):
    """Nothing put in: the scenario to start from, its own study, the lever's arithmetic."""
    assert run("new", "plug-in-tube", "rod.toml").status == 0
    text = Path("rod.toml").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith(("rig_error", "rig_bias"))]
    text = "\n".join(lines).replace("[proof]", '[proof]\nrig = "lever"\nlever_ratio = 4')
    Path("rod.toml").write_text(text, encoding="utf-8")
    done = run("proof", "rod.toml", "--json", "--out", "here")
    assert done.status == 0, done.err
    document = json.loads(done.out)
    assert document["rig"]["name"] == "lever"
    card = " ".join(Path("here/card.txt").read_text("utf-8").split())
    assert ("load / 4 =" in card) == (document["verdict"] == "window")
    assert ("NO PULL ON THIS CARD" in card) == (document["verdict"] != "window")
