"""What a reader of a face must know, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

from photonest.model import Face, StockKind

NO_PITH = "Pith not found"
FAR_OFF_PCT = 35.0  # pith offsets of standing trees hardly pass 25 % of the diameter (Renvall 1923, Scots pine)


def face_warnings(face: Face) -> tuple[str, ...]:
    """Return what a reader of the face must know, in plain words."""
    warnings = [*_disagreeing(face), *face.scale.warnings, *face.outline.warnings]
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
            f"{NO_PITH}{why}: plans can't avoid it. On end grain, mark it by hand with adjust; "
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


def that_matter(warnings: Iterable[str], kind: StockKind) -> tuple[str, ...]:
    """Return a face's warnings that matter to a kind of stock, each once: a side-grain blank shows no pith."""
    return tuple(dict.fromkeys(text for text in warnings if not (kind == "blank" and text.startswith(NO_PITH))))


def _disagreeing(face: Face) -> list[str]:
    """Return what the face would measure by each reference that disagrees with the scale."""
    kind, size, told = face.scale.kind, face.size.mean_diameter, []
    for other in face.scale.others:
        alike = other.kind == kind
        both, one = ("Two references", "one") if alike else (f"The {kind} and the {other.kind}", f"the {kind}")
        told.append(
            f"{both} disagree beyond their errors: the face measures {size:.1f} mm across by {one}, which is kept, and "
            f"{size * other.size_ratio:.1f} mm by the other. The error is widened to hold both. Lay both flat and "
            "level with the face, see that each has its right size, or take one away; then retake the photo."
        )
    return told
