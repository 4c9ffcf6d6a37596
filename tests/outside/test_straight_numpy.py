"""Whole answers against plain NumPy scripts beside this file that share no code with the package.

The scripts solve each joint by shooting and weigh weak bonds and loads exactly. A whole answer
has to agree within three standard errors of both sides, quantiles within those or 1 %.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import jointrisk

HERE = Path(__file__).parent
SCENARIOS = HERE.parents[1] / "scenarios"
CASES = {
    "straight_drag_link": "gravity-racer-drag-link",
    "straight_delta": "delta-robot-forearms",
}
QUANTILES = ("median", "one_in_100", "one_in_1000")


@pytest.fixture(scope="module")
def running():
    """Both scripts, started together so that they run beside the package."""
    jobs = {
        name: subprocess.Popen(
            [sys.executable, "-W", "error", str(HERE / f"{name}.py")],
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in CASES
    }
    yield jobs
    for job in jobs.values():
        job.kill()
        job.communicate()


@pytest.fixture(scope="module", params=CASES)
def pair(running, request):
    """The script's figures, the package's assessment and its document."""
    assessment = jointrisk.assess(jointrisk.load(SCENARIOS / f"{CASES[request.param]}.toml"))
    output, _ = running[request.param].communicate(timeout=120)
    assert running[request.param].returncode == 0
    return json.loads(output), assessment, assessment.to_dict()


def half_width_to_error(low, high):
    """Standard error behind a two-sided 95 % interval."""
    return (high - low) / (2 * 1.96)


def on_curve(curve, load):
    """Estimate and standard error of a curve of the package, read off at a load."""
    value, low, high = (
        np.interp(load, curve.load, y) for y in (curve.value, curve.low, curve.high)
    )
    return value, half_width_to_error(low, high)


def error_of_load(curve, load):
    """Standard error of a quantile: that of the curve there over its slope."""
    around = np.array([0.95 * load, 1.05 * load])
    slope = np.diff(np.interp(around, curve.load, curve.value))[0] / np.diff(around)[0]
    return on_curve(curve, load)[1] / slope


def agree(own, value, error=0.0, floor=0.0):
    """Three standard errors of both sides, or a share of the script's value."""
    allowed = max(3 * np.hypot(own["error"], error), floor * abs(own["value"]))
    assert value == pytest.approx(own["value"], rel=0, abs=allowed)


def test_failure_probability_of_the_set(pair):
    own, _, document = pair
    found = document["failure_probability"]
    error = half_width_to_error(found["low"], found["high"])
    agree(own["failure"], found["estimate"], error)


def test_failure_probability_of_one_rod_and_of_one_year(pair):
    own, _, document = pair
    found = document["failure_probability"]
    share = half_width_to_error(found["low"], found["high"]) / found["estimate"]
    agree(own["failure_one_rod"], found["per_rod"], share * found["per_rod"])
    worst = found["worst_year"]["estimate"]
    agree(own["failure_one_year"], worst, share * worst)


@pytest.mark.parametrize("quantile", QUANTILES)
@pytest.mark.parametrize("state", ["new", "service_pull", "service_push"])
def test_strength_of_one_rod(pair, state, quantile):
    own, assessment, document = pair
    strength = document["strength"]["new" if state == "new" else "aged"]
    strength = strength["push"] if state == "service_push" else strength
    key = quantile if quantile == "median" else f"{quantile}_below"
    figures = assessment.figures
    curve = figures.strength_new if state == "new" else figures.strength_service
    reference = own[f"{state}_{quantile}"]
    if reference["value"] == 0:  # the misfit alone breaks so many joints
        assert strength[key] == 0
        return
    agree(reference, strength[key], error_of_load(curve, strength[key]), floor=0.01)


def test_pull_that_half_of_the_rods_do_not_hold(pair):
    own, assessment, _ = pair
    curve = assessment.figures.reject
    load = np.interp(0.5, curve.value, curve.load)
    agree(own["half_refused"], load, error_of_load(curve, load), floor=0.01)


def test_the_pull_named_in_the_scenario(pair):
    own, assessment, document = pair
    (pull,) = document["proof"]["pulls"]
    figures = assessment.figures
    for name, curve, key in (
        ("refused", figures.reject, "reject_fraction"),
        ("weak_caught", figures.reject_weak, "weak_caught_fraction"),
        ("failure_after", figures.fail_after_pull, "fail_after"),
    ):
        reference, value = own[f"given_{name}"], pull[key]
        if reference["error"] > 0.2 * reference["value"]:
            continue  # a spring balance refuses 1 rod in 300 000: too few here to tell
        read, error = on_curve(curve, pull["load_newton"])
        agree(reference, value, error * value / read)


@pytest.mark.parametrize(
    ("name", "curve"),
    [
        ("refused", "reject"),
        ("weak_caught", "reject_weak"),
        ("failure_after", "fail_after_pull"),
    ],
)
def test_a_harder_pull(pair, name, curve):
    own, assessment, document = pair
    load = {"Gravity racer: drag link": 2500.0, "Delta robot: six forearm rods": 1000.0}
    value, error = on_curve(getattr(assessment.figures, curve), load[document["title"]])
    agree(own[f"harder_{name}"], value, error)
