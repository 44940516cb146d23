"""The drying command: numbers on stdout, words on stderr, wrong input refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from photonest.cli.app import app
from photonest.model import MoistureError, OutputError
from tests.wood.pieces import Piece


def run(*words: str) -> Result:
    return CliRunner().invoke(app, ["drying", *words])


@pytest.fixture
def weights(tmp_path: Path) -> str:
    file = tmp_path / "weights.csv"
    lines = [f"{w.day},{w.weight}" for w in Piece().weighings(110, 14)]
    file.write_text("day,grams\n" + "\n".join(lines) + "\n")
    return str(file)


def test_a_date_is_given(weights: str) -> None:
    found = run(weights, "--species", "black walnut", "--temperature", "21.1", "--humidity", "60")
    assert found.exit_code == 0
    assert "Ready about 2031-0" in found.stdout
    assert "In that air it comes to 11.0 %" in found.stdout  # Hailwood-Horrobin, as in the Wood Handbook
    assert "Moisture now rests on" in found.stderr


def test_json_alone_on_stdout(weights: str) -> None:
    found = json.loads(run(weights, "--start", "70", "--json").stdout)
    assert found["ready"].startswith("2031-0")
    assert found["equilibrium_moisture"] is None
    assert found["curve"][0][0] == "2031-01-01"


def test_weighings_on_the_command_line() -> None:
    found = run("--weight", "2031-01-01,1700", "--weight", "2031-02-01,1300", "--start", "70")
    assert "Moisture now: 30 %" in found.stdout  # 1000 g dry
    assert "Too few weighings" in found.stderr


def test_an_off_cut_gives_the_start() -> None:
    found = run(
        "--weight", "2031-01-01,1700", "--weight", "2031-02-01,1300", "--sample", "85,50", "--scale-error", "0.1"
    )
    assert "Moisture now: 30 % (standard error 2)" in found.stdout  # (100 + 30) / (100 + 70) of the 3 at the start


def test_the_start_is_told_in_figures_that_mean_something() -> None:
    found = run("--weight", "2031-01-01,1700", "--weight", "2031-02-01,1300", "--sample", "100,60")
    assert "rests on 67 % at the start (standard error 4)" in found.stderr  # 40 of 60 g; ± means twice on the picture


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--weight", "2031-01-01,1300", "--weight", "2031-02-01,1700"),
        ("--weight", "2031-02-01,1700", "--weight", "2031-01-01,1300"),
        ("--weight", "2031-02-01,1700", "--temperature", "20", "--humidity", "130"),
        ("--weight", "2031-02-01,1700", "--start", "430"),
        ("--weight", "2031-02-01,1700", "--sample", "50,85"),  # the wrong way round
        ("nowhere.csv",),
    ],
)
def test_wrong_input_is_a_moisture_error(words: tuple[str, ...]) -> None:
    assert isinstance(run(*words).exception, MoistureError)


@pytest.mark.parametrize(
    "words",
    [
        ("--humidity", "60"),  # of air without a temperature
        ("--start-error", "5"),  # of no moisture measured
        ("--start", "60", "--start-error", "nan"),
        ("--start", "60", "--species", "black cherry"),  # two moistures to start from
        ("--sample", "85,50", "--start", "60"),
        ("--sample", "85"),
        ("--weight", "2031-03-01,1,650"),  # would be one gram
        ("--scale-error", "inf"),
        ("--species-file", "woods.toml"),  # of no wood named
    ],
)
def test_what_would_count_for_nothing_is_a_wrong_command(words: tuple[str, ...]) -> None:
    assert run("--weight", "2031-02-01,1700", *words).exit_code == 2


def test_the_file_of_a_spreadsheet_is_read(tmp_path: Path) -> None:
    file = tmp_path / "weights.csv"
    file.write_text("2031-04-02,1700\n2031-05-02,1300\n", encoding="utf-8-sig")
    assert "Moisture now: 30 %" in run(str(file), "--start", "70").stdout


def test_a_coarse_scale_is_coarse_for_the_picture_too(tmp_path: Path) -> None:
    """Three times 20 g may a weight seem to rise."""
    weights = ("--weight", "2031-04-02,1000", "--weight", "2031-05-02,1030")
    found = run(*weights, "--scale-error", "20", "--out", str(tmp_path / "d.svg"))
    assert found.exit_code == 0
    assert (tmp_path / "d.svg").exists()


@pytest.mark.parametrize(("name", "begins"), [("d.png", b"\x89PNG"), ("d.SVG", b"<?xml"), ("d.pdf", b"%PDF")])
def test_a_picture_is_written(weights: str, tmp_path: Path, name: str, begins: bytes) -> None:
    file = tmp_path / name
    found = run(weights, "--start", "70", "--out", str(file))
    assert found.exit_code == 0
    assert file.read_bytes().startswith(begins)
    assert "Ready about" in found.stdout
    assert "Wrote" in found.stderr


def test_a_picture_is_not_overwritten_unasked(weights: str, tmp_path: Path) -> None:
    file = tmp_path / "d.svg"
    file.write_text("mine")
    assert isinstance(run(weights, "--out", str(file)).exception, OutputError)
    assert file.read_text() == "mine"
    assert run(weights, "--out", str(file), "--replace").exit_code == 0
    assert file.read_text() != "mine"


def test_another_kind_of_picture_is_a_wrong_command(weights: str, tmp_path: Path) -> None:
    assert run(weights, "--out", str(tmp_path / "d.gif")).exit_code == 2
    assert not (tmp_path / "d.gif").exists()
