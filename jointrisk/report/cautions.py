"""What every report says about people, about codes and about the number itself."""

from __future__ import annotations

from typing import NamedTuple


class Caution(NamedTuple):
    """One caution: a short head and one or two plain sentences."""

    head: str
    text: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "A rod that lets go can hurt.",
        "A rod under load stores energy: when an end lets go, rod, fitting and rig fly. Before any "
        "pull, put a solid guard round the rod, catch the rig and the weight with a slack sling or "
        "chain, work it from a distance, wear eye protection, and leave nothing and nobody in line "
        "with the rod. Never stand, reach or let anyone be under the load.",
    ),
    Caution(
        "These numbers are estimates.",
        "They follow from the values listed here and from models that leave things out. The range "
        "given for what is not known holds only the unknowns that were put in.",
    ),
    Caution(
        "Gross mistakes are not in the number.",
        "Hardener forgotten, wrong mix, release agent or grease left on, a part left out, a load "
        "nobody thought of: these cause many real failures and no figure here holds them. Check "
        "the work by other means.",
    ),
    Caution(
        "Codes and licensed practice come first.",
        "Where a law, a code, a sanctioning body or an engineer in charge asks for more, that "
        "rules. Where a failure could injure someone, have a licensed engineer judge the part; "
        "this page does not replace that, nor tests to destruction of your own parts.",
    ),
    Caution(
        "A pull shows only what it can reach.",
        "It tells about the day of the pull. Water, heat, knocks and time go on afterwards: look "
        "at the rods regularly and retire any that has been overloaded, bent or overheated.",
    ),
)
"""In the order in which they are shown."""
