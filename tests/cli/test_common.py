"""What a person says by mistake is refused before anything is worked out, and nothing is lost by it."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
import typer

from photonest.asking import Choices
from photonest.cli.common import (
    measured,
    output_folder,
    refuse_to_overwrite,
    remove_stale,
    unused_references,
    usual_folder,
)
from photonest.cli.measuring import Measuring
from photonest.cli.piece import Kind, Piece, Side, Towards
from photonest.cli.plan import PLAN_DRAWINGS, Wishes, _to_be_new
from photonest.model import (
    Attempt,
    DocumentError,
    ExitCode,
    OutputError,
    Shop,
    ShopError,
    StockError,
    dump_json,
    face_to_document,
)
from tests.cli.test_app import run
from tests.model.examples import whole_face


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A face file in the folder that its photo gave its name, dots and all."""
    folder = tmp_path / "elm 3.5 kg"
    folder.mkdir()
    (folder / "face.json").write_text(dump_json(face_to_document(whole_face())))
    return folder / "face.json"


def test_what_is_said_of_the_photo_of_a_face_already_measured_is_refused(home: Path) -> None:
    for command in ("plan", "check"):
        result = run(command, str(home), "--stock", "blank", "--thickness", "90", "--diameter", "300", cwd=home.parent)
        assert result.returncode == 2
        assert "measured already" in result.stderr


def test_results_go_to_a_faces_own_folder(home: Path) -> None:
    assert usual_folder(home) == Path("elm 3.5 kg")
    assert usual_folder(Path("yard/elm 3.5 kg.jpg")) == Path("elm 3.5 kg")
    assert "face.json" not in _to_be_new(home, home.parent)
    assert "plan.json" in _to_be_new(home, home.parent)
    assert "face.json" in _to_be_new(home, home.parent / "other")


@pytest.mark.parametrize("name", ["x" * 300, "photo.jpg"])
def test_a_folder_that_cant_be_is_told_of(tmp_path: Path, name: str) -> None:
    (tmp_path / "photo.jpg").touch()
    with pytest.raises(OutputError):
        output_folder(tmp_path / name, Path("photo.jpg"), ("face.json",), replace=False)


def test_a_file_is_overwritten_only_when_asked(tmp_path: Path) -> None:
    refuse_to_overwrite(tmp_path / "labels.pdf", replace=False)
    (tmp_path / "labels.pdf").touch()
    refuse_to_overwrite(tmp_path / "labels.pdf", replace=True)
    with pytest.raises(OutputError, match="already there"):
        refuse_to_overwrite(tmp_path / "labels.pdf", replace=False)


def test_drawings_of_an_earlier_plan_go_and_a_persons_own_files_stay(tmp_path: Path) -> None:
    for name in ("plan.svg", "face.svg", "template-cut-2.pdf", "template-of-mine.pdf", "plan.png", "notes.txt"):
        (tmp_path / name).touch()
    remove_stale(tmp_path, {"plan.png": b""}, PLAN_DRAWINGS)
    assert {file.name for file in tmp_path.iterdir()} == {"face.svg", "template-of-mine.pdf", "plan.png", "notes.txt"}


def test_a_damaged_face_of_before_is_not_measured_away(tmp_path: Path) -> None:
    photo = Path(__file__).parents[2] / "fixtures" / "slice_ash.jpg"
    (tmp_path / "face.json").write_text("cut o")
    with pytest.raises(DocumentError, match="set by hand") as caught:
        measured(photo, Choices(), tmp_path)
    assert "remove it to measure anew" in caught.value.hint


def test_a_reference_told_of_in_vain_is_named() -> None:
    attempts = (
        Attempt("scale", "two-points", "1", "built in", "not found", "the two points are one"),
        Attempt("scale", "marker-sheet", "1", "built in", "found"),
        Attempt("scale", "markers", "1", "built in", "not found", "no markers are seen"),
    )
    face = replace(whole_face(), provenance=attempts)
    told = {("scale", name): {"x": 1.0} for name in ("two-points", "marker-sheet", "markers", "paper")}
    (points, paper) = unused_references(face, Choices(settings=told))
    assert "two-points was not used: the two points are one" in points
    assert "paper was not used: marker-sheet stands alone" in paper
    assert unused_references(face, Choices()) == []


@pytest.mark.parametrize(
    "piece",
    [
        Piece(Kind.SLICE, thickness=100, length=400),
        Piece(Kind.LOG, length=400, thickness=100),
        Piece(Kind.LOG, length=400, rim=Side.FAR),
        Piece(Kind.BLANK, thickness=100, rim_towards=Towards.BARK),
        Piece(Kind.SLICE, thickness=100, check_depth=20),
        Piece(Kind.SLICE, thickness=100, pith_depth=20),
        Piece(Kind.BLANK, thickness=100, knots_lean=True),
    ],
)
def test_what_is_said_of_another_kind_of_stock_is_refused(piece: Piece) -> None:
    with pytest.raises(StockError, match=f"and this is a {piece.stock}"):
        piece.made_stock()


@pytest.mark.parametrize("depth, species", [(math.nan, "American elm"), (20.0, None)])
def test_how_the_grain_lies_is_a_number_and_needs_a_species(depth: float, species: str | None) -> None:
    piece = Piece(Kind.BLANK, thickness=100, pith_depth=depth, species=species)
    with pytest.raises(typer.BadParameter):
        piece.made_wood(piece.made_stock(), Shop())


def test_a_moisture_without_a_wood_is_refused() -> None:
    piece = Piece(Kind.BLANK, thickness=100, moisture=12.0)
    with pytest.raises(typer.BadParameter, match="give --species"):
        piece.made_wood(piece.made_stock(), Shop())


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "plank.jpg", "--stock", "slice", "--thickness", "90", "--photo", "other.jpg"),
        ("adjust", "face.json", "--dismiss", "c1", "--pith-error", "4"),
        ("plugins", "--json", "show", "outline.trained"),
    ],
)
def test_what_would_count_for_nothing_is_refused(home: Path, words: tuple[str, ...]) -> None:
    assert run(*words, cwd=home.parent).returncode == 2


def test_pictures_are_not_overwritten_unasked(home: Path) -> None:
    assert "face.svg" in _to_be_new(Path("yard/elm.jpg"), Path("elm"), svg=True)
    (home.parent / "face.svg").touch()
    photo = str(Path(__file__).parents[2] / "fixtures" / "slice_ash.jpg")
    (home.parent / "face.json").unlink()
    result = run("measure", photo, "--svg", "--out", str(home.parent))
    assert result.returncode == ExitCode.OUTPUT
    assert "already holds face.svg" in result.stderr


def test_cutters_are_named() -> None:
    assert [cutter.name for cutter in Wishes(cutters="R110").in_shop(Shop()).cutters] == ["R110"]
    for names in ("", " , ", "R9"):
        with pytest.raises(ShopError, match="cutter"):
            Wishes(cutters=names).in_shop(Shop())


def test_only_papers_known_are_taken() -> None:
    assert Measuring(paper_size="A5").choices().settings["scale", "paper"] == {"size": "A5"}
    with pytest.raises(typer.BadParameter):
        Measuring(paper_size="A9").choices()


def test_an_adjusted_face_says_that_the_plan_beside_it_is_stale(home: Path) -> None:
    (home.parent / "plan.json").touch()
    result = run("adjust", str(home), "--add-crack", "0,-30 0,-45")
    assert result.returncode == 0
    assert "plan again before you cut" in result.stderr
    for twice in (
        ["--depth", "c1=3", "--depth", "c1=30"],
        ["--pith", "1,2 3,4"],
        ["--pith-error", "nan", "--pith", "1,2"],
    ):
        assert run("adjust", str(home), *twice).returncode == 2
    assert run("adjust", str(home), "--dismiss", "c1", "--restore", "c1").returncode == ExitCode.MARKS
    assert run("adjust", str(home), "--add-crack", "1,1 1,1").returncode == ExitCode.MARKS


def test_nan_is_no_number_of_an_option() -> None:
    for limit in ("--gap", "--seconds"):
        said = run("plan", "face.json", "--stock", "slice", "--thickness", "100", limit, "nan")
        assert said.returncode == 2
        assert "nan is not a number" in said.stderr
