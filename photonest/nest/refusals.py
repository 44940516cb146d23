"""Why no bowl fits, what is nearest, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from photonest.nest.asked import Question, in_words
from photonest.nest.circle import clear_radius, widest
from photonest.nest.keepouts import KeepOut

MOST_TRIED = 30  # defects looked at one by one
WORTH_TELLING = 5.0  # mm of the clear circle's diameter that a defect less must bring
SURER = "take the photo again with the printed marker sheet beside the wood, level with the face"


def why_no_bowl(question: Question, radius: float, along: float) -> tuple[str, str]:
    """Return why no bowl fits, and what to do.

    Parameters
    ----------
    question : Question
    radius : float
        The widest rim radius that the wood, or a log's length, leaves.
    along : float
        The thickness of a slice or blank, or the length of a log.
    """
    shop, kind = question.shop, question.stock.kind
    if kind == "log":
        return _of_log(question, radius, along)
    if 2 * radius < shop.min_rim:
        return _too_narrow(question, radius)
    foot = 2 * float(question.work.rules.foot(radius))
    if foot > 2 * shop.foot_share * 2 * radius and foot > 0.6 * 2 * radius:
        return (
            f"No bowl fits: the wood is clear {2 * radius:.0f} mm across, and the smallest foot that your jaws hold "
            f"is {foot:.0f} mm.",
            "Check the jaws' ranges in the workshop file, or use smaller jaws.",
        )
    if along < shop.min_depth:
        return (
            f"No bowl fits: {along:.0f} mm of thickness is less than the shallowest bowl worth having, set to "
            f"{shop.min_depth:.0f} mm deep.",
            "Use a thicker piece, or lower min_depth in the workshop file.",
        )
    screws = "" if shop.screws is None else f", with screws {shop.screws:.0f} mm deep in its foot,"
    return (
        f"No bowl fits: {along:.0f} mm of thickness{screws} leaves no bowl {shop.min_depth:.0f} mm deep with its base, "
        f"{shop.min_rim:.0f} mm across or more.",
        "Use a thicker piece, thinner walls or a shorter tenon, or lower min_depth in the workshop file.",
    )


def _too_narrow(question: Question, radius: float) -> tuple[str, str]:
    least, across = question.shop.min_rim, max(2 * radius, 0.0)
    known = _clear_across(question, question.outs, scale_error=0.0)
    if known >= max(least, across + WORTH_TELLING):
        return (
            f"No bowl fits: the widest clear circle is {across:.0f} mm across, and the smallest bowl worth having is "
            f"set to {least:.0f} mm. With the scale known exactly it would be {known:.0f} mm.",
            f"The scale is known to {200 * question.scale_error:.1f} % alone (twice the standard error): {SURER}.",
        )
    name, without = _nearest(question)
    where = " about that axis" if question.keep_axis is not None else ""
    message = f"No bowl fits: the widest clear circle{where} is {across:.0f} mm across, and the smallest bowl worth "
    message += f"having is set to {least:.0f} mm"
    todo = []
    if question.keep_axis is not None:
        todo.append("choose another axis, or let the planner choose it")
    if without >= across + WORTH_TELLING:
        message += f"; without {name} it would be {without:.0f} mm"
        if name == "the pith":
            todo.append("let bowls hold the pith with --through-pith, though such bowls often split")
        else:
            todo.append(f"look whether {name} is one and how deep it goes: dismiss it, or give its depth")
    elif len(question.outs) > 1:
        message += "; no single defect stands in the way, but several together"
        todo.append("dismiss those that are none, or give the depth of those you probed")
    elif question.keep_axis is None:
        message += ". Only the edge of the wood is in the way"
        todo.append("take a larger piece")
    if across >= least / 2:
        todo.append(f"set min_rim in the workshop file to {math.floor(across)} mm, for a bowl so small")
    words = "; or ".join(todo) or "take a larger piece"
    return f"{message}.", f"{words[0].upper()}{words[1:]}."


def _nearest(question: Question) -> tuple[str, float]:
    """Return which one defect less would leave the widest clear circle, and its diameter."""
    outs, best = question.outs, ("", 0.0)
    for out in outs[1 : MOST_TRIED + 1]:
        across = _clear_across(question, [other for other in outs if other is not out], question.scale_error)
        best = max(best, (in_words(out.name), across), key=lambda each: each[1])
    return best


def _clear_across(question: Question, outs: Sequence[KeepOut], scale_error: float) -> float:
    """Return the diameter of the widest clear circle, or of that about the axis asked for."""
    clear = clear_radius(outs, scale_error)
    return 2 * (widest(clear, 0.5)[2] if question.keep_axis is None else clear.at(*question.keep_axis))


def _of_log(question: Question, radius: float, length: float) -> tuple[str, str]:
    shop = question.shop
    if 2 * radius < shop.min_rim:
        return (
            f"No bowl fits: {length:.0f} mm of log leaves blanks {2 * max(radius, 0):.0f} mm across between its ends, "
            f"and the smallest bowl worth having is set to {shop.min_rim:.0f} mm.",
            "Use a longer log, or lower min_rim in the workshop file.",
        )
    where = "either half of this log" if question.rip is None else f"either half, ripped at {question.rip:.0f} degrees"
    where += "" if question.keep_axis is None else ", on an axis through that point"
    return (
        f"No bowl fits in {where}: beside the pith and the defects there is none {shop.min_rim:.0f} mm across and "
        f"{shop.min_depth:.0f} mm deep, though the length has room for {2 * radius:.0f} mm.",
        "Use a thicker log, dismiss defects that are none, give the depth of end checks with --check-depth, or lower "
        f"min_rim or min_depth in the workshop file.{_unsure(question)}",
    )


def _unsure(question: Question) -> str:
    """Return advice about the photo where a poor scale takes more from a bowl than its clearance does."""
    lost = 2 * question.scale_error * question.shop.min_rim / 2
    if lost <= question.shop.clearance:
        return ""
    return f" The scale is known to {200 * question.scale_error:.1f} % alone (twice the standard error): {SURER}."
