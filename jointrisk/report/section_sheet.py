"""Where the parts of a bonded end lie on its drawing, and at what scale.

Lengths of the joint in mm. Lengths of the drawing in its own units, three to a millimetre
of paper, so that a page printed at 100 % shows the scale that the drawing names.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jointrisk.study.results import JointGeometry

WIDTH, MARGIN = 360.0, 12.0
PER_MM = 3.0
"""Units of the drawing to a millimetre of paper; `report.css` prints it 120 mm wide."""
HIGHEST = 132.0
"""Most units that the joint's outside diameter takes."""
THIN = 3.0
"""A glue layer of fewer units is shown enlarged as well: 1 mm on paper."""
LENS = 44.0
"""Radius of the enlarged detail."""
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
BARS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where the parts lie on the drawing."""

    scale: float
    """Size on paper over real size [-]."""
    left: float
    inner: float
    """End of the plug inside the tube, or of the sleeve on it."""
    mouth: float
    """End of the tube."""
    face: float
    """End of the plug or sleeve past the tube."""
    axis: float
    thin: bool
    """True where the glue layer is too thin on the drawing and needs the enlarged detail."""

    @property
    def per_mm(self) -> float:
        """Units to a real millimetre."""
        return self.scale * PER_MM

    def across(self, diameter: float) -> float:
        """Return the distance from the axis of the edge of a diameter [mm]."""
        return 0.5 * diameter * self.per_mm


def lay_out(end: JointGeometry, rod_length: float) -> Sheet:
    """Return the largest round scale at which the end fits, and where its parts then lie.

    Parameters
    ----------
    end : JointGeometry
        Sizes [mm].
    rod_length : float
        Pin to pin [mm]; the tube is drawn no further than its middle.
    """
    outer, overlap = end.widest_mm, end.overlap_mm
    # A plug's thread may reach into the overlap, a sleeve's lies past the tube.
    shared = 0.95 * overlap if end.kind == "plug" else -0.1 * outer
    stub = max(0.2 * outer, (end.thread_engagement_mm or 0.0) - shared)
    tail = max(0.1 * outer, 0.5 * rod_length - overlap)
    room = WIDTH - 2.0 * MARGIN
    least = overlap + stub + min(0.35 * outer, tail)
    scale = round_down(min(room / least, HIGHEST / outer) / PER_MM, SCALES)
    unit = scale * PER_MM
    tail = min(tail, room / unit - overlap - stub)
    left = MARGIN + 0.5 * (room - (tail + overlap + stub) * unit)
    inner = left + tail * unit
    mouth = inner + overlap * unit
    return Sheet(
        scale=scale,
        left=left,
        inner=inner,
        mouth=mouth,
        face=mouth + stub * unit,
        axis=32.0 + 0.5 * outer * unit,
        thin=end.radial_gap_mm * unit < THIN,
    )


def round_down(value: float, steps: tuple[float, ...]) -> float:
    """Return the largest of the steps times a power of ten that is not above the value."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    step = max((s for s in steps if s * power <= value * (1.0 + 1e-9)), default=steps[0])
    return float(f"{step * power:.3g}")


def lens_scale(end: JointGeometry) -> float:
    """Return the scale of the enlarged detail, in which the glue takes half the circle."""
    return round_down(0.9 * LENS / end.radial_gap_mm / PER_MM, SCALES)
