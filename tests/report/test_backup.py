"""What text and page say of a mechanical back-up, and that they are silent without one."""

from dataclasses import replace

import pytest

from jointrisk.report import page, sentences, text
from jointrisk.study.results import Chance


@pytest.fixture
def backed(assessment):
    chance = replace(assessment.failure_probability, without_backup=Chance(0.021, 0.0202, 0.0218))
    return replace(assessment, failure_probability=chance)


def test_the_sentence_gives_the_chance_without_it_and_what_it_is_for(backed):
    told = sentences.mark(sentences.backup(backed))
    assert told.startswith("Without the back-up and its hole: about 1 in 48.")
    for word in ("carries only then", "the pull does not test it", "found at inspection"):
        assert word in told


def test_text_and_page_tell_it_once(backed):
    plain = " ".join(text.text(backed).split())
    assert plain.count("Without the back-up") == 1
    assert page.html(backed).count("Without the back-up") == 1


def test_nothing_is_said_without_a_back_up_or_a_load(assessment, without_load):
    for one in (assessment, without_load):
        assert sentences.backup(one) == ""
        assert "back-up" not in text.text(one)
        assert "back-up" not in page.html(one)


def test_the_document_holds_it_or_null(backed, assessment):
    found = backed.to_dict()["failure_probability"]["without_backup"]
    assert found == {"estimate": 0.021, "low": 0.0202, "high": 0.0218}
    assert assessment.to_dict()["failure_probability"]["without_backup"] is None


@pytest.mark.parametrize("table", ["rod_end", "backup", "part"])
def test_values_of_the_tables_in_line_have_a_heading_of_their_own(table):
    assert page.GROUPS[table] != "Other"
