"""What the study `fit` returns: a frozen result that holds every number a report may show.

Values are strengths [MPa] or loads [N], as `unit` says; shares and chances [-].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jointrisk.study.results import clean, plain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True)
class Coupon:
    """One coupon or rod, as read."""

    row: int
    """Line of the file, or place in the list [-]."""
    value: float
    held: bool
    """True where it did not break: its own value is larger."""
    batch: str
    note: str
    rank: float | None
    """Share of all that lies below it, from its rank; None where it held [-]."""


@dataclass(frozen=True, slots=True)
class Tail:
    """The value that one in so many lies below, by one family."""

    chance: float
    plain: float
    """By the most likely spread, as if it were the true one."""
    predicted: float
    """With all that so few numbers leave open averaged over: what to expect of the next one."""
    low: float
    high: float
    """The true value lies between with 90 in 100."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What a share of all exceeds with 95 in 100: exceeded by 90 % (B) or 99 % (A)."""

    name: str
    share: float
    value: float


@dataclass(frozen=True, slots=True)
class FamilyFit:
    """One family fitted to the numbers."""

    family: str
    parameters: Mapping[str, float]
    standard_errors: Mapping[str, float]
    aic: float
    aic_above_best: float
    anderson_darling: float | None
    """None where some held."""
    significance: float | None
    """Chance of a worse fit if the family were the true one; None where not known [-]."""
    one_in_100: Tail
    one_in_1000: Tail
    basis: tuple[Basis, ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """The coupons of one batch that broke."""

    name: str
    count: int
    held: int
    mean: float | None
    sd: float | None
    """None for fewer than two."""


@dataclass(frozen=True, slots=True)
class Batches:
    """How much of the scatter is between batches; of the logs, so as a share of the value."""

    batches: tuple[Batch, ...]
    verdict: str
    """"apart" (the batches differ by more than chance), "not apart", "few" (fewer than three, or
    none with two), or "held" (some did not break)."""
    within: float | None
    """Scatter inside a batch, sd of the log [-]."""
    between: float | None
    """From batch to batch, sd of the log; 0 where there is no more than chance [-]."""
    between_low: float | None
    between_high: float | None
    """90 in 100 lie between; None too where the batches are more alike than chance makes them."""
    ratio: float | None
    """Mean squares between over within (F) [-]."""
    significance: float | None
    """Chance of so large a ratio if all batches were alike [-]."""
    one_in_100: float | None
    """Of a coupon of a new batch, lognormal, with what is not known averaged over."""
    one_in_1000: float | None


@dataclass(frozen=True, slots=True)
class Outlier:
    """A value that lies further out than chance explains in a normal spread."""

    row: int
    value: float
    side: str
    """"low" or "high"."""
    residual: float
    """Distance from the mean over the sd, of all that were left when it was found [-]."""
    critical: float
    """What chance exceeds once in 20 such sets [-]."""


@dataclass(frozen=True, slots=True)
class Outliers:
    """The maximum normed residual test; it takes nothing out."""

    residual: float | None
    critical: float | None
    """Of all values that broke; None where there is no test."""
    flagged: tuple[Outlier, ...]
    mean_without: float | None
    cov_without: float | None
    """Of those that are not flagged; None where none is."""


@dataclass(frozen=True, slots=True)
class Weak:
    """What the numbers say of badly bonded ones among them."""

    below: float
    """Half of the middle value."""
    rows: tuple[int, ...]
    """Of those that broke below it."""
    share_high: float
    """With 95 in 100 no larger share of all is like these; with none seen too [-]."""


@dataclass(frozen=True, slots=True)
class Written:
    """What to write in a scenario, where the numbers are a strength."""

    lines: tuple[str, ...]
    shape: str
    """"lognormal", or "weibull" where that is far better."""
    median: float
    """[MPa]"""
    scatter_cov: float
    """From joint to joint, widened for what so few leave open of it [-]."""
    batch_cov: float | None
    """From batch to batch; None: leave the default [-]."""
    unknown_cov: float
    """What they leave open of the middle, the same for all [-]."""
    model_cov: float
    """That and the default for the model's own doubt together [-]."""
    widened: float
    """Scatter over that of the coupons' logs [-]."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One family over values: chance below each, (n,) [-]."""

    family: str
    value: tuple[float, ...]
    plain: tuple[float, ...]
    predicted: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    """The true chance lies between with 90 in 100."""


@dataclass(frozen=True, slots=True)
class CouponFit:
    """What broken coupons or rods say of their spread."""

    title: str
    column: str
    dimension: str
    """"stress" or "force"."""
    unit: str
    """"MPa" or "N"."""
    coupons: tuple[Coupon, ...]
    count: int
    """Of all [-]."""
    broke: int
    """Of those that broke [-]."""
    mean: float | None
    sd: float | None
    """Of those that broke, where none held; None else, or for one."""
    cov: float | None
    """[-]"""
    why_no_fit: str
    """"" where families were fitted, else "one", "few" (fewer than three broke), "equal" or
    "no fit" (some held, and no spread is likeliest)."""
    families: tuple[FamilyFit, ...]
    """Best by Akaike's criterion first; empty where none was fitted."""
    far_better: float
    """Akaike's criterion above the best from which a family is far worse [-]."""
    more: tuple[tuple[int, float], ...]
    """Count of coupons, and what one in 100 would be expected below if so many scattered as these
    (lognormal); empty where some held or batches differ."""
    batches: Batches | None
    """None without a column of batches."""
    outliers: Outliers
    weak: Weak | None
    """None without a fit."""
    written: Written | None
    """None without a fit, for loads, and where they scatter too widely for one kind of bond."""
    curves: tuple[Curve, ...]
    unread: tuple[str, ...]
    """Columns that were not read."""
    run: Mapping[str, Any]
    host: Mapping[str, Any]

    @property
    def held(self) -> int:
        """How many did not break [-]."""
        return self.count - self.broke

    def family(self, name: str) -> FamilyFit | None:
        """Return a family by its name, None where it was not fitted."""
        return next((entry for entry in self.families if entry.family == name), None)

    def to_dict(self) -> dict[str, Any]:
        """Return the document: unrounded, null in place of NaN."""
        fields = {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}
        made: dict[str, Any] = clean({"schema_version": SCHEMA_VERSION, **fields})
        return made

    def to_frame(self) -> pd.DataFrame:
        """Return the families, one row each."""
        import pandas as pd

        names = ("plain", "predicted", "low", "high")
        rows = [
            {"family": entry.family, "aic": entry.aic, "significance": entry.significance}
            | {f"one_in_{n}_{k}": getattr(tail, k)
               for n, tail in ((100, entry.one_in_100), (1000, entry.one_in_1000)) for k in names}
            for entry in self.families
        ]  # fmt: skip
        return pd.DataFrame(rows)
