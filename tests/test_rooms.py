"""Which room may import which: data goes one way, from the file to the page."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "jointrisk"
MAY_IMPORT = {
    "errors": set(),
    "units": {"errors"},
    "spread": {"errors"},
    "mechanics": {"errors"},
    "reliability": {"spread", "errors"},
    "scenario": {"spread", "mechanics", "units", "errors"},
    "model": {"scenario", "mechanics", "spread", "errors"},
    "study": {"model", "reliability", "mechanics", "spread", "scenario", "errors"},
    "report": {"study", "units", "errors"},
    "guide": {"scenario", "errors"},
}
LEVEL_FREE = {"", "__init__", "__main__", "cli"}
SLOW = {"scipy.stats", "pandas", "matplotlib", "pydantic", "scipy.optimize"}
FILES = sorted(PACKAGE.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(node: ast.AST) -> list[str]:
    if isinstance(node, ast.ImportFrom) and node.module:
        return [node.module]
    return [alias.name for alias in node.names] if isinstance(node, ast.Import) else []


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_the_rooms_behind_it(path):
    room = room_of(path)
    if room in LEVEL_FREE:
        return
    own = {f"jointrisk.{room}"}
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        for name in imported(node):
            parts = name.split(".")
            if parts[0] != "jointrisk" or len(parts) == 1 or ".".join(parts[:2]) in own:
                continue
            assert parts[1] in MAY_IMPORT[room], f"{room} imports {name}"


def test_the_table_names_every_room():
    rooms = {room_of(path) for path in FILES} - LEVEL_FREE
    assert rooms == set(MAY_IMPORT)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_slow_is_imported_when_a_module_is(path):
    if path.name in {"shape.py", "problems.py", "values.py"} and room_of(path) == "scenario":
        return  # the schema itself: loaded only to read a file
    for node in ast.parse(path.read_text("utf-8")).body:
        for name in imported(node):
            assert name not in SLOW, f"{path.name} imports {name} at its top"
            assert name.split(".")[0] not in {"pandas", "matplotlib", "pydantic"}
