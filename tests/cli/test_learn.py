"""`jointrisk learn`."""

import json
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.scenario.pull_log import blank, read_pulls

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_learn.py"))
LOG = "part,load [N],held\n1,900,yes\n2,900,no\n"
SHIPPED = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def rod(run):
    """Write the scenario to start from and a log, and return the scenario's name."""
    assert run("new", "plug-in-tube", "rod.toml").status == 0
    Path("pulls.csv").write_text(LOG)
    return "rod.toml"


@pytest.fixture
def study(monkeypatch):
    """Put an invented answer in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=_MAKERS["invented_learnt"](), calls=[])

    def learn(scenario, pulls, *, seed=None, pool=None):
        asked.calls.append((scenario, pulls, seed, pool))
        return asked.result

    monkeypatch.setattr(jointrisk, "learn", learn, raising=False)
    return asked


def test_answers_on_stdout_and_writes_the_folder_beside(run, rod, study):
    done = run("learn", rod, "pulls.csv")
    assert done.status == 0, done.err
    assert done.out.startswith("Change    12 parts were pulled: 11 held, 1 broke.")
    assert done.err == "report: rod-report/learn.html\n"
    assert {path.name for path in Path("rod-report").iterdir()} == {
        "learn.html", "learn.json", "tables",
    }  # fmt: skip


def test_the_pulls_are_handed_on_in_order(run, rod, study):
    run("learn", rod, "pulls.csv", "--seed", "0", "--jobs", "2")
    ((scenario, pulls, seed, pool),) = study.calls
    assert scenario.path == rod
    assert pulls == read_pulls(LOG)
    assert seed == 0
    assert pool._max_workers == 2


def test_json_is_one_document_and_no_folder(run, rod, study):
    done = run("learn", rod, "pulls.csv", "--json")
    assert json.loads(done.out)["parts"] == 12
    assert done.err == ""
    assert {path.name for path in Path().iterdir()} == {"rod.toml", "pulls.csv"}
    run("learn", rod, "pulls.csv", "--json", "--out", "here")
    assert json.loads(Path("here/learn.json").read_text("utf-8")) == json.loads(done.out)


def test_an_option_of_the_file(run, study):
    Path("log.csv").write_text(LOG)
    file = SHIPPED / "land-sailer-brake-rod.toml"
    done = run("learn", file, "log.csv", "--option", "longer inserts", "-q", "-v")
    assert done.status == 0
    assert done.err == ""
    assert study.calls[0][0].option == "longer inserts"
    assert "seed: 4" in done.out
    assert Path("land-sailer-brake-rod-longer-inserts-report/learn.html").is_file()


def test_the_blank_log(run):
    done = run("learn", "--blank")
    assert (done.status, done.out, done.err) == (0, blank(), "")
    Path("mine.csv").write_text(done.out + "1,A,900,held\n")
    assert len(read_pulls("mine.csv")) == 1


def test_every_fault_of_the_log_and_no_answer(run, rod, study):
    Path("pulls.csv").write_text("part,load,held\n1,900,yes\n2,90 kg,maybe\n")
    done = run("learn", rod, "pulls.csv")
    assert done.status == 3
    assert done.out == ""
    assert done.err.splitlines() == [
        'pulls.csv: row 2, column load: has no unit (got 900; write "900 N")',
        'pulls.csv: row 3, column held: is not known (got "maybe"; expected "held", "broke", '
        '"broke at" or "broke below", or yes or no)',
        'pulls.csv: row 3, column load: is a mass, not a force (got "90 kg"; for its weight '
        'write "90 kgf")',
    ]
    assert not study.calls
    assert not Path("rod-report").exists()


@pytest.mark.parametrize(
    ("words", "status", "parts"),
    [
        ((), 2, ("FILE", "is missing")),
        (("rod.toml",), 2, ("PULLS", "is missing")),
        (("rod.toml", "none.csv"), 3, ("none.csv: there is no such file",)),
        (("none.toml", "pulls.csv"), 3, ("none.toml: there is no such file",)),
        (("rod.toml", "pulls.csv", "--fail-above", "2"), 2, ("--fail-above", "'2'")),
        (("rod.toml", "pulls.csv", "--out", "pulls.csv"), 2, ("--out", "is a file")),
        (("rod.toml", "pulls.csv", "--option", "x"), 3, ('got "x"',)),
    ],
)
def test_what_cannot_be_asked(run, rod, study, words, status, parts):
    done = run("learn", *words)
    assert (done.status, done.out) == (status, "")
    told = " ".join(done.err.replace("│", " ").split())
    for part in parts:
        assert part in told, told
    assert not study.calls


@pytest.mark.parametrize(
    ("made", "limit", "status", "note"),
    [
        ("invented_learnt", "0.03", 0, ""),
        ("invented_learnt", "0.02", 5, "1 in 42 is above 1 in 50"),
        ("invented_learnt", "target", 5, "target undecided"),
        ("all_broke", "target", 5, "target missed"),
        ("untold", "0.9", 5, "unknown is above 90 in 100"),
        ("impossible", "0.9", 4, "next to impossible"),
        ("not_converged", "1e-9", 4, "No trustworthy estimate"),
    ],
)
def test_exit_statuses(run, rod, study, made, limit, status, note):
    study.result = _MAKERS[made]()
    done = run("learn", rod, "pulls.csv", "-q", "--fail-above", limit)
    assert done.status == status
    assert done.out
    assert note in done.err
    assert Path("rod-report/learn.html").is_file()


def test_a_target_that_is_met(run, rod, study):
    study.result = _MAKERS["invented_learnt"](after=_MAKERS["whole_set"](1e-4, met=True))
    assert run("learn", rod, "pulls.csv", "-q", "--fail-above", "target").status == 0


def test_without_trust_the_status_is_4_even_if_nothing_is_asked(run, rod, study):
    study.result = _MAKERS["not_converged"]()
    done = run("learn", rod, "pulls.csv", "--json")
    assert done.status == 4
    assert json.loads(done.out)["converged"] is False
    assert "about 3 fit the log" in done.err


@pytest.mark.parametrize(
    ("table", "limit", "words"),
    [("load]", "0.1", "names no load"), ("target]", "target", "has no target")],
)
def test_a_limit_needs_a_load_and_a_target(run, rod, study, table, limit, words):
    head, *parts = Path(rod).read_text("utf-8").split("\n[")
    kept = [part for part in parts if not part.lstrip("[").startswith(table)]
    Path(rod).write_text("\n[".join([head, *kept]), encoding="utf-8")
    done = run("learn", rod, "pulls.csv", "--fail-above", limit)
    assert done.status == 2
    assert words in " ".join(done.err.replace("│", " ").split())


def test_the_demo_log_is_read_and_says_that_it_is_invented():
    file = SHIPPED / "land-sailer-brake-rod-pulls.csv"
    pulls = read_pulls(file)
    assert "invented" in file.read_text("utf-8").splitlines()[0]
    assert [pull.kind for pull in pulls].count("held") == 9
    assert {pull.batch for pull in pulls} == {"spring", "autumn"}
    assert jointrisk.load(SHIPPED / "land-sailer-brake-rod.toml").loads
