"""Rod ends, other parts and the back-up as a file names them, and what of them is refused."""

import pytest

import jointrisk
from jointrisk import scenario
from jointrisk.errors import ScenarioError
from jointrisk.scenario import tables
from jointrisk.spread import Fixed, Lognormal, Triangular

LOAD = '[[load]]\nname = "tug"\nkind = "annual_maximum"\nsize = "900 N"\ndirection = "pull"\n'
CLAMP = '[[part]]\nname = "clamp"\npull = { mean = "9 kN", cov = 0.1 }\n'
END = '[rod_end]\nstatic_rating = "12 kN"\n'
PIN = """[backup]
kind = "cross pin"
diameter = "3 mm"
shear_strength = { mean = "300 MPa", cov = 0.05 }
end_distance = { mean = "10 mm", sd = "0.3 mm" }
"""
METAL = ('"carbon tube, roll-wrapped"', '"aluminium 6061-T6"')


@pytest.fixture
def read(small):
    """Return a function that reads the small scenario with tables put after it."""

    def resolved(after, *changes):
        return scenario.load_text(small(*changes, after=after))

    return resolved


def row(found, key):
    (entry,) = [entry for entry in found.assumptions if entry.key == key]
    return entry


def mean(found, key):
    return float(found.variables[key].spread.mean)


def cov(found, key):
    base = found.variables[key].spread
    return float(base.sd / base.mean)


def test_without_any_of_it_nothing_is_there(read):
    found = read("")
    assert (found.parts, found.rod_end, found.backup) == ((), None, None)
    assert not [k for k in found.variables if k.startswith(("part.", "rod_end.", "backup."))]


# Parts -------------------------------------------------------------------------------------------


def test_a_part_with_one_force_has_no_limit_the_other_way(read):
    found = read(CLAMP)
    (part,) = found.parts
    assert (part.name, part.at, part.in_rig) == ("clamp", "rod", False)
    variable = found.variables["part.clamp.pull"]
    assert isinstance(variable.spread, Lognormal)
    assert (variable.spread.mean, variable.spread.sd) == pytest.approx((9000.0, 900.0))
    assert (variable.scope, variable.unit, variable.origin) == ("rod", "N", "scenario")
    assert "clamp" in variable.label
    assert "part.clamp.push" not in found.variables
    assert row(found, "part.clamp.at").origin == row(found, "part.clamp.in_rig").origin == "default"


def test_what_is_said_of_a_part_is_kept(read):
    more = 'at = "end"\nin_rig = true\npush = { mean = "2 kN", cov = 0.2, scope = "batch" }\n'
    found = read(CLAMP + more + 'note = "from the old frame"\n')
    (part,) = found.parts
    assert (part.at, part.in_rig) == ("end", True)
    assert found.variables["part.clamp.pull"].scope == "joint"
    assert found.variables["part.clamp.push"].scope == "batch"
    assert row(found, "part.clamp.in_rig").value == "yes"
    assert row(found, "part.clamp.at").origin == "scenario"


def test_parts_keep_their_order_and_names(read):
    found = read(CLAMP + CLAMP.replace("clamp", "x.pull") + CLAMP.replace("clamp", "x"))
    assert [part.name for part in found.parts] == ["clamp", "x.pull", "x"]
    assert len([key for key in found.variables if key.startswith("part.")]) == 3


def test_parts_can_go_together(read):
    pair = '[[correlation]]\nbetween = ["part.clamp.pull", "tube.tension_strength"]\nvalue = 0.4\n'
    assert read(CLAMP + pair).correlations == {("part.clamp.pull", "tube.tension_strength"): 0.4}


# Rod end -----------------------------------------------------------------------------------------


def test_a_rod_end_of_its_rating_alone(read):
    found = read(END)
    assert found.rod_end.use is found.rod_end.shank is None
    assert found.rod_end.in_rig is False
    assert found.variables["rod_end.static_rating"].spread == Fixed(12000.0)
    assert "rod_end.shank_strength" not in found.variables
    ratio = found.variables["rod_end.strength_ratio"]
    assert (ratio.scope, ratio.origin) == ("joint", "default")
    assert ratio.confidence == "judgement, no source"
    assert ratio.spread.cdf(1.0) == pytest.approx(0.01, abs=0.005)  # as its source says


def test_a_shank_is_a_thread(read):
    found = read(END + 'shank = "m8 x 1"\nshank_strength = "800 MPa"\nin_rig = true\n')
    assert (found.rod_end.shank.size, found.rod_end.shank.pitch) == ("M8x1", 1.0)
    assert found.rod_end.in_rig is True
    assert mean(found, "rod_end.shank_strength") == 800.0
    assert row(found, "rod_end.shank").value == "M8x1"
    assert row(read(END + 'shank = "M8"\n'), "rod_end.shank_strength").origin == "default"


@pytest.mark.parametrize(
    ("use", "low", "high"),
    [("constant, one way", 2, 3), ("fluctuating, one way", 3, 5), ("changes direction", 5, 8)],
)
def test_uses_are_those_of_the_selection_table(read, use, low, high):
    """Selection table of a rod-end maker, as quoted: 2-3, 3-5 and 5-8 on the static rating."""
    assert read(END + f'use = "{use}"\n').rod_end.use == use
    found = tables.rod_end_uses()[use]
    assert (found.low, found.high, found.confidence) == (low, high, "as quoted")
    assert "selection table" in found.source


# Back-up -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "count"), [("cross pin", 2), ("bolt", 2), ("screw", 1)])
def test_a_pin_through_both_walls_is_sheared_twice(read, kind, count):
    found = read(PIN.replace("cross pin", kind)).backup
    assert (found.kind, found.planes, found.sides) == (kind, count, count)


def test_the_hole_is_the_pin_s_unless_said(read):
    assert read(PIN).variables["backup.hole"].spread == Fixed(3.0)
    assert row(read(PIN), "backup.hole").origin == "default"
    found = read(PIN + 'hole = { mean = "3.2 mm", sd = "0.05 mm" }\n')
    assert (mean(found, "backup.hole"), found.variables["backup.hole"].scope) == (3.2, "joint")


def test_a_pin_by_its_material_has_six_tenths_of_its_tensile_strength(read):
    found = read(PIN.replace('shear_strength = { mean = "300 MPa", cov = 0.05 }',
                             'material = "steel S355"'))  # fmt: skip
    steel = tables.materials()["steel S355"].cells["tension_strength"]
    assert mean(found, "backup.shear_strength") == pytest.approx(0.6 * steel.typical)
    assert cov(found, "backup.shear_strength") == pytest.approx(steel.cov)
    entry = row(found, "backup.shear_strength")
    assert (entry.origin, "0.6" in entry.source, steel.source in entry.source) == (
        "default", True, True,
    )  # fmt: skip
    both = read(PIN + 'material = "steel S355"\n')
    assert mean(both, "backup.shear_strength") == 300.0


def test_walls_of_metal_go_by_their_tensile_strength(read):
    found = read(PIN, METAL)
    for side, key in (("tube", "tube.tension_strength"), ("insert", "plug.strength")):
        for what, ratio in (("bearing", 1.5), ("shear", 0.6)):
            name = f"backup.{side}_{what}_strength"
            assert mean(found, name) == pytest.approx(ratio * mean(found, key))
            assert cov(found, name) == pytest.approx(cov(found, key))
    assert found.variables["backup.stress_concentration"].spread == Fixed(1.0)


def test_walls_with_plies_crush_early_and_tear_between_them(read):
    found = read(PIN)
    assert mean(found, "backup.tube_bearing_strength") == pytest.approx(250.0)
    plies = mean(found, "tube.interlaminar_strength")
    assert mean(found, "backup.tube_shear_strength") == pytest.approx(plies)
    peak = found.variables["backup.stress_concentration"]
    assert isinstance(peak.spread, Triangular)
    assert (peak.spread.low, peak.spread.high, peak.kind) == (1.5, 3.0, "not known")
    woven = read(PIN, ("roll-wrapped", "woven"))  # crushes at 150 MPa as a whole
    assert mean(woven, "backup.tube_bearing_strength") == pytest.approx(150.0)


def test_the_weaker_of_two_inserts_counts_for_both(read):
    steel = '[second_plug]\nmaterial = "steel S355"\n'
    soft = '[second_plug]\nstrength = "150 MPa"\n'
    key = "backup.insert_bearing_strength"
    assert mean(read(PIN + steel), key) == pytest.approx(1.5 * 310.0)
    assert mean(read(PIN + soft), key) == pytest.approx(1.5 * 150.0)


def test_strengths_of_your_own_beat_the_tables(read):
    own = {
        "tube_bearing_strength": 333.0,
        "tube_shear_strength": 77.0,
        "insert_bearing_strength": 444.0,
        "insert_shear_strength": 155.0,
        "stress_concentration": 1.2,
    }
    more = "".join(
        f"{key} = {value}\n" if value < 2 else f'{key} = "{value} MPa"\n'
        for key, value in own.items()
    )
    found = read(PIN + more)
    for key, value in own.items():
        assert mean(found, f"backup.{key}") == value
        assert row(found, f"backup.{key}").origin == "scenario"


def test_the_insert_ends_where_the_glue_does_unless_said(read):
    found = read(PIN)
    assert "backup.insert_end_distance" not in found.variables
    assert row(found, "backup.insert_end_distance").value.startswith("15 mm")
    assert mean(read(PIN + 'insert_end_distance = "40 mm"\n'), "backup.insert_end_distance") == 40


def warned(found):
    return {warning.code: warning.text for warning in found.warnings}


def test_a_hole_that_takes_much_glue_is_told_with_its_share(read):
    """Two holes of 6 mm over pi 11.6 mm 25 mm of glue: 2 (pi/4) 36/911 = 6.2 %."""
    assert "backup-hole-in-bond" not in warned(read(PIN))
    wide = PIN.replace("3 mm", "6 mm", 1)
    assert "6.2 %" in warned(read(wide))["backup-hole-in-bond"]
    assert "3.1 %" in warned(read(wide.replace("cross pin", "screw")))["backup-hole-in-bond"]


# What is refused ---------------------------------------------------------------------------------

REFUSED = [
    (PIN.replace('"cross pin"', '"cross pim"'), "backup.kind", ['"cross pim"', '"cross pin"?']),
    (PIN.replace('"cross pin"', '"rivet"'), "backup.kind", ['"rivet"', '"bolt"', '"screw"']),
    (PIN + 'hole = "2.9 mm"\n', "backup.hole", ["smaller than the pin", "2.9 mm", "3 mm or more"]),
    (PIN + 'hole = "11.7 mm"\n', "backup.hole", ["nothing of the plug", "11.7 mm", "11.6 mm"]),
    (PIN.replace('"3 mm"', '"12 mm"', 1), "backup.diameter", ["12 mm", "below 11.6 mm"]),
    (
        PIN.replace('{ mean = "10 mm", sd = "0.3 mm" }', '"1.4 mm"'),
        "backup.end_distance",
        ["inside the hole", "1.4 mm", "above 1.5 mm"],
    ),
    (
        PIN + 'insert_end_distance = "1.5 mm"\n',
        "backup.insert_end_distance",
        ["inside the hole", "1.5 mm"],
    ),
    (
        PIN.replace('{ mean = "10 mm", sd = "0.3 mm" }', '"24 mm"'),
        "backup.end_distance",
        ["past the insert", "24 mm", "below 23.5 mm", "insert_end_distance"],
    ),
    (PIN + 'edge = "10 mm"\n', "backup.edge", ["unknown key in [backup]", "end_distance"]),
    (PIN.replace("shear_strength", "# "), "backup.shear_strength", ["is missing", "material"]),
    (
        PIN.replace("shear_strength", 'material = "glass tube, pultruded"\n# '),
        "backup.material",
        ["not a metal", '"glass tube, pultruded"'],
    ),
    (PIN + "stress_concentration = 0.8\n", "backup.stress_concentration", ["got 0.8", "least 1"]),
    (PIN.replace('"3 mm"', '"3 mm"\ndiameter_ = "3 mm"', 1), "backup.diameter_", ["diameter?"]),
    ('[[part]]\nname = "clamp"\n', "part[1]", ["holds nothing", '"clamp"', "pull, push or both"]),
    ('[[part]]\npull = "3 kN"\n', "part[1].name", ["is missing"]),
    (CLAMP + CLAMP, "part[2].name", ["name of part[1] too", '"clamp"']),
    (CLAMP + 'at = "middle"\n', "part[1].at", ['"middle"', '"rod"', '"end"']),
    (CLAMP + 'push = "-3 kN"\n', "part[1].push", ["not above zero", "-3000 N"]),
    (CLAMP + 'push = "0 N"\n', "part[1].push", ["not above zero", "0 N"]),
    (CLAMP + 'push = "3 mm"\n', "part[1].push", ['"3 mm"', "force"]),
    (CLAMP.replace("0.1", '0.1, scope = "joint"'), "part[1].pull", ['"joint"', '"rod"']),
    ('[part]\nname = "clamp"\n', "part", ["list of tables", "[[part]]"]),
    ("[rod_end]\n", "rod_end.static_rating", ["is missing"]),
    (END + 'use = "changes directions"\n', "rod_end.use", ['"changes direction"?']),
    (END + 'use = "racing"\n', "rod_end.use", ['"racing"', '"constant, one way"']),
    (END + 'shank = "M88"\n', "rod_end.shank", ["'M88'", "M8"]),
    (END + 'shank_strength = "1 GPa"\n', "rod_end.shank_strength", ["without rod_end.shank"]),
    (END.replace("12 kN", "0 N"), "rod_end.static_rating", ["not above zero", "0 N"]),
    ('[rod_end]\nstatic_rating = { mean = "9 kN", cov = 0.1 }\n', "rod_end.static_rating",
     ["one value"]),
]  # fmt: skip


@pytest.mark.parametrize(("more", "key", "words"), REFUSED)
def test_one_fault_gives_one_line_with_key_and_values(small, problems, more, key, words):
    (line,) = problems(small(after=more))
    assert line.startswith(f"rod.toml: {key}: ")
    for word in words:
        assert word in line


@pytest.mark.parametrize("missing", ["kind", "diameter", "end_distance"])
def test_a_back_up_says_at_least_what_it_is_and_where(small, problems, missing):
    lines = [line for line in PIN.splitlines() if not line.startswith(missing)]
    (line,) = problems(small(after="\n".join(lines)))
    assert line == f"rod.toml: backup.{missing}: is missing"


def test_faults_of_several_tables_come_together(small, problems):
    more = CLAMP + 'push = "0 N"\n' + END + 'shank = "M88"\n' + PIN + 'hole = "2 mm"\n'
    lines = problems(small(after=more))
    assert [line.split(": ")[1] for line in lines] == [
        "rod_end.shank", "backup.hole", "part[1].push",
    ]  # fmt: skip


# Options -----------------------------------------------------------------------------------------


def test_an_option_may_do_without_the_back_up_or_change_it(small):
    text = small(after=PIN + LOAD + '[options.bare]\nwithout = ["backup"]\n'
                 '[options.thick]\nbackup.diameter = "4 mm"\n'
                 '[[options.held.part]]\nname = "clamp"\npush = "5 kN"\n')  # fmt: skip
    assert jointrisk.load_text(text, option="bare").backup is None
    thick = jointrisk.load_text(text, option="thick")
    assert (mean(thick, "backup.diameter"), mean(thick, "backup.hole")) == (4.0, 4.0)
    assert [part.name for part in jointrisk.load_text(text, option="held").parts] == ["clamp"]
    assert jointrisk.load_text(text).parts == ()


def test_a_fault_of_an_option_is_told_under_its_name(small):
    with pytest.raises(ScenarioError) as caught:
        jointrisk.load_text(small(after=PIN + '[options.thin]\nbackup.hole = "2 mm"\n'))
    (problem,) = caught.value.problems
    assert problem.key == 'options."thin".backup.hole'
    assert "2 mm" in str(problem)
