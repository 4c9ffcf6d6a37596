import resource
import subprocess
import sys

import pytest

import jointrisk
from jointrisk.cli.status import Status

HEAVY = ("scipy", "pandas", "matplotlib", "pydantic", "numpy", "rich", "jinja2")
COMMANDS = (
    *("new", "check", "assess", "proof", "compare", "rank", "sweep", "rating"),
    *("learn", "plan", "fit", "single-lap", "schema", "guide"),
)


def python(*words, **options):
    return subprocess.run(
        [sys.executable, *words], capture_output=True, text=True, timeout=60, check=False, **options
    )


def test_statuses_are_the_documented_numbers():
    assert {s.name: int(s) for s in Status} == {
        "DONE": 0, "UNEXPECTED": 1, "USAGE": 2, "CONTENT": 3, "NO_ESTIMATE": 4,
        "TARGET_MISSED": 5, "INTERRUPTED": 130,
    }  # fmt: skip


def test_help_lists_what_exists_and_nothing_else(run):
    done = run("--help")
    assert done.status == 0
    listed = done.out.partition("Commands:\n")[2].partition("\n\n")[0]
    assert [line.split()[0] for line in listed.splitlines()] == [*COMMANDS]
    assert "..." not in listed


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_every_option_has_help(run, command):
    done = run(command, "-h")
    assert done.status == 0
    options = [x for x in done.out.splitlines() if x.startswith("  -")]
    assert options
    assert all(len(line.split("  ")) > 2 for line in options)


def test_help_tells_the_exit_statuses(run):
    said = " ".join(run("--help").out.split())
    for status in Status:
        assert f"{int(status)} " in said


def test_version(run):
    assert run("--version").out == f"jointrisk {jointrisk.__version__}\n"


def test_a_mistyped_command_gets_the_nearest(run):
    done = run("asess")
    assert done.status == 2
    assert "'asess'" in done.err
    assert "'assess'" in done.err


def test_no_command_shows_the_help(run):
    done = run()
    assert done.status == 2
    assert "Commands:" in done.out + done.err


def test_help_loads_nothing_heavy():
    code = (
        "import sys; sys.argv = ['jointrisk', '--help']\n"
        "from jointrisk.cli.app import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print([m for m in {HEAVY} if m in sys.modules], file=sys.stderr)"
    )
    done = python("-c", code)
    assert "Usage: jointrisk" in done.stdout
    assert done.stderr == "[]\n"


def test_help_is_nearly_as_quick_as_a_bare_typer_app():
    bare = (
        "import typer; app = typer.Typer(rich_markup_mode=None)\n"
        "app.command('a')(lambda x=1: None); app.command('b')(lambda: None); app(['--help'])"
    )

    def spent(*words):
        """Seconds of the processor, which other work on the machine does not lengthen much."""
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        python(*words)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    pairs = [(spent("-m", "jointrisk", "--help"), spent("-c", bare)) for _ in range(6)]
    ours, theirs = (min(column) for column in zip(*pairs, strict=True))
    assert ours <= 1.5 * theirs


def test_module_and_command_are_the_same():
    assert python("-m", "jointrisk", "--version").stdout == f"jointrisk {jointrisk.__version__}\n"


def test_a_reader_who_leaves_is_no_error():
    code = (
        "import sys; sys.argv = ['jointrisk', 'new']\n"
        "sys.stdin.readline()\n"
        "from jointrisk.cli.app import main\n"
        "main()"
    )
    command = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    command.stdout.close()
    command.stdin.write("go\n")
    command.stdin.close()
    assert command.stderr.read() == ""
    command.stderr.close()
    assert command.wait(60) == 0
