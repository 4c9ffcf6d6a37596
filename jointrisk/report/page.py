"""The report as one page: no script, nothing fetched, readable on paper and on a phone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from jointrisk.report import figures, section_words, sentences, tables, words
from jointrisk.report.blocks import flat
from jointrisk.report.cautions import CAUTIONS
from jointrisk.report.section import section

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

    from jointrisk.study.proof_results import Proof
    from jointrisk.study.results import Assessment

GROUPS = {
    "life": "Life and target",
    "target": "Life and target",
    "rods": "Rods",
    "tube": "Tube",
    "plug": "Plug",
    "sleeve": "Sleeve",
    "thread": "Thread",
    "rod_end": "Rod end",
    "backup": "Back-up",
    "part": "Other parts in line",
    "adhesive": "Adhesive",
    "evidence": "Adhesive",
    "preparation": "Preparation of the surfaces",
    "weak_bonds": "Weak bonds",
    "batch": "Batch",
    "service": "Service",
    "load": "Loads",
    "model": "Model",
    "pull": "Pulls",
    "proof": "Pulls",
}
"""First word of a key in the scenario, and the heading it stands under."""

FACTS = {
    "rods": ("rods in the set", ""),
    "ends": ("bonded ends of a rod", ""),
    "life_years": ("life", " years"),
    "median_gap_mm": ("radial gap, per side", " mm"),
    "mean_shear_stress_at_median_mpa": ("mean shear stress at the median strength", " MPa"),
    "share_not_assembled": ("share of sets left out: the parts do not go together", ""),
}
"""Known facts of a result: plain words and unit; others are shown by their own key."""

_TOGETHER = re.compile(
    r"\b1 in \d[\d,.]*\d*(?: million)?|\d[\d,.]* (?:million|kN|N|kgf|lbf|mm|MPa)\b|\d[\d.]* %"
)


def html(assessment: Assessment) -> str:
    """Return the report as one HTML document.

    Raises
    ------
    jinja2.UndefinedError
        When the template names a value that is not given to it.
    """
    template = environment().get_template("report.html.j2")
    return template.render(**_values(assessment)) + "\n"


def environment() -> Environment:
    """Return what the templates are filled in by."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("jointrisk.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        strong=_strong,
        breakable=_breakable,
        chance=words.chance,
        percent=words.percent,
        load=words.load,
        factor=words.factor,
        number=words.number,
        flat=flat,
    )
    return made


def _strong(sentence: str) -> Markup:
    """Escape a sentence, set <strong> for its asterisks, keep numbers with their units."""
    from markupsafe import Markup, escape

    whole = _TOGETHER.sub(r'<span class="n">\g<0></span>', str(escape(sentence)))
    return Markup(sentences.mark(whole, "<strong>", "</strong>"))  # noqa: S704 - escaped above


def _breakable(key: str) -> Markup:
    """Escape a key and let a line end after its dots and underscores."""
    from markupsafe import Markup, escape

    return Markup(re.sub(r"([._])", r"\1<wbr>", str(escape(key))))  # noqa: S704 - escaped


def _values(assessment: Assessment) -> dict[str, Any]:
    from markupsafe import Markup

    drawn = figures.all_svg(assessment)
    result = assessment.failure_probability
    return {
        "a": assessment,
        "chance_range": words.chance_range,
        "shown_rows": figures.MOST_ROWS,
        "known_band": [
            sentences.band_end(result, name) for name in ("p05", "p50", "p95") if result is not None
        ],
        "ends_known": "" if result is None else _as_sentence(sentences.ends_of_band(result)),
        "digits": (result.low, result.high) if result is not None else (None, None),
        "answers": sentences.headline(assessment),
        "more": [
            sentences.strength_in_service(assessment),
            sentences.permitted(assessment),
            *filter(None, [sentences.backup(assessment)]),
            sentences.target(assessment),
        ],
        "worth": [sentences.pull_worth(entry, assessment) for entry in assessment.proof.pulls],
        "pull_detail": sentences.pull_detail(assessment),
        "figures": {name: Markup(text) for name, text in drawn.items()},  # noqa: S704 - ours
        "captions": {
            name: title if name in {"ranking", "modes", "proof"} else f"{title}. {seen}"
            for name, (title, seen) in figures.describe(assessment).items()
        },
        "joints": _joints(assessment),
        "tables": tables.links(assessment),
        "curve_rows": _curve_rows(assessment),
        "proof_rows": _proof_rows(assessment),
        "band_rows": _band_rows(assessment),
        "assumptions": grouped(assessment),
        "facts": [
            _fact(key, value) for key, value in assessment.facts.items() if value not in ("", None)
        ],
        "cautions": CAUTIONS,
    }


def _as_sentence(text: str) -> str:
    return f" {text[:1].upper()}{text[1:]}: more draws would tell it closer." if text else ""


def _joints(assessment: Assessment) -> list[dict[str, Any]]:
    """Return each end that was judged: heading, drawing, how to read it, sizes."""
    from markupsafe import Markup

    rod = assessment.geometry
    heads = ("",) if len(rod.ends) == 1 else ("First end", "Second end")
    return [
        {
            "head": head,
            "svg": Markup(section(end, rod.rod_length_mm, f"joint-{count}")),  # noqa: S704 - ours
            "remarks": " ".join(section_words.remarks(end, rod.rod_length_mm)),
            "sizes": section_words.sizes(end, rod.rod_length_mm),
        }
        for count, (head, end) in enumerate(zip(heads, rod.ends, strict=True), 1)
    ]


def _curve_rows(assessment: Assessment) -> list[tuple[str, str, str, str]]:
    """Return the picture of the strength as rows: load and three chances."""
    data = assessment.figures
    load_side = data.load_exceeded
    rows = []
    for i in _some(len(data.strength_new.load)):
        newton = data.strength_new.load[i]
        rows.append(
            (
                words.load(newton, 3),
                words.chance(data.strength_new.value[i]),
                words.chance(_at(data.strength_service, newton)),
                "" if load_side is None else words.chance(_at(load_side, newton)),
            )
        )
    return rows


def _proof_rows(assessment: Assessment) -> list[tuple[str, ...]]:
    """Return the picture of the pulls as rows: pull, chance after it, interval, shares broken."""
    data = assessment.figures
    curve = data.fail_after_pull
    if curve is None:
        return []
    return [
        (
            words.load(curve.load[i], 3),
            words.chance(curve.value[i], curve.low[i], curve.high[i]),
            words.chance_range(curve.low[i], curve.high[i]),
            words.percent(_at(data.reject, curve.load[i])),
            "" if data.reject_weak is None else words.percent(_at(data.reject_weak, curve.load[i])),
        )
        for i in _some(len(curve.load))
    ]


def _band_rows(assessment: Assessment) -> list[tuple[str, str]]:
    values = sorted(assessment.figures.band)
    shares = (0.05, 0.25, 0.5, 0.75, 0.95)
    return [
        (words.percent(share), words.chance(values[min(int(share * len(values)), len(values) - 1)]))
        for share in shares
        if values
    ]


def _some(count: int, most: int = 12) -> range:
    """Return about `most` indices spread over `count`."""
    return range(0, count, max(1, -(-count // most)))


def _at(curve: Any, newton: float) -> float:
    """Return the value of the curve at the given load nearest to `newton` [N]."""
    nearest = min(range(len(curve.load)), key=lambda i: abs(curve.load[i] - newton))
    return float(curve.value[nearest])


def grouped(result: Assessment | Proof) -> list[tuple[str, list[tuple[str, list[Any]]]]]:
    """Return the assumptions: the maker's, then the defaults, each under headings."""
    parts = []
    for origin, title in (("scenario", "Your values"), ("default", "Defaults")):
        groups: dict[str, list[Any]] = {}
        for entry in result.assumptions:
            if entry.origin == origin:
                first = entry.key.split(".")[0].split("[")[0]
                groups.setdefault(GROUPS.get(first, "Other"), []).append(entry)
        if groups:
            parts.append((title, list(groups.items())))
    return parts


def _fact(key: str, value: object) -> tuple[str, str]:
    name, unit = FACTS.get(key, (key.replace("_", " "), ""))
    if key == "share_not_assembled":
        return name, words.percent(float(str(value)))
    if isinstance(value, float):
        return name, words.number(value, 3) + unit
    return name, flat(value) + unit
