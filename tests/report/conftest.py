import runpy
from pathlib import Path

import pytest

_MAKERS = runpy.run_path(str(Path(__file__).with_name("invented.py")))


@pytest.fixture
def invented():
    return _MAKERS["invented"]


@pytest.fixture
def assessment(invented):
    return invented()


@pytest.fixture
def without_load():
    return _MAKERS["without_load"]()
