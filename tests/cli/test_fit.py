"""`jointrisk fit`: words, streams, statuses, the folder, and the topic of the guide."""

import json
import math
import re
from pathlib import Path

import pytest
import typer
from scipy import stats

from jointrisk import guide
from jointrisk.cli.app import app

TABLE = "coupon;strength [MPa];held;batch\n" + "".join(
    f"{i};{v};{h};A\n"
    for i, (v, h) in enumerate(
        [("18,2", ""), ("19,5", ""), ("17,1", ""), ("20,3", ""), ("21", "x")]
    )
)


@pytest.fixture
def coupons(run):
    Path("coupons.csv").write_text(TABLE, encoding="utf-8")
    return run


def test_the_answer_and_the_folder(coupons):
    done = coupons("fit", "coupons.csv")
    assert done.status == 0
    assert done.out.startswith("Spread    4 coupons broke at 17.1 to 20.3 MPa; 1 more held 21 MPa")
    assert "In a scenario" in done.out
    assert done.err == f"report: {Path('coupons-report') / 'fit.html'}\n"
    assert sorted(p.name for p in Path("coupons-report").iterdir()) == [
        *("fit.html", "fit.json", "tables")
    ]
    assert coupons("fit", "coupons.csv", "-q").err == ""


def test_one_document_and_no_folder(coupons):
    done = coupons("fit", "coupons.csv", "--json")
    document = json.loads(done.out)
    assert (document["broke"], document["unit"]) == (4, "MPa")
    assert not Path("coupons-report").exists()
    coupons("fit", "coupons.csv", "--json", "--out", "here")
    assert json.loads(Path("here/fit.json").read_text())["broke"] == 4


def test_a_column_by_name(run):
    Path("two.csv").write_text("load [kN],strength [MPa]\n4,14\n4.1,15\n4.3,15.2\n")
    done = run("fit", "two.csv")
    assert (done.status, done.out) == (3, "")
    assert "name one with --column" in done.err
    assert run("fit", "two.csv", "--column", "load", "--json").status == 0
    done = run("fit", "two.csv", "--column", "lode")
    assert (done.status, done.out) == (2, "")
    assert 'no such column (got "lode"; did you mean "load"?)' in " ".join(done.err.split())


def test_faults_are_a_line_each_and_nothing_is_written(run):
    Path("bad.csv").write_text("strength [MPa]\nten\n-2\n14\n")
    done = run("fit", "bad.csv")
    assert (done.status, done.out) == (3, "")
    assert [line.split(",")[0] for line in done.err.splitlines()] == [
        *("bad.csv: line 2", "bad.csv: line 3")
    ]
    assert not Path("bad-report").exists()
    assert run("fit", "absent.csv").status == 3
    assert run("fit").status == 2
    assert run("fit", "bad.csv", "--colum", "x").status == 2


def test_the_lines_pasted_into_a_new_scenario_are_checked(coupons):
    lines = json.loads(coupons("fit", "coupons.csv", "--json").out)["written"]["lines"]
    first, rest = "\n".join(lines).split("\n\n", 1)
    coupons("new", "plug-in-tube", "new.toml")
    raw = Path("new.toml").read_text("utf-8")
    Path("rod.toml").write_text(f"{raw.replace('[adhesive]', first, 1)}\n{rest}\n", "utf-8")
    done = coupons("check", "rod.toml")
    assert done.status == 0
    assert "rod.toml can be used" in done.err
    assert "4 coupons of coupons.csv" in done.out
    assert "own coupons" in done.out


def test_one_coupon_is_an_answer(run):
    Path("one.csv").write_text("load [N]\n900\n")
    done = run("fit", "one.csv")
    assert done.status == 0
    assert "One says nothing of a spread" in done.out


def test_verbose_and_plain_letters(coupons, monkeypatch):
    monkeypatch.setenv("COLUMNS", "72")
    monkeypatch.setenv("FORCE_COLOR", "1")
    done = coupons("fit", "coupons.csv", "-v", "--json", "--out", "x")
    assert done.status == 0
    shown = coupons("fit", "coupons.csv", "-v").out
    assert "\x1b[1mValues" in shown
    assert "not read: coupon" in shown
    assert "\x1b" not in coupons("fit", "coupons.csv", "--no-color").out


# The topic ---------------------------------------------------------------------------------------

TOPIC = guide.text("fit")


def test_every_option_is_explained():
    command = typer.main.get_command(app).commands["fit"]
    flags = {max(p.opts, key=len) for p in command.params if p.opts[0].startswith("-")}
    for flag in flags:
        assert re.search(rf"(?m)^    {flag} +\w+ \w+", TOPIC), flag


def test_every_key_of_the_document_that_is_not_plain_is_explained(coupons):
    document = json.loads(coupons("fit", "coupons.csv", "--json").out)
    told = TOPIC.split("## JSON keys")[1]
    free = {"schema_version", "title", "column", "dimension", "run", "host", "unread", "mean",
            "sd", "cov", "count", "broke", "far_better"}  # fmt: skip
    assert [key for key in document if key not in free and key not in told] == []
    for part in ("families", "written", "weak", "outliers"):
        inner = document[part][0] if isinstance(document[part], list) else document[part]
        names = set(inner) - {"family", "standard_errors", "rows"}
        assert [key for key in names if key not in told] == [], part


def test_the_numbers_of_the_topic():
    plain = " ".join(TOPIC.split())
    for n, words in (
        (3, "3 for 3 coupons"),
        (6, "1.4 for 6"),
        (10, "1.2 for 10"),
        (30, "1.1 for 30"),
    ):
        assert words in plain
        factor = stats.t.ppf(0.99, n - 1) / stats.norm.ppf(0.99)
        assert f"{factor:.2g}" == words.split()[0]
    assert "39 % for 6, 9.5 % for 30" in plain
    assert [f"{100 * (1 - 0.05 ** (1 / n)):.2g}" for n in (6, 30)] == ["39", "9.5"]
    assert math.isclose(stats.binom.pmf(0, 6, 0.393), 0.05, rel_tol=0.01)


def test_the_table_shown_is_read(run):
    shown = next(b for b in TOPIC.split("\n\n") if b.startswith("    coupon;"))
    rows = [line.strip() for line in shown.splitlines()]
    Path("shown.csv").write_text("\n".join(rows) + "\n")
    document = json.loads(run("fit", "shown.csv", "--json").out)
    assert [(c["value"], c["held"]) for c in document["coupons"]] == [
        (18.2, False), (17.1, False), (20.9, True),
    ]  # fmt: skip


def test_the_lines_shown_are_those_of_six_coupons(run):
    Path("six.csv").write_text("strength [MPa]\n18.2\n19.5\n17.1\n20.3\n18.8\n16.9\n")
    lines = json.loads(run("fit", "six.csv", "--json").out)["written"]["lines"]
    numbers = re.findall(r"cov = ([\d.]+)", "\n".join(lines))
    shown = TOPIC.split("such as")[1].split("The first spread")[0]
    assert re.findall(r"cov = ([\d.]+)", shown) == numbers


def test_the_demo_is_read(run):
    demo = Path(__file__).parents[2] / "scenarios" / "land-sailer-coupons.csv"
    assert "invented" in demo.read_text("utf-8").splitlines()[0]
    document = json.loads(run("fit", demo, "--json").out)
    assert (document["count"], document["why_no_fit"]) == (9, "")
    assert document["batches"]["verdict"] == "not apart"
