"""A plan of tests as a page: pictures, tables and what is saved."""

import csv
import io
import json
import re
import runpy
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest

from jointrisk.report import plan_figures, plan_page, plan_tables, save
from jointrisk.report import plan_sentences as say

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_plan.py"))))
ALL = {
    name: getattr(MADE, name)()
    for name in ("invented_plan", "with_costs", "without_target", "no_test", "all_known")
}
FULL = ALL["invented_plan"]
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


# Page and pictures -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_the_page_is_whole_and_its_links_lead_somewhere(name):
    page = plan_page.html(ALL[name])
    reader = read(page)
    assert reader.tags.count("h1") == 1
    assert not {"script", "iframe", "link"} & set(reader.tags)
    assert len(set(reader.ids)) == len(reader.ids)
    names = {f"tables/{table}" for table in plan_tables.csv_texts(ALL[name])}
    assert {link for link in reader.links if link[0] != "#"} == names
    words = " ".join(reader.words)
    assert not re.search(r"\b(nan|inf)\b|\*\*", words)
    assert words.count("None") == (name == "all_known")  # no warnings: "None."


def test_names_are_escaped():
    page = plan_page.html(FULL)
    assert "rods &amp; ends" in page
    assert "rods & ends" not in page


def test_the_page_says_what_the_terminal_says():
    words = " ".join(" ".join(read(plan_page.html(FULL)).words).split())
    for _, sentence in say.headline(FULL):
        plain = " ".join(sentence.replace("**", "").split())
        squeezed = re.sub(r"\s", "", plain)
        assert squeezed in re.sub(r"\s", "", words), sentence


def test_bands_are_drawn_as_they_are():
    axes = plan_figures.bands(FULL).axes[0]
    bars = [line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_linewidth() == 7]
    drawn = [tuple(line.get_xdata()) for line in bars]
    assert drawn[0] == (FULL.before.p05, FULL.before.p95)
    assert drawn[1:] == [(e.p05, e.p95) for e in (*FULL.doable, *FULL.bounds)]
    dashed = [line for line in axes.lines if line.get_linestyle() == "--"]
    assert list(dashed[0].get_xdata()) == [FULL.target, FULL.target]


def test_the_counts_are_drawn_by_kind_and_in_order():
    found = plan_figures.series(FULL)
    assert {kind: [n for n, _ in points] for kind, points in found.items()} == {
        "rod": [1, 2, 4, 8], "coupon": [3, 6, 12], "pull": [29],
    }  # fmt: skip
    axes = plan_figures.counts(FULL).axes[0]
    lines = {tuple(line.get_xdata()): list(line.get_ydata()) for line in axes.lines}
    assert lines[(3, 6, 12)] == [0.17, 0.151, 0.148]
    assert axes.get_ylabel() == "chance of a wrong decision"
    assert plan_figures.counts(ALL["without_target"]).axes[0].get_ylabel().startswith("upper end")


def test_no_tests_no_pictures():
    assert plan_figures.all_svg(ALL["all_known"]) == {}
    alone = MADE.invented_plan(candidates=FULL.doable[:1])
    assert set(plan_figures.all_svg(alone)) == {"bands"}


def test_pictures_have_words_for_those_who_listen():
    drawn = plan_figures.all_svg(FULL)
    assert "rods pulled to break, 4: 9.6 %" in drawn["counts"]
    assert "break 12 lap coupons: 1 in 9,100 to 1 in 480" in drawn["bands"]


# Files -------------------------------------------------------------------------------------------


def rows_of(result, name):
    return list(csv.DictReader(io.StringIO(plan_tables.csv_texts(result)[name])))


def test_tables_have_every_digit():
    rows = rows_of(FULL, "plan-candidates.csv")
    assert [row["key"] for row in rows] == [e.key for e in FULL.candidates]
    for row, entry in zip(rows, FULL.candidates, strict=True):
        assert float(row["chance of a wrong decision then [-]"]) == entry.wrong_after.estimate
        assert float(row["band then, 5 % [-]"]) == entry.p05
        assert row["can be done"] == ("yes" if entry.doable else "no")
    assert [float(row["pulls"]) for row in rows_of(FULL, "plan-success-runs.csv")] == [
        29, 299, 29956,
    ]  # fmt: skip
    unknown = [row for row in rows_of(FULL, "plan-unknowns.csv") if row["key"] == "rod:8"]
    assert [row["unknown"] for row in unknown] == [
        "adhesive.shear_strength", "evidence.factor",
    ]  # fmt: skip


def test_what_is_missing_is_an_empty_cell():
    (row, *_) = rows_of(ALL["without_target"], "plan-candidates.csv")
    assert row["chance of a wrong decision then [-]"] == row["cost"] == ""
    assert "plan-success-runs.csv" not in plan_tables.csv_texts(ALL["all_known"])


@pytest.mark.parametrize("name", ALL)
def test_saved_files_hold_the_result(name, tmp_path):
    page, document = save(ALL[name], tmp_path)
    assert (page.name, document.name) == ("plan.html", "plan.json")
    assert json.loads(document.read_text("utf-8")) == json.loads(json.dumps(ALL[name].to_dict()))
    written = {path.name for path in (tmp_path / "tables").iterdir()}
    assert written == set(plan_tables.csv_texts(ALL[name])) <= set(plan_tables.NAMES)


def test_an_older_table_goes_with_its_rows(tmp_path):
    save(FULL, tmp_path)
    save(ALL["all_known"], tmp_path)
    assert not (tmp_path / "tables" / "plan-success-runs.csv").exists()
