"""Whether the shapes of a face can be: what finders answer and what files hold is held to the same rules."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from photonest.model.face import Crack, Defect, Face, Outline
from photonest.model.values import Points

BARK_OUTSIDE = 0.01
"""How far the edge under bark may lie outside the outline, as a share of the root of its area."""
AREA_OFF = 0.02
"""How far the area told may be from that of the outline, as a share."""
FARTHEST = 10.0
"""How far from the middle a mark may reach, in radii of the face; it would be checked and drawn all the way."""


def outline_fault(outline: Outline) -> str:
    """Return what is wrong with an outline in a few words, empty where nothing is.

    >>> outline_fault(Outline(((0, 0), (9, 9), (9, 0), (0, 9))))
    'outline is not a simple polygon (Self-intersection[4.5 4.5])'
    >>> outline_fault(Outline(((0, 0), (9, 0), (9, 9)), under_bark=((0, 0), (99, 0), (99, 99))))
    'edge under bark leaves the outline'
    """
    import shapely

    if fault := _polygon_fault(outline.points):
        return f"outline {fault}"
    if outline.under_bark is None:
        return ""
    if fault := _polygon_fault(outline.under_bark):
        return f"edge under bark {fault}"
    whole, wood = shapely.Polygon(outline.points), shapely.Polygon(outline.under_bark)
    near = whole.buffer(BARK_OUTSIDE * math.sqrt(whole.area))
    return "edge under bark leaves the outline" if wood.difference(near).area > 0.001 * wood.area else ""


def face_faults(face: Face) -> Iterator[str]:
    """Yield what in a face can't be, as a slip of the hand leaves it: a plan of such a face could leave the wood."""
    import shapely

    if fault := outline_fault(face.outline):
        yield f"the {fault}"
    else:
        told, found = face.size.area, shapely.Polygon(face.outline.points).area
        if abs(told - found) > AREA_OFF * found:
            yield f"its size tells of {told:.0f} mm2 and its outline holds {found:.0f}"
    for defect in face.defects:
        if fault := _polygon_fault(defect.outline):
            yield f"the outline of {defect.kind} {defect.id} {fault}"
    radius = max(math.hypot(x, y) for x, y in face.outline.points)
    marks: list[Crack | Defect] = [*face.cracks, *face.defects]
    for mark in marks:
        points = mark.path if isinstance(mark, Crack) else mark.outline
        if mark.status != "dismissed" and (away := max(math.hypot(x, y) for x, y in points)) > FARTHEST * radius:
            yield f"{mark.id} reaches {away:.0f} mm from the middle of a face of {radius:.0f} mm radius"
    ids = Counter([*(crack.id for crack in face.cracks), *(defect.id for defect in face.defects)])
    yield from (f"{count} cracks or defects are called {name}" for name, count in ids.items() if count > 1)


def _polygon_fault(points: Points) -> str:
    import shapely

    shape = shapely.Polygon(points)
    if shape.is_valid and shape.area > 0:
        return ""
    return f"is not a simple polygon ({shapely.is_valid_reason(shape)})"
