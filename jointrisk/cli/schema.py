"""`jointrisk schema`: the JSON Schema of a scenario."""

from __future__ import annotations

from jointrisk.cli.shared import show


def command() -> None:
    """Print the JSON Schema of a scenario, for editors."""
    import json

    from jointrisk.scenario.read import schema

    show(json.dumps(schema(), indent=2, ensure_ascii=False) + "\n")
