"""``photonest measure``: from a photo to a face file and its picture."""

from __future__ import annotations

from photonest.cli.bundles import expanding
from photonest.cli.common import (
    AsJson,
    AsSvg,
    OutFolder,
    PhotoPath,
    Replace,
    measured,
    output_folder,
    remove_stale,
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
    svg: AsSvg = False,
    json: AsJson = False,
) -> None:
    """Measure the face in a photo: outline, pith offset and cracks in mm.

    Writes face.json (everything measured, with its uncertainty) and face.png (the same drawn on the photo).
    """
    chosen = measuring.choices()
    names = ("face.json", "face.png", *(("face.svg",) if svg else ()))
    folder = output_folder(out, photo, names, replace=replace)
    picture, face = measured(photo, chosen, folder)

    from photonest.model import dump_json, face_to_document
    from photonest.report import face_picture

    document = dump_json(face_to_document(face))
    files = {"face.json": document.encode(), "face.png": face_picture(picture, face)}
    if svg:
        files["face.svg"] = face_picture(picture, face, format="svg")
    write_results(folder, files)
    remove_stale(folder, files, r"face\.svg")
    say_warnings(face.warnings)
    say(f"Wrote {', '.join(files)} in {folder}.")
    show(document.rstrip() if json else describe_face(face))
