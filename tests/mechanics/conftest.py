import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest


def _load_oracle():
    path = Path(__file__).with_name("oracle.py")
    spec = importlib.util.spec_from_file_location("mechanics_oracle", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def oracle():
    return _load_oracle()


@pytest.fixture
def joint():
    """A workshop joint: 14 mm aluminium plug in a 16 mm carbon tube, ductile epoxy."""
    return {
        "tube_outer_radius": 8.0,
        "plug_radius": 6.8,
        "gap": 0.2,
        "overlap": 30.0,
        "tube_modulus": 100_000.0,
        "plug_modulus": 70_000.0,
        "plug_bore_radius": 3.4,
        "adhesive_shear_modulus": 700.0,
        "adhesive_shear_strength": 25.0,
    }


@pytest.fixture
def many():
    """A maker of random joints, wide but physical: many(n) gives arrays without a law."""

    def make(n, seed=0):
        rng = np.random.default_rng(seed)
        plug, gap = rng.uniform(3, 12, n), 10 ** rng.uniform(-1.7, 0, n)
        return {
            "plug_radius": plug,
            "gap": gap,
            "tube_outer_radius": plug + gap + 10 ** rng.uniform(-0.3, 0.8, n),
            "overlap": 10 ** rng.uniform(0.3, 2.2, n),
            "tube_modulus": 10 ** rng.uniform(4.0, 5.4, n),
            "plug_modulus": 10 ** rng.uniform(4.0, 5.4, n),
            "plug_bore_radius": plug * rng.choice([0.0, 0.4, 0.8], n),
            "adhesive_shear_modulus": 10 ** rng.uniform(1.8, 3.2, n),
            "adhesive_shear_strength": 10 ** rng.uniform(0.7, 1.8, n),
        }

    return make
