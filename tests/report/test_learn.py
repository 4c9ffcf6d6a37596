"""What pulls have taught: sentences, terminal, page, pictures, tables and what is saved."""

import csv
import io
import json
import math
import re
import runpy
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.report import learn_figures, learn_page, learn_tables, save
from jointrisk.report import learn_sentences as say
from jointrisk.report.learn_text import text
from jointrisk.scenario.types import Warning_
from jointrisk.study.learn_results import Outlook

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_learn.py"))))
RESULTS = {
    name: getattr(MADE, name)()
    for name in ("invented_learnt", "too_light", "all_held", "all_broke", "until_broken",
                 "not_converged", "impossible", "without_load", "one_rod", "untold")
}  # fmt: skip
VOID = {"meta", "br", "link", "img", "hr", "wbr"}


class Reader(HTMLParser):
    """Collects tags, ids, links and words, and holds that every element is closed in turn."""

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


def said(name):
    return dict(say.headline(RESULTS[name]))


# Sentences ---------------------------------------------------------------------------------------


def test_the_answer_leads_with_what_changes():
    heads = [word for word, _ in say.headline(RESULTS["invented_learnt"])]
    assert heads == ["Change", "Held", "Next", "Target", "Learnt", "Taught", "To do"]
    assert said("invented_learnt")["Change"] == (
        "12 parts were pulled: 11 held, 1 broke. For a set of 6 made like these and not pulled, "
        "that lowers the failure probability over 3 years from about 1 in 25 (because of what is "
        "not known, anywhere from 1 in 150 to 24 in 100) before the log to **about 1 in 42** "
        "(anywhere from **1 in 170 to 1 in 10**)."
    )


def test_rods_that_held_and_the_next_ones():
    lines = said("invented_learnt")
    assert lines["Held"] == (
        "Each of the 11 rods of batch A that held 900 N: **about 1 in 250** that it fails in 3 "
        "years (anywhere from 1 in 1,500 to 1 in 42); any rod before the log 1 in 140."
    )
    assert "of batch A **about 1 in 200**" in lines["Next"]
    assert "of a new batch **about 1 in 180**" in lines["Next"]
    assert "of the same batch **about 1 in 200**" in said("until_broken")["Next"]


def test_pulls_too_light_to_teach():
    lines = said("too_light")
    assert lines["Change"].startswith("**These pulls teach next to nothing.** 12 parts were pulled")
    assert "the failure probability over 3 years stays about the same" in lines["Change"]
    assert "about the same as any rod before the log" in lines["Held"]
    assert "12 pulls of batch A that held 120 N: by the file over 99 % of rods" in lines["Taught"]
    assert "Most" not in lines["Taught"]
    assert "Learnt" not in lines


def test_the_load_that_would_teach_is_read_off_the_curve():
    data = RESULTS["too_light"].curve
    newton = next(x for x, p in zip(data.load_newton, data.after, strict=True) if p >= 0.1)
    assert 1150.0 < newton < 1250.0
    assert "1 rod in 10 breaks below about 1,200 N (120 kgf, 270 lbf)" in said("too_light")["To do"]
    weak = replace(data, after=tuple(0.01 for _ in data.after))
    assert "1 rod in 10" not in say.to_do(replace(RESULTS["too_light"], curve=weak))


def test_all_held_and_all_broke():
    assert said("all_held")["Change"].startswith("12 parts were pulled, and all held.")
    lines = said("all_broke")
    assert lines["Change"].startswith("12 parts were pulled, and all broke.")
    assert "raises the failure probability" in lines["Change"]
    assert "none is left to judge" in lines["Held"]
    assert "**missed**" in lines["Target"]
    assert "Chance that it is met: under 1 %, before the log 31 %." in lines["Target"]


@pytest.mark.parametrize(
    ("sampled", "told"), [(0.04, "that lowers the"), (0.2, "stays about the same, as far as can")]
)
def test_a_change_within_the_intervals_is_not_told_apart(sampled, told):
    before = replace(MADE.whole_set(0.04), life=MADE.outlook(0.04, sampled=sampled))
    after = replace(MADE.whole_set(0.03), life=MADE.outlook(0.03, sampled=sampled))
    assert told in say.change(MADE.invented_learnt(before=before, after=after))


def test_a_log_at_odds_with_the_file_says_so_and_what_to_do():
    lines = said("all_broke")
    assert next(iter(lines)) == "At odds"
    assert lines["At odds"] == "**All 12 broke; such a log is rare by the file.**"
    assert lines["To do"].startswith("Find out which is wrong, the log or the file")
    told = say.expected(RESULTS["all_broke"])
    assert "about 1.6, from 0 to 5, to break, and 12 did" in told
    assert "comes in 0.4 % of such logs" in told


def test_a_log_as_expected():
    assert say.expected(RESULTS["all_held"]) == (
        "Of 12 parts the file led one to expect about 1.6, from 0 to 5, to break, and none did; "
        "nothing strange in that."
    )
    rarer = MADE.invented_learnt(conflict=MADE.conflict(p_breaks=0.22))
    assert say.expected(rarer).endswith(
        "by the file a count so far off comes in 22 % of such logs."
    )
    assert "next to none to break, and none did" in say.expected(RESULTS["too_light"])
    told = say.expected(RESULTS["until_broken"])
    assert told.startswith("Those pulled until they broke did so at 2,460 N in the middle, where")


@pytest.mark.parametrize(
    ("name", "why"),
    [("not_converged", "no more than about 3 fit the log"), ("impossible", "next to impossible")],
)
def test_nothing_is_told_where_no_number_is_trusted(name, why):
    result = RESULTS[name]
    assert [word for word, _ in say.headline(result)] == ["No answer", "At odds", "To do"]
    assert why in say.no_answer(result)
    assert learn_tables.fail_rows(result) == []
    assert learn_tables.unknown_rows(result) == []
    assert {row[2] for row in learn_tables.group_rows(result)} == {"not told"}
    assert learn_figures.unknowns(result) is None
    lines = learn_figures.pulls(result).axes[0].lines
    assert [line.get_label() for line in lines] == ["before the log"]
    assert "with the log" not in learn_figures.describe(result)["pulls"][1]
    page = " ".join(" ".join(read(learn_page.html(result)).words).split())
    for shown in (text(result), page):
        assert "1 in 25" not in shown
        assert "0.51" not in shown
        assert "3.2 bits" not in shown


def test_a_log_beyond_the_file_says_which():
    warnings = (Warning_("beyond-the-file", "About 30 % of the parts did what no rod could."),)
    result = replace(RESULTS["not_converged"], warnings=warnings)
    assert "About 30 % of the parts" in say.no_answer(result)


@pytest.mark.parametrize(("p", "trusted"), [(0.0011, True), (0.0009, False), (None, True)])
def test_a_log_is_trusted_unless_it_is_next_to_impossible(p, trusted):
    assert say.trusted(MADE.invented_learnt(conflict=MADE.conflict(p_breaks=p))) is trusted
    assert say.trusted(MADE.invented_learnt(conflict=MADE.conflict(p_loads=p))) is trusted


def test_one_rod_pulled_often():
    lines = said("one_rod")
    assert lines["Change"] == (
        "1 part was pulled, 3 times in all, and it held. For a rod made like these and not "
        "pulled, the failure probability over 3 years stays about the same, as far as can be "
        "told: about 1 in 25 before the log, **about 1 in 25** now."
    )
    assert lines["Held"].startswith("The rod of batch A that held 900 N: **about 1 in 33**")
    assert "Target" not in lines


def test_without_a_load_only_what_was_learnt_is_told():
    lines = said("without_load")
    assert "names no load" in lines["Change"]
    assert set(lines) == {"Change", "Learnt", "Taught", "To do"}
    assert "1.1** (0.86 to 1.4), before the log 1 (0.72 to 1.4)" in lines["Learnt"]


def test_what_cannot_be_told_is_no_number():
    lines = said("untold")
    assert lines["Change"].endswith("the failure probability over 3 years cannot be told.")
    assert lines["Held"].endswith("too few draws tell of it.")


def test_weak_bonds():
    weak = RESULTS["invented_learnt"].weak
    assert say.weak(weak) == (
        "Weak joints of a new batch: **1.9 %** on average (19 in 20 cases below 5.5 %), before "
        "the log 2.1 % (below 6.4 %)."
    )
    same = replace(weak, after_mean=weak.before_mean, after_p95=weak.before_p95)
    assert say.weak(same).endswith("as before the log.")


@pytest.mark.parametrize(
    ("changes", "worth"),
    [
        ({"shift": 0.2, "narrowed": 1.0}, True),
        ({"shift": -0.3, "narrowed": 1.0}, True),
        ({"shift": 0.0, "narrowed": 0.9}, True),
        ({"shift": 0.1, "narrowed": 0.99}, False),
    ],
)
def test_what_is_worth_a_word(changes, worth):
    assert say.worth_a_word(MADE.unknown(**changes)) is worth


def test_unknowns_carry_their_units():
    bond, keeps, modulus = RESULTS["invented_learnt"].unknowns
    assert say.middle(bond, "prior") == "1 (0.72 to 1.4)"
    assert say.middle(keeps, "posterior", strong=True) == "**22** (6 to 49) %"
    assert say.middle(modulus, "prior") == "630 (400 to 1,000) MPa"


def test_the_pulls_that_taught_most_come_first():
    assert said("invented_learnt")["Taught"] == "Most: 11 pulls of batch A that held 900 N."
    told = said("until_broken")["Taught"]
    assert told.startswith("Most: 1 pull that broke at 2,100 N. Next to nothing: 1 pull that")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"chance_before": 0.99}, "that held 900 N: by the file 99 % of rods hold that"),
        ({"kind": "broke below", "chance_before": 0.02}, "by the file only 2 % of rods hold that"),
        ({"kind": "broke at"}, "as likely, near enough, whatever is true"),
        ({"chance_before": 0.5}, "as likely, near enough, whatever is true"),
    ],
)
def test_why_a_pull_taught_nothing(changes, why):
    assert why in say.why_idle(MADE.group(**changes))


def test_only_a_few_are_named_and_the_rest_counted():
    rods = tuple(MADE.held(count=n, load=100.0 * n) for n in range(1, 6))
    told = say.shelf(MADE.invented_learnt(rods=rods))
    assert told.count("that held") == 3
    assert told.startswith("Each of the 5 rods")
    assert told.endswith("2 kinds more in the table.")
    groups = tuple(MADE.group(information=0.001, count=n) for n in range(1, 6))
    little = MADE.invented_learnt(groups=groups, information_held=0.005)
    assert say.idle(little).endswith("2 kinds more in the table.")


def test_many_small_kinds_may_teach_together():
    groups = tuple(MADE.group(information=0.001, count=n) for n in range(1, 6))
    broke = MADE.group(kind="broke at", information=0.001, count=1)
    together = MADE.invented_learnt(groups=(*groups, broke), information_held=0.3)
    assert say.taught(together).startswith("Those that held taught little in each kind by itself")
    assert "1 pull of batch A that broke at 900 N" in say.taught(together)
    assert "that held 900 N" not in say.taught(together)


# Terminal ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", RESULTS)
@pytest.mark.parametrize("width", [0, 40, 80])
def test_on_a_terminal(name, width):
    shown = text(RESULTS[name], width=width)
    odd = {"all_broke": "At odds   "} | dict.fromkeys(("not_converged", "impossible"), "No answer ")
    assert shown.startswith(odd.get(name, "Change    "))
    assert shown.endswith("\n")
    assert not shown.endswith("\n\n")
    assert "A rod that lets go can hurt." in shown
    for word in ("nan", "None", "**"):
        assert word not in shown
    if width:
        assert max(map(len, shown.splitlines())) <= max(width, 60)


def test_verbose_shows_sampling_every_value_and_the_run():
    short = text(RESULTS["invented_learnt"], width=0)
    long = text(RESULTS["invented_learnt"], width=0, verbose=1)
    assert "1 in 43 to 1 in 40" not in short
    for words in ("1 in 43 to 1 in 40", "model.bond_factor: 1 on average (a table; from memory)",
                  "seed: 4", "states of what is not known: 2048, in 2 rounds"):  # fmt: skip
        assert words in long


def test_long_tables_are_cut_unless_verbose():
    many = MADE.invented_learnt(unknowns=tuple(MADE.unknown(name=f"thing {n}") for n in range(20)))
    assert "12 more; -v shows them." in text(many)
    assert "thing 19" in text(many, verbose=1)


def test_bold_only_where_asked():
    assert "\x1b[" in text(RESULTS["invented_learnt"], color=True)
    assert "\x1b[" not in text(RESULTS["invented_learnt"])


@pytest.mark.parametrize("name", RESULTS)
def test_nothing_is_called_safe(name):
    page = read(learn_page.html(RESULTS[name]))
    assert not re.search(r"(?i)\bsafe", text(RESULTS[name]) + " ".join(page.words))


# Page and pictures -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", RESULTS)
def test_the_page(name):
    seen = read(learn_page.html(RESULTS[name]))
    assert len(seen.ids) == len(set(seen.ids))
    assert seen.tags.count("h1") == 1
    assert "script" not in seen.tags
    assert all(link.startswith(("tables/", "#")) for link in seen.links)
    words = " ".join(" ".join(seen.words).split())
    assert "Rods for show <&>" in words
    assert "nan" not in words.split()
    assert "None" not in words.replace("None.", "")
    for caution in ("A rod that lets go can hurt.", "Codes and licensed practice come first."):
        assert caution in words


def test_the_page_has_its_pictures():
    assert read(learn_page.html(RESULTS["invented_learnt"])).tags.count("svg") == 2
    assert read(learn_page.html(RESULTS["one_rod"])).tags.count("svg") == 1


def test_the_strength_before_and_with_the_log_and_the_pulls_under_it():
    result = RESULTS["invented_learnt"]
    upper, lower = learn_figures.pulls(result).axes
    drawn = {line.get_label(): line for line in upper.lines}
    assert list(drawn["with the log"].get_ydata()) == list(result.curve.after)
    assert list(drawn["before the log"].get_xdata()) == list(result.curve.load_newton)
    assert [tick.get_text() for tick in lower.get_yticklabels()] == ["held", "broke at"]
    assert [list(line.get_xdata()) for line in lower.lines] == [[900.0], [812.0]]
    assert [note.get_text() for note in lower.texts] == ["11"]


def test_the_unknowns_lie_on_the_range_of_the_file():
    (axes,) = learn_figures.unknowns(RESULTS["invented_learnt"]).axes
    bars = [list(line.get_xdata()) for line in axes.lines if len(line.get_xdata()) == 2]
    assert bars[0] == [0.0, 1.0]
    assert bars[1] == pytest.approx([(0.86 - 0.72) / 0.67, (1.4 - 0.72) / 0.67])
    wide = MADE.unknown(prior_p05=0.01, prior_p50=0.1, prior_p95=1.0,
                        posterior_p05=0.1, posterior_p50=0.1, posterior_p95=1e9)  # fmt: skip
    assert learn_figures._places(wide, "posterior") == pytest.approx([0.5, 0.5, 2.0])


@settings(max_examples=10, deadline=None)
@given(
    before=st.floats(0.0, 1.0),
    after=st.floats(0.0, 1.0) | st.just(math.nan),
    wide=st.floats(1.0, 1e4),
    count=st.integers(1, 500),
    load=st.floats(0.1, 1e6),
    kind=st.sampled_from(["held", "broke at", "broke below"]),
)
def test_any_answer_is_told_and_drawn(before, after, wide, count, load, kind):
    ends = [after, after, after, after / wide, after, min(1.0, after * wide)]
    outlook = Outlook(*ends)
    whole = MADE.invented_learnt(
        before=MADE.whole_set(before),
        after=replace(MADE.whole_set(0.5), life=outlook, target=outlook),
        rods=(replace(MADE.held(count=count, load=load), before=before, after=outlook),),
        groups=(MADE.group(kind=kind, load_newton=load, count=count, chance_before=before),),
    )
    assert "nan" not in text(whole)
    read(learn_page.html(whole))


# Tables, document and what is saved --------------------------------------------------------------


def rows_of(table):
    return list(csv.reader(io.StringIO(table)))


def test_the_tables_hold_every_digit():
    result = RESULTS["invented_learnt"]
    tables = learn_tables.csv_texts(result)
    assert set(tables) == set(learn_tables.NAMES)
    failure = rows_of(tables["learn-failure.csv"])
    assert len(failure) == 1 + 4 + 2 * 3
    assert [float(cell) for cell in failure[3][5:]] == [
        0.024, 0.024 * 0.96, 0.024 * 1.04, 0.006, 0.8 * 0.024, 0.096,
    ]  # fmt: skip
    unknowns = rows_of(tables["learn-unknowns.csv"])
    assert unknowns[0][3:5] == ["before mean", "before p05"]
    assert [float(cell) for cell in unknowns[1][3:]] == [
        1.02, 0.72, 1.0, 1.39, 1.12, 0.86, 1.11, 1.4, 0.53, 0.81,
    ]  # fmt: skip
    batch, newton, kind, count, *_ = rows_of(tables["learn-pulls.csv"])[2]
    assert (batch, float(newton), kind, float(count)) == ("A", 812.0, "broke at", 1.0)
    assert len(rows_of(tables["learn-curve.csv"])) == 1 + len(result.curve.load_newton)
    assert "learn-failure.csv" not in learn_tables.csv_texts(RESULTS["without_load"])


def test_what_is_saved(tmp_path):
    page, document = save(RESULTS["invented_learnt"], tmp_path)
    assert (page.name, document.name) == ("learn.html", "learn.json")
    found = json.loads(document.read_text("utf-8"))
    assert found["schema_version"] == 1
    assert found["after"]["life"]["estimate"] == 0.024
    assert (tmp_path / "tables" / "learn-failure.csv").is_file()
    save(RESULTS["without_load"], tmp_path)
    assert not (tmp_path / "tables" / "learn-failure.csv").exists()
    document = save(RESULTS["untold"], tmp_path)[1]
    assert json.loads(document.read_text("utf-8"))["after"]["life"]["estimate"] is None
