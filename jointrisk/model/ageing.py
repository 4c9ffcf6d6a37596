"""How the bonds of a set age: damp, unlike joints, surfaces that damp undoes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from jointrisk.mechanics import ageing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.model.bond import BondLaw, Bools
    from jointrisk.model.layout import Floats
    from jointrisk.scenario.types import Scenario

OWN = "ageing.own"
"""Normal score of how a joint ages in its own way."""
DAMP_KEYS = (
    "service.humidity",
    "ageing.wet_share",
    "ageing.wetting_time",
    "ageing.own_scatter",
    "weak_bonds.latent_weight",
    "weak_bonds.latent_keeps",
)
FATIGUE_KEYS = ("ageing.fatigue_exponent", "ageing.fatigue_height", "ageing.damage_at_failure")
STEADY_KEY = "ageing.steady_share"


def unread_keys(scenario: Scenario) -> tuple[str, ...]:
    """Return the keys of variables that nothing in the scenario makes use of."""
    unread: tuple[str, ...] = () if scenario.ages else DAMP_KEYS
    unread += () if scenario.cycles else FATIGUE_KEYS
    return unread if scenario.steady_fails else (*unread, STEADY_KEY)


def slice_edges(scenario: Scenario) -> Floats:
    """Return the ages between which the slices of the life lie, (slices + 1,) [years]."""
    return np.asarray(ageing.slice_edges(scenario.life, scenario.slices))


def aged(
    scenario: Scenario, law: BondLaw, values: Mapping[str, Floats], latent: Bools, years: float
) -> BondLaw:
    """Return the law that is left of `law` after some years of service.

    Damp takes of the adhesive and of both surfaces alike; each joint's surfaces lose more or
    less than that in a way of their own, and latent ones nearly all.

    Parameters
    ----------
    scenario : Scenario
    law : BondLaw
        When new.
    values : mapping of str to ndarray, (1, n), (rods, n) or (joints, n)
        As `placed` gives them.
    latent : ndarray of bool, (joints, n)
        Which joints have a surface that damp undoes.
    years : float [years]
    """
    if not scenario.ages:
        return law
    # a spread whose mean is moved may leave the range of a share
    damp, left = (np.clip(values[key], 0.0, 1.0) for key in DAMP_KEYS[:2])
    time = values["ageing.wetting_time"]
    loss = ageing.loss_reached(years, damp, left, time)
    reached = ageing.loss_reached(years, damp, 0.0, time)
    scatter = ageing.ageing_scatter(reached, 1.0, cov=values["ageing.own_scatter"])
    own = np.exp(scatter * values[OWN])
    undone = np.where(latent, 1.0 - (1.0 - values["weak_bonds.latent_keeps"]) * reached, 1.0)
    shape = law.strength.shape
    strength = np.broadcast_to(law.strength * (1.0 - loss), shape)
    return replace(law, strength=strength, surface=np.asarray(law.surface * own * undone))
