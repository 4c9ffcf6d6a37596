"""Properties that hold for every key of the file alike."""

import copy
import tomllib

import pytest

from jointrisk import scenario, spread, units
from jointrisk.errors import ScenarioError
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.problems import keys_of, validate
from jointrisk.scenario.resolve import resolve
from jointrisk.scenario.shape import File

START = tomllib.loads(scenario.new("plug-in-tube"))
WITH_SLEEVE = tomllib.loads(scenario.new("sleeve-over-tube"))
WITH_KEY = {  # tables that only stand where something of them is asked, and what they then need
    "rod_end": {"static_rating": "9 kN", "shank": "M6"},
    "backup": {
        "kind": "cross pin",
        "diameter": "3 mm",
        "hole": "3.2 mm",
        "shear_strength": "300 MPa",
        "end_distance": "10 mm",
    },
}
DERIVED = {"evidence.factor", "adhesive.shear_strength_range", "adhesive.toughness_range"}
FIRST = {key.replace("second_", ""): key for key in QUANTITIES if "second_" in key}
FACTS = {
    *("tube.outer_diameter", "tube.shear_modulus", "tube.peel_strength", "tube.expansion"),
    *("plug.bore", "sleeve.outer_diameter", "sleeve.modulus", "sleeve.expansion"),
    *("plug.modulus", "plug.expansion", "rods.length", "service.workshop_temperature"),
    "adhesive.cure_temperature",
    *("second_plug.modulus", "second_plug.expansion", "second_plug.bore"),
    *("rod_end.static_rating", "backup.diameter"),
}
SPREADS = sorted(set(QUANTITIES) - DERIVED - FACTS)
# A value that each quantity can have [house unit]; "middle" of those that are not listed is 1.
MIDDLE = {
    "tube.bore": 12.0,
    "tube.outer_diameter": 15.0,
    "plug.diameter": 11.6,
    "plug.overlap": 30.0,
    "plug.bore": 4.0,
    "plug.glued_share": 0.8,
    "plug.off_centre": 0.3,
    "sleeve.bore": 10.3,
    "sleeve.outer_diameter": 13.5,
    "sleeve.overlap": 30.0,
    "sleeve.glued_share": 0.8,
    "sleeve.off_centre": 0.3,
    "rods.length": 300.0,
    "rods.bow": 0.001,
    "weak_bonds.keeps": 0.3,
    "weak_bonds.lone_weight": 0.01,
    "weak_bonds.bad_batch_weight": 0.01,
    "weak_bonds.share_in_bad_batch": 0.5,
    "weak_bonds.latent_weight": 0.01,
    "weak_bonds.latent_keeps": 0.3,
    "service.humidity": 0.7,
    "ageing.wet_share": 0.5,
    "ageing.steady_share": 0.3,
    "service.hottest": 40.0,
    "service.coldest": -5.0,
    "service.workshop_temperature": 18.0,
    "backup.hole": 3.5,
    "backup.end_distance": 9.0,
    "backup.insert_end_distance": 12.0,
    "backup.stress_concentration": 1.5,
    "proof.damage_from": 0.7,
    "proof.damage_most": 0.3,
}
MIDDLE |= {second: MIDDLE[key] for key, second in FIRST.items() if key in MIDDLE}


def read(changes):
    """Return the starting scenario with values put in by dotted key."""
    sleeve = any("sleeve" in key for key in changes)
    raw = copy.deepcopy(WITH_SLEEVE if sleeve else START)
    for dotted, value in changes.items():
        table, key = dotted.split(".")
        raw.setdefault(table, dict(WITH_KEY.get(table, {})))[key] = value
    if "adhesive.failure_strain" in changes:
        raw["adhesive"].pop("toughness", None)
    if "adhesive.shear_strength" in changes:
        raw["adhesive"]["evidence"] = "own coupons"
    file, problems, skip = validate(raw)
    return resolve(file, problems=problems, skip=skip, path="any", sha256="")


def text_of(key, value):
    dimension = QUANTITIES[key].dimension
    return value if dimension == "ratio" else f"{value!r} {plain_unit(dimension)}".strip()


def plain_unit(dimension):
    return {"expansion": "1/K", "temperature": "degC"}.get(dimension, units.house_unit(dimension))


@pytest.mark.parametrize("key", sorted(set(QUANTITIES) - DERIVED))
def test_a_plain_value_arrives_as_given(key):
    value = MIDDLE.get(key, 1.0)
    variable = read({key: text_of(key, value)}).variables[key]
    assert isinstance(variable.spread, spread.Fixed)
    assert variable.spread.mean == pytest.approx(value, rel=1e-12)
    assert (variable.origin, variable.confidence) == ("scenario", "given")
    assert variable.unit == units.house_unit(QUANTITIES[key].dimension)


@pytest.mark.parametrize("key", SPREADS)
def test_limits_arrive_as_given(key):
    value = MIDDLE.get(key, 1.0)
    low, high = sorted((0.99 * value, 1.01 * value))
    limits = [text_of(key, low), text_of(key, high)]
    base = read({key: {"never_outside": limits}}).variables[key].spread
    assert isinstance(base, spread.Uniform)
    assert (base.low, base.high) == pytest.approx((low, high), rel=1e-12)


@pytest.mark.parametrize("key", SPREADS)
def test_mean_and_sd_are_kept_whatever_the_family(key):
    value = MIDDLE.get(key, 1.0)
    sd = 0.02 * abs(value)
    unit = " K" if QUANTITIES[key].dimension == "temperature" else None
    said = f"{sd!r}{unit}" if unit else text_of(key, sd)
    base = read({key: {"mean": text_of(key, value), "sd": said}}).variables[key].spread
    assert base.mean == pytest.approx(value, rel=1e-6)
    assert base.sd == pytest.approx(sd, rel=1e-6)


@pytest.mark.parametrize("key", SPREADS)
def test_scope_kind_and_source_are_kept(key):
    value = text_of(key, MIDDLE.get(key, 1.0))
    scope = "all" if QUANTITIES[key].scope == "all" else "batch"
    said = {"value": value, "scope": scope, "kind": "not known", "source": "shop book 7"}
    variable = read({key: said}).variables[key]
    assert (variable.scope, variable.kind, variable.source) == (scope, "not known", "shop book 7")


@pytest.mark.parametrize("key", sorted(k for k in SPREADS if QUANTITIES[k].scope != "joint"))
def test_a_scope_finer_than_what_the_value_belongs_to_is_refused(key):
    value = text_of(key, MIDDLE.get(key, 1.0))
    with pytest.raises(ScenarioError) as caught:
        read({key: {"value": value, "scope": "joint"}})
    (problem,) = [p for p in caught.value.problems if p.key == key]
    assert problem.got == '"joint"'
    assert f'"{QUANTITIES[key].scope}"' in problem.expected


@pytest.mark.parametrize("key", sorted(FACTS))
def test_facts_take_one_value(key):
    value = text_of(key, MIDDLE.get(key, 1.0))
    with pytest.raises(ScenarioError) as caught:
        read({key: {"value": value}})
    (problem,) = caught.value.problems
    assert problem.key == key
    assert "one value" in problem.what


@pytest.mark.parametrize(
    "key", sorted(k for k in set(QUANTITIES) - DERIVED if QUANTITIES[k].above_zero)
)
def test_what_must_be_above_zero(key):
    for value in (0.0, -1.0):
        with pytest.raises(ScenarioError) as caught:
            read({key: text_of(key, value)})
        (problem,) = [p for p in caught.value.problems if p.key == key]
        assert "not above zero" in problem.what
        assert units.format_value(value, units.house_unit(QUANTITIES[key].dimension)) in str(
            problem
        )


@pytest.mark.parametrize("key", sorted(k for k, q in QUANTITIES.items() if q.high < 1.5))
def test_what_has_an_upper_limit(key):
    high = QUANTITIES[key].high
    assert read({key: high}).variables[key].spread.mean == high
    with pytest.raises(ScenarioError) as caught:
        read({key: 1.01 * high})
    (problem,) = caught.value.problems
    assert f"expected 0 to {high:g}" in str(problem)


@pytest.mark.parametrize("key", sorted(set(QUANTITIES) - DERIVED))
def test_the_unit_of_another_dimension_is_refused(key):
    wrong = "3 N" if QUANTITIES[key].dimension != "force" else "3 mm"
    with pytest.raises(ScenarioError) as caught:
        read({key: wrong})
    (problem,) = caught.value.problems
    assert problem.key == key
    assert f'"{wrong}"' in str(problem)
    assert QUANTITIES[key].dimension in str(problem)


@pytest.mark.parametrize(
    "key", sorted(k for k, q in QUANTITIES.items() if q.dimension != "ratio" and k not in DERIVED)
)
def test_a_bare_number_is_refused_with_the_unit_to_write(key):
    with pytest.raises(ScenarioError) as caught:
        read({key: 3})
    (problem,) = caught.value.problems
    assert problem.key == key
    assert "got 3" in str(problem)
    offered = str(problem).split('write "')[1].split('"')[0]
    assert units.parse(offered, QUANTITIES[key].dimension) == pytest.approx(3)


LENGTHS = {k: v for k, v in MIDDLE.items() if QUANTITIES[k].dimension == "length"}
OF_PLUG = {k: v for k, v in LENGTHS.items() if "sleeve" not in k}
OF_SLEEVE = {k: v for k, v in LENGTHS.items() if "plug" not in k and "second" not in k} | {
    "tube.outer_diameter": 10.0,
    "tube.bore": 7.0,
}


@pytest.mark.parametrize("lengths", [OF_PLUG, OF_SLEEVE])
def test_inches_and_millimetres_are_the_same_rod(lengths):
    metric = read({key: f"{value!r} mm" for key, value in lengths.items()})
    inches = read({key: f"{value / 25.4!r} in" for key, value in lengths.items()})
    for key, variable in metric.variables.items():
        other = inches.variables[key].spread
        assert other.mean == pytest.approx(variable.spread.mean, rel=1e-12)
        assert other.sd == pytest.approx(variable.spread.sd, rel=1e-12)


@pytest.mark.parametrize("name", list(tables.adhesives()))
def test_every_class_can_be_named(name):
    assert read({"adhesive.class": name}).adhesive_class == name


@pytest.mark.parametrize("name", list(tables.materials()))
def test_every_material_can_be_either_member(name):
    row = tables.materials()[name]
    found = read({"tube.material": name, "plug.material": name})
    assert found.tube_is_composite == row.composite
    assert found.variables["plug.modulus"].spread.mean == row.cells["modulus"].typical
    strength = row.cells["tension_strength"].typical
    assert found.variables["plug.strength"].spread.mean == pytest.approx(strength)


@pytest.mark.parametrize("plug", list(tables.preparations()))
@pytest.mark.parametrize("surface", list(tables.preparations()))
def test_every_pair_of_preparations_is_their_ratio(plug, surface):
    own = {"adhesive.shear_strength": "20 MPa", "adhesive.evidence_surface": surface}
    base = read({"preparation.plug": plug, **own}).variables["preparation.plug"].spread
    rows = tables.preparations()
    assert base.mean == pytest.approx(rows[plug].ratio / rows[surface].ratio)
    assert base.sd / base.mean == pytest.approx(rows[plug].cov)


def test_every_value_of_your_own_is_listed_as_yours():
    found = read({})
    yours = {a.key for a in found.assumptions if a.origin == "scenario"}
    for table, content in START.items():
        if table in keys_of(File) and isinstance(content, dict):
            for key in content:
                assert f"{table}.{key}" in yours, (table, key)


def test_no_default_passes_for_your_own():
    found = read({})
    for entry in found.assumptions:
        table, _, key = entry.key.partition(".")
        said = key in START.get(table, {}) if isinstance(START.get(table), dict) else True
        if entry.origin == "scenario":
            assert said, entry.key
        else:
            assert entry.confidence != "given", entry.key
