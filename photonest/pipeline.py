"""The stages in order: from a photo to a measured face, with the record of every finder asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

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
from photonest.marks import HandMarks
from photonest.model import (
    Attempt,
    Crack,
    CrackError,
    Defect,
    Face,
    NotFound,
    OutlineError,
    Photo,
    PhotoFacts,
    PhotonestError,
    Pith,
    PithError,
    PluginError,
    Point,
    Scale,
    ScaleError,
)
from photonest.rectify import flatten, jacobian, shifted, upright
from photonest.registry import Finder, LoadFailure, Registry, stdout_to_stderr
from photonest.scale.advice import advice, height_note
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.height import READING_MM, face_above, laid_by_eye
from photonest.scale.uncertainty import diameter_error_pct
from photonest.sizes import centroid, measure_size
from photonest.spec import STAGES, Stage

_ERRORS: Mapping[Stage, type[PhotonestError]] = {
    "scale": ScaleError,
    "outline": OutlineError,
    "pith": PithError,
    "cracks": CrackError,
}
FAR_OFF_PCT = 35.0  # pith offsets of standing trees hardly pass 25 % of the diameter (Renvall 1923, Scots pine)
Settings = Mapping[tuple[str, str], Mapping[str, Any]]


@dataclass(frozen=True)
class Choices:
    """What the user asks of the stages.

    Attributes
    ----------
    scale, outline, pith, cracks : str
        A finder's name, ``auto``, or for pith and cracks ``none``.
    settings : mapping
        Options by (stage, finder).
    at_px : (x, y) or None
        A point of the photo on the piece meant; its middle if not given.
    face_above_mm : float or None
        How much nearer to the camera the face lies than the reference; 0 says that they are level, None that they are
        level by eye only.
    """

    scale: str = "auto"
    outline: str = "auto"
    pith: str = "auto"
    cracks: str = "auto"
    settings: Settings = field(default_factory=dict)
    at_px: Point | None = None
    face_above_mm: float | None = None


@dataclass(frozen=True)
class _Answer:
    value: Any
    attempts: tuple[Attempt, ...]


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
    _check_choices(registry, choices)
    aim = choices.at_px or ((photo.width - 1) / 2, (photo.height - 1) / 2)
    if not (0 <= aim[0] < photo.width and 0 <= aim[1] < photo.height):
        raise OutlineError(
            f"The point {aim[0]:g},{aim[1]:g} lies outside the photo ({photo.width} x {photo.height}).",
            "Give --at X,Y in pixels of the photo.",
        )
    progress("scale")
    scaled = _scale(registry, choices, photo, aim)
    scale: Scale = scaled.value
    flat = flatten(photo, scale, aim)

    progress("outline")
    choices = _with_marks(choices, marks, "outline", scale)
    outlined = _first(registry, "outline", choices, (flat,), lambda found: checked_outline(found, flat))
    dx, dy = (-value for value in centroid(outlined.value.points))
    scale, flat = shifted(scale, dx, dy), flat.shifted(dx, dy)
    outline = doubted(moved_outline(outlined.value, dx, dy))
    unfit = fitness(flat, outline.points)
    error = diameter_error_pct(scale, outline.points)
    scale = replace(scale, standard_error_pct=error, warnings=(*scale.warnings, *unfit))
    flat = replace(flat, standard_error_pct=scale.standard_error_pct)

    progress("pith")
    choices = _with_marks(choices, marks, "pith", scale)
    pithed = _first(registry, "pith", choices, (flat, outline), lambda found: checked_pith(found, outline))
    pith: Pith | None = pithed.value

    progress("cracks")
    choices = _with_marks(choices, marks, "cracks", scale)
    cracked = _all(registry, choices, (flat, outline, pith), lambda found: checked_marks(found, outline))
    cracks, defects = merge_marks(cracked.value)

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


def _scale(registry: Registry, choices: Choices, photo: Photo, aim: Point) -> _Answer:
    """Ask for the scale: what a person says stands alone, else every reference in sight counts."""

    def check(found: Any) -> Scale:
        return _at_the_face(checked_scale(found, photo, aim), choices.face_above_mm, aim)

    if choices.scale != "auto":
        named = _first(registry, "scale", choices, (photo,), check)
        return _Answer(_advised(photo, named.value, choices.face_above_mm), named.attempts)
    finders, failures = registry.load("scale")
    attempts = [_load_attempt(failure) for failure in failures]
    refusals: list[NotFound] = []
    scales: list[Scale] = []
    for finder in finders:
        found, attempt = _ask(finder, choices, (photo,), check, named=False)
        attempts.append(attempt)
        if attempt.outcome == "found":
            scales.append(found)
            if finder.name == "by-hand":
                break
        elif isinstance(found, NotFound):
            refusals.append(found)
    if not scales:
        raise _nothing_found("scale", attempts, refusals)
    one = scales[0] if len(scales) == 1 else combined(scales, middle_of_photo(photo.width, photo.height))
    return _Answer(_advised(photo, upright(one, aim), choices.face_above_mm), tuple(attempts))


def _advised(photo: Photo, scale: Scale, above_mm: float | None) -> Scale:
    """Return the scale with what makes it poor and how to retake the photo, and what an unknown height would do."""
    note = height_note(scale) if above_mm is None else ""
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


def _check_choices(registry: Registry, choices: Choices) -> None:
    """Raise PluginError for a name or an option that doesn't exist, before any work is done."""
    for stage in STAGES:
        name: str = getattr(choices, stage)
        if name not in ("auto", "none"):
            registry.named(stage, name)
    for (stage_name, finder), settings in choices.settings.items():
        if stage_name not in STAGES:
            raise PluginError(f"There is no stage {stage_name}.", f"The stages are {', '.join(STAGES)}.")
        registry.named(stage_name, finder).options(settings)


def _with_marks(choices: Choices, marks: HandMarks, stage: Stage, scale: Scale) -> Choices:
    by_hand = (stage, "by-hand")
    settings = {**marks.settings(stage, scale), **choices.settings.get(by_hand, {})}
    return replace(choices, settings={**choices.settings, by_hand: settings}) if settings else choices


def _mm_per_px(scale: Scale) -> float:
    """Size of a pixel of the photo at the middle of the face."""
    middle = np.linalg.inv(np.asarray(scale.px_to_mm)) @ [0.0, 0.0, 1.0]
    derivative = jacobian(scale.px_to_mm, (middle[0] / middle[2], middle[1] / middle[2]))
    return float(math.sqrt(abs(np.linalg.det(derivative))))


def _chosen(registry: Registry, stage: Stage, name: str) -> tuple[tuple[Finder, ...], tuple[LoadFailure, ...]]:
    if name == "auto":
        return registry.load(stage)
    return (registry.named(stage, name),), ()


def _first(
    registry: Registry,
    stage: Stage,
    choices: Choices,
    inputs: tuple[Any, ...],
    check: Callable[[Any], Any],
) -> _Answer:
    """Ask finders in their order until one answers."""
    name: str = getattr(choices, stage)
    if name == "none" and stage == "pith":
        return _Answer(None, (Attempt(stage, "none", "", "", "not asked", "not asked for"),))
    finders, failures = _chosen(registry, stage, name)
    attempts = [_load_attempt(failure) for failure in failures]
    refusals: list[NotFound] = []
    for finder in finders:
        found, attempt = _ask(finder, choices, inputs, check, named=name != "auto")
        attempts.append(attempt)
        if attempt.outcome == "found":
            return _Answer(found, tuple(attempts))
        if isinstance(found, NotFound):
            refusals.append(found)
    if stage == "pith" and name == "auto":
        return _Answer(None, tuple(attempts))
    raise _nothing_found(stage, attempts, refusals)


def _all(registry: Registry, choices: Choices, inputs: tuple[Any, ...], check: Callable[[Any], Any]) -> _Answer:
    """Ask every finder of the cracks stage and gather what they see."""
    if choices.cracks == "none":
        return _Answer((), (Attempt("cracks", "none", "", "", "not asked", "not asked for"),))
    finders, failures = _chosen(registry, "cracks", choices.cracks)
    attempts = [_load_attempt(failure) for failure in failures]
    marks: list[Crack | Defect] = []
    refusals: list[NotFound] = []
    for finder in finders:
        found, attempt = _ask(finder, choices, inputs, check, named=choices.cracks != "auto")
        attempts.append(attempt)
        if attempt.outcome == "found":
            marks.extend(found)
        elif isinstance(found, NotFound):
            refusals.append(found)
    if not any(attempt.outcome == "found" for attempt in attempts):
        raise _nothing_found("cracks", attempts, refusals)
    return _Answer(tuple(marks), tuple(attempts))


def _ask(
    finder: Finder, choices: Choices, inputs: tuple[Any, ...], check: Callable[[Any], Any], *, named: bool
) -> tuple[Any, Attempt]:
    """Ask one finder; what it raises or gets wrong is recorded, and raised only when it was asked for by name."""
    options = finder.options(choices.settings.get((finder.stage, finder.name), {}))

    def attempt(outcome: Any, reason: str = "") -> Attempt:
        return Attempt(finder.stage, finder.name, finder.version, finder.listing.source, outcome, reason)

    try:
        with stdout_to_stderr():
            found = finder.plugin.find(*inputs, options)
        if isinstance(found, NotFound):
            return found, attempt("not found", str(found.reason))
        return check(found), attempt("found")
    except PhotonestError as error:
        if named:
            raise
        return NotFound(error.message, error.hint), attempt("refused", error.message)
    except (Exception, SystemExit) as error:  # a finder may fail in any way; the others go on
        reason = f"{type(error).__name__}: {error}"
        if named:
            raise PluginError(
                f"The {finder.stage} finder {finder.name} ({finder.listing.source}) failed: {reason}.",
                "Choose another finder, or tell its author.",
            ) from error
        return None, attempt("failed", reason)


def _load_attempt(failure: LoadFailure) -> Attempt:
    return Attempt(
        failure.listing.stage,
        failure.listing.name,
        "",
        failure.listing.source,
        "failed",
        f"not loaded: {failure.reason}",
    )


def _nothing_found(stage: Stage, attempts: Sequence[Attempt], refusals: Sequence[NotFound]) -> PhotonestError:
    tried = "; ".join(f"{attempt.finder}: {attempt.reason}" for attempt in attempts) or "no finder is installed"
    hints = list(dict.fromkeys(refusal.hint for refusal in refusals if refusal.hint))
    return _ERRORS[stage](f"No {stage} found ({tried}).", " ".join(hints))


def face_warnings(face: Face) -> tuple[str, ...]:
    """Return what a reader of the face must know, in plain words."""
    warnings = [*face.scale.warnings, *face.outline.warnings]
    if face.outline.cut_by_frame:
        warnings.append(
            "Part of the piece lies outside the photo: its true size is larger. Take the photo from farther away."
        )
    if face.pith is None:
        reasons = [
            attempt.reason
            for attempt in face.provenance
            if attempt.stage == "pith" and attempt.reason and attempt.finder != "by-hand"
        ]
        why = f" ({'; '.join(reasons)})" if reasons else ""
        warnings.append(
            f"Pith not found{why}: plans can't avoid it. On end grain, mark it by hand with adjust; "
            "the face of a side-grain blank shows none."
        )
    else:
        warnings.extend(face.pith.warnings)
        if face.pith.inside and face.pith.set_by == "photo" and (face.size.eccentricity_pct or 0) > FAR_OFF_PCT:
            warnings.append(
                f"The pith lies unusually far off centre ({face.size.eccentricity_pct:.0f} % of the diameter): look at "
                "the rings in the picture, and set it by hand with adjust if it is wrong."
            )
    warnings.extend(
        f"The {attempt.stage} finder {attempt.finder} ({attempt.source}) was passed over: {attempt.reason}."
        for attempt in face.provenance
        if attempt.outcome in ("failed", "refused")
    )
    possible = sum(crack.status == "possible" for crack in face.cracks)
    if possible:
        noun = "crack is" if possible == 1 else "cracks are"
        warnings.append(f"{possible} possible {noun} avoided as if real: look at the wood, and dismiss what is none.")
    doubtful = sum(defect.status == "possible" for defect in face.defects)
    if doubtful:
        noun = "knot, hole, inclusion or decayed area is" if doubtful == 1 else "knots, holes, inclusions or decay are"
        warnings.append(f"{doubtful} possible {noun} avoided as if real: look at the wood, and dismiss what is none.")
    return tuple(dict.fromkeys(warnings))
