"""The JSON Schema, the scenarios to start from, the rows of `check`, and what gets imported."""

import copy
import math
import runpy
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from jointrisk import scenario, units
from jointrisk.errors import InputError
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.problems import validate

SCHEMA = scenario.schema()
DRAFT = jsonschema.Draft4Validator(SCHEMA)
SHIPPED = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
SCENARIOS = runpy.run_path(str(Path(__file__).parents[1] / "strategies.py"))["scenarios"]
DRAWN = settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
DERIVED = {"evidence.factor", "adhesive.shear_strength_range", "adhesive.toughness_range"}
NOT_IN_DRAFT_4 = {"prefixItems", "unevaluatedProperties", "$defs", "const", "if", "contains"}


def nodes(node):
    """Every table inside a document."""
    if isinstance(node, dict):
        yield node
        node = list(node.values())
    for item in node if isinstance(node, list) else ():
        yield from nodes(item)


def properties(table):
    reference = SCHEMA["properties"][table]
    reference = reference.get("items", reference)
    return SCHEMA["definitions"][reference["$ref"].rsplit("/", 1)[1]]["properties"]


def test_the_schema_is_one_of_draft_4():
    jsonschema.Draft4Validator.check_schema(SCHEMA)
    for node in nodes(SCHEMA):
        assert not NOT_IN_DRAFT_4 & set(node)
        assert {"type": "null"} not in node.get("anyOf", [])


def test_every_table_is_closed():
    for name, shape in SCHEMA["definitions"].items():
        assert shape["additionalProperties"] is False, name
    assert SCHEMA["additionalProperties"] is False


@pytest.mark.parametrize("kind", list(scenario.kinds()))
def test_a_scenario_to_start_from_fits_the_schema(kind):
    assert list(DRAFT.iter_errors(tomllib.loads(scenario.new(kind)))) == []


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_scenario_fits_the_schema(path):
    assert list(DRAFT.iter_errors(tomllib.loads(path.read_text("utf-8")))) == []


@pytest.fixture(scope="module")
def drawn():
    """Two hundred scenarios, each as its text and what it holds."""
    found = []

    @DRAWN
    @given(text=SCENARIOS())
    def collect(text):
        found.append((text, tomllib.loads(text)))

    collect()
    return found


def test_any_valid_scenario_fits_the_schema(drawn):
    assert len(drawn) >= 200
    for text, raw in drawn:
        assert [error.message for error in DRAFT.iter_errors(raw)] == [], text


def test_the_drawn_scenarios_are_read_with_all_their_options(drawn):
    for text, raw in drawn:
        found = scenario.load_text(text)
        assert found.options == tuple(raw.get("options", {}))


def walk(raw, shape, at, seen):
    """Collect the keys and words that a document uses, each under its table or "a spread"."""
    if "$ref" in shape:
        at = shape["$ref"].rsplit("/", 1)[1]
        walk(raw, SCHEMA["definitions"][at], at, seen)
    elif "anyOf" in shape and "properties" not in shape:
        way = next(way for way in shape["anyOf"] if validator(way).is_valid(raw))
        walk(raw, way, at if "enum" in way or "$ref" in way else "a spread", seen)
    elif isinstance(raw, list):
        for item in raw:
            walk(item, shape.get("items", {}), at, seen)
    elif isinstance(raw, dict):
        for key, value in raw.items():
            known = shape.get("properties", {})
            if key in known:
                seen.add((at, key))
            walk(value, known.get(key, shape.get("additionalProperties")), at, seen)
    elif raw in shape.get("enum", ()):
        seen.add((at, "word", raw))


def validator(shape):
    return jsonschema.Draft4Validator({**shape, "definitions": SCHEMA["definitions"]})


def keys_and_words():
    """Every key of the schema's tables and of a spread, and every word that one of them takes."""
    tables = {"the file": SCHEMA, "a spread": SPREAD} | SCHEMA["definitions"]
    for name, shape in tables.items():
        if name.endswith("Change"):
            continue
        for key, inner in shape["properties"].items():
            yield (name, key)
            for way in [inner, *inner.get("anyOf", ())]:
                yield from ((name, "word", word) for word in way.get("enum", ()))


SPREAD = properties("tube")["bore"]["anyOf"][1]


def test_the_drawn_scenarios_use_every_key_and_most_words(drawn):
    seen = set()
    for _, raw in drawn:
        walk(raw, SCHEMA, "the file", seen)
    wanted = set(keys_and_words())
    keys = {entry for entry in wanted if len(entry) == 2}
    assert len(keys) > 100
    assert sorted(keys - seen) == []
    assert len(wanted - seen) <= 0.25 * len(wanted - keys)


def places(raw, at=()):
    """Every table inside a document, by its place."""
    if isinstance(raw, dict):
        yield at
    for key, value in raw.items() if isinstance(raw, dict) else enumerate(raw):
        if isinstance(value, dict | list):
            yield from places(value, (*at, key))


@DRAWN
@given(text=SCENARIOS(), data=st.data())
def test_the_schema_refuses_a_scenario_with_one_thing_wrong(text, data):
    raw = tomllib.loads(text)
    broken = copy.deepcopy(raw)
    inside = [at for at in places(raw) if at != ("options",) and at[-2:-1] != ("load",)]
    inside += [at for at in places(raw) if at[:1] == ("load",)]
    at = data.draw(st.sampled_from(inside))
    table = broken
    for step in at:
        table = table[step]
    needed = {"schema", "rods", "tube", "plug", "adhesive"} if not at else NEEDED.get(at[0], set())
    how = data.draw(st.sampled_from(["unknown", "type", "needed"]))
    if how == "needed" and len(at) < 3 and "options" not in at and needed & set(table):
        del table[data.draw(st.sampled_from(sorted(needed & set(table))))]
    elif how == "type" and table:
        table[data.draw(st.sampled_from(sorted(table)))] = [[["wrong"]]]
    else:
        table["no such key"] = "1 mm"
    assert list(DRAFT.iter_errors(raw)) == []
    assert list(DRAFT.iter_errors(broken))


NEEDED = {
    "rods": {"length"},
    "tube": {"material", "outer_diameter"},
    "plug": {"material", "overlap"},
    "adhesive": {"class"},
    "load": {"name"},
    "pull": {"load"},
    "correlation": {"between", "value"},
}


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("tube", "boar", "1 mm"),
        ("tube", "bore", 12),
        ("tube", "bore", {"low": "1 mm"}),
        ("tube", "bore", {"mean": 3}),
        ("rods", "count", True),
        ("rods", "count", 0),
        ("rods", "shoulder", "yes"),
        ("plug", "material", "wood"),
        ("preparation", "plug", "painted"),
        ("life", "duration", 10),
    ],
)
def test_the_schema_refuses_what_reading_refuses(table, key, value):
    raw = tomllib.loads(scenario.new("plug-in-tube"))
    raw[table][key] = value
    assert list(DRAFT.iter_errors(raw))
    _, problems, _ = validate(raw)
    assert [problem.key for problem in problems] == [f"{table}.{key}"]


@pytest.mark.parametrize("table", ["rods", "tube", "plug", "adhesive", "schema"])
def test_the_schema_asks_for_what_reading_asks_for(table):
    raw = tomllib.loads(scenario.new("plug-in-tube"))
    del raw[table]
    (error,) = DRAFT.iter_errors(raw)
    assert table in f"{error.message} {error.validator_value}"


OTHER_END = {
    "plug-in-tube": ("sleeve-over-tube", "sleeve"),
    "sleeve-over-tube": ("plug-in-tube", "plug"),
}


@pytest.mark.parametrize("kind", list(scenario.kinds()))
def test_the_schema_takes_one_kind_of_metal_end(kind):
    other, end = OTHER_END[kind]
    raw = tomllib.loads(scenario.new(kind))
    assert not list(DRAFT.iter_errors(raw))
    raw[end] = tomllib.loads(scenario.new(other))[end]
    (error,) = DRAFT.iter_errors(raw)
    assert error.validator == "oneOf"


@pytest.mark.parametrize("key", sorted(set(QUANTITIES) - DERIVED))
def test_every_quantity_is_a_key_of_the_file_with_its_dimension(key):
    table, name = key.split(".")
    shape = properties(table)[name]
    dimension = QUANTITIES[key].dimension
    assert dimension in shape["description"] or table == "preparation"


@pytest.mark.parametrize("key", sorted(DERIVED))
def test_derived_quantities_are_no_keys(key):
    table, name = key.split(".")
    assert table not in SCHEMA["properties"] or name not in properties(table)


@pytest.mark.parametrize("kind", list(scenario.kinds()))
class TestStart:
    def test_it_runs_and_explains_itself(self, kind):
        text = scenario.new(kind)
        found = scenario.load_text(text)
        assert found.loads
        assert found.target
        assert found.pulls
        assert found.proof.highest
        remarks = [line for line in text.splitlines() if "#" in line]
        assert len(remarks) > 20
        assert all(len(line) <= 100 for line in text.splitlines())

    def test_it_gives_no_warning_that_it_could_avoid(self, kind):
        codes = {warning.code for warning in scenario.load_text(scenario.new(kind)).warnings}
        assert codes <= {"target-from-words", "corrosion"}

    def test_what_its_remarks_offer_can_be_written(self, kind):
        text = scenario.new(kind)
        before = text
        fits = {
            "plug-in-tube": 'diameter = { mean = "11.6 mm", sd = "0.02 mm" }\n',
            "sleeve-over-tube": 'bore = { mean = "10.3 mm", sd = "0.02 mm" }\n',
        }
        for old, new in [
            (fits[kind], ""),
            ("# radial_gap", "radial_gap"),
            ('failure_would_be = "nuisance"\n\n[rods]', "index = 3.7\n\n[rods]"),
            ('#     shear_strength = { mean = "24 MPa"', 'shear_strength = { mean = "24 MPa"'),
            ("#     evidence =", "evidence ="),
        ]:
            # The remark about own numbers stands before its table, so it is moved into it.
            assert old in text
            text = text.replace(old, new)
        head, tail = text.split("shear_strength =", 1)
        moved, rest = tail.split("\n", 1)
        evidence, rest = rest.split("\n", 1)
        evidence = evidence.split(" or ")[0]
        rest = rest.replace("[adhesive]", f"[adhesive]\nshear_strength ={moved}\n{evidence}")
        found = scenario.load_text(head + rest)
        assert found.evidence == "data sheet"
        assert scenario.load_text(before).evidence == "class default"


def test_an_unknown_kind_offers_the_nearest():
    with pytest.raises(InputError, match=r'"plug in tube".*did you mean "plug-in-tube"'):
        scenario.new("plug in tube")
    assert all(len(line) < 100 for line in scenario.kinds().values())


class TestDescribe:
    def rows(self):
        found = scenario.load_text(scenario.new("plug-in-tube"))
        return found, {row.key: row for row in scenario.describe(found)}

    def test_one_row_for_every_value(self):
        found, rows = self.rows()
        assert len(rows) == len(scenario.describe(found)) == len(found.assumptions)
        assert set(found.variables) <= set(rows)
        assert {"life.duration", "rods.count", "target.probability", "seed"} <= set(rows)

    def test_numbers_are_those_of_the_spread(self):
        found, rows = self.rows()
        for key, variable in found.variables.items():
            row, base = rows[key], variable.spread
            assert row.mean == base.mean
            assert [row.q05, row.q50, row.q95] == [base.ppf(q) for q in (0.05, 0.5, 0.95)]
            assert row.q05 <= row.q50 <= row.q95
            if row.cov is not None:
                assert row.cov * abs(row.mean) == pytest.approx(base.sd)

    def test_a_temperature_has_no_cov(self):
        assert self.rows()[1]["service.hottest"].cov is None

    def test_text_with_units_can_be_read(self):
        found, rows = self.rows()
        for key, variable in found.variables.items():
            if variable.spread.sd == 0:
                value = units.parse(rows[key].value, QUANTITIES[key].dimension)
                assert value == pytest.approx(variable.spread.mean, rel=1e-3)

    def test_facts_have_no_numbers(self):
        row = self.rows()[1]["adhesive.class"]
        assert row.value == "two-part toughened epoxy"
        assert (row.origin, row.mean, row.cov, row.q50) == ("scenario", None, None, None)

    def test_nothing_is_left_unsaid(self):
        for row in self.rows()[1].values():
            assert row.label
            assert row.value
            assert row.source
            assert row.origin in ("scenario", "default")
            assert row.mean is None or math.isfinite(row.mean)


def loaded_after(statement):
    """Names of the modules that a fresh interpreter has loaded after a statement."""
    code = f"{statement}\nimport sys\nprint('\\n'.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize("statement", ["import jointrisk", "import jointrisk.scenario"])
def test_slow_libraries_wait_until_a_file_is_read(statement):
    slow = {"pydantic", "pandas", "matplotlib", "scipy.stats", "scipy.optimize"}
    assert not slow & loaded_after(statement)
