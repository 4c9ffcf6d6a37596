"""The guide as printed, cut into what the tests ask about."""

from __future__ import annotations

import re
import runpy
import textwrap
import tomllib
from pathlib import Path

import pytest

from jointrisk import guide
from jointrisk.scenario import schema

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented.py"))
TEXTS = {topic.name: guide.text(topic.name) for topic in guide.topics()}


def indented(text):
    """Every block set by hand, without its indent."""
    parts = (part for part in text.rstrip().split("\n\n") if part.startswith("    "))
    return [textwrap.dedent(part) for part in parts]


def examples(text):
    """Every block that is a piece of a scenario, read."""
    starts = re.compile(r"(\[+\w+\]+|schema = 1)\s*(#.*)?")
    blocks = indented(text)
    return [tomllib.loads(b) for b in blocks if starts.fullmatch(b.split("\n")[0])]


def keys_of_schema():
    """Section to its keys, "" for the top of the file."""
    document = schema()
    found = {"": set()}
    for name, shape in document["properties"].items():
        reference = shape.get("items", shape)
        if "$ref" not in reference:
            found[""].add(name)
            continue
        definition = document["definitions"][reference["$ref"].rsplit("/", 1)[1]]
        found[name] = set(definition["properties"])
    return found


@pytest.fixture(scope="session")
def texts():
    return TEXTS


@pytest.fixture(scope="session")
def plain():
    """Each topic as one line, so that a phrase is found wherever it was broken."""
    return {name: " ".join(text.split()) for name, text in TEXTS.items()}


@pytest.fixture(scope="session")
def sections():
    return keys_of_schema()


@pytest.fixture(scope="session")
def blocks():
    return {name: indented(text) for name, text in TEXTS.items()}


@pytest.fixture(scope="session")
def pieces():
    return {name: examples(text) for name, text in TEXTS.items()}


@pytest.fixture(scope="session")
def result():
    """The JSON document of a result."""
    return _MAKERS["invented"]().to_dict()
