import json
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.errors import EstimateError, InputError

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented_compare.py"))


@pytest.fixture
def study(monkeypatch):
    """Put an invented comparison in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=_MAKERS["invented_compare"](), calls=[], files=[])
    asked.options = {"as written": "base", "longer": "a", "other glue": "b"}

    def load(path, *, option=None):
        asked.files.append(path)
        return f"of {path}"

    def compare(options, *, seed=None, pool=None, baseline=None):
        asked.calls.append((options, seed, pool, baseline))
        if isinstance(asked.result, BaseException):
            raise asked.result
        return asked.result

    monkeypatch.setattr(jointrisk, "load", load, raising=False)
    monkeypatch.setattr(jointrisk, "load_options", lambda _: asked.options, raising=False)
    monkeypatch.setattr(jointrisk, "compare", compare, raising=False)
    return asked


def test_answers_on_stdout_and_writes_the_folder_beside(run, study):
    done = run("compare", "some/rods.toml")
    assert done.status == 0
    assert done.out.startswith("Lowest    'longer <overlap> $1$' fails least often")
    assert done.err == "report: rods-report/compare.html\n"
    written = {path.name for path in Path("rods-report").iterdir()}
    assert written == {"compare.html", "compare.json", "tables"}


def test_all_options_of_one_file_are_compared(run, study):
    run("compare", "rods.toml")
    assert list(study.calls[0][0]) == ["as written", "longer", "other glue"]


def test_options_can_be_picked_in_any_order(run, study):
    run("compare", "rods.toml", "--option", "other glue", "--option", "as written")
    assert study.calls[0][0] == {"other glue": "b", "as written": "base"}


def test_several_files_go_by_their_names(run, study):
    done = run("compare", "here/plug.toml", "there/sleeve.toml", "--baseline", "sleeve")
    assert list(study.calls[0][0]) == ["plug", "sleeve"]
    assert study.calls[0][3] == "sleeve"
    assert done.err == "report: options-report/compare.html\n"


def test_json_is_one_document_and_no_folder(run, study):
    done = run("compare", "rods.toml", "--json")
    assert json.loads(done.out)["baseline"] == "as written"
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_and_out_do_both(run, study):
    done = run("compare", "rods.toml", "--json", "--out", "here")
    assert json.loads(done.out) == json.loads(Path("here/compare.json").read_text("utf-8"))


def test_quiet_leaves_the_answer_alone(run, study):
    done = run("compare", "rods.toml", "-q")
    assert done.err == ""
    assert "0.62 times as often" in done.out


def test_verbose_shows_every_pair(run, study):
    words = "'other glue' fails 1.66 times as often"
    assert words not in run("compare", "r.toml").out
    assert words in run("compare", "r.toml", "-v").out


@pytest.mark.parametrize(("words", "seed"), [((), None), (("--seed", "0"), 0), (("--seed=7",), 7)])
def test_the_seed_is_handed_on_and_nought_is_one(run, study, words, seed):
    run("compare", "rods.toml", *words)
    assert study.calls[0][1] == seed


def test_jobs_hands_on_a_pool_with_map(run, study):
    run("compare", "rods.toml", "--jobs", "3")
    assert study.calls[0][2]._max_workers == 3


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("a/rod.toml", "b/rod.toml"), ("'rod'", "a/rod.toml and b/rod.toml")),
        (("a.toml", "b.toml", "--option", "longer"), ("--option", "one file")),
        (("a.toml", "--option", "longr"), ("'longr'", "did you mean 'longer'")),
        (("a.toml", "--option", "zzz"), ("'zzz'", "'as written', 'longer', 'other glue'")),
        (("a.toml", "--seed", "-1"), ("--seed", "'-1'")),
        ((), ("FILE",)),
    ],
)
def test_wrong_words_leave_with_status_2(run, study, words, parts):
    done = run("compare", *words)
    assert done.status == 2
    flat = " ".join(done.err.replace("│", " ").split())
    for part in parts:
        assert part in flat
    assert not study.calls


def test_a_file_without_options_is_told_what_to_write(run, study):
    study.options = {"as written": "base"}
    done = run("compare", "rods.toml")
    assert done.status == InputError("").exit_status
    assert done.err.startswith(
        'rods.toml: has no options to compare; write some as [options."NAME"]'
    )


@pytest.mark.parametrize("kind", [InputError, EstimateError])
def test_what_the_study_refuses_is_one_line(run, study, kind):
    study.result = kind("no such option to hold the others against (got 'x')")
    done = run("compare", "rods.toml")
    assert done.status == kind("").exit_status
    assert done.err == "no such option to hold the others against (got 'x')\n"
    assert done.out == ""


def test_a_real_file_from_end_to_end(run, tmp_path):
    rod = Path(__file__).parents[2] / "scenarios" / "sun-heated-brace.toml"
    more = '\n[options."longer"]\nplug.overlap = "40 mm"\nrods.cost_per_rod = "9 EUR"\n'
    (tmp_path / "rod.toml").write_text(rod.read_text("utf-8") + more, "utf-8")
    done = run("compare", "rod.toml", "--json", "--seed", "3")
    assert done.status == 0, done.err
    told = json.loads(done.out)
    assert [option["name"] for option in told["options"]] == ["as written", "longer"]
    assert told["options"][1]["cost"] == {"amount": 9.0, "currency": "EUR"}
    assert [d["key"] for d in told["options"][1]["differences"]][:2] != []
    assert told["against_baseline"][0]["ratio"]["verdict"] in ("lower", "higher", "not told apart")
