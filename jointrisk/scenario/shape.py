"""The shape of a scenario file, declared with pydantic.

Only shape, words and units are checked here: which keys there are, and that each value can be
read. What values mean together is checked in `resolve` and `checks`. No wording of pydantic
reaches a user; `problems` translates.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field

from jointrisk.scenario import tables
from jointrisk.scenario.values import (
    AdhesiveClass,
    Angle,
    Count,
    Curve,
    Direction,
    Flag,
    Force,
    ForceOrMoment,
    Length,
    Material,
    Moment,
    Number,
    OneCost,
    OneExpansion,
    OneForce,
    OneLength,
    OneMass,
    OneRate,
    OneRatio,
    OneStress,
    OneTemperature,
    OneTime,
    Place,
    Ratio,
    Seed,
    Stress,
    Surface,
    Temperature,
    Text,
    Time,
    Toughness,
    TwoNames,
    Version,
    one_of,
)

__all__ = ["File", "Section"]


class Section(BaseModel):
    """A table of the file. Keys of `needed` must be there; the others have defaults."""

    model_config = ConfigDict(extra="forbid", frozen=True, protected_namespaces=())
    needed: ClassVar[tuple[str, ...]] = ()


class Life(Section):
    """How long a rod serves."""

    duration: OneTime = None
    slices: Count = None


class TargetTable(Section):
    """The failure probability that is to be met."""

    probability: Number = None
    index: Number = None
    failure_would_be: Annotated[str | None, *one_of(*tables.targets())] = None
    period: Annotated[str | None, *one_of("life", "year")] = None
    scope: Annotated[str | None, *one_of("set", "rod")] = None


class Rods(Section):
    """The set of like rods, each with two bonded ends."""

    needed = ("length",)
    count: Count = None
    length: OneLength = None
    end_fixity: Number = None
    bow: Ratio = None
    load_offset: Length = None
    shoulder: Flag = None
    cost_per_rod: OneCost = None
    mass_per_rod: OneMass = None


class Tube(Section):
    """The tube."""

    needed = ("material", "outer_diameter")
    material: Material = None
    outer_diameter: Length = None
    bore: Length = None
    modulus: Stress = None
    tension_strength: Stress = None
    compression_strength: Stress = None
    interlaminar_strength: Stress = None
    interlaminar_toughness: Toughness = None
    peel_strength: OneStress = None
    shear_modulus: OneStress = None
    expansion: OneExpansion = None
    strength_by_temperature: Curve = None


class Plug(Section):
    """The metal end that is glued into the tube."""

    needed = ("material", "overlap")
    material: Material = None
    diameter: Length = None
    radial_gap: Length = None
    overlap: Length = None
    glued_share: Ratio = None
    off_centre: Ratio = None
    bore: OneLength = None
    strength: Stress = None
    modulus: OneStress = None
    expansion: OneExpansion = None


class Sleeve(Section):
    """The metal end that is glued over the tube, in place of a plug."""

    needed = ("material", "outer_diameter", "overlap")
    material: Material = None
    outer_diameter: OneLength = None
    bore: Length = None
    radial_gap: Length = None
    overlap: Length = None
    glued_share: Ratio = None
    off_centre: Ratio = None
    strength: Stress = None
    modulus: OneStress = None
    expansion: OneExpansion = None


class SecondPlug(Section):
    """What differs in the plug of the second end; all else is as at the first."""

    material: Material = None
    diameter: Length = None
    overlap: Length = None
    glued_share: Ratio = None
    off_centre: Ratio = None
    bore: OneLength = None
    strength: Stress = None
    modulus: OneStress = None
    expansion: OneExpansion = None


class ThreadTable(Section):
    """The thread in the metal end."""

    needed = ("size",)
    size: Text = None
    engagement: Length = None


class SecondThread(Section):
    """What differs in the thread of the second end."""

    size: Text = None
    engagement: Length = None


class RodEndTable(Section):
    """The bearing end screwed into each metal end."""

    needed = ("static_rating",)
    static_rating: OneForce = None
    strength_ratio: Ratio = None
    use: Annotated[str | None, *one_of(*tables.rod_end_uses())] = None
    shank: Text = None
    shank_strength: Stress = None
    in_rig: Flag = None


class BackupTable(Section):
    """A pin, bolt or screw through tube and metal end."""

    needed = ("kind", "diameter", "end_distance")
    kind: Annotated[str | None, *one_of("cross pin", "bolt", "screw")] = None
    diameter: OneLength = None
    hole: Length = None
    material: Material = None
    shear_strength: Stress = None
    end_distance: Length = None
    insert_end_distance: Length = None
    tube_bearing_strength: Stress = None
    tube_shear_strength: Stress = None
    insert_bearing_strength: Stress = None
    insert_shear_strength: Stress = None
    stress_concentration: Ratio = None


class PartTable(Section):
    """Another part in line with the rod: what it holds in a pull, in a push, or both."""

    needed = ("name",)
    name: Text = None
    pull: Force = None
    push: Force = None
    at: Annotated[str | None, *one_of("rod", "end")] = None
    in_rig: Flag = None
    note: Text = None


class AdhesiveTable(Section):
    """The adhesive, and how its strength is known."""

    needed = ("class",)
    class_: AdhesiveClass = Field(default=None, alias="class")
    evidence: Annotated[
        str | None, *one_of("class default", "data sheet", "own coupons", "own pulls")
    ] = None
    evidence_surface: Annotated[str | None, *one_of(*tables.preparations())] = None
    shear_strength: Stress = None
    shear_modulus: Stress = None
    toughness: Toughness = None
    failure_strain: Ratio = None
    cure_temperature: OneTemperature = None
    hard_stop_temperature: OneTemperature = None
    strength_by_temperature: Curve = None


class PreparationTable(Section):
    """How the two surfaces are prepared."""

    plug: Surface = None
    sleeve: Surface = None
    tube: Surface = None
    second_plug: Surface = None
    second_tube: Surface = None


class WeakBonds(Section):
    """Joints that are badly bonded although they look well."""

    lone_weight: Ratio = None
    bad_batch_weight: Ratio = None
    share_in_bad_batch: Ratio = None
    keeps: Ratio = None
    latent_weight: Ratio = None
    latent_keeps: Ratio = None


class Batch(Section):
    """Rods glued in one go."""

    rods: Count = None
    bond_factor: Ratio = None


class Service(Section):
    """Temperatures at the rig and in service, and how damp it is."""

    workshop_temperature: OneTemperature = None
    hottest: Temperature = None
    coldest: Temperature = None
    humidity: Ratio = None


class Ageing(Section):
    """What time in service does to a bond: damp, steady load, cycles."""

    wet_share: Ratio = None
    wetting_time: Time = None
    own_scatter: Ratio = None
    steady_share: Ratio = None
    fatigue_exponent: Ratio = None
    fatigue_height: Ratio = None
    damage_at_failure: Ratio = None


class LoadTable(Section):
    """One service load along the rod, with kind and size or a recipe for them."""

    needed = ("name",)
    name: Text = None
    recipe: Annotated[str | None, *one_of(*tables.recipes())] = None
    weight: OneForce = None
    kind: Annotated[str | None, *one_of("annual_maximum", "event", "sustained", "cycles")] = None
    direction: Annotated[str | None, *one_of("pull", "push", "both")] = None
    size: Force = None
    moment: Moment = None
    mean: ForceOrMoment = None
    arm_ratio: Ratio = None
    angle: Angle = None
    dynamic_factor: Ratio = None
    near_end: Place = None
    far_end: Place = None
    pivot: Place = None
    axis: Direction = None
    rate: OneRate = None
    scope: Annotated[str | None, *one_of("all", "rod")] = None
    note: Text = None


class Model(Section):
    """How far the models themselves are trusted."""

    bond_factor: Ratio = None
    load_factor: Ratio = None
    gap_factor_exponent: Ratio = None
    toughness_exponent: Ratio = None


class PullTable(Section):
    """A proof pull that is already done."""

    needed = ("load",)
    label: Text = None
    load: OneForce = None


class ProofTable(Section):
    """The rig that pulls or pushes finished rods."""

    direction: Annotated[str | None, *one_of("pull", "push")] = None
    rig: Annotated[str | None, *one_of(*tables.rigs())] = None
    lever_ratio: Ratio = None
    hold_time: OneTime = None
    rig_error: OneRatio = None
    rig_bias: OneRatio = None
    highest: OneForce = None
    most_to_refuse: OneRatio = None
    damage_from: Ratio = None
    damage_most: Ratio = None


class CorrelationTable(Section):
    """Two quantities that go together."""

    needed = ("between", "value")
    between: TwoNames = None
    value: Number = None


class File(Section):
    """A scenario for jointrisk."""

    needed = ("schema", "rods", "tube", "adhesive")
    schema_: Version = Field(default=None, alias="schema")
    title: Text = None
    note: Text = None
    seed: Seed = None
    life: Life = Life()
    target: TargetTable | None = None
    rods: Rods = Rods()
    tube: Tube = Tube()
    plug: Plug | None = None
    sleeve: Sleeve | None = None
    thread: ThreadTable | None = None
    second_plug: SecondPlug = SecondPlug()
    second_thread: SecondThread = SecondThread()
    rod_end: RodEndTable | None = None
    backup: BackupTable | None = None
    part: tuple[PartTable, ...] = ()
    adhesive: AdhesiveTable = AdhesiveTable()
    preparation: PreparationTable = PreparationTable()
    weak_bonds: WeakBonds = WeakBonds()
    batch: Batch = Batch()
    service: Service = Service()
    ageing: Ageing = Ageing()
    load: tuple[LoadTable, ...] = ()
    model: Model = Model()
    pull: tuple[PullTable, ...] = ()
    proof: ProofTable = ProofTable()
    correlation: tuple[CorrelationTable, ...] = ()
    options: Any = None  # read by the module of that name
