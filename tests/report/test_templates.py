"""Templates are true to 0.1 mm: measured back from the PDF as pdfium shows it, and from the SVG."""

from __future__ import annotations

import functools
import io
from dataclasses import replace

import numpy as np
import pypdf
import pytest

from photonest.model import UnsafePlanError
from photonest.report import templates
from photonest.report.book import PAPERS, Paper
from photonest.report.marking import rip_line
from photonest.report.page import Box, Page
from photonest.report.style import drawing_settings
from photonest.report.templates import face_drawing
from photonest.report.tiles import CHECK, HEAD, MARGIN, OVERLAP, SIDE, as_pdf, as_svg, corner_of, grid, sheets
from tests.report import examples
from tests.report.measuring import across, circle_through, rendered, svg_lines
from tests.report.test_plan_picture import lying

FACE, PLAN = examples.blank_face(), examples.plan()
NEST = PLAN.nests[0]
TRUE = 0.1  # mm: what a template promises
LEFT, TOP = MARGIN + SIDE, MARGIN + HEAD


@functools.cache
def files() -> dict[str, bytes]:
    return templates(FACE, PLAN)


@functools.cache
def face_pdf(paper: Paper) -> bytes:
    if paper == "A4":
        return files()["template-face.pdf"]
    with drawing_settings():
        return as_pdf(face_drawing(FACE, PLAN, "mm"), paper)


def frame_of(paper: Paper) -> Box:
    width, height = PAPERS[paper]
    return Box(LEFT, TOP, width - LEFT - MARGIN, height - TOP - MARGIN)


def test_there_is_one_for_the_face_every_cut_and_what_is_turned_by_hand() -> None:
    names = {"template-face", "template-outside", "template-cut-1", "template-cut-2", "template-inside"}
    assert set(files()) == {f"{name}.{kind}" for name in names for kind in ("pdf", "svg")}


@pytest.mark.parametrize("paper, width, height", [("A4", 210.0, 297.0), ("Letter", 8.5 * 25.4, 11 * 25.4)])
def test_pages_are_the_papers_size(paper: Paper, width: float, height: float) -> None:
    """ISO 216 for A4; US Letter is 8.5 by 11 inches (ANSI/ASME Y14.1, size A)."""
    for page in pypdf.PdfReader(io.BytesIO(face_pdf(paper))).pages:
        assert float(page.mediabox.width) * 25.4 / 72 == pytest.approx(width, abs=0.01)
        assert float(page.mediabox.height) * 25.4 / 72 == pytest.approx(height, abs=0.01)


@pytest.mark.parametrize("name", ["template-cut-1.pdf", "template-face.pdf"])
def test_check_lines_are_100_mm_on_every_sheet(name: str) -> None:
    pdf = files()[name]
    for page in range(len(pypdf.PdfReader(io.BytesIO(pdf)).pages)):
        dark = rendered(pdf, page)
        level, upright = TOP - 5, LEFT - 5
        # Each end tick stands 1 mm off the line itself, where nothing else is dark.
        ends = [across(dark, (x - 1, level + 1), (x + 1, level + 1)) for x in (LEFT, LEFT + CHECK)]
        stops = [across(dark, (upright + 1, y - 1), (upright + 1, y + 1)) for y in (TOP, TOP + CHECK)]
        assert ends[0] is not None
        assert ends[1] is not None
        assert stops[0] is not None
        assert stops[1] is not None
        assert ends[1][0] - ends[0][0] == pytest.approx(100, abs=TRUE)
        assert stops[1][1] - stops[0][1] == pytest.approx(100, abs=TRUE)


@pytest.mark.parametrize("index", [0, 1])
def test_cut_measured_from_the_rendered_page(index: int) -> None:
    cut, bowl = NEST.cuts[index], NEST.bowls[index]
    dark = rendered(files()[f"template-cut-{cut.number}.pdf"])
    (c, h), back = cut.pivot, cut.radius + cut.kerf / 2
    axis_x, rim_y = LEFT - (min(c, 0.0) - 6), TOP - (min(h, 0.0) - 8)  # about where they should be
    axis = across(dark, (axis_x - 2, rim_y + 20), (axis_x + 2, rim_y + 20))
    rim = across(dark, (axis_x + 60, rim_y - 1.2), (axis_x + 60, rim_y + 1.2))
    assert axis is not None
    assert rim is not None
    pivot = np.array([axis_x + c, rim_y + h])
    turns = np.arctan2(-h, np.sqrt(back**2 - h**2)) + np.radians([3, 10, 20, 30, 40, 55])
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    hits = [across(dark, pivot + (back - 1.5) * way, pivot + (back + 1.5) * way) for way in ways]
    centre, radius = circle_through([hit for hit in hits if hit is not None])
    assert radius == pytest.approx(back, abs=TRUE)
    assert centre[0] - axis[0] == pytest.approx(c, abs=TRUE)
    assert centre[1] - rim[1] == pytest.approx(h, abs=TRUE)
    mark = (
        across(dark, centre + np.array([-2, 3]), centre + np.array([2, 3])),
        across(dark, centre + np.array([3, -2]), centre + np.array([3, 2])),
    )
    assert mark[0] is not None
    assert mark[1] is not None
    assert (mark[0][0], mark[1][1]) == pytest.approx(tuple(centre), abs=TRUE)
    # The wall at its thinnest, here at the rim: from the back edge to the dashed outside.
    rim_radius = bowl.rim_diameter / 2
    wall = [
        across(dark, (axis[0] + rho - 1, rim[1] + 0.8), (axis[0] + rho + 1, rim[1] + 0.8))
        for rho in (rim_radius, c + np.sqrt(back**2 - (0.8 - h) ** 2))
    ]
    assert wall[0] is not None
    assert wall[1] is not None
    # 0.8 mm below the rim plane the outside has moved in by less than 0.8 x its slope there, 0.03 and 0.31.
    told = np.interp(-0.8, -np.array(bowl.outer)[::-1, 1], np.array(bowl.outer)[::-1, 0])
    assert wall[0][0] - axis[0] == pytest.approx(told, abs=TRUE)
    assert wall[1][0] - axis[0] == pytest.approx(c + np.sqrt(back**2 - (0.8 - h) ** 2), abs=TRUE)


@pytest.mark.parametrize("index", [0, 1])
def test_cut_measured_from_the_svg(index: int) -> None:
    cut = NEST.cuts[index]
    lines = svg_lines(files()[f"template-cut-{cut.number}.svg"])
    width, arc = max(lines, key=lambda line: (round(line[0], 3), len(line[1])))
    assert width == pytest.approx(0.9 * 25.4 / 72, abs=1e-3)
    centre, radius = circle_through(arc)
    assert radius == pytest.approx(cut.radius + cut.kerf / 2, abs=0.01)
    # It runs from the rim plane to the axis, so its ends tell where both lie.
    assert centre[0] - arc[-1][0] == pytest.approx(cut.pivot[0], abs=0.01)
    assert centre[1] - arc[0][1] == pytest.approx(cut.pivot[1], abs=0.01)
    checks = [points for _, points in lines if len(points) == 2]
    assert sum(abs(np.hypot(*(b - a)) - 100) < 0.01 for a, b in checks) >= 2


@pytest.mark.parametrize("name, curve", [("outside", NEST.bowls[0].outer), ("inside", NEST.bowls[-1].inner)])
def test_what_is_turned_by_hand_measured_from_the_svg(name: str, curve: tuple[tuple[float, float], ...]) -> None:
    lines = svg_lines(files()[f"template-{name}.svg"])
    drawn = max((points for width, points in lines if width > 0.9 * 25.4 / 72 - 1e-3), key=len)
    told = np.array(curve)
    # The last point lies on the axis, the first in the rim plane: measured from them nothing else is needed.
    assert drawn - [drawn[-1][0], drawn[0][1]] == pytest.approx(told - [told[-1][0], told[0][1]], abs=0.01)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_circle_on_the_face_is_the_same_on_every_sheet(paper: Paper) -> None:
    pdf, frame = face_pdf(paper), frame_of(paper)
    drawing = face_drawing(FACE, PLAN, "mm")
    rim, centre = NEST.bowls[0].rim_diameter / 2, np.array(NEST.axis.point[:2])
    places = sheets(drawing, frame)
    assert len(places) == len(pypdf.PdfReader(io.BytesIO(pdf)).pages) > 1
    everything = []
    for page, (row, column) in enumerate(places):
        dark = rendered(pdf, page)
        shift = np.array([frame.left, frame.top]) - corner_of(drawing.extent, frame, row, column)
        for turn in np.radians(np.arange(0, 360, 7.0)):
            way = np.array([np.cos(turn), np.sin(turn)])
            ends = [centre + shift + (rim + by) * way for by in (-1.5, 1.5)]
            inside = [
                ((end > [frame.left + 1, frame.top + 1]) & (end < [frame.right - 1, frame.bottom - 1])).all()
                for end in ends
            ]
            hit = across(dark, *ends) if all(inside) else None
            if hit is not None:
                everything.append(hit - shift)
    assert len(everything) > 45  # all round, and twice where sheets overlap
    assert np.hypot(*(np.array(everything) - centre).T) == pytest.approx(rim, abs=TRUE)


def test_sheets_overlap_where_their_crosses_say() -> None:
    frame, extent = frame_of("A4"), face_drawing(FACE, PLAN, "mm").extent
    columns, rows = grid(extent, frame)
    assert (columns, rows) == (2, 2)
    x0, x1 = (corner_of(extent, frame, 0, column)[0] for column in (0, 1))
    assert x0 + frame.width - OVERLAP / 2 == pytest.approx(x1 + OVERLAP / 2)
    last = corner_of(extent, frame, rows - 1, columns - 1)
    assert last[0] + frame.width >= extent.right
    assert last[1] + frame.height >= extent.bottom
    dark = [rendered(files()["template-face.pdf"], page) for page in (0, 1)]
    for y in (frame.top + 45, frame.bottom - 45):
        left = across(dark[0], (frame.right - 7, y + 2), (frame.right - 3, y + 2))
        right = across(dark[1], (frame.left + 3, y + 2), (frame.left + 7, y + 2))
        assert left is not None
        assert right is not None
        assert (left[0] - frame.left) + x0 == pytest.approx((right[0] - frame.left) + x1, abs=TRUE)


def test_sheets_say_which_joins_which() -> None:
    words = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(files()["template-face.pdf"])).pages]
    assert "sheet A1" in words[0]
    assert "join A2" in words[0]
    assert "join B1" in words[0]
    assert "Print at 100 %" in words[0]


def test_pith_and_cracks_are_on_the_face() -> None:
    with drawing_settings():
        lines = svg_lines(as_svg(face_drawing(examples.slice_face(), examples.slice_plan(), "mm")))
    cracks = [points for width, points in lines if abs(width - 1.6 * 25.4 / 72) < 1e-3]
    standing = [crack for crack in examples.slice_face().cracks if crack.status != "dismissed"]
    lengths = sorted(float(np.hypot(*np.diff(points, axis=0).T).sum()) for points in cracks)
    assert lengths == pytest.approx(sorted(crack.length for crack in standing), abs=0.01)


def test_the_circle_to_saw_round_is_the_plans_and_is_named() -> None:
    """The thick circle is the rim: sawn round that, nothing is left to turn true."""
    plan = examples.slice_plan()
    wide = replace(plan.nests[0], saw_diameter=plan.nests[0].bowls[0].rim_diameter + 25.0)
    with drawing_settings():
        svg = as_svg(face_drawing(examples.slice_face(), replace(plan, nests=(wide,)), "mm"))
    widths = [float(np.ptp(points[:, 0])) for _, points in svg_lines(svg)]
    assert min(abs(width - wide.saw_diameter) for width in widths) < 0.02
    assert f"saw round the dashed Ø {wide.saw_diameter:.1f} mm" in svg.decode()


def test_the_words_beside_a_rip_line_hide_no_crack() -> None:
    """A crack runs where they would stand first; they are drawn turned, along the line."""
    face, plan = examples.face(), lying()
    ends = rip_line(face, plan.nests[0])
    left, right = ends[np.argsort(ends[:, 0])]
    blocked = tuple(map(tuple, (left + np.linspace(0.02, 0.4, 20)[:, None] * (right - left)).tolist()))
    crack = replace(face.cracks[0], path=blocked)
    places = []
    for cracks in ((), (crack,)):
        page = Page(600, 600)
        with drawing_settings(), page.window(Box(0, 0, 600, 600), (300.0, 300.0)):
            face_drawing(replace(face, cracks=cracks), plan, "mm").draw(page)
        (text,) = [text for text in page.axes.texts if text.get_text() == "rip line, half 1"]
        places.append((np.array(text.get_position()) - 300 - left) @ (right - left) / ((right - left) @ (right - left)))
    assert places[0] == pytest.approx(0.08)
    assert places[1] > 0.4


def test_an_unsafe_plan_is_not_printed() -> None:
    thin = replace(PLAN, shop=replace(PLAN.shop, wall_min=60.0))
    with pytest.raises(UnsafePlanError, match=r"not printed.*wall"):
        templates(FACE, thin)
