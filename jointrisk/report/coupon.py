"""What broken lap coupons say, in words for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jointrisk.report.plain import bold, wrap
from jointrisk.report.words import load, load_all, number, percent

if TYPE_CHECKING:
    from jointrisk.study.coupon import SingleLap

LABEL = 10
"""Characters of the column of words before the lines [-]."""
SILENT = (
    "Nothing of toughness, heat, water, age or repeated load.",
    "Nothing of your rod's own surfaces, gap and hands, unless the coupons were made like it: "
    "same metal, same preparation, same mix, same layer.",
    "Nothing of which part let go. Look at the broken faces: adhesive on both, it tore inside; "
    "one face bare, the bond to that surface let go, and the number is that surface's.",
)
"""What no lap coupon says."""


def text(result: SingleLap, *, color: bool = False, width: int = 80) -> str:
    """Return the answer about lap coupons as plain text with a line end.

    Parameters
    ----------
    result : SingleLap
        What `jointrisk.single_lap` returned.
    color : bool
        True: headings in bold, for a terminal.
    width : int
        Characters in a line; 0: paragraphs are not broken [-].
    """
    lines = [
        ("Strength", _strength(result)),
        ("Shear", _shear(result)),
        ("Strips", _strips(result)),
        ("Ends", _ends(result)),
        ("Layer", _layer(result)),
        ("Class", _class(result)),
    ]
    head = "\n".join(_labelled(label, line, color, width) for label, line in lines)
    silent = [wrap(line, width, "  ", "    ") for line in SILENT]
    blocks = [head, "\n".join([bold("What these coupons do not say", color), *silent])]
    use = _use(result)
    if use:
        blocks.append("\n".join([bold("In a scenario", color), *use]))
    return "\n\n".join(blocks) + "\n"


def _labelled(label: str, line: str, color: bool, width: int) -> str:
    filled = wrap(line, width, label.ljust(LABEL), " " * LABEL)
    return bold(label, color) + filled[len(label) :]


def _mpa(value: float) -> str:
    return f"{number(value, 3)} MPa"


def _strength(result: SingleLap) -> str:
    shear = _mpa(result.mean_shear)
    if result.verdict == "no strength":
        return (
            f"The {shear} of these coupons cannot be turned into the layer's shear strength: "
            "an adhesive of this class is brittle, and a lap of it breaks from its ends, by peel."
        )
    if result.verdict == "hangs on the adhesive":
        return (
            f"If the adhesive is a tough one, its layer bears at least {shear} in shear. If it is "
            "brittle, the number says nothing of that. Name the class to know."
        )
    if result.strength_at_most is not None:
        return (
            f"On these surfaces the layer bears about {shear} in shear, up to "
            f"{_mpa(result.strength_at_most)}: the strips stayed elastic and the whole overlap "
            "flowed. The upper end is judgement, for what peel may have taken."
        )
    return (
        f"On these surfaces the layer bears at least {shear} in shear; how much more, these "
        f"coupons cannot say: {_why_open(result)}."
    )


def _why_open(result: SingleLap) -> str:
    if result.coupons_above_limit is None:
        return "nobody said when the strips yield"
    if result.coupons_above_limit:
        if result.coupon.composite:
            return "plies at the strips' surface were at their strength first"
        return "their strips yielded first"
    return "the ends may tear before the whole overlap flows"


def _shear(result: SingleLap) -> str:
    coupon = result.coupon
    many = len(coupon.loads)
    sizes = f"{number(coupon.width, 4)} x {number(coupon.overlap, 4)} mm"
    if many == 1:
        return (
            f"One coupon broke at {load_all(result.mean_load, 3)}: {_mpa(result.mean_shear)} over "
            f"its {sizes}. One is too few to know the scatter."
        )
    low, high = load(min(coupon.loads), 3), load(max(coupon.loads), 3)
    return (
        f"{many} coupons broke at {low} to {high}, {load_all(result.mean_load, 3)} on average: "
        f"{_mpa(result.mean_shear)} over their {sizes}, scatter (CoV) {percent(result.shear_cov)}."
    )


def _strips(result: SingleLap) -> str:
    coupon, limit = result.coupon, result.strip_limit_shear
    what = f"{number(coupon.thickness, 3)} mm {coupon.material or 'strips'}"
    if limit is None or result.coupons_above_limit is None:
        return f"{what}: give a yield strength to learn whether they yielded before the bond broke."
    many, above = len(coupon.loads), result.coupons_above_limit
    gives = "break at their surface" if coupon.composite else "yield"
    first = f"{what} {gives} from {_mpa(limit)} mean shear, by stretch and bending together"
    if not above:
        who = "the coupon" if many == 1 else "all coupons"
        return f"{first}: {who} broke below it, with strips still elastic."
    broke = "The coupon" if many == 1 else "All" if above == many else f"{above} of {many}"
    thicker = result.elastic_thickness
    advice = "" if thicker is None else (
        f" Strips of {number(thicker, 2, 'up')} mm or more would have stayed elastic to this load."
    )  # fmt: skip
    return f"{first}. {broke} broke above it: the number measures the strips too.{advice}"


def _ends(result: SingleLap) -> str:
    coupon = result.coupon
    taken = "" if coupon.bond_line_given else ", a thickness you did not give"
    return (
        f"The lap bends as it is pulled: factor k {number(result.bending_factor, 2)} (1 most, 0.26 "
        f"least). While all is elastic its ends bear {number(result.shear_peak_ratio, 2)} times "
        f"the mean in shear and {number(result.peel_peak_ratio, 2)} times in peel, for a layer of "
        f"{number(coupon.bond_line, 2)} mm{taken}."
    )


def _layer(result: SingleLap) -> str:
    many = f"over {number(result.coupon.overlap, 4)} mm"
    if result.brittle:
        return f"Peel decides, not the {many[5:]}: force over area falls as the overlap grows."
    if result.limit == "yield":
        if result.coupons_above_limit:
            return f"Tough enough in shear to flow {many}; strips come first in a longer overlap."
        return f"Tough enough in shear to flow {many}: a longer overlap would hold more."
    if result.limit == "toughness":
        return (
            f"Not tough enough to flow {many}: an end tears first, so force over area is low and "
            "falls as the overlap grows. A shorter overlap says more."
        )
    return (
        f"Within the class some flow {many} and some tear from an end first, which makes force "
        "over area low. A shorter overlap would tell."
    )


def _class(result: SingleLap) -> str:
    low, high = result.class_range
    range_ = f"Products of the class are usually met with {number(low)} to {_mpa(high)} in shear"
    if result.mean_shear < low and result.coupon.adhesive_class != "don't know":
        return (
            f"{range_}: these lie below it. Suspect the surfaces, then mix, cure and gap, before "
            "the adhesive."
        )
    return f"{range_}."


def _use(result: SingleLap) -> list[str]:
    """Return the lines of a scenario that bring the number in, where it is one."""
    if result.strength_at_least is None:
        return []
    scatter = "" if result.shear_cov is None else f", cov = {number(result.shear_cov, 2)}"
    return [
        "  [adhesive]",
        f'  class = "{result.coupon.adhesive_class}"',
        f'  shear_strength = {{ mean = "{_mpa(result.strength_at_least)}"{scatter} }}',
        '  evidence = "own coupons"',
    ]
