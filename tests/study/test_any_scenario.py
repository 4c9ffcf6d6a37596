"""Any valid scenario is answered, and the answer hangs together.

The work is cut down (fewer draws, states, points and steps of the search than in earnest), so
that 200 scenarios are judged in a minute or two; what is asked holds at any size.
"""

import json
import math
import re
import runpy
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from scipy.special import ndtri

import jointrisk
from jointrisk import scenario as room
from jointrisk.errors import EstimateError
from jointrisk.report import page
from jointrisk.report.document import json_text
from jointrisk.report.proof_text import text as pulls_shown
from jointrisk.report.text import text as shown
from jointrisk.study import (
    band,
    curves,
    influence,
    proof_batches,
    proof_openers,
    proof_study,
    proposal,
    pull_learning,
    pull_patterns,
    pull_sample,
    pull_search,
    sample,
)

SCENARIOS = runpy.run_path(str(Path(__file__).parents[1] / "strategies.py"))["scenarios"]
EXAMPLES, PARTS = 200, 5  # parts that can run side by side
MOST_REFUSED = 0.1
"""Of the scenarios no number is given for, with a tenth of the draws of earnest."""
A_PAGE_EVERY = 40
A_PROOF_EVERY = 10
SMALL = {
    sample: {"PILOT_DRAWS": 2**9, "JOINTS_A_PILOT": 2**12, "MOST_BLOCKS": 2},
    band: {"STATES": 24, "DRAWS_PER_STATE": 24, "JOINTS_ALLOWED": 2**12},
    influence: {"ROWS": 64, "FEWEST_ROWS": 32, "JOINTS_ALLOWED": 512},
    curves: {"POINTS": 8},
    proposal: {
        "SOUND_LEVELS": (3.0,),
        "WEAK_LEVELS": (0.0, 2.5),
        "MEMBER_LEVELS": (4.0,),
        "ITERATIONS": 1,
    },
}
SMALL |= {
    proof_batches: {"MOST_STATES": 64, "FEWEST_STATES": 16, "MOST_JOINTS": 2**10},
    proof_openers: {"MOST_JOINTS": 2**10, "LOADS": (1.0, 0.5)},
    proof_study: {"POINTS": 6},
    pull_learning: {"DRAWS": 2**9, "ROUNDS": 1},
    pull_patterns: {"LEVELS": (3.0,)},
    pull_sample: {"MOST_JOINTS": 2**12},
    pull_search: {"GRID": 7, "ROUNDS": 3},
}
SMALL[sample] |= {"MOST_ROWS": 2**10, "JOINTS_A_BLOCK": 2**13}
ONE = 1.0 + 1e-9


@pytest.fixture(scope="module")
def small():
    with pytest.MonkeyPatch.context() as patch:
        for module, sizes in SMALL.items():
            for name, value in sizes.items():
                assert hasattr(module, name)
                patch.setattr(module, name, value)
        yield


@pytest.mark.parametrize("part", range(PARTS))
def test_any_scenario_is_answered(small, part):
    seen = {"asked": 0, "refused": 0, "pages": 0, "proofs": 0}

    @settings(
        max_examples=EXAMPLES // PARTS,
        deadline=None,
        database=None,
        phases=[Phase.generate],  # a scenario takes half a second: shrink by hand
        suppress_health_check=list(HealthCheck),
    )
    @seed(part)  # each part draws its own, the same in every run
    @given(text=SCENARIOS())
    def judge(text):
        seen["asked"] += 1
        found = jointrisk.load_text(text)
        if found.options:
            found = jointrisk.load_text(text, option=found.options[-1])
        check_rows(found)
        try:
            result = jointrisk.assess(found)
        except EstimateError:
            seen["refused"] += 1
            return
        check_result(result, found)
        check_document(result)
        check_text(result)
        if seen["asked"] % A_PAGE_EVERY == 0:
            seen["pages"] += 1
            check_page(result)
        if seen["asked"] % A_PROOF_EVERY == 0:
            seen["proofs"] += 1
            check_pulls(jointrisk.proof(found), found)

    judge()
    assert seen["asked"] >= EXAMPLES // PARTS
    assert seen["refused"] <= MOST_REFUSED * seen["asked"]
    assert seen["pages"] >= EXAMPLES // PARTS // A_PAGE_EVERY
    assert seen["proofs"] >= EXAMPLES // PARTS // A_PROOF_EVERY - 2


# What must hold --------------------------------------------------------------------------------


def check_rows(found):
    rows = room.describe(found)
    assert {row.key for row in rows} >= set(found.variables)
    for row in rows:
        assert row.value
        assert row.source
        assert row.confidence
        assert not re.search(r"\b(nan|inf|None)\b", row.value)
        if row.mean is not None:
            assert math.isfinite(row.mean)
            assert row.q05 <= row.q50 <= row.q95


def check_result(result, found):
    for strength in (result.strength_new, result.strength_aged, result.push_new, result.push_aged):
        if strength is not None:
            assert 0 <= strength.one_in_1000_below <= strength.one_in_100_below <= strength.median
            assert math.isfinite(strength.median)
    assert (result.failure_probability is None) == (not found.loads)
    assert (result.target is None) == (result.permitted_load is None) == (found.target is None)
    if result.permitted_load is not None:
        load = result.permitted_load
        assert 0 <= load.low <= load.newton <= load.high
    if found.loads:
        check_chance(result, found)
    check_modes(result)
    for entry in result.ranking:
        assert 0 <= entry.low <= entry.value <= entry.high
    check_proof(result, found)
    check_curves(result.figures)


def check_chance(result, found):
    chance = result.failure_probability
    assert 0 <= chance.low <= chance.estimate <= chance.high <= 1
    assert 0 <= chance.band_p05 <= chance.band_p50 <= chance.band_p95 <= 1
    assert chance.beta == pytest.approx(-ndtri(chance.estimate), abs=1e-9)
    assert 0 <= chance.per_rod <= chance.estimate * ONE
    assert chance.estimate <= found.rods * chance.per_rod * ONE
    year = 1 if found.life <= 1 else found.life
    assert chance.worst_year <= (chance.estimate if year > 1 else 1) * ONE
    if result.target is not None:
        assert result.target.met in (True, False, None)
        assert 0 <= result.target.chance_met <= 1


def check_modes(result):
    if not result.modes:
        return
    assert sum(mode.share for mode in result.modes) == pytest.approx(1)
    shares = [mode.share for mode in result.modes]
    assert shares == sorted(shares, reverse=True)
    for mode in result.modes:
        assert 0 < mode.probability <= result.failure_probability.estimate * ONE


def check_proof(result, found):
    proof = result.proof
    judged = found.target is not None and bool(found.loads)
    assert (proof.verdict == "not judged") == (not judged)
    assert proof.reason
    assert (proof.load_newton is None) == (proof.verdict != "window") == (proof.window is None)
    if proof.verdict == "window":
        low, high = proof.window
        assert 0 < low <= proof.load_newton <= high
        assert proof.reachable is True
        assert proof.reject_fraction <= found.proof.max_reject * (1 + 1e-4)
        assert 0 <= proof.sound_rejected_fraction <= ONE
        assert proof.fail_after <= result.failure_probability.estimate * ONE
    if proof.verdict in ("empty", "unreachable"):
        assert proof.reachable is False
    assert [load for _, load in proof.limits] == sorted(load for _, load in proof.limits)
    assert len(proof.pulls) == len(found.pulls)
    for pull in proof.pulls:
        fractions = (pull.reject_fraction, pull.weak_caught_fraction, pull.fail_after)
        assert all(0 <= share <= ONE for share in fractions if share is not None)
        assert pull.load_newton > 0


def check_pulls(proof, found):
    """Hold what the study of pulls says together."""
    judged = found.target is not None and bool(found.loads)
    assert (proof.verdict == "not judged") == (not judged)
    assert (proof.load_newton is None) == (proof.verdict != "window") == (proof.best is None)
    assert proof.reason
    if proof.best is not None:
        assert proof.best.meets_target
        assert proof.best.reject.estimate <= found.proof.max_reject * (1 + 1e-4)
        assert proof.load_newton == proof.windows[0][0]
        assert found.proof.highest is None or proof.load_newton <= found.proof.highest * ONE
    curve = proof.curve
    assert all(a < b for a, b in pairwise(curve.load_newton))
    for told in (curve.reject, curve.reject_sound, curve.fail_after):
        assert len(told) == len(curve.load_newton)
        check_chances(told)
    refused = [chance.estimate for chance in curve.reject]
    assert all(a <= b * ONE for a, b in pairwise(refused))
    for effect in proof.pulls:
        assert effect.load_newton > 0
        assert 0 <= effect.all_hold <= ONE
        assert effect.needed_newton == proof.load_newton
        check_chances((effect.reject, effect.reject_sound, effect.fail_after))
    document = json.loads(json.dumps(proof.to_dict(), allow_nan=False))
    assert document["verdict"] == proof.verdict
    for policy in document["policies"]:
        assert 0 <= policy["accepted"] <= ONE
        assert policy["spoiled"] >= 0
    said = pulls_shown(proof, width=0)
    assert not re.search(r"\bsafe\b", said)
    is_readable(said)


def check_chances(told):
    for chance in told:
        if not math.isnan(chance.estimate):
            assert 0 <= chance.low <= chance.estimate * ONE
            assert chance.estimate <= chance.high * ONE
            assert chance.high <= ONE


def check_curves(figures):
    for name in figures.__dataclass_fields__:
        curve = getattr(figures, name)
        if name == "band" or curve is None:
            continue
        assert len(curve.load) == len(curve.value) == len(curve.low) == len(curve.high)
        assert all(a < b for a, b in pairwise(curve.load))
        for low, value, high in zip(curve.low, curve.value, curve.high, strict=True):
            assert -1e-9 <= low <= value * ONE
            assert value <= high * ONE
            assert high <= ONE
    assert list(figures.band) == sorted(figures.band)
    assert all(0 <= chance <= 1 for chance in figures.band)


def check_document(result):
    said = json.loads(json_text(result))
    assert json.dumps(said, allow_nan=False)
    assert said == json.loads(json.dumps(result.to_dict(), allow_nan=False))


def check_text(result):
    plain = shown(result, width=0, verbose=1)
    lines = plain.splitlines()
    assert len(lines) > 5
    labels = ("Strength", "Failure", "Fails", "Hangs on", ("Pull", "Push"))
    if result.failure_probability is not None:
        for line, label in zip(lines, labels, strict=False):
            assert line.startswith(label), line
    is_readable(plain)
    assert "**" not in plain


def is_readable(said):
    found = re.search(r".{0,60}\b(nan|inf|None|NaN)\b.{0,20}", said)
    assert not found, found[0]


class Reader(HTMLParser):
    """Collects what is seen and the tags, and holds that every element is closed in turn."""

    void = frozenset({"meta", "br", "link", "img", "hr", "wbr"})

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in self.void:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def check_page(result):
    html = page.html(result)
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert not reader.open
    assert reader.tags.count("h1") == 1
    joints = len(result.geometry.ends)
    assert reader.tags.count("svg") >= joints + 1 + 2 * (result.failure_probability is not None)
    is_readable(" ".join(reader.words))
