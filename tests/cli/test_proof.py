import json
import runpy
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
    scenario = SimpleNamespace(title="t")
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
        "report: rods-report/page.html",
        "shop card: rods-report/card.html",
    ]
    written = {path.name for path in Path("rods-report").iterdir()}
    assert written == {"page.html", "pulls.json", "card.html", "card.txt", "log.csv", "tables"}


def test_no_card_is_told_of_where_there_is_no_pull(run, study):
    study.result = _MAKERS["no_pull"]()
    done = run("proof", "rods.toml")
    assert done.status == 0
    assert done.err == "report: rods-report/page.html\n"
    assert "No pull to give." in done.out


def test_json_is_one_document_and_no_folder(run, study):
    done = run("proof", "rods.toml", "--json")
    document = json.loads(done.out)
    assert (document["verdict"], document["load_newton"]) == ("window", 2143.0)
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("proof", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/pulls.json").read_text("utf-8"))


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
