"""The example reports agree with what the program computes today."""

import json
import re
import tomllib
from pathlib import Path

import pytest

import jointrisk

ROOT = Path(__file__).parents[1]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
PAGES = sorted((ROOT / "reports").glob("*/*.html"))


def test_every_scenario_has_its_report_and_every_report_its_scenario():
    reports = {path.name for path in (ROOT / "reports").iterdir()}
    assert reports == {path.stem for path in SCENARIOS}


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_numbers_of_the_report_are_those_of_today(path):
    shown = json.loads((ROOT / "reports" / path.stem / "result.json").read_text("utf-8"))
    today = jointrisk.assess(jointrisk.load(path)).to_dict()
    assert shown["run"]["scenario_sha256"] == today["run"]["scenario_sha256"]
    for key in ("estimate", "low", "high", "per_rod"):
        assert shown["failure_probability"][key] == pytest.approx(
            today["failure_probability"][key], rel=1e-6
        )
    assert shown["strength"]["new"] == pytest.approx(today["strength"]["new"], rel=1e-6)
    for key in ("load_newton", "floor"):
        value = today["proof"][key]
        assert shown["proof"][key] == (None if value is None else pytest.approx(value, rel=1e-6))
    assert shown["proof"]["verdict"] == today["proof"]["verdict"]
    assert [e["key"] for e in shown["assumptions"]] == [e["key"] for e in today["assumptions"]]
    assert shown["geometry"] == today["geometry"]


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_what_the_report_says_of_pulls_is_what_is_found_today(path):
    shown = json.loads((ROOT / "reports" / path.stem / "proof.json").read_text("utf-8"))
    today = jointrisk.proof(jointrisk.load(path)).to_dict()
    for key in ("verdict", "reason", "reachable", "openers", "limits"):
        assert shown[key] == today[key], key
    for key in ("load_newton", "load_low", "load_high", "floor"):
        value = today[key]
        assert shown[key] == (None if value is None else pytest.approx(value, rel=1e-6)), key
    assert [p["label"] for p in shown["pulls"]] == [p["label"] for p in today["pulls"]]


def test_every_command_has_its_pages_and_all_are_of_the_scenario_of_today():
    folder = ROOT / "reports" / "land-sailer-brake-rod"
    sha = jointrisk.load(ROOT / "scenarios" / "land-sailer-brake-rod.toml").sha256
    for name in ("proof", "rank", "compare", "sweep", "rating", "plan", "learn"):
        assert (folder / f"{name}.html").is_file()
        assert sha in (folder / f"{name}.json").read_text("utf-8"), name
    assert (folder / "fit.html").is_file()


@pytest.mark.parametrize("page", PAGES, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_the_page_asks_nothing_of_the_outside_and_runs_nothing(page):
    text = page.read_text("utf-8")
    assert "<script" not in text
    for sign in ('src="http', "src='http", "url(http", "<link", "@import"):
        assert sign not in text
    assert "safe " not in text.lower()
    if page.name != "card.html":
        assert "can hurt" in text


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_the_page_links_the_tables_beside_it_and_draws_the_joint(path):
    folder = ROOT / "reports" / path.stem
    page = (folder / "report.html").read_text("utf-8")
    linked = set(re.findall(r'href="(tables/[^"]+)"', page))
    everywhere = set()
    for each in folder.glob("*.html"):
        everywhere |= set(re.findall(r'href="(tables/[^"]+)"', each.read_text("utf-8")))
    assert everywhere == {f"tables/{table.name}" for table in (folder / "tables").iterdir()}
    assert "tables/strength.csv" in linked
    assert 'id="joint-1-desc"' in page


def test_the_readme_shows_a_scenario_that_is_there_and_the_commands_of_today():
    text = (ROOT / "README.md").read_text("utf-8")
    for path in SCENARIOS:
        assert tomllib.loads(path.read_text("utf-8"))["schema"] == 1
    assert "scenarios/gravity-racer-drag-link.toml" in text
    report = json.loads((ROOT / "reports/gravity-racer-drag-link/result.json").read_text("utf-8"))
    odds = round(1 / report["failure_probability"]["estimate"])
    assert f"About 1 in {odds} that the rod lets go" in text
