"""What the topic on planning prints is what the program works with."""

import math
import re

import numpy as np
import pytest
import typer
from scipy.stats import binom

from jointrisk.cli.app import app
from jointrisk.study import plan_results, plan_runs, plan_verdict, plan_worth


def table(texts):
    """Share to the three counts of the table, at 90, 95 and 99 %."""
    rows = re.findall(r"(?m)^    (\d[\d.]*) % +(\d+) +(\d+) +(\d+)$", texts["planning"])
    return {round(float(share) / 100.0, 6): [int(n) for n in counts] for share, *counts in rows}


def test_the_counts_are_the_fewest_that_show_it(texts):
    """Outside reference: scipy's binomial, the chance that all hold where a share R does."""
    found = table(texts)
    assert sorted(found) == [0.8, 0.9, 0.95, 0.99, 0.999]
    for share, counts in found.items():
        for confidence, count in zip((0.9, 0.95, 0.99), counts, strict=True):
            assert binom.pmf(count, count, share) <= 1.0 - confidence
            assert binom.pmf(count - 1, count - 1, share) > 1.0 - confidence


def test_the_counts_are_the_programs(texts):
    for share, counts in table(texts).items():
        for confidence, count in zip((0.9, 0.95, 0.99), counts, strict=True):
            assert plan_runs.parts_without_failure(share, confidence) == count


def test_from_where_on_nothing_can_change_the_answer(plain):
    (told,) = re.findall(r"nearly every one misses it \((\d+) in 100\)", plain["planning"])
    assert 1.0 - int(told) / 100.0 == pytest.approx(plan_verdict.SETTLED)


def test_known_counts(texts):
    """Lipson & Sheth 1973 and common practice, from memory: 90/95 takes 29, 95/95 59, 99/95 299."""
    found = table(texts)
    assert (found[0.9][1], found[0.95][1], found[0.99][1]) == (29, 59, 299)
    assert "n = ln(1 - C)/ln(R), rounded up" in " ".join(texts["planning"].split())


def test_the_weights_and_the_wrong_decisions_are_the_programs(plain):
    """Two cases, two answers, by hand: Bayes' rule."""
    assert "w(k) = L(y, k)/(sum over j of L(y, j))" in plain["planning"]
    assert "wrong now = min(q, 1 - q)" in plain["planning"]
    chance = np.array([[0.8, 0.3], [0.2, 0.7]])
    weight = plan_worth.posterior(np.log(chance))
    assert weight == pytest.approx(np.array([[8 / 11, 3 / 11], [2 / 9, 7 / 9]]))
    met = weight[:, 0]
    wrong = sum(p * min(q, 1 - q) for p, q in zip((0.55, 0.45), met, strict=True))
    assert wrong == pytest.approx(0.25)
    found = plan_worth.expected_wrong(np.repeat(met, (11, 9)), 0.5)
    assert found == pytest.approx(0.25)
    assert math.isclose(min(0.5, 0.5), plan_worth.expected_wrong(np.array([0.5, 0.5]), 0.5))


def test_every_kind_of_test_is_told_and_may_have_a_cost(blocks, plain):
    lines = [line for block in blocks["planning"] for line in block.splitlines()]
    for kind in plan_results.COST_KEYS:
        assert any(re.match(rf"{kind} +\w+ \w+", line) for line in lines), kind
    command = typer.main.get_command(app).commands["plan"]
    (cost,) = [each for each in command.params if each.name == "cost"]
    for kind in plan_results.COST_KEYS:
        assert kind in cost.help


def test_every_key_of_the_document_is_told(plain):
    listed = plain["planning"].split("## JSON keys")[1].split("From Python")[0]
    for part in (plan_results.Candidate, plan_results.Before, plan_results.SuccessRun):
        for name in part.__dataclass_fields__:
            assert re.search(rf"\b{name}\b", listed), name
