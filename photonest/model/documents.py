"""The face and plan files: UTF-8 JSON, checked field by field, unknown fields kept."""

from __future__ import annotations

import contextlib
import functools
import json
import math
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

from photonest.model.errors import DocumentError, OutputError
from photonest.model.face import Face
from photonest.model.plan import Plan
from photonest.model.shapes import face_faults

T = TypeVar("T")
VERSION = 1
FACE_FORMAT = "photonest-face"
PLAN_FORMAT = "photonest-plan"
AGAIN = "Correct the file, or measure again."
MOST_TOLD = 20
"""Wrong fields told one by one."""


def face_to_document(face: Face) -> dict[str, Any]:
    """Return the face as the JSON document of its file."""
    return _to_document(face, FACE_FORMAT)


def face_from_document(document: Any, where: str = "the face file") -> Face:
    """Return the face that a JSON document holds; raise DocumentError naming every wrong field and shape."""
    face = _from_document(document, Face, FACE_FORMAT, where)
    if faults := "; ".join(face_faults(face)):
        raise DocumentError(f"{where}: {faults}.", AGAIN)
    return face


def plan_to_document(plan: Plan) -> dict[str, Any]:
    """Return the plan as the JSON document of its file."""
    return _to_document(plan, PLAN_FORMAT)


def plan_from_document(document: Any, where: str = "the plan file") -> Plan:
    """Return the plan that a JSON document holds; raise DocumentError naming every wrong field."""
    return _from_document(document, Plan, PLAN_FORMAT, where)


def read_face(path: Path) -> Face:
    """Return the face in a file."""
    return face_from_document(read_json(path), path.name)


def read_plan(path: Path) -> Plan:
    """Return the plan in a file."""
    return plan_from_document(read_json(path), path.name)


def read_json(path: Path) -> Any:
    """Return what a JSON file holds; raise DocumentError if it holds none."""
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DocumentError(f"{path} can't be read: {error.strerror}.", "Check the name and the folder.") from error
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        raise DocumentError(
            f"{path.name} is not a JSON file: {error}.", "Give a face.json or plan.json that photonest wrote."
        ) from error


def dump_json(document: dict[str, Any]) -> str:
    """Return the text of a document; the same document always gives the same text."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_whole(path: Path, content: bytes) -> None:
    """Write a file in one piece, as `write_together` does."""
    write_together({path: content})


def write_together(files: Mapping[Path, bytes]) -> None:
    """Write files that belong together: all beside their places first, then moved there, so that none is half-written.

    Raises
    ------
    OutputError
        If a folder can't be written or the disk is full; what was there before is then untouched.
    """
    ready: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in files.items():
            descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
            ready[path] = Path(name)
            with os.fdopen(descriptor, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            umask = os.umask(0)
            os.umask(umask)
            ready[path].chmod(0o666 & ~umask)
        for path, temporary in ready.items():
            temporary.replace(path)
    except OSError as error:
        raise OutputError(
            f"{path} can't be written: {error.strerror}.", "Make room, mend its rights, or choose another place."
        ) from error
    finally:  # of those moved nothing is left here; an interruption leaves nothing either
        for temporary in ready.values():
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def write_document(path: Path, document: dict[str, Any]) -> None:
    """Write a JSON document in one piece."""
    write_whole(path, dump_json(document).encode())


def plain(record: Any) -> Any:
    """Return a record as the plain values that JSON knows; `structure` is the way back."""
    return _converter().unstructure(record)


def _to_document(record: Any, format_name: str) -> dict[str, Any]:
    return {"format": format_name, "version": VERSION, **plain(record)}


def _from_document(document: Any, cls: type[T], format_name: str, where: str) -> T:
    if not isinstance(document, dict) or document.get("format") != format_name:
        found = document.get("format") if isinstance(document, dict) else type(document).__name__
        raise DocumentError(f"{where} is not a {format_name} file (its format is {found!r}).", "Give the right file.")
    version = document.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise DocumentError(f"{where}: version must be a whole number from 1, not {version!r}.", AGAIN)
    if version > VERSION:
        raise DocumentError(
            f"{where} was written by a newer photonest (version {version}; this one reads up to {VERSION}).",
            "Update photonest.",
        )
    body = {key: value for key, value in document.items() if key not in ("format", "version")}
    return structure(body, cls, where)


def structure(document: Any, cls: type[T], where: str) -> T:
    """Return the record of a class that plain values describe; raise DocumentError naming every wrong field."""
    from cattrs import transform_error

    try:
        record: T = _converter().structure(document, cls)
    except Exception as error:  # cattrs groups what each field raised; anything else is a bug and is passed on
        if not isinstance(error, (ExceptionGroup, ValueError, TypeError, KeyError)):
            raise
        problems = transform_error(error, path="$", format_exception=_explain)
        listed = "; ".join(_locate(problem) for problem in problems[:MOST_TOLD])
        more = f"; and {len(problems) - MOST_TOLD} more" if len(problems) > MOST_TOLD else ""
        raise DocumentError(f"{where}: {listed}{more}.", AGAIN) from error
    return record


def _locate(problem: str) -> str:
    message, _, path = problem.partition(" @ ")
    path = path.removeprefix("$").removeprefix(".")
    return f"{path}: {message}" if path else message


def _explain(error: BaseException, _cls: type | None) -> str:
    if isinstance(error, KeyError):
        return f"{error.args[0]} is missing"
    return "must be a list" if str(error).endswith("object is not iterable") else str(error)


@functools.cache
def _converter() -> Any:
    from cattrs import Converter
    from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn

    converter = Converter(prefer_attrib_converters=False)
    converter.register_structure_hook(float, _number)
    converter.register_structure_hook(int, _whole_number)
    converter.register_structure_hook(bool, _truth)
    converter.register_structure_hook(str, _text)
    converter.register_structure_hook_func(_is_literal, _one_of)

    def has_extra(cls: Any) -> bool:
        return any(f.name == "extra" for f in getattr(cls, "__dataclass_fields__", {}).values())

    def structure_factory(cls: Any) -> Callable[[Any, Any], Any]:
        known_fields = make_dict_structure_fn(cls, converter)
        known = {f.name for f in fields(cls)}

        def structure_hook(value: Any, target: Any) -> Any:
            if not isinstance(value, dict):
                raise TypeError(f"must be an object, not {_kind(value)}")
            inner = {key: item for key, item in value.items() if key in known and key != "extra"}
            unknown = {key: item for key, item in value.items() if key not in known or key == "extra"}
            return known_fields({**inner, "extra": unknown}, target)

        return structure_hook

    def unstructure_factory(cls: Any) -> Callable[[Any], Any]:
        all_fields = make_dict_unstructure_fn(cls, converter)

        def unstructure_hook(record: Any) -> Any:
            document: dict[str, Any] = all_fields(record)
            unknown = document.pop("extra")
            return {**document, **unknown}

        return unstructure_hook

    converter.register_structure_hook_factory(has_extra, structure_factory)
    converter.register_unstructure_hook_factory(has_extra, unstructure_factory)
    return converter


def _kind(value: Any) -> str:
    names: dict[type, str] = {type(None): "null", bool: "true or false", str: "text", list: "a list", dict: "an object"}
    return names.get(type(value), type(value).__name__)


def _number(value: Any, _: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TypeError(f"must be a number, not {_kind(value)}")
    if not math.isfinite(value):
        raise ValueError(f"must be a finite number, not {value}")
    return float(value)


def _whole_number(value: Any, _: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(f"must be a whole number, not {_kind(value)}")
    return value


def _truth(value: Any, _: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError(f"must be true or false, not {_kind(value)}")
    return value


def _text(value: Any, _: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"must be text, not {_kind(value)}")
    return value


def _is_literal(cls: Any) -> bool:
    origin: Any = get_origin(cls)
    return origin is Literal


def _one_of(value: Any, cls: Any) -> Any:
    if value not in (words := get_args(cls)):
        raise ValueError(f"must be one of {', '.join(map(str, words))}, not {value!r}")
    return value
