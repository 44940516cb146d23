"""Overrules what was measured: a person's changes to a face, each recorded as set by a person."""

from __future__ import annotations

import difflib
import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from photonest import __version__
from photonest.face_warnings import face_warnings
from photonest.model import (
    Attempt,
    Crack,
    CrackKind,
    Defect,
    DefectKind,
    Face,
    MarksError,
    Outline,
    Pith,
    Point,
    Points,
    Scale,
)
from photonest.model.values import FieldError
from photonest.rectify import shifted
from photonest.scale.uncertainty import diameter_error_pct, rim_error_mm
from photonest.sizes import centroid, measure_size


@dataclass(frozen=True)
class NewCrack:
    """A crack that a person adds."""

    path: Points
    width: float = 0.5
    depth: float | None = None


@dataclass(frozen=True)
class NewDefect:
    """A knot, hole, bark inclusion or decayed area that a person adds."""

    kind: DefectKind
    outline: Points
    depth: float | None = None


@dataclass(frozen=True)
class Changes:
    """What a person changes on a face; positions in mm of the face's frame.

    Attributes
    ----------
    outline : points or None
        Replaces the outline; bark is then not told apart. Its centroid becomes the origin only once all is changed:
        every position of one call is in the frame as it was before.
    pith : (x, y) or None
        Where the pith really is.
    pith_error : float
        How exactly it was set, in mm.
    added : tuple of NewCrack
    added_defects : tuple of NewDefect
    dismissed, restored : tuple of str
        Ids of cracks and defects that are none, or are after all.
    depths : mapping
        Probed depth by id of the crack or defect, in mm.
    ends : mapping
        New end by id of the crack: the end nearer to it moves there.
    """

    outline: Points | None = None
    pith: Point | None = None
    pith_error: float = 1.0
    added: tuple[NewCrack, ...] = ()
    added_defects: tuple[NewDefect, ...] = ()
    dismissed: tuple[str, ...] = ()
    restored: tuple[str, ...] = ()
    depths: Mapping[str, float] = field(default_factory=dict)
    ends: Mapping[str, Point] = field(default_factory=dict)


def adjusted(face: Face, changes: Changes) -> Face:
    """Return the face with a person's changes, measures and warnings worked out anew.

    Raises
    ------
    MarksError
        If a change names a crack that isn't there, or puts something outside the wood.
    """
    _check_ids(face, changes)
    if both := sorted(set(changes.dismissed) & set(changes.restored)):
        raise MarksError(f"{', '.join(both)} can't be dismissed and restored at once.", "Give one of the two.")
    whole = _whole(face.outline.points if changes.outline is None else changes.outline)
    try:
        pith = face.pith if changes.pith is None else _new_pith(whole, changes)
        cracks = [_changed_crack(crack, changes) for crack in face.cracks]
        defects = [_changed_defect(defect, changes) for defect in face.defects]
        cracks += [_new_crack(new, pith) for new in changes.added]
        defects += [_new_defect(new) for new in changes.added_defects]
    except FieldError as error:
        raise MarksError(f"The change can't be made: {error}.") from error
    _check_inside(whole, cracks, defects)
    kept_cracks, kept_defects = _numbered(face, cracks, defects)
    changed = replace(
        face,
        pith=pith,
        cracks=kept_cracks,
        defects=kept_defects,
        provenance=(*face.provenance, *_records(changes)),
    )
    changed = _with_outline(changed, changes.outline)
    size = measure_size(changed.outline, changed.pith, changed.cracks, changed.defects)
    changed = replace(changed, size=size)
    return replace(changed, warnings=face_warnings(changed))


def _check_ids(face: Face, changes: Changes) -> None:
    cracks = [crack.id for crack in face.cracks]
    known = [*cracks, *(defect.id for defect in face.defects)]
    for asked, ids in (
        (changes.dismissed, known),
        (changes.restored, known),
        (changes.depths, known),
        (changes.ends, cracks),
    ):
        for name in asked:
            if name not in ids:
                near = difflib.get_close_matches(name, ids, n=1)
                hint = f"Did you mean {near[0]}?" if near else f"There are: {', '.join(ids) or 'none'}."
                raise MarksError(
                    f"This face has no crack {name}." if ids is cracks else f"This face has no crack or defect {name}.",
                    hint,
                )


def _whole(points: Points) -> Any:
    """Return the polygon of an outline; raise MarksError where it is none."""
    import shapely

    shape = shapely.Polygon(points) if len(points) >= 3 else None
    if shape is None or not shape.is_valid or shape.area <= 0:
        why = "it needs three points or more" if shape is None else shapely.is_valid_reason(shape)
        raise MarksError(f"The outline given is not a simple polygon: {why}.", "Give its points in order, once around.")
    return shape


def _with_outline(face: Face, points: Points | None) -> Face:
    """Return the face with another outline; its centroid becomes the origin, and everything else moves along."""
    if points is None:
        return face
    import shapely

    dx, dy = (-value for value in centroid(points))

    def moved(line: Points) -> Points:
        return tuple((x + dx, y + dy) for x, y in line)

    pith = face.pith
    if pith is not None:
        inside = bool(shapely.Polygon(points).covers(shapely.Point(pith.point)))
        pith = replace(pith, point=moved((pith.point,))[0], inside=inside)
    return replace(
        face,
        outline=Outline(moved(points), None, 1.0, set_by="person"),
        scale=_scale_about(shifted(face.scale, dx, dy), moved(points)),
        pith=pith,
        cracks=tuple(replace(crack, path=moved(crack.path)) for crack in face.cracks),
        defects=tuple(replace(defect, outline=moved(defect.outline)) for defect in face.defects),
    )


def _scale_about(scale: Scale, points: Points) -> Scale:
    """Return the scale with its standard errors for another outline: they grow with how far it reaches."""
    error, at_rim = diameter_error_pct(scale, points), rim_error_mm(scale, points)
    return replace(scale, standard_error_pct=error, rim_error_mm=at_rim)


def _new_pith(whole: Any, changes: Changes) -> Pith:
    import shapely

    assert changes.pith is not None
    point = shapely.Point(changes.pith)
    if whole.distance(point) > 5 * math.sqrt(whole.area):
        raise MarksError(f"A pith at {changes.pith} lies far outside the piece.", "Positions are mm from its middle.")
    return Pith(changes.pith, changes.pith_error, inside=bool(whole.covers(point)), set_by="person")


def _changed_crack(crack: Crack, changes: Changes) -> Crack:
    if crack.id in changes.dismissed:
        crack = replace(crack, status="dismissed", set_by="person")
    if crack.id in changes.restored:
        crack = replace(crack, status="added", set_by="person")
    if crack.id in changes.depths:
        crack = replace(crack, depth=changes.depths[crack.id], set_by="person")
    if crack.id in changes.ends:
        path = with_end(crack.path, end := changes.ends[crack.id])
        widths = _widths_to(crack, path, end)
        crack = replace(crack, path=path, length=_length(path), widths=widths, set_by="person")
    return crack


def _widths_to(crack: Crack, path: Points, end: Point) -> tuple[float, ...]:
    """Return the openings of a crack with an end moved: up to there as wide as it is anywhere, and not as unseen.

    What opens nowhere is taken for a margin beyond the seen end, which the other end still has.
    """
    if len(crack.widths) != len(crack.path):
        return ()
    first, kept = path[0] == end, len(path) - 1
    widths = crack.widths[-kept:] if first else crack.widths[:kept][::-1]
    seen = next((place for place, width in enumerate(widths) if width > 0), kept)
    found = (*(crack.width,) * (seen + 1), *widths[seen:])
    return found if first else found[::-1]


def _changed_defect(defect: Defect, changes: Changes) -> Defect:
    if defect.id in changes.dismissed:
        defect = replace(defect, status="dismissed", set_by="person")
    if defect.id in changes.restored:
        defect = replace(defect, status="added", set_by="person")
    if defect.id in changes.depths:
        defect = replace(defect, depth=changes.depths[defect.id], set_by="person")
    return defect


def _new_crack(new: NewCrack, pith: Pith | None) -> Crack:
    if len(new.path) >= 2 and _length(new.path) == 0:
        raise MarksError(f"The crack at {list(new.path[0])} has no length.", "Give the points it runs through.")
    return Crack(
        id="new",
        path=new.path,
        width=new.width,
        length=_length(new.path),
        kind=crack_kind(new.path, pith),
        confidence=1.0,
        status="added",
        depth=new.depth,
        standard_error=0.5,
        set_by="person",
    )


def _new_defect(new: NewDefect) -> Defect:
    import shapely

    shape = shapely.Polygon(new.outline) if len(new.outline) >= 3 else None
    if shape is None or not shape.is_valid or shape.area <= 0:
        why = "it needs three points or more" if shape is None else shapely.is_valid_reason(shape)
        raise MarksError(
            f"The outline of the {new.kind} is not a simple polygon: {why}.", "Give its points in order, once around."
        )
    return Defect("new", new.kind, new.outline, 1.0, "added", new.depth, standard_error=0.5, set_by="person")


def _length(path: Points) -> float:
    return float(sum(math.dist(a, b) for a, b in itertools.pairwise(path)))


def crack_kind(path: Points, pith: Pith | None) -> CrackKind:
    """Return the kind of a crack by how it runs about the pith.

    >>> crack_kind(((10.0, 0.0), (40.0, 2.0)), Pith((0.0, 0.0), 0.5))
    'radial'
    """
    if pith is None:
        return "other"
    points = np.asarray(path) - np.asarray(pith.point)
    radii = np.hypot(*points.T)
    if radii.min() <= max(2.0, 2 * pith.standard_error):
        return "heart"
    along = abs(radii[-1] - radii[0]) / max(_length(path), 1e-9)
    if along > 0.7:
        return "radial"
    return "ring" if np.ptp(radii) < 0.3 * _length(path) else "other"


def with_end(path: Points, end: Point) -> Points:
    """Return the path with the end nearer to a point moved there: cut back where it passes the point, else extended.

    >>> with_end(((0.0, 0.0), (10.0, 0.0)), (7.0, 0.0))
    ((0.0, 0.0), (7.0, 0.0))
    >>> with_end(((0.0, 0.0), (10.0, 0.0)), (-3.0, 1.0))
    ((-3.0, 1.0), (0.0, 0.0), (10.0, 0.0))
    """
    import shapely
    from shapely.ops import substring

    flip = math.dist(path[0], end) < math.dist(path[-1], end)
    line = shapely.LineString(path[::-1] if flip else path)
    at = line.project(shapely.Point(end))
    kept_part = line if at >= line.length - 1e-9 else substring(line, 0.0, at)
    points = [*kept_part.coords[: None if kept_part is line else -1], end]
    if len(points) < 2:
        raise MarksError("The new end leaves nothing of the crack.", "Dismiss it instead.")
    kept = tuple((float(x), float(y)) for x, y in points)
    return kept[::-1] if flip else kept


def _check_inside(whole: Any, cracks: list[Crack], defects: list[Defect]) -> None:
    """Raise MarksError where what a person set leaves the wood; what is dismissed may lie beyond a drawn outline."""
    import shapely

    near = whole.buffer(0.02 * math.sqrt(whole.area))
    for crack in cracks:
        if _asserted(crack) and not near.covers(shapely.LineString(crack.path)):
            raise MarksError(
                f"The crack {list(crack.path[0])} to {list(crack.path[-1])} leaves the wood.",
                "Positions are mm from the middle of the face, x to the right and y down.",
            )
    for defect in defects:
        if _asserted(defect) and not near.covers(shapely.Polygon(defect.outline)):
            raise MarksError(
                f"The {defect.kind} about {list(defect.outline[0])} leaves the wood.",
                "Positions are mm from the middle of the face, x to the right and y down.",
            )


def _asserted(mark: Crack | Defect) -> bool:
    return mark.set_by == "person" and mark.status != "dismissed"


def _numbered(face: Face, cracks: list[Crack], defects: list[Defect]) -> tuple[tuple[Crack, ...], tuple[Defect, ...]]:
    """Keep the ids people have seen; number new marks after them."""

    def numbers(letter: str, ids: list[str]) -> Iterator[str]:
        highest = max((int(name[1:]) for name in ids if name[1:].isdigit()), default=0)
        return (f"{letter}{number}" for number in itertools.count(highest + 1))

    crack_ids = numbers("c", [crack.id for crack in face.cracks])
    defect_ids = numbers("d", [defect.id for defect in face.defects])
    return (
        tuple(replace(crack, id=next(crack_ids)) if crack.id == "new" else crack for crack in cracks),
        tuple(replace(defect, id=next(defect_ids)) if defect.id == "new" else defect for defect in defects),
    )


def _records(changes: Changes) -> list[Attempt]:
    def record(stage: str, what: str) -> Attempt:
        return Attempt(stage, "by-hand", __version__, "built in", "found", what)

    records = []
    if changes.outline is not None:
        records.append(record("outline", "outline replaced by a person"))
    if changes.pith is not None:
        records.append(record("pith", "pith set by a person"))
    records += [record("cracks", f"{name} dismissed by a person") for name in changes.dismissed]
    records += [record("cracks", f"{name} restored by a person") for name in changes.restored]
    records += [record("cracks", f"depth of {name} probed by a person") for name in changes.depths]
    records += [record("cracks", f"end of {name} moved by a person") for name in changes.ends]
    records += [record("cracks", "crack added by a person") for _ in changes.added]
    records += [record("cracks", f"{new.kind} added by a person") for new in changes.added_defects]
    return records
