import re
from dataclasses import replace

import pytest

from jointrisk.report import plain
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.text import text


def test_unbroken_text_answers_in_its_first_five_lines(assessment):
    lines = text(assessment, width=0).splitlines()
    for line, (word, number) in zip(
        lines,
        [
            ("Strength", "6,300 N"),
            ("Failure", "1 in 3,000"),
            ("Fails", "82 %"),
            ("Hangs on", "divided by about 5"),
            ("Pull", "2,150 N"),
        ],
        strict=False,
    ):
        assert line.startswith(word)
        assert number in line


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_asked(assessment, width):
    shown = text(assessment, width=width, verbose=1)
    long = [line for line in shown.splitlines() if len(line) > width]
    assert all(len(line.split()) == 1 for line in long)


def test_a_number_keeps_its_unit_when_lines_break(assessment):
    for width in range(40, 100, 7):
        shown = text(assessment, width=width)
        assert not re.search(r"\n\s+(N|kN|%|kgf|lbf)\b", shown)
        assert not re.search(r"1 in\n", shown)
        assert "\x00" not in shown


def test_narrow_lines_turn_tables_into_paragraphs(assessment):
    shown = text(assessment, width=40)
    assert max(len(line) for line in shown.splitlines() if "(" not in line) <= 56
    assert "spread halved: factor x 0.21" in shown


def test_color_only_when_asked(assessment):
    assert "\x1b" not in text(assessment)
    bold = text(assessment, color=True)
    assert re.sub(r"\x1b\[\d*m", "", bold) == text(assessment)
    assert "\x1b[1mStrength\x1b[0m" in bold


def test_verbose_adds_every_assumption_and_the_run(assessment):
    short, long = text(assessment), text(assessment, verbose=1, width=0)
    assert "20260101" not in short
    for entry in assessment.assumptions:
        assert f"{entry.key}: {entry.value} ({entry.source}; {entry.confidence})" in long
    assert "20260101" in long
    assert long.index("Your values") < long.index("Defaults")


def test_every_ranking_row_mode_pull_and_warning_is_there(assessment):
    shown = text(assessment, width=0)
    for entry in assessment.ranking:
        assert entry.variable in shown
    for mode in assessment.modes:
        assert mode.name in shown
    for pull in assessment.proof.pulls:
        assert pull.label in shown
    assert "wide-class: the adhesive is a class" in shown


def test_without_load_strength_stays_and_nothing_is_judged(without_load):
    shown = text(without_load, width=0)
    assert "Load not judged" in shown.splitlines()[1]
    assert "6,300 N" in shown.splitlines()[0]


def test_the_danger_of_the_pull_is_told_in_full(assessment):
    shown = " ".join(text(assessment).split())
    for word in ("guard", "distance", "sling", "under the load"):
        assert word in shown


def test_nothing_is_ever_called_s_a_f_e(assessment, without_load):
    shown = [text(x, verbose=2) for x in (assessment, without_load)]
    shown += [f"{c.head} {c.text}" for c in CAUTIONS]
    assert not any("safe" in part.lower() for part in shown)


def test_cautions_name_codes_mistakes_and_estimates():
    said = " ".join(f"{c.head} {c.text}" for c in CAUTIONS).lower()
    for word in ("codes", "licensed", "gross mistakes", "estimates", "under the load", "guard"):
        assert word in said


def test_an_empty_result_has_no_empty_headings(invented, assessment):
    bare = invented(
        ranking=(), modes=(), warnings=(), proof=replace(assessment.proof, pulls=(), limits=())
    )
    shown = text(bare)
    assert "Warnings" not in shown
    assert "What lets go" not in shown


def test_table_columns_line_up():
    shown = plain.table(("n", "word", "rest"), [("1", "a", "x"), ("100", "bbb", "y")], 0, "r")
    assert shown == "  n  word  rest\n  1  a     x\n100  bbb   y"


def test_a_long_last_cell_wraps_under_its_column():
    shown = plain.table(("a", "b"), [("key", "one two three four five six seven")], 24)
    lines = shown.splitlines()
    assert all(len(line) <= 24 for line in lines)
    assert all(line.startswith("     ") for line in lines[2:])


def test_what_a_run_has_not_is_not_shown(assessment):
    plain = replace(assessment, run={**assessment.run, "option": None})
    named = replace(assessment, run={**assessment.run, "option": "longer overlap"})
    assert "option:" not in text(plain, verbose=1).split("Run\n")[1]
    assert "option: longer overlap" in text(named, verbose=1)
