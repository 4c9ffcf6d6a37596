"""Broken coupons at the file boundary: columns, commas, held ones, every fault at once."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jointrisk.errors import ScenarioError
from jointrisk.scenario.broken import given_coupons, read_coupons


@pytest.fixture
def table(tmp_path):
    def write(text):
        path = tmp_path / "coupons.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return write


def values(found):
    return [c.value for c in found.coupons]


def lines_of(caught):
    return [problem.line("") for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "dimension", "wanted"),
    [
        ("strength [MPa]\n14.2\n15\n", "stress", [14.2, 15.0]),
        ("n;strength (MPa);who\n1;14,2;a\n2;15,05;b\n", "stress", [14.2, 15.05]),
        ("sep=;\nload [kN]\n1.234,5\n2,25\n", "force", [1234500, 2250]),
        ("n\tload / N\n1\t900\n2\t1100\n", "force", [900.0, 1100.0]),
        ("load in lbf\n100\n", "force", [444.82216152605]),
        ("shear strength MPa\n14\n", "stress", [14.0]),
        ("probe,what\nA,14.2 MPa\nB,2000 psi\n", "stress", [14.2, 13.789514586]),
        ("# invented\n\nstrength [MPa]\n14.2\n,\n15\n", "stress", [14.2, 15.0]),
        ('strength [MPa],note\n"14,2",x\n', "stress", [14.2]),
        ('load [N]\n"1,234.5"\n', "force", [1234.5]),
        ("\ufeffload [N]\r\n900\r\n", "force", [900.0]),
        ("gap [mm],load [N]\n0.2,900\n", "force", [900.0]),
    ],
)
def test_a_file_is_read_as_spreadsheets_write_it(table, text, dimension, wanted):
    found = read_coupons(table(text))
    assert found.dimension == dimension
    assert values(found) == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("head", "cells", "wanted"),
    [
        ("held", ("yes", "", "no", "x"), [True, False, False, True]),
        ("broke", ("yes", "no", "1", "0"), [False, True, False, True]),
        ("result", ("held", "broke", "Held", "failed"), [True, False, True, False]),
    ],
)
def test_held_ones(table, head, cells, wanted):
    rows = "".join(f"14.{i},{cell}\n" for i, cell in enumerate(cells))
    found = read_coupons(table(f"strength [MPa],{head}\n{rows}"))
    assert [c.held for c in found.coupons] == wanted


@pytest.mark.parametrize("head", ["batch", "Group", "mix", "series", "lot"])
def test_batches_notes_rows_and_what_is_not_read(table, head):
    found = read_coupons(table(f"id,strength [MPa],{head},note\n7,14,A,bare\n\n8,15,B,\n"))
    assert [(c.row, c.batch, c.note) for c in found.coupons] == [(2, "A", "bare"), (4, "B", "")]
    assert found.unread == ("id",)
    assert len(found.sha256) == 64


def test_a_column_is_asked_for_by_its_head_with_or_without_the_unit(table):
    path = table("load [kN],strength [MPa]\n4,14\n")
    assert values(read_coupons(path, column="Strength")) == [14.0]
    assert values(read_coupons(path, column="load [kN]")) == [4000.0]
    with pytest.raises(ScenarioError) as caught:
        read_coupons(path)
    (line,) = lines_of(caught)
    assert '"load [kN]", "strength [MPa]"' in line
    assert "--column" in line
    with pytest.raises(ScenarioError) as caught:
        read_coupons(path, column="strenght")
    assert lines_of(caught) == ['column: no such column (got "strenght"; did you mean "strength"?)']


def test_every_fault_is_told_at_once_with_its_line(table):
    text = (
        "strength [MPa];held;batch\n14,2;;A\nfourteen;maybe;A\n;;A\n-3;;\n9 kg;;B\n"
        "1,234;;B\n12;broke below;B\n"
    )
    with pytest.raises(ScenarioError) as caught:
        read_coupons(table(text.replace("14,2", "14.2")))
    told = lines_of(caught)
    assert [line.split(":")[0] for line in told] == [
        *("line 3, held", "line 3, strength [MPa]", "line 4, strength [MPa]"),
        *("line 5, strength [MPa]", "line 5, batch", "line 6, strength [MPa]"),
        *("line 7, strength [MPa]", "line 8, held"),
    ]
    for part in (
        '"maybe"',
        '"fourteen',
        "is empty",
        '"-3"',
        "mass",
        "1.234 or 1234",
        "broke below",
    ):
        assert any(part in line for line in told), part


def test_one_decimal_comma_decides_for_the_column(table):
    assert values(read_coupons(table("load [kN];n\n1,234;a\n1,5;b\n"))) == [1234.0, 1500.0]
    assert values(read_coupons(table("load [kN];n\n0,234;a\n1,512;b\n"))) == [234.0, 1512.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds nothing"),
        ("strength [MPa]\n", "no value below its header"),
        ("gap [mm],who\n0.2,a\n", 'no column of strengths or loads (got "gap [mm]", "who"'),
        ("strength\n14\n", "has no unit"),
        ("strength [mm]\n14\n", "has a unit of length"),
        (b"strength [MPa]\n\xff\n", "UTF-8"),
    ],
)
def test_files_that_cannot_be_used(table, text, said):
    with pytest.raises(ScenarioError, match=r"coupons\.csv") as caught:
        read_coupons(table(text))
    assert said in str(caught.value)


def test_no_file_and_a_folder(tmp_path):
    with pytest.raises(ScenarioError, match="no such file"):
        read_coupons(tmp_path / "absent.csv")
    with pytest.raises(ScenarioError, match="is a folder, not a table of coupons"):
        read_coupons(tmp_path)


def test_values_of_a_list():
    found = given_coupons(["14 MPa", "15 N/mm2"], batches=["a", "b"], held=[False, True])
    assert values(found) == [14.0, 15.0]
    assert [(c.row, c.batch, c.held) for c in found.coupons] == [(1, "a", False), (2, "b", True)]
    assert values(given_coupons(np.array([1.5, 2.0]), unit="kN")) == [1500.0, 2000.0]


@pytest.mark.parametrize(
    ("given_values", "more", "said"),
    [
        ([], {}, "holds no value"),
        ([14.0], {}, "has no unit"),
        ([14.0], {"unit": "mm"}, '"mm"'),
        ([14.0, -1.0], {"unit": "MPa"}, "value 2: is not above 0"),
        ([14.0], {"unit": "MPa", "held": [True, False]}, "held: is not as long"),
        (["14 MPa", "9 N"], {}, "value 2: has a unit of force"),
        ([True], {"unit": "MPa"}, "value 1"),
        ([float("nan")], {"unit": "MPa"}, "value 1"),
    ],
)
def test_lists_that_cannot_be_used(given_values, more, said):
    with pytest.raises(ScenarioError) as caught:
        given_coupons(given_values, **more)
    assert said in str(caught.value)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=st.text(alphabet='strengh [MPa]kN;,.\t\n"#0123456789-xheldbo', max_size=80))
def test_any_text_is_read_or_refused_in_lines(tmp_path, text):
    path = tmp_path / "any.csv"
    path.write_text(f"strength [MPa];held\n{text}", encoding="utf-8")
    told, found = "", ()
    try:
        found = read_coupons(path).coupons
    except ScenarioError as problem:
        told = str(problem)
    assert all(str(path) in line for line in told.splitlines())
    assert all(c.value > 0.0 for c in found)
    assert found or told
