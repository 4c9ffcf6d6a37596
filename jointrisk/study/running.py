"""What a result says of its run."""

from __future__ import annotations

import os
import platform
import sys
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.study.judgement import CONFIDENCE

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario


def run_of(scenario: Scenario, seed: int) -> dict[str, Any]:
    """Return what the numbers of a run hang on."""
    import scipy

    import jointrisk

    return {
        "seed": seed,
        "versions": {
            "jointrisk": jointrisk.__version__,
            "python": platform.python_version(),
            "numpy": np.__version__,
            "scipy": scipy.__version__,
        },
        "scenario_sha256": scenario.sha256,
        "option": scenario.option,
        "options": {"confidence": CONFIDENCE},
    }


def host_of(started: float, pool: Any) -> dict[str, Any]:
    """Return what of a run differs from machine to machine."""
    return {
        "started_utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(started)),
        "seconds": time.time() - started,
        "machine": f"{platform.system()} {platform.machine()}, {os.cpu_count()} processors",
        "jobs": getattr(pool, "_max_workers", 1),
        "program": os.path.basename(sys.argv[0]),
    }
