"""How the drawings look: colours, lines and type sizes.

The colours are the eight of Okabe and Ito ("Color Universal Design", 2008), told apart by the colour-blind. None is
relied on alone: every kind of line also has its own dash or a name beside it, so that a grey print says the same, and
every line over a photo has a casing of the opposite lightness, so that it shows on pale sapwood and on dark heartwood.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

INK = "#16181a"
PAPER = "#ffffff"
SHADE = "#eceae4"
QUIET = "#55585c"
SKY, BLUE, GREEN = "#56B4E9", "#0072B2", "#009E73"
YELLOW, ORANGE, VERMILLION, PURPLE = "#F0E442", "#E69F00", "#D55E00", "#CC79A7"

TITLE, HEADING, BODY, SMALL = 21.0, 16.0, 14.0, 11.5


@dataclass(frozen=True)
class Stroke:
    """A line: colour, width and dashes in points, and the casing that sets it off from what lies below."""

    colour: str
    width: float
    dash: tuple[float, ...] = ()
    casing: str | None = None
    casing_width: float = 1.4
    alpha: float = 1.0


@dataclass(frozen=True)
class Fill:
    """An area: colour, how much it covers, and the hatching that tells it apart in a grey print."""

    colour: str
    alpha: float = 1.0
    hatch: str = ""
    edge: str = INK
    edge_width: float = 0.0


BARK_EDGE = Stroke(PAPER, 1.8, casing=INK)
WOOD_EDGE = Stroke(SKY, 1.8, dash=(7, 3), casing=INK)
CRACK = Stroke(YELLOW, 2.2, casing=INK)
POSSIBLE = Stroke(YELLOW, 1.5, dash=(3, 2.5), casing=INK, casing_width=0.9, alpha=0.8)
DISMISSED = Stroke(PAPER, 1.0, dash=(1, 3), casing=INK, casing_width=0.5, alpha=0.7)
PITH = Stroke(VERMILLION, 2.4, casing=PAPER)
OFFSET = Stroke(VERMILLION, 1.8, casing=PAPER, casing_width=1.2)
CENTRE = Stroke(INK, 1.8, casing=PAPER)
INSCRIBED = Stroke(PAPER, 1.3, dash=(1, 2.5), casing=INK, casing_width=0.9)
CLEAR = Stroke(GREEN, 2.6, dash=(12, 3), casing=INK)
AXIS_LINE = Stroke(INK, 0.9, dash=(10, 2.5, 2, 2.5))
HAIRLINE = Stroke(INK, 0.6)
RULE = Stroke(INK, 1.4)
DEFECT = Fill(PURPLE, 0.45, "xxx", INK, 1.4)
DOUBTFUL = Fill(PURPLE, 0.18, "", INK, 0.0)
DEFECT_EDGE = Stroke(PURPLE, 2.0, casing=INK)
DOUBTFUL_EDGE = Stroke(PURPLE, 1.5, dash=(3, 2.5), casing=INK, casing_width=0.9)

BOWLS = (  # pale, so that a home printer and a dusty page can carry them
    Fill(BLUE, 0.62, "", INK, 1.1),
    Fill(ORANGE, 0.62, "", INK, 1.1),
    Fill(GREEN, 0.62, "", INK, 1.1),
    Fill(SKY, 0.62, "", INK, 1.1),
    Fill(PURPLE, 0.62, "", INK, 1.1),
)


def bowl_fill(number: int) -> Fill:
    """Return the fill of a bowl's wall; numbers start at 1 and the colours repeat after five."""
    return BOWLS[(number - 1) % len(BOWLS)]


@contextlib.contextmanager
def drawing_settings() -> Iterator[None]:
    """Hold matplotlib to one font, its letters embedded, and to output that is the same every time."""
    import matplotlib

    settings = {
        "font.family": ["sans-serif"],
        "font.sans-serif": ["DejaVu Sans", "Verdana", "sans-serif"],
        "pdf.fonttype": 3,  # as TrueType (42) each file takes half a second more, to cut the font down to its letters
        "pdf.compression": 6,
        "svg.fonttype": "none",
        "svg.hashsalt": "photonest",
        "hatch.linewidth": 0.7,
        "path.simplify": False,
        "text.parse_math": False,
        "text.hinting": "none",  # letters as wide on a screen as on paper
        "axes.unicode_minus": True,
        "lines.solid_capstyle": "round",
    }
    with matplotlib.rc_context(settings):
        yield
