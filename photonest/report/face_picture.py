"""The picture of a measured face: what was found, over the photo, with the figures below it."""

from __future__ import annotations

from collections.abc import Sequence

from photonest.model import Circle, Face, Photo
from photonest.report import style
from photonest.report.blocks import draw_title, draw_warnings, heading
from photonest.report.findings import (
    CRACK_STROKES,
    by_length,
    by_size,
    draw_circles,
    draw_defects,
    draw_edges,
    draw_offset,
    draw_pith,
    points_to_show,
)
from photonest.report.ground import photo_ground
from photonest.report.marks import chip_size, draw_chip, draw_labels, scale_bar
from photonest.report.page import Box, Format, Page, line_height, save, text_width
from photonest.report.units import Units, retold, sixteenths
from photonest.report.words import all_warnings, crack_words, defect_words, length, twice_diameter_error, twice_error

WIDTH = 200.0
TALLEST = 1000.0
MOST_LISTED = 9
LIST_LEFT = 106.0


def face_picture(photo: Photo, face: Face, *, format: Format = "png", units: Units = "mm") -> bytes:
    """Return a picture of what was found on the face, as a file.

    Parameters
    ----------
    photo : Photo
        The photo that the face was measured in.
    face : Face
        What was found.
    format : {"png", "svg", "pdf"}
        Kind of file.
    units : {"mm", "inch"}
        Millimetres, or inches in sixteenths below them.

    Raises
    ------
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    with style.drawing_settings():
        page = Page(WIDTH, TALLEST)
        y = draw_title(page, "The face", face.photo.file)
        y = draw_warnings(page, [retold(words, units) for words in all_warnings(face)], y)
        y = _draw_photo(page, photo, face, y, units)
        y = _draw_key(page, face, y + 2)
        low = _draw_cracks(page, face, y + 1, units)
        low = _draw_other_defects(page, face, low, units) if by_size(face) else low
        y = max(_draw_sizes(page, face, y + 1, units), low)
        page.trim(y + 4)
        return save(page, format)


def _draw_photo(page: Page, photo: Photo, face: Face, y: float, units: Units) -> float:
    ground = photo_ground(photo, face, Box(page.left, y, page.room, page.room))
    ground.lay(page, face.outline.points)
    draw_edges(page, ground, face)
    circles = draw_circles(page, ground, face, units)
    cracks = draw_defects(page, ground, face, units)
    offset, pith = draw_offset(page, ground, face, units), draw_pith(page, ground, face)
    bar = scale_bar(page, ground, face.scale.standard_error_pct)
    draw_labels(page, [*pith, *offset, *cracks, *circles], ground.frame.grown(-1), points_to_show(ground, face), [bar])
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
        samples.append((CRACK_STROKES["possible"], "possible crack ?"))
    defects = {defect.status for defect in face.defects}
    if defects & {"seen", "added"}:
        samples.append((style.DEFECT_EDGE, "knot, hole, bark or decay"))
    if "possible" in defects:
        samples.append((style.DOUBTFUL_EDGE, "possibly such ?"))
    if face.size.clear_circle is not None:
        samples.append((style.CLEAR, "clear of defects"))
    samples.append((style.INSCRIBED, "largest circle"))
    if face.pith is not None:
        samples.append((style.PITH, "pith, ± ring"))
    x, row = page.left, line_height(style.SMALL) + 1.6
    y += row
    for stroke, name in samples:
        wide = 15 + text_width(name, style.SMALL) + 5
        if x + wide > page.right + 4:
            x, y = page.left, y + row
        page.rectangle(Box(x, y - 4.6, 13, 5.4), style.Fill("#9a8365"))
        page.line([(x + 1.5, y - 1.9), (x + 11.5, y - 1.9)], stroke)
        page.text(x + 15, y - 0.6, name, size=style.SMALL)
        x += wide
    return y + 2


def _draw_sizes(page: Page, face: Face, y: float, units: Units) -> float:
    y = heading(page, page.left, y, "Size")
    for name, value, inches in size_rows(face):
        y += line_height(style.BODY)
        page.text(page.left, y - 1.5, name)
        page.text(98, y - 1.5, value, bold=True, across="right")
        if units == "inch" and inches is not None:
            y += line_height(style.SMALL) - 0.5
            page.text(98, y - 1.5, f"{sixteenths(inches)} in", size=style.SMALL, across="right")
    y += 1
    return page.paragraph(page.left, y, retold(error_words(face), units), 92, size=style.SMALL, colour=style.QUIET)


def error_words(face: Face) -> str:
    """Return what ± means, and what the scale's own error comes to."""
    scale, rim = face.scale, face.scale.rim_error_mm
    at_rim = "" if rim is None else f", and the far rim's place to ± {2 * rim:.1f} mm"
    return (
        f"± is twice the standard error. By the scale ({scale.kind}) alone, lengths are known to "
        f"± {2 * scale.standard_error_pct:.2g} %{at_rim}."
    )


def size_rows(face: Face) -> list[tuple[str, str, float | None]]:
    """Return the measures of a face: name, value in words, and the length in mm where it is one."""
    size, pith = face.size, face.pith

    def across(name: str, value: float) -> tuple[str, str, float | None]:
        return name, length(value, twice_diameter_error(face, value)), value

    def circle(name: str, found: Circle | None) -> tuple[str, str, float | None]:
        return (name, "none", None) if found is None else (name, length(2 * found.radius), 2 * found.radius)

    rows = [
        across("mean Ø", size.mean_diameter),
        across("largest Ø", size.max_diameter),
        across("smallest Ø", size.min_diameter),
        *([] if size.under_bark is None else [across("mean Ø under bark", size.under_bark.mean_diameter)]),
        circle("largest circle Ø", size.inscribed_circle),
        circle("clear circle Ø", size.clear_circle),
    ]
    if pith is None or size.pith_offset is None:
        rows.append(("pith", "not found", None))
    else:
        error = twice_error(face, size.pith_offset, pith.standard_error)
        rows.append(("pith off centre", length(size.pith_offset, error), size.pith_offset))
    if size.eccentricity_pct is not None:
        rows.append(("eccentricity", f"{size.eccentricity_pct:.1f} %", None))
    return [*rows, ("ovality", f"{size.ovality_pct:.1f} %", None)]


def _draw_cracks(page: Page, face: Face, y: float, units: Units) -> float:
    left, width = LIST_LEFT, page.right - LIST_LEFT
    top = y = heading(page, left, y, "Cracks")
    page.text(page.right, top - 2, "length × width", size=style.SMALL, colour=style.QUIET, across="right")
    cracks = [crack for crack in by_length(face) if crack.status != "dismissed"]
    if not cracks:
        return page.paragraph(left, y, "None seen. A photo shows only the surface: look at the wood itself.", width)
    return _draw_list(page, y, [(crack.id, crack_words(crack, units), crack.status != "possible") for crack in cracks])


def _draw_other_defects(page: Page, face: Face, y: float, units: Units) -> float:
    y = heading(page, LIST_LEFT, y + 2, "Other defects")
    return _draw_list(page, y, [(d.id, defect_words(d, units), d.status != "possible") for d in by_size(face)])


def _draw_list(page: Page, y: float, items: Sequence[tuple[str, str, bool]]) -> float:
    """Draw marks with their name, words, and whether they are sure; only so many, and how many more there are."""
    for name, words, sure in items[:MOST_LISTED]:
        wide, high = chip_size(name)
        draw_chip(page, Box(LIST_LEFT, y + 0.8, wide, high), name, dark=sure)
        beside = max(wide, 9) + 2
        y = page.paragraph(LIST_LEFT + beside, y + 0.4, words, page.right - LIST_LEFT - beside, size=style.SMALL + 1)
        y += 1.4
    rest = len(items) - MOST_LISTED
    if rest > 0:
        width = page.right - LIST_LEFT
        y = page.paragraph(LIST_LEFT, y, f"and {rest} more", width, size=style.SMALL + 1, colour=style.QUIET)
    return y
