"""What the demo scenarios say of pulls: each verdict, its cause, and the pulls people do."""

import html
import re
from dataclasses import replace
from pathlib import Path

import pytest

import jointrisk
from jointrisk.report import proof_page
from jointrisk.report.practice import PRACTICE
from jointrisk.report.proof_text import text

FOLDER = Path("scenarios")
VERDICTS = {
    "delta-robot-forearms": "window",
    "gravity-racer-drag-link": "window",
    "land-sailer-brake-rod": "empty",
    "rowing-rigger-backstay": "unreachable",
    "sun-heated-brace": "unreachable",
}


ODDS = re.compile(r"1 in ([0-9,]+)")


def scenario_of(name):
    return jointrisk.load(FOLDER / f"{name}.toml")


def newtons_in(said):
    return [float(n.replace(",", "")) for n in re.findall(r"([0-9,]+) N\b", said)]


def percents_in(said):
    return [float(n) / 100.0 for n in re.findall(r"([0-9.]+) %", said)]


def opening(found):
    return {opener.name for opener in found.openers if opener.opens}


def flat(said):
    """Return the words of a page with nothing between them: tags may stand anywhere."""
    return "".join(html.unescape(re.sub(r"<[^>]+>", " ", said)).split())


def test_every_demo_scenario_has_its_verdict_here():
    assert {path.stem for path in FOLDER.glob("*.toml")} == set(VERDICTS)


@pytest.mark.parametrize("name", ["gravity-racer-drag-link", "land-sailer-brake-rod"])
def test_the_main_answer_gives_the_same_verdict(name):
    found = jointrisk.assess(scenario_of(name), curves=False).proof
    assert found.verdict == VERDICTS[name]
    assert found.reason


def test_a_wide_window():
    """From the pull that does to the pull that breaks too many is more than twice the load."""
    found = jointrisk.proof(scenario_of("delta-robot-forearms"))
    assert found.verdict == "window"
    (low, high), *_ = found.windows
    assert high > 2.0 * low
    assert found.load_newton == low
    assert found.best.meets_target
    assert found.best.reject.estimate < 0.02
    assert found.best.years_before < 1.0 < found.best.years_after == 5.0
    name, most = found.limits[0]
    assert "willing to break, 10 %" in name
    assert high == pytest.approx(most, rel=0.01)


def test_a_narrow_window_and_a_person_who_hangs_on_the_rod():
    """The pull they do finds few weak rods; the page says in numbers what pull would do."""
    found = jointrisk.proof(scenario_of("gravity-racer-drag-link"))
    assert found.verdict == "window"
    (low, high), *_ = found.windows
    assert 1.0 < high / low < 1.3
    (hang,) = found.pulls
    assert hang.load_newton == pytest.approx(82.0 * 9.80665)
    assert hang.reject_weak.high < 0.1
    assert hang.fail_after.low > 0.6 * hang.fail_before
    assert hang.meets_target is False
    assert hang.needed_newton == found.load_newton > 4.5 * hang.load_newton
    assert found.best.fail_after.high < hang.fail_after.low / 100.0
    said = text(found, width=0)
    (line,) = [line for line in said.splitlines() if "A person hangs on it" in line]
    shown = newtons_in(line)
    assert shown[0] == pytest.approx(hang.load_newton, rel=0.01)
    assert shown[-1] == pytest.approx(hang.needed_newton, rel=0.02)
    broken, caught = percents_in(line)[:2]
    assert broken == pytest.approx(hang.reject.estimate, rel=0.06)
    assert caught == pytest.approx(hang.reject_weak.estimate, rel=0.06)
    before, after = (1.0 / chance for chance in (hang.fail_before, hang.fail_after.estimate))
    odds = [float(n.replace(",", "")) for n in ODDS.findall(line)]
    assert sorted(odds) == pytest.approx([before, after], rel=0.06)


def test_an_empty_window_names_the_pull_that_would_do_and_what_it_breaks():
    scenario = scenario_of("land-sailer-brake-rod")
    found = jointrisk.proof(scenario)
    assert (found.verdict, found.reachable, found.load_newton) == ("empty", False, None)
    assert "the share of rods one is willing to break, 5 %" in found.reason
    needed, stops = newtons_in(found.reason)[:2]
    assert needed > 1.2 * stops
    assert stops == pytest.approx(found.limits[0][1], rel=0.01)
    most, broken = percents_in(found.reason)[:2]
    assert most == scenario.proof.max_reject
    assert broken > 2.0 * most
    assert found.floor > found.target
    assert "breaking up to half of all rods" in opening(found)
    assert "tests of your own that settle what the bond is worth" in opening(found)
    (both,) = found.pulls
    assert both.meets_target is False
    assert both.reject_weak.estimate < 0.25
    assert both.fail_after.low > 0.4 * both.fail_before
    assert flat(found.reason) in flat(proof_page.html(found))
    # who is willing to break so many is told just that pull
    willing = replace(scenario, proof=replace(scenario.proof, max_reject=1.3 * broken))
    opened = jointrisk.proof(willing)
    assert opened.verdict == "window"
    assert opened.load_newton == pytest.approx(needed, rel=0.08)
    assert opened.best.reject.estimate == pytest.approx(broken, rel=0.25)


def test_heat_closes_every_window_of_the_brace():
    found = jointrisk.proof(scenario_of("sun-heated-brace"))
    assert (found.verdict, found.reachable) == ("unreachable", False)
    assert found.reason.startswith("No pull meets the target")
    best, unpulled = (float(n.replace(",", "")) for n in ODDS.findall(found.reason)[-2:])
    assert best == pytest.approx(unpulled, rel=0.05)
    assert opening(found) == {"10 K less heat in service"}
    assert found.floor == pytest.approx(found.pulls[0].as_target_before, rel=0.05)
    assert "harder" not in text(found, width=0).splitlines()[0]


def test_brittle_glue_and_damp_close_every_window_of_the_backstay():
    found = jointrisk.proof(scenario_of("rowing-rigger-backstay"))
    assert (found.verdict, found.reachable) == ("unreachable", False)
    assert found.reason.startswith("No pull meets the target")
    assert not any(opener.opens for opener in found.openers if ", and " not in opener.name)
    (cox,) = found.pulls
    assert cox.fail_after.low > 0.8 * cox.fail_before  # it catches weak bonds, few of what fails
    assert cox.reject_weak.estimate > 0.4
    assert cox.needed_newton is None


def test_published_practice_stands_beside_the_answer_with_source_and_mark():
    found = jointrisk.proof(replace(scenario_of("sun-heated-brace"), target=None))
    page = flat(proof_page.html(found))
    assert flat("Published practice, not a result") in page
    for entry in PRACTICE:
        assert flat(" ".join((entry.pull, entry.on, entry.source, entry.mark))) in page
    pulls = " ".join(entry.pull for entry in PRACTICE)
    for figure in ("20 %", "1.05 to 1.25", "1.5 times", "1 min"):
        assert figure in pulls
