import runpy
from pathlib import Path

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
