"""What the room may import, and what it may not load at once."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import jointrisk.report

ROOM = Path(jointrisk.report.__file__).parent
FILES = sorted(ROOM.glob("*.py"))
ALLOWED = (
    *("jointrisk.report", "jointrisk.study.results", "jointrisk.study.coupon"),
    *("jointrisk.study.proof_results", "jointrisk.study.way"),
    *("jointrisk.study.sweep_results", "jointrisk.study.rating_results"),
    *("jointrisk.study.compare_results", "jointrisk.study.rank_results"),
    *("jointrisk.study.doubts_results", "jointrisk.study.plan_results"),
    *("jointrisk.study.fit_results", "jointrisk.study.learn_results"),
    *("jointrisk.errors", "jointrisk.units"),
)
LATE = ("matplotlib", "jinja2", "pandas", "numpy", "scipy", "pydantic", "rich", "markupsafe")


def _imports(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            yield node.module, node


def _runs_at_import(tree, node):
    """Return whether the import stands at module level, outside `if TYPE_CHECKING`."""
    return node in tree.body


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_the_room_imports_only_results_units_and_errors(file):
    for name, _ in _imports(ast.parse(file.read_text(encoding="utf-8"))):
        if name.split(".")[0] == "jointrisk":
            assert name.startswith(ALLOWED), name


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_heavy_libraries_are_imported_where_they_are_used(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for name, node in _imports(tree):
        if name.split(".")[0] in LATE:
            assert not _runs_at_import(tree, node), name


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_nothing_is_printed_and_pyplot_stays_away(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    called = {
        n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and hasattr(n.func, "id")
    }
    assert not called & {"print", "exit", "input"}
    assert "pyplot" not in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_files_and_functions_stay_short(file):
    text = file.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 400
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno - node.lineno + 1 <= 41, node.name


def test_the_text_needs_no_drawing_library():
    code = (
        "import sys\n"
        "from jointrisk.report.text import text\n"
        "from jointrisk.report.document import json_text\n"
        f"print([m for m in {LATE} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout == "[]\n"
