import runpy
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

import jointrisk
from jointrisk.cli import app

_MAKERS = runpy.run_path(str(Path(__file__).parents[1] / "report" / "invented.py"))


@pytest.fixture
def invented():
    return _MAKERS["invented"]


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run the command with words, in a folder of its own, and return status and both streams."""
    monkeypatch.chdir(tmp_path)
    for name in ("FORCE_COLOR", "NO_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["jointrisk", *map(str, words)])
        with pytest.raises(SystemExit) as left:
            app.main()
        shown = capsys.readouterr()
        return SimpleNamespace(status=left.value.code or 0, out=shown.out, err=shown.err)

    return call


@pytest.fixture
def study(monkeypatch, invented):
    """Put an invented result in the place of the study; keep what it was asked."""
    asked = SimpleNamespace(result=invented(), calls=[])
    scenario = SimpleNamespace(loads=("a",), target="b", title="t")
    asked.scenario = scenario

    def assess(given, *, seed=None, pool=None, curves=True):
        asked.calls.append((given, seed, pool))
        if isinstance(asked.result, BaseException):
            raise asked.result
        return asked.result

    monkeypatch.setattr(jointrisk, "load", lambda path, *, option=None: scenario, raising=False)
    monkeypatch.setattr(jointrisk, "assess", assess, raising=False)
    return asked
