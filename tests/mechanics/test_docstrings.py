"""The docstrings of the room are a contract: names as in the signature, a unit on each."""

import importlib
import inspect
import pkgutil
import re

import pytest

import jointrisk.mechanics as room

UNITS = {
    "mm", "mm2", "N", "N mm", "MPa", "N/mm", "-", "degC", "1/K", "years", "mm/MPa", "1/(MPa mm)",
    "any", "any, -", "degC, -", "mm, -", "same as value", "same as each other",
    "same as the first column",
}  # fmt: skip
WITHOUT_UNIT = re.compile(r": (str|callable|mapping)")


def public_functions():
    for module in pkgutil.iter_modules(room.__path__):
        loaded = importlib.import_module(f"jointrisk.mechanics.{module.name}")
        for name in loaded.__all__:
            thing = getattr(loaded, name)
            if inspect.isfunction(thing) and thing.__module__ == loaded.__name__:
                yield pytest.param(thing, id=f"{module.name}.{name}")


FUNCTIONS = list(public_functions())


def documented(function):
    """Lines that name parameters, as (names, rest)."""
    text = inspect.getdoc(function)
    found = re.search(r"Parameters\n-+\n(.*?)(?=\n\n[A-Z]\w+\n-+\n|\Z)", text, re.DOTALL)
    for line in found[1].splitlines() if found else []:
        if match := re.match(r"(\**\w+(?:, \**\w+)*)( : .*)", line):
            yield [name.strip("*") for name in match[1].split(", ")], match[2]


@pytest.mark.parametrize("function", FUNCTIONS)
def test_parameters_in_order(function):
    names = [name for names, _ in documented(function) for name in names]
    signature = list(inspect.signature(function).parameters)
    assert sorted(names) == sorted(signature)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_units_in_brackets(function):
    for names, rest in documented(function):
        if WITHOUT_UNIT.match(rest[1:]):
            continue
        unit = re.search(r"\[([^\]]+)\]$", rest)
        assert unit, names
        assert unit[1] in UNITS, (names, unit[1])


@pytest.mark.parametrize("function", FUNCTIONS)
def test_what_is_raised_is_told(function):
    source = inspect.getsource(function)
    if "real(" in source and function.__name__ != "real":
        assert "Raises\n" in inspect.getdoc(function)
        assert "InputError" in inspect.getdoc(function)


def test_no_word_that_promises():
    for module in pkgutil.iter_modules(room.__path__):
        source = inspect.getsource(importlib.import_module(f"jointrisk.mechanics.{module.name}"))
        assert not re.search(r"\bsafe", source, re.IGNORECASE)
        assert len(source.splitlines()) <= 400


@pytest.mark.parametrize("function", FUNCTIONS)
def test_bodies_are_short(function):
    source = inspect.getsource(function).split('"""')
    assert len(source[-1].strip().splitlines()) <= 40
