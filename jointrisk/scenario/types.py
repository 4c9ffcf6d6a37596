"""What a scenario file becomes: frozen dataclasses in the units of the house.

Lengths [mm], forces [N], stresses and moduli [MPa], toughness [N/mm], temperatures
[degC], expansions [1/K], times [years], ratios [-].
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jointrisk.spread import Spread

Scope = Literal["joint", "rod", "batch", "all"]
Kind = Literal["scatter", "not known"]
Origin = Literal["scenario", "default"]
Direction = Literal["pull", "push", "both"]
LoadKind = Literal["annual_maximum", "event", "sustained", "cycles"]
End = Literal["plug", "sleeve"]


FITS: Mapping[End, tuple[str, str]] = MappingProxyType(
    {"plug": ("tube.bore", "plug.diameter"), "sleeve": ("sleeve.bore", "tube.outer_diameter")}
)
"""Keys of the two diameters that leave the gap between them, the wider first."""
DRY = 0.5
"""Relative humidity up to which bonds keep their strength [-]."""

LEAST_ANGLE = 1.0
"""Least angle between a rod and its arm, and least short of half a turn [deg]: nearer to one line
play and bending decide, not statics."""


def second_of(key: str) -> str:
    """Return the key under which the second end says its own, "" where it says none.

    ``plug.overlap`` gives ``second_plug.overlap``, ``preparation.tube`` gives
    ``preparation.second_tube``.
    """
    table, name = key.split(".", 1)
    if table in ("plug", "thread"):
        return f"second_{key}"
    return f"preparation.second_{name}" if key in ("preparation.plug", "preparation.tube") else ""


def _above(spread: Spread, level: float) -> bool:
    return bool(spread.mean > level if spread.sd == 0.0 else spread.sf(level) > 0.0)


@dataclass(frozen=True, slots=True)
class Variable:
    """One quantity of the scenario with its spread, in the units of the house."""

    key: str
    """Dotted key in the file, such as ``plug.overlap``."""
    label: str
    """The name in plain trade words, such as "overlap"."""
    spread: Spread
    unit: str
    """Unit of the numbers in `spread`: mm, N, MPa, N/mm, degC, 1/K, years or "-"."""
    scope: Scope
    """Whether each joint, each rod, each batch or all share one draw."""
    kind: Kind
    """Scatter from part to part, or lack of knowledge."""
    origin: Origin
    source: str
    confidence: str
    """"given", "read in the source", "as quoted", "abstract only", "arithmetic",
    "from memory" or "judgement, no source"."""


@dataclass(frozen=True, slots=True)
class Load:
    """One named service load along the rod."""

    name: str
    kind: LoadKind
    direction: Direction
    """Of a variable load. A sustained load is signed instead: tension positive."""
    size: Variable
    """annual_maximum: largest of one year [N]; event: one event [N]; sustained [N]; cycles:
    amplitude, half the way from the lowest to the highest [N]. A moment where one is given [N m].
    """
    scope: Literal["all", "rod"]
    """"all": one draw met by every rod alike; "rod": each rod its own."""
    rate: float = 0.0
    """Events or cycles per year [1/years]; 0 for other kinds."""
    mean: Variable | None = None
    """Middle of the cycles, tension positive [N]; None for other kinds."""
    reach: float = 1.0
    """Force in the rod over the size before the `ratios` and the `angle` count [-]; over a moment
    [N/(N m)], of a lasting load with the sign that gives tension."""
    ratios: tuple[str, ...] = ()
    """Keys of what multiplies the force in the rod: arm_ratio, dynamic_factor."""
    angle: str = ""
    """Key of the angle between the rod and its arm; "" for a right one."""

    @property
    def lasting(self) -> bool:
        """Whether one draw serves the whole life; other loads come anew all the time."""
        return self.kind in ("sustained", "cycles")


@dataclass(frozen=True, slots=True)
class Pull:
    """A proof pull the maker already does."""

    label: str
    load: float
    """[N]"""


@dataclass(frozen=True, slots=True)
class Target:
    """The failure probability that is to be met."""

    probability: float
    period: Literal["life", "year"]
    """"life": the whole life; "year": the worst single year."""
    scope: Literal["set", "rod"]
    source: str


@dataclass(frozen=True, slots=True)
class Rig:
    """What pulls a finished rod, and how it is done."""

    name: str | None = None
    """Of the table of rigs; None where the file names none."""
    lever_ratio: float | None = None
    """Load in the rod over the weight on the arm [-]; None where not given."""
    hold_time: float = 60.0
    """[s]"""
    use_from: float | None = None
    """Load below which the gauge is outside its range [N]; None where not known."""
    direction: Literal["pull", "push"] = "pull"
    """Which way it loads the rod."""

    @property
    def pushes(self) -> bool:
        """Whether the rod is pushed instead of pulled."""
        return self.direction == "push"


@dataclass(frozen=True, slots=True)
class Proof:
    """How a finished rod can be pulled."""

    rig_error_cov: float
    """Scatter of the applied load from pull to pull, relative to it [-]."""
    rig_bias_sd: float
    """Standard deviation of the gauge's bias, the same in every pull, relative [-]."""
    highest: float | None
    """Largest load of the rig [N]; None where not given."""
    max_reject: float
    """Largest share of rods one is willing to refuse [-]."""
    rig: Rig = Rig()


@dataclass(frozen=True, slots=True)
class Thread:
    """An internal metric or inch thread in the plug."""

    size: str
    major_diameter: float
    """[mm]"""
    pitch: float
    """[mm]"""


@dataclass(frozen=True, slots=True)
class Part:
    """Another part in line with the rod; its limits are variables, absent where there is none."""

    name: str
    at: Literal["rod", "end"]
    """"rod": one a rod; "end": one at each end."""
    in_rig: bool
    """True where a pull in the rig passes through it."""

    def key(self, direction: str) -> str:
        """Return the key of its limit in a "pull" or a "push"."""
        return f"part.{self.name}.{direction}"


@dataclass(frozen=True, slots=True)
class RodEnd:
    """The bearing end that is screwed into each plug."""

    use: str | None
    """How it is loaded, in a maker's words; None where not said."""
    shank: Thread | None
    """Thread of its shank; None where the shank is not judged apart."""
    in_rig: bool
    """True where a pull in the rig passes through it."""


@dataclass(frozen=True, slots=True)
class Backup:
    """A pin, bolt or screw through tube and insert of each end."""

    kind: str
    planes: int
    """Sections in which it is sheared [-]."""
    sides: int
    """Walls of the tube that it bears on [-]."""


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in a currency that the user names."""

    amount: float
    currency: str

    def __str__(self) -> str:
        return f"{self.amount:,.2f} {self.currency}"


@dataclass(frozen=True, slots=True)
class Assumption:
    """One resolved value as the report lists it."""

    key: str
    value: str
    origin: Origin
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Warning_:  # noqa: N801 - the plain name is a builtin
    """One warning: a stable code and a plain sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Scenario:
    """A resolved scenario: everything the model needs, and where it came from.

    `variables` holds one entry for every numeric quantity the model reads, given or
    default; a plain value is a ``Fixed`` spread.
    """

    title: str
    note: str
    path: str
    sha256: str
    life: float
    """[years]"""
    rods: int
    rods_per_batch: int
    """Rods glued in one batch; the last batch may be smaller."""
    end_fixity: float
    """Effective length factor K of the rod as a strut [-]."""
    shoulder: bool
    """True where a flange of the plug bears on the tube end in compression."""
    adhesive_class: str
    evidence: Literal["class default", "data sheet", "own coupons", "own pulls"]
    toughness_given: bool
    """True: `adhesive.toughness` rules; False: `adhesive.failure_strain` does."""
    tube_is_composite: bool
    """True where an interlaminar limit of the tube wall applies."""
    thread: Thread | None
    second_thread: Thread | None
    """Thread of the second end; None where it is as at the first."""
    strength_by_temperature: tuple[tuple[float, float], ...]
    """Points (degC, factor on adhesive strength and modulus), rising in degC."""
    wall_strength_by_temperature: tuple[tuple[float, float], ...]
    hard_stop_temperature: float
    """At or above it the adhesive carries nothing [degC]."""
    gap_factor_points: tuple[tuple[float, float], ...]
    """Points (radial gap [mm], factor on bond strength), rising in gap."""
    variables: Mapping[str, Variable]
    correlations: Mapping[tuple[str, str], float]
    """Product-moment correlation of two variables of the same scope."""
    loads: tuple[Load, ...]
    target: Target | None
    pulls: tuple[Pull, ...]
    proof: Proof
    seed: int
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Warning_, ...] = field(default=())
    slices: int = 1
    """Parts of equal length into which the life is cut; each has the strength of its end."""
    steady_fails: bool = False
    """True where a steady load above a drawn share of the strength counts as a failure."""
    parts: tuple[Part, ...] = ()
    rod_end: RodEnd | None = None
    backup: Backup | None = None
    end: End = "plug"
    """"plug": the metal end is glued into the tube; "sleeve": over it."""
    option: str | None = None
    """Name of the option of the file that this is; None for the file as written."""
    options: tuple[str, ...] = ()
    """Names of all options of the file."""
    cost: Money | None = None
    """Of one finished rod; None where not given. No probability hangs on it."""
    mass: float | None = None
    """Of one finished rod [g]; None where not given. No probability hangs on it."""

    @property
    def glued(self) -> tuple[str, str]:
        """Tables of the two parts that are glued together, the outer one first."""
        return ("tube", "plug") if self.end == "plug" else ("sleeve", "tube")

    @property
    def fit(self) -> tuple[str, str]:
        """Keys of the two diameters that leave the gap between them, the wider first."""
        return FITS[self.end]

    @property
    def rig_spares_bonds(self) -> bool:
        """Whether the rig pushes and a shoulder takes the push past the bonds."""
        return self.proof.rig.pushes and self.shoulder

    @property
    def ages(self) -> bool:
        """Whether damp takes strength in the course of the life."""
        damp = self.variables.get("service.humidity")
        return damp is not None and _above(damp.spread, DRY)

    @property
    def cycles(self) -> tuple[Load, ...]:
        """Loads that come in cycles."""
        return tuple(load for load in self.loads if load.kind == "cycles")

    @property
    def second_keys(self) -> Mapping[str, str]:
        """Keys that the two ends have apart, each with that of the second end."""
        pairs = {key: second_of(key) for key in self.variables}
        return {key: second for key, second in pairs.items() if second in self.variables}

    def at_ends(self, key: str) -> tuple[Variable, ...]:
        """Return the variable of both ends, once where they are alike."""
        second = self.variables.get(second_of(key))
        first = self.variables[key]
        return (first,) if second is None else (first, second)
