"""Answers of a rig that pushes: its words in text, page, pictures and on the shop card."""

import re
from dataclasses import replace

import pytest

from jointrisk.report import card as sheet
from jointrisk.report import card_text, page, proof_page, proof_sentences, proof_text, sentences
from jointrisk.report.text import text as assess_text
from jointrisk.scenario.types import Rig
from jointrisk.study.way import directed

ASIDE = ("Published pulls", "What others do", "Before any pull", "A pull shows only")
"""What is said of pulls in general, whatever the rig does."""


@pytest.fixture
def pushed(pulled):
    """Return a function that gives the invented answer of a rig that pushes."""

    def made(maker="invented_proof", rig=None, **changes):
        rig = rig or Rig("lever", 4.0, 60.0, None, "push")
        return getattr(pulled, maker)(rig=rig, **changes)

    return made


def about_pulls(text):
    return re.findall(r"\b(?:un)?pull(?:s|ed|ing)?\b", text, re.IGNORECASE)


def seen(html):
    """Return the words of a page, and of its pictures."""
    html = re.sub(r"<style>.*?</style>", "", html, flags=re.S)
    return " ".join(re.sub(r"<[^>]*>", " ", html).split())


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "Pull every rod; pulled, it held the pulls.",
            "Push every rod; pushed, it held the pushes.",
        ),
        ("No pull; unpulled 1 in 9; Unpulled", "No push; untested 1 in 9; Untested"),
        ("PULL, pulling, a pulley", "PUSH, pushing, a pulley"),
        ("pull on the bench beside a pull", "pull on the bench beside a push"),
        ("Pull on the bench, 800 N", "Pull on the bench, 800 N"),
    ],
)
def test_words_are_turned_and_the_maker_s_own_names_stay(text, wanted):
    assert directed(text, "push", ["pull on the bench", ""]) == wanted
    assert directed(text, "pull") == text


@pytest.mark.parametrize("maker", ["invented_proof", "no_pull"])
def test_the_answer_speaks_of_pushes(pushed, maker):
    result = pushed(maker)
    lines = [f"{word} {line}" for word, line in proof_sentences.headline(result)]
    lines += [proof_sentences.worth(effect, result) for effect in result.pulls]
    lines += proof_text.good_to_know(result) + list(sheet.card(result).why_not)
    assert about_pulls(" ".join(lines).replace("No pull meets", "")) == []
    assert "bends away in the rig" in proof_sentences.rig(result)
    assert "push" in " ".join(lines)


def test_a_pull_is_spoken_of_as_before(pulled):
    result = pulled.invented_proof()
    said = " ".join(line for _, line in proof_sentences.headline(result))
    assert "push" not in said + proof_sentences.rig(result) + card_text.text(result)


def test_names_of_the_maker_stay(pulled, pushed):
    own = pulled.effect("pull by hand", 800.0)
    result = pushed(pulls=(own,), limits=(("pull pin lets go in 1 % of the rods", 9000.0),))
    assert "Pull by hand" in proof_sentences.worth(own, result)
    said = proof_sentences.limits(result)
    assert said.startswith("What caps the push, lowest first: pull pin lets go")


def test_the_page_of_a_push(pushed):
    words = seen(proof_page.html(pushed(policies=())))  # those are named by the study
    for aside in ASIDE:
        assert aside in words
    assert "What a push brings, over its load" in words
    assert "the push to make" in words
    answer = words.split("What others do")[0].replace(ASIDE[2], "")
    assert about_pulls(answer.replace("It is the smallest pull", "")) == []  # of the study, too


def test_the_card_of_a_push_warns_of_a_rod_that_bends_away(pushed, pulled):
    result = pushed()
    for text in (card_text.text(result), seen(proof_page.card_html(result))):
        flat = " ".join(text.split())
        assert about_pulls(flat) == []
        assert "EACH ROD TO 2,150 N" in flat.upper()
        for part in (sheet.PUSH_CAUTION, sheet.SET_UP, sheet.STRAIGHT, "above the upper limit"):
            assert part in flat
        assert flat.index(sheet.PUSH_CAUTION[:20]) < flat.lower().index("push each rod to")
    assert sheet.PUSH_CAUTION not in card_text.text(pulled.invented_proof())


@pytest.mark.parametrize(
    ("name", "said", "unsaid"),
    [
        ("lever", "put a scale in the rod's place", "hook a scale"),
        ("dead weight", "on top of the rod", "below the rod"),
    ],
)
def test_the_rig_presses_as_its_kind_can(pushed, name, said, unsaid):
    rig = Rig(name, 4.0 if name == "lever" else None, 60.0, None, "push")
    lines = " ".join(sheet.card(pushed(rig=rig)).rig)
    assert said in lines
    assert unsaid not in lines


def test_an_assessment_with_a_rig_that_pushes(assessment):
    pushes = replace(assessment, proof=replace(assessment.proof, direction="push"))
    word, line = sentences.headline(pushes)[-1]
    assert word == "Push"
    assert line.startswith("Push every finished rod to")
    assert "in a pull when new" in sentences.strength(pushes)
    assert "\nPushes\n" in assess_text(pushes)
    shown = seen(page.html(pushes))
    assert "What a push brings, over its load" in shown
    assert pushes.to_dict()["proof"]["direction"] == "push"
