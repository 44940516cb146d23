"""What is told of drying: sizes, weights, and a table to fill in."""

from __future__ import annotations

from dataclasses import replace

from photonest.model import Plan
from photonest.report.book import Book
from photonest.report.drying_sheet import drying_part
from photonest.report.style import drawing_settings
from tests.report import examples
from tests.report.test_setup_sheet import texts

PLAN = examples.plan()
NEST = PLAN.nests[0]


def dried() -> Plan:
    facts = {
        "species": "white ash", "moisture_pct": 8.0, "rim_diameter": 296.0, "depth": 140.0, "wall": 22.0,
        "ovality_pct": 5.61, "moves_more": {"wall": 20.6}, "green_weight_g": 3436, "dry_weight_g": 2542,
        "notes": ["A note about the wood."],
    }  # fmt: skip
    bowls = tuple(replace(bowl, after_drying=facts) for bowl in NEST.bowls)
    return replace(PLAN, nests=(replace(NEST, bowls=bowls),))


def page_of(plan: Plan) -> str:
    with drawing_settings():
        book = Book("A4", "ash.jpg")
        drying_part(book, plan, "mm")
        return " ".join(texts(book.bound("Drying")))


def test_sizes_after_drying_and_weights() -> None:
    told = page_of(dried())
    for words in ("white ash, dried to 8 % moisture", "296 mm", "22 mm", "21 mm", "5.6 %", "3436 g", "2542 g"):
        assert words in told
    assert told.count("A note about the wood.") == 1
    assert "three months" in told


def test_two_halves_of_a_log_are_told_apart() -> None:
    """Both have a bowl 1: what each becomes, and the column of its weights, stand under its half."""
    (nest,) = dried().nests
    holding = replace(nest.bowls[1], after_drying={"notes": ["It holds the pith."], "oval_along": "grain"})
    other = replace(nest, bowls=(nest.bowls[0], holding, *nest.bowls[2:]))
    told = page_of(replace(PLAN, nests=(nest, other)))
    for half in (1, 2):
        assert f"What is left round, half {half}" in told
        assert f"bowl 1, half {half}" in told
    assert "Write half, number" in told
    assert "Bowl 2, half 2: It holds the pith." in told


def test_which_way_a_rim_is_longest_is_told() -> None:
    (nest,) = dried().nests
    for by, way in ((5.0, "along the grain"), (-5.0, "across the grain")):
        facts = {**nest.bowls[0].after_drying, "oval_along": "grain", "ovality_pct": by}
        bowls = tuple(replace(bowl, after_drying=facts) for bowl in nest.bowls)
        assert f"longest {way}" in page_of(replace(PLAN, nests=(replace(nest, bowls=bowls),)))


def test_without_a_species_that_is_said_and_weights_still_asked_for() -> None:
    told = page_of(PLAN)
    assert "No wood was named" in told
    assert "bowl 3" in told
