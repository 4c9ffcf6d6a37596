import csv
import io
import math
import runpy
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk.report import tables

INVENTED = runpy.run_path(str(Path(__file__).with_name("invented.py")))["invented"]
CURVES = {"failure.csv", "strength.csv", "proof.csv"}


def read(text):
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    return rows[0], rows[1:]


def column(text, head):
    heads, rows = read(text)
    return [row[heads.index(head)] for row in rows]


def test_every_table_that_has_rows_is_there(assessment):
    assert list(tables.csv_texts(assessment)) == list(tables.NAMES)


def test_without_a_load_only_what_there_is(without_load):
    assert list(tables.csv_texts(without_load)) == [
        "strength.csv", "modes.csv", "pulls.csv", "assumptions.csv",
    ]  # fmt: skip


def test_all_rows_are_as_long_as_their_head_and_heads_differ(assessment):
    for text in tables.csv_texts(assessment).values():
        heads, rows = read(text)
        assert len(set(heads)) == len(heads)
        assert rows
        assert all(len(row) == len(heads) for row in rows)


def test_every_head_of_a_number_names_its_unit(assessment):
    for text in tables.csv_texts(assessment).values():
        heads, rows = read(text)
        for head, cell in zip(heads, rows[0], strict=True):
            try:
                float(cell)
            except ValueError:
                continue
            assert head.endswith(("[N]", "[-]")), head


def test_curves_come_back_with_every_digit(assessment):
    made, data = tables.csv_texts(assessment), assessment.figures
    strength = column(made["strength.csv"], "chance new rod weaker [-]")
    assert [float(cell) for cell in strength] == list(data.strength_new.value)
    assert [float(cell) for cell in column(made["strength.csv"], "load [N]")] == list(
        data.strength_new.load
    )
    after = column(made["proof.csv"], "failure probability after high [-]")
    assert [float(cell) for cell in after] == list(data.fail_after_pull.high)
    weak = column(made["proof.csv"], "share of weak rods broken [-]")
    assert [float(cell) for cell in weak] == list(data.reject_weak.value)


def test_rows_are_those_of_the_result(assessment):
    made = tables.csv_texts(assessment)
    assert column(made["modes.csv"], "way to fail") == [m.name for m in assessment.modes]
    assert column(made["ranking.csv"], "key") == [e.variable for e in assessment.ranking]
    assert float(column(made["ranking.csv"], "factor [-]")[0]) == assessment.ranking[0].value
    assert column(made["pulls.csv"], "pull") == ["Weight of the maker", "Crane scale"]
    assert column(made["pulls.csv"], "load [N]") == ["735.5", "2500.0"]
    assert column(made["assumptions.csv"], "mark")[3] == "from memory"
    assert column(made["assumptions.csv"], "value")[2] == "toughened epoxy <two part>"


def test_what_is_not_known_is_empty(invented, without_load, assessment):
    assert column(tables.csv_texts(without_load)["pulls.csv"], "pull needed [N]") == ["", ""]
    assert set(column(tables.csv_texts(without_load)["strength.csv"], "chance load comes [-]")) == {
        ""
    }
    odd = replace(assessment.modes[0], probability=math.nan, share=math.inf)
    _, rows = read(tables.csv_texts(invented(modes=(odd,)))["modes.csv"])
    assert rows == [[odd.name, "", ""]]


def test_curves_over_different_loads_share_no_row_and_lose_none(invented, assessment):
    data = assessment.figures
    short = replace(data.reject, load=(150.5,), value=(0.25,), low=(0.2,), high=(0.3,))
    text = tables.csv_texts(invented(figures=replace(data, reject=short)))["proof.csv"]
    heads, rows = read(text)
    assert len(rows) == len(data.fail_after_pull.load) + 1
    assert rows[0][0] == "150.5"
    assert rows[0][heads.index("share of rods broken [-]")] == "0.25"
    assert rows[0][heads.index("failure probability after [-]")] == ""


@pytest.mark.parametrize(
    "evil",
    ["=1+1", "+1", "-2+3+cmd|' /C calc'!A0", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("x","y")'],
)
def test_a_text_that_begins_a_formula_gets_an_apostrophe(invented, assessment, evil):
    """The first letters that the OWASP page on CSV injection names."""
    odd = invented(
        modes=(replace(assessment.modes[0], name=evil),),
        ranking=(replace(assessment.ranking[0], name=evil, variable=evil, measure=evil),),
        assumptions=(replace(assessment.assumptions[0], key=evil, value=evil, source=evil),),
        proof=replace(assessment.proof, pulls=(replace(assessment.proof.pulls[0], label=evil),)),
    )
    for name in set(tables.NAMES) - CURVES:
        _, rows = read(tables.csv_texts(odd)[name])
        assert "'" + evil in rows[0]
        assert not any(cell.startswith(tables.FORMULA) for row in rows for cell in row)


def test_lines_end_as_rfc_4180_asks(assessment):
    for text in tables.csv_texts(assessment).values():
        assert text.endswith("\r\n")
        assert text.count("\n") == text.count("\r\n") == len(read(text)[1]) + 1


def test_a_negative_number_stays_a_number(invented, assessment):
    odd = replace(assessment.ranking[0], value=-0.5)
    text = tables.csv_texts(invented(ranking=(odd,)))["ranking.csv"]
    assert column(text, "factor [-]") == ["-0.5"]


@settings(max_examples=60, deadline=None)
@given(words=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")))
def test_any_text_comes_back(words):
    odd = INVENTED(assumptions=(replace(INVENTED().assumptions[0], source=words),))
    (back,) = column(tables.csv_texts(odd)["assumptions.csv"], "source")
    assert back.removeprefix("'") == words.removeprefix("'")
    assert back == words or words.startswith(tables.FORMULA)


@settings(max_examples=60, deadline=None)
@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_comes_back_whole(value):
    odd = INVENTED(modes=(replace(INVENTED().modes[0], probability=value),))
    (back,) = column(tables.csv_texts(odd)["modes.csv"], "probability [-]")
    assert float(back) == value


def test_the_band_stands_with_its_intervals(invented, assessment):
    chance = replace(assessment.failure_probability, band_p05_interval=(3e-5, 8e-5))
    goal = replace(assessment.target, chance_met_interval=(0.09, 0.15))
    made = invented(failure_probability=chance, target=goal)
    _, rows = read(tables.csv_texts(made)["failure.csv"])
    told = {row[0]: row[1:] for row in rows}
    assert told["band, 5 % of the states below"] == [repr(5.1e-5), repr(3e-5), repr(8e-5)]
    assert told["band, half of the states below"] == [repr(2.4e-4), "", ""]
    assert told["chance that the target is met"] == ["0.12", "0.09", "0.15"]
