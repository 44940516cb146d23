"""``photonest measure``: from a photo to a face file and its picture."""

from __future__ import annotations

from photonest.cli.bundles import expanding
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
from photonest.cli.measuring import Measuring
from photonest.cli.words import describe_face


@expanding(measuring=Measuring)
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
