"""Asking the finders of a stage: one by name, the first that answers, or all; with the record of every one asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from photonest.model import (
    Attempt,
    CrackError,
    MarksError,
    NotFound,
    OutlineError,
    PhotonestError,
    PithError,
    PluginError,
    Point,
    ScaleError,
)
from photonest.registry import Finder, LoadFailure, Registry, stdout_to_stderr
from photonest.spec import STAGES, Stage

_ERRORS: Mapping[Stage, type[PhotonestError]] = {
    "scale": ScaleError,
    "outline": OutlineError,
    "pith": PithError,
    "cracks": CrackError,
}
NO_REFERENCE = (
    "Lay the printed sheet (photonest marker-sheet), a bank card or a sheet of white paper beside the wood, flat and "
    "level with the face, all of it in the photo. Or say what the photo shows already: --diameter, --two-points, "
    "--bar-square, --ruler or --mm-per-px."
)
"""What to do where no finder saw a reference or was told of one: each one's own advice together would be a page."""
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
class Answer:
    """What a stage answers, and every finder asked for it."""

    value: Any
    attempts: tuple[Attempt, ...]


def check_choices(registry: Registry, choices: Choices) -> None:
    """Raise PluginError for a name or an option that doesn't exist, before any work is done."""
    for stage in STAGES:
        name: str = getattr(choices, stage)
        if name not in ("auto", "none"):
            registry.named(stage, name)
    for (stage_name, finder), settings in choices.settings.items():
        if stage_name not in STAGES:
            raise PluginError(f"There is no stage {stage_name}.", f"The stages are {', '.join(STAGES)}.")
        registry.named(stage_name, finder).options(settings)


def first_answer(
    registry: Registry, stage: Stage, choices: Choices, inputs: tuple[Any, ...], check: Callable[[Any], Any]
) -> Answer:
    """Ask finders in their order until one answers; a face may be without a pith, but nothing else."""
    if stage == "pith" and choices.pith == "none":
        return Answer(None, (_unasked(stage),))
    asked = _walk(registry, stage, choices, inputs, check, lambda _: True)
    if stage == "pith" and choices.pith == "auto" and not asked.value:
        return Answer(None, asked.attempts)
    return Answer(_answered(stage, asked).value[0], asked.attempts)


def all_answers(
    registry: Registry,
    stage: Stage,
    choices: Choices,
    inputs: tuple[Any, ...],
    check: Callable[[Any], Any],
    alone: str | None = None,
) -> Answer:
    """Ask every finder; the value lists their answers. After one of the finder called `alone` no other is asked."""
    if stage == "cracks" and choices.cracks == "none" and not _marked(choices):
        return Answer([], (_unasked(stage),))
    return _answered(stage, _walk(registry, stage, choices, inputs, check, lambda finder: finder.name == alone))


@dataclass(frozen=True)
class _Asked(Answer):
    refusals: tuple[NotFound, ...]


def _walk(
    registry: Registry,
    stage: Stage,
    choices: Choices,
    inputs: tuple[Any, ...],
    check: Callable[[Any], Any],
    enough: Callable[[Finder], bool],
) -> _Asked:
    """Ask finders in their order, up to one whose answer is enough."""
    name: str = getattr(choices, stage)
    finders, failures = _finders(registry, stage, choices)
    attempts = [_not_loaded(failure) for failure in failures]
    refusals: list[NotFound] = []
    answers: list[Any] = []
    for finder in finders:
        found, attempt = _ask(finder, choices, inputs, check, named=name != "auto")
        attempts.append(attempt)
        if attempt.outcome == "found":
            answers.append(found)
            if enough(finder):
                break
        elif isinstance(found, NotFound):
            refusals.append(found)
    return _Asked(answers, tuple(attempts), tuple(refusals))


def _finders(registry: Registry, stage: Stage, choices: Choices) -> tuple[Sequence[Finder], Sequence[LoadFailure]]:
    """Return the finders to ask; cracks that a person marked are kept whatever finder is asked for by name."""
    name: str = getattr(choices, stage)
    if name == "auto":
        return registry.load(stage)
    names = dict.fromkeys([*(["by-hand"] if stage == "cracks" and _marked(choices) else []), name])
    return tuple(registry.named(stage, each) for each in names if each != "none"), ()


def _marked(choices: Choices) -> bool:
    return ("cracks", "by-hand") in choices.settings


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
        # passed over, a crack that a person added would be lost
        if finder.name == "by-hand" and finder.stage != "scale":
            raise MarksError(
                f"What was set by hand on this photo no longer fits the face: {error.message}",
                "Measure into another folder with --out, and set it anew there with photonest adjust.",
            ) from error
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


def _not_loaded(failure: LoadFailure) -> Attempt:
    return Attempt(
        failure.listing.stage,
        failure.listing.name,
        "",
        failure.listing.source,
        "failed",
        f"not loaded: {failure.reason}",
    )


def _unasked(stage: Stage) -> Attempt:
    return Attempt(stage, "none", "", "", "not asked", "not asked for")


def _answered(stage: Stage, asked: _Asked) -> Answer:
    if asked.value:
        return asked
    absent = {refusal.reason for refusal in asked.refusals if refusal.absent}
    telling = [attempt for attempt in asked.attempts if attempt.reason not in absent]
    nothing = "nothing to find it by was seen or told of" if absent else "no finder is installed"
    tried = "; ".join(f"{attempt.finder}: {attempt.reason}" for attempt in telling) or nothing
    refusals = [refusal for refusal in asked.refusals if refusal.reason not in absent]
    if stage == "scale" and not refusals and len(asked.refusals) > 1:
        raise _ERRORS[stage](f"No {stage} found ({tried}).", NO_REFERENCE)
    hints = list(dict.fromkeys(refusal.hint for refusal in refusals or asked.refusals if refusal.hint))
    raise _ERRORS[stage](f"No {stage} found ({tried}).", " ".join(hints))
