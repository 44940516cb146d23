"""How thick a rough wall must be, so that a round bowl is left in it after drying."""

from __future__ import annotations

from collections.abc import Callable

from photonest.model import FieldError, StockKind
from photonest.wood.moisture import SCATTER, Shrink

RULE_ALONE = (
    "No species is given: the rough walls follow the rule of thumb alone. Whether they leave the finished wall after "
    "drying, and how oval the bowls become, is not known."
)


def wall_need(shrink: Shrink, kind: StockKind, finished: float, deviations: float = 1.0) -> Callable[[float], float]:
    """Return the rough wall that a bowl of a rim radius needs, wherever the pith lies beside it.

    Parameters
    ----------
    shrink : Shrink
        Free shrinkage to the moisture at which the bowl is turned again.
    kind : {"log", "slice", "blank"}
        A slice gives end-grain bowls, the others side-grain ones.
    finished : float
        Least wall of the finished bowl, in mm.
    deviations : float
        How many standard deviations of the scatter between pieces to allow for: with 1, about five bowls in six keep
        the finished wall.

    Returns
    -------
    callable
        From a rim radius in mm (not a diameter), or an array of them, to the wall in mm, as the planner asks for it.

    Notes
    -----
    The rim becomes an oval. Its outside is turned down to the least diameter, which is nowhere less than
    ``2 R (1 - et)``; its inside is opened to the greatest, which is nowhere more than ``2 (R - t) (1 - e)``, where e is
    the shrinkage along the grain for side grain, and along the rays for end grain. What is left is ``w`` where

        t = R - (R (1 - et) - w) / (1 - e).

    The movement in space leaves no less than that, to 0.5 mm, for any shape of bowl and any place of the pith tried,
    and just that where the wall stands square to the rim and the pith is far away.

    Examples
    --------
    >>> need = wall_need(Shrink(0.0352, 0.0726, 0.0011), "log", 10.0, deviations=0.0)
    >>> round(need(150.0), 1)
    20.7
    """
    if not finished > 0:
        raise FieldError("finished", f"must be more than 0, not {finished:g}")
    moved = shrink.scaled(1 + SCATTER * deviations)
    least = moved.radial if kind == "slice" else moved.longitudinal

    def need(rim_radius: float) -> float:
        return rim_radius - (rim_radius * (1 - moved.tangential) - finished) / (1 - least)

    return need
