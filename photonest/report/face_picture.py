"""The picture of a measured face: what was found, over the photo, with the figures below it."""

from __future__ import annotations

import bisect
from collections.abc import Sequence

from photonest.model import Face, Photo
from photonest.report import style
from photonest.report.findings import (
    CRACK_STROKES,
    by_length,
    draw_circles,
    draw_defects,
    draw_edges,
    draw_pith,
    points_to_show,
)
from photonest.report.ground import photo_ground
from photonest.report.marks import chip_size, draw_chip, draw_labels, scale_bar
from photonest.report.page import Box, Format, Page, line_height, save, text_width, wrapped
from photonest.report.words import all_warnings, crack_words, length, twice_error

WIDTH = 200.0
EDGE = 6.0
TALLEST = 1000.0
MOST_CRACKS = 9


def face_picture(photo: Photo, face: Face, *, format: Format = "png") -> bytes:
    """Return a picture of what was found on the face, as a file.

    Parameters
    ----------
    photo : Photo
        The photo that the face was measured in.
    face : Face
        What was found.
    format : {"png", "svg", "pdf"}
        Kind of file.

    Raises
    ------
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    with style.drawing_settings():
        page = Page(WIDTH, TALLEST)
        y = draw_title(page, "The face", face.photo.file)
        y = draw_warnings(page, all_warnings(face), y)
        y = _draw_photo(page, photo, face, y)
        y = _draw_key(page, face, y + 2)
        y = max(_draw_sizes(page, face, y + 1), _draw_cracks(page, face, y + 1))
        page.trim(y + 4)
        return save(page, format)


def draw_title(page: Page, title: str, detail: str) -> float:
    """Write the heading of a picture; return where what follows may start."""
    y = EDGE + line_height(style.TITLE)
    page.text(EDGE, y - 2.5, title, size=style.TITLE, bold=True)
    room = page.width - 3 * EDGE - text_width(title, style.TITLE, bold=True)
    page.text(
        page.width - EDGE,
        y - 2.5,
        shortened(detail, room, style.SMALL),
        size=style.SMALL,
        colour=style.QUIET,
        across="right",
    )
    page.line([(EDGE, y), (page.width - EDGE, y)], style.RULE)
    return y + 2


def draw_warnings(page: Page, warnings: Sequence[str], y: float, size: float = style.BODY) -> float:
    """Write warnings on a dark plate, nothing where there are none; return where what follows may start."""
    if not warnings:
        return y
    width = page.width - 2 * EDGE - 16
    lines = [line for text in warnings for line in wrapped(text, width, size, bold=True)]
    height = len(lines) * line_height(size) + 3.5 + 1.5 * (len(warnings) - 1)
    page.rectangle(Box(EDGE, y, page.width - 2 * EDGE, height), style.Fill(style.INK))
    _draw_alert(page, EDGE + 6.5, y + 7)
    at = y + 1.5
    for text in warnings:
        at = page.paragraph(EDGE + 13, at, text, width, size=size, bold=True, colour=style.PAPER) + 1.5
    return y + height + 2


def shortened(words: str, width: float, size: float) -> str:
    """Return a text that is no wider than `width` mm, cut at its end if it must be."""
    if text_width(words, size) <= width:
        return words
    fits = bisect.bisect(range(len(words)), width, key=lambda n: text_width(words[:n] + "…", size))
    return words[: fits - 1] + "…"


def _draw_alert(page: Page, x: float, y: float) -> None:
    """Draw an upright triangle with an exclamation mark."""
    page.area([(x, y - 4), (x + 4.6, y + 4), (x - 4.6, y + 4)], style.Fill(style.YELLOW))
    page.text(x, y + 3, "!", size=15, bold=True, across="center")


def _draw_photo(page: Page, photo: Photo, face: Face, y: float) -> float:
    ground = photo_ground(photo, face, Box(EDGE, y, page.width - 2 * EDGE, page.width - 2 * EDGE))
    up = ground.frame.top - y
    if up > 0.01:
        ground = photo_ground(photo, face, Box(EDGE, y, page.width - 2 * EDGE, ground.frame.height))
    ground.lay(page, face.outline.points)
    draw_edges(page, ground, face)
    circles = draw_circles(page, ground, face)
    cracks = draw_defects(page, ground, face)
    pith = draw_pith(page, ground, face)
    bar = scale_bar(page, ground, face.scale.standard_error_pct)
    draw_labels(page, [*pith, *cracks, *circles], ground.frame.grown(-1), points_to_show(ground, face), [bar])
    return ground.frame.bottom


def _draw_key(page: Page, face: Face, y: float) -> float:
    """Draw a sample of each line that is used, with its name."""
    standing = {crack.status for crack in face.cracks}
    samples = [(style.BARK_EDGE, "edge with bark" if face.outline.under_bark else "edge")]
    if face.outline.under_bark:
        samples.append((style.WOOD_EDGE, "edge of the wood"))
    if standing & {"seen", "added"}:
        samples.append((style.CRACK, "crack"))
    if "possible" in standing:
        samples.append((CRACK_STROKES["possible"], "possible crack"))
    if face.size.clear_circle is not None:
        samples.append((style.CLEAR, "clear of defects"))
    samples.append((style.INSCRIBED, "largest circle"))
    if face.pith is not None:
        samples.append((style.PITH, "pith, ± ring"))
    x, row = EDGE, line_height(style.SMALL) + 1.6
    y += row
    for stroke, name in samples:
        wide = 15 + text_width(name, style.SMALL) + 5
        if x + wide > page.width - EDGE + 4:
            x, y = EDGE, y + row
        page.rectangle(Box(x, y - 4.6, 13, 5.4), style.Fill("#9a8365"))
        page.line([(x + 1.5, y - 1.9), (x + 11.5, y - 1.9)], stroke)
        page.text(x + 15, y - 0.6, name, size=style.SMALL)
        x += wide
    return y + 2


def _draw_sizes(page: Page, face: Face, y: float) -> float:
    y = _heading(page, EDGE, y, "Size")
    for name, value in size_rows(face):
        y += line_height(style.BODY)
        page.text(EDGE, y - 1.5, name)
        page.text(98, y - 1.5, value, bold=True, across="right")
    y += 1
    return page.paragraph(EDGE, y, "± is twice the standard error.", 92, size=style.SMALL, colour=style.QUIET)


def size_rows(face: Face) -> list[tuple[str, str]]:
    """Return the measures of a face as names and values."""
    size, edge = face.size, face.outline.standard_error

    def across(value: float) -> str:
        return length(value, twice_error(face, value, edge, edge))

    bark = face.outline.under_bark is not None
    rows = [
        ("mean Ø" + (" under bark" if bark else ""), across(size.mean_diameter)),
        ("largest Ø", across(size.max_diameter)),
        ("smallest Ø", across(size.min_diameter)),
        ("largest circle Ø", f"{2 * size.inscribed_circle.radius:.0f} mm"),
    ]
    clear = size.clear_circle
    rows.append(("clear circle Ø", f"{2 * clear.radius:.0f} mm" if clear is not None else "none"))
    if face.pith is None or size.pith_offset is None:
        rows.append(("pith", "not found"))
    else:
        rows.append(
            ("pith off centre", length(size.pith_offset, twice_error(face, size.pith_offset, face.pith.standard_error)))
        )
    if size.eccentricity_pct is not None:
        rows.append(("eccentricity", f"{size.eccentricity_pct:.1f} %"))
    rows.append(("ovality", f"{size.ovality_pct:.1f} %"))
    return rows


def _draw_cracks(page: Page, face: Face, y: float) -> float:
    left, width = 106.0, page.width - EDGE - 106.0
    top = y = _heading(page, left, y, "Cracks")
    page.text(page.width - EDGE, top - 2, "length × width", size=style.SMALL, colour=style.QUIET, across="right")
    cracks = [crack for crack in by_length(face) if crack.status != "dismissed"]
    if not cracks:
        return page.paragraph(left, y, "None seen. A photo shows only the surface: look at the wood itself.", width)
    for crack in cracks[:MOST_CRACKS]:
        wide, high = chip_size(crack.id)
        draw_chip(page, Box(left, y + 0.8, wide, high), crack.id, dark=crack.status != "possible")
        y = (
            page.paragraph(
                left + max(wide, 9) + 2, y + 0.4, crack_words(crack), width - max(wide, 9) - 2, size=style.SMALL + 1
            )
            + 1.4
        )
    rest = len(cracks) - MOST_CRACKS
    if rest > 0:
        y = page.paragraph(left, y, f"and {rest} shorter ones", width, size=style.SMALL + 1, colour=style.QUIET)
    return y


def _heading(page: Page, x: float, y: float, words: str) -> float:
    y += line_height(style.HEADING)
    page.text(x, y - 1.5, words, size=style.HEADING, bold=True)
    return y + 0.5
