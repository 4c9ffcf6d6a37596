"""A plan of tests: sentences, cells and the terminal, with any numbers."""

import math
import re
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from jointrisk.report import plan_cells as cells
from jointrisk.report import plan_page
from jointrisk.report import plan_sentences as say
from jointrisk.report.plan_text import text
from jointrisk.study.plan_results import SuccessRun
from jointrisk.study.results import Chance

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_plan.py"))))
ALL = {
    name: getattr(MADE, name)()
    for name in ("invented_plan", "with_costs", "without_target", "no_test", "all_known")
}
FULL = ALL["invented_plan"]


def changed(key, **changes):
    """Return the invented plan with one candidate changed."""
    return MADE.invented_plan(
        candidates=tuple(replace(e, **changes) if e.key == key else e for e in FULL.candidates)
    )


# Sentences ---------------------------------------------------------------------------------------


def test_the_answer_leads_with_one_sentence():
    said = say.next_test(FULL)
    assert said == (
        "**Pull 4 rods until they break**; that would lower the chance of a wrong decision about "
        "the target from 21 % to **9.6 %** (less by 12 in 100, 10 to 13) and leave a band from "
        "1 in 5,300 to 1 in 670 on average; nothing to gain from measuring gaps and measuring "
        "overlaps."
    )
    assert say.headline(FULL)[0] == ("Next", said)


def test_a_kind_of_which_anything_brings_something_is_not_called_idle():
    assert "coupons" not in say.next_test(FULL).split("nothing to gain")[1]
    idle = changed("pull:set", brings=False)
    assert "pulls to" not in say.next_test(idle)
    both = replace(
        idle,
        candidates=tuple(
            replace(e, brings=False) if e.kind == "pull" else e for e in idle.candidates
        ),
    )
    assert "nothing to gain from pulls to 1,500 N, measuring gaps and" in say.next_test(both)


def test_without_a_target_the_band_is_told_and_no_decision():
    said = text(ALL["without_target"], width=0)
    first = said.splitlines()[0]
    assert "leave a band from 1 in 5,300 to 1 in 670 on average (now 1 in 24,000 to 1 in 380)" in (
        first
    )
    assert "wrong" not in said
    assert "names no target" in said
    assert "Ranked by what each takes from the width of the band." in said


@pytest.mark.parametrize(
    ("verdict", "part"),
    [
        ("missed everywhere", "No test helps: change the joint or the load instead"),
        ("met everywhere", "No test is needed for the answer"),
        ("nothing tells", "No test here tells enough"),
    ],
)
def test_where_no_test_helps_the_first_line_says_so(verdict, part):
    result = MADE.no_test(verdict)
    assert say.next_test(result).startswith(f"**{part}")
    assert say.headline(result)[1] == ("Why", result.reason)
    assert say.otherwise(result) == ""
    assert say.settle(result) == (
        "Even to know “worth of the evidence” exactly would bring nothing that can be told."
    )
    assert "nothing to gain" not in say.next_test(MADE.no_test("missed everywhere"))


@pytest.mark.parametrize("verdict", ["missed everywhere", "pull"])
def test_a_pull_that_sorts_is_not_told_as_a_lesson(verdict):
    pulled = replace(
        changed("pull:set", chance_met=MADE.about(0.9)), verdict=verdict, next_key="pull:set"
    )
    said = say.next_test(pulled)
    assert said.startswith("**Pull all 12 rods to 1,500 N**; that would teach little that counts")
    assert "about 1 in 4,500 still fails, and **the target is met in 90 % (81 to 99 %) of" in said


def test_everything_known_has_no_band_and_no_tests():
    said = text(ALL["all_known"], width=0)
    assert said.startswith("Next      There is nothing to test for.")
    assert "anywhere from" not in said
    assert "nothing to gain" not in said
    assert "What each test" not in said


def test_the_other_kinds_are_told_by_their_best():
    said = say.otherwise(FULL)
    assert said.startswith("Break 12 lap coupons: wrong 15 % (now 21 %)")
    assert "pull all 12 rods" in said
    assert "rods until" not in said
    assert "gap" not in said


def test_a_better_gauge_is_held_against_the_same_without_it():
    gauge = MADE.candidate(
        "gauge:4", "pull 4 rods with a better gauge", 0.08, 2e-4, 1.4e-3, 2,
        beside="rod:4", gain=Chance(0.016, 0.012, 0.021),
    )  # fmt: skip
    result = MADE.invented_plan(candidates=(*FULL.doable, gauge, *FULL.bounds))
    assert "; 1.6 in 100, 1.2 to 2.1 of it beyond the same without it" in say.otherwise(result)
    led = replace(result, next_key="gauge:4")
    assert "to **8 %** (1.6 in 100, 1.2 to 2.1 of it beyond the same" in say.next_test(led)
    assert "beyond the same without it" in plan_page.html(result)


def test_where_things_stand():
    said = say.now(FULL)
    assert "any of the 12 rods lets go in the worst year" in said
    assert "1 in 24,000 to 1 in 380" in said
    assert "The target, 1 in 10,000, is met in 21 % (19 to 23 %)" in said
    assert "one rod lets go" in say.counted(MADE.invented_plan(target_scope="rod"))
    assert say.counted(MADE.invented_plan(rods=1, target_period="life")) == (
        "that the rod lets go in 5 years"
    )


def test_bounds_are_called_bounds():
    assert "What tells of it alone cannot bring more." in say.settle(FULL)
    assert say.settle(MADE.invented_plan(candidates=FULL.doable)) == ""
    tied = changed("settle:model.load_factor", rank=1)
    assert "(not told apart from 1 more)" in say.settle(tied)


def test_what_no_test_speaks_to_is_named():
    assert say.unspoken(FULL) == "No test here tells of “how well the loads are known”."
    assert "how good the model" not in " ".join(say.not_shown(FULL))
    assert any("3 % (2 to 4 %)" in line for line in say.not_shown(FULL))
    sure = MADE.invented_plan(unexplained=Chance(0.001, 0.0, 0.002))
    assert len(say.not_shown(sure)) == len(say.not_shown(FULL)) - 1


def test_what_each_does_not_tell_is_said_once_for_those_it_is_the_same_of():
    told = {note: names for names, note in cells.notes(FULL)}
    assert set(told) == {"It tells nothing of the years.", "It speaks of these rods only."}
    assert told["It speaks of these rods only."] == (
        "measure the gap of every rod; measure the overlap of every rod"
    )
    assert text(FULL, width=0, verbose=1).count("It speaks of these rods only.") == 1


def test_what_a_test_speaks_to():
    by_key = {entry.key: entry for entry in FULL.candidates}
    assert cells.speaks(by_key["rod:4"]) == "glue strength & more; worth of the evidence"
    assert cells.speaks(by_key["gap"]) == "sizes of these rods"
    assert cells.speaks(replace(by_key["pull:29"], speaks_to=())) == "no unknown by itself"


def test_what_the_pull_leaves_is_told_apart_from_what_it_teaches():
    said = dict(say.headline(FULL))["Screens"]
    assert said == (
        "Of sets that held: pull all 12 rods to 1,500 N, about 1 in 4,500 still fails "
        "(before: 1 in 1,600)."
    )
    assert "Screens" not in dict(say.headline(changed("pull:set", fail_after=None)))


def test_what_to_do_is_never_said_by_the_name_of_a_pull():
    named = changed("pull:set", name="pull all 12 rods to 1,500 N (a crew hangs on it)")
    led = replace(named, next_key="pull:set")
    assert "crew" not in say.next_test(led) + say.otherwise(named)
    assert "pull all 12 rods to 1,500 N: wrong" in say.otherwise(named)
    assert "(a crew hangs on it), about" in say.screens(named)


def test_a_ranking_that_is_no_advice_says_so():
    plain = replace(ALL["without_target"], verdict="missed everywhere", target=1e-4)
    assert "what leads is no advice" in text(plain, width=0)
    assert "what leads is no advice" in plan_page.html(plain)
    assert "Ranked by" not in text(FULL, width=0)


def test_a_pull_of_the_file_is_no_leave_to_make_it_so():
    said = text(FULL, width=0)
    assert "never with a person's weight" in said
    assert "never with a person&#39;s weight" in plan_page.html(FULL)
    none = MADE.invented_plan(candidates=FULL.candidates[:4])
    assert "person's weight" not in text(none, width=0)


def test_every_plan_says_what_no_test_shows_and_keeps_the_cautions():
    for result in ALL.values():
        said = text(result, width=0)
        for line in say.UNTOLD:
            assert line in said
        assert "A rod that lets go can hurt." in said
        assert not re.search(r"(?i)\bsafe", said)


# Cells -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0.2134, "21 %"),
        (0.0964, "9.6 %"),
        (0.0004, "under 0.1 %"),
        (0.5, "50 %"),
        (0, "under 0.1 %"),
    ],
)
def test_chances_in_hundredths(value, told):
    assert cells.percent_of(Chance(value, value, value)) == told


def test_differences_of_either_sign():
    assert cells.points(Chance(0.091, 0.08, 0.1)) == "9.1 in 100, 8 to 10"
    assert cells.points(Chance(-0.02, -0.03, 0.0001)) == "\N{MINUS SIGN}2 in 100, −3 to 0"


def test_ranks_are_shared_or_a_dash():
    assert cells.ranks(FULL.doable)[:4] == ["1", "2", "3=", "3="]
    assert cells.ranks(FULL.doable)[-2:] == ["-", "-"]


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (Chance(0.0, 0.0, 0.0), "none of 1,024 cases"),
        (Chance(1.0, 1.0, 1.0), "all of 1,024 cases"),
        (Chance(0.0, 0.0, 0.0011), "under 0.2 % of the cases"),
        (Chance(0.2, 0.1, 0.3), "20 % (10 to 30 %) of the cases"),
    ],
)
def test_no_share_of_the_cases_is_a_bare_zero(found, told):
    assert say.of_states(FULL, found) == told


def test_a_count_of_pulls_is_never_rounded():
    assert cells.run_row(SuccessRun(0.9999, 0.95, 29956, None)) == ("99.99 %", "95 %", "29,956", "")
    assert cells.run_row(SuccessRun(0.9, 0.95, 29, MADE.about(0.44)))[-1] == "44 in 100"


def test_a_share_that_nothing_showed_is_an_upper_bound():
    shown = cells.run_row(FULL.success_runs[-1])
    assert shown[-1] == "fewer than 1 in 100,000"


# Terminal ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("width", [40, 60, 80, 132])
@pytest.mark.parametrize("verbose", [0, 1])
def test_lines_keep_to_the_width(name, width, verbose):
    shown = text(ALL[name], width=width, verbose=verbose)
    long = [line for line in shown.splitlines() if len(line) > width and "ab" * 32 not in line]
    assert long == []
    assert shown.endswith("\n")
    assert not re.search(r"\b(nan|None|inf)\b|\*\*", shown)


def test_ten_rows_and_all_with_verbose():
    assert "1 more; -v shows them." in text(FULL)
    shown = text(FULL, verbose=1)
    assert "shows them" not in shown
    assert "measure the overlap of every rod" in shown
    assert "What each speaks to" in shown


def test_costs_are_shown_where_they_were_given():
    assert "cost" not in text(FULL)
    shown = text(ALL["with_costs"], width=120)
    row = next(line for line in shown.splitlines() if line.endswith("break 12 lap coupons"))
    assert "  48  " in row
    pull = next(line for line in shown.splitlines() if line.endswith("pull 29 rods to 1,500 N"))
    assert re.search(r"29 +0\.83 +pull", pull)


def test_bold_letters_only_where_asked():
    assert "\x1b[" not in text(FULL)
    assert "\x1b[1mNext\x1b[0m" in text(FULL, color=True)


# Any numbers -------------------------------------------------------------------------------------

chances = st.floats(0.0, 1.0) | st.floats(1e-12, 1e-3)


@settings(max_examples=30, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(st.tuples(chances, chances, chances), st.floats(-0.5, 0.5), st.floats(0.0, 60.0))
def test_any_numbers_are_told_plainly(ends, drop, parts):
    low, mid, high = sorted(ends)
    found, moved = Chance(mid, low, high), Chance(drop, drop - 0.01, drop + 0.01)
    result = changed(
        "rod:4", p05=low, p50=mid, p95=high, wrong_after=found, wrong_drop=moved, uses_up=parts,
        chance_clear=found, comes_out=(low, high), high=found,
    )  # fmt: skip
    shown = text(result, width=0, verbose=1)
    assert not re.search(r"\b(nan|None|inf)\b|\d[eE][-+]\d|\*\*|\b1 in 0\b", shown)
    for _, sentence in say.headline(result):
        assert sentence.endswith(".")
        assert not sentence.endswith("..")
        assert sentence.count("**") % 2 == 0


@pytest.mark.parametrize("log", [0.0, 0.5, 12.0, 900.0, math.inf])
def test_spans_of_any_width_have_words(log):
    assert cells.spans(Chance(log, log, log)).endswith(" times")
