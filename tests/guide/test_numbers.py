"""Every number in the guide is the one the program works with, and every formula its own."""

import math
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk import guide, units
from jointrisk.errors import InputError
from jointrisk.guide.fill import filled
from jointrisk.mechanics import limits, members, tubular
from jointrisk.model.bond import BOND_MODES
from jointrisk.report import words
from jointrisk.scenario import bond, checks, given, ledger, use
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.types import LEAST_ANGLE
from jointrisk.study import (
    assessment,
    band,
    cautions,
    influence,
    judgement,
    proposal,
    pulls,
    sample,
)


def data(name):
    """Read a table of defaults past the program's own reader."""
    return tomllib.loads((files("jointrisk.scenario") / "data" / f"{name}.toml").read_text("utf-8"))


def raw(name):
    return (files("jointrisk.guide") / f"{name}.md").read_text("utf-8")


def rows(table):
    return {key: row for key, row in data(table).items() if isinstance(row, dict)}


NAMES = [topic.name for topic in guide.topics()]
DEFAULTS = rows("defaults")


def numbers(text):
    return [float(found) for found in re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?", text)]


def written(value):
    """Every number in a value of a table."""
    if isinstance(value, dict):
        return [number for item in value.values() for number in written(item)]
    if isinstance(value, list):
        return [number for item in value for number in written(item)]
    if isinstance(value, bool):
        return []
    return numbers(value) if isinstance(value, str) else [float(value)]


# Tables ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", rows("adhesives"))
def test_a_class_of_adhesive_is_its_row(plain, name):
    after = plain["adhesive"].split(f" {name} shear strength ")[1]
    told = after.split(" from memory")[0].split("; judgement")[0]
    row, top = rows("adhesives")[name], data("adhesives")
    strength, modulus, tough = (
        row[key] for key in ("shear_strength", "shear_modulus", "toughness")
    )
    expected = [*written(strength), *written(modulus), *written(tough), top["toughness_cov"]]
    expected += [*numbers(row["glass_transition"]), 60.0, row["strength_at_60"]]
    assert numbers(told) == [*expected, *numbers(row["cure_temperature"])]


@pytest.mark.parametrize("name", rows("preparations"))
def test_a_preparation_is_its_row(texts, name):
    row = rows("preparations")[name]
    (told,) = re.findall(rf"(?m)^    {name}  +(.*)$", texts["preparation"])
    assert numbers(told)[:2] == [row["ratio"], row["cov"]]
    marks = {"M": "from memory", "C2": "as quoted"}
    assert told.endswith(marks[row["mark"]])


@pytest.mark.parametrize("name", rows("materials"))
def test_a_material_is_its_row(texts, name):
    (told,) = re.findall(rf"(?m)^    {name}  *([-\d. ]+)$", texts["members"])
    scale = {"modulus": "GPa", "shear_modulus": "GPa", "expansion": "e-6/K"}
    cells = {k: v for k, v in rows("materials")[name].items() if isinstance(v, dict)}
    expected = []
    for key, cell in cells.items():
        text = cell["value"]
        assert scale.get(key, "M" if "strength" in key else "N/mm") in text
        expected.append(float(re.match(r"-?[\d.]+", text)[0]))
    order = list(cells)
    assert order == [k for k in ("modulus", "tension_strength", "compression_strength",
        "interlaminar_strength", "interlaminar_toughness", "peel_strength", "shear_modulus",
        "expansion")
        if k in cells]  # fmt: skip
    assert numbers(told) == expected


@pytest.mark.parametrize("name", rows("targets"))
def test_a_target_is_its_row(texts, name):
    row = rows("targets")[name]
    (told,) = re.findall(rf"(?m)^    {name}  +(.*)$", texts["target"])
    assert numbers(told) == [row["index"], row["probability"]]
    assert told.endswith(row["consequence"])


@pytest.mark.parametrize("name", [k for k in DEFAULTS if k.startswith("evidence.")])
def test_what_evidence_is_worth_is_its_row(texts, name):
    (told,) = re.findall(rf"(?m)^    {name.removeprefix('evidence.')}  +(.*)$", texts["evidence"])
    assert numbers(told) == written(DEFAULTS[name]["value"])


@pytest.mark.parametrize("key", DEFAULTS)
def test_every_default_stands_among_them_with_mark_and_source(plain, key):
    row = DEFAULTS[key]
    told = plain["defaults"].split(f" {key}: ")[1].split(f" [{row['mark']}] ")[0]
    values = [v for k, v in row.items() if k not in ("source", "mark")]
    assert sorted(numbers(told.replace("1/500", "1 500"))) == sorted(
        number for value in values for number in written(value)
    )
    assert f" [{row['mark']}] {' '.join(row['source'].split())}" in plain["defaults"]


@pytest.mark.parametrize("table", ["adhesives", "materials", "preparations", "targets"])
def test_every_source_of_a_table_stands_among_the_sources(plain, table):
    whole = data(table)
    named = {whole["source"]}
    for row in rows(table).values():
        named |= {
            cell["source"] for cell in row.values() if isinstance(cell, dict) and "source" in cell
        }
        named |= {row["source"]} if isinstance(row.get("source"), str) else set()
    assert {source for source in named if source not in plain["sources"]} == set()


@pytest.mark.parametrize("name", NAMES)
def test_a_default_is_never_written_by_hand(name):
    """Where a paragraph says what is taken for a key left out, its numbers come from the tables."""
    for part in raw(name).split("\n\n"):
        if part.startswith(" ") or not re.search(r"\bLeft out\b|\bdefault is\b", part):
            continue
        by_hand = re.sub(r"\$\{[^}]+\}", "", part)
        assert not re.search(r"\d", by_hand), part


def test_a_name_that_stands_for_nothing_is_refused():
    with pytest.raises(InputError, match=r"tube\.boar"):
        filled("# T\n\nIt is ${tube.boar}.\n")


def test_a_spread_is_kept_in_one_line(texts):
    for text in texts.values():
        for line in text.splitlines():
            if re.match(r" *(?:\* )?[^#=]*\{ \w+ = [^}]*$", line):
                raise AssertionError(line)


def test_paragraphs_are_broken_and_what_is_set_by_hand_is_not():
    long = "word " * 40
    text = filled(f"# T\n\n{long}\n\n* {long}\n* b\n\n    {long.strip()}\n")
    lines = text.splitlines()
    assert max(map(len, lines[:-1])) <= 78
    assert len(lines[-1]) > 78
    assert "\n* b\n" in text


# Numbers that are not in the tables --------------------------------------------------------------


def percent(share):
    return f"{100 * share:g} %"


QUOTED = [
    ("gap", f"above {checks._WIDE_GAP:g} mm"),
    ("gap", f"below {checks._NARROW_GAP:g} mm"),
    ("gap", f"at most {QUANTITIES['plug.off_centre'].high:g}"),
    ("spreads", f"less than {ledger._LEAST_SDS:g} sd above zero"),
    ("spreads", f"more than {percent(given._MOST_CUT)} lies outside"),
    ("preparation", f"1/0.6 = {bond._MOST_GAIN:.2f}"),
    ("probability", f"coefficient of variation is {percent(sample.TARGET_COV)}"),
    ("probability", f"above {percent(assessment.WORST_COV)} no number"),
    ("probability", f"in {100 * judgement.CONFIDENCE:g} of 100 runs"),
    ("probability", f"takes {band.STATES} equally likely states"),
    ("probability", f"value that {percent(judgement.BAND_QUANTILES[0])} of them lie below"),
    ("probability", f"a guard share of {percent(proposal.GUARD_SHARE)}"),
    ("probability", f"below 1 in {1 / words.SMALLEST_TOLD / 1e6:.0f} million"),
    ("ranking", f"{influence.DEGREES:g} K higher"),
    ("ranking", f"{influence.DEGREES:g} deg further from square"),
    ("linkages", f"within {LEAST_ANGLE:g} deg of 0 or 180"),
    ("ranking", f"by {cautions.DECIDES:g} or more"),
    ("target", f"above 0 to {use._LARGEST_INDEX:g}"),
    ("target", f"3.7 is 1 in {round(1 / ndtr(-3.7), -2):,.0f}"),
    ("members", f"offset (1 + {members._SECANT:.3f} x)"),
    ("members", f"{members._SHEAR_OF_TENSILE} strength {members._STRIP_WORST_SIZES} m pi d"),
]


@pytest.mark.parametrize(("name", "phrase"), QUOTED)
def test_a_number_quoted_is_the_programs(plain, name, phrase):
    assert phrase in plain[name]


def test_words_for_shares_are_the_programs(plain):
    assert cautions.TOUGHNESS_SHARE == 0.5
    assert "toughness governs in more than half of the joints" in plain["overlap"]
    assert influence.TENTH == 0.1
    assert "mean a tenth higher" in plain["ranking"]
    assert sample.LEAST_SHARE == 0.01
    assert "less than one failure in a hundred" in plain["ranking"]


def test_every_unit_listed_is_read(texts):
    listed = dict(re.findall(r"(?m)^    (\w+) +(.+)$", texts["units"]))
    listed["temperature difference"] = listed.pop("difference").split(" (")[0]
    listed["ratio"], listed["rate"] = "% percent", "/year perXmonth /day"
    assert set(listed) == set(units.DIMENSIONS)
    for dimension, words_of in listed.items():
        for unit in words_of.split():
            assert units.parse(f"2 {unit.replace('X', ' ')}", dimension) != 0, unit


def test_the_ways_a_bond_lets_go_and_the_verdicts_are_the_programs(plain):
    for mode in BOND_MODES:
        assert mode in plain["limits"]
    told = Path(pulls.__file__).read_text("utf-8")
    verdicts = set(re.findall(r'Verdict\("([a-z ]+)"', told))
    assert len(verdicts) == 5
    for verdict in verdicts:
        assert re.search(rf" {verdict} [a-z]", plain["proof"]), verdict


# Formulas as printed ---------------------------------------------------------------------------


def test_strut(plain):
    assert "F/A + F R/I [bow + offset (1 + 0.273 x)]/(1 - x) = strength" in plain["members"]
    assert "F_E = pi^2 E I/(fixity length)^2 I = pi (R^4 - r^4)/4" in plain["members"]
    R, r, E, length, fixity, bow, offset, strength = 8.0, 7.0, 8e4, 400.0, 0.8, 0.5, 0.4, 450.0
    F = members.strut_perry_robertson(length, R, r, E, strength, bow, offset, fixity)
    A, inertia = math.pi * (R**2 - r**2), math.pi * (R**4 - r**4) / 4
    x = F / (math.pi**2 * E * inertia / (fixity * length) ** 2)
    found = F / A + F * R / inertia * (bow + offset * (1 + 0.273 * x)) / (1 - x)
    assert found == pytest.approx(strength, rel=1e-3)


def test_thread_and_insert(plain):
    assert "[0.5 + 0.577 (d - d2)/P] d2 = d - 0.6495 P" in plain["members"]
    d, P, m, strength = 6.0, 1.0, 9.0, 310.0
    d2 = d - 0.6495 * P
    F = 0.6 * strength * 0.9 * m * math.pi * d * (0.5 + 0.577 * (d - d2) / P)
    assert members.thread_strip(d, P, m, strength) == pytest.approx(F, rel=1e-3)
    assert "F = strength pi (r_p^2 - d^2/4)" in plain["members"]
    assert members.insert_net_section(5.8, d, strength) == pytest.approx(
        strength * math.pi * (5.8**2 - d**2 / 4)
    )


JOINT = {
    "tube_outer_radius": 8.0, "plug_radius": 6.5, "gap": 0.2, "tube_modulus": 8e4,
    "plug_modulus": 7e4, "plug_bore_radius": 2.5, "misfit_strain": 3e-4,
}  # fmt: skip


def stretch(plain):
    """Evaluate P, S_p, S_t and t_a as the guide prints them."""
    for line in (
        "S_p = E_p pi (r_p^2 - r_b^2)",
        "S_t = E_t pi (R^2 - r_i^2)",
        "t_a = r_m ln(r_i/r_p)",
    ):
        assert line in plain["overlap"]
    r_i, r_m = 6.7, 6.6
    S_p, S_t = 7e4 * math.pi * (6.5**2 - 2.5**2), 8e4 * math.pi * (64 - r_i**2)
    return 2 * math.pi * r_m, S_p, S_t, r_m * math.log(r_i / 6.5)


def test_endless_overlap(plain):
    assert "F = min{ S_p (s + e), S_t (s - e) } s = sqrt(2 P W (1/S_p + 1/S_t))" in plain["overlap"]
    P, S_p, S_t, _ = stretch(plain)
    s, e = math.sqrt(2 * P * 3.0 * (1 / S_p + 1 / S_t)), 3e-4
    force = tubular.long_overlap_force(**JOINT, mode_ii_toughness=3.0)
    assert force == pytest.approx(min(S_p * (s + e), S_t * (s - e)))


def test_short_overlap_yields_over_its_whole_length(plain):
    assert "F = tau P L" in plain["overlap"]
    P, *_ = stretch(plain)
    short = {"overlap": 3.0, "adhesive_shear_modulus": 700.0, "adhesive_shear_strength": 20.0}
    found = tubular.pull_out(**JOINT, **short, mode_ii_toughness=3.0)
    assert found.force == pytest.approx(20.0 * P * 3.0)


@pytest.mark.parametrize("strain", [0.02, 0.4])
def test_toughness_from_the_strain_at_failure(plain, strain):
    assert "toughness = tau t (gamma - tau/(2 G)) where gamma > tau/G" in plain["adhesive"]
    assert "toughness = G gamma^2 t/2 else" in plain["adhesive"]
    tau, G = 20.0, 700.0
    t = stretch(plain)[3]
    W = tau * t * (strain - tau / (2 * G)) if strain > tau / G else G * strain**2 * t / 2
    long = {"overlap": 30.0, "adhesive_shear_modulus": G, "adhesive_shear_strength": tau}
    by_strain = tubular.pull_out(**JOINT, **long, failure_shear_strain=strain)
    by_toughness = tubular.pull_out(**JOINT, **long, mode_ii_toughness=W)
    assert by_strain.force == pytest.approx(by_toughness.force)


def test_toughness_of_a_surface(plain):
    assert "toughness of the surface = W s^m" in plain["limits"]
    assert limits.interface_toughness(3.0, 0.6, 2.0) == pytest.approx(3.0 * 0.6**2)


def test_chance_to_break_in_a_pull(plain):
    from jointrisk.reliability.screening import refused_chance

    assert "p = Phi(-(R/L - 1 - b)/rig_error)" in plain["proof"]
    found = refused_chance(np.array([2200.0]), 2000.0, rig_error_cov=0.04, bias=0.01)
    assert found == pytest.approx(ndtr(-(2200 / 2000 - 1 - 0.01) / 0.04))
