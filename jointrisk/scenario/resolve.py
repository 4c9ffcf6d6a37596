"""From the file's shape to a `Scenario`: defaults filled in, everything checked together."""

from __future__ import annotations

from typing import Any

from jointrisk.errors import Problem, ScenarioError
from jointrisk.scenario import ageing, bond, inline, members, rig, use
from jointrisk.scenario.checks import check_together
from jointrisk.scenario.ledger import Ledger
from jointrisk.scenario.problems import keys_of
from jointrisk.scenario.shape import File, Section
from jointrisk.scenario.types import Money, Scenario

__all__ = ["DEFAULT_SEED", "resolve"]

DEFAULT_SEED = 1


def resolve(
    file: File, *, problems: list[Problem], skip: set[str], path: str, sha256: str
) -> Scenario:
    """Return the scenario, or raise with all problems of the file.

    Raises
    ------
    ScenarioError
        Where `problems` holds any already, or more are found.
    """
    sleeve = file.plug is None and "plug" not in skip and (file.sleeve or "sleeve" in skip)
    ledger = Ledger(_flat(file), skip, list(problems), end="sleeve" if sleeve else "plug")
    fields = _set_up(ledger, file) | _members_and_bond(ledger, file) | _use(ledger, file)
    check_together(ledger, fields)
    if ledger.problems:
        raise ScenarioError(path, _in_order(ledger.problems))
    return Scenario(
        title=file.title or "",
        note=file.note or "",
        path=path,
        sha256=sha256,
        variables=ledger.variables,
        assumptions=tuple(ledger.assumptions),
        warnings=tuple(ledger.warnings),
        **fields,
    )


def _set_up(ledger: Ledger, file: File) -> dict[str, Any]:
    """Return what is known of the set of rods as a whole."""
    rods = ledger.fact("rods.count", file.rods.count) or 1
    return {
        "seed": _seed(ledger, file),
        "rods": rods,
        "rods_per_batch": _per_batch(ledger, file, rods),
        "life": use.resolve_life(ledger, file.load),
        "end_fixity": _fixity(ledger, file),
        "cost": _cost(ledger, file),
        "mass": _mass(ledger),
        "shoulder": bool(ledger.fact("rods.shoulder", file.rods.shoulder)),
    }


def _members_and_bond(ledger: Ledger, file: File) -> dict[str, Any]:
    """Resolve tube, plug, thread, bond and what is in line; return their plain facts."""
    composite, wall = members.resolve_tube(ledger)
    members.resolve_rods(ledger)
    thread = members.resolve_thread(ledger)
    members.resolve_end(ledger, thread)
    second_thread = members.resolve_second(ledger, thread)
    members.resolve_fit(ledger)
    joint = bond.resolve_bond(ledger)
    return {
        "end": ledger.end,
        "tube_is_composite": composite,
        "wall_strength_by_temperature": wall,
        "thread": thread,
        "second_thread": second_thread,
        "rod_end": inline.resolve_rod_end(ledger),
        "backup": inline.resolve_backup(ledger),
        "parts": inline.resolve_parts(ledger, file.part),
        "adhesive_class": joint.adhesive_class,
        "evidence": joint.evidence,
        "toughness_given": joint.toughness_given,
        "strength_by_temperature": joint.strength_by_temperature,
        "hard_stop_temperature": joint.hard_stop,
        "gap_factor_points": joint.gap_factor,
    }


def _use(ledger: Ledger, file: File) -> dict[str, Any]:
    """Resolve how the rods are used and pulled."""
    use.resolve_service(ledger)
    target, loads = use.resolve_target(ledger, file.target), use.resolve_loads(ledger, file.load)
    pulls = use.resolve_pulls(ledger, file.pull)
    return {
        **ageing.resolve_ageing(ledger, file.life.slices, loads),
        "target": target,
        "loads": loads,
        "pulls": pulls,
        "proof": rig.resolve_proof(ledger, pulls),
        "correlations": use.resolve_correlations(ledger, file.correlation, loads),
    }


def _flat(file: File) -> dict[str, Any]:
    """Return what the file says by dotted key; lists of tables stay out."""
    found: dict[str, Any] = {}
    for name, attribute in keys_of(File).items():
        value = getattr(file, attribute)
        if isinstance(value, Section):
            inner = keys_of(type(value))
            pairs = {f"{name}.{key}": getattr(value, attr) for key, attr in inner.items()}
            found |= {key: item for key, item in pairs.items() if item is not None}
    return found


def _per_batch(ledger: Ledger, file: File, rods: int) -> int:
    count = file.batch.rods
    if count is None:
        if not ledger.broken("batch.rods"):
            source = "all rods glued in one go"
            ledger.assume("batch.rods", str(rods), "default", source, "judgement, no source")
        return rods
    ledger.assume("batch.rods", str(count), "scenario", "your scenario", "given")
    return min(count, rods)


def _seed(ledger: Ledger, file: File) -> int:
    if file.seed is None:
        source = "one fixed seed, so that two runs agree"
        ledger.assume("seed", str(DEFAULT_SEED), "default", source, "judgement, no source")
        return DEFAULT_SEED
    ledger.assume("seed", str(file.seed), "scenario", "your scenario", "given")
    return file.seed


def _fixity(ledger: Ledger, file: File) -> float:
    fixity = ledger.fact("rods.end_fixity", file.rods.end_fixity) or 1.0
    if not 0.5 <= fixity <= 2:
        what = "is out of range"
        expected = "0.5 (both ends clamped) to 2 (one end free); 1 for pins"
        ledger.problem("rods.end_fixity", what, f"{fixity:g}", expected)
    return fixity


def _cost(ledger: Ledger, file: File) -> Money | None:
    cost = file.rods.cost_per_rod
    return None if cost is None else ledger.fact("rods.cost_per_rod", cost)


def _mass(ledger: Ledger) -> float | None:
    """Return what one rod weighs [g], where it is given."""
    key = "rods.mass_per_rod"
    if key not in ledger.given:
        return None
    mass = ledger.one(key)
    if mass <= 0:
        ledger.problem(key, "is not above zero", ledger.given[key].text)
    return mass


def _in_order(problems: list[Problem]) -> list[Problem]:
    """Order problems as the tables of a file stand, each once."""
    order = {name: place for place, name in enumerate(keys_of(File))}
    unique = list(dict.fromkeys(problems))
    return sorted(unique, key=lambda p: order.get(p.key.split(".")[0].split("[")[0], -1))
