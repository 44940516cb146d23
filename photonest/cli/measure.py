"""``photonest measure``: from a photo to a face file and its picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from photonest.cli.common import (
    AsJson,
    OutFolder,
    PhotoPath,
    Replace,
    measured,
    output_folder,
    say,
    say_warnings,
    show,
    write_results,
)
from photonest.cli.measuring import Measuring, with_measuring_options

if TYPE_CHECKING:
    from photonest.model import Face


@with_measuring_options
def measure(
    photo: PhotoPath,
    measuring: Measuring,
    out: OutFolder = None,
    replace: Replace = False,
    json: AsJson = False,
) -> None:
    """Measure the face in a photo: outline, pith offset and cracks in mm.

    Writes face.json (everything measured, with its uncertainty) and face.png (the same drawn on the photo).
    """
    chosen = measuring.choices()
    folder = output_folder(out, photo, ("face.json", "face.png"), replace=replace)
    picture, face = measured(photo, chosen, folder)

    from photonest.model import dump_json, face_to_document
    from photonest.report import face_picture

    document = dump_json(face_to_document(face))
    write_results(folder, {"face.json": document.encode(), "face.png": face_picture(picture, face)})
    say_warnings(face.warnings)
    say(f"Wrote {folder / 'face.json'} and {folder / 'face.png'}.")
    show(document.rstrip() if json else describe_face(face))


def describe_face(face: Face) -> str:
    """Return the measures of a face in a few lines."""
    size = face.size
    se = face.scale.standard_error_pct
    lines = [
        f"Scale       {face.scale.kind}, {face.scale.mm_per_px:.4g} mm per pixel, standard error {se:.2g} %",
        f"Diameter    {size.mean_diameter:.1f} mm mean ({size.min_diameter:.1f} to {size.max_diameter:.1f}), "
        f"ovality {size.ovality_pct:.1f} %",
    ]
    if size.under_bark is not None:
        lines.append(f"Under bark  {size.under_bark.mean_diameter:.1f} mm mean")
    if face.pith is None:
        lines.append("Pith        not found")
    else:
        where = "" if face.pith.inside else ", outside the piece"
        lines.append(
            f"Pith        {size.pith_offset:.1f} mm off centre ({size.eccentricity_pct:.1f} %), "
            f"± {face.pith.standard_error:.1f} mm{where}"
        )
    lines.append(f"Cracks      {len(face.cracks) or 'none seen'}")
    for crack in face.cracks:
        depth = "" if crack.depth is None else f", {crack.depth:.0f} mm deep"
        lines.append(
            f"  {crack.id:<4} {crack.kind:<7} {crack.length:6.1f} mm long, up to {crack.width:.1f} mm wide, "
            f"{crack.status} ({crack.confidence:.0%}){depth}"
        )
    lines += [f"  {d.id:<4} {d.kind:<7} {d.status} ({d.confidence:.0%})" for d in face.defects]
    if size.clear_circle is not None:
        lines.append(f"Clear       circle of {2 * size.clear_circle.radius:.1f} mm without crack, pith or other defect")
    return "\n".join(lines)
