"""A hand-made ledger in words, as a table, on a page and as CSV."""

import csv
import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from jointrisk.report import doubts as shown
from jointrisk.report.page import environment
from jointrisk.study.doubts_results import End, Entry, Ledger, Target
from jointrisk.study.results import Chance

NOW = Chance(1 / 4000, 0.000245, 0.000255)


def end(value, ratio, met=None, method="same draws", counted=True):
    told = ratio * NOW.estimate if counted else None
    low, high = (None, None) if told is None else (0.98 * told, 1.02 * told)
    plain = (value, ratio * NOW.estimate, ratio, 0.9 * ratio, 1.1 * ratio)
    return End(*plain, told, low, high, met, method)


def entry(name="worth of the evidence", **changes):
    made = Entry(
        key="evidence.factor",
        question="settled",
        name=name,
        value="0.6 on average",
        source="as for a data sheet",
        confidence="judgement, no source",
        range_source="5 and 95 % points of its own range",
        range_confidence="from memory",
        low=end("0.93", 0.25, True),
        high=end("0.35", 44.4, False),
        moves=2.25,
        moves_low=2.1,
        moves_high=2.4,
        turns=True,
        decides=True,
    )
    return replace(made, **changes)


STILL = entry(
    "bow of the rod",
    low=end("0.001", 1.0, True),
    high=end("0.004", 1.001, True),
    moves=0.0004,
    turns=False,
    decides=False,
)
ALONE = entry(
    "a flange",
    low=end("yes", 0.5, True, "own draws"),
    high=end("no", 1.0, True, "as it is"),
    moves=0.3,
    turns=False,
    decides=False,
)


def ledger(*entries, target=0.001):
    held = Target(target, "year", "set", NOW, True) if target else None
    return Ledger(
        failure=NOW,
        life_years=4.0,
        target=held,
        confidence=0.95,
        entries=entries or (entry(), ALONE, STILL),
        unread=("ageing.wet_share",),
        reasons=(("seed", "picks the random numbers"),),
        evaluations=1000,
    )


def test_what_decides_is_said_in_words():
    lead, told, *_ = shown.sentences(ledger())
    assert lead == "What decides whether the target is met: “worth of the evidence”."
    assert told == (
        "If “worth of the evidence” were at its pessimistic value (0.35, instead of 0.6 on "
        "average), the target would be missed: 1 in 90 in the worst year instead of 1 in 4,000."
    )


def test_a_missed_target_that_the_best_would_meet():
    worse = entry(low=end("0.93", 0.25, True), high=end("0.35", 44.4, False))
    result = ledger(worse, target=0.0001)
    result = replace(result, target=replace(result.target, met=False, period="life", scope="rod"))
    assert "at its optimistic value (0.93, " in shown.sentences(result)[1]
    told = "the target would be met: 1 in 16,000 for one rod over the life instead of 1 in 4,000."
    assert shown.sentences(result)[1].endswith(told)


def test_a_tie_is_told_as_a_tie():
    result = ledger(entry("one"), entry("two"), entry("three", decides=False))
    lead, *rest = shown.sentences(result)
    assert lead.endswith("“one” and “two”; the draws do not tell them apart.")
    assert any("would turn the verdict as well: “three”." in line for line in rest)


def test_where_nothing_turns_the_verdict_the_farthest_is_named():
    result = ledger(entry(turns=False, high=end("0.35", 2.0, True)))
    lead, told, _ = shown.sentences(result)
    assert lead == (
        "No single assumption turns the verdict: the target is met all the same. "
        "What moves the answer most: “worth of the evidence”."
    )
    assert told == (
        "With “worth of the evidence” at its best (0.93) the failure probability over the life "
        "is 1 in 16,000, at its worst (0.35) 1 in 2,000; now it is 1 in 4,000."
    )


def test_without_a_target_a_load_or_a_mover():
    lead, _ = shown.sentences(ledger(entry(turns=False), target=None))
    assert lead == "What moves the answer most: “worth of the evidence”."
    (none,) = shown.sentences(replace(ledger(), failure=None, entries=()))
    assert "no load is given" in none
    (still,) = shown.sentences(ledger(STILL))
    assert still == "No assumption moves the failure probability by an amount that can be told."


def test_the_verdict_says_by_what():
    assert "average over what is not known" in shown.sentences(ledger())[-1]
    assert "safe" not in " ".join(shown.sentences(ledger()))


def test_rows_hold_values_chances_ratios_and_verdicts():
    first, alone = shown.rows(ledger())
    assert first == (
        "worth of the evidence",
        "0.6 on average",
        "0.93: 1 in 16,000 (x 0.25, 0.23 to 0.28)",
        "0.35: 1 in 90 (x 44, 40 to 49)",
        "met at its best, missed at its worst",
        "judgement, no source",
    )
    assert alone[2:5] == ("yes: 1 in 8,000 (x 0.50, 0.45 to 0.55, own draws)", "as it is", "met")


def test_the_sources_of_both_stand_beside_each_other():
    assert shown.source_rows(ledger())[0] == (
        "worth of the evidence",
        "as for a data sheet (judgement, no source)",
        "5 and 95 % points of its own range (from memory)",
    )


@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_terminal_of_any_width(width):
    text = shown.text(ledger(), width=width)
    assert max(map(len, text.splitlines())) <= width
    assert text.splitlines()[0] == shown.HEAD
    assert re.search(r"1 in 16,000 \(x 0\.25\) +1 in 90 \(x 44\) +worth of the evidence", text)
    assert "bow of the rod" not in text


def test_only_so_many_rows_unless_asked():
    many = ledger(*[entry(f"number {n}") for n in range(12)])
    assert "4 more with --verbose" in shown.text(many)
    full = shown.text(many, verbose=1, width=0)
    assert "number 11" in full
    assert "Not read in this scenario: ageing.wet_share." in full
    assert "1 more move the failure probability by less" in shown.text(ledger(), verbose=1, width=0)
    assert shown.text(ledger(), color=True).startswith("\x1b[1m")


class Cells(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.tags = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_part_of_a_page_is_well_formed_and_escapes_names():
    source = '{% from "doubts.html.j2" import doubts_section %}{{ doubts_section(d) }}'
    values = shown.page_values(ledger(entry("<b>jerk</b> & more"), ALONE))
    made = environment().from_string(source).render(d=values)
    cells = Cells()
    cells.feed(made)
    assert cells.open == []
    assert "b" not in cells.tags
    assert "&lt;b&gt;jerk&lt;/b&gt; &amp; more" in made
    assert "1\N{NO-BREAK SPACE}in\N{NO-BREAK SPACE}90" in made
    assert made.count("<table") == 3


def test_the_csv_has_every_digit_and_no_formula():
    (name, text), *rest = shown.csv_texts(ledger(entry("=cmd()"), ALONE)).items()
    assert (name, rest) == ("rank-assumptions.csv", [])
    first, second = csv.DictReader(io.StringIO(text))
    assert first["name"] == "'=cmd()"
    assert float(first["worst: ratio [-]"]) == 44.4
    assert float(first["best: failure probability [-]"]) == 0.25 / 4000
    assert (first["worst: target"], first["decides"]) == ("missed", "yes")
    assert second["best: worked out on"] == "own draws"
    assert shown.csv_texts(replace(ledger(), entries=())) == {}
