"""Load recipes: the table against its sources, and what a load takes from it."""

import tomllib
from importlib.resources import files

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from jointrisk import scenario, spread, units
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import LOAD_FAMILY
from jointrisk.scenario.given import Given, build
from jointrisk.scenario.recipe import times

RAW = tomllib.loads((files("jointrisk.scenario") / "data" / "loads.toml").read_text("utf-8"))
LEVER = 'name = "lever"\nrecipe = "a hand on a lever"'
KERB = 'name = "kerb"\nrecipe = "a wheel strikes a kerb"\nrate = "3 / year"'

# Figures as the sources print them [N], [-]: recipe, key of its size, value, words of its source.
READ = [
    # 14 CFR 25.405: ((1 + R) / 3) x 222 N, not under 222 N nor over 667 N.
    ("a hand on a lever", "p05", 222.0, "14 CFR 25.405"),
    ("a hand on a lever", "p95", 667.0, "14 CFR 25.405"),
    # 14 CFR 23.397 (text before 2017), maximum forces, aircraft to 5000 lb.
    ("a hand on a control stick, sideways", "mean", 298.0, "14 CFR 23.397"),
    ("a hand on a control stick, fore and aft", "mean", 743.0, "14 CFR 23.397"),
    ("both hands on a wheel", "mean", 890.0, "14 CFR 23.397"),
    ("a foot on a rudder pedal", "mean", 890.0, "14 CFR 23.397"),
    # Formula SAE Rules 2026 T.3.2.2.
    (
        "a full push on a brake pedal at inspection",
        "mean",
        2000.0,
        "Formula SAE Rules 2026 T.3.2.2",
    ),
    # ISO 4210-5 tables 1 and 2, as quoted.
    ("hands on a handlebar, city", "mean", 600.0, "ISO 4210-5"),
    ("hands on a handlebar, mountain or racing", "mean", 1000.0, "ISO 4210-5"),
    # Reliability lecture notes after JCSS 2001, as quoted: permanent loads, CoV 5 to 10 %.
    ("a weight hangs on it", "cov", 0.10, "JCSS 2001"),
]
# The same force in the code's pounds [lbf], 14 CFR 23.397 and 25.405.
POUNDS = {298.0: 67, 743.0: 167, 890.0: 200, 222.0: 50, 667.0: 150}


def codes(found):
    return {warning.code for warning in found.warnings}


@pytest.fixture
def one(small):
    """Return a function that gives the scenario with one load of these lines."""
    return lambda lines: scenario.load_text(small(after=f"[[load]]\n{lines}\n"))


class TestTable:
    @pytest.mark.parametrize("name", list(RAW))
    def test_every_row_is_whole(self, name):
        row = RAW[name]
        assert row["kind"] in LOAD_FAMILY
        assert ("direction" in row) == (row["kind"] != "sustained")
        assert row.get("direction", "pull") in ("pull", "push", "both")
        assert row["unit"] in ("N", "weight")
        assert ("weight_of" in row) == (row["unit"] == "weight")
        assert row["mark"] in tables.CONFIDENCE
        assert min(len(row[key]) for key in ("source", "spread", "acts")) > 5
        assert "rate" not in row or row["kind"] == "event"
        assert set(row) <= {
            *("kind", "direction", "acts", "unit", "weight_of", "size", "rate", "source"),
            *("spread", "mark"),
        }

    @pytest.mark.parametrize("name", list(RAW))
    def test_memory_and_judgement_say_so(self, name):
        row = RAW[name]
        assert "by judgement" in row["spread"]
        assert ("from memory" in row["source"]) == (row["mark"] == "M")
        assert ("as quoted" in row["source"]) == (row["mark"] == "C2")

    @pytest.mark.parametrize(("name", "key", "value", "source"), READ)
    def test_figures_are_those_of_the_source(self, name, key, value, source):
        row = tables.recipes()[name]
        assert row.size.numbers[key] == pytest.approx(value)
        assert source in row.source
        assert "(read in the source)" in row.source or "(as quoted)" in row.source
        assert row.confidence == "judgement, no source"  # the force is published, its scatter not

    def test_every_row_that_was_read_is_checked_here(self):
        read = {name for name, row in RAW.items() if row["mark"] in ("C", "C2")}
        assert read == {name for name, *_ in READ}

    @pytest.mark.parametrize(("newton", "pounds"), POUNDS.items())
    def test_newtons_are_the_code_s_pounds(self, newton, pounds):
        assert newton == pytest.approx(units.parse(f"{pounds} lbf", "force"), abs=0.6)

    @pytest.mark.parametrize("name", list(RAW))
    def test_every_size_can_be_drawn(self, name):
        row = tables.recipes()[name]
        base = build(row.size, LOAD_FAMILY[row.kind])
        assert base.mean > 0
        assert 0.05 < base.sd / base.mean < 0.40
        low, high = (1.0, 5.0) if row.weight_of else (200.0, 15000.0)
        assert 0.9 * low < base.mean < high

    def test_a_person_can_read_them(self):
        rows = {row.name: row for row in scenario.recipes()}
        assert list(rows) == list(RAW)
        wheel = rows["both hands on a wheel"]
        assert wheel.size == "890 N on average, CoV 0.2, gumbel"
        assert (wheel.kind, wheel.weight_of) == ("annual_maximum", "")
        assert wheel.source.startswith("14 CFR 23.397")
        assert "(read in the source)" in wheel.source
        stands = rows["someone stands on it"]
        assert stands.size == "anywhere from 1 to 2, times the weight of the person"
        assert stands.acts == "at the foot"
        assert "(from memory)" in stands.source


class TestFilling:
    def test_a_recipe_fills_in_what_is_not_given(self, one):
        (load,) = one(LEVER).loads
        assert (load.kind, load.direction, load.scope, load.rate) == (
            *("annual_maximum", "both", "all"),
            0.0,
        )
        # A Gumbel through 222 N at 5 % and 667 N at 95 %.
        low, high = stats.gumbel_r.ppf([0.05, 0.95])
        scale = (667 - 222) / (high - low)
        law = stats.gumbel_r(222 - scale * low, scale)
        for q in (0.05, 0.5, 0.95, 0.999):
            assert load.size.spread.ppf(q) == pytest.approx(law.ppf(q), rel=1e-4)

    @pytest.mark.parametrize("name", list(RAW))
    def test_every_recipe_makes_a_load(self, one, name):
        row = tables.recipes()[name]
        lines = f'name = "a"\nrecipe = "{name}"'
        lines += '\nweight = "700 N"' if row.weight_of else ""
        lines += '\nrate = "2 / year"' if row.kind == "event" else ""
        (load,) = one(lines).loads
        assert load.kind == row.kind
        times = 700.0 if row.weight_of else 1.0
        mean = build(row.size, LOAD_FAMILY[row.kind]).mean
        assert load.size.spread.mean == pytest.approx(times * mean, rel=1e-4)
        assert (load.size.origin, load.size.confidence) == ("default", row.confidence)
        assert row.source in load.size.source

    def test_a_rate_of_the_recipe(self, one):
        lines = 'name = "a"\nrecipe = "a full push on a brake pedal at inspection"'
        assert one(lines).loads[0].rate == pytest.approx(1.0)
        assert one(lines + '\nrate = "1 / month"').loads[0].rate == pytest.approx(12.0)
        assert one(lines + '\nkind = "annual_maximum"').loads[0].rate == 0.0

    @pytest.mark.parametrize(
        ("line", "check"),
        [
            ('size = "90 N"', lambda load: load.size.spread == spread.Fixed(90.0)),
            ('direction = "push"', lambda load: load.direction == "push"),
            (
                'kind = "event"\nrate = "2 / year"',
                lambda load: (load.kind, load.rate) == ("event", 2),
            ),
            ('kind = "sustained"', lambda load: load.size.spread.ppf(0.05) == pytest.approx(222.0)),
            ('scope = "rod"', lambda load: load.scope == load.size.scope == "rod"),
        ],
    )
    def test_keys_of_your_own_win(self, one, line, check):
        assert check(one(f"{LEVER}\n{line}").loads[0])

    def test_the_kind_chooses_the_family(self, one):
        event = one(f'{LEVER}\nkind = "event"\nrate = "2 / year"').loads[0].size.spread
        assert isinstance(event, spread.Lognormal)
        assert (event.ppf(0.05), event.ppf(0.95)) == pytest.approx((222.0, 667.0))

    def test_what_comes_from_the_recipe_is_listed_as_default(self, one):
        listed = {a.key: a for a in one(LEVER).assumptions if a.key.startswith("load.")}
        assert set(listed) == {
            f"load.lever.{key}" for key in ("recipe", "kind", "arm_ratio", "size", "direction")
        }
        assert listed.pop("load.lever.recipe").origin == "scenario"
        assert {entry.origin for entry in listed.values()} == {"default"}
        size = listed["load.lever.size"]
        assert "a hand on a lever; 14 CFR 25.405" in size.source
        assert "by judgement" in size.source
        assert size.confidence == "judgement, no source"
        assert listed["load.lever.kind"].confidence == "judgement, no source"

    def test_what_is_given_beside_a_recipe_is_listed_as_yours(self, one):
        lines = f'{KERB}\nweight = "900 N"\narm_ratio = 2\ndirection = "push"'
        listed = {a.key: a for a in one(lines).assumptions}
        for key, value in [
            ("weight", "900 N, what the wheel carries at rest"),
            ("arm_ratio", "2"),
            ("direction", "push"),
            ("rate", "3 / year"),
        ]:
            entry = listed[f"load.kerb.{key}"]
            assert (entry.value, entry.origin) == (value, "scenario")

    def test_a_life_is_needed_by_the_recipe_s_kind(self, small, problems):
        text = small(('[life]\nduration = "10 years"\n', ""), after=f"[[load]]\n{LEVER}\n")
        (line,) = problems(text)
        assert "life.duration: is missing" in line
        hangs = 'name = "a"\nrecipe = "a weight hangs on it"\nweight = "90 N"'
        text = small(('[life]\nduration = "10 years"\n', ""), after=f"[[load]]\n{hangs}\n")
        assert scenario.load_text(text).loads[0].size.spread == spread.Normal(90.0, 9.0)


class TestScaling:
    def test_the_arm_ratio_stands_beside_the_size(self, one):
        plain, long = (one(lines) for lines in (LEVER, f"{LEVER}\narm_ratio = 2.5"))
        assert long.loads[0].size == plain.loads[0].size
        assert long.loads[0].ratios == ("load.lever.arm_ratio",)
        assert long.variables["load.lever.arm_ratio"].spread == spread.Fixed(2.5)

    def test_weight_and_arm_ratio_multiply(self, one):
        found = one(f'{KERB}\nweight = "600 N"\narm_ratio = "150 %"')
        base = found.loads[0].size.spread
        assert isinstance(base, spread.Lognormal)
        assert (base.ppf(0.05), base.ppf(0.95)) == pytest.approx((2 * 600.0, 3 * 600.0))
        told = {a.key: a.value for a in found.assumptions}
        assert told["load.kerb.in_the_rod"] == "2205 N, pull and push"  # 1.5 * 600 * sqrt(2 * 3)

    def test_limits_scale_too(self, one):
        lines = 'name = "a"\nrecipe = "someone stands on it"\nrate = "1 / year"\nweight = "80 kgf"'
        base = one(lines).loads[0].size.spread
        weight = 80 * 9.80665
        assert isinstance(base, spread.Uniform)
        assert (base.low, base.high) == pytest.approx((weight, 2 * weight))

    @given(
        numbers=st.sampled_from(
            [{"mean": 3.0, "cov": 0.2}, {"p05": 2.0, "p95": 5.0}, {"mean": 3.0, "sd": 0.5}]
        ),
        family=st.sampled_from(["gumbel", "lognormal", "normal", "weibull"]),
        factor=st.floats(1e-3, 1e5),
        q=st.floats(0.001, 0.999),
    )
    @settings(deadline=None, max_examples=60)
    def test_scaling_keeps_the_family(self, numbers, family, factor, q):
        size = Given("ratio", "", numbers)
        base, scaled = build(size, family), build(times(size, factor, "ratio"), family)
        assert type(base) is type(scaled)
        assert scaled.ppf(q) == pytest.approx(factor * base.ppf(q), rel=1e-6, abs=1e-6 * factor)

    def test_without_an_arm_ratio_the_place_of_the_force_is_warned(self, one):
        found = one(LEVER)
        (text,) = [w.text for w in found.warnings if w.code == "load-recipe-at-the-hand"]
        for part in ('"lever"', "at the hand", "arm_ratio"):
            assert part in text
        for line in ("arm_ratio = 1", 'size = "90 N"'):
            assert "load-recipe-at-the-hand" not in codes(one(f"{LEVER}\n{line}"))

    def test_a_force_in_the_rod_needs_no_arm_ratio(self, one):
        found = one('name = "a"\nrecipe = "a suspension rod of a student race car"')
        assert "load-recipe-at-the-hand" not in codes(found)
        assert not [a for a in found.assumptions if a.key.endswith("arm_ratio")]


FAULTS = [
    (LEVER.replace("a hand", "hand"), "recipe", ['"hand on a lever"', '"a hand on a lever"?']),
    (LEVER.replace("a hand on a lever", "zz"), "recipe", ['"zz"', '"both hands on a wheel"']),
    (f"{LEVER}\narm_ratio = 0", "arm_ratio", ["not above zero", "got 0"]),
    (f"{LEVER}\narm_ratio = -2.5", "arm_ratio", ["not above zero", "got -2.5"]),
    (f'{LEVER}\narm_ratio = "2 mm"', "arm_ratio", ['"2 mm"', "ratio"]),
    (f'{LEVER}\nweight = "60 N"', "weight", ['"a hand on a lever"', "no meaning", "60 N"]),
    (KERB, "weight", ["is missing", '"a wheel strikes a kerb"', "carries at rest", '"600 N"']),
    (f'{KERB}\nweight = "60 kg"', "weight", ["mass", '"60 kgf"']),
    (f'{KERB}\nweight = "-60 N"', "weight", ["not above zero", "-60 N"]),
    (
        f'{KERB}\nsize = "6 N"\nweight = "60 N"',
        "weight",
        ["beside a size of your own", "60 N"],
    ),
    (
        'name = "a"\nrecipe = "a suspension rod of a student race car"\narm_ratio = 2',
        "arm_ratio",
        ["in the rod already", "got 2"],
    ),
    (
        'name = "a"\nrecipe = "a foot on a brake pedal, panic"',
        "rate",
        ["is missing", '"2 / year"'],
    ),
    (f'{LEVER}\nrate = "2 / year"', "rate", ["no meaning", "annual_maximum"]),
    (f'{LEVER}\nsize = "6 mm"', "size", ['"6 mm"', "force"]),
    (f'{LEVER}\nkind = "evnt"', "kind", ['"evnt"', '"event"?']),
    ('recipe = "a hand on a lever"', "name", ["is missing"]),
    (
        'name = "a"\nrecipe = "a weight hangs on it"\nweight = "9 N"\ndirection = "push"',
        "direction",
        ["sign", '"push"'],
    ),
]


@pytest.mark.parametrize(("lines", "key", "parts"), FAULTS)
def test_a_fault_beside_a_recipe_makes_one_line(small, problems, lines, key, parts):
    (line,) = problems(small(after=f"[[load]]\n{lines}\n"))
    assert line.startswith(f"rod.toml: load[1].{key}: ")
    for part in parts:
        assert part in line


def test_without_a_recipe_kind_and_size_are_needed(small, problems):
    lines = problems(small(after='[[load]]\nname = "a"\n'))
    assert lines == [f"rod.toml: load[1].{key}: is missing" for key in ("kind", "size")]


def test_an_option_can_change_the_weight_of_a_recipe(small):
    text = small(
        after=f'[[load]]\n{KERB}\nweight = "600 N"\n[options.x]\nload.kerb.weight = "1 kN"\n'
    )
    base, other = (
        scenario.load_text(text, option=name).loads[0].size.spread for name in (None, "x")
    )
    assert other.mean / base.mean == pytest.approx(1000 / 600)


class TestSchema:
    DRAFT = jsonschema.Draft4Validator(scenario.schema())

    def errors(self, lines):
        raw = tomllib.loads(scenario.new("plug-in-tube"))
        raw["load"] = [tomllib.loads(lines)]
        return list(self.DRAFT.iter_errors(raw))

    def test_recipes_are_offered(self):
        shape = scenario.schema()["definitions"]["LoadTable"]["properties"]["recipe"]
        assert shape["enum"] == list(RAW)

    @pytest.mark.parametrize("lines", [LEVER, f"{LEVER}\narm_ratio = 2", f'{KERB}\nweight = "9 N"'])
    def test_a_recipe_fits(self, lines):
        assert self.errors(lines) == []

    @pytest.mark.parametrize("lines", ['name = "a"', 'name = "a"\nrecipe = "zz"'])
    def test_neither_recipe_nor_size_does_not(self, lines):
        assert self.errors(lines)


def test_the_recipes_offered_in_a_new_file_are_there():
    text = scenario.new("plug-in-tube")
    remark = text[text.index("# A load you cannot know") : text.index('[[load]]\nname = "hand')]
    offered = [part for part in remark.split('"') if part in RAW]
    assert len(offered) == remark.count('"') // 2 - 1  # all but the weight
    assert "arm_ratio = 2.5" in remark
