"""A sweep and a rating: sentences, terminal, page, pictures, tables and what is saved."""

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

from jointrisk.report import (
    rating_page,
    rating_tables,
    save,
    sweep_figures,
    sweep_page,
    sweep_tables,
)
from jointrisk.report import rating_sentences as rate
from jointrisk.report import sweep_sentences as say
from jointrisk.report.rating_text import text as rating_text
from jointrisk.report.sweep_text import text
from jointrisk.study.results import Chance

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_sweep.py"))))
SWEEPS = {
    name: getattr(MADE, name)()
    for name in ("invented_sweep", "unreachable", "everywhere", "not_judged", "with_gaps", "mapped")
}
RATINGS = {name: getattr(MADE, name)() for name in ("invented_rating", "nothing_holds", "one_load")}
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


# Sentences ---------------------------------------------------------------------------------------


def test_the_smallest_value_is_rounded_to_the_side_that_meets():
    said = say.target(MADE.invented_sweep())
    assert "Met from **16.4 mm** (sampling: 16.1 mm to 16.6 mm) to 24 mm" in said
    assert "end of the range" in said
    assert "1 in 2,500 to 1 in 22" in said
    assert "68 %" in said
    up = MADE.edge(value=16.311)
    assert say.edge(MADE.invented_sweep(), up, "up").startswith("**16.4 mm**")
    assert say.edge(MADE.invented_sweep(), up, "down").startswith("**16.3 mm**")


def test_an_interval_that_the_range_cuts_off_says_so():
    found = MADE.edge(low=None, high=None)
    said = say.edge(MADE.invented_sweep(), found, "up")
    assert "sampling: below the range to beyond the range" in said


def test_unreachable_names_the_lowest_and_where():
    said = say.target(SWEEPS["unreachable"])
    assert said.startswith("**Unreachable within the range** (1 in 10,000 for the set of rods")
    assert "about 1 in 220 at 24 mm" in said
    assert "rule it out" not in said
    unsure = MADE.unreachable(best=MADE.point(24.0, meets=None))
    assert "Sampling cannot rule it out there: 1 in 230 to 1 in 220" in say.target(unsure)


def test_met_everywhere_and_not_judged():
    assert say.target(SWEEPS["everywhere"]).startswith("**Met everywhere**")
    assert "names no target" in say.target(SWEEPS["not_judged"])


@pytest.mark.parametrize(
    ("verdict", "direction", "value", "starts"),
    [
        ("knee", "more", 21.37, "**Beyond 21.4 mm more overlap brings little**"),
        ("knee", "less", 12.0, "**Below 12 mm less overlap brings little**"),
        ("pays throughout", "more", None, "More overlap pays up to 24 mm"),
        ("pays nowhere", "more", None, "Within the range it makes little difference"),
        ("not told", "more", None, "Too few values"),
    ],
)
def test_where_more_stops_paying(verdict, direction, value, starts):
    whole = MADE.invented_sweep()
    knee = replace(whole.knee, verdict=verdict, direction=direction, value=value)
    said = say.pays(replace(whole, knee=knee))
    assert said.startswith(starts)
    assert (knee.rule in said) == (verdict != "not told")
    assert (knee.reason in said) == (verdict == "knee")


def test_what_fails_at_the_ends():
    whole = MADE.invented_sweep()
    assert say.fails(whole).startswith("At both ends, first of all: **bonds that came out weak**")
    other = MADE.point(24.0, causes=(("tube breaks in tension", 0.6),))
    said = say.fails(replace(whole, points=(*whole.points[:-1], other)))
    assert said.startswith("At 10 mm: **bonds that came out weak** (83 %); at 24 mm: ")
    assert said.endswith("**tube breaks in tension** (60 %).")


@pytest.mark.parametrize(
    ("value", "unit", "told"),
    [
        (0.1234, "mm", "0.123 mm"),
        (1234.0, "N", "1,230 N"),
        (23.0, "degC", "23 °C"),
        (0.5, "years", "6 months"),
        (1.25, "-", "1.25"),
        (-5.0, "degC", "-5 °C"),
    ],
)
def test_amounts_carry_their_units(value, unit, told):
    assert say.amount(value, unit) == told


def test_values_that_cannot_be_put_together_are_told():
    rows = [say.row(SWEEPS["with_gaps"], point) for point in SWEEPS["with_gaps"].points]
    assert rows[0][-1] == "the rods cannot be put together"
    assert "31 % of sets cannot be put together" in rows[2][-1]
    assert {len(row) for row in rows} == {len(say.COLUMNS)}


def test_the_map_in_words():
    lines = say.map_lines(SWEEPS["mapped"])
    assert lines[0] == "radial gap 0.1 mm: crosses the target at overlap 18.4 mm"
    assert lines[2].endswith(("met nowhere", "met all along"))
    assert say.map_lines(SWEEPS["invented_sweep"]) == []


def test_the_rating_in_words():
    whole = MADE.invented_rating()
    said = rate.as_built(whole)
    assert "holds up to **0.869 times** the loads as written (sampling: 0.843 to 0.896)" in said
    assert "**1.2 times too large**" in said
    assert "about **0.42 times**" in rate.cautious(whole)
    assert rate.pulled(whole.after_pull[1]).startswith(
        "After the pull of its window that leaves least, 3,450 N (351 kgf, 774 lbf): **2.41 times**"
    )
    assert "too few rods hold it" in rate.pulled(whole.after_pull[2])
    assert "**0.84 times** each load" in rate.on_the_part(whole)


def test_the_number_for_the_part_is_the_lower_end_rounded_down():
    said = rate.on_the_part(MADE.one_load())
    assert "“gust”: **150 N** at most" in said  # 184 x 0.8695 = 159.99


def test_where_nothing_holds():
    whole = RATINGS["nothing_holds"]
    assert rate.as_built(whole).startswith("**No load at all:**")
    assert "no load at all" in rate.cautious(whole)
    assert "no load at all" in rate.pulled(whole.after_pull[0])
    assert rate.on_the_part(whole).startswith("**Nothing:**")
    beyond = MADE.invented_rating(as_built=MADE.no_factor("beyond"), cautious_factor=None,
                                  cautious_verdict="beyond")  # fmt: skip
    assert "at any load that was looked at" in rate.as_built(beyond)
    known = MADE.invented_rating(cautious_factor=None, cautious_verdict="all is known")
    assert "nothing that is not known" in rate.cautious(known)


@pytest.mark.parametrize(
    ("meets", "words"),
    [(True, "keep to it"), (False, "times too large"), (None, "too near to it to tell")],
)
def test_how_the_loads_as_written_stand(meets, words):
    assert words in rate.as_built(MADE.invented_rating(as_built=MADE.rated(meets=meets)))


# Terminal ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SWEEPS)
@pytest.mark.parametrize("width", [0, 40, 80])
def test_a_sweep_on_a_terminal(name, width):
    shown = text(SWEEPS[name], width=width)
    assert shown.startswith("Failure   ")
    assert shown.endswith("\n")
    assert not shown.endswith("\n\n")
    assert "A rod that lets go can hurt." in shown
    assert "nan" not in shown
    assert "**" not in shown
    if width:
        assert max(map(len, shown.splitlines())) <= max(width, 60)


@pytest.mark.parametrize("name", RATINGS)
@pytest.mark.parametrize("width", [0, 40, 80])
def test_a_rating_on_a_terminal(name, width):
    shown = rating_text(RATINGS[name], width=width)
    assert shown.startswith("Rating    ")
    assert "A rod that lets go can hurt." in shown
    for word in ("nan", "None", "**"):
        assert word not in shown


def test_verbose_shows_every_value_and_the_run():
    whole = MADE.invented_sweep(points=tuple(MADE.point(10 + 0.5 * i) for i in range(29)))
    short, long = text(whole), text(whole, verbose=1)
    assert "10.5 mm" not in short
    assert "10.5 mm" in long
    assert "model.bond_factor: 1 on average (a table; from memory)" in long
    assert "seed: 6" in long
    assert "seed: 6" in rating_text(MADE.invented_rating(), verbose=1)


def test_bold_only_where_asked():
    assert "\x1b[" in text(MADE.invented_sweep(), color=True)
    assert "\x1b[" not in text(MADE.invented_sweep())


@pytest.mark.parametrize("name", [*SWEEPS, *RATINGS])
def test_nothing_is_called_safe(name):
    both = {**SWEEPS, **RATINGS}[name]
    shown = text(both) if name in SWEEPS else rating_text(both)
    page = sweep_page.html(both) if name in SWEEPS else rating_page.html(both)
    assert not re.search(r"(?i)\bsafe", shown + " ".join(read(page).words))


# Page and pictures -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*SWEEPS, *RATINGS])
def test_the_page(name):
    result = {**SWEEPS, **RATINGS}[name]
    page = sweep_page.html(result) if name in SWEEPS else rating_page.html(result)
    seen = read(page)
    assert len(seen.ids) == len(set(seen.ids))
    assert seen.tags.count("h1") == 1
    assert "script" not in seen.tags
    assert all(link.startswith(("tables/", "#")) for link in seen.links)
    words = " ".join(" ".join(seen.words).split())
    assert "Rods for show <&>" in words
    assert "nan" not in words.split()
    assert "None of" not in words
    for caution in ("A rod that lets go can hurt.", "Codes and licensed practice come first."):
        assert caution in words


def test_the_page_has_its_pictures_and_tables():
    whole = read(sweep_page.html(SWEEPS["mapped"]))
    assert whole.tags.count("svg") == 2
    assert whole.tags.count("table") >= 3
    assert read(sweep_page.html(SWEEPS["invented_sweep"])).tags.count("svg") == 1
    assert read(rating_page.html(RATINGS["invented_rating"])).tags.count("svg") == 1
    assert read(rating_page.html(RATINGS["nothing_holds"])).tags.count("svg") == 0


def test_the_curve_shows_target_knee_and_smallest_value():
    axes = sweep_figures.curve(MADE.invented_sweep()).axes[0]
    named = {t.get_text() for t in axes.texts}
    assert {"as written", "stops paying", "smallest"} <= named
    lines = {line.get_label(): line for line in axes.lines}
    assert list(lines["over the life"].get_ydata()) == [
        p.failure.estimate for p in MADE.invented_sweep().points
    ]
    assert list(lines["target"].get_ydata()) == [0.01, 0.01]
    diamonds = [line for line in axes.lines if line.get_marker() == "D"]
    assert [list(line.get_xdata()) for line in diamonds] == [[16.364]]
    assert "as the target counts it" not in lines


def test_what_the_target_counts_has_a_line_where_it_is_something_else():
    yearly = MADE.invented_sweep(target_period="year")
    lines = {line.get_label() for line in sweep_figures.curve(yearly).axes[0].lines}
    assert "as the target counts it" in lines
    assert say.counts_apart(yearly)
    assert say.counts_apart(MADE.invented_sweep(target_scope="rod"))
    assert not say.counts_apart(MADE.invented_sweep(target_scope="rod", rods=1))


def test_no_curve_of_a_single_value():
    whole = SWEEPS["with_gaps"]
    assert sweep_figures.curve(replace(whole, points=whole.points[:3])) is None


@settings(max_examples=10, deadline=None)
@given(
    chances=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=6),
    unit=st.sampled_from(["mm", "degC", "-", "N"]),
    start=st.floats(-50.0, 50.0),
)
def test_any_curve_is_drawn_and_told(chances, unit, start):
    points = tuple(
        MADE.point(10.0, value=start + i, failure=Chance(c, 0.5 * c, min(1.0, 2.0 * c)))
        for i, c in enumerate(chances)
    )
    whole = MADE.invented_sweep(points=points, best=points[0])
    whole = replace(whole, quantity=replace(whole.quantity, unit=unit), as_written=points[0])
    assert "nan" not in text(whole)
    read(sweep_page.html(whole))


# Tables, document and what is saved -------------------------------------------------------------


def rows_of(table):
    return list(csv.reader(io.StringIO(table)))


def test_the_tables_hold_every_digit():
    tables = sweep_tables.csv_texts(SWEEPS["mapped"])
    assert set(tables) == set(sweep_tables.NAMES)
    curve = rows_of(tables["sweep-curve.csv"])
    assert curve[0][:2] == ["overlap [mm]", "failure over the life [-]"]
    assert float(curve[1][1]) == SWEEPS["mapped"].points[0].failure.estimate
    assert len(curve) == 16
    windows = rows_of(tables["sweep-windows.csv"])
    assert float(windows[1][0]) == 16.364
    assert len(rows_of(tables["sweep-map.csv"])) == 1 + 3 * 15
    assert "sweep-map.csv" not in sweep_tables.csv_texts(SWEEPS["invented_sweep"])
    assert "sweep-windows.csv" not in sweep_tables.csv_texts(SWEEPS["unreachable"])
    rated = rows_of(rating_tables.csv_texts(RATINGS["invented_rating"])["rating.csv"])
    assert float(rated[1][3]) == 0.8695
    assert len(rated) == 5
    loads = rows_of(rating_tables.csv_texts(RATINGS["invented_rating"])["rating-loads.csv"])
    assert len(loads) == 1 + 3 * 2


def test_what_is_saved(tmp_path):
    page, document = save(SWEEPS["mapped"], tmp_path)
    assert (page.name, document.name) == ("sweep.html", "sweep.json")
    assert json.loads(document.read_text("utf-8"))["map"]["draws"] == 1024
    assert (tmp_path / "tables" / "sweep-map.csv").is_file()
    save(SWEEPS["invented_sweep"], tmp_path)
    assert not (tmp_path / "tables" / "sweep-map.csv").exists()
    page, document = save(RATINGS["invented_rating"], tmp_path)
    assert (page.name, document.name) == ("rating.html", "rating.json")
    assert json.loads(document.read_text("utf-8"))["after_pull"][2]["factor"] is None
    assert (tmp_path / "sweep.html").is_file()


def test_the_frames():
    frame = SWEEPS["with_gaps"].to_frame()
    assert len(frame) == 15
    assert math.isnan(frame["failure"][0])
    assert list(RATINGS["invented_rating"].to_frame()["factor"][:3]) == [0.8695, 1.0, 2.41]
