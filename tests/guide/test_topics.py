"""What a reader may rely on: width, words, names that exist, examples that can be used."""

import copy
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
import typer

import jointrisk
from jointrisk import guide, scenario
from jointrisk.cli.app import app
from jointrisk.cli.status import Status
from jointrisk.errors import InputError
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES
from jointrisk.scenario.given import FAMILIES, KINDS, SCOPES
from jointrisk.scenario.problems import validate
from jointrisk.scenario.resolve import resolve
from jointrisk.study import fit_results, plan_results, rating_results, sweep_results

NAMES = [topic.name for topic in guide.topics()]
GROUP = typer.main.get_command(app)
ASKED = (
    *("start", "scenario", "spreads", "units", "evidence", "adhesive", "preparation", "gap"),
    *("overlap", "limits", "temperature", "weak-bonds", "members", "loads", "target"),
    *("probability", "ranking", "proof", "report", "cautions", "sources"),
)
PACKAGE = Path(jointrisk.__file__).parent


def test_the_topics_asked_for_are_there_in_reading_order():
    assert [name for name in NAMES if name in ASKED] == [*ASKED]


def test_every_file_of_the_room_is_a_topic():
    room = files("jointrisk.guide")
    assert sorted(p.name[:-3] for p in room.iterdir() if p.name.endswith(".md")) == sorted(NAMES)


def test_every_title_is_one_line_that_fits_beside_the_longest_name():
    longest = max(map(len, NAMES))
    for topic in guide.topics():
        assert 10 < len(topic.title) <= 78 - 2 - longest, topic
        assert guide.text(topic.name).startswith(f"# {topic.title}\n\n")


@pytest.mark.parametrize("name", NAMES)
def test_a_bare_terminal_can_show_it(texts, name):
    text = texts[name]
    assert text.isascii()
    assert "\t" not in text
    assert text.endswith("\n")
    assert not text.endswith("\n\n")
    assert [line for line in text.splitlines() if len(line) > 78 or line != line.rstrip()] == []
    assert len(text.splitlines()) < 250


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_left_to_fill_in(texts, name):
    assert "${" not in texts[name]
    assert "`" not in texts[name]
    assert "**" not in texts[name]


@pytest.mark.parametrize("name", NAMES)
def test_no_topic_calls_anything_safe(texts, name):
    assert re.findall(r"(?i)\b(?:un)?safe(?:ly|r|st)?\b", texts[name]) == []


@pytest.mark.parametrize("name", NAMES)
def test_topics_that_are_pointed_to_exist(plain, name):
    found = re.findall(r"\b[Tt]opics? ([a-z-]+(?:(?:, | and )[a-z-]+)*)", plain[name])
    for listed in found:
        assert set(re.split(r", | and ", listed)) <= {*NAMES}, listed


@pytest.mark.parametrize(
    ("wrong", "meant"), [("overlaps", "overlap"), ("Weak_bonds", "weak-bonds")]
)
def test_an_unknown_topic_names_the_nearest(wrong, meant):
    with pytest.raises(InputError, match=f"{wrong}.*did you mean '{meant}'"):
        guide.text(wrong)


def test_a_topic_near_to_none_gets_them_all():
    with pytest.raises(InputError, match=f"zzz.*start.*{NAMES[-1]}"):
        guide.text("zzz")


# Commands --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_every_command_named_exists(texts, name):
    assert set(re.findall(r"\bjointrisk ([a-z-]+)", texts[name])) <= set(GROUP.commands)


def test_every_command_is_named(texts):
    said = "\n".join(texts.values())
    assert {c for c in GROUP.commands if f"jointrisk {c}" not in said} <= {"guide"}


def options_of(command):
    return {flag for parameter in command.params for flag in parameter.opts if flag[0] == "-"}


@pytest.mark.parametrize("name", NAMES)
def test_every_option_named_exists(texts, name):
    known = set().union(*(options_of(command) for command in GROUP.commands.values()))
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+|(?<!\S)-[a-z](?!\w)", texts[name])) <= known


def test_every_option_of_assess_is_explained(blocks):
    lines = [line for block in blocks["report"] for line in block.splitlines()]
    for flag in options_of(GROUP.commands["assess"]):
        assert any(re.match(rf"(--\w+ )?{flag} .*\w{{2}}", line) for line in lines), flag


def test_every_exit_status_is_explained(blocks):
    for status in Status:
        assert any(re.search(rf"(?m)^{int(status)} +\w+", block) for block in blocks["report"])


# Keys ------------------------------------------------------------------------------------------


def test_every_section_is_explained(sections, blocks):
    lines = [line for block in blocks["scenario"] for line in block.splitlines()]
    for section in set(sections):
        pattern = rf"\[{{1,2}}{section}\]{{1,2}} +\w+ \w+"
        assert not section or any(re.match(pattern, line) for line in lines), section


def test_every_key_is_explained(sections, blocks):
    lines = [line for found in blocks.values() for block in found for line in block.splitlines()]
    for section, keys in sections.items():
        for key in keys:
            name = f"{section}.{key}" if section else key
            if name == "options":  # a section of names of one's own
                continue
            told = [line for line in lines if re.match(rf"{name} +\S+.*\w", line)]
            assert told, name


def test_lists_of_tables_have_two_brackets(sections, texts):
    document = scenario.schema()["properties"]
    for section in set(sections):
        if section:
            single = re.search(rf"(?<!\[)\[{section}\]", "\n".join(texts.values()))
            assert bool(single) == ("items" not in document[section]), section


@pytest.mark.parametrize("name", NAMES)
def test_every_section_named_exists(sections, texts, name):
    named = re.findall(r"(?m)(?:^| )\[{1,2}([a-z_]{2,})\]{1,2}", texts[name])
    assert set(named) <= {*sections, "options"}


FILES = ("html", "json", "csv", "toml")
"""Endings of files: ``proof.html`` is no key."""


@pytest.mark.parametrize("name", NAMES)
def test_every_dotted_key_named_exists(sections, texts, name):
    tables_of_defaults = set(tables.defaults())
    for section, key in re.findall(r"(?<![\w.])([a-z_]+)\.([a-z_]+)\b", texts[name]):
        if section in sections:
            dotted = f"{section}.{key}"
            known = key in sections[section] or dotted in tables_of_defaults
            assert known or dotted == "evidence.own" or key in FILES, dotted


def choices(node):
    """Every word that a key of a scenario takes."""
    if isinstance(node, dict):
        own = set(map(str, node["enum"])) if isinstance(node.get("enum"), list) else set()
        return own.union(*map(choices, node.values()))
    return set().union(*map(choices, node)) if isinstance(node, list) else set()


def keys_of_document(node):
    if isinstance(node, dict):
        return set(node) | set().union(*map(keys_of_document, node.values()))
    return set().union(*map(keys_of_document, node)) if isinstance(node, list) else set()


@pytest.mark.parametrize("name", NAMES)
def test_every_word_with_an_underline_is_the_name_of_something(sections, texts, name, result):
    known = set(sections) | set().union(*sections.values()) | keys_of_document(result)
    coupon = {"width": "25 mm", "overlap": "12 mm", "thickness": "2 mm", "load": "5 kN"}
    known |= keys_of_document(jointrisk.single_lap(**coupon, modulus="70 GPa").to_dict())
    known |= {"loads_file", "single_lap"}
    studies = (fit_results, plan_results, rating_results, sweep_results)
    for part in (part for study in studies for part in vars(study).values()):
        known |= set(getattr(part, "__dataclass_fields__", ()))
    known |= {
        "most_likely",
        "never_outside",
        "alpha_tube",
        "alpha_plug",
        *choices(scenario.schema()),
    }
    words = re.findall(r"(?<![\w.])[a-z]{3,}(?:_[a-z0-9]{2,})+", texts[name])
    assert set(words) - known == set()


def test_every_key_of_the_document_is_explained(plain, result):
    named = set(re.findall(r"[a-z_0-9]+", plain["report"]))
    free = {"run", "host"}
    for key, value in result.items():
        assert key in named
        inner = set() if key in free else keys_of_document(value)
        assert inner <= named, key


# Spreads and quantities --------------------------------------------------------------------------


def test_every_shape_scope_and_kind_is_named(plain):
    for word in (*FAMILIES, *SCOPES, *KINDS):
        assert word in plain["spreads"]


def test_the_shape_taken_where_none_is_named_is_the_programs(plain):
    families = {}
    for quantity in QUANTITIES.values():
        families.setdefault(quantity.dimension, set()).add(quantity.family)
    assert families["length"] == families["temperature"] == {"normal"}
    assert "Lengths and temperatures: normal." in plain["spreads"]
    assert families["stress"] == families["toughness"] == {"lognormal"}
    assert "Strengths, toughness and factors: lognormal." in plain["spreads"]


# Examples ----------------------------------------------------------------------------------------

START = tomllib.loads(scenario.new("plug-in-tube"))
WITH_SLEEVE = tomllib.loads(scenario.new("sleeve-over-tube"))


def resolved(raw):
    file, problems, skip = validate(raw)
    return resolve(file, problems=problems, skip=skip, path="guide", sha256="")


@pytest.mark.parametrize("name", NAMES)
def test_every_example_can_be_used(pieces, name):
    for piece in pieces[name]:
        raw = copy.deepcopy(WITH_SLEEVE if "sleeve" in piece else START)
        if "radial_gap" in piece.get("plug", {}):
            del raw["plug"]["diameter"]
        for section, value in piece.items():
            merged = isinstance(value, dict) and section != "target"
            raw[section] = {**raw.get(section, {}), **value} if merged else value
        assert resolved(raw).variables


def test_most_topics_of_keys_show_an_example(pieces):
    assert sum(bool(found) for found in pieces.values()) >= 10


def test_the_least_that_runs_is_whole(pieces):
    raw = {key: value for piece in pieces["scenario"] for key, value in piece.items()}
    assert resolved(raw).rods == 1


def test_it_is_the_least(pieces):
    raw = {key: value for piece in pieces["scenario"] for key, value in piece.items()}
    for section in raw:
        with pytest.raises(jointrisk.ScenarioError, match=section):
            resolved({key: value for key, value in raw.items() if key != section})


# Warnings ----------------------------------------------------------------------------------------


def test_every_warning_is_explained_and_no_other(blocks):
    said = "\n".join(
        path.read_text("utf-8")
        for room in ("scenario", "study")
        for path in (PACKAGE / room).glob("*.py")
    )
    codes = set(re.findall(r'(?:\bwarn|Warning_)\(\s*"([a-z-]+)"', said))
    listed = set()
    for block in blocks["cautions"]:
        listed |= {line.split()[0] for line in block.splitlines()}
    assert len(codes) > 15
    assert listed == codes


def test_warnings_in_other_topics_exist_too(blocks, texts):
    listed = {line.split()[0] for block in blocks["cautions"] for line in block.splitlines()}
    for name in ("gap", "temperature"):
        part = texts[name].split("## Warnings\n\n")[1].split("\n\n")[0]
        heads = {line.split()[0] for line in part.splitlines() if line[4] != " "}
        assert heads <= listed
