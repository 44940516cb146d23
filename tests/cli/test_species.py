"""The species commands: what they list, where figures are from, and how an unknown name is met."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import photonest.wood.species as species_module
from photonest.cli.species import app
from photonest.model import SpeciesError


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(species_module, "own_species_file", lambda: tmp_path / "settings" / "species.toml")


def run(*words: str) -> Result:
    return CliRunner().invoke(app, words)


def test_all_are_listed_on_stdout_alone() -> None:
    found = run()
    assert found.exit_code == 0
    assert len(found.stdout.splitlines()) == 43  # a heading and 42 species
    assert "black cherry" in found.stdout
    assert "show NAME" in found.stderr


def test_the_list_as_json() -> None:
    listed = json.loads(run("--json").stdout)
    walnut = next(entry for entry in listed if entry["name"] == "black walnut")
    assert walnut["tangential"]["value"] == 7.8  # Wood Handbook Table 4-3
    assert "Table 4-3" in walnut["tangential"]["source"]


def test_find_by_botanical_name() -> None:
    assert [line.split("  ")[0] for line in run("find", "quercus", "alba").stdout.splitlines()[1:]] == ["white oak"]
    assert isinstance(run("find", "xyzzy").exception, SpeciesError)


def test_show_says_how_it_moves() -> None:
    found = run("show", "hard", "maple")
    assert "7.26 %" in found.stdout  # 9.9 * 22 / 30
    assert "14.0 degrees" in found.stdout
    shown = json.loads(run("show", "hard maple", "--moisture", "30", "--json").stdout)
    assert shown["dried"]["tangential_pct"] == 0


def test_a_near_name_is_offered() -> None:
    error = run("show", "wallnut").exception
    assert isinstance(error, SpeciesError)
    assert "black walnut" in error.hint


def test_the_usual_file_of_ones_own_is_read(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    own = tmp_path / "species.toml"
    own.write_text('[[species]]\nname = "pear"\nbotanical = "Pyrus communis"\nradial = 4\ntangential = 9\n')
    monkeypatch.setattr(species_module, "own_species_file", lambda: own)
    assert "pear" in run().stdout
    assert "the user's own figure" in run("show", "pear").stdout


def test_an_option_before_the_word_it_belongs_to_is_refused() -> None:
    assert run("--json", "find", "cherry").exit_code == 2
    assert run("find", "cherry", "--json").stdout.startswith("[")
