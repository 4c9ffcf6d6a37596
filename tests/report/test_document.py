import json
import math
from dataclasses import replace

import pytest

from jointrisk.report.document import json_text


def _refuse(word):
    raise AssertionError(f"{word} is not JSON")


def test_one_document_with_a_line_end_and_the_keys_in_order(assessment):
    shown = json_text(assessment)
    assert shown.endswith("}\n")
    document = json.loads(shown, parse_constant=_refuse)
    assert list(document) == [
        "schema_version", "title", "strength", "permitted_load", "failure_probability", "target",
        "modes", "ranking", "proof", "geometry", "assumptions", "warnings", "run", "host",
    ]  # fmt: skip


def test_numbers_come_back_unrounded(assessment):
    document = json.loads(json_text(assessment))
    assert document["failure_probability"]["estimate"] == assessment.failure_probability.estimate
    assert document["ranking"][2]["value"] == assessment.ranking[2].value
    assert document["proof"]["load_newton"] == 2143.0


def test_nan_becomes_null(invented, assessment):
    odd = replace(assessment.failure_probability, beta=math.nan, band_p95=math.inf)
    document = json.loads(json_text(invented(failure_probability=odd)), parse_constant=_refuse)
    assert document["failure_probability"]["beta"] is None
    assert document["failure_probability"]["band"]["p95"] is None


def test_a_result_without_load_says_null(without_load):
    document = json.loads(json_text(without_load))
    assert document["failure_probability"] is None
    assert document["target"] is None


def test_letters_beyond_ascii_stay_readable(invented):
    assert "Lenker für Ø 14" in json_text(invented(title="Lenker für Ø 14"))


def test_a_document_that_cannot_be_written_is_refused(invented):
    with pytest.raises(TypeError):
        json_text(invented(run={"seed": object()}))
