import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def oracles():
    """The siblings' shared oracles; test folders are no packages."""
    path = Path(__file__).with_name("oracles.py")
    spec = importlib.util.spec_from_file_location("study_oracles", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
