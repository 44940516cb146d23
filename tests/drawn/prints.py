"""What is printed on the flat things of `tests.drawn.references`."""

from __future__ import annotations

from tests.drawn.ink import Artwork
from tests.drawn.measure_prints import bar_art, markers_art, sheet_art
from tests.drawn.references import Item
from tests.drawn.repeated_prints import repeated_art
from tests.drawn.ruler_prints import ruler_art
from tests.drawn.thing_prints import (
    board_art,
    book_art,
    card_art,
    heap_art,
    label_art,
    log_art,
    paper_art,
    plain_art,
    tile_art,
)


def artwork(item: Item, step: float) -> Artwork:
    """Return the item's print with pixels of about `step` mm or finer."""
    makers = {
        "marker-sheet": sheet_art,
        "marker": markers_art,
        "strip": markers_art,
        "bar": bar_art,
        "ruler": ruler_art,
        "paper": paper_art,
        "heap": heap_art,
        "stick": board_art,
        "card": card_art,
        "book": book_art,
        "tile": tile_art,
        "label": label_art,
        "board": board_art,
        "log": log_art,
        "repeated": repeated_art,
    }
    return makers.get(item.kind, plain_art)(item, step)
