"""The nominal sizes of the rod that is judged, for a drawing of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.study.results import JointGeometry, RodGeometry

if TYPE_CHECKING:
    from jointrisk.scenario.types import Scenario


def geometry(scenario: Scenario) -> RodGeometry:
    """Return the mean sizes of a scenario's rod and of its ends.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    RodGeometry
        Lengths [mm]; one end where both are alike.
    """
    return RodGeometry(
        rod_length_mm=_mean(scenario, "rods.length", 0),
        ends=tuple(_end(scenario, end) for end in range(2 if scenario.second_keys else 1)),
    )


def _end(scenario: Scenario, end: int) -> JointGeometry:
    def mean(key: str) -> float:
        return _mean(scenario, key, end)

    metal = scenario.end
    wide, narrow = (mean(key) for key in scenario.fit)
    overlap = mean(f"{metal}.overlap")
    thread = scenario.second_thread if end and scenario.second_thread else scenario.thread
    plug = metal == "plug"
    return JointGeometry(
        tube_outer_mm=mean("tube.outer_diameter"),
        tube_bore_mm=mean("tube.bore"),
        plug_diameter_mm=narrow if plug else None,
        plug_bore_mm=mean("plug.bore") if plug else None,
        radial_gap_mm=(wide - narrow) / 2.0,
        overlap_mm=overlap,
        wetted_overlap_mm=overlap * mean(f"{metal}.glued_share"),
        thread=None if thread is None else thread.size,
        thread_major_diameter_mm=None if thread is None else thread.major_diameter,
        thread_engagement_mm=None if thread is None else mean("thread.engagement"),
        shoulder=scenario.shoulder,
        kind=metal,
        sleeve_outer_mm=None if plug else mean("sleeve.outer_diameter"),
        sleeve_bore_mm=None if plug else wide,
        thread_drill_mm=0.0 if plug or thread is None else thread.major_diameter - thread.pitch,
    )


def _mean(scenario: Scenario, key: str, end: int) -> float:
    return float(scenario.at_ends(key)[-1 if end else 0].spread.mean)
