"""What broken coupons or rods say, in plain sentences shared by the terminal and the page.

Two asterisks open and close what is to stand out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.words import load, number, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jointrisk.study.fit_results import Batches, CouponFit, Outlier

FEW_BATCHES = 5
"""Batches below which their scatter is hardly known: common practice, no source [-]."""
HANDBOOK_B, HANDBOOK_A = 18, 55
"""Coupons that CMH-17-1G (from memory) asks for before it takes a B or an A basis [-]."""
SILENT = (
    "Nothing of toughness, heat, water, age or repeated load, unless they were broken so.",
    "Nothing of a rod's own surfaces, gap and hands, unless they were made like it.",
    "Nothing below the weakest of them but by the shape that is assumed. Numbers of 1 in 1,000 "
    "from so few are a continuation of a line, not a measurement.",
    "Nothing of which part let go. Look at every broken face and write it down: adhesive on both, "
    "it tore inside; one face bare, the bond to that surface let go.",
)
"""What no such set says."""


def headline(result: CouponFit) -> list[tuple[str, str]]:
    """Return the answer: pairs of one word and a few sentences."""
    lines = [("Spread", spread(result))]
    if result.families:
        lines += [("Weakest", weakest(result)), ("Shape", shape(result))]
    far = far_out(result)
    if far:
        lines.append(("Far out", far))
    if result.weak is not None:
        lines.append(("Weak", weak(result)))
    if result.batches is not None:
        lines.append(("Batches", batches(result, result.batches)))
    if result.families:
        lines.append(("Basis", basis(result)))
    if len(result.more) > 1:
        lines.append(("More", more(result)))
    return [*lines, ("Write", write(result))]


def value(result: CouponFit, x: float | None, digits: int = 3, rounding: str = "nearest") -> str:
    """Return a strength or a load with its unit."""
    if x is None:
        return "unknown"
    if x <= 0.0:
        return "below 0"
    if result.unit == "N":
        return load(x, digits, rounding)
    return f"{number(x, digits, rounding)} MPa"


def between(result: CouponFit, low: float, high: float) -> str:
    """Return "12.8 to 16.7 MPa"."""
    first, last = value(result, low), value(result, high)
    unit = f" {last.rpartition(' ')[2]}"
    return f"{first.removesuffix(unit)} to {last}" if low > 0.0 else f"{first} to {last}"


def things(result: CouponFit, count: int | None = None) -> str:
    """Return "6 coupons", or "6 rods or coupons" for loads."""
    n = result.count if count is None else count
    many = "" if n == 1 else "s"
    return f"{n} coupon{many}" if result.dimension == "stress" else f"{n} value{many}"


def spread(result: CouponFit) -> str:
    """Say how many broke, at what, and how much they scatter."""
    broken = [c.value for c in result.coupons if not c.held]
    if result.why_no_fit == "one":
        (only,) = result.coupons
        did = "held" if only.held else "broke at"
        return f"One value: it {did} {value(result, only.value)}. One says nothing of a spread."
    if not broken:
        most = max(c.value for c in result.coupons)
        return (
            f"None of {things(result)} broke; the highest held {value(result, most)}. "
            "Without a break there is no spread to tell."
        )
    if result.why_no_fit == "equal":
        return (
            f"All {result.broke} that broke did so at {value(result, broken[0], 4)}, to the last "
            "digit. **That is no spread of 0:** the reading is too coarse, or one number was "
            "copied. No spread is fitted."
        )
    head = f"{things(result, result.broke)} broke at {between(result, min(broken), max(broken))}"
    if result.held:
        line = _with_held(result, head)
    else:
        line = (
            f"{head}, {value(result, result.mean)} on average; sd {value(result, result.sd)}, "
            f"CoV {percent(result.cov)}."
        )
    steps = len(set(broken))
    if not result.why_no_fit and steps <= max(2, result.broke // 3):
        return (
            f"{line} Only {steps} different readings among them: the step of the gauge may hide "
            "scatter."
        )
    if result.why_no_fit == "few":
        return f"{line} Fewer than 3 breaks are too few to fit a spread."
    if result.why_no_fit == "no fit":
        return f"{line} No spread is likeliest for these, so none is fitted."
    return line


def _with_held(result: CouponFit, head: str) -> str:
    line = f"{head}; {result.held} more held {_those(result)} without breaking."
    log = result.family("lognormal")
    if log is None:
        return line
    mean, sd = log.parameters["mean"], log.parameters["sd"]
    return (
        f"{line} Each of those counted as stronger than what it held: about {value(result, mean)} "
        f"on average, CoV {percent(sd / mean)} (lognormal)."
    )


def _those(result: CouponFit) -> str:
    held = [c.value for c in result.coupons if c.held]
    low, high = min(held), max(held)
    return value(result, low) if low == high else between(result, low, high)


def weakest(result: CouponFit) -> str:
    """Say what the weak ones of the next are to be expected at."""
    log = result.family("lognormal")
    assert log is not None  # noqa: S101 - with families there is this one
    first, last = log.one_in_100, log.one_in_1000
    told = result.batches
    if told is not None and told.verdict == "apart":
        return (
            f"**In a new batch** expect 1 in 100 below **{floor(result, told.one_in_100)}** and "
            f"1 in 1,000 below **{floor(result, told.one_in_1000)}** (lognormal, with what "
            f"{len(told.batches)} batches leave open). Taken as one batch it would be "
            f"{floor(result, first.predicted)} and {floor(result, last.predicted)}: too hopeful."
        )
    return (
        f"Of more like these expect 1 in 100 below **{floor(result, first.predicted)}** and 1 in "
        f"1,000 below **{floor(result, last.predicted)}** (lognormal, with what {result.broke} "
        f"breaks leave open). The fit alone would say {value(result, first.plain)} and "
        f"{value(result, last.plain)}; the true 1-in-100 value lies from "
        f"{between(result, first.low, first.high)}, 90 in 100."
    )


def floor(result: CouponFit, x: float | None) -> str:
    """Return a strength or a load, rounded down."""
    return value(result, x, 3, "down")


def shape(result: CouponFit) -> str:
    """Say how the families differ, and whether the numbers choose."""
    best, *others = result.families
    possible = [best, *(o for o in others if o.aic_above_best <= result.far_better)]
    by = sorted(possible, key=lambda entry: entry.one_in_1000.predicted)
    if len(by) == 1:
        above = number(others[0].aic_above_best, 2)
        return (
            f"{_cap(best.family)} fits best (Akaike's criterion {above} lower than "
            f"{others[0].family}). That speaks of the middle; the tail below the weakest is still "
            "the shape's and not the numbers'."
        )
    apart = number(possible[-1].aic_above_best, 2, "up")
    worse = "".join(f"; {o.family} fits worse ({number(o.aic_above_best, 2)})"
                    for o in others if o not in possible)  # fmt: skip
    names = ", ".join(o.family for o in possible[:-1]) + f" and {possible[-1].family}"
    low, high = (_at(result, entry.one_in_1000.predicted) for entry in (by[0], by[-1]))
    return (
        f"**{result.broke} breaks cannot choose** between {names} (Akaike's criterion within "
        f"{apart}{worse}). Yet the value that 1 in 1,000 should break below lies {low} by "
        f"{by[0].family} and {high} by {by[-1].family}."
    )


def _at(result: CouponFit, x: float) -> str:
    told = floor(result, x)
    return told if x <= 0.0 else f"at {told}"


def _cap(word: str) -> str:
    return word[:1].upper() + word[1:]


def basis(result: CouponFit) -> str:
    """Say the basis values, and what handbooks ask for."""
    log = result.family("lognormal")
    assert log is not None  # noqa: S101 - with families there is this one
    b, a = log.basis
    how = "" if not result.held else " (by approximation, since some held)"
    line = (
        f"Exceeded by 90 % with 95 in 100 (B): {floor(result, b.value)}; by 99 % (A): "
        f"{floor(result, a.value)}; lognormal{how}."
    )
    if result.batches is not None and result.batches.verdict == "apart":
        return f"{line} **They take all as one batch, which these are not.**"
    if result.broke >= HANDBOOK_A:
        return f"{line} Where a code rules, its own rules on batches apply."
    which = "neither" if result.broke < HANDBOOK_B else "no A basis"
    asked = f"{HANDBOOK_B} (B) and {HANDBOOK_A} (A)" if which == "neither" else f"{HANDBOOK_A}"
    return (
        f"{line} Sums, not design values: handbooks accept {which} from so few (CMH-17, from "
        f"memory, asks for {asked} from several batches)."
    )


def batches(result: CouponFit, told: Batches) -> str:
    """Say how much lies between the batches."""
    count = len(told.batches)
    if told.verdict == "held":
        return f"{count} batches; some coupons held, so scatter between batches is not split off."
    if told.verdict == "few" or told.between is None or told.within is None:
        return (
            f"{count} batch{'es' if count > 1 else ''}: **too few to tell** what differs from "
            "batch to batch, and what this set shows of it may be far too little. Leave "
            "batch.bond_factor at its default."
        )
    range_ = "more alike than chance makes them, so no limit is told"
    if told.between_high is not None:
        range_ = (
            f"true value {percent(told.between_low)} to {percent(told.between_high)}, 90 in 100"
        )
    lead = (
        f"{count} batches: CoV {percent(told.within)} inside a batch, {percent(told.between)} from "
        f"batch to batch ({range_})."
    )
    ask = " So few batches leave that wide open: break some of more." if count < FEW_BATCHES else ""
    if told.verdict == "apart":
        return (
            f"{lead} **They differ by more than chance** (1 set in "
            f"{number(1.0 / max(told.significance or 0.0, 1e-6), 2)} would look so if all were "
            f"alike).{ask}"
        )
    new = ""
    if told.between > 0.0:
        new = f" Counted all the same, 1 in 100 of a new batch: {floor(result, told.one_in_100)}."
    alike = "No more than chance explains, which does not show that batches are alike."
    return f"{lead} {alike}{new}{ask}"


def far_out(result: CouponFit) -> str:
    """Say which values lie further out than chance explains."""
    told = result.outliers
    if told.residual is None or told.critical is None:
        return "Not tested, since some held." if result.held and result.families else ""
    if not told.flagged:
        return (
            f"None: the furthest lies {number(told.residual, 3)} sd from the mean; of such sets 1 "
            f"in 20 has one beyond {number(told.critical, 3)}."
        )
    named = "; ".join(_flagged(result, out) for out in told.flagged)
    without = (
        f" Without {'it' if len(told.flagged) == 1 else 'them'} the mean would be "
        f"{value(result, told.mean_without)}"
        + (f", CoV {percent(told.cov_without)}" if told.cov_without is not None else "")
        + "."
    )
    return (
        f"{named}. **Nothing was taken out.** Look for a cause (face, gap, grip, slip of the pen); "
        f"leave a value out only for a cause that you can name.{without}"
    )


def _flagged(result: CouponFit, out: Outlier) -> str:
    place = "line" if result.run.get("file_sha256") else "value"
    return (
        f"{place} {out.row}, {value(result, out.value)}, is {out.side}: "
        f"{number(out.residual, 3)} sd from the mean, and 1 set in 20 has one beyond "
        f"{number(out.critical, 3)}"
    )


def weak(result: CouponFit) -> str:
    """Say what is seen of badly bonded ones, and how many there may be unseen."""
    told = result.weak
    assert told is not None  # noqa: S101 - asked for only where it is there
    half = value(result, told.below)
    if not told.rows:
        return (
            f"None broke below half of the middle value ({half}). That shows little: up to "
            f"**{percent(told.share_high)}** of all could still be so, 95 in 100. Weak bonds stand "
            "in [weak_bonds], not in this spread."
        )
    place = "line" if result.run.get("file_sha256") else "value"
    lines = f"{place}{'s' if len(told.rows) > 1 else ''} {_listed(told.rows)}"
    return (
        f"**{len(told.rows)} of {result.count}** broke below half of the middle value ({half}): "
        f"{lines}. **Look at the fracture:** a bare face says a badly bonded part, of another kind "
        "than the rest. The spread above counts it in; in a scenario such belong in [weak_bonds]. "
        f"Up to {percent(told.share_high)} of all may be so, 95 in 100."
    )


def _listed(rows: Sequence[int]) -> str:
    shown = [str(row) for row in rows[:6]]
    return ", ".join(shown) + (" and more" if len(rows) > len(shown) else "")


def more(result: CouponFit) -> str:
    """Say what more coupons would bring."""
    (_, now), *later = result.more
    some = ", ".join(f"{value(result, x)} with {n}" for n, x in later[:3])
    return (
        f"If more scattered as these, 1 in 100 would be expected below {some}, in place of "
        f"{floor(result, now)}: what is gained is knowledge, not strength."
    )


def write(result: CouponFit) -> str:
    """Say what may be written in a scenario."""
    told = result.written
    if told is not None:
        batch = "" if told.batch_cov is None else f", {percent(told.batch_cov)} from batch to batch"
        line = (
            f"The lines below: CoV {percent(told.scatter_cov)} from joint to joint{batch}, wider "
            f"than measured by a factor of {number(told.widened, 2)} for what so few leave open, "
            f"and {percent(told.unknown_cov)} on all joints alike, put to the model's own doubt."
        )
        if result.weak is not None and result.weak.rows:
            return (
                f"{line} The weak are counted in: where a face shows a bad bond, fit again without "
                "it and leave it to [weak_bonds]."
            )
        if told.shape == "weibull":
            return f"{line} As weibull, since lognormal fits far worse."
        return f'{line} Run it with dist = "weibull" too: the other shape, a weaker tail.'
    if result.dimension == "force":
        return (
            "**Not these loads.** A scenario takes a strength per area. Of whole rods: a rod shows "
            "the weaker of its two ends, which is weaker and scatters less than one joint, so give "
            "them to the command learn as pulls that broke. Of lap coupons: jointrisk single-lap "
            "--loads says what they are worth."
        )
    if result.families:
        return (
            "Nothing: so few leave the scatter too wide open, or these are bonds of more than one "
            "kind. Sort them by what their faces show, and break more."
        )
    if result.why_no_fit == "equal":
        return "Nothing yet: read the gauge more finely, or break more."
    return (
        "Nothing yet: break at least 3, better 10, from more than one mix. Until then name the "
        "class of the adhesive and let its usual spread stand."
    )
