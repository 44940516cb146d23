"""The catalogue's commands from end to end: results on stdout, words on stderr, mistakes told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import get_args

import pytest
from PIL import Image
from typer.testing import CliRunner, Result

import photonest.catalogue.batch as batch
from photonest.asking import Choices
from photonest.catalogue.batch import Failed, Measured
from photonest.catalogue.entries import STATES
from photonest.cli.catalogue import app
from photonest.cli.catalogue_common import State
from photonest.cli.piece import Kind
from photonest.model import (
    CatalogueError,
    MoistureError,
    OutputError,
    StockError,
    StockKind,
    write_document,
    write_whole,
)
from tests.catalogue.pieces import THUMBNAIL, face_of
from tests.catalogue.test_store import plan_for


@pytest.fixture(autouse=True)
def yard(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder with three photos, and a catalogue beside it."""
    monkeypatch.setenv("PHOTONEST_CATALOGUE", str(tmp_path / "yard.sqlite"))
    monkeypatch.delenv("PHOTONEST_PHOTOS", raising=False)
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    for name, colour in (("a", "red"), ("b", "blue")):
        Image.new("RGB", (60, 40), colour).save(incoming / f"{name}.png")
    (incoming / "bad.png").write_bytes(b"bad")

    def invented(path: Path, choices: Choices | None) -> Measured | Failed:
        if path.name.startswith("bad"):
            return Failed(path, "It is a bad photo.")
        return Measured(path, face_of(path.read_bytes(), path.name), THUMBNAIL)

    defaults = batch.add_photos.__kwdefaults__
    assert defaults is not None
    monkeypatch.setitem(defaults, "measure", invented)
    return tmp_path


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def codes() -> list[str]:
    return [entry["code"] for entry in json.loads(run("list", "--json").stdout)]


def filled(yard: Path) -> tuple[str, str]:
    found = run("add", yard / "incoming", "--species", "white ash", "--thickness", 120, "--place", "yard", "--jobs", 1)
    assert isinstance(found.exception, CatalogueError)  # one of three is bad
    one, two = codes()
    return one, two


def test_adding_a_folder_goes_on_after_a_bad_photo(yard: Path) -> None:
    found = run("add", yard / "incoming", "--jobs", 1)
    assert "1 of 3 photos could not be measured" in str(found.exception)
    lines = {line.split()[0]: line for line in found.stdout.splitlines()}
    assert sorted(line.split()[-1] for line in lines.values()) == ["a.png", "b.png"]  # which photo has which code
    assert set(lines) == set(codes())
    assert "2 added, 0 already there, 1 not measured" in found.stderr
    assert "bad.png: It is a bad photo." in found.stderr
    assert "Look at crack c2." in found.stderr  # a warning of the measurement
    again = run("add", yard / "incoming" / "a.png")
    assert again.exit_code == 0
    assert "0 added, 1 already there" in again.stderr
    assert "stay as they were" not in again.stderr
    assert "stay as they were" in run("add", yard / "incoming" / "a.png", "--thickness", 80).stderr


def test_before_the_first_piece_it_is_told_how_to_begin(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("PHOTONEST_CATALOGUE")
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "none yet")
    error = run("list").exception
    assert isinstance(error, CatalogueError)
    assert "There is no catalogue yet" in error.message
    assert "catalogue add" in error.hint


def test_a_piece_through_its_life(yard: Path) -> None:
    code, _ = filled(yard)
    assert run("weigh", code, 1850, "--day", "2024-04-02").exit_code == 0
    assert run("weigh", code, 1700, "--day", "2024-05-02").exit_code == 0
    assert "has not come yet" in run("weigh", code, 1700, "--day", "2924-05-02").stderr
    assert "loft" in run("move", code.lower(), "loft, left").stdout
    assert "drying" in run("state", code, "drying").stdout
    assert run("describe", code, "--stock", "log", "--note", "spalted", "--length", 300).exit_code == 0
    assert "Taken back: kind log, note spalted, length 300 mm" in run("undo", code).stderr
    shown = run("show", code).stdout
    assert "weighed 1850 g" in shown
    assert "kind log, note spalted, length 300 mm (taken back)" in shown
    assert "thickness       120 mm" in shown
    document = json.loads(run("show", code, "--json").stdout)
    assert (document["weight"], document["place"], document["state"]) == (1700, "loft, left", "drying")
    assert Path(document["photo"]).is_file()


def test_a_plan_and_its_outcome(yard: Path) -> None:
    from photonest.catalogue.store import Catalogue
    from photonest.model import plan_to_document

    code, other = filled(yard)
    assert run("show", code, "--face", yard / "face.json").exit_code == 0
    with Catalogue(str(yard / "yard.sqlite")) as catalogue:
        write_document(yard / "plan.json", plan_to_document(plan_for(catalogue, code)))
    assert run("attach", code, yard / "plan.json").exit_code == 0  # with face.json beside it
    assert isinstance(run("attach", other, yard / "plan.json").exception, CatalogueError)
    told = run("outcome", code, "280x110", "200", "--note", "one lost").stdout.splitlines()
    assert told[0].startswith("planned 3: ")
    assert told[1] == "made    2: 280, 200 mm"
    assert "came out: 280, 200 mm one lost" in run("show", code).stdout
    assert "is wider than the piece" in run("outcome", code, "2800x110").stderr
    assert run("outcome", code, "wide").exit_code == 2


def test_finding(yard: Path) -> None:
    code, other = filled(yard)
    run("move", code, "loft")
    assert [line.split()[0] for line in run("find", "--place", "loft").stdout.splitlines()] == [code]
    assert run("find", "ash", "loft").stdout.startswith(code)
    assert run("find", "--fits", 250).stdout == ""
    for slip in (("--fits", "nan"), ("--rim", "nan"), ("--rim", -5), ("--inside", 2)):
        assert run("find", *slip).exit_code == 2
    assert run("find", "--state", "fresh", "--species", "ash", "--since", "2020-01-01").stdout.count("\n") == 2
    assert run("find", "--state", "mouldy").exit_code == 2
    assert "2 pieces; the newest 1 are shown" in run("list", "--limit", 1).stderr
    run("undo", other)
    assert other not in run("list").stdout
    assert other in run("find", "--withdrawn").stdout


def test_what_could_be_made(yard: Path) -> None:
    filled(yard)
    found = run("find", "--rim", 90, "--jobs", 1)
    assert "0 of 2 could" in found.stderr
    assert found.exit_code == 0


def test_files_there_and_back(yard: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, two = filled(yard)
    assert run("export", "--format", "csv").stdout.splitlines()[0].startswith("code,")
    assert json.loads(run("export", "--format", "json").stdout)["format"] == "photonest-catalogue"
    assert run("export").exit_code == 2
    assert run("export", yard / "folder").exit_code == 0
    assert isinstance(run("export", yard / "folder").exception, OutputError)
    assert run("export", yard / "another", "--replace").exit_code == 2  # which would change nothing
    assert run("backup", yard / "yard.zip").exit_code == 0
    assert isinstance(run("backup", yard / "yard.zip").exception, OutputError)
    assert run("backup", yard / "yard.zip", "--replace").exit_code == 0
    assert isinstance(run("restore", yard / "yard.zip").exception, CatalogueError)  # not empty
    monkeypatch.setenv("PHOTONEST_CATALOGUE", str(yard / "new.sqlite"))
    assert "2 pieces are back" in run("restore", yard / "yard.zip").stderr
    assert codes() == [one, two]
    assert "0 new, 2 already there" in run("import", yard / "folder").stderr
    assert "all is well" in run("check").stderr


def test_a_damaged_backup_leaves_no_half_a_catalogue(yard: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two pieces, the second one's photo damaged: nothing is begun, and what is no backup begins nothing either."""
    filled(yard)
    run("export", yard / "folder")
    last = sorted((yard / "folder" / "photos").iterdir())[-1]
    last.write_bytes(last.read_bytes()[:-1])
    monkeypatch.setenv("PHOTONEST_CATALOGUE", str(yard / "new.sqlite"))
    assert "not what it was" in str(run("restore", yard / "folder").exception)
    assert isinstance(run("import", yard / "none.zip").exception, CatalogueError)
    assert not (yard / "new.sqlite").exists()


def test_a_restore_cut_short_says_how_to_go_on(yard: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the second photo, which room is then made for."""
    one, two = filled(yard)
    run("backup", yard / "yard.zip")
    monkeypatch.setenv("PHOTONEST_CATALOGUE", str(yard / "new.sqlite"))
    kept: list[Path] = []

    def full(path: Path, content: bytes) -> None:
        if len(kept) == 2:
            raise OutputError("There is no room.")
        kept.append(path)
        write_whole(path, content)

    with monkeypatch.context() as patched:
        patched.setattr("photonest.catalogue.files.write_whole", full)
        error = run("restore", yard / "yard.zip").exception
    assert isinstance(error, CatalogueError)
    assert "1 of 2 pieces are back" in error.message
    assert error.hint.endswith(f"photonest catalogue import {yard / 'yard.zip'}")
    assert "1 new, 1 already there" in run("import", yard / "yard.zip").stderr
    assert set(codes()) == {one, two}


def test_check_tells_damage(yard: Path) -> None:
    code, _ = filled(yard)
    Path(json.loads(run("show", code, "--json").stdout)["photo"]).unlink()
    found = run("check", "--clean")
    assert isinstance(found.exception, CatalogueError)
    assert f"{code}: the photo" in found.stdout


def test_sheets(yard: Path) -> None:
    one, two = filled(yard)
    assert run("label", "--out", yard / "labels.pdf").exit_code == 0
    assert isinstance(run("label", "--out", yard / "labels.pdf").exception, OutputError)
    assert (yard / "labels.pdf").read_bytes().startswith(b"%PDF")
    assert run("overview", one, "--out", yard / "stock.png").exit_code == 0
    assert run("overview", "--out", yard / "stock.gif").exit_code == 2
    assert isinstance(run("weights", "--out", yard / "weights.png").exception, CatalogueError)
    run("weigh", one, 1850, "--day", "2024-04-02")
    run("weigh", one, 1700, "--day", "2024-05-02")
    assert run("weights", "--out", yard / "weights.png").exit_code == 0
    assert f"not weighed twice: {two}." in run("weights", one, two.lower(), "--out", yard / "both.png").stderr


def test_drying_from_the_weights_kept(yard: Path) -> None:
    code, _ = filled(yard)
    assert isinstance(run("drying", code).exception, MoistureError)  # not weighed yet
    for day, grams in (("2024-01-05", 2040), ("2024-01-20", 1800), ("2024-02-05", 1640), ("2024-03-05", 1480)):
        run("weigh", code, grams, "--day", day)
    found = run("drying", code, "--temperature", 18, "--humidity", 55)
    assert "Ready about 2024-" in found.stdout
    assert "Unchanged over the last weighings: no" in found.stdout
    run("describe", code, "--species", "moon wood")
    assert "Its species tells nothing" in run("drying", code).stderr


def test_a_code_of_ones_own(yard: Path) -> None:
    assert run("add", yard / "incoming" / "a.png", "--code", "ELM-7").stdout.startswith("ELM-7")
    assert isinstance(run("add", yard / "incoming" / "b.png", "--code", "ELM-7").exception, CatalogueError)
    assert run("add", yard / "incoming", "--code", "ELM-8").exit_code == 2


@pytest.mark.parametrize("words", [("list",), ("show", "KMGF"), ("weigh", "KMGF", 10)])
def test_no_catalogue_yet(words: tuple[object, ...]) -> None:
    assert "There is no catalogue" in str(run(*words).exception)


def test_nothing_to_add(yard: Path) -> None:
    assert isinstance(run("add", yard / "incoming", "--length", 400).exception, StockError)  # of a slice
    assert run("add", yard / "incoming", "--jobs", 0).exit_code == 2
    assert isinstance(run("add", yard / "none.jpg").exception, CatalogueError)
    (yard / "empty").mkdir()
    assert "no photos" in str(run("add", yard / "empty").exception)


def test_the_commands_know_the_same_words_as_the_store() -> None:
    assert [state.value for state in State] == list(STATES)
    assert {kind.value for kind in Kind} == set(get_args(StockKind))
