"""What broken single-lap coupons say of the layer's shear strength, and what they do not."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from jointrisk.errors import EstimateError
from jointrisk.mechanics import flat, lap
from jointrisk.scenario import tables
from jointrisk.scenario.coupon import Coupon, read_coupon

if TYPE_CHECKING:
    import os
    from collections.abc import Sequence

    import pandas as pd

__all__ = ["VERDICTS", "SingleLap", "single_lap"]

VERDICTS = ("near the strength", "lower bound", "no strength", "hangs on the adhesive")
"""The number is about the layer's shear strength; only a lower bound of it; not one at all,
because the adhesive is brittle; or one of the last two, because nobody said what it is."""
_ADHESIVE_POISSON = 0.35  # of glassy polymers, from memory; 0.3 to 0.4 moves peel by 2 %
_THICKER = np.geomspace(1, 30, 500)  # strips that are tried, times those of the coupon


@dataclass(frozen=True, slots=True)
class SingleLap:
    """The answer about a set of single-lap coupons; stresses [MPa], loads [N], sizes [mm]."""

    coupon: Coupon
    """What was given."""
    mean_load: float
    """Mean of the loads at which they broke [N]."""
    mean_shear: float
    """Mean load over glued area [MPa]."""
    shear_cov: float | None
    """Scatter from coupon to coupon; None for one coupon [-]."""
    bending_factor: float
    """k of Goland & Reissner at the mean load: 1 bends most, 0.26 least [-]."""
    strip_stress: float
    """Mean load over the section of a strip [MPa]."""
    strip_limit_shear: float | None
    """Mean shear from which the strips yield, or break if they are of plies [MPa]."""
    coupons_above_limit: int | None
    """How many broke at or above it [-]."""
    elastic_thickness: float | None
    """Least strip that would have stayed elastic to that mean shear [mm]; None where not known."""
    shear_peak_ratio: float
    """Shear at the ends over mean shear while all is elastic [-]."""
    peel_peak_ratio: float
    """Peel at the ends over mean shear while all is elastic [-]."""
    brittle: bool | None
    """Whether the class is one that breaks by peel; None where not known."""
    class_range: tuple[float, float]
    """Shear strength with which products of the class are usually met [MPa]."""
    limit: str
    """"yield": the whole overlap yields, "toughness": an end tears first, "either"."""
    strength_at_least: float | None
    """Lower bound of the layer's shear strength; None where the number is none [MPa]."""
    strength_at_most: float | None
    """Upper bound; None where there is none [MPa]."""
    verdict: str
    """One of `VERDICTS`."""

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers and words for a JSON document, with units in the names."""
        return {
            "schema_version": 1,
            "verdict": self.verdict,
            "strength_mpa": {"at_least": self.strength_at_least, "at_most": self.strength_at_most},
            "mean_shear_mpa": self.mean_shear,
            "shear_cov": self.shear_cov,
            "mean_load_newton": self.mean_load,
            "strips": {
                "stress_mpa": self.strip_stress,
                "limit_shear_mpa": self.strip_limit_shear,
                "coupons_above_limit": self.coupons_above_limit,
                "elastic_thickness_mm": self.elastic_thickness,
            },
            "ends": {
                "bending_factor": self.bending_factor,
                "shear_peak_ratio": self.shear_peak_ratio,
                "peel_peak_ratio": self.peel_peak_ratio,
            },
            "layer": {
                "brittle": self.brittle,
                "class_range_mpa": list(self.class_range),
                "limit": self.limit,
            },
            "given": asdict(self.coupon) | {"loads": list(self.coupon.loads)},
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the main numbers as a frame with columns quantity, value, low, high, unit."""
        import pandas as pd

        none = math.nan
        at_least, at_most = self.strength_at_least, self.strength_at_most
        rows = [
            ("mean load", self.mean_load, none, none, "N"),
            ("mean shear", self.mean_shear, none, none, "MPa"),
            ("shear strength of the layer", none, at_least, at_most, "MPa"),
            ("mean shear from which strips yield", self.strip_limit_shear, none, none, "MPa"),
            ("shear at the ends over mean", self.shear_peak_ratio, none, none, "-"),
            ("peel at the ends over mean shear", self.peel_peak_ratio, none, none, "-"),
        ]
        frame = pd.DataFrame(rows, columns=["quantity", "value", "low", "high", "unit"])
        return frame.astype({"value": float, "low": float, "high": float})


def single_lap(
    *,
    width: str | None = None,
    overlap: str | None = None,
    thickness: str | None = None,
    load: str | Sequence[str] | None = None,
    loads_file: str | os.PathLike[str] | None = None,
    material: str | None = None,
    modulus: str | None = None,
    yield_strength: str | None = None,
    bond_line: str | None = None,
    adhesive_class: str | None = None,
) -> SingleLap:
    """Return what broken single-lap coupons say of the adhesive layer's shear strength.

    Parameters
    ----------
    width, overlap, thickness : str
        Of the glued face across and along the pull, and of one strip, such as "25 mm".
    load : str or sequence of str
        Loads at which coupons broke, such as "9.1 kN".
    loads_file : path
        A CSV file with a header and a column of loads, in place of `load` or beside it.
    material : str
        Of the strips, a name of the table of materials.
    modulus, yield_strength : str
        Of the strips, such as "70 GPa"; they beat those of the material.
    bond_line : str
        Thickness of the layer; without it a default is taken.
    adhesive_class : str
        A name of the table of adhesives; without it "don't know".

    Returns
    -------
    SingleLap

    Raises
    ------
    ScenarioError
        With everything that is missing or cannot be used, all at once.
    EstimateError
        The sizes are so far from a coupon's that no number comes out.

    Notes
    -----
    Force over area can only lie below the strength of a layer that flows: equilibrium. It is
    about that strength where the strips stay elastic and the layer can flow over the whole
    overlap; how far above it the strength may then lie is judgement.
    """
    given = {
        "width": width,
        "overlap": overlap,
        "thickness": thickness,
        "load": load,
        "material": material,
        "modulus": modulus,
        "yield_strength": yield_strength,
        "bond_line": bond_line,
        "adhesive_class": adhesive_class,
    }
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        result = _judged(read_coupon(given, loads_file=loads_file))
    numbers = (result.mean_shear, result.shear_peak_ratio, result.peel_peak_ratio)
    if not all(map(math.isfinite, numbers)):
        raise EstimateError(f"no number for a coupon of these sizes; got {result.coupon}")
    return result


def _judged(coupon: Coupon) -> SingleLap:
    row = tables.adhesives()[coupon.adhesive_class]
    loads = np.array(coupon.loads)
    area = coupon.width * coupon.overlap
    shear = float(loads.mean()) / area
    strips = (coupon.overlap, coupon.thickness, coupon.modulus, _poisson())
    modulus = _middle(row.shear_modulus)
    layer = (coupon.bond_line, modulus)
    limit = _strip_limit(coupon, np.ones(1))
    above = None if limit is None else int(np.sum(loads / area >= limit[0]))
    flows = _layer_limit(coupon, row, shear)
    near = row.brittle is False and above == 0 and flows == "yield"
    if row.brittle is None:
        verdict = "hangs on the adhesive"
    else:
        verdict = "no strength" if row.brittle else "near the strength" if near else "lower bound"
    return SingleLap(
        coupon=coupon,
        mean_load=float(loads.mean()),
        mean_shear=shear,
        shear_cov=float(loads.std(ddof=1) / loads.mean()) if len(loads) > 1 else None,
        bending_factor=float(lap.goland_reissner_factor(shear, *strips)),
        strip_stress=float(loads.mean()) / (coupon.width * coupon.thickness),
        strip_limit_shear=None if limit is None else float(limit[0]),
        coupons_above_limit=above,
        elastic_thickness=_elastic_thickness(coupon, shear) if above else None,
        shear_peak_ratio=float(lap.goland_reissner_shear_ratio(shear, *strips, *layer)),
        peel_peak_ratio=float(
            lap.goland_reissner_peel_ratio(
                shear, *strips, layer[0], 2 * (1 + _ADHESIVE_POISSON) * modulus
            )
        ),
        brittle=row.brittle,
        class_range=(row.shear_strength.low or 0.0, row.shear_strength.high or 0.0),
        limit=flows,
        strength_at_least=shear if row.brittle is False else None,
        strength_at_most=shear * _allowance() if near else None,
        verdict=verdict,
    )


def _poisson() -> float:
    return float(tables.default("coupon.poisson_ratio").value)


def _allowance() -> float:
    return float(tables.default("coupon.peel_allowance").value)


def _middle(cell: tables.Cell) -> float:
    """Return the typical value of a range, its geometric middle where none is named."""
    if cell.typical is not None:
        return cell.typical
    return math.sqrt((cell.low or 0.0) * (cell.high or 0.0))


def _strip_limit(coupon: Coupon, thicker: np.ndarray) -> np.ndarray | None:
    """Return the mean shear from which strips `thicker` times as thick yield, (n,) [MPa]."""
    if coupon.yield_strength is None:
        return None
    thickness = coupon.thickness * thicker
    return np.asarray(
        lap.first_strip_yield(
            coupon.overlap, thickness, coupon.modulus, _poisson(), coupon.yield_strength
        )
    )


def _elastic_thickness(coupon: Coupon, shear: float) -> float | None:
    limit = _strip_limit(coupon, _THICKER)
    enough = np.flatnonzero(limit > shear) if limit is not None else np.empty(0)
    return float(coupon.thickness * _THICKER[enough[0]]) if enough.size else None


def _layer_limit(coupon: Coupon, row: tables.Adhesive, shear: float) -> str:
    """Return whether the whole overlap yields first, over the toughness of the class."""
    face = flat.pull_apart(
        width=coupon.width,
        overlap=coupon.overlap,
        thickness_1=coupon.thickness,
        thickness_2=coupon.thickness,
        modulus_1=coupon.modulus,
        modulus_2=coupon.modulus,
        adhesive_thickness=coupon.bond_line,
        adhesive_shear_modulus=_middle(row.shear_modulus),
        adhesive_shear_strength=[shear * _allowance(), shear],
        mode_ii_toughness=np.array([row.toughness.low, row.toughness.high], dtype=np.float64),
    )
    least, most = face.yielded
    return "yield" if least else "either" if most else "toughness"
