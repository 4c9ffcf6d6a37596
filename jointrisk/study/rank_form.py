"""The likeliest way in which each leading mode comes about: design points and their directions.

For one rod over the life, each mode on its own: the point of standard normal scores nearest to
the origin at which the resistance of that mode falls to the load (first-order reliability
method; Hasofer & Lind 1974, the search: see `reliability.form`). The largest load of the life
has a score of its own. The square of a direction cosine is the part of the distance that a
variable takes. The strength is that of the end of the life; joints are sound, or one is forced
to be weak or undone by damp, since a label has no slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import ndtr

from jointrisk.model.bond import BOND_MODES, WALL
from jointrisk.model.limit_state import largest
from jointrisk.model.loads import lasting_range, line_factor, sustained_sum
from jointrisk.model.members import TIMED, modes_of
from jointrisk.model.rodset import rod_set
from jointrisk.reliability.form import design_point
from jointrisk.reliability.ladder import ladder
from jointrisk.study.proposal import one_joint
from jointrisk.study.rank_results import DesignPoint, Direction

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from jointrisk.model.rodset import RodSet
    from jointrisk.scenario.types import Load, Scenario

    Array = npt.NDArray[np.float64]
    Joint = Literal["sound", "weak", "undone by damp", "any"]
    End = Literal["either", "first", "second"]

STARTS = (2.0, 4.0)
"""Distances of points of lowest margin from which the search sets out [-]."""
SINGLE_STARTS = (
    ("preparation.plug", -2.0),
    ("preparation.tube", -2.0),
    ("preparation.second_plug", -2.0),
    ("preparation.second_tube", -2.0),
    ("service.hottest", 3.0),
)
"""Other starts: one score moved [-]."""
BESIDE = 0.15
"""Share of such a step that is right beside a point [-]."""
RAY_STEPS, BISECTIONS = 36, 18
NEARER = 0.1
"""A point this much farther out than the crossing it was sought from is none [-]."""
ALIKE = 0.97
"""Points whose directions have a larger cosine are one [-]."""
BEYOND = 0.7
"""Points this much farther out than the nearest are left out [-]."""
MOST_POINTS = 3
"""Points of one limit that are sought and told."""
FARTHEST = 9.0
"""Design points farther out are not told: no such chance means anything [-]."""
ITERATIONS = 30
SMALLEST, LARGEST = 1e-300, 1e300
LEAST_SHARE = 1e-3
"""Directions with a smaller share of the distance are left out [-]."""
NEAR_ZERO = 0.02
"""Margin ln(R/D) that counts as none where the search did not settle [-]."""


@dataclass(frozen=True, slots=True)
class _Space:
    """Scores of one rod and of its largest loads."""

    single: RodSet
    loads: tuple[Load, ...]
    moving: npt.NDArray[np.intp]
    """Columns that may move: those of one end, the rod, what is shared, and the loads."""
    end: int

    @property
    def dimension(self) -> int:
        return self.single.layout.dimension + len(self.loads)

    def full(self, scores: Array) -> Array:
        """Lay the scores that move, (n, m), among all, (n, d)."""
        u = np.zeros((scores.shape[0], self.dimension))
        u[:, self.moving] = scores
        return u


def design_points(scenario: Scenario, modes: Sequence[str]) -> tuple[DesignPoint, ...]:
    """Search the bond and each other leading mode, of sound joints and of poor ones.

    The bond is one limit, wherever it lets go; each of its points is told under the mode that
    governs there.

    Parameters
    ----------
    scenario : Scenario
    modes : sequence of str
        Names of the modes that are looked for, in the order of the result.
    """
    single = rod_set(scenario, rods=1)
    loads = tuple(load for load in scenario.loads if not load.lasting)
    ends = range(2 if single.layout.second else 1)
    found: list[DesignPoint] = []
    for places in _limits(scenario, modes):
        for joint, label in _joints(single, places):
            points = [
                point
                for end in ends
                for point in _search(_space(single, loads, end), places, joint, label)
            ]
            found += _nearest(points)
    return tuple(found)


def _nearest(points: Sequence[DesignPoint]) -> list[DesignPoint]:
    """Return the nearest points of both ends; where none has a distance, one that says so."""
    known = [point for point in points if point.beta is not None]
    if not known:
        return list(points[:1])
    known.sort(key=lambda point: point.beta or 0.0)
    limit = (known[0].beta or 0.0) + BEYOND
    return [point for point in known if (point.beta or 0.0) <= limit]


def _limits(scenario: Scenario, modes: Sequence[str]) -> list[tuple[int, ...]]:
    """Return the places of the modes of each limit: the ways of the bond are one."""
    names = modes_of(scenario)
    asked = [names.index(mode) for mode in modes]
    bond = tuple(place for place, mode in enumerate(BOND_MODES) if mode != WALL)
    found: list[tuple[int, ...]] = []
    for place in asked:
        limit = bond if place in bond else (place,)
        if limit not in found:
            found.append(limit)
    return found


def _space(single: RodSet, loads: tuple[Load, ...], end: int) -> _Space:
    active = np.append(one_joint(single, end), np.ones(len(loads), dtype=bool))
    return _Space(single, loads, np.flatnonzero(active), end)


def _joints(single: RodSet, places: tuple[int, ...]) -> list[tuple[Joint, int | None]]:
    """Return the kinds of joint that a limit is searched for, each with its first label."""
    mode = modes_of(single.scenario)[places[0]]
    if places[0] >= len(BOND_MODES) and mode not in TIMED:
        return [("any", None)]
    layout = single.layout
    kinds: list[tuple[Joint, int | None]] = [("sound", None)]
    if layout.weak_joint_labels.stop > layout.weak_joint_labels.start:
        kinds.append(("weak", layout.weak_joint_labels.start))
    if layout.latent_joint_labels.stop > layout.latent_joint_labels.start:
        kinds.append(("undone by damp", layout.latent_joint_labels.start))
    return kinds if mode != WALL else kinds[:1]


def _search(
    space: _Space, places: tuple[int, ...], joint: Joint, first_label: int | None
) -> list[DesignPoint]:
    """Search one limit from several starts; none where it does not act.

    Where the margin has a cliff the search does not settle: the nearest crossing along a ray
    stands in.
    """
    label = None if first_label is None else first_label + space.end
    margin = _margin(space, places, label)
    middle = float(margin(np.zeros((1, space.moving.size)))[0])
    names = modes_of(space.single.scenario)
    end = _end(space)
    if not np.isfinite(middle):
        return []
    if middle < 0.0:
        return [DesignPoint((names[places[0]],), joint, end, None, False, ())]
    crossings = [u for u, _ in _apart([(u, False) for u in _crossings(space, margin)], np.inf)]
    points = [_settled(margin, crossing) for crossing in crossings]
    result: list[DesignPoint] = []
    for u, settled in _apart(points, BEYOND):
        length = float(np.linalg.norm(u))
        modes = dict.fromkeys(names[place] for place in _governs(space, places, u, label))
        shares = _directions(space, u / length)
        result.append(DesignPoint(tuple(modes), joint, end, length, settled, shares))
    return result


def _end(space: _Space) -> End:
    if not space.single.layout.second:
        return "either"
    return "second" if space.end else "first"


def _settled(margin: Callable[[Array], Array], crossing: Array) -> tuple[Array, bool]:
    """Return the nearest point from a crossing, and whether the search settled on it."""
    point = design_point(margin, crossing.size, crossing, max_iterations=ITERATIONS, forward=True)
    nearer = 0.0 < point.beta <= np.linalg.norm(crossing) + NEARER
    if nearer and (point.converged or abs(point.margin) < NEAR_ZERO):
        return point.u, True
    return crossing, False


def _starts(space: _Space, margin: Callable[[Array], Array]) -> Array:
    """Return points to set out from, (k, m): downhill, from poor surfaces, and too hot."""
    size = space.moving.size
    starts = list(ladder(margin, size, STARTS, iterations=2))
    for start in _one_score_starts(space):
        starts += [start, *ladder(_from(margin, start), size, STARTS[:1], iterations=1)]
    rows = np.array([start for start in starts if start.any()])
    return rows.reshape(-1, size)


def _one_score_starts(space: _Space) -> list[Array]:
    layout = space.single.layout
    found = []
    for key, score in SINGLE_STARTS:
        columns = layout.columns.get(key, slice(0, 0))
        for place, column in enumerate(space.moving):
            if columns.start <= column < columns.stop:
                start = np.zeros(space.moving.size)
                start[place] = score
                found.append(start)
    return found


def _from(margin: Callable[[Array], Array], start: Array) -> Callable[[Array], Array]:
    return lambda scores: margin(scores + start)


def _crossings(space: _Space, margin: Callable[[Array], Array]) -> Array:
    """Return where each ray through a start first meets margin 0, (k, m); those that do."""
    starts = _starts(space, margin)
    if not starts.size:
        return starts
    rays = starts / np.linalg.norm(starts, axis=1, keepdims=True)
    steps = np.linspace(0.0, FARTHEST, RAY_STEPS + 1)[1:]
    values = margin((rays[:, None] * steps[:, None]).reshape(-1, rays.shape[1]))
    below = values.reshape(rays.shape[0], -1) < 0.0
    rays, below = rays[below.any(axis=1)], below[below.any(axis=1)]
    high = steps[below.argmax(axis=1)]
    low = high - steps[0]
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        fails = margin(rays * middle[:, None]) < 0.0
        low, high = np.where(fails, low, middle), np.where(fails, middle, high)
    return np.asarray(rays * high[:, None])


def _apart(points: Sequence[tuple[Array, bool]], beyond: float) -> list[tuple[Array, bool]]:
    """Return the nearest points, those in like directions once, none `beyond` the nearest."""
    order = sorted(points, key=lambda point: float(np.linalg.norm(point[0])))
    kept: list[tuple[Array, bool]] = []
    for u, settled in order:
        if kept and float(np.linalg.norm(u)) > float(np.linalg.norm(kept[0][0])) + beyond:
            break
        if not any(_cosine(u, other) > ALIKE for other, _ in kept):
            kept.append((u, settled))
    return kept[:MOST_POINTS]


def _cosine(first: Array, second: Array) -> float:
    return float(first @ second / np.linalg.norm(first) / np.linalg.norm(second))


def _governs(space: _Space, places: tuple[int, ...], u: Array, label: int | None) -> list[int]:
    """Return which of the modes has the least strength at a point, or right beside it."""
    if len(places) == 1:
        return list(places)
    single = space.single
    beside = [u, *(u + BESIDE * start for start in _one_score_starts(space) if start.min() < 0.0)]
    values = single.values(space.full(np.array(beside))[:, : single.layout.dimension])
    labels = np.zeros((len(beside), single.layout.label_count), dtype=bool)
    if label is not None:
        labels[:, label] = True
    strength = single.resistance(values, labels, with_rig=False)
    pull = strength.pull if strength.push is None else np.minimum(strength.pull, strength.push)
    least = pull[list(places)].min(axis=1).argmin(axis=0)
    return [places[int(place)] for place in dict.fromkeys(least.tolist())]


def _margin(space: _Space, places: tuple[int, ...], label: int | None) -> Callable[[Array], Array]:
    """Return ln(R/D) of one limit under the largest loads of the life, from moving scores."""
    single = space.single
    mode = modes_of(single.scenario)[places[0]]
    own = list(places)

    def margin(scores: Array) -> Array:
        u = space.full(scores)
        n = u.shape[0]
        values = single.values(u[:, : single.layout.dimension])
        labels = np.zeros((n, single.layout.label_count), dtype=bool)
        if label is not None:
            labels[:, label] = True
        if mode in TIMED:
            return np.asarray(single.joint_wear(values, labels)[mode][space.end])
        strength = single.resistance(values, labels, with_rig=False)
        push = None if strength.push is None else strength.push[own].min(axis=0)
        return _against_loads(space, values, u, strength.pull[own].min(axis=0), push)

    return margin


def _against_loads(
    space: _Space, values: Mapping[str, Array], u: Array, pull: Array, push: Array | None
) -> Array:
    """Return the lowest ln(R/D) over loads and directions, (n,) [-]."""
    scenario = space.single.scenario
    steady = sustained_sum(scenario, values)
    highest, lowest = lasting_range(scenario, values)
    rooms = [_log(pull) - _log(np.maximum(highest, SMALLEST))]
    if push is not None:
        rooms.append(_log(push) - _log(np.maximum(-lowest, SMALLEST)))
    margin = np.min([room.min(axis=0) for room in np.broadcast_arrays(*rooms)], axis=0)
    for number, load in enumerate(space.loads):
        score = u[:, space.single.layout.dimension + number]
        factor = values["model.load_factor"] * line_factor(load, values)
        size = _largest(load, scenario.life, score) * factor
        for direction, resistance, sign in (("pull", pull, 1.0), ("push", push, -1.0)):
            if resistance is not None and load.direction in (direction, "both"):
                demand = np.minimum(sign * steady + size, LARGEST)  # far out a load has no end
                margin = np.minimum(margin, (_log(resistance) - _log(demand)).min(axis=0))
    return np.asarray(margin)


def _log(values: Array) -> Array:
    return np.asarray(np.log(np.maximum(values, SMALLEST)))


def _largest(load: Load, years: float, score: Array) -> Array:
    """Return the largest size of a life from its score, (n,) [N]."""
    spread = largest(load, years)
    if spread is not None:
        return np.asarray(spread.from_normal(score))
    return np.asarray(load.size.spread.ppf(ndtr(score) ** (1.0 / years)))


def _directions(space: _Space, alpha: Array) -> tuple[Direction, ...]:
    """Sum squares over the copies of a key, and over keys that are correlated."""
    layout, variables = space.single.layout, space.single.variables
    full = space.full(alpha[None])[0]
    groups = [group.keys for group in space.single.groups]
    tied = {key for keys in groups for key in keys}
    players = [(key,) for key in layout.columns if key not in tied] + groups
    found = []
    for keys in players:
        part = np.concatenate([full[layout.columns[key]] for key in keys])
        name = " and ".join(variables[key].label for key in keys)
        found.append(_direction(", ".join(keys), name, part))
    for number, load in enumerate(space.loads):
        part = full[layout.dimension + number :][:1]
        found.append(_direction(load.size.key, f"largest {load.size.label} of the life", part))
    found = [entry for entry in found if entry.share >= LEAST_SHARE]
    return tuple(sorted(found, key=lambda entry: -entry.share))


def _direction(key: str, name: str, part: Array) -> Direction:
    moved = part[np.abs(part) > 0.0]
    signs = set(np.sign(moved))
    towards: Literal["low", "high", "both"] = "both"
    if len(signs) == 1:
        towards = "high" if 1.0 in signs else "low"
    return Direction(key, name, float(part @ part), towards)
