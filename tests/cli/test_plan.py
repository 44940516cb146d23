"""Planning and drawing at the command line, from a face file: everything a turner gets, whole or not at all."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
import typer
from PIL import Image
from typer.testing import CliRunner, Result

from photonest.cli.app import app
from photonest.cli.check import for_blank
from photonest.model import (
    Axis,
    ExitCode,
    Stock,
    StockError,
    UnsafePlanError,
    dump_json,
    face_to_document,
    plan_from_document,
)
from photonest.nest import check_plan
from tests.cli.test_app import run
from tests.nest.examples import plain_blank

PAPERS = {"plan.json", "plan.png", "setup.pdf", "face.json"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of results, planned from a face file."""
    out = tmp_path_factory.mktemp("results")
    face, _ = plain_blank()
    (out / "face.json").write_text(dump_json(face_to_document(face)))
    result = run("plan", str(out / "face.json"), "--stock", "blank", "--thickness", "150", "--out", str(out))
    assert result.returncode == 0, result.stderr
    return out


def test_a_plan_comes_with_its_papers_and_passes_its_check(folder: Path) -> None:
    names = {file.name for file in folder.iterdir()}
    assert names >= PAPERS
    assert any(name.startswith("template-cut-1") for name in names)
    plan = plan_from_document(json.loads((folder / "plan.json").read_text()))
    face, _ = plain_blank()
    assert check_plan(face, plan) == ()
    # common practice, no source: a blank about 350 mm across and 150 mm thick gives three bowls
    assert plan.score.bowls == 3


def test_a_plan_is_drawn_again_on_other_paper_and_templates_of_an_earlier_one_go(folder: Path, tmp_path: Path) -> None:
    stale, own = tmp_path / "template-half-1-cut-9.pdf", tmp_path / "template-of-mine.pdf"
    stale.write_bytes(b"old")
    own.write_bytes(b"mine")
    result = run("draw", str(folder / "plan.json"), "--paper", "letter", "--units", "inch", "--out", str(tmp_path))
    assert result.returncode == 0, result.stderr
    assert "drawn without it" in result.stderr
    assert not stale.exists()
    assert own.exists()
    assert (tmp_path / "setup.pdf").read_bytes() != (folder / "setup.pdf").read_bytes()
    (tmp_path / "plan.png").unlink()
    (tmp_path / "setup.pdf").unlink()
    (tmp_path / "face.png").touch()  # of another piece
    again = run("draw", str(folder / "plan.json"), "--out", str(tmp_path))
    assert again.returncode == ExitCode.OUTPUT
    assert "already holds face.png" in again.stderr


def test_a_plan_is_not_drawn_on_another_face(folder: Path, tmp_path: Path) -> None:
    changed = (folder / "face.json").read_text().replace('"standard_error_pct": 0', '"standard_error_pct": 1', 1)
    (tmp_path / "face.json").write_text(changed + " ")
    result = run("draw", str(folder / "plan.json"), "--face", str(tmp_path / "face.json"), "--out", str(tmp_path))
    assert result.returncode == ExitCode.DOCUMENT
    assert "plan.png" not in {file.name for file in tmp_path.iterdir()}


def test_a_plan_is_not_drawn_over_another_photo(folder: Path, tmp_path: Path) -> None:
    face, _ = plain_blank()
    other = tmp_path / "other.png"  # as large as the right one, which is what its pixels could be told by
    Image.new("RGB", (face.photo.width_px, face.photo.height_px), (150, 120, 90)).save(other, compress_level=1)
    result = run("draw", str(folder / "plan.json"), "--photo", str(other), "--out", str(tmp_path / "out"))
    assert result.returncode == ExitCode.PHOTO
    assert not (tmp_path / "out").exists()


def test_an_unsafe_plan_is_not_drawn(folder: Path, tmp_path: Path) -> None:
    plan = json.loads((folder / "plan.json").read_text())
    plan["nests"][0]["axis"]["point"][0] += 60.0
    (tmp_path / "plan.json").write_text(json.dumps(plan))
    face = str(folder / "face.json")
    result = run("draw", str(tmp_path / "plan.json"), "--face", face, "--out", str(tmp_path / "out"))
    assert result.returncode == ExitCode.UNSAFE_PLAN
    assert not (tmp_path / "out").exists()


def test_a_check_before_coring_ends_with_its_own_code(folder: Path, tmp_path: Path) -> None:
    face = tmp_path / "face.json"
    face.write_bytes((folder / "face.json").read_bytes())
    arguments = ("check", str(face), "--stock", "blank", "--thickness", "150")
    result = run(*arguments)  # on the axis of the whole rim, the two checks at the edge come too near
    assert result.returncode == ExitCode.UNSAFE_PLAN
    assert "by crack c" in result.stdout or "from crack c" in result.stdout
    assert run("adjust", str(face), "--dismiss", "c1", "--dismiss", "c2").returncode == 0
    clear = run(*arguments)
    assert clear.returncode == 0
    assert "Nothing comes within the margin" in clear.stdout


def test_a_piece_too_small_for_its_plan_is_not_called_clear(folder: Path, tmp_path: Path) -> None:
    sound, face = replace(plain_blank()[0], cracks=()), tmp_path / "face.json"
    face.write_text(dump_json(face_to_document(sound)))

    def checked(*words: str) -> Result:
        plan = str(folder / "plan.json")
        return CliRunner().invoke(app, ["check", str(face), "--stock", "blank", "--plan", plan, *words])

    assert checked("--thickness", "150").exit_code == 0
    thin = checked("--thickness", "90")
    assert isinstance(thin.exception, UnsafePlanError)
    assert "the piece is 90 mm thick" in thin.stdout
    aside = checked("--thickness", "150", "--axis=120,0", "--json")
    assert isinstance(aside.exception, UnsafePlanError)
    assert not json.loads(aside.stdout)["all_clear"]
    assert "the wood ends" in json.loads(aside.stdout)["advice"][0]


def test_a_blank_of_a_log_is_checked_on_an_axis_square_to_its_face() -> None:
    """A log's axes lie in its end; on the blank sawn from a half, they stand square to the face that was ripped."""
    _, plan = plain_blank()
    lying = replace(plan.nests[0], axis=Axis((5.0, 5.0, 200.0), (0.6, 0.8, 0.0)))
    smaller = replace(lying, bowls=lying.bowls[:1], cuts=())
    log = replace(plan, stock=Stock("log", length=400.0), nests=(lying, smaller))
    near, far = Stock("blank", thickness=150.0), Stock("blank", thickness=150.0, rim="far")
    assert for_blank(log, near, 1).nests[0].axis == Axis((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert for_blank(log, far, 1).nests[0].axis == Axis((0.0, 0.0, 150.0), (0.0, 0.0, -1.0))
    assert for_blank(log, near, 2).nests[0].bowls == smaller.bowls
    for half in (None, 3):
        with pytest.raises(typer.BadParameter):
            for_blank(log, near, half)
    with pytest.raises(StockError):
        for_blank(log, Stock("slice", thickness=150.0), 1)
