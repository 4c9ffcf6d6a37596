"""The shop card: loads in three units, the lever's arithmetic, one sheet, no false instruction."""

import csv
import io
import math
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.report import card as sheet
from jointrisk.report import card_text, proof_page
from jointrisk.scenario.types import Rig

UNITS = pint.UnitRegistry()
NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")


def force(text):
    """Read "4,250 N", "433 kgf" or "954 lbf" by pint, in N."""
    number, unit = text.split()
    unit = {"N": "newton", "kgf": "kilogram_force", "lbf": "pound_force"}[unit]
    return (float(number.replace(",", "")) * UNITS(unit)).to("newton").magnitude


def words(page):
    class Reader(HTMLParser):
        def __init__(self):
            super().__init__()
            self.kept, self.skip = [], False

        def handle_starttag(self, tag, attrs):
            self.skip = tag == "style"

        def handle_endtag(self, tag):
            self.skip = False

        def handle_data(self, data):
            if not self.skip:
                self.kept.append(data)

    reader = Reader()
    reader.feed(page)
    return " ".join("".join(reader.kept).split())


@pytest.fixture(scope="module")
def both(pulled):
    """Return the card of the invented answer as text, and the words of its page."""
    result = pulled.invented_proof()
    return card_text.text(result), words(proof_page.card_html(result))


def test_the_load_in_three_units_is_rounded_up_and_no_more_than_a_percent(pulled):
    card = sheet.card(pulled.invented_proof())
    assert card.load == ("2,150 N", "219 kgf", "482 lbf")
    for text in card.load:
        assert 2143.0 <= force(text) <= 1.01 * 2143.0
    for text in card.upper:
        assert 0.99 * 3478.0 <= force(text) <= 3478.0
    assert "3 figures" in card.rounding


@settings(max_examples=200, deadline=None)
@given(low=st.floats(1.0, 1e6), wide=st.floats(1.00001, 3.0))
def test_the_load_on_the_card_is_inside_the_window_in_every_unit(pulled, low, wide):
    high = low * wide
    result = pulled.invented_proof(
        load_newton=low, windows=((low, high),), best=pulled.effect(load=low)
    )
    card = sheet.card(result)
    for load, upper in zip(card.load, card.upper, strict=True):
        assert low * (1 - 1e-9) <= force(load) <= force(upper) <= high * (1 + 1e-9)


def test_the_lever_is_solved(pulled, both):
    ratio = pulled.invented_proof().rig.lever_ratio
    newton = 2143.0 / ratio
    kilograms = (newton * UNITS.newton).to("kilogram_force").magnitude
    pounds = (newton * UNITS.newton).to("pound_force").magnitude
    for text in both:
        found = re.search(
            r"load / 4 = ([\d.]+) N: hang ([\d.]+) kg or ([\d.]+) lb", " ".join(text.split())
        )
        for told, exact in zip(found.groups(), (newton, kilograms, pounds), strict=True):
            assert exact <= float(told) <= 1.01 * exact


@pytest.mark.parametrize(
    ("rig", "parts"),
    [
        (Rig("lever"), ("long arm", "______ x ______")),
        (Rig("dead weight"), ("Hang 219 kg or 482 lb", "one litre")),
        (Rig("crane scale"), ("gauge itself",)),
        (Rig("hydraulic jack, pressure read"), ("area of the piston",)),
        (Rig("load cell", use_from=3000.0), ("good from 3,000 N up only",)),
        (Rig("load cell", use_from=2000.0), ("gauge itself",)),
        (Rig(), ("gauge itself",)),
    ],
)
def test_each_rig_says_how(pulled, rig, parts):
    said = " ".join(sheet.card(pulled.invented_proof(rig=rig)).rig)
    for part in parts:
        assert part in said
    assert ("up only" in said) == (rig.use_from == 3000.0)


@pytest.mark.parametrize(
    ("seconds", "said"), [(60.0, "1 min"), (30.0, "30 s"), (90.0, "90 s"), (600.0, "10 min")]
)
def test_the_hold_time(pulled, seconds, said):
    result = pulled.invented_proof(rig=Rig(hold_time=seconds))
    assert sheet.card(result).hold == said
    assert f"Hold for {said}." in card_text.text(result)


def test_every_number_on_the_card_is_in_the_result(pulled, both):
    """Loads turned by pint and rounded; chances as 1 in N; counts; nothing else."""
    result = pulled.invented_proof()
    best, ratio = result.best, result.rig.lever_ratio
    allowed = {"1", "3", "4", "12"}  # 1 in N, figures, lever ratio, rods
    allowed |= {str(n) for n in range(1, len(sheet.card(result).steps) + 1)}
    for newton in (2143.0, 3478.0, 2143.0 / ratio):
        for unit in ("newton", "kilogram_force", "pound_force"):
            exact = (newton * UNITS.newton).to(unit).magnitude
            step = 10.0 ** (math.floor(math.log10(exact)) - 2)
            for steps in (math.floor(exact / step), math.ceil(exact / step)):
                allowed.add(f"{steps * step:,.3f}".rstrip("0").rstrip("."))
    allowed |= {"21,000", "3,000", "16,000"}  # 1/4.7e-5, 1/3.31e-4, 1/6.1e-5 to two figures
    allowed |= {"2,080", "2,210", "21"}  # ends of the load rounded outward, degrees
    allowed |= {"0.049", "0.41", "100", "95", "5", "0.1.0", "20260101"}
    assert (best.spoiled_in_run, best.spoiled_per_100, best.all_hold) == (0.0492, 0.41, 0.951)
    for text in both:
        body = text.split("jointrisk 0.1.0")[0]
        assert set(NUMBER.findall(body)) <= allowed


def test_what_it_says_of_people_comes_first(both):
    for text in both:
        flat = " ".join(text.split())
        lower = flat.lower()
        for part in ("guard", "sling", "nobody under the load", "hang a person", "licensed"):
            assert 0 <= lower.index(part) < lower.index("pull each rod to"), part
        assert "safe" not in lower


def test_both_forms_say_the_same(pulled, both):
    card = sheet.card(pulled.invented_proof())
    texts = (*sheet.CAUTIONS, *card.rig, *card.steps, *sheet.WATCH, *sheet.REFUSE, *card.broken)
    plain, page = (" ".join(text.split()) for text in both)
    for sentence in (*texts, *card.left, *card.load, *card.upper, card.origin):
        assert sentence in plain
        assert sentence in page


@pytest.mark.parametrize("rods", [1, 2, 12, 33, 34, 500])
def test_rows_are_rods_and_spare_ones(pulled, rods):
    spoiled = 0.004 * rods
    result = pulled.invented_proof(rods=rods, best=pulled.effect(spoiled_in_run=spoiled))
    card = sheet.card(result)
    assert card.rows + card.more_rows == rods + max(2, math.ceil(spoiled))
    assert card.rows <= sheet.MOST_ROWS
    page = proof_page.card_html(result)
    assert page.count("<tr>") - page.count("<thead>") == card.rows
    assert card_text.text(result).count("\n____________  __________") == card.rows
    assert ("more rods" in page) == (card.more_rows > 0)


@pytest.mark.parametrize("verdict", ["empty", "unreachable", "not needed", "not judged"])
def test_no_pull_is_no_instruction(pulled, verdict):
    made = pulled.not_judged() if verdict == "not judged" else pulled.no_pull(verdict)
    for text in (card_text.text(made), words(proof_page.card_html(made))):
        assert "no pull on this card" in text.lower()
        assert made.reason.rstrip(".") in " ".join(text.split()).replace(" - ", " ")
        for part in ("Pull each rod to", "PULL EACH ROD", "Hold for", "held?", " kgf"):
            assert part not in text


def test_the_card_without_a_pull_says_what_would_open_one(pulled):
    text = " ".join(card_text.text(pulled.no_pull()).split())
    assert "Half the life: enough" in text
    assert "stronger rig" not in text


def test_the_text_fits_a_narrow_printer(both):
    assert max(len(line) for line in both[0].splitlines()) <= card_text.WIDTH


def test_a_title_cannot_write_on_the_page(pulled):
    page = proof_page.card_html(pulled.invented_proof(title="<b>rod</b> & co"))
    assert "&lt;b&gt;rod&lt;/b&gt; &amp; co" in page


def test_the_log_has_the_columns_and_no_row():
    assert list(csv.reader(io.StringIO(sheet.log_text()))) == [
        ["part", "batch", "load [N]", "held", "date", "gap [mm]", "overlap [mm]", "note"]
    ]


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def sheets(page, folder):
    """Return how many sheets a browser prints."""
    source, target = folder / "card.html", folder / "card.pdf"
    source.write_text(page, encoding="utf-8")
    subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={target}", source.as_uri()],
        check=True, capture_output=True, timeout=60, env={**os.environ, "HOME": str(folder)},
    )  # fmt: skip
    return len(re.findall(rb"/Type\s*/Page\b", target.read_bytes()))


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium to print with")
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_card_is_one_sheet(pulled, tmp_path, paper):
    """At its fullest: a long title, rows that do not fit, a lever without a ratio."""
    best = pulled.effect(spoiled_in_run=4.5)
    result = pulled.invented_proof(
        title="Rods of the long machine, " * 5, rods=60, best=best, rig=Rig("lever", use_from=9e3)
    )
    page = proof_page.card_html(result)
    assert page.count("@page { margin") == 1
    assert sheets(page.replace("@page { margin", f"@page {{ size: {paper}; margin"), tmp_path) == 1


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium to print with")
def test_the_count_of_sheets_can_fail(pulled, tmp_path):
    page = proof_page.card_html(pulled.invented_proof())
    assert sheets(page.replace("</main>", "<p>more</p>" * 200 + "</main>"), tmp_path) > 1
