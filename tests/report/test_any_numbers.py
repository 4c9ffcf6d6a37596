"""Whatever numbers a result holds, what is shown stays readable and true to them."""

import json
import re
import runpy
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from jointrisk.report import figures, page, sentences
from jointrisk.report.document import json_text
from jointrisk.report.text import text

chances = st.floats(0.0, 1.0) | st.floats(1e-12, 1e-3) | st.just(0.0)
loads = st.floats(0.1, 1e7)
factors = st.floats(0.0, 1e6)
often = settings(max_examples=40, deadline=None)
rarely = settings(max_examples=6, deadline=None, phases=[Phase.explicit, Phase.generate])
BASE = runpy.run_path(str(Path(__file__).with_name("invented.py")))["invented"]()


@st.composite
def numbers(draw):
    low, mid, high = sorted(draw(st.tuples(chances, chances, chances)))
    band = sorted(draw(st.tuples(chances, chances, chances)))
    weak, median = sorted(draw(st.tuples(loads, loads)))
    window = tuple(sorted(draw(st.tuples(loads, loads))))
    influence = sorted(draw(st.tuples(factors, factors, factors)))
    return low, mid, high, band, weak, median, window, influence


def build(drawn):
    low, mid, high, band, weak, median, window, influence = drawn
    chance = replace(
        BASE.failure_probability, estimate=mid, low=low, high=high,
        band_p05=band[0], band_p50=band[1], band_p95=band[2],
    )  # fmt: skip
    strength = replace(BASE.strength_new, median=median, one_in_100_below=weak)
    proof = replace(BASE.proof, load_newton=window[0], window=window, fail_after=low)
    first = replace(
        BASE.ranking[0], low=influence[0], value=influence[1], high=influence[2]
    )  # fmt: skip
    return replace(
        BASE, failure_probability=chance, strength_new=strength, strength_aged=strength,
        proof=proof, ranking=(first, *BASE.ranking[1:]),
    )  # fmt: skip


def is_readable(shown):
    assert not re.search(r"\b(nan|inf|None)\b", shown)
    assert not re.search(r"\d[eE][-+]\d", shown)
    assert not re.search(r"\b1 in 0\b", shown)
    assert "**" not in shown


@often
@given(numbers())
def test_text_has_five_answers_and_no_program_words(drawn):
    shown = text(build(drawn), width=0, verbose=1)
    is_readable(shown)
    starts = [line[:8].strip() for line in shown.splitlines()[:5]]
    assert starts == ["Strength", "Failure", "Fails", "Hangs on", "Pull"]


@often
@given(numbers())
def test_every_sentence_ends_as_one(drawn):
    result = build(drawn)
    said = [sentence for _, sentence in sentences.headline(result)]
    said += [sentences.permitted(result), sentences.target(result)]
    said += [sentences.pull_worth(entry, result) for entry in result.proof.pulls]
    said += sentences.pull_detail(result)
    for sentence in said:
        assert sentence.endswith(".")
        assert ".." not in sentence
        assert sentence.count("**") % 2 == 0


@often
@given(numbers())
def test_a_pull_is_never_told_below_its_need(drawn):
    result = build(drawn)
    told = re.search(r"\*\*([\d.,]+)( million)? (k?N) ", sentences.pull(result))
    scale = (1e6 if told[2] else 1.0) * (1e3 if told[3] == "kN" else 1.0)
    assert float(told[1].replace(",", "")) * scale >= result.proof.load_newton * (1 - 1e-9)


@often
@given(numbers())
def test_the_document_gives_every_number_back(drawn):
    result = build(drawn)
    document = json.loads(json_text(result))
    assert document["failure_probability"]["estimate"] == result.failure_probability.estimate
    assert document["failure_probability"]["band"]["p95"] == result.failure_probability.band_p95
    assert document["strength"]["new"]["median"] == result.strength_new.median
    assert document["proof"]["window"] == list(result.proof.window)


@rarely
@given(numbers())
def test_the_page_and_its_pictures_can_be_made(drawn):
    shown = page.html(build(drawn))
    assert shown.count("<figure>") == 5
    body = re.sub(r"<(style|svg).*?</\1>", "", shown, flags=re.DOTALL)
    is_readable(re.sub(r"<[^>]+>", "", body))


@pytest.mark.parametrize("count", [1, 2, 500])
def test_bands_of_any_length_are_drawn_in_order(invented, assessment, count):
    band = tuple(10.0 ** -(1 + 4 * i / count) for i in range(count))
    axes = figures.band(invented(figures=replace(assessment.figures, band=band))).axes[0]
    across = list(axes.lines[0].get_xdata())
    assert across == sorted(band)
    assert all(0.0 < rank < 1.0 for rank in axes.lines[0].get_ydata())


@pytest.mark.parametrize("missing", ["reject_weak", "load_exceeded", "fail_after_pull"])
def test_each_curve_may_be_missing(invented, assessment, missing):
    shown = page.html(invented(figures=replace(assessment.figures, **{missing: None})))
    assert "<h1>" in shown
    assert ("figure-proof" in shown) == (missing != "fail_after_pull")


@pytest.mark.parametrize("many", [0, 1, 9])
def test_any_number_of_pulls(invented, assessment, many):
    pulls = tuple(
        replace(assessment.proof.pulls[0], label=f"pull {i}", load_newton=300.0 * (i + 1))
        for i in range(many)
    )
    result = invented(proof=replace(assessment.proof, pulls=pulls))
    shown = page.html(result)
    for pull in pulls:
        assert shown.count(pull.label) + shown.count(pull.label.capitalize()) >= 2
    assert ("What the pulls you make are worth" in shown) == (many > 0)
