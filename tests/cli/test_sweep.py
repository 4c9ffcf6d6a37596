"""`jointrisk sweep` and `jointrisk rating`."""

import json
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.errors import EstimateError, InputError, Problem, ScenarioError

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_sweep.py"))
RANGE = ("--from", "12 mm", "--to", "24 mm")


@pytest.fixture
def rod(run):
    """Write the scenario to start from, with a target, and return its name."""
    assert run("new", "plug-in-tube", "rod.toml").status == 0
    return "rod.toml"


@pytest.fixture
def study(monkeypatch):
    """Put invented answers in the place of the studies; keep what they were asked."""
    asked = SimpleNamespace(
        sweep=_MAKERS["invented_sweep"](), rating=_MAKERS["invented_rating"](), calls=[]
    )

    def answer(made):
        if isinstance(made, BaseException):
            raise made
        return made

    def sweep(given, key, values, *, second=None, seed=None, pool=None):
        asked.calls.append((key, list(values), second, seed, pool))
        return answer(asked.sweep)

    def rating(given, *, pulls=None, seed=None, pool=None):
        asked.calls.append((pulls, seed, pool))
        return answer(asked.rating)

    monkeypatch.setattr(jointrisk, "sweep", sweep, raising=False)
    monkeypatch.setattr(jointrisk, "rating", rating, raising=False)
    return asked


# Sweep -------------------------------------------------------------------------------------------


def test_answers_on_stdout_and_writes_the_folder_beside(run, rod, study):
    done = run("sweep", rod, "plug.overlap", *RANGE)
    assert done.status == 0, done.err
    assert done.out.startswith("Failure   With overlap from 10 mm to 24 mm")
    assert done.err == "report: rod-report/sweep.html\n"
    written = {path.name for path in Path("rod-report").iterdir()}
    assert written == {"sweep.html", "sweep.json", "tables"}


def test_the_range_is_handed_on_in_the_unit_of_the_quantity(run, rod, study):
    run("sweep", rod, "plug.overlap", "--from", "2.4 cm", "--to", "12 mm", "--points", "3")
    ((key, values, second, seed, pool),) = study.calls
    assert (key, second, seed, pool) == ("plug.overlap", None, None, None)
    assert values == pytest.approx([12.0, 18.0, 24.0])


def test_a_wide_range_is_spaced_by_its_logarithm(run, rod, study):
    run("sweep", rod, "gap", "--from", "0.05 mm", "--to", "0.45 mm", "--points", "3")
    assert study.calls[0][1] == pytest.approx([0.05, 0.15, 0.45])


def test_two_quantities(run, rod, study):
    second = ("--and", "gap", "--from2", "0.1 mm", "--to2", "0.3 mm", "--points2", "3")
    run("sweep", rod, "plug.overlap", *RANGE, "--points", "15", *second)
    assert study.calls[0][2][0] == "gap"
    assert study.calls[0][2][1] == pytest.approx([0.1, 0.2, 0.3])


def test_json_is_one_document_and_no_folder(run, rod, study):
    done = run("sweep", rod, "plug.overlap", *RANGE, "--json")
    assert json.loads(done.out)["quantity"]["key"] == "plug.overlap"
    assert done.err == ""
    assert [path.name for path in Path().iterdir()] == ["rod.toml"]
    run("sweep", rod, "plug.overlap", *RANGE, "--json", "--out", "here")
    assert json.loads(Path("here/sweep.json").read_text("utf-8")) == json.loads(done.out)


def test_shared_flags(run, rod, study):
    done = run("sweep", rod, "plug.overlap", *RANGE, "-q", "-v", "--seed", "0", "--jobs", "2")
    assert done.err == ""
    assert "model.bond_factor: 1 on average" in done.out
    assert study.calls[0][3] == 0
    assert study.calls[0][4]._max_workers == 2


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("plug.overlp", *RANGE), ("KEY", "plug.overlp", "plug.overlap")),
        (("plug.overlap", "--from", "12 N", "--to", "24 mm"), ("--from", "force", '"12 N"')),
        (("plug.overlap", "--from", "12", "--to", "24 mm"), ("--from", "no unit", "12 mm")),
        (("plug.overlap", "--from", "12 mm", "--to", "24"), ("--to", "no unit")),
        (("plug.overlap", "--from", "-1 mm", "--to", "24 mm"), ("--from", "above zero", "-1 mm")),
        (("plug.overlap", "--from", "12 mm", "--to", "12 mm"), ("--to", "no width", "12")),
        (("plug.overlap", "--from", "12 mm"), ("--to",)),
        (("plug.overlap", *RANGE, "--points", "1"), ("--points", "'1'", "2 or more")),
        (("plug.overlap", *RANGE, "--and", "gap"), ("--and", "--from2", "--to2")),
        (("plug.overlap", *RANGE, "--from2", "1 mm"), ("--and",)),
        (
            ("plug.overlap", *RANGE, "--and", "gapp", "--from2", "0.1 mm", "--to2", "0.2 mm"),
            ("--and", "gapp", "gap"),
        ),
        (
            ("plug.overlap", *RANGE, "--and", "gap", "--from2", "0 mm", "--to2", "0.2 mm"),
            ("--from2", "above zero"),
        ),
        (
            ("plug.overlap", *RANGE, "--and", "gap", "--from2", "0.1 mm", "--to2", "0.2 mm",
             "--points", "30"),
            ("--points", "225", "30 by 9"),
        ),
        (("weak_bonds.lone_weight", "--from", "1 %", "--to", "150 %"), ("--to", "1.5")),
    ],
)  # fmt: skip
def test_usage_errors_name_option_and_value(run, rod, study, words, parts):
    done = run("sweep", rod, *words)
    assert done.status == 2
    assert done.out == ""
    told = " ".join(done.err.replace("│", " ").split())
    for part in parts:
        assert part in told, told
    assert not study.calls


def without(table):
    text = Path("rod.toml").read_text("utf-8")
    head, *parts = text.split("\n[")
    kept = [part for part in parts if not part.lstrip("[").startswith(table)]
    Path("rod.toml").write_text("\n[".join([head, *kept]), encoding="utf-8")


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("load]", ("sweep", "rod.toml", "plug.overlap", *RANGE)),
        ("load]", ("rating", "rod.toml")),
        ("target]", ("rating", "rod.toml")),
    ],
)
def test_a_file_without_what_is_asked_for_is_at_fault(run, rod, study, table, words):
    without(table)
    done = run(*words)
    assert done.status == 3
    assert done.err.startswith("rod.toml: ")
    assert f"names no {table[:-1]}" in done.err
    assert not study.calls


@pytest.mark.parametrize("command", [("sweep", "rod.toml", "plug.overlap", *RANGE),
                                     ("rating", "rod.toml")])  # fmt: skip
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
def test_errors_leave_with_their_status_and_no_folder(run, rod, study, command, error, status):
    study.sweep = study.rating = error
    done = run(*command)
    assert done.status == status
    assert done.out == ""
    assert "Traceback" not in done.err
    assert [path.name for path in Path().iterdir()] == ["rod.toml"]


@pytest.mark.parametrize("command", [("sweep", "rod.toml", "plug.overlap", *RANGE),
                                     ("rating", "rod.toml")])  # fmt: skip
def test_a_file_in_the_folders_place_is_refused_before_the_work(run, rod, study, command):
    Path("taken").write_text("mine")
    done = run(*command, "--out", "taken")
    assert done.status == 2
    assert "taken is a file" in done.err
    assert not study.calls


def test_an_option_of_the_file(run, rod, study):
    with Path(rod).open("a", encoding="utf-8") as stream:
        stream.write('\n[options."longer"]\nplug.overlap = "30 mm"\n')
    done = run("sweep", rod, "plug.overlap", *RANGE, "--option", "longer")
    assert done.err == "report: rod-longer-report/sweep.html\n"


# Rating ------------------------------------------------------------------------------------------


def test_the_rating_on_stdout_and_in_the_folder(run, rod, study):
    done = run("rating", rod)
    assert done.status == 0, done.err
    assert done.out.startswith("Rating    As built the target")
    assert done.err == "report: rod-report/rating.html\n"
    written = {path.name for path in Path("rod-report").iterdir()}
    assert written == {"rating.html", "rating.json", "tables"}


@pytest.mark.parametrize(
    ("words", "pulls"),
    [
        ((), None),
        (("--pull", "750 N"), ["750 N"]),
        (("--pull", "750 N", "--pull=90 kgf"), ["750 N", "90 kgf"]),
    ],
)
def test_pulls_are_handed_on_as_written(run, rod, study, words, pulls):
    run("rating", rod, *words)
    assert study.calls == [(pulls, None, None)]


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--pull", "75 kg"), ("--pull", "mass", '"75 kgf"')),
        (("--pull", "750"), ("--pull", "no unit", "750 N")),
        (("--pull", "0 N"), ("--pull", "above zero", "'0 N'")),
        (("--pul", "5 N"), ("--pul", "--pull")),
    ],
)
def test_usage_errors_of_the_rating(run, rod, study, words, parts):
    done = run("rating", rod, *words)
    assert done.status == 2
    for part in parts:
        assert part in done.err
    assert not study.calls


def test_the_rating_as_json(run, rod, study):
    done = run("rating", rod, "--json", "--jobs", "3", "--seed", "7")
    assert json.loads(done.out)["as_built"]["factor"] == 0.8695
    assert study.calls[0][1] == 7
    assert study.calls[0][2]._max_workers == 3


# A whole run -------------------------------------------------------------------------------------


def test_a_whole_sweep_is_the_same_with_two_workers(run, rod):
    words = ("sweep", rod, "plug.overlap", *RANGE, "--points", "5", "--json", "--seed", "2")
    told = []
    for jobs in ("1", "2"):
        done = run(*words, "--jobs", jobs)
        assert done.status == 0, done.err
        document = json.loads(done.out)
        del document["host"]
        told.append(document)
    assert told[0] == told[1]
    assert len(told[0]["points"]) == 5
    assert (
        told[0]["points"][0]["failure"]["estimate"] > told[0]["points"][-1]["failure"]["estimate"]
    )


def test_a_whole_rating(run, rod):
    done = run("rating", rod, "--json", "--out", "here")
    assert done.status == 0, done.err
    document = json.loads(done.out)
    assert document["as_built"]["verdict"] in ("rated", "unreachable")
    assert "rods" in Path("here/rating.html").read_text("utf-8")
