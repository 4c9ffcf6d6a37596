"""What others do: loads of proof pulls that are published, shown as practice and no more."""

from __future__ import annotations

from typing import NamedTuple


class Practice(NamedTuple):
    """One published pull: how hard, on what, by whom, and how far the source was seen."""

    pull: str
    on: str
    source: str
    mark: str


PRACTICE: tuple[Practice, ...] = (
    Practice(
        "about 20 % of the load that breaks it",
        "small bonded parts",
        "a bonding guide for small engineering parts",
        "as quoted",
    ),
    Practice(
        "1.05 to 1.25 times the largest load of service",
        "composite and bonded parts for spaceflight, each article",
        "NASA-STD-5001; ECSS-E-ST-32-10 asks 1.25 and more",
        "from memory",
    ),
    Practice(
        "1.5 times the rated load",
        "lifting gear worked by hand and its accessories",
        "Machinery Directive 2006/42/EC, annex I 4.1.2.3",
        "from memory",
    ),
    Practice(
        "each article, to its critical design load",
        "bonded joints whose loss would bring an aircraft down, one of three ways",
        "14 CFR 23.573(a)(5) before 2017, AC 20-107B",
        "from memory",
    ),
    Practice(
        "held for at least 1 min",
        "steering parts of bicycles",
        "ISO 4210-5, sections 4.2 to 4.6",
        "as quoted",
    ),
)
"""A rule of thumb says nothing of what it leaves: set it beside the result, not in its place."""
