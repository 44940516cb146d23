"""What could be made of the pieces in the catalogue: answered by planning each stored face."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from photonest.catalogue.entries import Entry
from photonest.model import Face, NoPlanError, Plan, Shop, Stock, StockError


@dataclass(frozen=True)
class Answer:
    """What planning said of a piece; `plan` is None where no bowl fits, or its thickness or length is not known."""

    entry: Entry
    plan: Plan | None
    reason: str = ""

    def holds(self, rim: float, inside: int) -> bool:
        """Return whether a nest of the plan has a first bowl of a rim diameter and enough bowls inside it."""
        nests = self.plan.nests if self.plan is not None else ()
        return any(nest.bowls[0].rim_diameter >= rim and len(nest.bowls) > inside for nest in nests if nest.bowls)


def stock_of(entry: Entry) -> Stock | None:
    """Return the piece as the planner wants it; None where the size it needs is not known."""
    if entry.kind == "log":
        return None if entry.length is None else Stock("log", length=entry.length)
    return None if entry.thickness is None else Stock(entry.kind, thickness=entry.thickness)


def could_make(
    entries: Sequence[Entry],
    face_of: Callable[[str], Face],
    shop: Shop,
    rim: float,
    *,
    jobs: int = 1,
    progress: Callable[[Entry], None] = lambda _: None,
) -> list[Answer]:
    """Return what planning says of each piece that is wide enough at all.

    Parameters
    ----------
    entries : sequence of Entry
    face_of : callable
        Gives the face of a code.
    shop : Shop
    rim : float
        Rim diameter in mm: a piece that holds no circle of that size is passed over.
    jobs : int
        How many are planned at once; -1 for one a core.
    progress : callable
        Told each entry that is planned.

    Notes
    -----
    Each piece is judged by its largest nest: most bowls, then the greatest sum of rim diameters.
    """
    from joblib import Parallel, delayed

    wide = [entry for entry in entries if (entry.max_diameter if entry.kind == "log" else entry.round_diameter) >= rim]
    planned = Parallel(n_jobs=jobs, return_as="generator")(delayed(_answer)(e, face_of(e.code), shop) for e in wide)
    answers = []
    for answer in planned:
        progress(answer.entry)
        answers.append(answer)
    return answers


def _answer(entry: Entry, face: Face, shop: Shop) -> Answer:
    from photonest.nest import plan_nest

    stock = stock_of(entry)
    if stock is None:
        need = "length" if entry.kind == "log" else "thickness"
        return Answer(entry, None, f"its {need} is not known")
    try:
        return Answer(entry, plan_nest(face, stock, shop))
    except (NoPlanError, StockError) as error:
        return Answer(entry, None, error.message)
