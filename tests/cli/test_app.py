"""The command line as a whole: help that is quick, exit codes that hold, results alone on stdout."""

import contextlib
import io
import json
import subprocess
import sys
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from PIL import Image

from photonest.cli import main
from photonest.model import ExitCode, face_from_document, face_to_document, shop_template, write_document
from tests.model.examples import whole_face

HEAVY = {"cv2", "skimage", "scipy", "matplotlib", "shapely", "PIL", "sqlalchemy", "alembic", "joblib"}
COMMANDS = [
    [],
    ["measure"],
    ["plan"],
    ["adjust"],
    ["check"],
    ["draw"],
    ["marker-sheet"],
    ["shop"],
    ["catalogue"],
    ["catalogue", "add"],
    ["species"],
    ["drying"],
    ["shop", "init"],
    ["plugins"],
    ["plugins", "show"],
]


def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command in this process, as the installed script does."""
    out, err = io.StringIO(), io.StringIO()
    here = contextlib.chdir(cwd) if cwd is not None else contextlib.nullcontext()
    argv = mock.patch.object(sys, "argv", ["photonest", *arguments])
    streams = contextlib.redirect_stdout(out), contextlib.redirect_stderr(err)
    with here, argv, streams[0], streams[1], pytest.raises(SystemExit) as end:
        main()
    return subprocess.CompletedProcess(arguments, int(end.value.code or 0), out.getvalue(), err.getvalue())


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_help_reads_well_and_imports_nothing_heavy(command: list[str]) -> None:
    code = (
        "import sys; sys.argv = ['photonest', *sys.argv[1:]]\n"
        "from photonest.cli import main\n"
        "try: main()\n"
        "except SystemExit as end: assert not end.code, end.code\n"
        "print('LOADED', *{name.partition('.')[0] for name in sys.modules})"
    )
    result = subprocess.run(
        [sys.executable, "-c", code, *command, "--help"], capture_output=True, text=True, check=True
    )
    text, _, loaded = result.stdout.rpartition("LOADED")
    assert "Usage:" in text
    assert not HEAVY & set(loaded.split())


def test_exit_codes_are_distinct_and_leave_1_and_2_to_the_command_line() -> None:
    assert len({int(code) for code in ExitCode}) == len(ExitCode)
    assert min(ExitCode) >= 10


@pytest.fixture(scope="module")
def plank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo without any reference in it."""
    path = tmp_path_factory.mktemp("photos") / "plank.jpg"
    grain = np.random.default_rng(4).integers(90, 160, (700, 900, 1), np.uint8).repeat(3, axis=2)
    Image.fromarray(grain).save(path)
    return path


def test_a_photo_without_a_reference_says_what_to_do(plank: Path, tmp_path: Path) -> None:
    result = run("measure", str(plank), cwd=tmp_path)
    assert result.returncode == ExitCode.SCALE
    assert result.stdout == ""
    assert "No scale found" in result.stderr
    assert "Lay the printed sheet" in result.stderr and len(result.stderr) < 600  # not a page of every finder's advice
    assert "What to do:" in result.stderr
    assert not any(tmp_path.iterdir())


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_screen_that_takes_nothing_is_told() -> None:
    with Path("/dev/full").open("w") as full:
        found = subprocess.run(
            [sys.executable, "-m", "photonest", "species"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert found.returncode == ExitCode.OUTPUT
    assert found.stderr.startswith("photonest: The result can't be written: No space")
    assert "Traceback" not in found.stderr and "ignored" not in found.stderr


def test_a_text_file_in_disguise_is_refused(tmp_path: Path) -> None:
    (tmp_path / "log.jpg").write_text("not a photo")
    result = run("measure", "log.jpg", cwd=tmp_path)
    assert result.returncode == ExitCode.PHOTO
    assert "not a photo" in result.stderr


@pytest.mark.parametrize("thickness", [["--thickness", "0"], ["--thickness", "-5"], []])
def test_an_impossible_thickness_is_refused_before_any_work(plank: Path, tmp_path: Path, thickness: list[str]) -> None:
    result = run("plan", str(plank), "--stock", "blank", *thickness, cwd=tmp_path)
    assert result.returncode == ExitCode.STOCK
    assert "thickness" in result.stderr


def test_a_face_file_with_nan_is_refused(tmp_path: Path) -> None:
    document = json.dumps(face_to_document(whole_face()), default=str).replace("12.0", "NaN")
    (tmp_path / "face.json").write_text(document)
    result = run("plan", "face.json", "--stock", "blank", "--thickness", "100", cwd=tmp_path)
    assert result.returncode == ExitCode.DOCUMENT
    assert "pith.point[0]: must be a finite number" in result.stderr


def test_results_are_not_overwritten_unless_asked(plank: Path, tmp_path: Path) -> None:
    (tmp_path / "plank").mkdir()
    (tmp_path / "plank" / "face.json").write_text("precious")
    result = run("measure", str(plank), "--mm-per-px", "0.2", cwd=tmp_path)
    assert result.returncode == ExitCode.OUTPUT
    assert "--replace" in result.stderr
    assert (tmp_path / "plank" / "face.json").read_text() == "precious"


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--set", "scale.mm=3"], "--set"),
        (["--set", "scale.by-hnd.mm_per_px=3"], "by-hand"),
        (["--at", "5"], "--at"),
        (["--mm-per-px", "-1"], "--mm-per-px"),
        (["--outline", "edgy"], "edge"),
        (["--mm-per-px", "0.2", "--set", "outline.edge.no_such=1"], "no_such"),
    ],
)
def test_wrong_options_are_named(plank: Path, tmp_path: Path, arguments: list[str], named: str) -> None:
    result = run("measure", str(plank), *arguments, cwd=tmp_path)
    assert result.returncode in (2, ExitCode.PLUGIN, ExitCode.SCALE)
    assert named in result.stderr


def test_adjust_writes_what_a_person_sets(tmp_path: Path) -> None:
    file = tmp_path / "face.json"
    write_document(file, face_to_document(whole_face()))
    result = run("adjust", str(file), "--pith", "5,-4", "--dismiss", "c2", "--depth", "c1=20", "--json")
    assert result.returncode == 0, result.stderr
    face = face_from_document(json.loads(result.stdout))
    assert face.pith is not None and face.pith.set_by == "person"
    assert face.pith.point == (5.0, -4.0)
    assert {crack.id: crack.status for crack in face.cracks} == {"c1": "seen", "c2": "dismissed"}
    assert json.loads(file.read_text()) == json.loads(result.stdout)
    again = run("adjust", str(file), "--dismiss", "c7")
    assert again.returncode == ExitCode.MARKS
    nothing = run("adjust", str(file))
    assert nothing.returncode == 2


def test_the_readme_lists_every_exit_code() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    for code in ExitCode:
        assert f"| {int(code)} |" in readme


def test_a_screen_that_lacks_letters_shows_the_rest(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "Bögen.toml").write_text(shop_template())
    screen = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setattr(sys, "argv", ["photonest", "shop", "check", str(tmp_path / "Bögen.toml")])
    with pytest.raises(SystemExit) as end:
        main()
    screen.seek(0)
    assert (end.value.code or 0, "B?gen.toml is in order" in screen.read()) == (0, True)


def test_ctrl_c_while_the_program_starts_shows_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, pytest.raises(SystemExit) as end:
        patched.setattr("builtins.__import__", interrupted)
        main()
    assert end.value.code == 130
