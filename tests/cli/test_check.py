import re
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk import scenario as room
from jointrisk.scenario import Row
from jointrisk.scenario.types import Warning_

ROWS = [
    Row("rods.count", "count", "12", "scenario", "your scenario", "given"),
    Row(
        "plug.overlap", "overlap", "30 mm on average", "scenario", "your scenario", "given",
        "joint", "scatter", "mm", 30.0, 0.033, 28.4, 30.0, 31.6,
    ),
    Row(
        "model.bond_factor", "how well the model gives the strength", "1 on average", "default",
        "by analogy with welds", "judgement, no source", "all", "not known", "-", 1.0, 0.2, 0.71,
        0.98, 1.36,
    ),
    Row(
        "plug.expansion", "expansion", "23.5e-6/K", "default", "handbook", "from memory", "all",
        "scatter", "1/K", 2.35e-5, 0.0, 2.35e-5, 2.35e-5, 2.35e-5,
    ),
]  # fmt: skip


@pytest.fixture
def rows(monkeypatch):
    warnings = (Warning_("corrosion", "keep dry"),)
    scenario = SimpleNamespace(title="Twelve rods", warnings=warnings, options=())
    monkeypatch.setattr(jointrisk, "load", lambda path, *, option=None: scenario, raising=False)
    monkeypatch.setattr(room, "describe", lambda given: ROWS)


def test_every_number_of_a_row_stands_in_its_line(run, rows):
    done = run("check", "rods.toml")
    assert done.status == 0
    line = next(x for x in done.out.splitlines() if x.startswith("plug.overlap"))
    assert line.split() == ["plug.overlap", "30", "3.3", "%", "28.4", "30", "31.6", "mm"]


def test_words_tell_scope_kind_whose_source_and_mark(run, rows):
    said = run("check", "rods.toml").out
    assert "overlap: 30 mm on average; each joint its own, scatter; yours" in said
    assert "one for all, not known; default, by analogy with welds (judgement, no source)" in said


def test_fixed_values_claim_no_scatter(run, rows):
    said = run("check", "rods.toml").out
    assert re.search(r"plug\.expansion +2\.[34]e-05 +1/K\n", said)
    assert "count: 12; yours, your scenario (given)" in said


def test_parts_of_the_rod_stand_together(run, rows):
    said = run("check", "rods.toml").out
    keys = [x.split()[0] for x in said.splitlines() if re.match(r"\w+\.\w+", x)]
    assert keys == ["rods.count", "plug.overlap", "plug.expansion", "model.bond_factor"]


def test_warnings_come_last_and_the_note_goes_to_stderr(run, rows):
    done = run("check", "rods.toml")
    assert done.out.endswith("Warnings\n  corrosion: keep dry\n")
    assert done.err == "rods.toml can be used; next: jointrisk assess rods.toml\n"
    assert run("check", "rods.toml", "-q").err == ""


@pytest.mark.parametrize("columns", [40, 80, 100])
def test_lines_stay_within_the_terminal(run, rows, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    said = run("check", "rods.toml").out
    assert max(len(line) for line in said.splitlines()) <= columns
    assert "31.6" in said


def test_a_real_scenario_shows_every_variable(run):
    run("new", "plug-in-tube", "r.toml")
    done = run("check", "r.toml")
    assert done.status == 0
    for key in jointrisk.load("r.toml").variables:
        assert f"\n{key} " in done.out


def test_a_file_that_is_not_there_is_named(run):
    done = run("check", "absent.toml")
    assert done.status == 3
    assert "absent.toml" in done.err
    assert "Traceback" not in done.err
