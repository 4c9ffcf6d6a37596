"""The answer about pulls: sentences, terminal, page, pictures, tables and what is saved."""

import csv
import io
import json
import math
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.errors import InputError
from jointrisk.report import proof_figures, proof_page, proof_sentences, proof_tables, save
from jointrisk.report.card import card
from jointrisk.report.document import json_text
from jointrisk.report.practice import PRACTICE
from jointrisk.report.proof_text import policy_rows, text
from jointrisk.report.sentences import mark
from jointrisk.study.results import Chance

VOID = {"meta", "br", "link", "img", "hr", "wbr"}
MARKS = {
    *("read in the source", "as quoted", "abstract only"),
    *("arithmetic", "from memory", "judgement, no source"),
}


class Reader(HTMLParser):
    """Collects tags, ids and words, and holds that every element is closed in turn."""

    def __init__(self):
        super().__init__()
        self.tags, self.ids, self.links, self.words, self.open = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.tags.append(tag)
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if "href" in found else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def read(page):
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert not reader.open
    return reader


def flat(words):
    return " ".join(words.split())


def answers(pulled):
    made = {"window": pulled.invented_proof(), "not judged": pulled.not_judged()}
    return made | {name: pulled.no_pull(name) for name in ("empty", "unreachable", "not needed")}


VERDICTS = ("window", "empty", "unreachable", "not needed", "not judged")


# Sentences ---------------------------------------------------------------------------------


def test_the_pull_to_make_and_its_upper_end(pulled):
    said = proof_sentences.verdict(pulled.invented_proof())
    assert "**2,150 N (219 kgf, 482 lbf)**" in said
    assert "no harder than 3,470 N" in said
    assert "5,2" not in said


def test_the_pull_to_make_has_an_interval_everywhere(pulled):
    result = pulled.invented_proof()
    said = "By sampling alone it lies between 2,080 N and 2,210 N."
    assert said in proof_sentences.verdict(result)
    assert said in flat(text(result))
    assert said in flat("".join(read(proof_page.html(result)).words))
    assert said in card(result).rounding
    document = json.loads(json_text(result))
    assert (document["load_low"], document["load_high"]) == (2087.0, 2206.0)


def test_a_pull_that_may_not_be_enough_is_said_to(pulled):
    said = proof_sentences.verdict(pulled.invented_proof(load_high=None))
    assert "lies above 2,080 N, and it is left open whether any pull that is allowed" in said
    assert proof_sentences.known_to(pulled.no_pull()) == ""


def test_the_temperature_of_the_pull_is_told(pulled):
    result = pulled.invented_proof(rig_temperature=17.5)
    assert "at 17.5 °C in the pull" in proof_sentences.rig(result)
    assert "the temperature of the workshop, 17.5 °C." in card(result).steps[0]


def test_every_way_stands_with_its_interval_and_against_all_pulled(pulled):
    first, second = policy_rows(pulled.invented_proof())
    assert first[:3] == ("1 in 21,000", "1 in 24,000 to 1 in 19,000", "same")
    assert second[1:3] == ("1 in 18,000 to 1 in 15,000", "1.2 to 1.4")
    tied = replace(
        pulled.invented_proof().policies[1], ratio=replace(pulled.about(1.0), low=0.98, high=1.04)
    )
    (row,) = policy_rows(pulled.invented_proof(policies=(tied,)))
    assert row[2] == "0.98 to 1 (not told apart)"


def test_what_too_few_draws_tell_is_said_not_to_be_known(pulled):
    nothing = Chance(math.nan, math.nan, math.nan)
    unknown = replace(pulled.invented_proof().policies[1], fail=nothing, ratio=nothing)
    result = pulled.invented_proof(policies=(unknown,))
    (row,) = policy_rows(result)
    assert row[:3] == ("not known", "too few draws tell it", "not known")
    assert result.to_dict()["policies"][0]["fail"]["estimate"] is None
    (saved,) = rows(proof_tables.csv_texts(result), "proof-policies.csv")
    assert saved["failure of an accepted set [-]"] == ""
    assert "too few draws tell it" in text(result, width=0)


def test_what_it_breaks_leaves_and_hurts(pulled):
    head = {word: mark(line) for word, line in proof_sentences.headline(pulled.invented_proof())}
    assert "breaks 0.41 % of the 12 rods: 93 % of those with a weak joint" in head["Breaks"]
    assert "0.023 % of the sound ones" in head["Breaks"]
    assert "about 1 in 21,000 still fails in 5 years, against 1 in 3,000" in head["Leaves"]
    assert "Unpulled the target holds for 9.6 months; after the pull for 5 years" in head["Leaves"]
    assert "1.3 % of the rods that hold it are hurt" in head["Hurts"]
    assert head["Target"] == "1 in 20,000 for the whole set over the life."


def test_your_own_pull_that_changes_nothing_is_said_to(pulled):
    weak, enough = (
        mark(proof_sentences.worth(e, pulled.invented_proof()))
        for e in pulled.invented_proof().pulls
    )
    assert "Weight of the maker, 736 N (75 kgf, 165 lbf) breaks 0.11 % of rods" in weak
    assert "changes next to nothing: 1 in 3,000 before, 1 in 3,100 after" in weak
    assert weak.endswith("the target asks for 2,150 N (219 kgf, 482 lbf).")
    assert enough.startswith("2,500 N (255 kgf, 562 lbf) breaks")
    assert enough.endswith("it is enough for the target.")


@pytest.mark.parametrize(
    ("label", "name"),
    [("", "2,500 N"), ("2500 N", "2,500 N"), ("2.5 kN", "2,500 N"), ("2nd jack", "2nd jack")],
)
def test_a_pull_called_by_its_load_alone_is_not_called_twice(pulled, label, name):
    effect = pulled.effect(label, 2500.0)
    assert proof_sentences.name_of(effect) == name
    said = proof_sentences.worth(effect, pulled.invented_proof())
    assert said.startswith("**2nd jack, 2,500 N" if label == "2nd jack" else "**2,500 N (")
    assert (
        proof_figures.describe(pulled.invented_proof(pulls=(effect,)))["before_after"][1].count(
            "2,500 N"
        )
        == 1
    )


def test_a_pull_beyond_the_window_is_too_hard(pulled):
    effect = pulled.effect("jack", 4000.0, meets_target=False)
    said = proof_sentences.worth(effect, pulled.invented_proof())
    assert said.endswith("too hard: the target's window ends at 3,470 N.")


def test_changes_that_open_stand_apart(pulled):
    result = pulled.no_pull()
    opens, closed = (proof_sentences.opener(e, result) for e in result.openers)
    assert opens == "**Half the life**: enough, about 1 in 23,000 over the life at 2,300 N."
    assert closed.startswith("A stronger rig: not enough, about 1 in 9,100")


def test_the_next_rod(pulled):
    found = pulled.invented_proof().next_rod
    assert "1 in 53,000 that it fails in service, against 1 in 36,000" in proof_sentences.next_rod(
        found
    )
    same = replace(found, ratio=replace(found.ratio, estimate=1.0, high=1.1))
    assert "not told apart from nothing known" in proof_sentences.next_rod(same)
    near = replace(found, ratio=replace(found.ratio, estimate=0.96, high=0.98, low=0.94))
    assert "next to the same" in proof_sentences.next_rod(near)


# Terminal ----------------------------------------------------------------------------------


@pytest.mark.parametrize("verdict", VERDICTS)
@pytest.mark.parametrize("width", [0, 40, 80])
def test_the_terminal_reads_well_at_any_width(pulled, verdict, width):
    shown = text(answers(pulled)[verdict], width=width)
    assert shown.startswith("Pull ")
    assert not re.search(r"\b(nan|inf|None|unknown)\b|\*\*|\d[eE][-+]\d", shown)
    if width:
        assert max(len(line) for line in shown.splitlines()) <= width
    assert "safe" not in shown.lower()


def test_the_reason_is_told_where_there_is_no_pull(pulled):
    for verdict in VERDICTS[1:4]:
        result = answers(pulled)[verdict]
        first = text(result, width=0).splitlines()[0]
        assert result.reason in first
        assert "No pull" in first
        assert "Pull every" not in first


def test_practice_is_told_as_practice_with_its_mark(pulled):
    shown = flat(text(pulled.invented_proof()))
    assert "What others do; practice, not a result" in shown
    for entry in PRACTICE:
        assert f"{entry.pull}: {entry.on} ({entry.source}; {entry.mark})" in shown
        assert entry.mark in MARKS


def test_verbose_adds_assumptions_and_run(pulled):
    result = pulled.invented_proof()
    assert "proof.rig_error: 0.02" not in text(result)
    long = text(result, verbose=1)
    assert "proof.rig_error: 0.02 (friction; judgement, no source)" in long
    assert "seed: 20260101" in long


# Page --------------------------------------------------------------------------------------


@pytest.mark.parametrize("verdict", VERDICTS)
def test_the_page_is_whole_and_asks_for_nothing(pulled, verdict):
    page = proof_page.html(answers(pulled)[verdict])
    reader = read(page)
    assert "script" not in reader.tags
    assert not re.search(r"https?://(?!www\.w3\.org)|@import|url\((?!#)", page)
    assert len(reader.ids) == len(set(reader.ids))
    said = flat("".join(reader.words))
    assert not re.search(r"\b(nan|inf|None)\b|\*\*", said)
    assert ("card.html" in reader.links) == (verdict == "window")
    assert (page.count("<svg") >= 1) == (verdict != "not judged")


def test_the_page_shows_what_the_terminal_shows(pulled):
    result = pulled.no_pull()
    said = flat("".join(read(proof_page.html(result)).words))
    lines = [line for _, line in proof_sentences.headline(result)]
    lines += [proof_sentences.worth(e, result) for e in result.pulls]
    lines += [proof_sentences.opener(e, result) for e in result.openers]
    for line in lines:
        assert mark(line) in said
    for entry in PRACTICE:
        assert entry.source in said


def test_the_links_of_the_page_are_saved_beside_it(pulled, tmp_path):
    result = pulled.invented_proof()
    page, _ = save(result, tmp_path)
    links = set(read(page.read_text("utf-8")).links) - {"#assumptions"}
    for link in links:
        assert link.startswith("#") or (tmp_path / link).is_file(), link


# Pictures ----------------------------------------------------------------------------------


def test_the_curve_is_that_of_the_result(pulled):
    result = pulled.invented_proof()
    upper, lower = proof_figures.curve(result).axes
    lines = {line.get_label(): line for line in upper.lines}
    known = [c.estimate for c in result.curve.fail_after if math.isfinite(c.estimate)]
    assert list(lines["over the life"].get_ydata()) == known
    assert set(lines["target"].get_ydata()) == {result.target}
    assert set(lines["with no pull"].get_ydata()) == {result.fail_before.estimate}
    assert list(lower.lines[1].get_ydata()) == [c.estimate for c in result.curve.reject]
    low, high = upper.get_xlim()
    assert (low, high) == (result.curve.load_newton[0], result.curve.load_newton[-1])


def test_every_window_has_its_bar(pulled):
    result = pulled.invented_proof()
    for axes in proof_figures.curve(result).axes:
        bars = sorted((p.get_x(), p.get_x() + p.get_width()) for p in axes.patches)
        assert bars == [pytest.approx(window) for window in result.windows]
    assert not proof_figures.curve(pulled.no_pull()).axes[0].patches


def test_a_target_that_counts_otherwise_has_its_own_line(pulled):
    worst = pulled.invented_proof(target_period="year")
    labels = [line.get_label() for line in proof_figures.curve(worst).axes[0].lines]
    assert "as the target counts: worst year" in labels
    plain = [
        line.get_label() for line in proof_figures.curve(pulled.invented_proof()).axes[0].lines
    ]
    assert not any("as the target" in label for label in plain)


def test_before_and_after_stand_in_rows(pulled):
    result = pulled.invented_proof()
    (axes,) = proof_figures.before_after(result).axes
    marks = [line.get_xdata()[0] for line in axes.lines if line.get_marker() == "o"]
    expected = [result.fail_before, *(e.fail_after for e in (*result.pulls, result.best))]
    assert marks == [c.estimate for c in expected]
    assert proof_figures.before_after(pulled.no_pull(pulls=())) is None


def test_no_picture_without_a_load(pulled):
    assert proof_figures.all_svg(pulled.not_judged()) == {}


# Tables and files --------------------------------------------------------------------------


def rows(made, name):
    return list(csv.DictReader(io.StringIO(made[name])))


def test_the_curve_has_every_digit_and_a_gap_where_nothing_is_known(pulled):
    result = pulled.invented_proof()
    found = rows(proof_tables.csv_texts(result), "proof-curve.csv")
    assert [float(row["pull [N]"]) for row in found] == list(result.curve.load_newton)
    for row, after in zip(found[:-1], result.curve.fail_after[:-1], strict=True):
        assert float(row["failure after low [-]"]) == after.low
    assert found[-1]["failure after [-]"] == ""


def test_the_pull_to_make_and_the_others_are_rows(pulled):
    found = rows(proof_tables.csv_texts(pulled.invented_proof()), "proof-pulls.csv")
    assert [row["pull"] for row in found] == ["the pull to make", "weight of the maker", "2500 N"]
    assert float(found[0]["broken in the set"]) == 0.0492
    assert float(found[1]["years at target after"]) == 0.9


def test_changes_and_policies_are_rows(pulled):
    made = proof_tables.csv_texts(pulled.no_pull())
    assert [row["target met"] for row in rows(made, "proof-changes.csv")] == ["yes", "no"]
    assert [float(r["rods lost for each set"]) for r in rows(made, "proof-policies.csv")] == [
        0.05,
        0.06,
    ]
    assert "proof-changes.csv" not in proof_tables.csv_texts(pulled.invented_proof())


def test_what_is_saved(pulled, tmp_path):
    result = pulled.invented_proof()
    page, document = save(result, tmp_path / "deep")
    assert (page.name, document.name) == ("proof.html", "proof.json")
    found = {p.name for p in page.parent.iterdir()}
    names = {"proof.html", "proof.json", "card.html", "card.txt", "log.csv", "tables"}
    assert found == names
    assert json.loads(document.read_text("utf-8")) == json.loads(json_text(result))
    assert {p.name for p in (page.parent / "tables").iterdir()} == set(
        proof_tables.csv_texts(result)
    )


def test_an_assessment_and_a_proof_share_a_folder(pulled, assessment, tmp_path):
    save(assessment, tmp_path)
    save(pulled.invented_proof(), tmp_path)
    save(assessment, tmp_path)
    for name in ("report.html", "result.json", "proof.html", "tables/proof-curve.csv"):
        assert (tmp_path / name).is_file()


def test_a_log_that_is_there_is_left_alone(pulled, tmp_path):
    save(pulled.invented_proof(), tmp_path)
    mine = (tmp_path / "log.csv").read_text("utf-8") + "R1,A,2150,yes,today,,,\n"
    (tmp_path / "log.csv").write_text(mine, encoding="utf-8")
    save(pulled.no_pull(), tmp_path)
    assert (tmp_path / "log.csv").read_text("utf-8") == mine


def test_something_else_is_refused_by_its_kind(tmp_path):
    with pytest.raises(InputError, match="got dict"):
        save({}, tmp_path)


def test_the_document_is_valid_json_with_null_for_what_is_not_known(pulled):
    document = json.loads(json_text(pulled.not_judged()))
    assert document["fail_before"]["estimate"] is None
    assert document["rig"] == {
        "name": "lever",
        "lever_ratio": 4.0,
        "hold_time": 60.0,
        "use_from": None,
        "direction": "pull",
    }


chances = st.floats(0.0, 1.0) | st.floats(1e-12, 1e-3) | st.just(0.0) | st.just(math.nan)


@settings(max_examples=30, deadline=None)
@given(st.tuples(chances, chances), st.floats(0.1, 1e7), st.floats(1.0, 5.0), st.booleans())
def test_whatever_numbers_come_the_answer_is_readable(pulled, drawn, load, wide, weak):
    before, after = (replace(pulled.about(0.5), estimate=v, low=v / 2, high=v) for v in drawn)
    effect = pulled.effect(
        load=load, fail_after=after, fail_before=before.estimate, hurt=0.0,
        reject_weak=None if not weak else pulled.about(0.5), spoiled_in_run=3.2e-9,
    )  # fmt: skip
    result = pulled.invented_proof(
        best=effect, pulls=(effect,), fail_before=before, load_newton=load,
        windows=((load, load * wide),), policy_newton=load,
    )  # fmt: skip
    for shown in (text(result), flat("".join(read(proof_page.html(result)).words))):
        assert not re.search(r"\b(nan|inf|None)\b|\*\*|\d[eE][-+]\d|\b1 in 0\b", shown)
