import json
import os
from dataclasses import replace

import pytest

from jointrisk.errors import InputError
from jointrisk.report import page, save
from jointrisk.report.tables import NAMES, csv_texts

WRITTEN = ["report.html", "result.json", "tables"]


def test_writes_the_page_and_the_document(assessment, tmp_path):
    paths = save(assessment, tmp_path / "deep" / "folder")
    assert [path.name for path in paths] == ["report.html", "result.json"]
    assert paths[0].read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    document = json.loads(paths[1].read_text(encoding="utf-8"))
    assert document["host"]["jobs"] == 2


def test_nothing_else_is_left_in_the_folder(assessment, tmp_path):
    save(assessment, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == WRITTEN
    assert {path.name for path in (tmp_path / "tables").iterdir()} == set(NAMES)


def test_tables_are_those_of_the_result_in_utf_8(invented, assessment, tmp_path):
    odd = replace(assessment.assumptions[0], value="Ø 14 µm")
    result = invented(assumptions=(odd,))
    save(result, tmp_path)
    for name, text in csv_texts(result).items():
        assert (tmp_path / "tables" / name).read_bytes() == text.encode("utf-8")
    assert "Ø 14 µm" in (tmp_path / "tables" / "assumptions.csv").read_text(encoding="utf-8")


def test_a_table_that_is_no_more_goes_and_a_file_of_the_maker_stays(
    assessment, without_load, tmp_path
):
    save(assessment, tmp_path)
    (tmp_path / "tables" / "mine.csv").write_text("x")
    save(without_load, tmp_path)
    left = {path.name for path in (tmp_path / "tables").iterdir()}
    assert left == {*csv_texts(without_load), "mine.csv"}
    assert "proof.csv" not in left


def test_an_older_report_is_replaced(assessment, invented, tmp_path):
    save(assessment, tmp_path)
    paths = save(invented(title="Second"), tmp_path)
    assert "Second" in paths[0].read_text(encoding="utf-8")


def test_no_folder_is_made_when_the_page_fails(assessment, tmp_path, monkeypatch):
    def fail(_):
        raise RuntimeError("no page")

    monkeypatch.setattr(page, "html", fail)
    with pytest.raises(RuntimeError, match="no page"):
        save(assessment, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_failed_move_leaves_the_old_page_and_no_rubbish(assessment, tmp_path, monkeypatch):
    old = save(assessment, tmp_path)[0].read_bytes()

    def fail(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", fail)
    monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(InputError, match="Permission denied"):
        save(assessment, tmp_path)
    assert (tmp_path / "report.html").read_bytes() == old
    assert sorted(path.name for path in tmp_path.iterdir()) == WRITTEN
    assert {path.name for path in (tmp_path / "tables").iterdir()} == set(NAMES)


def test_a_file_where_the_folder_should_be(assessment, tmp_path):
    path = tmp_path / "taken"
    path.write_text("mine")
    with pytest.raises(InputError, match="taken"):
        save(assessment, path)
    assert path.read_text() == "mine"


def test_only_an_assessment_is_taken(tmp_path):
    with pytest.raises(InputError, match="dict"):
        save({"title": "x"}, tmp_path)


def test_the_same_result_gives_the_same_bytes(assessment, tmp_path):
    first = [path.read_bytes() for path in save(assessment, tmp_path / "a")]
    second = [path.read_bytes() for path in save(assessment, tmp_path / "b")]
    assert first == second
