"""What is said of broken coupons: by values for each kind of set, on the page, in the tables."""

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import jointrisk
from jointrisk.report import fit_sentences as say
from jointrisk.report import save
from jointrisk.report.fit_figures import paper
from jointrisk.report.fit_page import html
from jointrisk.report.fit_tables import NAMES, csv_texts
from jointrisk.report.fit_text import text

SIX = [18.2, 19.5, 17.1, 20.3, 18.8, 16.9]
THIRTY = [round(float(x), 2) for x in np.exp(np.random.default_rng(1).normal(3.0, 0.1, 30))]
SETS = {
    "three": (SIX[:3], {}),
    "six": (SIX, {}),
    "thirty": (THIRTY, {}),
    "held": ([*SIX, 21.0], {"held": [False] * 6 + [True]}),
    "far": ([*SIX, 17.7, 6.2], {}),
    "equal": ([10.0, 10.0, 10.0], {}),
    "one": ([14.0], {}),
    "two": ([14.0, 15.0], {}),
    "unbroken": ([14.0, 15.0], {"held": [True, True]}),
    "batches": (
        [18.2, 19.5, 17.1, 20.3, 18.8, 16.9, 22.2, 25.0, 23.4, 14.0, 13.0, 13.3],
        {"batches": list("aaabbbcccddd")},
    ),
    "few batches": (SIX, {"batches": list("aaabbb")}),
    "loads": ([7.9, 8.8, 8.2, 8.4], {"unit": "kN"}),
}
RESULTS = {name: jointrisk.fit(v, **{"unit": "MPa", **more}) for name, (v, more) in SETS.items()}
FITTED = [name for name, found in RESULTS.items() if found.families]


def said(name):
    return dict(say.headline(RESULTS[name]))


def plain(text_):
    return text_.replace("**", "")


# Sentences ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FITTED)
def test_the_answer_holds_the_results_own_numbers(name):
    found, lines = RESULTS[name], said(name)
    log = found.family("lognormal")
    for tail in (log.one_in_100, log.one_in_1000):
        assert say.value(found, tail.predicted, 3, "down") in lines["Weakest"]
    for each in log.basis:
        assert say.value(found, each.value, 3, "down") in lines["Basis"]
    assert f"{found.broke} " in lines["Spread"]


@pytest.mark.parametrize("name", ["three", "six", "held"])
def test_few_cannot_choose_the_shape_and_the_shapes_differ(name):
    found, line = RESULTS[name], plain(said(name)["Shape"])
    assert line.startswith(f"{found.broke} breaks cannot choose between")
    low = min(found.families, key=lambda e: e.one_in_1000.predicted)
    assert f"by {low.family} and" in line
    assert "below 0" in line or say.value(found, low.one_in_1000.predicted, 3, "down") in line


def test_a_shape_far_worse_is_told_apart_and_one_alone_is_still_no_tail():
    found = RESULTS["thirty"]
    best, second, third = found.families
    worse = replace(found, families=(best, second, replace(third, aic_above_best=8.4)))
    assert f"{third.family} fits worse (8.4)" in say.shape(worse)
    alone = replace(
        worse, families=(best, *(replace(e, aic_above_best=9.1) for e in (second, third)))
    )
    assert "9.1 lower" in say.shape(alone)
    assert "the tail below the weakest is still the shape's" in say.shape(alone)


def test_handbooks_ask_for_more():
    assert "accept neither from so few" in said("six")["Basis"]
    assert "no A basis from so few" in said("thirty")["Basis"]
    many = replace(RESULTS["thirty"], broke=60)
    assert "Where a code rules" in say.basis(many)
    assert "by approximation" in said("held")["Basis"]


def test_a_far_one():
    line = plain(said("far")["Far out"])
    assert line.startswith("value 8, 6.2 MPa, is low: 2.39 sd")
    assert "Nothing was taken out." in line
    assert "Without it the mean would be 18.4 MPa" in line
    weak = plain(said("far")["Weak"])
    assert "1 of 8 broke below half of the middle value" in weak
    assert "Look at the fracture" in weak
    assert "fit again without it" in said("far")["Write"]
    assert said("six")["Far out"].startswith("None: the furthest lies 1.37 sd")
    assert said("held")["Far out"] == "Not tested, since some held."


def test_none_seen_is_little():
    assert "up to **39 %** of all could still be so" in said("six")["Weak"]
    assert "up to **9.5 %**" in said("thirty")["Weak"]


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("equal", ("All 3 that broke did so at 10 MPa", "no spread of 0")),
        ("one", ("One value: it broke at 14 MPa", "nothing of a spread")),
        ("two", ("2 coupons broke at 14 to 15 MPa", "too few to fit")),
        ("unbroken", ("None of 2 coupons broke", "15 MPa")),
    ],
)
def test_where_nothing_is_fitted(name, parts):
    lines = said(name)
    assert set(lines) == {"Spread", "Write"}
    for part in parts:
        assert part in plain(lines["Spread"])
    assert "Nothing yet" in lines["Write"]


def test_a_coarse_gauge_is_named():
    found = jointrisk.fit([10.0] * 5 + [11.0] * 4, unit="MPa")
    assert "Only 2 different readings" in say.spread(found)
    assert "different readings" not in said("six")["Spread"]


def test_what_is_written_is_named():
    found = RESULTS["six"]
    assert 'dist = "weibull" too' in say.write(found)
    other = replace(found, written=replace(found.written, shape="weibull"))
    assert "As weibull, since lognormal fits far worse" in say.write(other)
    assert "more than one kind" in say.write(replace(found, written=None))


def test_held_ones():
    line = said("held")["Spread"]
    assert line.startswith("6 coupons broke at 16.9 to 20.3 MPa; 1 more held 21 MPa")


def test_batches():
    told = RESULTS["batches"].batches
    lines = said("batches")
    assert "**They differ by more than chance**" in lines["Batches"]
    assert lines["Weakest"].startswith("**In a new batch** expect 1 in 100 below **6.02 MPa**")
    assert "all as one batch, which these are not" in lines["Basis"]
    assert "44 % from batch to batch" in lines["Write"]
    assert "too few to tell" in said("few batches")["Batches"]
    alike = replace(told, verdict="not apart", between=0.0, between_high=None)
    assert "more alike than chance" in say.batches(RESULTS["batches"], alike)


def test_loads_are_not_for_a_scenario():
    lines = said("loads")
    assert lines["Write"].startswith("**Not these loads.**")
    assert "learn" in lines["Write"]
    assert "4 values broke at 7,900 to 8,800 N" in lines["Spread"]
    assert "In a scenario" not in text(RESULTS["loads"])


# Terminal ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", RESULTS)
@pytest.mark.parametrize("width", [60, 80])
def test_lines_fit_and_cautions_stand_at_the_end(name, width):
    shown = text(RESULTS[name], width=width, verbose=1)
    lines = shown.splitlines()
    toml = RESULTS[name].written.lines if RESULTS[name].written is not None else ()
    long = [x for x in lines if len(x) > width and x.strip() not in toml]
    assert [x for x in long if "  " not in x.strip()] == []
    assert "What these do not say" in shown
    assert "A rod that lets go can hurt." in shown
    assert not re.search(r"(?i)\bsafe", shown)
    assert "**" not in shown
    assert "nan" not in shown.lower().split()


def test_every_value_is_listed_with_its_note(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text("strength [MPa],note\n14.2,bare face\n15.1,\n13.9,\n")
    shown = text(jointrisk.fit(path), verbose=1)
    assert re.search(r"2 +14.2 MPa +broke +bare face", shown)
    assert re.search(r"3 +15.1 MPa +broke +-", shown)


def test_bold_only_where_wanted():
    assert "\x1b[1mSpread" in text(RESULTS["six"], color=True)
    assert "\x1b" not in text(RESULTS["six"])


# Page, tables, picture ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", RESULTS)
def test_the_page_is_whole_and_fetches_nothing(name):
    page = html(RESULTS[name])
    assert page.startswith("<!DOCTYPE html>")
    for sign in ("<script", "<link", "src=", "url(http", "@import", "nan", "None<"):
        assert sign not in page
    assert not re.search(r"(?i)\bsafe", page)
    assert "can hurt" in page
    assert ("<svg" in page) == bool(RESULTS[name].families)
    assert ("shear_strength = {" in page) == (RESULTS[name].written is not None)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'aria-labelledby="([^" ]+)"', page)) <= set(ids)


def test_names_of_the_file_are_escaped(tmp_path):
    path = tmp_path / "a<b>&c.csv"
    path.write_text("strength [MPa],note\n14.2,<i>x</i>\n15.1,\n13.9,\n")
    page = html(jointrisk.fit(path))
    assert "<i>x" not in page
    assert "a&lt;b&gt;&amp;c.csv" in page


def test_the_folder(tmp_path):
    first, second = save(RESULTS["batches"], tmp_path)
    assert (first.name, second.name) == ("fit.html", "fit.json")
    written = {path.name for path in (tmp_path / "tables").iterdir()}
    assert written == set(csv_texts(RESULTS["batches"]))
    page = first.read_text("utf-8")
    assert {f"tables/{n}" for n in written} == set(re.findall(r'href="(tables/[^"]+)"', page))
    save(RESULTS["one"], tmp_path)
    assert {path.name for path in (tmp_path / "tables").iterdir()} == {"fit-values.csv"}


@pytest.mark.parametrize("name", RESULTS)
def test_tables_hold_every_digit(name):
    found = RESULTS[name]
    made = csv_texts(found)
    assert set(made) <= set(NAMES)
    rows = list(csv.reader(io.StringIO(made["fit-values.csv"])))
    assert [float(row[1]) for row in rows[1:]] == [c.value for c in found.coupons]
    if found.families:
        head, *rows = csv.reader(io.StringIO(made["fit.csv"]))
        assert len(set(head)) == len(head)
        at = head.index(f"1 in 100 expected [{found.unit}]")
        assert [float(r[at]) for r in rows] == [e.one_in_100.predicted for e in found.families]


def test_the_picture_has_every_dot_and_shape():
    found = RESULTS["held"]
    (axes,) = paper(found).axes
    dots = [line for line in axes.lines if line.get_marker() == "o"]
    assert sorted(dots[0].get_xdata()) == sorted(SIX)
    held = [line for line in axes.lines if line.get_marker() == ">"]
    assert list(held[0].get_xdata()) == [21.0]
    labels = {t.get_text() for t in axes.get_legend().get_texts()}
    assert labels == {"lognormal", "normal", "weibull", "held"}
    assert paper(RESULTS["one"]) is None


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    values=st.lists(st.floats(1e-2, 1e5), min_size=1, max_size=9),
    held=st.lists(st.booleans(), min_size=9, max_size=9),
    names=st.lists(st.sampled_from("ab<"), min_size=9, max_size=9),
    unit=st.sampled_from(["MPa", "kN"]),
)
def test_any_set_can_be_told(values, held, names, unit):
    n = len(values)
    found = jointrisk.fit(values, unit=unit, held=held[:n], batches=names[:n])
    assert "unknown" not in text(found, verbose=1)
    assert html(found).endswith("</html>\n")
