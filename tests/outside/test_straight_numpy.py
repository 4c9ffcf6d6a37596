"""Whole answers against plain NumPy scripts beside this file that share no code with the package.

The scripts solve each joint by shooting. Two weigh weak bonds and loads exactly
(`straight_joint`), two draw and count everything (`straight_crude`). The package answers with
several seeds, of which one is the scenario's own: the mean of those answers has to agree within
three standard errors of both sides, quantiles within those or 1 %.
"""

from __future__ import annotations

import json
import runpy
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

import jointrisk

HERE = Path(__file__).parent
SCENARIOS = HERE.parents[1] / "scenarios"
CASES = {
    "straight_drag_link": "gravity-racer-drag-link",
    "straight_delta": "delta-robot-forearms",
    "straight_rigger": "rowing-rigger-backstay",
    "straight_brace": "sun-heated-brace",
}
SEEDS = (None, 1, 2)  # None: the scenario's own
QUANTILES = ("median", "one_in_100", "one_in_1000")
ROUNDING = 1e-12  # of a chance that is 1 less another


@pytest.fixture(scope="module")
def running():
    """All scripts, started together so that they run beside the package."""
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
    """The script's figures, and the package's assessments, each with its document."""
    scenario = jointrisk.load(SCENARIOS / f"{CASES[request.param]}.toml")
    answers = [jointrisk.assess(scenario, seed=seed) for seed in SEEDS]
    output, _ = running[request.param].communicate(timeout=120)
    assert running[request.param].returncode == 0
    return json.loads(output), [(answer, answer.to_dict()) for answer in answers]


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


def agree(own, found, floor=0.0):
    """Three standard errors of both sides, or a share of the script's value.

    `found`: value and standard error of each of the package's answers. Their own scatter counts
    where it is the larger: a seed that is out of luck tells too small an error of itself.
    """
    values, errors = np.array(found).T
    error = max(np.sqrt(np.mean(errors**2)), values.std(ddof=1)) / np.sqrt(len(values))
    allowed = max(3 * np.hypot(own["error"], error), floor * abs(own["value"]))
    assert values.mean() == pytest.approx(own["value"], rel=0, abs=allowed)


def test_failure_probability_of_the_set(pair):
    own, answers = pair
    found = [document["failure_probability"] for _, document in answers]
    agree(
        own["failure"], [(f["estimate"], half_width_to_error(f["low"], f["high"])) for f in found]
    )


def test_failure_probability_of_one_rod_and_of_one_year(pair):
    own, answers = pair
    rod, year = [], []
    for _, document in answers:
        found = document["failure_probability"]
        share = half_width_to_error(found["low"], found["high"]) / found["estimate"]
        rod.append((found["per_rod"], share * found["per_rod"]))
        worst = found["worst_year"]["estimate"]
        year.append((worst, share * worst))
    agree(own["failure_one_rod"], rod)
    agree(own["failure_one_year"], year)


@pytest.mark.parametrize("quantile", QUANTILES)
@pytest.mark.parametrize("state", ["new", "service_pull", "service_push"])
def test_strength_of_one_rod(pair, state, quantile):
    own, answers = pair
    key = quantile if quantile == "median" else f"{quantile}_below"
    strengths = [
        document["strength"]["new" if state == "new" else "aged"] for _, document in answers
    ]
    if state == "service_push":
        strengths = [strength.get("push") for strength in strengths]
    if f"{state}_{quantile}" not in own:
        assert strengths == [None] * len(SEEDS)  # nothing pushes this rod
        return
    reference = own[f"{state}_{quantile}"]
    if reference["value"] == 0:  # heat or the misfit alone breaks so many joints
        assert [strength[key] for strength in strengths] == [0] * len(SEEDS)
        return
    found = []
    for (answer, _), strength in zip(answers, strengths, strict=True):
        figures = answer.figures
        curve = figures.strength_new if state == "new" else figures.strength_service
        found.append((strength[key], error_of_load(curve, strength[key])))
    agree(reference, found, floor=0.01)


def test_pull_that_half_of_the_rods_do_not_hold(pair):
    own, answers = pair
    found = []
    for answer, _ in answers:
        curve = answer.figures.reject
        load = np.interp(0.5, curve.value, curve.load)
        found.append((load, error_of_load(curve, load)))
    agree(own["half_refused"], found, floor=0.01)


def test_the_pull_named_in_the_scenario(pair):
    own, answers = pair
    for name, curve, key in (
        ("refused", "reject", "reject_fraction"),
        ("weak_caught", "reject_weak", "weak_caught_fraction"),
        ("failure_after", "fail_after_pull", "fail_after"),
    ):
        reference, found = own[f"given_{name}"], []
        if reference["error"] >= 0.2 * reference["value"] or reference["value"] < ROUNDING:
            continue  # a spring balance refuses 1 rod in 300 000: too few here to tell
        for answer, document in answers:
            (pull,) = document["proof"]["pulls"]
            assert pull["load_newton"] == pytest.approx(own["given_load"]["value"], rel=1e-9)
            read, error = on_curve(getattr(answer.figures, curve), pull["load_newton"])
            found.append((pull[key], error * pull[key] / read))
        agree(reference, found)


@pytest.mark.parametrize(
    ("name", "curve"),
    [
        ("refused", "reject"),
        ("weak_caught", "reject_weak"),
        ("failure_after", "fail_after_pull"),
    ],
)
def test_a_harder_pull(pair, name, curve):
    own, answers = pair
    load = own["harder_load"]["value"]
    curves = [getattr(answer.figures, curve) for answer, _ in answers]
    agree(own[f"harder_{name}"], [on_curve(c, load) for c in curves])


# --- what the crude scripts typed in --------------------------------------------------------

UNITS = {
    **dict.fromkeys(("mm", "N", "MPa", "degC", "K", "years", "per year"), 1.0),
    **{"cm": 10.0, "kN": 1000.0, "kgf": 9.80665, "%": 0.01},
}
LEFT_OUT = (
    *("schema", "title", "note", "seed", "options", "target"),
    *("proof.highest", "proof.most_to_refuse"),
    *("load.name", "pull.label"),
)


def plain(value):
    """A value of a scenario file without its unit, in the units of the scripts."""
    if isinstance(value, dict):
        return {key: plain(v) for key, v in value.items() if key != "dist"}
    if isinstance(value, list):
        return [plain(v) for v in value]
    number, _, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
    return float(number) * UNITS[unit] if unit in UNITS else value


def in_file(scenario):
    """Every value of a scenario file that bears on its answer, by key."""
    document = tomllib.loads((SCENARIOS / f"{scenario}.toml").read_text(encoding="utf-8"))
    found = {}
    for table, rows in document.items():
        if table in LEFT_OUT:
            continue
        if isinstance(rows, list):
            kept = [
                {k: v for k, v in row.items() if f"{table}.{k}" not in LEFT_OUT} for row in rows
            ]
            found[table] = plain(kept)
            continue
        for key, value in rows.items():
            if f"{table}.{key}" not in LEFT_OUT:
                found[f"{table}.{key}"] = plain(value)
    return found


@pytest.mark.parametrize("script", ["straight_rigger", "straight_brace"])
def test_a_script_holds_the_numbers_and_words_of_its_scenario(script, monkeypatch):
    monkeypatch.syspath_prepend(str(HERE))
    typed = runpy.run_path(str(HERE / f"{script}.py"))
    assert in_file(CASES[script]) == typed["GIVEN"] | typed["WORDS"]
