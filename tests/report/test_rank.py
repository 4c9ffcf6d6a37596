"""What matters: sentences, cells, terminal, page, pictures, tables and what is saved."""

import csv
import io
import json
import re
import runpy
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jointrisk.report import rank_figures, rank_page, rank_tables, save
from jointrisk.report import rank_sentences as say
from jointrisk.report.document import json_text
from jointrisk.report.rank_text import effect_rows, index_rows, mode_rows, text, unknown_rows
from jointrisk.report.sentences import mark

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_rank.py"))))
ALL = {
    "full": MADE.invented_rank,
    "all known": MADE.all_known,
    "band hidden": MADE.band_hidden,
    "one thing": MADE.one_thing,
}
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

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)

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
    return " ".join(words.replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture
def full():
    return MADE.invented_rank()


# Sentences ---------------------------------------------------------------------------------


def test_the_answer_in_words(full):
    head = {word: mark(line) for word, line in say.headline(full)}
    assert head["Failure"].startswith("About 1 in 3,000 that any of the 12 rods lets go in 5 years")
    assert "anywhere from 1 in 24,000 to 1 in 380" in head["Failure"]
    assert (
        "Overlap & more: with its spread halved the failure probability is multiplied by 0.31 "
        "(0.29 to 0.33)"
    ) in head["Hangs on"]
    assert "The draws do not tell these apart" in head["Hangs on"]
    assert "Then hottest in service, mean 5 K higher: 1.31 (1.24 to 1.38)" in head["Hangs on"]
    assert "most would come of overlap & more" in head["Closer"]
    assert "divided by about 3.2" in head["Closer"]
    assert "how good the model is causes 61 % of it (55 to 67 %)" in head["Not known"]
    assert "1 in 9,100 to 1 in 710 would be left of 1 in 24,000 to 1 in 380" in head["Not known"]
    assert "Bond lets go, 84 % of the failures; wall shears, 16 %" in head["Fails"]
    assert "they make 120 % of the failures" in head["Fails"]
    assert "thread" not in head["Fails"]
    assert head["Together"].startswith("Act mainly through one another: overlap & more.")


def test_one_leader_is_not_called_a_tie():
    said = say.hangs_on(MADE.one_thing().of_kind("scatter"))
    assert "apart" not in said
    assert "Then" not in said


def test_a_narrow_band_is_said_to_be_one():
    hidden = MADE.band_hidden()
    head = {word: mark(line) for word, line in say.headline(hidden)}
    assert head["Not known"].startswith("Little hangs on what is not known")
    assert "causes" not in head["Not known"]
    assert {row[1] for row in unknown_rows(hidden)} == {"not told"}
    assert "not explained" not in say.all_settled(hidden)


def test_what_does_next_to_nothing_is_named_and_not_tabled(full):
    assert say.next_to_nothing(full.of_kind("scatter")).endswith("told: bow of the rod.")
    names = [row[-1] for row in effect_rows(full, "scatter")]
    assert names == ["overlap & more", "glue strength", "hottest in service"]


def test_cells_ranks_and_steps(full):
    rows = effect_rows(full, "scatter", ways=True)
    assert [row[0] for row in rows] == ["1=", "1=", "3"]
    assert rows[0][1:4] == ("0.31 (0.29 to 0.33)", "0.62 (0.59 to 0.65)", "1.71 (1.62 to 1.80)")
    assert [row[4] for row in rows] == ["a tenth", "a tenth", "5 K"]
    assert rows[0][5] == "weighted anew and run again, checked"
    assert rows[2][5] == "run again"


def test_a_row_of_a_mode_without_failures_is_left_out(full):
    assert [row[-1] for row in mode_rows(full)] == ["bond lets go", "wall shears"]


def test_indices_stand_side_by_side(full):
    rows = {row[-1]: row[:-1] for row in index_rows(full)}
    assert rows == {
        "overlap & more": ("20 % (18 to 22 %)", "50 % (45 to 55 %)", "70 % (63 to 77 %)"),
        "load": ("", "", "30 % (27 to 33 %)"),
    }


@given(st.lists(st.integers(1, 6), min_size=1, max_size=12))
def test_a_shared_rank_has_its_mark(ranks):
    for rank, shown in zip(ranks, say.rank_marks(ranks), strict=True):
        assert shown == (f"{rank}=" if ranks.count(rank) > 1 else f"{rank}")


# Terminal ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("width", [0, 40, 80, 160])
@pytest.mark.parametrize("verbose", [0, 1])
def test_the_terminal_reads_well_at_any_width(name, width, verbose):
    shown = text(ALL[name](), width=width, verbose=verbose)
    assert shown.startswith("Failure ")
    assert not re.search(r"\b(nan|inf|None|unknown)\b|\*\*|\d[eE][-+]\d", shown)
    assert "safe" not in shown.lower()
    assert "A rod that lets go can hurt." in flat(shown)
    if width:
        longest = [line for line in shown.splitlines() if len(line) > width]
        assert [line for line in longest if "ababab" not in line] == []


def test_verbose_adds_what_engineers_ask(full):
    short, long = (text(full, width=0, verbose=v) for v in (0, 1))
    for part in ("distance 3.42", "Shares of the variance", "seed: 20260101", "a note of the run"):
        assert part not in short
        assert part in long
    assert "a cliff: nearest crossing" in long
    assert "most such rods fail" in long
    assert "Bond lets go or wall shears, sound joints" in long
    assert "one joint came out weak, second end" in long


# Page --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_the_page_is_whole_and_asks_for_nothing(name):
    page = rank_page.html(ALL[name]())
    reader = read(page)
    assert "script" not in reader.tags
    assert not re.search(r"https?://(?!www\.w3\.org)|@import|url\((?!#)", page)
    assert len(reader.ids) == len(set(reader.ids))
    said = flat("".join(reader.words))
    assert not re.search(r"\b(nan|inf|None)\b|\*\*", said)
    assert ("What is not known" in said) == (name in ("full", "band hidden"))
    assert "overlap & more" in said


def test_the_page_shows_what_the_terminal_shows(full):
    said = flat("".join(read(rank_page.html(full)).words))
    for _, line in say.headline(full):
        assert mark(line) in said
    rows = effect_rows(full, "scatter") + unknown_rows(full) + mode_rows(full) + index_rows(full)
    for row in rows:
        for cell in row[1:]:
            assert flat(cell) in said


def test_the_links_of_the_page_are_saved_beside_it(full, tmp_path):
    page, document = save(full, tmp_path)
    assert (page.name, document.name) == ("rank.html", "rank.json")
    links = set(read(page.read_text("utf-8")).links)
    assert len(links) == len(rank_tables.csv_texts(full))
    for link in links:
        assert (tmp_path / link).is_file(), link
    assert json.loads(document.read_text("utf-8")) == json.loads(json_text(full))


def test_tables_of_an_older_result_go(full, tmp_path):
    save(full, tmp_path)
    save(MADE.all_known(), tmp_path)
    assert not (tmp_path / "tables" / "rank-unknowns.csv").exists()
    assert (tmp_path / "tables" / "rank-effects.csv").exists()


# Pictures ----------------------------------------------------------------------------------


def test_every_change_has_its_dot_and_its_interval(full):
    (axes,) = rank_figures.effects(full, "scatter").axes
    ends = axes.get_xlim()
    dots = [line for line in axes.lines if len(line.get_xdata()) == 1]
    shown = sorted(float(line.get_xdata()[0]) for line in dots)
    entries = full.of_kind("scatter")[:3]
    assert shown == sorted(e.value for entry in entries for e in entry.effects)
    bars = [line.get_xdata() for line in axes.lines if len(line.get_xdata()) == 2]
    for entry in entries:
        for e in entry.effects:
            assert any(list(bar) == [e.low, e.high] for bar in bars), e
            assert ends[0] < e.low
            assert e.high < ends[1]
    assert [label.get_text() for label in axes.get_yticklabels()] == [e.name for e in entries]


def test_the_bands_are_those_of_the_result(full):
    (axes,) = rank_figures.unknowns(full).axes
    drawn = [list(line.get_xdata()) for line in axes.lines]
    known = full.not_known
    assert [known.p05, known.p95] in drawn
    for entry in known.unknowns:
        assert [entry.left_p05, entry.left_p95] in drawn
        assert [entry.at_low.estimate] in drawn
        assert [entry.at_high.estimate] in drawn


@pytest.mark.parametrize("name", ALL)
def test_pictures_have_words_for_those_who_listen(name):
    result = ALL[name]()
    for key, picture in rank_figures.all_svg(result).items():
        title, seen = rank_figures.describe(result)[key]
        assert title
        assert "<desc" in picture
        assert seen.split(":")[0] in picture


def test_nothing_is_drawn_where_nothing_matters(full):
    last = full.of_kind("scatter")[-1:]
    still = MADE.invented_rank(variables=last)
    assert rank_figures.effects(still, "scatter") is None
    assert "Less than 1 %" in flat("".join(read(rank_page.html(still)).words))


# Tables ------------------------------------------------------------------------------------


def rows_of(text_):
    return list(csv.DictReader(io.StringIO(text_)))


def test_tables_hold_every_digit(full):
    made = rank_tables.csv_texts(full)
    assert {name for name in rank_tables.NAMES if name.startswith("rank-")} >= set(made)
    assert len(made) >= 6
    first = rows_of(made["rank-effects.csv"])[0]
    effect = full.variables[0].effects[0]
    assert (float(first["factor [-]"]), float(first["factor low [-]"])) == (
        effect.value,
        effect.low,
    )
    assert first["worked out"] == "weighted anew"
    assert float(first["factor by the other way [-]"]) == effect.check.estimate
    unknown = rows_of(made["rank-unknowns.csv"])[0]
    assert float(unknown["share in all [-]"]) == full.not_known.unknowns[0].total.estimate
    points = rows_of(made["rank-design-points.csv"])
    assert {row["way to fail"] for row in points} == {"bond lets go or wall shears", "bond lets go"}


def test_shares_that_are_not_told_are_empty_cells():
    row = rows_of(rank_tables.csv_texts(MADE.band_hidden())["rank-unknowns.csv"])[0]
    assert (row["share alone [-]"], row["share in all [-]"]) == ("", "")
    assert row["band left p05 [-]"] != ""
