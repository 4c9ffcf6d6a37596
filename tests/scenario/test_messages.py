"""Faulty files: every message names the key, the value found and what is allowed."""

import pytest

from jointrisk import scenario
from jointrisk.errors import ScenarioError

LOAD = """
[[load]]
name = "knock"
kind = "event"
size = "600 N"
rate = "1 / year"
"""

# what is replaced, by what, the key of the message, words that must stand in it
ONE_FAULT = [
    ("bore = {", "boar = {", "tube.boar", ["unknown key in [tube]", "did you mean bore?"]),
    ("[service]", "[servise]", "servise", ["unknown key", "did you mean service?"]),
    ("[plug]", '[plug]\nlength = "3 mm"', "plug.length", ["it belongs in [rods]"]),
    ("[plug]", '[plug]\ngap = "0.2 mm"', "plug.gap", ["per side or in total?", "plug.radial_gap"]),
    ('"400 mm"', '"400 MPa"', "rods.length", ['"400 MPa"', "stress", "length"]),
    ('"400 mm"', "400", "rods.length", ["got 400", 'write "400 mm"']),
    ('"400 mm"', "true", "rods.length", ["got true", "length"]),
    ('"400 mm"', "nan", "rods.length", ["got nan", "finite"]),
    ('"400 mm"', "-inf", "rods.length", ["got -inf", "finite"]),
    ('"400 mm"', '"-4 mm"', "rods.length", ["not above zero", "-4 mm"]),
    ('"400 mm"', '{ mean = "4 mm", sd = "1 mm" }', "rods.length", ["one value", "a table"]),
    ('"400 mm"', '["4 mm"]', "rods.length", ["4 mm", "length"]),
    ('"400 mm"', '"400,5 mm"', "rods.length", ["comma", '"400,5 mm"']),
    ('"400 mm"', "2026-01-01", "rods.length", ["2026-01-01"]),
    ('"14 mm"', '"11 mm"', "tube.bore", ["no wall", "12 mm", "11 mm"]),
    ('sd = "0.03 mm"', 'sd = "-0.03 mm"', "tube.bore", ["sd", "-0.03 mm"]),
    (
        'mean = "11.6 mm"',
        'mean = "12.6 mm"',
        "plug.diameter",
        ["12.6 mm", "below the bore of 12 mm"],
    ),
    ('sd = "0.5 mm"', 'sd = "7 mm"', "plug.overlap", ["3.57 sd", "4 or more", "lognormal"]),
    ('mean = "25 mm"', 'mean = "420 mm"', "plug.overlap", ["420 mm", "below the rod's 400 mm"]),
    ("[plug]", '[plug]\nbore = "11.8 mm"', "plug.bore", ["11.8 mm", "below 11.6 mm"]),
    ("[plug]", "[plug]\nglued_share = 1.2", "plug.glued_share", ["got 1.2", "0 to 1"]),
    ("[plug]", "[plug]\noff_centre = 0.99", "plug.off_centre", ["got 0.99", "0 to 0.95"]),
    (
        "[plug]",
        '[plug]\nradial_gap = "0.2 mm"',
        "plug.radial_gap",
        ["two are needed", "tube.bore, plug.diameter, plug.radial_gap"],
    ),
    ('diameter = { mean = "11.6 mm", sd = "0.02 mm" }', "", "plug.radial_gap", ["got tube.bore;"]),
    (
        'class = "two-part toughened epoxy"',
        'class = "two-part tougened epoxy"',
        "adhesive.class",
        ['"two-part tougened epoxy"', '"two-part toughened epoxy"?'],
    ),
    (
        'class = "two-part toughened epoxy"',
        'class = "glue"',
        "adhesive.class",
        ['"glue"', "don't know", "two-part methacrylate"],
    ),
    (
        "aluminium 6082-T6",
        "aluminum 6082-T6",
        "plug.material",
        ['"aluminum 6082-T6"', '"aluminium 6082-T6"?'],
    ),
    (
        "[service]",
        '[preparation]\nplug = "grit blast"\n[service]',
        "preparation.plug",
        ['"grit blast"', '"grit blasted"?'],
    ),
    (
        "[service]",
        '[preparation]\ntube = { mean = "1 mm", sd = 0.1 }\n[service]',
        "preparation.tube",
        ["mean", '"1 mm"', "ratio"],
    ),
    ("[service]", '[thread]\nsize = "M66"\n[service]', "thread.size", ["M66"]),
    (
        "[adhesive]",
        '[adhesive]\ntoughness = "3 N/mm"\nfailure_strain = 1.2',
        "adhesive.failure_strain",
        ["adhesive.toughness", "both"],
    ),
    (
        "[adhesive]",
        '[adhesive]\nevidence = "own pulls"',
        "adhesive.shear_strength",
        ["is missing", '"own pulls"'],
    ),
    (
        "[adhesive]",
        '[adhesive]\nevidence = "hearsay"',
        "adhesive.evidence",
        ['"hearsay"', '"own coupons"'],
    ),
    (
        "[adhesive]",
        '[adhesive]\nstrength_by_temperature = [["60 degC", 1], ["20 degC", 0.5]]',
        "adhesive.strength_by_temperature",
        ["60 degC, then 20 degC"],
    ),
    (
        "[adhesive]",
        '[adhesive]\nstrength_by_temperature = [["20 degC", 1]]',
        "adhesive.strength_by_temperature",
        ["two points"],
    ),
    (
        "[adhesive]",
        '[adhesive]\nstrength_by_temperature = [["20 degC", 1], ["60 degC"]]',
        "adhesive.strength_by_temperature",
        ["bad point", "60 degC"],
    ),
    (
        "[adhesive]",
        '[adhesive]\nstrength_by_temperature = [["20 degC", 1], ["60 degC", 11]]',
        "adhesive.strength_by_temperature",
        ["11", "0 to 10"],
    ),
    (
        '"carbon tube, roll-wrapped"',
        '"steel S355"\ninterlaminar_strength = "9 MPa"',
        "tube.interlaminar_strength",
        ["no plies"],
    ),
    (
        "[service]",
        "[weak_bonds]\nlone_weight = 1.2\n[service]",
        "weak_bonds.lone_weight",
        ["got 1.2", "0 to 1"],
    ),
    (
        "[service]",
        "[weak_bonds]\nkeeps = { never_outside = [0.5, 0.1] }\n[service]",
        "weak_bonds.keeps",
        ["reversed", "[0.5, 0.1]"],
    ),
    (
        "[service]",
        "[target]\nprobability = 0\n[service]",
        "target.probability",
        ["got 0", "above 0"],
    ),
    (
        "[service]",
        "[target]\nprobability = 1.0\n[service]",
        "target.probability",
        ["got 1", "below 1"],
    ),
    ("[service]", "[target]\nindex = -2\n[service]", "target.index", ["got -2"]),
    ("[service]", "[target]\n[service]", "target", ["got none", "failure_would_be"]),
    (
        "[service]",
        "[target]\nindex = 3\nprobability = 0.1\n[service]",
        "target",
        ["probability and index"],
    ),
    (
        "[service]",
        '[target]\nfailure_would_be = "deadly"\n[service]',
        "target.failure_would_be",
        ['"deadly"', '"death"'],
    ),
    (
        "[service]",
        '[target]\nfailure_would_be = "death"\nperiod = "life"\n[service]',
        "target.period",
        ['"life"', '"year"'],
    ),
    ("[rods]", "[rods]\ncount = 0", "rods.count", ["got 0", "1 or more"]),
    ("[rods]", "[rods]\ncount = 2.5", "rods.count", ["got 2.5", "whole number"]),
    ("[rods]", "[rods]\ncount = true", "rods.count", ["got true", "whole number"]),
    ("[rods]", "[rods]\nend_fixity = 3", "rods.end_fixity", ["got 3", "0.5", "2"]),
    ("[rods]", "[rods]\ncost_per_rod = 12.5", "rods.cost_per_rod", ["got 12.5", '"12.50 EUR"']),
    ("[rods]", '[rods]\ncost_per_rod = "12,5 EUR"', "rods.cost_per_rod", ['"12,5 EUR"']),
    ("[rods]", '[rods]\ncost_per_rod = "-3 EUR"', "rods.cost_per_rod", ['"-3 EUR"']),
    ("[rods]", '[rods]\nmass_per_rod = "0 g"', "rods.mass_per_rod", ["above zero", "0 g"]),
    ("[rods]", '[rods]\nmass_per_rod = "40 N"', "rods.mass_per_rod", ["force", '"40 N"']),
    ("[rods]", '[rods]\nshoulder = "yes"', "rods.shoulder", ['"yes"', "true or false"]),
    ("[rods]", '[proof]\nhighest = "75 kg"\n[rods]', "proof.highest", ["mass", '"75 kgf"']),
    ("[rods]", '[proof]\nrig_error = "300 %"\n[rods]', "proof.rig_error", ["got 3", "0 to 0.5"]),
    (
        "[rods]",
        '[proof]\ndirection = "pish"\n[rods]',
        "proof.direction",
        ['"pish"', '"pull"', 'did you mean "push"?'],
    ),
    ("[rods]", '[[pull]]\nload = "-5 N"\n[rods]', "pull[1].load", ["not above zero", "-5 N"]),
    ('hottest = "45 degC"', 'hottest = "-45 degC"', "service.hottest", ["-45 °C", "-10 °C"]),
    ("schema = 1", "schema = 2", "schema", ["got 2", "expected 1"]),
    ("schema = 1", "schema = true", "schema", ["got true", "expected 1"]),
    ("schema = 1", "schema = 1\nseed = -1", "seed", ["got -1", "0 or more"]),
    ("schema = 1", 'schema = 1\ntitle = ""', "title", ["empty"]),
    ("schema = 1", "schema = 1\ntitle = 3", "title", ["got 3", "text in quotes"]),
    ("schema = 1\n", "", "schema", ["is missing", "schema = 1"]),
    ('length = "400 mm"\n', "", "rods.length", ["is missing"]),
    ("schema = 1", "schema = 1\nbatch = 3", "batch", ["is a table", "got 3", "[batch]"]),
]


@pytest.mark.parametrize(("old", "new", "key", "parts"), ONE_FAULT)
def test_one_fault_makes_one_line(small, problems, old, new, key, parts):
    lines = problems(small((old, new)))
    assert len(lines) == 1
    assert lines[0].startswith(f"rod.toml: {key}: ")
    for part in parts:
        assert part in lines[0]


LOAD_FAULTS = [
    ('rate = "1 / year"\n', "", "load[1].rate", ["is missing", '"2 / year"']),
    ('rate = "1 / year"', "rate = 1", "load[1].rate", ["got 1", '"1 / year"']),
    ('rate = "1 / year"', "rate = true", "load[1].rate", ["got true"]),
    ('rate = "1 / year"', 'rate = "0 / year"', "load[1].rate", ["not above zero"]),
    ('kind = "event"', 'kind = "annual_maximum"', "load[1].rate", ["no meaning", "annual_maximum"]),
    ('kind = "event"', 'kind = "evnt"', "load[1].kind", ['"evnt"', '"event"?']),
    ('kind = "event"\n', "", "load[1].kind", ["is missing"]),
    ('name = "knock"\n', "", "load[1].name", ["is missing"]),
    ('"600 N"', '"-600 N"', "load[1].size", ["not above zero", "-600 N", "direction"]),
    (
        '"600 N"',
        '{ mean = "600 N", cov = 1.5, dist = "gumbel" }',
        "load[1].size",
        ["26.7 %", "0 N"],
    ),
    (
        '"600 N"',
        '{ mean = "600 N", cov = 0.1, scope = "rod" }',
        "load[1].size",
        ["no scope", '"rod"'],
    ),
    ('"600 N"', '"60 kg"', "load[1].size", ["mass", '"60 kgf"']),
    (
        '"600 N"',
        '"600 N"\ndirection = "up"',
        "load[1].direction",
        ['"up"', '"pull", "push", "both"'],
    ),
    ("[[load]]", "[load]", "load", ["[[load]]", "two brackets"]),
]


@pytest.mark.parametrize(("old", "new", "key", "parts"), LOAD_FAULTS)
def test_a_fault_of_a_load_names_its_place(small, problems, old, new, key, parts):
    assert LOAD.count(old) == 1
    lines = problems(small(after=LOAD.replace(old, new)))
    assert len(lines) == 1
    assert lines[0].startswith(f"rod.toml: {key}: ")
    for part in parts:
        assert part in lines[0]


def test_the_share_below_zero_is_the_gumbel_s(small, problems):
    from scipy import stats

    scale = 900 * 6**0.5 / 3.141592653589793
    share = 100 * stats.gumbel_r(600 - 0.5772156649 * scale, scale).cdf(0)
    raw = '{ mean = "600 N", cov = 1.5, dist = "gumbel" }'
    (line,) = problems(small(after=LOAD.replace('"600 N"', raw)))
    assert f"{share:.3g} %" in line


def test_two_loads_of_one_name(small, problems):
    (line,) = problems(small(after=LOAD + LOAD))
    assert "load[2].name" in line
    assert "load[1]" in line
    assert '"knock"' in line


def test_a_sustained_load_has_a_sign_and_no_direction(small, problems):
    text = '[[load]]\nname = "spring"\nkind = "sustained"\nsize = "-90 N"\ndirection = "push"\n'
    (line,) = problems(small(after=text))
    assert "load[1].direction" in line
    assert '"push"' in line
    assert "minus" in line


def test_a_load_in_years_needs_a_life(small, problems):
    (line,) = problems(small(('[life]\nduration = "10 years"\n', ""), after=LOAD))
    assert "life.duration: is missing" in line
    assert '"10 years"' in line


def correlation(first, second, value):
    return f'\n[[correlation]]\nbetween = ["{first}", "{second}"]\nvalue = {value}\n'


@pytest.mark.parametrize(
    ("entry", "key", "parts"),
    [
        (("plug.overlap", "tube.bor", 0.3), "correlation[1].between", ['"tube.bor"', "tube.bore?"]),
        (("plug.overlap", "tube.modulus", 0.3), "correlation[1].between", ["joint", "rod"]),
        (("plug.overlap", "tube.bore", 1.3), "correlation[1].value", ["1.3", "-1 to 1"]),
        (
            ("plug.overlap", "plug.overlap", 0.3),
            "correlation[1].between",
            ["plug.overlap", "twice"],
        ),
        (("rods.length", "tube.outer_diameter", 0.3), "correlation[1].between", ["one value"]),
    ],
)
def test_correlations_that_cannot_be(small, problems, entry, key, parts):
    (line,) = problems(small(after=correlation(*entry)))
    assert line.startswith(f"rod.toml: {key}: ")
    for part in parts:
        assert part in line


def test_three_correlations_that_contradict_each_other(small, problems):
    after = correlation("plug.overlap", "tube.bore", 0.9)
    after += correlation("plug.overlap", "plug.diameter", 0.9)
    after += correlation("plug.diameter", "tube.bore", -0.9)
    (line,) = problems(small(after=after))
    # Eigenvalues of that matrix: 1.9, 1.9 and -0.8.
    assert "-0.8" in line
    for name in ("plug.overlap", "tube.bore", "plug.diameter"):
        assert name in line


def test_a_correlation_that_the_two_spreads_cannot_have(small, problems):
    heavy = 'bore = { median = "12 mm", cov = 2, dist = "lognormal" }'
    text = small(
        ('bore = { mean = "12 mm", sd = "0.03 mm" }', heavy),
        ('outer_diameter = "14 mm"', 'outer_diameter = "90 mm"'),
        after=correlation("plug.overlap", "tube.bore", -0.95),
    )
    lines = problems(text)
    assert any("-0.95" in line and "plug.overlap" in line for line in lines)


def test_all_faults_come_together(small, problems):
    lines = problems(
        small(
            ('"400 mm"', "400"),
            ('sd = "0.5 mm"', 'sd = "0.5 MPa"'),
            ('mean = "11.6 mm"', 'mean = "12.6 mm"'),
            ("[service]", "[weak_bonds]\nlone_weight = 1.2\n[servise]"),
        )
    )
    keys = [line.split(": ")[1] for line in lines]
    assert sorted(keys) == sorted(
        ["rods.length", "plug.overlap", "plug.diameter", "weak_bonds.lone_weight", "servise"]
    )


def test_an_empty_file_says_what_is_needed(problems):
    keys = {line.split(": ")[1] for line in problems("")}
    assert keys == {"schema", "rods", "tube", "plug", "adhesive"}


@pytest.mark.parametrize("text", ["tube = 3", "load = 3", "[[tube]]", "schema = [1]", "tube = []"])
def test_wrong_shapes_are_told_not_raised(problems, text):
    assert all(line.startswith("rod.toml: ") for line in problems(text))


@pytest.mark.parametrize(
    ("line", "parts"),
    [
        ("length = 400 mm", ["line 2", "length = 400 mm", '"14.2 mm"']),
        ("length = 0,4", ["line 2", "length = 0,4", "0.15, not 0,15"]),
        ("length 400", ["line 2", "length 400"]),
        ('length = "400 mm', ["line 2"]),
        ("count = 1\ncount = 2", ["line 3", "count = 2"]),
        ("count = " + "9" * 5000, ["digits"]),
    ],
)
def test_what_is_not_toml_names_its_line(problems, line, parts):
    (found,) = problems(f"[rods]\n{line}\n")
    for part in parts:
        assert part in found


def test_a_file_nested_without_end_is_refused(problems):
    (line,) = problems("a = " + "[" * 3000 + "]" * 3000)
    assert "nested" in line


def test_files_that_cannot_be_read(tmp_path):
    binary = tmp_path / "rod.bin"
    binary.write_bytes(b"schema = 1\n\xff\xfe")
    zero = tmp_path / "zero.toml"
    zero.write_bytes(b"schema = 1\n\x00")
    for path, part in [
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "is a folder"),
        (binary, "0xff at 11"),
        (zero, "zero byte"),
    ]:
        with pytest.raises(ScenarioError) as caught:
            scenario.load(path)
        assert str(caught.value).startswith(f"{path}: ")
        assert part in str(caught.value)


def test_no_message_speaks_pydantic(small, problems):
    text = small(("[rods]", "[rods]\ncount = []\nshoulder = 3\nbow = {}\nload_offset = []"))
    for line in problems(text):
        for word in ("pydantic", "Input should", "Value error", "type=", "validation", "dict"):
            assert word not in line
