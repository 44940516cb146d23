"""Planning and drawing at the command line, from a face file: everything a turner gets, whole or not at all."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner, Result

from photonest.cli.app import app
from photonest.model import (
    ExitCode,
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
