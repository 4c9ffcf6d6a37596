import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.report.plain import bold, records, table, wrap

words = st.lists(st.from_regex(r"[a-zA-Z]{1,9}", fullmatch=True), min_size=1, max_size=30)
cells = st.from_regex(r"[a-z]{1,8}( [a-z]{1,8}){0,3}", fullmatch=True)


@settings(max_examples=60, deadline=None)
@given(words, st.integers(30, 100))
def test_wrapping_keeps_every_word_in_order_and_the_width(parts, width):
    text = wrap(" ".join(parts), width, "  ", "    ")
    assert text.split() == parts
    lines = text.splitlines()
    assert all(len(line) <= width for line in lines)
    assert lines[0].startswith("  ")
    assert all(line.startswith("    ") for line in lines[1:])


@given(words)
def test_width_nought_never_breaks(parts):
    assert "\n" not in wrap(" ".join(parts), 0)


@pytest.mark.parametrize("unit", ["N", "kN", "%", "kgf", "lbf", "mm", "MPa", "million"])
def test_no_line_starts_with_a_unit(unit):
    text = "word " * 3 + f"12 {unit} " + "word " * 3
    for width in range(20, 40):
        assert not re.search(rf"\n\s*{re.escape(unit)}\b", wrap(text, width))
        assert wrap(text, width).split() == text.split()


def test_a_path_longer_than_the_line_stays_whole():
    path = "folder/" * 12
    assert path in wrap(f"see {path} there", 30).splitlines()


def test_one_in_many_stays_together():
    for width in range(24, 60):
        assert not re.search(
            r"(1|1 in)\n", wrap("it is about 1 in 3,000 at most or 1 in 20", width)
        )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=6), st.integers(0, 90))
def test_a_table_keeps_every_cell(rows, width):
    shown = " ".join(table(("one", "two", "three"), rows, width).split())
    for row in rows:
        for cell in row:
            assert cell in shown


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=6))
def test_columns_start_at_one_place(rows):
    header = ("one", "two", "three")
    lines = table(header, rows, 0).splitlines()
    first = max(len(row[0]) for row in [header, *rows]) + 2
    for line, row in zip(lines[1:], rows, strict=True):
        assert line.startswith(row[0])
        assert line[first:].startswith(row[1])


def test_right_set_columns_end_at_one_place():
    lines = table(("share", "mode"), [("5 %", "a"), ("100 %", "b")], 0, "r").splitlines()
    assert lines == ["share  mode", "  5 %  a", "100 %  b"]


def test_a_word_too_long_for_its_column_turns_the_table_into_paragraphs():
    rows = [("x", "the name (a.key.that.cannot.be.broken.at.all)")]
    shown = table(("change", "of"), rows, 40)
    assert shown == "x: of the name\n  (a.key.that.cannot.be.broken.at.all)"


def test_records_leave_out_empty_cells():
    assert records(("a", "b", "c"), [("x", "", "y")], 0) == "x: c y"


def test_bold():
    assert bold("word", color=False) == "word"
    assert bold("word", color=True) == "\x1b[1mword\x1b[0m"
