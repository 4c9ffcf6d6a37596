"""Docstrings are read like code: they say what the signature says, with units and sources."""

import builtins
import importlib
import inspect
import pkgutil
import re
from dataclasses import dataclass
from functools import cached_property

import pytest

import jointrisk
from jointrisk import errors, mechanics, report, scenario, spread
from jointrisk.mechanics import tubular

WITHOUT_UNIT = re.compile(
    r"(int|str|bool|path|callable|mapping|dict|object|type|sequence|list|function|Generator)\b"
)
NUMERIC = re.compile(r"\b(float|ndarray|array_like)\b")
NUMERIC_ROOMS = ("mechanics", "reliability", "spread")
MECHANICS_UNITS = {
    "mm", "mm2", "N", "N mm", "MPa", "N/mm", "-", "degC", "1/K", "years", "mm/MPa", "1/(MPa mm)",
    "1/years", "any", "any, -", "degC, -", "mm, -", "same as value", "same as each other",
    "same as the first column",
}  # fmt: skip
FORMULA = re.compile(r"[\w)\]²₀₁′]\s=\s[\w(−√∫ΣΦ-]")
FOUNDED = re.compile(
    r"(19|20)\d\d|\bISO\b|\bEN\b|\bASME\b|\bNIST\b|\bDLMF\b|\bFED-STD|[Dd]eriv|[Dd]efin"
    r"|[Ss]ource|[Tt]ext ?book|[Ff]rom memory|[Ee]quilibrium"
)
PUBLIC = {
    **{f"jointrisk.{name}": getattr(jointrisk, name) for name in ("assess", "load", "load_text")},
    "report.save": report.save,
    "scenario.describe": scenario.describe,
    **{f"spread.{name}": getattr(spread, name) for name in ("fit", "compare_fits", "basis_value")},
    **{
        f"reliability.{name}": getattr(jointrisk.reliability, name)
        for name in ("estimate", "screen", "smallest_load")
    },
}


# Reading ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Docstring:
    """A numpy docstring taken apart."""

    text: str

    @cached_property
    def sections(self):
        """Text of each section by its heading; "" holds what stands before the first."""
        found, name = {"": []}, ""
        lines = self.text.splitlines()
        for line, below in zip(lines, [*lines[1:], ""], strict=True):
            if re.fullmatch(r"-{3,}", below) and len(below) == len(line):
                name = line
                found[name] = []
            elif not re.fullmatch(r"-{3,}", line):
                found[name].append(line)
        return {name: "\n".join(body).strip("\n") for name, body in found.items()}

    @cached_property
    def parameters(self):
        """Each documented parameter with what stands behind its name, and its description."""
        found, names = {}, []
        for line in self.sections.get("Parameters", "").splitlines():
            head = re.fullmatch(r"(\**\w+(?:, \**\w+)*)(?: : (.*))?", line)
            if head:
                names = [name.strip("*") for name in head[1].split(", ")]
                found |= dict.fromkeys(names, head[2] or "")
            elif names and line.strip():
                found |= {name: f"{found[name]}\n{line.strip()}" for name in names}
        return found

    @cached_property
    def raised(self):
        """Names of the errors under Raises."""
        return [line for line in self.sections.get("Raises", "").splitlines() if line[:1].strip()]


def names_of(module):
    public = [name for name in vars(module) if not name.startswith("_")]
    return getattr(module, "__all__", public)


def modules():
    yield "jointrisk", jointrisk
    for found in pkgutil.walk_packages(jointrisk.__path__, "jointrisk."):
        if not found.name.rpartition(".")[2].startswith("_"):
            yield found.name.removeprefix("jointrisk."), importlib.import_module(found.name)


def public_things():
    """Every public module, class, function, method and property that is written here, once."""
    for path, module in modules():
        yield path, module
        for name in names_of(module):
            thing = getattr(module, name)
            if getattr(thing, "__module__", "") != module.__name__:
                continue
            if inspect.isclass(thing):
                yield f"{path}.{name}", thing
                yield from methods(f"{path}.{name}", thing)
            elif inspect.isfunction(thing) or hasattr(thing, "__wrapped__"):
                yield f"{path}.{name}", thing


def methods(path, thing):
    for name, entry in vars(thing).items():
        inner = getattr(entry, "fget", getattr(entry, "__func__", entry))
        if not name.startswith("_") and inspect.isfunction(inner):
            yield f"{path}.{name}", inner


THINGS = dict(public_things())
CALLED = {name: thing for name, thing in THINGS.items() if inspect.isroutine(thing)}
CLASSES = {name: thing for name, thing in THINGS.items() if inspect.isclass(thing)}
TOLD = {
    name: thing
    for name, thing in (CALLED | CLASSES).items()
    if "Parameters" in Docstring(inspect.getdoc(thing) or "").sections
}


def each(things):
    return pytest.mark.parametrize("thing", [pytest.param(t, id=n) for n, t in things.items()])


def room_of(thing):
    module = thing.__name__ if inspect.ismodule(thing) else thing.__module__
    return [*module.split("."), ""][1]


def signature_of(thing):
    return [name for name in inspect.signature(thing).parameters if name not in ("self", "cls")]


def is_number(annotation, told):
    """Return whether a parameter holds numbers, by its annotation and by what is told of it.

    A whole number is a count, and one that is told "As in" another function has its unit there.
    """
    first, _, rest = told.partition("\n")
    if WITHOUT_UNIT.match(first) or (not first and rest.startswith("As in `")):
        return False
    text = str(annotation)
    return bool(NUMERIC.search(first) or re.search(r"\b(float|Array|FloatArray|ArrayLike)\b", text))


# What must hold --------------------------------------------------------------------------------


def test_the_reader_takes_a_docstring_apart():
    found = Docstring(
        "Do it.\n\nParameters\n----------\na, b : float [mm]\n    Two.\n*rest : str\n\n"
        "Returns\n-------\nfloat [N]\n    F = a b.\n\nRaises\n------\nInputError\n    Never."
    )
    assert list(found.sections) == ["", "Parameters", "Returns", "Raises"]
    assert found.parameters == {"a": "float [mm]\nTwo.", "b": "float [mm]\nTwo.", "rest": "str"}
    assert found.raised == ["InputError"]
    assert len(CALLED) > 250
    assert len(TOLD) > 100


@each(THINGS)
def test_everything_public_is_explained_in_a_sentence(thing):
    first = (inspect.getdoc(thing) or "").split("\n\n")[0]
    assert first.endswith((".", "?", ":")), first
    assert len(first.split()) >= 2


@each(TOLD)
def test_parameters_are_those_of_the_signature(thing):
    told = list(Docstring(inspect.getdoc(thing)).parameters)
    assert sorted(told) == sorted(signature_of(thing))


@each(TOLD)
def test_a_number_has_a_unit_or_a_shape(thing):
    signature = inspect.signature(thing).parameters
    for name, told in Docstring(inspect.getdoc(thing)).parameters.items():
        if is_number(signature[name].annotation, told):
            assert re.search(r"\[[^\]]+\]|\(\w+,", told), f"{name} : {told}"


@each({name: thing for name, thing in TOLD.items() if room_of(thing) == "mechanics"})
def test_in_mechanics_each_parameter_has_one_of_a_few_units(thing):
    for name, told in Docstring(inspect.getdoc(thing)).parameters.items():
        head = told.split("\n")[0]
        if re.match(r"(str|callable|mapping)\b", head):
            continue
        unit = re.search(r"\[([^\]]+)\]$", head)
        assert unit, f"{name} : {told}"
        assert unit[1] in MECHANICS_UNITS, name


def with_formula():
    for name, thing in (CALLED | CLASSES).items():
        if room_of(thing) in NUMERIC_ROOMS:
            sections = Docstring(inspect.getdoc(thing)).sections
            said = "\n".join(sections.get(part, "") for part in ("Notes", "Returns"))
            if FORMULA.search(said):
                yield name, thing


@each(dict(with_formula()))
def test_a_formula_has_a_source(thing):
    said = inspect.getdoc(thing) + (inspect.getmodule(thing).__doc__ or "")
    assert FOUNDED.search(said)


@each({n: t for n, t in (CALLED | CLASSES).items() if "Raises" in (inspect.getdoc(t) or "")})
def test_errors_named_are_errors(thing):
    raised = Docstring(inspect.getdoc(thing)).raised
    assert raised
    for line in raised:
        for name in line.split(", "):
            *home, last = name.split(".")
            place = importlib.import_module(".".join(home)) if home else errors
            found = getattr(place, last, None) or getattr(builtins, last, None)
            assert found is not None, name
            assert issubclass(found, Exception)


@each({n: t for n, t in CALLED.items() if room_of(t) == "mechanics"})
def test_in_mechanics_what_is_refused_is_told(thing):
    if "real(" in inspect.getsource(thing) and thing.__name__ != "real":
        assert "InputError" in Docstring(inspect.getdoc(thing)).raised


def api():
    """What programs outside rely on."""
    yield from PUBLIC.items()
    yield from {f"tubular.{n}": getattr(tubular, n) for n in ("pull_out", "elastic_shear")}.items()


@each(dict(api()))
def test_the_public_functions_tell_what_goes_in_and_comes_out(thing):
    assert {"Parameters", "Returns"} <= set(Docstring(inspect.getdoc(thing)).sections)


@each({f"spread.{n}": t for n in spread.__all__ if inspect.isclass(t := getattr(spread, n))})
def test_every_spread_tells_its_parameters(thing):
    if not inspect.isabstract(thing) and inspect.signature(thing).parameters:
        assert "Parameters" in Docstring(inspect.getdoc(thing)).sections


@each({f"mechanics.{f.name}": importlib.import_module(f"jointrisk.mechanics.{f.name}")
       for f in pkgutil.iter_modules(mechanics.__path__)})  # fmt: skip
def test_files_and_functions_of_mechanics_stay_short_and_promise_nothing(thing):
    source = inspect.getsource(thing)
    assert len(source.splitlines()) <= 400
    assert not re.search(r"\bsafe", source, re.IGNORECASE)
    for name in thing.__all__:
        function = getattr(thing, name)
        if inspect.isfunction(function) and function.__module__ == thing.__name__:
            body = inspect.getsource(function).split('"""')[-1]
            assert len(body.strip().splitlines()) <= 40, name
