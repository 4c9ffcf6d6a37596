import json
from pathlib import Path

import pytest

import jointrisk
from jointrisk.errors import EstimateError

WORDS = (
    *("single-lap", "--width", "25 mm", "--overlap", "12.5 mm", "--thickness", "1.6 mm"),
    *("--material", "aluminium 6082-T6", "--class", "two-part toughened epoxy"),
)


def test_answers_on_stdout(run):
    done = run(*WORDS, "--load", "6.4 kN", "--load", "6 kN")
    assert done.status == 0
    assert done.out.startswith("Strength  On these surfaces the layer bears at least 19.8 MPa in")
    assert done.err == ""
    assert not list(Path().iterdir())


def test_json_is_the_document_of_the_function(run):
    done = run(*WORDS, "--load", "6.4 kN", "--bond-line", "0.3 mm", "--json")
    found = jointrisk.single_lap(
        width="25 mm", overlap="12.5 mm", thickness="1.6 mm", material="aluminium 6082-T6",
        adhesive_class="two-part toughened epoxy", load="6.4 kN", bond_line="0.3 mm",
    )  # fmt: skip
    assert json.loads(done.out) == json.loads(json.dumps(found.to_dict()))


def test_modulus_and_yield_of_ones_own(run):
    words = [w for w in WORDS if w not in ("--material", "aluminium 6082-T6")]
    done = run(*words, "--modulus", "210 GPa", "--yield", "900 MPa", "--load", "6 kN", "--json")
    given = json.loads(done.out)["given"]
    assert (given["modulus"], given["yield_strength"]) == (210_000.0, 900.0)


def test_loads_from_a_file(run):
    Path("loads.csv").write_text("load [kN]\n6.4\n6.0\n")
    done = run(*WORDS, "--loads", "loads.csv", "--json")
    assert json.loads(done.out)["given"]["loads"] == [6400.0, 6000.0]


def test_faults_of_the_line_are_a_line_each_by_the_options_own_names(run):
    done = run("single-lap", "--width", "25", "--class", "epoxi", "--yield", "2", "--load", "9 kg")
    assert done.status == 2
    assert done.out == ""
    heads = [line.split(":")[0] for line in done.err.splitlines()]
    assert sorted(heads) == ["--class", "--load", "--material", "--overlap", "--thickness",
                             "--width", "--yield"]  # fmt: skip
    assert '--width: has no unit (got 25; write "25 mm")' in done.err
    assert 'got "epoxi"' in done.err


def test_faults_of_the_file_are_the_contents(run):
    Path("loads.csv").write_text("load [kN]\n6.4\nsix\n")
    done = run(*WORDS, "--loads", "loads.csv")
    assert done.status == 3
    assert done.err.startswith("loads.csv: line 3: ")
    assert '"six kN"' in done.err
    assert run(*WORDS, "--loads", "absent.csv").status == 3


@pytest.mark.parametrize("word", ["--lode", "--material="])
def test_unknown_words_are_usage(run, word):
    assert run(*WORDS, word, "5 kN").status == 2


def test_no_estimate_has_its_own_status(run, monkeypatch):
    def refuse(**_):
        raise EstimateError("no number for 3 mm")

    monkeypatch.setattr(jointrisk, "single_lap", refuse, raising=False)
    done = run(*WORDS, "--load", "6 kN")
    assert (done.status, done.out, done.err) == (4, "", "no number for 3 mm\n")


def test_width_and_letters_of_the_terminal(run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "64")
    monkeypatch.setenv("FORCE_COLOR", "1")
    done = run(*WORDS, "--load", "6 kN")
    assert "\x1b[1mStrength" in done.out
    plain = run(*WORDS, "--load", "6 kN", "--no-color").out
    assert max(map(len, plain.splitlines())) <= 64
    assert "\x1b" not in plain
