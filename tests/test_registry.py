"""The registry: what is there, in which order, and what can't be used and why."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from photonest.model import DocumentError, PluginError
from photonest.registry import BUILT_IN, Finder, Listing, LoadFailure, Registry, load_finder, stdout_to_stderr
from photonest.spec import STAGES, Stage

FAKES = "tests.plugins.fakes"


def fake(stage: Stage, cls: str, name: str = "fake", priority: int | None = 5) -> Listing:
    return Listing(stage, name, "tests", f"{FAKES}:{cls}", priority)


def test_every_built_in_finder_loads_and_keeps_its_contract() -> None:
    registry = Registry.installed()
    for stage in STAGES:
        finders, _ = registry.load(stage)
        built_in = {finder.name for finder in finders if finder.listing.source == "built in"}
        assert built_in == set(BUILT_IN[stage])


def test_finders_load_where_there_is_no_stdout(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)  # as Python leaves it where the program was started with it closed
    with stdout_to_stderr():
        pass


def test_auto_goes_by_priority_then_name_and_never_by_order_of_installation() -> None:
    listings = [
        fake("scale", "TenthScale", priority=30),
        Listing("scale", "by-hand", "built in", f"{FAKES}:Nothing", 0),
    ]
    for order in (listings, listings[::-1]):
        finders, failures = Registry(order).load("scale")
        assert [finder.name for finder in finders] == ["fake"]
        assert [failure.listing.name for failure in failures] == ["by-hand"]


@pytest.mark.parametrize(
    ("cls", "stage", "why"),
    [
        ("WrongSignature", "outline", "does not take the 2 arguments of the outline stage"),
        ("NoVersion", "outline", "no version"),
        ("NotFrozen", "outline", "not frozen"),
        ("OtherName", "outline", "its name is 'other'"),
        ("Missing", "outline", "AttributeError"),
    ],
)
def test_breaches_of_the_contract_are_named_when_loading(cls: str, stage: Stage, why: str) -> None:
    loaded = load_finder(fake(stage, cls))
    assert isinstance(loaded, LoadFailure)
    assert why in loaded.reason


def test_a_third_party_finder_cannot_come_before_the_built_in_ones() -> None:
    loaded = load_finder(fake("outline", "SquareOutline", priority=None))
    assert isinstance(loaded, Finder)
    assert loaded.priority == 1000


def test_a_taken_name_is_refused() -> None:
    registry = Registry([fake("scale", "TenthScale"), fake("scale", "TurnedScale")])
    finders, failures = registry.load("scale")
    assert len(finders) == 1
    assert "taken" in failures[0].reason


def test_an_unknown_name_suggests_a_near_one() -> None:
    registry = Registry([fake("scale", "TenthScale")])
    with pytest.raises(PluginError, match="Did you mean fake"):
        registry.named("scale", "fakee")


def test_options_are_checked_and_near_names_suggested() -> None:
    finder = Registry([fake("outline", "SquareOutline")]).named("outline", "fake")
    assert finder.options({"half_width_mm": 3}).half_width_mm == 3.0
    with pytest.raises(PluginError, match="Did you mean half_width_mm"):
        finder.options({"half_width": 3})
    with pytest.raises(DocumentError, match="half_width_mm: must be a number"):
        finder.options({"half_width_mm": "wide"})


@pytest.fixture(scope="session")
def sample_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample package, installed as its users would, into a folder of its own."""
    source = Path(__file__).parent / "plugins" / "sample"
    copy = tmp_path_factory.mktemp("source") / "sample"
    shutil.copytree(source, copy)  # building leaves files beside the source
    site = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--no-build-isolation"]
    subprocess.run([*command, "--target", str(site), str(copy)], check=True, capture_output=True, text=True)
    return site


def run_with(site: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(site)}
    command = [sys.executable, "-m", "photonest", *arguments]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


def test_an_installed_package_is_found_and_its_broken_finder_named(sample_site: Path) -> None:
    result = run_with(sample_site, "plugins", "--json")
    assert result.returncode == 0
    rows = {(row["stage"], row["finder"]): row for row in json.loads(result.stdout)}
    assert rows["outline", "frame"]["loads"]
    assert rows["outline", "frame"]["source"] == "photonest-sample 1.2"
    assert not rows["cracks", "broken"]["loads"]
    assert "made to fail" in rows["cracks", "broken"]["problem"]
    for stage in STAGES:
        assert all(rows[stage, name]["loads"] for name in BUILT_IN[stage])


def test_the_options_of_an_installed_finder_are_shown(sample_site: Path) -> None:
    result = run_with(sample_site, "plugins", "show", "outline.frame")
    assert result.returncode == 0
    assert "inset_px = 0.0" in result.stdout
