"""Species: the data file against the published table, the user's own file, and search."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import photonest.wood.species as module
from photonest.model import SpeciesError
from photonest.wood.species import FIGURES, find_species, load_species, search_species

# USDA Forest Products Laboratory, Wood Handbook (FPL-GTR-190, 2010), Table 4-3: radial, tangential, volumetric.
# The rows whose figures are tagged as printed; typed here apart from the data file.
TABLE_4_3 = {
    "white ash": (4.9, 7.8, 13.3),
    "American basswood": (6.6, 9.3, 15.8),
    "American beech": (5.5, 11.9, 17.2),
    "paper birch": (6.3, 8.6, 16.2),
    "yellow birch": (7.3, 9.5, 16.8),
    "black cherry": (3.7, 7.1, 11.5),
    "American elm": (4.2, 9.5, 14.6),
    "mockernut hickory": (7.7, 11.0, 17.8),
    "white oak": (5.6, 10.5, 16.3),
    "live oak": (6.6, 9.5, 14.7),
    "common persimmon": (7.9, 11.2, 19.1),
    "sweetgum": (5.3, 10.2, 15.8),
    "American sycamore": (5.0, 8.4, 14.1),
    "black walnut": (5.5, 7.8, 12.8),
    "yellow-poplar": (4.6, 8.2, 12.7),
    "Douglas-fir, coast": (4.8, 7.6, 12.4),
    "western redcedar": (2.4, 5.0, 6.8),
}


@pytest.mark.parametrize("name", TABLE_4_3)
def test_shrinkage_is_that_of_the_wood_handbook(name: str) -> None:
    species = find_species(name, load_species())
    found = tuple(species.figure(key) for key in ("radial", "tangential", "volumetric"))
    assert found == pytest.approx(TABLE_4_3[name], abs=0.05)  # the table prints tenths
    assert species.radial is not None and species.radial.source.endswith("as printed")


def test_every_figure_names_its_source() -> None:
    assert len(load_species()) == 42
    for species in load_species():
        for figure in species.figures().values():
            assert len(figure.source) > 20, species.name


def test_wood_shrinks_more_along_the_rings_than_across_them() -> None:
    # Wood Handbook chapter 4: tangential shrinkage is about twice the radial; the volume loses about their sum
    # (silver maple, 12.0 against 10.2, is farthest from it).
    for species in load_species():
        radial, tangential = species.figure("radial"), species.figure("tangential")
        assert 1.1 < tangential / radial < 3.1, species.name
        if species.volumetric is not None:
            assert species.volumetric.value == pytest.approx(radial + tangential, rel=0.2), species.name


def test_the_data_file_has_no_unused_source() -> None:
    document = tomllib.loads(Path(module.__file__).with_name("species.toml").read_text(encoding="utf-8"))
    used = {v["source"] for entry in document["species"] for v in entry.values() if isinstance(v, dict)}
    assert used == set(document["sources"])


@pytest.mark.parametrize("name", ["Sugar Maple", "hard maple", "acer SACCHARUM", "sugar-maple"])
def test_a_species_goes_by_any_of_its_names(name: str) -> None:
    assert find_species(name, load_species()).name == "sugar maple"


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("cherrry", "black cherry"), ("juglens nigra", "black walnut"), ("fagus", "American beech"), ("oak", "white oak")],
)
def test_an_unknown_name_brings_near_ones(wrong: str, right: str) -> None:
    with pytest.raises(SpeciesError, match="Did you mean") as caught:
        find_species(wrong, load_species())
    assert right in caught.value.hint


def test_a_name_like_no_other_brings_the_list() -> None:
    with pytest.raises(SpeciesError, match="lists those known"):
        find_species("xyzzy", load_species())


def test_search_finds_all_of_a_genus() -> None:
    assert [s.name for s in search_species("acer", load_species())] == [
        "bigleaf maple",
        "red maple",
        "silver maple",
        "sugar maple",
    ]


def test_the_users_own_file_adds_and_replaces(tmp_path: Path) -> None:
    own = tmp_path / "species.toml"
    own.write_text(
        '[[species]]\nname = "European pear"\nbotanical = "Pyrus communis"\nradial = 3.9\ntangential = 11\n'
        '[[species]]\nname = "black walnut"\nradial = { value = 5.2, source = "my own boards, 2024" }\n',
        encoding="utf-8",
    )
    species = load_species(own)
    assert len(species) == 43
    pear = find_species("pyrus communis", species)
    assert pear.radial is not None and (pear.radial.value, pear.radial.source) == (3.9, "the user's own figure")
    walnut = find_species("black walnut", species)
    assert walnut.radial is not None and walnut.radial.source == "my own boards, 2024"
    with pytest.raises(SpeciesError, match="black walnut has no figure for tangential"):
        walnut.figure("tangential")


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("name = ", "not a TOML file"),
        ("name = 'x'", "holds no species"),
        ("[[species]]\nradial = 4", "species 1 needs a name"),
        ("[[species]]\nname = 'x'\nradial = 40", "x: radial must be between 0 and 30, not 40"),
        ("[[species]]\nname = 'x'\nradial = 'much'", "x: radial must be a number"),
        ("[[species]]\nname = 'x'\nradiall = 4", "x: radiall is not known here"),
        ("[[species]]\nname = 'x'\nother_names = 'y'", "other_names must be a list"),
        ("[[species]]\nname = 'x'\n[[species]]\nname = 'X'", "'x' is there twice"),
        ("species = [4]", "species 1 must be a table"),
    ],
)
def test_a_wrong_file_is_explained(tmp_path: Path, text: str, problem: str) -> None:
    own = tmp_path / "own.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(SpeciesError, match=problem):
        load_species(own)


def test_a_missing_file_is_explained(tmp_path: Path) -> None:
    with pytest.raises(SpeciesError, match="can't be read"):
        load_species(tmp_path / "none.toml")


def test_every_figure_has_a_range() -> None:
    for species in load_species():
        for key, figure in species.figures().items():
            low, high = FIGURES[key]
            assert low <= figure.value <= high
