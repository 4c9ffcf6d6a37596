"""Options: variants of one file, judged with it."""

import copy
import dataclasses
import hashlib
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import jointrisk
from jointrisk import scenario, spread
from jointrisk.errors import ScenarioError
from jointrisk.scenario.options import AS_WRITTEN, judge, variants
from jointrisk.scenario.problems import keys_of
from jointrisk.scenario.shape import File

LOADS = """
[[load]]
name = "kerb strike"
kind = "event"
direction = "push"
size = { mean = "600 N", cov = 0.3 }
rate = "2 / year"
[[load]]
name = "lever"
kind = "annual_maximum"
size = { mean = "400 N", cov = 0.2 }
[[pull]]
load = "500 N"
"""
LONGER = '[options."longer overlap"]\nplug.overlap = { mean = "32 mm", sd = "0.7 mm" }\n'
GAP = """
[options."measured gap"]
without = ["plug.diameter"]
plug.radial_gap = { mean = "0.2 mm", sd = "0.03 mm" }
"""


def option(*lines, name="x"):
    return LOADS + f'[options."{name}"]\n' + "\n".join(lines) + "\n"


def read(text, name="x"):
    return scenario.load_text(text, option=name)


def plain(found):
    """What an option's scenario says, apart from the file it stands in."""
    return dataclasses.replace(found, title="", sha256="", option=None, options=())


class TestReading:
    def test_the_file_as_written_is_what_it_was_without_options(self, small):
        found = scenario.load_text(small(after=LOADS + LONGER + GAP))
        assert found.option is None
        assert found.options == ("longer overlap", "measured gap")
        assert plain(found) == plain(scenario.load_text(small(after=LOADS)))

    def test_an_option_is_the_file_with_its_keys_changed(self, small):
        found = read(small(after=LOADS + LONGER + GAP), "longer overlap")
        old = 'overlap = { mean = "25 mm", sd = "0.5 mm" }'
        new = 'overlap = { mean = "32 mm", sd = "0.7 mm" }'
        assert found.variables["plug.overlap"].spread == spread.Normal(32.0, 0.7)
        assert found.option == "longer overlap"
        assert plain(found) == plain(scenario.load_text(small((old, new), after=LOADS)))

    def test_a_dropped_key_is_gone(self, small):
        found = read(small(after=GAP), "measured gap")
        assert found.variables["plug.diameter"].spread == spread.Normal(11.6, 0.06)

    def test_options_do_not_touch_each_other(self, small):
        both = small(after=LONGER + GAP)
        for name, alone in (("longer overlap", LONGER), ("measured gap", GAP)):
            assert plain(read(both, name)) == plain(read(small(after=alone), name))

    def test_load_options_keeps_the_order_with_the_base_first(self, small, tmp_path):
        path = tmp_path / "rod.toml"
        path.write_text(small(after=GAP + LONGER), encoding="utf-8")
        found = jointrisk.load_options(path)
        assert list(found) == [AS_WRITTEN, "measured gap", "longer overlap"]
        assert [f.option for f in found.values()] == [None, "measured gap", "longer overlap"]
        content = hashlib.sha256(path.read_bytes()).hexdigest()
        assert {f.sha256 for f in found.values()} == {content}
        for name in ("measured gap", "longer overlap"):
            assert jointrisk.load(path, option=name) == found[name]
        assert jointrisk.load(path) == jointrisk.load(path, option=AS_WRITTEN) == found[AS_WRITTEN]

    def test_a_file_without_options_has_only_itself(self, small, tmp_path):
        path = tmp_path / "rod.toml"
        path.write_text(small(), encoding="utf-8")
        assert list(jointrisk.load_options(path)) == [AS_WRITTEN]
        assert jointrisk.load(path).options == ()

    @pytest.mark.parametrize(
        ("title", "own", "shown"),
        [
            ('title = "Link"', "", "Link: x"),
            ('title = "Link"', 'title = "Long link"', "Long link"),
            ("", "", "x"),
        ],
    )
    def test_the_title_says_which_option(self, small, title, own, shown):
        text = small(("schema = 1", f"schema = 1\n{title}"), after=option(own))
        assert read(text).title == shown

    def test_a_note_can_differ(self, small):
        text = small(("schema = 1", 'schema = 1\nnote = "old"'), after=option('note = "new"'))
        assert (scenario.load_text(text).note, read(text).note) == ("old", "new")

    def test_an_unknown_option_names_the_nearest_and_all(self, small):
        with pytest.raises(ScenarioError) as caught:
            read(small(after=LONGER + GAP), "mesured gap")
        (problem,) = caught.value.problems
        line = problem.line("rod.toml")
        for part in ('"mesured gap"', 'did you mean "measured gap"?', '"longer overlap"'):
            assert part in line
        with pytest.raises(ScenarioError, match='"zzz"; expected one of "as written"'):
            read(small(), "zzz")


class TestMerging:
    def test_a_spread_is_replaced_whole(self, small):
        text = small(after=option('plug.overlap.value = "30 mm"'))
        assert read(text).variables["plug.overlap"].spread == spread.Fixed(30.0)

    def test_a_section_that_the_base_lacks_comes_new(self, small):
        found = read(small(after=option('thread.size = "M8"', "batch.rods = 3", "rods.count = 4")))
        assert (found.thread.major_diameter, found.rods, found.rods_per_batch) == (8.0, 4, 3)

    def test_lists_of_tables_are_replaced_whole(self, small):
        text = small(after=option("pull = []", '[[options."x".load]]', 'name = "spring"'))
        text += 'kind = "sustained"\nsize = "-50 N"\n'
        found = read(text)
        assert found.pulls == ()
        assert [load.name for load in found.loads] == ["spring"]
        assert len(scenario.load_text(text).loads) == 2

    def test_one_load_is_addressed_by_its_name(self, small):
        found = read(small(after=option('load."kerb strike".size = "900 N"')))
        kerb, lever = found.loads
        assert (kerb.size.spread, kerb.rate, kerb.direction) == (spread.Fixed(900.0), 2.0, "push")
        assert lever.size.spread == spread.Gumbel(400.0, 80.0)

    @pytest.mark.parametrize(
        ("words", "gone"),
        [
            ('["load.kerb strike"]', "load.kerb strike.size"),
            ("['load.\"kerb strike\"']", "load.kerb strike.size"),
            ('["load"]', "load.lever.size"),
            ('["pull"]', "pull[1].load"),
            ('["load.lever", "load.lever.size"]', "load.lever.size"),
        ],
    )
    def test_loads_and_whole_tables_can_be_left_out(self, small, words, gone):
        text = small(after=option(f"without = {words}"))
        before = {entry.key for entry in scenario.load_text(text).assumptions}
        after = {entry.key for entry in read(text).assumptions}
        assert gone in before - after

    def test_a_load_can_change_its_kind(self, small):
        lines = (
            'without = ["load.kerb strike.rate"]',
            'load."kerb strike".kind = "annual_maximum"',
        )
        kerb = read(small(after=option(*lines))).loads[0]
        assert (kerb.kind, kerb.rate) == ("annual_maximum", 0.0)

    def test_without_then_a_new_table(self, small):
        lines = ('without = ["tube"]', 'tube.material = "steel S355"')
        lines += ('tube.outer_diameter = "14 mm"', 'tube.bore = "12 mm"')
        found = read(small(after=option(*lines)))
        assert not found.tube_is_composite
        assert found.variables["tube.bore"].spread == spread.Fixed(12.0)

    def test_reading_leaves_the_raw_file_alone(self, small):
        raw = tomllib.loads(small(after=option("load.lever.rate = 1", 'without = ["plug"]')))
        before = copy.deepcopy(raw)
        variants(raw)
        assert raw == before


# lines of the option "x", the key of the message, words that must stand in it
FAULTS = [
    (['plug.overlapp = "3 mm"'], ".plug.overlapp", ["unknown key in [plug]", "overlap?"]),
    (['plugg.overlap = "3 mm"'], ".plugg", ["unknown key", "did you mean plug?"]),
    (['witout = ["plug.diameter"]'], ".witout", ["unknown key", "did you mean without?"]),
    (['overlap = "3 mm"'], ".overlap", ["it belongs in [plug]"]),
    (["gap = 3"], ".gap", ["per side or in total?"]),
    (["seed = 3"], ".seed", ["cannot differ", "got 3"]),
    (["schema = 1"], ".schema", ["cannot differ", "got 1"]),
    (["options.y.seed = 3"], ".options", ["cannot differ", "a table"]),
    (["title = 3"], ".title", ["got 3", "text in quotes"]),
    (["plug = 3"], ".plug", ["is a table", "got 3", "plug.KEY = "]),
    (["pull = 3"], ".pull", ["is a list of tables", "got 3", '[[options."NAME".pull]]']),
    (['pull.load = "3 N"'], ".pull", ["is a list of tables", "got a table"]),
    (["load = 3"], ".load", ["is a list of tables", "got 3"]),
    (['plug.overlap = "3 MPa"'], ".plug.overlap", ['"3 MPa"', "stress", "length"]),
    (['plug.overlap = "410 mm"'], ".plug.overlap", ["410 mm", "below the rod's 400 mm"]),
    (['without = ["rods.length"]'], ".rods.length", ["is missing"]),
    (['without = ["adhesive"]'], ".adhesive", ["is missing"]),
    (['without = ["life"]'], ".life.duration", ["is missing", '"10 years"']),
    (['without = "plug"'], ".without", ["list of keys", '"plug"', '["plug.diameter"]']),
    (["without = [3]"], ".without", ["list of keys", "a list"]),
    (
        ['without = ["plug.diametr"]', 'plug.radial_gap = "0.2 mm"'],
        ".without",
        ['"plug.diametr"', "did you mean plug.diameter?"],
    ),
    (['without = ["schema"]'], ".without", ['"schema"', "no such key"]),
    (
        # The nearest key is the whole overlap: it is taken out, and so must come anew.
        ['without = ["plug.overlap.mean"]', 'plug.overlap = "30 mm"'],
        ".without",
        ['"plug.overlap.mean"', "did you mean plug.overlap?"],
    ),
    (
        ['load.kerbstrike.size = "1 N"'],
        ".load",
        ['"kerbstrike"', 'did you mean "kerb strike"?', '"lever"'],
    ),
    (['load.zz.size = "1 N"'], ".load", ['"zz"', '"kerb strike", "lever"']),
    (["load.lever = 3"], '.load."lever"', ["is a table", "got 3"]),
    (['load."kerb strike".size = "1 mm"'], '.load."kerb strike".size', ['"1 mm"', "force"]),
    (['load.lever.sise = "1 N"'], '.load."lever".sise', ["did you mean size?"]),
    (['load.lever.size = "-1 N"'], '.load."lever".size', ["not above zero", "-1 N"]),
    (['load.lever.name = "kerb strike"'], '.load."kerb strike".name', ["load[1]"]),
]


@pytest.mark.parametrize(("lines", "key", "parts"), FAULTS)
def test_a_fault_of_an_option_is_told_under_its_name(small, problems, lines, key, parts):
    found = problems(small(after=option(*lines)))
    assert len(found) == 1
    assert found[0].startswith(f'rod.toml: options."x"{key}: ')
    for part in parts:
        assert part in found[0]


@pytest.mark.parametrize(
    ("text", "key", "parts"),
    [
        ("options = 3\n", "options", ["named variants", "got 3", '[options."longer overlap"]']),
        ("options.x = 3\n", 'options."x"', ["is a table", "got 3"]),
        ('[options."as written"]\n', "options", ['"as written"']),
        ('[options." "]\n', "options", ['" "', "a name"]),
    ],
)
def test_options_of_a_wrong_shape(small, problems, text, key, parts):
    (line,) = problems(text + small() if "[" not in text else small(after=text))
    assert line.startswith(f"rod.toml: {key}: ")
    for part in parts:
        assert part in line


def test_a_load_where_the_file_names_none(small, problems):
    (line,) = problems(small(after='[options.x]\nload.knock.size = "1 N"\n'))
    assert '"knock"' in line
    assert "the file names no load" in line


def test_faults_of_the_base_are_told_once(small, problems):
    broken = ('length = "400 mm"', "length = 400"), ('"carbon tube, roll-wrapped"', '"wood"')
    alone = problems(small(*broken))
    assert problems(small(*broken, after=LONGER + GAP)) == alone
    assert len(alone) == 2


@pytest.mark.parametrize(
    ("fault", "change"),
    [
        ("load = 3\n", 'load.knock.size = "1 N"'),
        ("load = [{ size = 3 }]\n", 'load.knock.size = "1 N"'),
        ("target = 3\n", "target.index = 3"),
        ("", 'thread.size = "M8"'),
    ],
)
def test_a_base_of_the_wrong_shape_does_not_echo(small, problems, fault, change):
    broken = fault + small(('class = "two-part toughened epoxy"', "class = 3"))
    assert problems(f"{broken}[options.x]\n{change}\n") == problems(broken)


def test_a_table_that_the_base_lacks_is_missing_once(small, problems):
    broken = small(('[adhesive]\nclass = "two-part toughened epoxy"\n', ""))
    text = broken + '[options.x]\nadhesive.cure_temperature = "40 degC"\n'
    assert problems(text) == problems(broken)


def test_all_options_are_judged_whichever_is_asked_for(small):
    text = small(after=LONGER + GAP.replace('"0.2 mm"', '"0.2 N"') + option("seed = 1"))
    text = text.replace("25 mm", "25 MPa")
    for name in (None, "longer overlap", "x"):
        with pytest.raises(ScenarioError) as caught:
            scenario.load_text(text, option=name)
        keys = [problem.key for problem in caught.value.problems]
        assert keys == [
            "plug.overlap",
            'options."measured gap".plug.radial_gap',
            'options."x".seed',
        ]


VALUES = st.one_of(
    st.integers(-3, 3),
    st.sampled_from(["3 mm", "plug.overlap", "load.lever", "", "steel S355"]),
    st.lists(st.sampled_from(["plug", "plug.overlap", "load.lever", "x"]), max_size=2),
)
CHANGES = st.dictionaries(
    st.sampled_from([*keys_of(File), "without", "x"]),
    st.one_of(
        VALUES,
        st.dictionaries(
            st.sampled_from(["overlap", "lever", "size", "material", "x"]),
            st.one_of(VALUES, st.dictionaries(st.sampled_from(["size", "name"]), VALUES)),
            max_size=2,
        ),
    ),
    max_size=4,
)


@given(changes=st.one_of(VALUES, st.dictionaries(st.text(max_size=2), CHANGES, max_size=2)))
@settings(deadline=None, max_examples=60)
def test_whatever_an_option_holds_there_are_scenarios_or_problems(changes):
    raw = tomllib.loads(scenario.new("plug-in-tube").replace('"knock"', '"lever"'))
    raw["options"] = changes
    found, problems = variants(raw)
    told = ()
    try:
        scenarios = judge(found, problems, path="any", sha256="")
    except ScenarioError as error:
        scenarios, told = {}, error.problems
    assert all(problem.key.startswith("options") for problem in told)
    assert told or list(scenarios) == [AS_WRITTEN, *changes]


class TestSchema:
    DRAFT = jsonschema.Draft4Validator(scenario.schema())

    @pytest.mark.parametrize(
        "text",
        [
            LONGER,
            GAP,
            option('load."kerb strike".size = "9 N"', 'title = "a"', "[[options.x.pull]]")
            + 'load = "1 N"\n',
            option('[[options."x".load]]', 'name = "a"', 'kind = "sustained"', 'size = "1 N"'),
        ],
    )
    def test_what_can_be_read_fits(self, small, text):
        assert list(self.DRAFT.iter_errors(tomllib.loads(small(after=text)))) == []
        scenario.load_text(small(after=text))

    @pytest.mark.parametrize(
        "lines",
        [
            ["seed = 1"],
            ["schema = 1"],
            ["x = 1"],
            ["plug.overlapp = 1"],
            ["plug = 1"],
            ["without = 3"],
            ["load.lever.sise = 3"],
            ["load.lever = 3"],
            ['[[options."x".load]]', 'kind = "sustained"', 'size = "1 N"'],
        ],
    )
    def test_what_is_refused_does_not(self, small, lines):
        text = small(after=option(*lines))
        assert list(self.DRAFT.iter_errors(tomllib.loads(text)))
        with pytest.raises(ScenarioError):
            scenario.load_text(text)


def test_the_options_offered_in_a_new_file_can_be_written():
    text = scenario.new("plug-in-tube")
    head, tail = text.split('# [options."longer overlap"]')
    lines = ['[options."longer overlap"]', *tail.splitlines()]
    text = head + "\n".join(line.removeprefix("# ") for line in lines)
    longer = scenario.load_text(text, option="longer overlap")
    assert longer.variables["plug.overlap"].spread.mean == 32.0
    assert [load.rate for load in longer.loads if load.kind == "event"] == [2.0]
    assert scenario.load_text(text, option="gap measured").variables["plug.diameter"]
