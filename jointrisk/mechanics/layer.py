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
    import numpy.typing as npt

    from jointrisk.mechanics.overlap import Overlap

    Array = npt.NDArray[np.float64]

__all__ = ["Layer", "PullOut", "ductility", "force_below", "layer_of", "pull_out_of"]

_MOST_OFFSET = 0.95  # of the gap; beyond it metal touches metal


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


@dataclass(frozen=True, slots=True)
class PullOut:
    """What a joint holds; every field has the common shape of the arguments."""

    force: npt.NDArray[np.float64]
    """Pull-out force, never negative [N]."""
    governs: npt.NDArray[np.int8]
    """What limits it: an index into `GOVERNS` [-]."""
    bounded: npt.NDArray[np.bool_]
    """True where misfit brings an end to reverse yield and `force` is a lower bound [-]."""
    yield_force: npt.NDArray[np.float64]
    """tau_p P L, the force with the whole overlap yielding [N]."""
    _layer: Layer = field(repr=False, compare=False)

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
    return np.where(area < 0.5, np.sqrt(2 * area), area + 0.5)


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


def pull_out_of(layer: Layer) -> PullOut:
    """Return what the joints hold.

    Parameters
    ----------
    layer : Layer, (n,) [-]

    Returns
    -------
    PullOut
    """
    length, share, misfit, capacity, unit, shape = layer
    load, yielded = shear_lag.failure_load(length, share, misfit, capacity)
    return PullOut(
        force=_shaped(np.maximum(load, 0) * unit, shape),
        governs=_shaped((~yielded).astype(np.int8), shape),
        bounded=_shaped(shear_lag.reverse_yield(length, misfit), shape),
        yield_force=_shaped(length * unit, shape),
        _layer=layer,
    )


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

    Notes
    -----
    Whether a joint holds a given force needs no search; only what it just holds does.
    """
    length, share, misfit, capacity, unit, shape = layer
    load = np.broadcast_to(ceiling, shape).ravel() / unit
    rest = np.flatnonzero(~shear_lag.holds(length, share, misfit, capacity, load))
    force = np.full(length.shape, np.inf)
    if rest.size:
        found, _ = shear_lag.failure_load(length[rest], share[rest], misfit[rest], capacity[rest])
        force[rest] = np.maximum(found, 0) * unit[rest]
    return np.asarray(_shaped(force, shape))


def _shaped(values: npt.NDArray[Any], shape: tuple[int, ...]) -> Any:
    # The empty index turns a 0-d array into a scalar and leaves others alone.
    return values.reshape(shape)[()]
