"""Options side by side: sentences, terminal, page, pictures, tables and what is saved."""

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

from jointrisk.report import compare_figures, compare_page, compare_tables, save
from jointrisk.report import compare_sentences as say
from jointrisk.report.compare_text import text
from jointrisk.report.document import json_text
from jointrisk.study.compare_results import Ratio
from jointrisk.study.results import Chance

MADE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("invented_compare.py"))))
VOID = {"meta", "br", "link", "img", "hr", "wbr"}
ALL = {"three": MADE.invented_compare(), "alike": MADE.alike()}


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


# Sentences ------------------------------------------------------------------------------------


def test_the_lowest_and_what_is_not_known():
    told = say.lowest(ALL["three"])
    assert told == (
        "**'longer <overlap> $1$'** fails least often as built: about 1 in 4,900 that any of 4 "
        "rods lets go in 5 years; because of what is not known, anywhere from 1 in 98,000 to 1 in "
        "810."
    )


def test_what_ties_with_the_lowest_is_named():
    result = replace(ALL["three"], lowest=("as written", "other glue"))
    assert say.lowest(result).endswith("Not told apart from it: 'other glue'.")
    assert say.lowest(ALL["alike"]).startswith("**No option can be told apart**")


def test_ratios_in_words():
    lower, tied = say.of_baseline(ALL["three"])
    assert say.against(lower).startswith(
        "'longer <overlap> $1$' fails **0.62 times as often** as 'as written' (0.59 to 0.65). "
    )
    assert "the chance that it fails less often is 83 % (71 % to 92 %)." in say.against(lower)
    assert say.against(tied).startswith(
        "'other glue' and 'as written' are **not told apart** (0.98 to 1.08 times as often)."
    )
    assert "As the target" not in say.against(lower)  # the same verdict: the table has it
    assert say.against(tied).endswith(
        "**As the target counts it** it fails 0.70 times as often (0.66 to 0.73)."
    )
    alone = say.against(ALL["three"].pairs[2])
    assert "known" not in alone
    assert "**1.66 times as often**" in alone


@pytest.mark.parametrize(
    ("ratio", "figure", "span"),
    [
        ((0.62, 0.58, 0.66), "0.62", "0.58 to 0.66"),
        ((1.00032, 1.00028, 1.00036), "1.00032", "1.00028 to 1.00036"),
        ((35.2, 29.6, 40.9), "35", "30 to 41"),
        ((2345.0, 1800.0, 3000.0), "2,345", "1,800 to 3,000"),
        ((1.0, 1.0, 1.0), "1.00", "alike in every draw"),
        ((math.inf, 12.0, math.inf), "endlessly many", "12.00 or more"),
        ((math.nan, math.nan, math.nan), "unknown", "unknown"),
    ],
)
def test_a_ratio_has_the_digits_of_its_interval(ratio, figure, span):
    made = Ratio(*ratio, "")
    assert (say.times(made), say.span(made)) == (figure, span)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "under 1 %"),
        (0.004, "under 1 %"),
        (0.5, "50 %"),
        (0.992, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_share_is_never_nothing_and_never_all(share, words):
    assert say.part(share) == words


def test_options_alike_as_built_are_told_apart_by_their_pulls():
    told = dict(say.headline(ALL["alike"]))["Against"]
    assert "alike in every draw" in told
    assert "After the pull 'pulled' fails 0.31 times as often as 'no pull' (0.29 to 0.33)." in told


def test_the_target_is_named_with_who_meets_it():
    assert say.targets(ALL["three"]).startswith(
        "As built, the target (about 1 in 10,000 in the worst year) is undecided for 'as written',"
    )
    base, *others = ALL["three"].options
    met = replace(base, target=replace(base.target, met=True, probability=1e-3))
    missed = replace(others[0], target=replace(base.target, met=False))
    result = replace(ALL["three"], options=(met, missed, others[1]))
    told = say.targets(result)
    assert told.startswith(
        "As built, each option's own target is met by 'as written'; missed by 'longer"
    )
    assert say.targets(ALL["alike"]) == ""


def test_beaten_options_are_named_and_nothing_is_said_without_a_price():
    assert say.prices(ALL["three"]) == [
        "'other glue' is beaten by 'longer <overlap> $1$': told to fail less often, and no dearer "
        "and no heavier as far as given."
    ]
    assert ("Price", say.prices(ALL["three"])[0]) in say.headline(ALL["three"])
    assert say.prices(ALL["alike"]) == []


def test_what_differs_tells_what_was_and_what_is_left_out():
    assert say.differs(ALL["three"].options[1]) == [
        "plug.overlap: 26 mm on average, sd 0.7 mm, normal (was 19 mm)",
        "backup.kind: left out (was cross pin)",
        "rod_end.use: steady (was not there)",
    ]


# Terminal -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("width", [0, 40, 80, 120])
def test_the_terminal_reads_well_at_any_width(name, width):
    shown = text(ALL[name], width=width, verbose=1)
    assert "**" not in shown
    assert "nan" not in shown.lower()
    assert "None" not in shown
    assert not re.search(r"(?i)\b(?:un)?safe(?:ly)?\b", shown)
    assert "A rod that lets go can hurt." in shown
    if width >= 80:
        long = [line for line in shown.splitlines() if len(line) > width]
        assert long == []


def test_every_option_is_a_row_with_its_price():
    shown = text(ALL["three"], width=0)
    for words in ("41.50 EUR", "43.00 EUR", "71.2 g", "2,150 N, breaks 0.41 %", "empty"):
        assert words in shown
    assert "cost of a rod" not in text(ALL["alike"], width=0)


def test_verbose_adds_pairs_values_and_run():
    short, long = (text(ALL["three"], width=0, verbose=v) for v in (0, 1))
    for words in (
        "'other glue' fails 1.66 times as often as 'longer",
        "proof.rig_error: 0.02",
        "seed: 1",
    ):
        assert words not in short
        assert words in long


def test_many_differences_are_cut_and_counted():
    base, longer, other = ALL["three"].options
    longer = replace(longer, differences=longer.differences * 4)
    result = replace(ALL["three"], options=(base, longer, other))
    assert "; 6 more, -v shows them." in text(result, width=0)
    assert "more, -v" not in text(result, width=0, verbose=1)


# Page -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_the_page_is_whole_and_asks_for_nothing(name):
    page = compare_page.html(ALL[name])
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    assert reader.tags.count("h1") == 1
    assert not {"script", "link", "img", "iframe"} & set(reader.tags)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", page)
    assert not re.search(r"(?i)\b(?:un)?safe(?:ly)?\b", " ".join(reader.words))
    assert "nan" not in " ".join(reader.words).lower().split()


def test_names_of_the_file_are_escaped():
    page = compare_page.html(ALL["three"])
    assert "longer &lt;overlap&gt; $1$" in page
    assert "<overlap>" not in page


def test_the_page_shows_what_the_terminal_shows():
    words = " ".join(" ".join(read(compare_page.html(ALL["three"])).words).split())
    for sentence in ("0.62", "0.59 to 0.65", "not told apart", "is beaten by", "26 mm on average"):
        assert sentence in words


def test_the_links_of_the_page_are_saved_beside_it(tmp_path):
    page, document = save(ALL["three"], tmp_path)
    assert (page.name, document.name) == ("compare.html", "compare.json")
    for link in read(page.read_text("utf-8")).links:
        assert link.startswith("#") or (tmp_path / link).is_file(), link
    assert {path.name for path in (tmp_path / "tables").iterdir()} == set(compare_tables.NAMES)
    assert json.loads(document.read_text("utf-8"))["baseline"] == "as written"


# Pictures -------------------------------------------------------------------------------------


def points(axes, marker):
    return [
        line for line in axes.get_lines() if line.get_marker() == marker and len(line.get_xdata())
    ]


def test_every_option_has_its_dot_band_and_target():
    figure = compare_figures.options(ALL["three"])
    (axes,) = figure.axes
    dots = [float(line.get_xdata()[0]) for line in points(axes, "o") if len(line.get_xdata()) == 1]
    assert dots == pytest.approx([o.failure_probability.estimate for o in ALL["three"].options])
    lines = [line for line in axes.get_lines() if line.get_linestyle() == "--"]
    assert list(lines[0].get_xdata()) == [1e-4, 1e-4]
    low, high = axes.get_xlim()
    assert low < 1e-5 < 2e-3 < high


def test_options_with_targets_of_their_own_have_no_common_line():
    base, *others = ALL["three"].options
    one = replace(base, target=replace(base.target, probability=1e-5))
    figure = compare_figures.options(replace(ALL["three"], options=(one, *others)))
    assert not [line for line in figure.axes[0].get_lines() if line.get_linestyle() == "--"]


def test_dots_not_told_apart_are_hollow():
    (axes,) = compare_figures.ratios(ALL["three"]).axes
    dots = points(axes, "o")
    assert [float(dot.get_xdata()[0]) for dot in dots] == pytest.approx([0.62, 1.027])
    assert [dot.get_markerfacecolor() == "none" for dot in dots] == [False, True]
    assert axes.get_xscale() == "log"


def test_the_price_picture_needs_prices():
    assert compare_figures.price(ALL["alike"]) is None
    (axes,) = compare_figures.price(ALL["three"]).axes
    assert [float(dot.get_xdata()[0]) for dot in points(axes, "o")] == [41.5, 43.0, 47.0]
    assert "EUR" in axes.get_xlabel()
    no_cost = replace(
        ALL["three"], options=tuple(replace(o, cost=None) for o in ALL["three"].options)
    )
    assert compare_figures.price(no_cost).axes[0].get_xlabel() == "mass of a rod [g]"


# Tables ---------------------------------------------------------------------------------------


def rows(name, result):
    return list(csv.DictReader(io.StringIO(compare_tables.csv_texts(result)[name], newline="")))


def test_tables_hold_every_digit():
    options = rows("compare-options.csv", ALL["three"])
    assert [row["option"] for row in options] == [o.name for o in ALL["three"].options]
    assert float(options[1]["failure probability [-]"]) == 2.05e-4
    assert (options[1]["cost of a rod"], options[1]["currency"]) == ("43.0", "EUR")
    assert options[1]["pull needed [N]"] == ""
    pairs = rows("compare-pairs.csv", ALL["three"])
    assert len(pairs) == 3
    assert float(pairs[0]["times as often [-]"]) == 0.62
    assert pairs[2]["chance to fail less often [-]"] == pairs[2]["verdict after"] == ""
    assert len(rows("compare-differences.csv", ALL["three"])) == 3
    assert "compare-differences.csv" not in compare_tables.csv_texts(ALL["alike"])


# Whatever numbers come ------------------------------------------------------------------------

chances = st.floats(0.0, 1.0) | st.floats(1e-14, 1e-3) | st.just(0.0)
factors = st.floats(0.0, 1e6) | st.just(math.inf) | st.just(math.nan)


@settings(max_examples=6, deadline=None)
@given(st.tuples(chances, chances, chances), st.tuples(factors, factors, factors), chances)
def test_whatever_numbers_come_the_answer_is_readable(ends, ratio, share):
    low, mid, high = sorted(ends)
    nan = any(map(math.isnan, ratio))
    first, middle, last = (math.nan,) * 3 if nan else sorted(ratio)
    verdict = "lower" if last < 1 else "higher" if first > 1 else "not told apart"
    options = tuple(
        replace(
            o,
            failure_probability=replace(
                o.failure_probability, estimate=mid, low=low, high=high,
                band_p05=low, band_p50=mid, band_p95=high,
            ),
        )
        for o in ALL["three"].options
    )  # fmt: skip
    pairs = tuple(
        replace(p, ratio=Ratio(middle, first, last, verdict), better=Chance(share, 0.0, 1.0))
        for p in ALL["three"].pairs
    )
    result = replace(ALL["three"], options=options, pairs=pairs)
    for shown in (text(result, width=80, verbose=1), compare_page.html(result)):
        assert not re.search(r"\b(?:nan|inf)\b", shown)
    json.loads(json_text(result))
