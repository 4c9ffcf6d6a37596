"""Every formula has its source, and every source of the package is listed."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

import jointrisk
from jointrisk import guide

PACKAGE = Path(jointrisk.__file__).parent
NAMES = [topic.name for topic in guide.topics()]
NAMED = re.compile(r"\(\d{4}\)|NASA|ISO|JCSS|FED-STD|Petrie|Euler")
OPENLY = re.compile(r"judgement|assumption|equilibrium|geometry|[Pp]lain probability")


def is_formula(block):
    if " = " not in block or block.startswith(("import ", "jointrisk ")):
        return False
    try:
        tomllib.loads(block)
    except tomllib.TOMLDecodeError:
        return not re.search(r"\{ \w+ = |\[\w+\]", block)
    return False


@pytest.mark.parametrize("name", NAMES)
def test_a_topic_with_a_formula_names_its_source(texts, blocks, name):
    if any(is_formula(block) for block in blocks[name]):
        _, _, sources = texts[name].partition("## Sources\n\n")
        assert NAMED.search(sources) or OPENLY.search(sources), name


def test_formulas_are_found_where_they_are(blocks):
    found = {name for name in NAMES if any(is_formula(block) for block in blocks[name])}
    assert {"overlap", "members", "adhesive", "limits", "temperature", "proof"} <= found
    assert not {"start", "scenario", "units", "report"} & found


@pytest.mark.parametrize("name", ["overlap", "members", "limits", "loads", "probability"])
def test_main_models_name_a_published_source(texts, name):
    assert NAMED.search(texts[name].partition("## Sources\n\n")[2])


def cited():
    """Surname and year of every work that a docstring of the package names."""
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
                said = re.sub(r"doi:\S+", "", " ".join(str(node.value.value).split()))
                pattern = r"([A-Z][A-Za-z]+)[^A-Za-z]{1,12}((?:1[89]|20[0-2])\d\d)\b"
                found |= set(re.findall(pattern, said))
    return sorted(found)


def test_works_are_found_in_the_docstrings():
    assert {("Luftfahrtforschung", "1938"), ("Fiessler", "1978"), ("Feuer", "1997")} <= {*cited()}
    assert len(cited()) > 20


@pytest.mark.parametrize(("surname", "year"), cited())
def test_every_work_cited_is_listed(texts, surname, year):
    entries = re.split(r"\n(?=\* )|\n\n", texts["sources"])
    assert any(surname in entry and year in entry for entry in entries)


@pytest.mark.parametrize("name", NAMES)
def test_every_work_named_in_a_topic_is_listed(texts, name):
    listed = " ".join(texts["sources"].split())
    for surname, year in re.findall(
        r"([A-Z][\w-]+) \(((?:1[89]|20)\d\d)", " ".join(texts[name].split())
    ):
        assert surname in listed
        assert year in listed


@pytest.mark.parametrize(
    "mark", ["CR-112236", "SP-8007", "ISO 898-1", "FED-STD-H28/2B", "ISO 261", "ISO 262",
             "ASME B1.1", "ISO 2306", "JCSS Probabilistic Model Code", "CMH-17-1G"],
)  # fmt: skip
def test_standards_are_listed(texts, mark):
    assert mark in " ".join(texts["sources"].split())
