import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

_MAKERS = runpy.run_path(str(Path(__file__).with_name("invented.py")))


@pytest.fixture(scope="session")
def invented():
    return _MAKERS["invented"]


@pytest.fixture(scope="session")
def assessment(invented):
    return invented()


@pytest.fixture(scope="session")
def end():
    return _MAKERS["end"]


@pytest.fixture(scope="session")
def without_load():
    return _MAKERS["without_load"]()


@pytest.fixture(scope="session")
def pulled():
    """Return the makers of hand-made answers about pulls, by name."""
    made = runpy.run_path(str(Path(__file__).with_name("invented_proof.py")))
    names = ("about", "effect", "invented_proof", "no_pull", "not_judged")
    return SimpleNamespace(**{name: made[name] for name in names})
