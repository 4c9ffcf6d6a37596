"""A log of pulls at the file boundary: what makers write, units, every fault at once."""

import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import guide
from jointrisk.errors import ScenarioError
from jointrisk.report.card import LOG_COLUMNS
from jointrisk.scenario.pull_log import HEADER, Pull, blank, read_pulls
from jointrisk.scenario.pull_words import COLUMNS, head, outcome

KGF = 9.80665
"""[N], exact by definition (CGPM 1901)."""
LBF = 4.4482216152605
"""[N], exact by definition (0.45359237 kg under standard gravity)."""


def problems_of(log):
    with pytest.raises(ScenarioError) as caught:
        read_pulls(log)
    assert caught.value.exit_status == 3
    return {problem.key: problem.line("") for problem in caught.value.problems}


def only(log):
    (pull,) = read_pulls(log)
    return pull


def kinds(log):
    return [(pull.kind, pull.load) for pull in read_pulls(log)]


# What a row becomes ------------------------------------------------------------------------------


def test_the_blank_log_of_proof_filled_in_is_read():
    head = ",".join(LOG_COLUMNS)
    found = read_pulls(f"{head}\n1,A,750,yes,2026-05-02,0.15,14.1,fine\n2,A,750,no,,,,\n")
    assert found == (
        Pull("1", "A", 750.0, True, "held", 2, 0.15, 14.1, "2026-05-02", "fine"),
        Pull("2", "A", 750.0, False, "broke below", 3),
    )


def test_the_blank_log_says_how_and_can_be_filled_in():
    assert blank().splitlines()[1] == HEADER
    found = read_pulls(f"{blank()}1,A,900,broke,812,,,,\n2,A,900,held,,,,,\n3,A,900,broke below\n")
    assert [(p.kind, p.load, p.row) for p in found] == [
        ("broke at", 812.0, 3), ("held", 900.0, 4), ("broke below", 900.0, 5),
    ]  # fmt: skip
    assert "holds no pull below its header" in problems_of(blank())[""]


@pytest.mark.parametrize(
    ("result", "expected"),
    [
        ("held", ("held", 750.0)),
        ("OK", ("held", 750.0)),
        (" Passed ", ("held", 750.0)),
        ("not broken", ("held", 750.0)),
        ("broke", ("broke below", 750.0)),
        ("FAILED.", ("broke below", 750.0)),
        ("let go", ("broke below", 750.0)),
        ("broke on the way", ("broke below", 750.0)),
        ("broke below", ("broke below", 750.0)),
        ("broke at", ("broke at", 750.0)),
        ("Broke at 700 N", ("broke at", 700.0)),
        ("broke at 700", ("broke at", 700.0)),
        ("broke at 70 kgf", ("broke at", pytest.approx(70 * KGF))),
    ],
)
def test_words_of_makers(result, expected):
    assert kinds(f"part,load [N],result\n1,750,{result}\n") == [expected]


@pytest.mark.parametrize(
    ("head", "yes", "no"),
    [("held", "held", "broke below"), ("Held?", "held", "broke below"),
     ("passed", "held", "broke below"), ("broke", "broke below", "held"),
     ("Broken", "broke below", "held"), ("failed", "broke below", "held")],
)  # fmt: skip
def test_yes_and_no_are_read_by_their_head(head, yes, no):
    found = read_pulls(f"part,load [N],{head}\n1,750,yes\n2,750,N\n3,750,broke\n")
    assert [pull.kind for pull in found] == [yes, no, "broke below"]


def test_yes_under_a_head_that_asks_nothing_is_refused():
    said = problems_of("part,load [N],result\n1,750,yes\n")["row 2, column result"]
    assert 'got "yes"' in said
    assert 'under a head "held" or "broke"' in said


def test_a_reading_at_break_beats_the_load_asked_for():
    head = "part,load [N],result,broke_at\n"
    assert kinds(f"{head}1,900,broke,812\n2,900,broke,830 N\n3,,broke,85 kgf\n") == [
        ("broke at", 812.0), ("broke at", 830.0), ("broke at", pytest.approx(85 * KGF)),
    ]  # fmt: skip
    assert kinds("part,broke at [N],result\n1,812,broke\n") == [("broke at", 812.0)]


def test_a_part_pulled_again_is_passed_on_in_order():
    found = read_pulls("part,load [N],result\n1,500,held\n1,750,held\n1,900,broke\n")
    assert [(pull.part, pull.load, pull.held) for pull in found] == [
        ("1", 500.0, True), ("1", 750.0, True), ("1", 900.0, False),
    ]  # fmt: skip


def test_capitals_make_no_other_part():
    found = read_pulls("part,batch,load [N],result\nA1,May,500,held\na1,may,750,held\n")
    assert [(pull.part, pull.batch) for pull in found] == [("A1", "May")] * 2


def test_a_part_that_is_not_pulled_yet_is_passed_over():
    found = read_pulls("part,batch,load [N],result\n1,A,750,held\n2,A,,\n3,A,-,-\n")
    assert [pull.part for pull in found] == ["1"]


def test_one_batch_where_none_is_named():
    assert only("part,load [N],result\n1,750,held\n").batch == ""
    assert only("part,batch,load [N],result\n1,,750,held\n").batch == ""


# Units and numbers -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "cell", "newton"),
    [
        ("load [N]", "750", 750.0),
        ("Load (kgf)", "75", 75 * KGF),
        ("LOAD / lbf", "165", 165 * LBF),
        ("load in kN", ".75", 750.0),
        ("load N", "750", 750.0),
        ("pull, kgf", "75", 75 * KGF),
        ("load", "750 N", 750.0),
        ("load [N]", "75 kgf", 75 * KGF),
        ("Proof  Load [N]", "7.5e2", 750.0),
        ("pulled_to [N]", "750", 750.0),
    ],
)
def test_units_stand_in_the_head_or_in_the_cell(head, cell, newton):
    quoted = f'"{head}"'
    assert only(f"part,{quoted},result\n1,{cell},held\n").load == pytest.approx(newton)


def test_lengths_have_units_too():
    found = only("part,load [N],result,gap [thou],overlap\n1,750,held,6,1.4 cm\n")
    assert (found.gap, found.overlap) == (pytest.approx(0.1524), pytest.approx(14.0))


@pytest.mark.parametrize(
    ("cell", "newton"),
    [("750,5", 750.5), ("0,125 kN", 125.0), ("1.250,5", 1250.5), ("1,250.5", 1250.5),
     ("12,5 kgf", 12.5 * KGF), ("1250", 1250.0), ("1.250.000,5", 1250000.5)],
)  # fmt: skip
def test_decimal_commas(cell, newton):
    assert only(f"part;load [N];held\n1;{cell};yes\n").load == pytest.approx(newton)


@pytest.mark.parametrize("cell", ["1,250", "12,500 N", "1,250,000"])
def test_a_comma_before_three_digits_is_not_guessed(cell):
    said = problems_of(f"part;load [N];held\n1;{cell};yes\n")["row 2, column load"]
    assert f'can be read in two ways (got "{cell}"' in said
    assert cell.split()[0].replace(",", "") in said


# The sheet ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "part,load [N],held\n1,750,yes\n2,800,no\n",
        "# invented\n\npart,load [N],held\n\n1,750,yes\n# a note, with commas\n2,800,no\n\n",
        '"# a spreadsheet put it in quotes, and commas behind it",,\npart,load [N],held\n'
        "1,750,yes\n2,800,no\n",
        "part;load [N];held\n1;750;yes\n2;800;no\n",
        "sep=;\npart;load [N];held\n1;750;yes\n2;800;no\n",
        "\ufeffPART\t load  [N]\tHeld \n1\t750\tyes\n2\t800\tno\n",
        "part,load [N],held\r\n1,750,yes\r\n2,800,no\r\n",
        "part,load [N],held\r1,750,yes\r2,800,no\r\n",
        "who,part,load [N],held,,\nme,1,750,yes,,\nyou,2,800,no,,\n,,,,,\n",
        'part,load [N],held,note\n1,750,yes,"two\nlines, one cell"\n2,800,no,\n',
    ],
)
def test_sheets_that_are_read(tmp_path, text):
    expected = [("1", 750.0, True), ("2", 800.0, False)]
    assert [(p.part, p.load, p.held) for p in read_pulls(text)] == expected
    file = tmp_path / "pulls.csv"
    file.write_bytes(text.encode("utf-8"))
    assert [(p.part, p.load, p.held) for p in read_pulls(file)] == expected
    assert read_pulls(str(file)) == read_pulls(file)
    file.write_bytes(text.removeprefix("\ufeff").encode("utf-16"))
    assert [(p.part, p.load, p.held) for p in read_pulls(file)] == expected


def test_rows_are_lines_of_the_file():
    found = read_pulls('# a\n\npart,load [N],held,note\n1,750,yes,"a\nb"\n\n# c\n2,750,no,\n')
    assert [pull.row for pull in found] == [4, 8]


def test_a_part_may_be_named_with_a_hash():
    found = read_pulls("part,load [N],held\n#1,750,yes\n# 2,750,yes\n#3,750,no\n#\n")
    assert [pull.part for pull in found] == ["#1", "#3"]


# Faults ------------------------------------------------------------------------------------------


def test_every_fault_is_told_at_once():
    found = problems_of(
        "part;batch;load;held;gap [mm]\n"
        "1;A;750;yes;\n"
        ";A;750 N;yes;\n"
        "3;;750 N;yes;\n"
        "4;A;75 kg;yes;\n"
        "5;A;-3 N;yes;\n"
        "6;A;750 N;hold it;\n"
        "7;A;750 N;;\n"
        "8;A;;yes;\n"
        "9;A;750 N;yes;0.2 N\n"
        "10;A;750 N;yes;0.2;x\n"
        "11;A;seven;perhaps;0.2\n"
    )
    assert found["row 2, column load"].endswith('has no unit (got 750; write "750 N")')
    assert "is empty" in found["row 3, column part"]
    assert "other rows name a batch" in found["row 4, column batch"]
    assert 'write "75 kgf"' in found["row 5, column load"]
    assert 'got "-3 N"; expected a force above 0' in found["row 6, column load"]
    assert 'got "hold it"; did you mean "held it"?' in found["row 7, column held"]
    assert 'is empty (expected "held", "broke"' in found["row 8, column held"]
    assert "is empty (expected a force" in found["row 9, column load"]
    assert 'has a unit of force: "N"' in found["row 10, column gap"]
    assert "got 6 cells; expected 5 at most" in found["row 11"]
    assert "does not start with a number" in found["row 12, column load"]
    assert 'got "perhaps"' in found["row 12, column held"]
    assert len(found) == 12


@pytest.mark.parametrize(
    ("row", "key", "parts"),
    [
        ("1,750,held,700", "row 2, column broke at", ("got 700 N", "the part held")),
        ("1,750,broke below,700", "row 2, column broke at", ("got 700 N", "not read")),
        ("1,750,broke,7000", "row 2, column broke at", ("(750 N)", "got 7000 N")),
        ("1,,broke,", "row 2, column load", ("is empty",)),
    ],
)
def test_readings_at_odds_with_the_result(row, key, parts):
    said = problems_of(f"part,load [N],result,broke at [N]\n{row}\n")[key]
    assert all(part in said for part in parts)


def test_a_part_cannot_be_pulled_after_it_broke():
    head = "part,batch,load [N],result\n"
    said = problems_of(f"{head}a,A,750,broke\nA,A,750,held\n")["row 3, column part"]
    assert "after it broke (row 2)" in said
    assert len(read_pulls(f"{head}a,A,750,broke\na,B,750,held\n")) == 2


@pytest.mark.parametrize(
    ("head", "parts"),
    [
        ("part,laod,result", ('"laod"', 'did you mean "load"?')),
        ("part,load [N],rseult", ('"rseult"', 'did you mean "result"?')),
        ("part,load [N],result,ovrelap [mm]", ('did you mean "overlap"?',)),
        ("part,load [N]", ("has no column result", '"part", "load [N]"', "outcome")),
        ("load [N],held", ("has no column part",)),
        ("part,held", ("has no column load", '"load [N]"')),
        ("part,load [N],result,held", ('says the same as the column "result"',)),
        ("part,load [kg],result", ('"kg"', "is a mass", "kgf")),
        ("part,load [N],result,gap [bar]", ('"bar"', "length")),
    ],
)
def test_heads_that_cannot_be_used(head, parts):
    said = " ".join(problems_of(f"{head}\n1,750,held\n").values())
    assert all(part in said for part in parts)


def test_columns_of_the_makers_own_are_left_alone():
    assert only("operator,part,load [N],result,rate\nme,1,750,held,slow\n").part == "1"


@pytest.mark.parametrize(
    ("content", "parts"),
    [
        (b"", ("is empty", HEADER)),
        (b"\n\n# nothing\n", ("is empty",)),
        (b"part,load [N],held\n", ("holds no pull",)),
        (b"part,load [N],held\n1,\xff\xfe,yes\n", ("not a text file in UTF-8", "0xff at 21")),
        (b"part,load [N],held\n1,\x00,yes\n", ("a zero byte",)),
        (None, ("there is no such file",)),
    ],
)
def test_files_that_cannot_be_used(tmp_path, content, parts):
    file = tmp_path / "pulls.csv"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(ScenarioError) as caught:
        read_pulls(file)
    assert str(caught.value).startswith(str(file))
    assert all(part in str(caught.value) for part in parts)


def test_a_folder_is_no_log(tmp_path):
    with pytest.raises(ScenarioError, match="is a folder"):
        read_pulls(tmp_path)


# The guide ---------------------------------------------------------------------------------------


def blocks_of_the_guide():
    text = guide.text("learning")
    return [textwrap.dedent(part) for part in text.split("\n\n") if part.startswith("    ")]


def test_the_example_of_the_guide_is_read():
    (example,) = [block for block in blocks_of_the_guide() if block.startswith("# glued on")]
    assert kinds(f"{example}\n") == [
        ("held", 900.0), ("held", 900.0), ("broke at", 812.0), ("broke below", 900.0),
    ]  # fmt: skip


def test_every_column_and_result_of_the_guide_is_known():
    columns, results = (
        [line[:12].strip() for line in block.splitlines() if line[:1].strip()]
        for block in blocks_of_the_guide()
        if block.startswith(("part   ", "held   "))
    )
    for name in [part for each in columns for part in each.split(", ")]:
        assert head(name) is not None, name
    assert {head(name).column for name in columns[:7]} == {*COLUMNS} - {"date", "note"}
    assert [outcome(word, None).kind for word in results] == results


# Properties --------------------------------------------------------------------------------------

ROW = st.tuples(st.floats(0.1, 1e6), st.sampled_from(["held", "broke at", "broke below"]))


@settings(max_examples=50, deadline=None)
@given(rows=st.lists(ROW, min_size=1, max_size=8), separator=st.sampled_from(",;\t"))
def test_what_is_written_is_read_back(rows, separator):
    table = [
        ("part", "load [N]", "result"),
        *((str(i), repr(x), k) for i, (x, k) in enumerate(rows)),
    ]
    found = read_pulls("\n".join(separator.join(row) for row in table) + "\n")
    assert [(pull.load, pull.kind) for pull in found] == rows
    assert [pull.held for pull in found] == [kind == "held" for _, kind in rows]


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="part,load;result\nheldbrok 0123456789.N[]#\"'-\t", max_size=60))
def test_anything_else_is_refused_in_plain_words(text):
    try:
        read_pulls(f"{text}\n")
    except ScenarioError as error:
        assert str(error)  # noqa: PT017 - most texts are refused, a few are logs
