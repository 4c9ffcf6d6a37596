import subprocess
import sys
from pathlib import Path

import pytest

from jointrisk import guide

NAMES = [topic.name for topic in guide.topics()]


def test_without_topic_the_topics_are_listed_in_reading_order(run):
    done = run("guide")
    assert done.status == 0
    assert [line.split()[0] for line in done.out.splitlines()] == NAMES
    assert done.out.startswith("start ")
    assert max(map(len, done.out.splitlines())) <= 78
    assert done.err == ""


def test_every_line_of_the_list_has_its_title(run):
    for line, topic in zip(run("guide").out.splitlines(), guide.topics(), strict=True):
        assert line.endswith(f"  {topic.title}")


@pytest.mark.parametrize("name", NAMES)
def test_a_topic_goes_to_standard_output(run, name):
    done = run("guide", name)
    assert done.status == 0
    assert done.out == guide.text(name)
    assert done.err == ""
    assert not list(Path().iterdir())


def test_an_unknown_topic_is_a_usage_error_that_names_the_nearest(run):
    done = run("guide", "overlaps")
    assert done.status == 2
    assert done.out == ""
    assert "'overlaps'" in done.err
    assert "did you mean 'overlap'?" in done.err


def test_a_topic_near_to_none_gets_the_list(run):
    done = run("guide", "zzz")
    assert done.status == 2
    assert "'zzz'" in done.err
    assert all(name in done.err for name in ("start", "proof", "sources"))


def test_help_says_where_the_manual_is(run):
    assert "jointrisk guide" in " ".join(run("--help").out.split())


def test_the_guide_is_read_without_anything_heavy():
    code = (
        "import sys; sys.argv = ['jointrisk', 'guide', 'members']\n"
        "from jointrisk.cli.app import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = ('numpy', 'scipy', 'pandas', 'matplotlib', 'rich', 'jinja2')\n"
        "print([m for m in heavy if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.startswith("# Members")
    assert done.stderr == "[]\n"
