"""The schema of a result's document takes every document that is right and none that is not.

From outside: the `jsonschema` library and the metaschema of draft 2020-12 that it carries.
"""

import copy
import inspect
import json
import math
import runpy
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest

import jointrisk
from jointrisk.errors import InputError
from jointrisk.report.document import json_text
from jointrisk.report.result_fields import UNTOLD, kinds_of
from jointrisk.report.result_schema import RESULTS, result_schema

HERE = Path(__file__)
WRITTEN = sorted((HERE.parents[2] / "reports").glob("*/*.json"))
MADE = {
    name: SimpleNamespace(**runpy.run_path(str(HERE.with_name(f"invented{name}.py"))))
    for name in ("", "_compare", "_learn", "_plan", "_proof", "_rank", "_sweep")
}
A, C, P = MADE[""], MADE["_compare"], MADE["_proof"]
SCHEMAS = {what: result_schema(what) for what in RESULTS}
VALIDATORS = {what: jsonschema.Draft202012Validator(schema) for what, schema in SCHEMAS.items()}


def parsed(text):
    """Read a document as strictly as JSON itself: no NaN, no Infinity."""

    def refuse(word):
        raise ValueError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def faults(what, document):
    return [f"{e.json_path}: {e.message}" for e in VALIDATORS[what].iter_errors(document)]


def of_path(path):
    return "assess" if path.stem == "result" else path.stem


# What is right is taken ------------------------------------------------------------------------


@pytest.mark.parametrize("what", RESULTS)
def test_it_is_a_schema_of_the_draft_it_names(what):
    schema = SCHEMAS[what]
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["title"] == f"Document of jointrisk {what} --json"


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_it_takes_the_documents_of_every_shipped_report(path):
    assert faults(of_path(path), parsed(path.read_text("utf-8"))) == []


def test_the_reports_show_every_study_of_a_scenario():
    assert len(WRITTEN) >= 14
    assert {of_path(path) for path in WRITTEN} >= {
        "assess",
        "proof",
        "rank",
        "compare",
        "sweep",
        "rating",
    }


def _assessments():
    whole = A.invented()
    chance, proof = whole.failure_probability, whole.proof
    none = dict.fromkeys(("load_newton", "load_low", "load_high", "window", "fail_after"))
    yield whole
    yield A.without_load()
    yield A.invented(push_aged=whole.strength_aged, modes=(), warnings=())
    yield A.invented(target=None, permitted_load=None)
    yield A.invented(target=replace(whole.target, met=True))
    yield A.invented(target=replace(whole.target, met=None, chance_met=None))
    yield A.invented(failure_probability=replace(chance, beta=-math.inf))
    yield A.invented(
        failure_probability=replace(chance, without_backup=P.about(2e-4)),
        geometry=replace(whole.geometry, ends=(A.end(), A.end(thread=None, kind="sleeve"))),
    )
    for verdict in ("empty", "unreachable"):
        yield A.invented(proof=replace(proof, verdict=verdict, reachable=False, **none))


def _comparisons():
    yield from of_kind("Comparison")
    nothing = replace(C.ratio(1.0), estimate=math.nan, low=math.nan, high=math.inf)
    pairs = C.invented_compare().pairs
    yield C.invented_compare(pairs=tuple(replace(pair, ratio=nothing) for pair in pairs))


def _proofs():
    yield from of_kind("Proof")
    yield P.no_pull("empty", next_rod=None)


def _fits():
    values = [21.3, 24.1, 19.8, 26.0, 23.2, 22.4, 9.7, 25.1]
    yield jointrisk.fit(values, unit="MPa", batches=list("aabbccdd"))
    yield jointrisk.fit(values, unit="kN")
    yield jointrisk.fit(values[:1], unit="MPa")
    yield jointrisk.fit(values, unit="MPa", held=[*(False,) * 7, True])


def _laps():
    coupon = {"width": "25 mm", "overlap": "12.5 mm", "thickness": "1.6 mm"}
    metal = {"material": "aluminium 6082-T6", "adhesive_class": "two-part toughened epoxy"}
    yield jointrisk.single_lap(**coupon, load="6.4 kN", modulus="70 GPa")
    yield jointrisk.single_lap(**coupon, **metal, load=["6.4 kN", "6 kN"], bond_line="0.3 mm")


def of_kind(name):
    """Give all hand-made results of a class."""
    makers = (make for module in MADE.values() for make in vars(module).values())
    for make in filter(inspect.isfunction, makers):
        if all(p.default is not p.empty or p.kind is p.VAR_KEYWORD
               for p in inspect.signature(make).parameters.values()):  # fmt: skip
            result = make()
            if type(result).__name__ == name:
                yield result


FRESH = {
    "assess": _assessments,
    "compare": _comparisons,
    "proof": _proofs,
    "fit": _fits,
    "single-lap": _laps,
    **{
        what: partial(of_kind, RESULTS[what][1])
        for what in ("rank", "sweep", "rating", "learn", "plan")
    },
}


@pytest.mark.parametrize("what", FRESH)
def test_it_takes_fresh_documents_with_and_without_their_parts(what):
    documents = [parsed(json_text(result)) for result in FRESH[what]()]
    assert len(documents) >= 2
    assert [faults(what, document) for document in documents] == [[]] * len(documents)


def test_a_ledger_without_a_target_has_no_verdicts():
    path = next(path for path in WRITTEN if path.stem == "rank")
    document = parsed(path.read_text("utf-8"))
    ledger = document["doubts"]
    ledger["target"] = None
    for entry in ledger["entries"]:
        for end in (entry["low"], entry["high"]):
            end |= dict.fromkeys(("counted", "counted_low", "counted_high", "met"))
    assert ledger["entries"]
    assert faults("rank", document) == []


# What is wrong is refused ----------------------------------------------------------------------


def places(node, way=()):
    """Give every place of a document, of each list the first entry, but not what a run says."""
    yield way, node
    if isinstance(node, dict):
        for key, value in node.items():
            if way or key not in ("run", "host"):
                yield from places(value, (*way, key))
    elif isinstance(node, list) and node:
        yield from places(node[0], (*way, 0))


def with_changed(document, way, change):
    """Return the document with what stands in one place changed; all else is shared with it."""
    if not way:
        return change(document)
    made = copy.copy(document)
    made[way[0]] = with_changed(made[way[0]], way[1:], change)
    return made


def lacking(key):
    return lambda table: {name: value for name, value in table.items() if name != key}


FREE = {"reasons", "costs", "parameters", "standard_errors"}
"""Tables whose keys are names that the scenario or the numbers bring with them."""


def wrong(document):
    """Give documents with one thing wrong, each with what was done to it."""
    for way, node in places(document):
        if isinstance(node, dict) and not FREE.intersection(way[-1:]):
            yield f"{way}: unknown", with_changed(document, way, lambda at: at | {"nonsense": 1})
            for key in set(node) - {"push"}:
                yield f"{way}: no {key}", with_changed(document, way, lacking(key))
        elif isinstance(node, int | float) and not isinstance(node, bool):
            yield f"{way}: text", with_changed(document, way, str)
        elif isinstance(node, str):
            yield f"{way}: number", with_changed(document, way, len)
        elif isinstance(node, list):
            yield f"{way}: no list", with_changed(document, way, lambda at: {"0": at})
        elif isinstance(node, bool):
            yield f"{way}: word", with_changed(document, way, lambda _: "yes")


@pytest.mark.parametrize(
    ("what", "fewest"),
    [("assess", 200), ("rank", 200), ("compare", 200), ("proof", 200), ("sweep", 200),
     ("rating", 80), ("learn", 200), ("plan", 200), ("fit", 150), ("single-lap", 60)],
)  # fmt: skip
def test_it_refuses_a_document_with_one_thing_wrong(what, fewest):
    document = parsed(json_text(next(iter(FRESH[what]()))))
    tried = 0
    for told, changed in wrong(document):
        tried += 1
        assert not VALIDATORS[what].is_valid(changed), told
    assert tried >= fewest


def test_a_number_that_cannot_be_nan_is_refused_where_it_was():
    strength = replace(A.invented().strength_new, median=math.nan)
    found = faults("assess", parsed(json_text(A.invented(strength_new=strength))))
    assert found == ["$.strength.new.median: None is not of type 'number'"]


@pytest.mark.parametrize("word", ["NaN", "Infinity"])
def test_nan_in_a_document_is_no_json(word):
    text = json_text(A.invented()).replace("6312.0", word)
    with pytest.raises(ValueError, match=f"{word} is not JSON"):
        parsed(text)


def test_words_that_stand_for_one_of_a_few_are_these_few():
    document = parsed(json_text(A.invented()))
    document["target"]["met"] = "perhaps"
    document["assumptions"][0]["origin"] = "hearsay"
    document["schema_version"] = 2
    assert len(faults("assess", document)) == 3


# What it tells ---------------------------------------------------------------------------------


def test_units_and_words_are_those_of_the_dataclasses():
    schema = SCHEMAS["assess"]
    strength = schema["$defs"]["Strength"]
    assert strength["properties"]["median"]["description"] == "[N]"
    assert schema["$defs"]["JointGeometry"]["properties"]["overlap_mm"]["description"] == "[mm]"
    lap = SCHEMAS["single-lap"]["properties"]
    assert lap["mean_shear_mpa"]["description"] == "Mean load over glued area [MPa]."
    assert lap["schema_version"] == {"const": 1}


@pytest.mark.parametrize("what", RESULTS)
def test_it_speaks_of_json_and_not_of_python(what):
    texts = [d for d in descriptions(SCHEMAS[what]) if isinstance(d, str)]
    assert len(texts) >= 15
    for word in ("None", "NaN", "True", "False"):
        assert not [text for text in texts if word in text.split()]


def descriptions(node):
    if isinstance(node, dict):
        own = [node["description"]] if "description" in node else []
        return own + [text for value in node.values() for text in descriptions(value)]
    return (
        [text for value in node for text in descriptions(value)] if isinstance(node, list) else []
    )


def test_what_may_be_untold_is_there():
    fields = {
        f"{kind.__name__}.{field.name}"
        for what in RESULTS
        for kind, told in kinds_of(root_of(what)).items()
        for field in told.fields
    }
    assert fields >= UNTOLD


def root_of(what):
    module, name = RESULTS[what]
    return getattr(__import__(f"jointrisk.{module}", fromlist=[name]), name)


def test_an_unknown_word_gets_the_nearest():
    with pytest.raises(InputError, match=r"got 'swep'; expected one of: .*did you mean 'sweep'\?"):
        result_schema("swep")
