"""The stages in order: from a photo to a measured face, with the record of every finder asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from photonest.asking import Answer, Choices, all_answers, check_choices, first_answer
from photonest.face_warnings import face_warnings
from photonest.fitness import fitness
from photonest.gates import (
    checked_marks,
    checked_outline,
    checked_pith,
    checked_scale,
    doubted,
    merge_marks,
    moved_outline,
)
from photonest.hidden import drawn_across, led_beneath, sheets_beneath, unsure_beneath
from photonest.marks import HandMarks
from photonest.model import (
    Crack,
    Face,
    FlatPhoto,
    NotFound,
    Outline,
    OutlineError,
    Photo,
    PhotoFacts,
    Pith,
    Point,
    Scale,
    ScaleError,
)
from photonest.rectify import flatten, jacobian, shifted, upright
from photonest.registry import Registry
from photonest.scale.advice import advice, height_note
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.height import READING_MM, below_the_piece, face_above, laid_by_eye
from photonest.scale.known_diameter import KnownDiameter, by_outline
from photonest.scale.uncertainty import diameter_error_pct, rim_error_mm
from photonest.sizes import centroid, measure_size
from photonest.spec import Stage


def measure(
    photo: Photo,
    registry: Registry,
    choices: Choices | None = None,
    marks: HandMarks | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Face:
    """Return the face in a photo.

    Parameters
    ----------
    photo : Photo
    registry : Registry
        Where the finders come from.
    choices : Choices, optional
    marks : HandMarks, optional
        What a person set on this photo before: it comes ahead of what the finders see.
    progress : callable
        Told the name of each stage as it begins.

    Raises
    ------
    ScaleError, OutlineError
        If nothing answers: there is no face without them.
    PithError, CrackError, PluginError
        If the finder asked for by name does not answer, or breaks its contract.
    """
    choices, marks = choices or Choices(), marks or HandMarks()
    check_choices(registry, choices)
    aim = choices.at_px or ((photo.width - 1) / 2, (photo.height - 1) / 2)
    if not (0 <= aim[0] < photo.width and 0 <= aim[1] < photo.height):
        raise OutlineError(
            f"The point {aim[0]:g},{aim[1]:g} lies outside the photo ({photo.width} x {photo.height}).",
            "Give --at X,Y in pixels of the photo.",
        )
    progress("scale")
    scaled = _scale(registry, choices, photo, aim)
    scale: Scale = scaled.value
    level = choices.face_above_mm is None
    if sheets := sheets_beneath(photo, scale, aim):
        lying = tuple(one for one in scale.references_px if one not in sheets)
        scale = replace(below_the_piece(scale) if level else scale, references_px=lying)
        level = False

    progress("outline")
    outlined, flat = _outlined(registry, _with_marks(choices, marks, "outline", scale), photo, scale, aim)
    if scale.kind == KnownDiameter.name and not outlined.value.cut_by_frame:
        options = registry.named("scale", scale.kind).options(choices.settings.get(("scale", scale.kind), {}))
        scale = by_outline(scale, options, outlined.value.points, outlined.value.standard_error)
        outlined, flat = _outlined(registry, _with_marks(choices, marks, "outline", scale), photo, scale, aim)
    scale = _advised(photo, scale, level)  # of calipers the outline tells how sure they are
    dx, dy = (-value for value in centroid(outlined.value.points))
    scale, flat = shifted(scale, dx, dy), flat.shifted(dx, dy)
    outline = doubted(moved_outline(outlined.value, dx, dy))
    unfit = fitness(flat, outline.points)
    error = diameter_error_pct(scale, outline.points)
    at_rim = rim_error_mm(scale, outline.points)
    scale = replace(scale, standard_error_pct=error, rim_error_mm=at_rim, warnings=(*scale.warnings, *unfit))
    flat = replace(flat, standard_error_pct=scale.standard_error_pct)

    progress("pith")
    choices = _with_marks(choices, marks, "pith", scale)
    pithed = first_answer(registry, "pith", choices, (flat, outline), lambda found: checked_pith(found, outline))
    pith: Pith | None = pithed.value and unsure_beneath(pithed.value, flat.references)

    progress("cracks")
    choices = _with_marks(choices, marks, "cracks", scale)
    cracked = all_answers(
        registry, "cracks", choices, (flat, outline, pith), lambda found: checked_marks(found, outline)
    )
    found = [mark for marks in cracked.value for mark in marks]
    cracks, defects = merge_marks(
        [led_beneath(m, outline, flat.references) if isinstance(m, Crack) else m for m in found]
    )

    face = Face(
        photo=PhotoFacts(photo.file, photo.sha256, photo.width, photo.height),
        scale=replace(scale, mm_per_px=_mm_per_px(scale)),
        outline=outline,
        pith=pith,
        cracks=cracks,
        defects=defects,
        size=measure_size(outline, pith, cracks, defects),
        provenance=(*scaled.attempts, *outlined.attempts, *pithed.attempts, *cracked.attempts),
    )
    return replace(face, warnings=face_warnings(face))


def _outlined(registry: Registry, choices: Choices, photo: Photo, scale: Scale, aim: Point) -> tuple[Answer, FlatPhoto]:
    """Return the outline of the piece at the aim, and the photo made flat in which it was found."""
    flat = flatten(photo, scale, aim)

    def check(found: Any) -> Outline:
        return drawn_across(checked_outline(found, flat), flat.references)

    return first_answer(registry, "outline", choices, (flat,), check), flat


def _scale(registry: Registry, choices: Choices, photo: Photo, aim: Point) -> Answer:
    """Ask for the scale: what a person says stands alone, else every reference in sight counts."""

    def check(found: Any) -> Scale:
        return _at_the_face(checked_scale(found, photo, aim), choices.face_above_mm, aim)

    asked = all_answers(registry, "scale", choices, (photo,), check, alone="by-hand")
    scales: list[Scale] = asked.value
    one = scales[0]
    if len(scales) > 1:
        one = combined(scales, middle_of_photo(photo.width, photo.height))
    if choices.scale == "auto":
        one = upright(one, aim)
    return Answer(one, asked.attempts)


def _advised(photo: Photo, scale: Scale, level: bool) -> Scale:
    """Return the scale with what makes it poor and how to retake the photo, and what an unknown height would do."""
    note = height_note(scale) if level else ""
    return replace(scale, warnings=(*scale.warnings, *advice(photo, scale)), notes=(note,) if note else ())


def _at_the_face(scale: Scale, above_mm: float | None, aim: Point) -> Scale:
    """Return a reference's scale in the plane of the face; sizes given by hand hold there already."""
    if scale.kind in ("by-hand", "two-points", "known-diameter"):
        return scale
    if above_mm is None:
        return laid_by_eye(scale, aim)
    moved = face_above(scale, above_mm, READING_MM if above_mm else 0.0)
    if isinstance(moved, NotFound):
        raise ScaleError(f"{moved.reason[0].upper()}{moved.reason[1:]}.", moved.hint)
    return moved


def _with_marks(choices: Choices, marks: HandMarks, stage: Stage, scale: Scale) -> Choices:
    by_hand = (stage, "by-hand")
    settings = {**marks.settings(stage, scale), **choices.settings.get(by_hand, {})}
    return replace(choices, settings={**choices.settings, by_hand: settings}) if settings else choices


def _mm_per_px(scale: Scale) -> float:
    """Size of a pixel of the photo at the middle of the face."""
    middle = np.linalg.inv(np.asarray(scale.px_to_mm)) @ [0.0, 0.0, 1.0]
    derivative = jacobian(scale.px_to_mm, (middle[0] / middle[2], middle[1] / middle[2]))
    return float(math.sqrt(abs(np.linalg.det(derivative))))
