"""What a bonded overlap holds, from its geometry and its layer: numbers taken as they are.

For callers who work out many states and limits of the same joints and whose numbers are known to
be in range; `jointrisk.mechanics.tubular` has the same with every argument checked.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from jointrisk.mechanics import shear_lag

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from jointrisk.mechanics.overlap import Overlap

    Array = npt.NDArray[np.float64]

__all__ = [
    "Firm",
    "Layer",
    "PullOut",
    "ductility",
    "firm",
    "force_below",
    "forces_below",
    "layer_of",
    "pull_out_of",
    "pull_outs_of",
    "softened",
]

_MOST_OFFSET = 0.95  # of the gap; beyond it metal touches metal
_AT_ONCE = 16384  # joints searched together


class Layer(NamedTuple):
    """Joints without units, as `jointrisk.mechanics.shear_lag` takes them."""

    length: Array
    """Overlap [-], (n,)."""
    share: Array
    """The plug's part of the compliance [-], (n,)."""
    misfit: Array
    """Misfit strain [-], (n,)."""
    capacity: Array
    """Slip at failure over slip at yield [-], (n,)."""
    unit: Array
    """Force of one unit [N], (n,)."""
    shape: tuple[int, ...]
    """Of the arguments taken together."""


class Firm(NamedTuple):
    """Joints at full strength and modulus, from which `softened` makes any other state."""

    length: Array
    """Overlap [-], (n,)."""
    share: Array
    """The plug's part of the compliance [-], (n,)."""
    strain: Array
    """Misfit without units over misfit strain [-], (n,)."""
    area: Array
    """Toughness over twice the area of the curve up to yield [-], (n,)."""
    centred: Array
    """Part of the slip that an off-centre plug leaves [-], (n,)."""
    unit: Array
    """Force of one unit [N], (n,)."""
    shape: tuple[int, ...]
    """Of the arguments taken together; each field but `centred` has it."""


@dataclass(frozen=True, slots=True)
class PullOut:
    """What a joint holds; every field has the common shape of the arguments."""

    force: npt.NDArray[np.float64]
    """Pull-out force, never negative [N]."""
    governs: npt.NDArray[np.int8]
    """What limits it: an index into `GOVERNS` [-]."""
    bounded: npt.NDArray[np.bool_]
    """True where misfit brings an end to reverse yield and `force` is a lower bound [-]."""
    _layer: Layer = field(repr=False, compare=False)

    @property
    def yield_force(self) -> Array:
        """tau_p P L, the force with the whole overlap yielding, (n,) [N]."""
        return np.asarray(_shaped(self._layer.length * self._layer.unit, self._layer.shape))[()]

    @property
    def first_yield(self) -> Array:
        """Force at which the layer leaves its elastic range, never above `force`, (n,) [N]."""
        length, share, misfit, _, unit, shape = self._layer
        elastic = np.minimum(
            shear_lag.elastic_load(length, share, -misfit, np.ones(1)),
            shear_lag.elastic_load(length, 1 - share, misfit, np.ones(1)),
        )
        least = np.minimum(np.maximum(elastic * unit, 0), np.ravel(self.force))
        return np.asarray(_shaped(least, shape))[()]

    @property
    def long_overlap_force(self) -> Array:
        """What the same joint would hold with an endless overlap, never negative, (n,) [N]."""
        _, share, misfit, capacity, unit, shape = self._layer
        load = shear_lag.long_overlap_load(share, misfit, capacity)
        return np.asarray(_shaped(np.maximum(load, 0) * unit, shape))[()]


def ductility(
    joint: Overlap, shear_modulus: Array, shear_strength: Array, toughness: Array
) -> Array:
    """Return the slip at which the layer fails over its slip at yield.

    Parameters
    ----------
    joint : Overlap, (n,) [any]
        From `jointrisk.mechanics.overlap.overlap_of`.
    shear_modulus, shear_strength : ndarray, (n,) [MPa]
        G and tau_p of the layer.
    toughness : ndarray, (n,) [N/mm]
        G_IIc, the area under the layer's stress-slip curve.

    Returns
    -------
    ndarray, (n,) [-]
        w + 1/2, w = G_IIc G/(t_a tau_p^2), t_a = r_m ln(r_i/r_p); where the layer breaks before
        it yields sqrt(2 w). Derived from the area under a curve that rises, then stays.
    """
    area = toughness * shear_modulus / (joint.layer * (shear_strength * shear_strength))
    return _slip_ratio(np.array(area))[()]


def layer_of(
    joint: Overlap,
    shear_modulus: Array,
    shear_strength: Array,
    capacity: Array,
    misfit_strain: Array,
    offset_share: Array,
) -> Layer:
    """Return the joints without units.

    Parameters
    ----------
    joint : Overlap, (n,) [any]
        From `jointrisk.mechanics.overlap.overlap_of`.
    shear_modulus, shear_strength : ndarray, (n,) [MPa]
        G and tau_p of the layer.
    capacity : ndarray, (n,) [-]
        Slip at failure over slip at yield, plug in the middle.
    misfit_strain : ndarray, (n,) [-]
        As in `jointrisk.mechanics.tubular.pull_out`.
    offset_share : ndarray, (n,) [-]
        How far the plug sits off centre, over the gap; at most 0.95 counts.

    Returns
    -------
    Layer
    """
    decay = np.sqrt(joint.softness * shear_modulus / joint.layer)
    parts = np.broadcast_arrays(
        joint.length * decay,
        joint.plug_share,
        misfit_strain * decay / (joint.softness * shear_strength),
        capacity * (1 - np.minimum(offset_share, _MOST_OFFSET)),
        joint.width * shear_strength / decay,
    )
    length, share, misfit, slip, unit = (part.ravel() for part in parts)
    return Layer(length, share, misfit, slip, unit, parts[0].shape)


def firm(
    joint: Overlap,
    shear_modulus: Array,
    shear_strength: Array,
    toughness: Array,
    offset_share: Array,
) -> Firm:
    """Return the joints at full strength and modulus.

    Parameters
    ----------
    joint : Overlap, (n,) [any]
        From `jointrisk.mechanics.overlap.overlap_of`.
    shear_modulus, shear_strength : ndarray, (n,) [MPa]
        G and tau_p of the layer.
    toughness : ndarray, (n,) [N/mm]
        As in `ductility`.
    offset_share : ndarray, (n,) [-]
        As in `layer_of`.

    Returns
    -------
    Firm
    """
    decay = np.sqrt(joint.softness * shear_modulus / joint.layer)
    *parts, centred = np.broadcast_arrays(
        joint.length * decay,
        joint.plug_share,
        decay / (joint.softness * shear_strength),
        toughness * shear_modulus / (joint.layer * (shear_strength * shear_strength)),
        joint.width * shear_strength / decay,
        1 - np.minimum(offset_share, _MOST_OFFSET),
    )
    length, share, strain, area, unit = (np.asarray(part, order="C") for part in parts)
    return Firm(length, share, strain, area, centred, unit, centred.shape)


def softened(
    joints: Firm, modulus_factor: Array, strength_factor: Array, misfit_strain: Array
) -> Layer:
    """Return the joints without units whose modulus and strength have changed.

    Parameters
    ----------
    joints : Firm, (n,) [any]
    modulus_factor, strength_factor : ndarray, (n,) [-]
        f and s on modulus and strength, above 0; the toughness stays.
    misfit_strain : ndarray, (n,) [-]
        As in `layer_of`.

    Returns
    -------
    Layer
        What `ductility` and `layer_of` give for them: the length goes with sqrt(f), the misfit
        with sqrt(f)/s, w with f/s^2, the unit of force with s/sqrt(f).
    """
    root = np.sqrt(modulus_factor)
    shape = np.broadcast_shapes(
        joints.shape, root.shape, strength_factor.shape, misfit_strain.shape
    )
    area = joints.area * (modulus_factor / (strength_factor * strength_factor))

    def laid_out(part: Array) -> Array:
        return np.broadcast_to(part, shape).ravel()

    return Layer(
        laid_out(joints.length * root),
        laid_out(joints.share),
        laid_out(joints.strain * (misfit_strain * (root / strength_factor))),
        laid_out(_slip_ratio(area) * joints.centred),
        laid_out(joints.unit * (strength_factor / root)),
        shape,
    )


def _slip_ratio(area: Array) -> Array:
    """Return slip at failure over slip at yield for w, (n,) [-], which is overwritten."""
    slip = np.asarray(area, order="C").ravel()
    brittle = np.flatnonzero(slip < 0.5)
    early = np.sqrt(2 * slip.take(brittle))
    slip += 0.5
    slip[brittle] = early
    return slip.reshape(np.shape(area))


def pull_out_of(layer: Layer) -> PullOut:
    """Return what the joints hold.

    Parameters
    ----------
    layer : Layer, (n,) [-]

    Returns
    -------
    PullOut
    """
    return pull_outs_of([layer])[0]


def pull_outs_of(layers: Sequence[Layer]) -> list[PullOut]:
    """Return what the joints hold, those that need a search in all of `layers` searched at once.

    Parameters
    ----------
    layers : sequence of Layer, (n,) [-]
        One or more, each of any size: the same joints in several states, as a rule.

    Returns
    -------
    list of PullOut
    """
    yielded = [shear_lag.yields_whole(*layer[:4]) for layer in layers]
    rests = [np.flatnonzero(~whole) for whole in yielded]
    loads = _parted(_piecemeal(shear_lag.end_failure, *_chosen(layers, rests)), rests)
    found = []
    for layer, whole, rest, load in zip(layers, yielded, rests, loads, strict=True):
        length, _, misfit, _, unit, shape = layer
        force = length * unit
        force[rest] = np.maximum(load, 0) * unit.take(rest)
        found.append(
            PullOut(
                force=_shaped(force, shape),
                governs=_shaped((~whole).astype(np.int8), shape),
                bounded=_shaped(shear_lag.reverse_yield(length, misfit), shape),
                _layer=layer,
            )
        )
    return found


def force_below(layer: Layer, ceiling: Array) -> Array:
    """Return the pull-out force where it can be below a ceiling, else infinity.

    Parameters
    ----------
    layer : Layer, (n,) [-]
    ceiling : ndarray, (n,) [N]
        A force of interest, such as what another limit of the same joints holds.

    Returns
    -------
    ndarray, (n,) [N]
        Its minimum with `ceiling` is that of the pull-out force with `ceiling`.
    """
    force = np.full(layer.length.shape, np.inf)
    for where, lower in forces_below([layer], [ceiling]):
        force[where] = lower
    return np.asarray(_shaped(force, layer.shape))


def forces_below(
    layers: Sequence[Layer], ceilings: Sequence[Array]
) -> list[tuple[npt.NDArray[np.intp], Array]]:
    """Return the pull-out forces that can be below a ceiling, and of which joints they are.

    Parameters
    ----------
    layers : sequence of Layer, (n,) [-]
        Layers that share one array as their `length` cost less.
    ceilings : sequence of ndarray, (n,) [N]
        A force of interest for each joint of each layer, not negative.

    Returns
    -------
    list of (ndarray of int, ndarray [N])
        For each layer places in its raveled arrays and the forces there; elsewhere the joint holds
        the ceiling.

    Notes
    -----
    Whether a joint holds a given force needs no search; only what it just holds does.
    """
    ends: tuple[Array, Array] | None = None
    rests, loads = [], []
    for number, (layer, ceiling) in enumerate(zip(layers, ceilings, strict=True)):
        length, share, misfit, capacity, unit, shape = layer
        load = np.broadcast_to(ceiling, shape).ravel() / unit
        if ends is None or length is not layers[number - 1].length:
            ends = shear_lag.coth_csch(length)
        sure = shear_lag.holds_elastically(ends, share, misfit, capacity, load)
        rests.append(np.flatnonzero(~sure))
        loads.append(load.take(rests[-1]))
    chosen = _chosen(layers, rests)
    unsure = ~_piecemeal(shear_lag.holds, *chosen, np.concatenate(loads))
    some = np.flatnonzero(unsure)
    chosen = tuple(part.take(some) for part in chosen)
    found = _piecemeal(lambda *joint: shear_lag.failure_load(*joint)[0], *chosen)
    rests = [rest[part] for rest, part in zip(rests, _parted(unsure, rests), strict=True)]
    return [
        (rest, np.maximum(load, 0) * layer.unit.take(rest))
        for layer, rest, load in zip(layers, rests, _parted(found, rests), strict=True)
    ]


def _chosen(layers: Sequence[Layer], places: Sequence[npt.NDArray[np.intp]]) -> tuple[Array, ...]:
    """Return length, share, misfit and capacity of some joints of each layer, end to end."""
    columns = zip(*(layer[:4] for layer in layers), strict=True)
    return tuple(
        np.concatenate([part.take(rest) for part, rest in zip(column, places, strict=True)])
        for column in columns
    )


def _parted(
    joined: npt.NDArray[Any], places: Sequence[npt.NDArray[np.intp]]
) -> list[npt.NDArray[Any]]:
    """Return what belongs to each layer of an array over the places of all of them."""
    return np.split(joined, np.cumsum([rest.size for rest in places])[:-1])


def _piecemeal(solve: Callable[..., Any], *arrays: Array) -> Any:
    """Return `solve` of the arrays, in pieces that stay in the processor's own memory."""
    starts = range(0, max(arrays[0].size, 1), _AT_ONCE)
    return np.concatenate([solve(*(x[at : at + _AT_ONCE] for x in arrays)) for at in starts])


def _shaped(values: npt.NDArray[Any], shape: tuple[int, ...]) -> Any:
    # The empty index turns a 0-d array into a scalar and leaves others alone.
    return values.reshape(shape)[()]
