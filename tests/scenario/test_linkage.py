"""What a load file says of a linkage: text-book levers, moments and points, and what is refused."""

import math
import tomllib

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import scenario, spread
from jointrisk.scenario.given import Given, build
from jointrisk.scenario.problems import validate
from jointrisk.scenario.recipe import times
from jointrisk.scenario.resolve import resolve
from jointrisk.scenario.types import LEAST_ANGLE

HAND = 'name = "hand"\nkind = "annual_maximum"\nsize = { mean = "300 N", cov = 0.2 }'
PLANE = 'near_end = ["60 mm", "0 mm"]\nfar_end = ["60 mm", "300 mm"]\npivot = ["0 mm", "0 mm"]'
SPACE = (
    'near_end = ["60 mm", "0 mm", "5 mm"]\nfar_end = ["60 mm", "300 mm", "5 mm"]\n'
    'pivot = ["0 mm", "0 mm", "-40 mm"]'
)
ARM = 'name = "arm"\nkind = "annual_maximum"'
MOMENT = f'{ARM}\nmoment = {{ mean = "120 N m", cov = 0.3 }}'

START = tomllib.loads(scenario.new("plug-in-tube"))


@pytest.fixture
def one(small):
    """Return a function that gives the scenario with one load of these lines."""
    return lambda lines: scenario.load_text(small(after=f"[[load]]\n{lines}\n"))


def told(found, key):
    """Return the line of an assumption of the one load."""
    (name,) = [load.name for load in found.loads]
    (line,) = [a for a in found.assumptions if a.key == f"load.{name}.{key}"]
    return line


# Ratios and angle --------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["arm_ratio", "dynamic_factor"])
def test_a_ratio_is_a_lasting_variable_of_its_own(one, key):
    found = one(f"{HAND}\n{key} = {{ mean = 2.5, cov = 0.1, source = 'measured' }}")
    variable = found.variables[f"load.hand.{key}"]
    assert isinstance(variable.spread, spread.Lognormal)
    assert (variable.spread.mean, variable.spread.sd) == pytest.approx((2.5, 0.25))
    assert (variable.unit, variable.scope, variable.kind) == ("-", "all", "scatter")
    assert (variable.origin, variable.source, variable.confidence) == (
        *("scenario", "measured"),
        "given",
    )
    assert found.loads[0].ratios == (variable.key,)
    assert found.loads[0].angle == ""
    assert told(found, key).value == "2.5 on average, CoV 0.1, lognormal"


def test_an_angle_is_normal_and_in_degrees(one):
    found = one(f'{HAND}\nangle = {{ mean = "70 deg", sd = "0.05 rad", kind = "not known" }}')
    variable = found.variables["load.hand.angle"]
    assert isinstance(variable.spread, spread.Normal)
    assert (variable.spread.mean, variable.spread.sd) == pytest.approx((70, 0.05 * 180 / math.pi))
    assert (variable.unit, variable.kind) == ("deg", "not known")
    assert found.loads[0].angle == variable.key
    assert told(found, "angle").value == "70 deg on average, sd 2.865 deg, normal"


def test_factors_share_the_scope_of_their_load(one):
    lines = f'{HAND}\nscope = "rod"\narm_ratio = {{ mean = 2, cov = 0.1 }}\nangle = "80 deg"'
    found = one(lines)
    assert {v.scope for k, v in found.variables.items() if k.startswith("load.")} == {"rod"}


def test_a_load_without_a_linkage_is_as_it_was(one):
    found = one(HAND)
    (load,) = found.loads
    assert (load.reach, load.ratios, load.angle) == (1.0, (), "")
    keys = {a.key for a in found.assumptions if a.key.startswith("load.")}
    assert keys == {"load.hand.size", "load.hand.direction"}


def test_the_middling_force_in_the_rod_is_told(one):
    """300 N at 300 mm, the rod at 75 mm and 70 deg to its arm, jerked by 1.2: 1532 N."""
    steady = HAND.replace('{ mean = "300 N", cov = 0.2 }', '"300 N"')
    line = told(
        one(f'{steady}\narm_ratio = 4\nangle = "70 deg"\ndynamic_factor = 1.2'), "in_the_rod"
    )
    assert line.value == "1532 N, pull and push"
    assert (line.origin, line.confidence) == ("scenario", "arithmetic")
    line = told(one(f'{steady}\ndirection = "push"\nangle = "110 deg"'), "in_the_rod")
    assert line.value == "319.3 N, push"
    hangs = 'name = "spring"\nkind = "sustained"\nsize = "-50 N"\narm_ratio = 3'
    assert told(one(hangs), "in_the_rod").value == "-150 N"
    sways = 'name = "sway"\nkind = "cycles"\nrate = "9 / year"\nsize = "50 N"\nmean = "-20 N"'
    assert told(one(f"{sways}\narm_ratio = 2"), "in_the_rod").value == "-140 N to 60 N"


# A moment ----------------------------------------------------------------------------------------


def test_a_crank_by_hand(one):
    """120 N m on an arm of 60 mm square to the rod: 2000 N, and the rod pulls the part round."""
    found = one(MOMENT.replace("mean", "median") + f"\n{PLANE}")
    (load,) = found.loads
    assert load.reach == pytest.approx(1000 / 60)
    assert (load.direction, load.size.key, load.size.unit) == ("pull", "load.arm.moment", "N m")
    assert isinstance(load.size.spread, spread.Gumbel)
    assert told(found, "in_the_rod").value == "2000 N, pull"
    assert told(found, "direction").source == "the sign of the moment and the points"
    assert told(found, "near_end").value == "60 mm, 0 mm"


def test_a_bell_crank_gives_the_ratio_of_its_arms(one):
    """A bell crank with arms of 90 mm and 40 mm: F2 = F1 90/40 (text book), here 400 N to 900 N."""
    moment = f'{ARM}\nmoment = "{400 * 0.090!r} N m"\n'
    points = (
        'pivot = ["10 mm", "20 mm"]\nnear_end = ["10 mm", "60 mm"]\nfar_end = ["-90 mm", "60 mm"]'
    )
    assert told(one(moment + points), "in_the_rod").value == "900 N, pull"
    away = points.replace("-90 mm", "110 mm")
    assert told(one(moment + away), "in_the_rod").value == "900 N, push"


def test_a_slanted_rod_has_the_arm_of_its_line(one):
    """Arm = distance of the line through both ends from the pivot."""
    found = one(f"{MOMENT}\n{PLANE}".replace('["60 mm", "300 mm"]', '["160 mm", "300 mm"]'))
    line = np.cross([100.0, 300.0, 0.0], [60.0, 0.0, 0.0])[2] / math.hypot(100.0, 300.0)
    assert found.loads[0].reach == pytest.approx(1000.0 / abs(line))
    assert 1000.0 / abs(line) == pytest.approx(2108.2 / 120.0, rel=1e-4)


@pytest.mark.parametrize(
    ("sign", "lines", "direction"),
    [
        ("", "", "pull"),
        ("-", "", "push"),
        ("", 'direction = "pull"', "pull"),
        ("-", 'direction = "push"', "push"),
        ("", 'direction = "both"', "both"),
        ("-", 'direction = "both"', "both"),
    ],
)
def test_the_sign_of_the_moment_gives_the_direction(one, sign, lines, direction):
    (load,) = one(f"{MOMENT.replace('120', sign + '120')}\n{PLANE}\n{lines}").loads
    assert load.direction == direction
    assert load.reach > 0
    # The tail of the largest stays on the side of the larger moment.
    plain = spread.Gumbel(120.0, 36.0)
    for q in (0.05, 0.5, 0.99):
        assert load.size.spread.ppf(q) == pytest.approx(plain.ppf(q))


def test_a_lasting_moment_keeps_its_sign(one):
    turned = PLANE.replace("300 mm", "-300 mm")
    lines = f'name = "a"\nkind = "sustained"\nmoment = {{ mean = "12 N m", cov = 0.1 }}\n{turned}'
    (load,) = (found := one(lines)).loads
    assert load.reach == pytest.approx(-1000 / 60)
    assert load.size.spread.mean == pytest.approx(12.0)
    assert told(found, "in_the_rod").value == "-200 N"


def test_cycles_of_a_moment_swing_about_a_moment(one):
    lines = 'name = "a"\nkind = "cycles"\nrate = "9 / year"\nmoment = "12 N m"\n'
    turned = PLANE.replace("300 mm", "-300 mm")
    assert told(one(lines + turned), "in_the_rod").value == "-200 N to 200 N"
    found = one(f'{lines}{turned}\nmean = "-3 N m"\ndynamic_factor = 2')
    assert told(found, "in_the_rod").value == "-300 N to 500 N"
    assert found.loads[0].mean.unit == "N m"


@given(
    near=st.tuples(st.floats(20, 90), st.floats(-90, 90)),
    far=st.tuples(st.floats(-90, -20), st.floats(-90, 90)),
    height=st.floats(-50, 50),
    length=st.floats(0.1, 5),
)
@settings(deadline=None, max_examples=15)
def test_space_reduces_to_the_plane(near, far, height, length):
    """Points at any one height, an axis of any length square to them, a pivot anywhere along it."""

    def reach(table):
        (load,) = _resolve(START | {"load": [table]}).loads
        return load

    plain = {"name": "a", "kind": "annual_maximum", "moment": "5 N m"}
    ends = {
        "near_end": [f"{x!r} mm" for x in near],
        "far_end": [f"{x!r} mm" for x in far],
        "pivot": ["0 mm", "-200 mm"],
    }
    flat = reach(plain | ends)
    lifted = {name: [*point, f"{height!r} mm"] for name, point in ends.items()}
    lifted["pivot"] = [*ends["pivot"], "3 mm"]
    up = reach(plain | lifted | {"axis": [0, 0, length]})
    down = reach(plain | lifted | {"axis": [0, 0, -length]})
    assert up.reach == pytest.approx(flat.reach, rel=1e-9)
    assert down.reach == pytest.approx(flat.reach, rel=1e-9)
    assert up.direction == flat.direction != down.direction


def _resolve(raw):
    file, problems, skip = validate(raw)
    return resolve(file, problems=problems, skip=skip, path="any", sha256="")


@given(
    form=st.sampled_from(
        [
            {"mean": 3.0, "cov": 0.2},
            {"mean": 3.0, "sd": 0.4},
            {"p05": 2.0, "p95": 4.0},
        ]
    ),
    factor=st.floats(0.01, 100),
    q=st.floats(0.01, 0.99),
)
@settings(deadline=None, max_examples=30)
def test_a_value_turned_round_is_its_mirror(form, factor, q):
    given_ = Given("moment", "", form, truncated=(1.0, 6.0))
    plain, turned = build(given_, "normal"), build(times(given_, -factor, "force"), "normal")
    assert turned.ppf(q) == pytest.approx(-factor * plain.ppf(1 - q), rel=1e-9)
    limits = Given("moment", "", {"most_likely": 2.0}, never_outside=(1.0, 6.0))
    turned = build(times(limits, -factor, "force"), "normal")
    assert (turned.low, turned.mode, turned.high) == pytest.approx(
        (-6 * factor, -2 * factor, -factor)
    )


# What is refused ---------------------------------------------------------------------------------

STEADY = 'name = "s"\nkind = "sustained"\nsize = "30 N"'
FAULTS = [
    (f'{HAND}\nangle = "0 deg"', "angle", ["got 0 deg", "1 deg to 179 deg"]),
    (f'{HAND}\nangle = "180 deg"', "angle", ["got 180 deg", "1 deg to 179 deg"]),
    (f"{HAND}\nangle = 70", "angle", ["no unit", '"70 deg"']),
    (f'{HAND}\nangle = "70 degC"', "angle", ["temperature", '"70 deg"']),
    (f'{HAND}\nangle = {{ mean = "8 deg", sd = "4 deg" }}', "angle", ["%", "outside", "8 deg"]),
    (f"{HAND}\narm_ratio = 0", "arm_ratio", ["not above zero", "got 0"]),
    (f"{HAND}\narm_ratio = -2.5", "arm_ratio", ["not above zero", "got -2.5"]),
    (f"{HAND}\ndynamic_factor = 0", "dynamic_factor", ["not above zero", "got 0"]),
    (f'{HAND}\ndynamic_factor = "2 mm"', "dynamic_factor", ["ratio", '"2 mm"']),
    (f"{STEADY}\ndynamic_factor = 2", "dynamic_factor", ["always there", "event", "got 2"]),
    (
        f'{HAND}\narm_ratio = {{ mean = 2, cov = 0.1, scope = "joint" }}',
        "arm_ratio",
        ["scope", '"joint"'],
    ),
    (f"{HAND}\n{PLANE.splitlines()[0]}", "near_end", ["without a moment", "60 mm, 0 mm"]),
    (f"{HAND}\naxis = [0, 0, 1]", "axis", ["without a moment", "0, 0, 1"]),
    (f'{HAND}\nmoment = "120 N m"\n{PLANE}', "moment", ["one of moment and size", "120 N m"]),
    (
        f'name = "a"\nrecipe = "a hand on a lever"\nmoment = "120 N m"\n{PLANE}',
        "moment",
        ["one of moment and a recipe", "120 N m"],
    ),
    (f"{MOMENT}\n{PLANE}\narm_ratio = 2", "arm_ratio", ["beside a moment", "got 2"]),
    (f'{MOMENT}\n{PLANE}\nangle = "70 deg"', "angle", ["beside a moment", "70 deg"]),
    (f"{MOMENT.replace('N m', 'N')}\n{PLANE}", "moment", ["force", '"120 N"', '"120 N m"']),
    (f"{ARM}\nmoment = 120\n{PLANE}", "moment", ["no unit", '"120 N m"']),
    (f'{MOMENT}\n{PLANE}\ndirection = "push"', "direction", ["pull", '"push"', '"both"']),
    (
        f'{MOMENT.replace("120", "-120")}\n{PLANE}\ndirection = "pull"',
        "direction",
        ["push", '"pull"'],
    ),
    (f"{MOMENT}\n{PLANE}\naxis = [0, 0, 1]", "axis", ["in a plane", "0, 0, 1"]),
    (f"{MOMENT}\n{SPACE}", "axis", ["is missing", "[0, 0, 1]"]),
    (f"{MOMENT}\n{SPACE}\naxis = [0, 0, 0]", "axis", ["no length", "0, 0, 0"]),
    (f"{MOMENT}\n{SPACE}\naxis = [0, 1]", "axis", ["three numbers", "[0, 1]", "[0, 0, 1]"]),
    (
        f"{MOMENT}\n{PLANE}".replace(
            'pivot = ["0 mm", "0 mm"]', 'pivot = ["0 mm", "0 mm", "0 mm"]'
        ),
        "pivot",
        ["coordinates", "got 3", "2"],
    ),
    (f"{MOMENT}\n{PLANE}".replace('["0 mm", "0 mm"]', '["0 mm"]'), "pivot", ["two lengths"]),
    (f"{MOMENT}\n{PLANE}".replace('["0 mm", "0 mm"]', "[0, 0]"), "pivot", ["no unit", '"0 mm"']),
    (
        f"{MOMENT}\n{PLANE}".replace('["0 mm", "0 mm"]', '["60 mm", "9 mm"]'),
        "near_end",
        ["in line"],
    ),
    (
        f"{MOMENT}\n{SPACE}\naxis = [0, 1, 0]",
        "near_end",
        ["in line", "no arm", "60 mm, 0 mm, 5 mm"],
    ),
    (f"{MOMENT}\n{PLANE}".replace("300 mm", "0 mm"), "far_end", ["where near_end is", "60 mm"]),
    (
        'name = "a"\nkind = "cycles"\nrate = "9 / year"\nsize = "50 N"\nmean = "2 N m"',
        "mean",
        ["a moment beside a force", "2 N m"],
    ),
    (
        f'name = "a"\nkind = "cycles"\nrate = "9 / year"\nmoment = "5 N m"\nmean = "2 N"\n{PLANE}',
        "mean",
        ["a force beside a moment", "2 N"],
    ),
    (
        f'name = "a"\nkind = "cycles"\nrate = "9 / year"\nmoment = "-5 N m"\n{PLANE}',
        "moment",
        ["not above zero", "-5 N m"],
    ),
    (f'{ARM}\nmoment = {{ never_outside = ["-5 N m", "9 N m"] }}\n{PLANE}', "moment", ["outside"]),
]


@pytest.mark.parametrize(("lines", "key", "parts"), FAULTS)
def test_a_fault_of_a_linkage_makes_one_line(small, problems, lines, key, parts):
    (line,) = problems(small(after=f"[[load]]\n{lines}\n"))
    assert line.startswith(f"rod.toml: load[1].{key}: ")
    for part in parts:
        assert part in line


def test_every_point_that_is_missing_is_named(small, problems):
    lines = problems(small(after=f"[[load]]\n{MOMENT}\n"))
    assert [line.split(": ")[1] for line in lines] == [
        f"load[1].{name}" for name in ("near_end", "far_end", "pivot")
    ]
    assert all("is missing" in line for line in lines)


def test_a_spread_of_an_angle_is_held_off_the_dead_points(one):
    found = one(f'{HAND}\nangle = {{ mean = "30 deg", sd = "12 deg" }}')
    base = found.variables["load.hand.angle"].spread
    assert (base.low, base.high) == (LEAST_ANGLE, 180 - LEAST_ANGLE)


# Options and schema ------------------------------------------------------------------------------


def test_an_option_changes_ratio_angle_and_points(small):
    text = small(
        after=f"[[load]]\n{HAND}\narm_ratio = 2\n[[load]]\n{MOMENT}\n{PLANE}\n[options.x]\n"
        'load.hand.arm_ratio = 3\nload.hand.angle = "60 deg"\n'
        'load."arm".near_end = ["30 mm", "0 mm"]\nload.arm.far_end = ["30 mm", "90 mm"]\n'
    )
    base, other = (scenario.load_text(text, option=name) for name in (None, "x"))
    assert [s.variables["load.hand.arm_ratio"].spread.mean for s in (base, other)] == [2.0, 3.0]
    assert [s.loads[0].angle for s in (base, other)] == ["", "load.hand.angle"]
    assert other.loads[1].reach == pytest.approx(2 * base.loads[1].reach)


class TestSchema:
    DRAFT = jsonschema.Draft4Validator(scenario.schema())

    def errors(self, lines):
        raw = tomllib.loads(scenario.new("plug-in-tube"))
        raw["load"] = [tomllib.loads(lines)]
        return list(self.DRAFT.iter_errors(raw))

    @pytest.mark.parametrize(
        "lines",
        [
            f'{HAND}\narm_ratio = 2\nangle = {{ mean = "70 deg", sd = "2 deg" }}',
            f"{HAND}\ndynamic_factor = {{ never_outside = [1.5, 3] }}",
            f"{MOMENT}\n{PLANE}",
            f"{MOMENT}\n{SPACE}\naxis = [0, 0, 1]",
        ],
    )
    def test_a_linkage_fits(self, lines):
        assert self.errors(lines) == []

    @pytest.mark.parametrize(
        "lines",
        [
            MOMENT,
            f"{HAND}\nangle = 70",
            f"{MOMENT}\n{PLANE}\naxis = [0, 1]",
            f"{MOMENT}\n{PLANE}".replace('["0 mm", "0 mm"]', '["0 mm"]'),
        ],
    )
    def test_half_of_one_does_not(self, lines):
        assert self.errors(lines)
