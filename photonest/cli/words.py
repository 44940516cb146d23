"""Results in a few lines of text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from photonest.model import Face, Nest, Plan
    from photonest.nest import Precheck


def describe_face(face: Face) -> str:
    """Return the measures of a face in a few lines."""
    from photonest.report.words import DEFECT_NAMES, defect_size, length, twice_diameter_error, twice_error

    size = face.size

    def across(value: float) -> str:
        return length(value, twice_diameter_error(face, value))

    se, rim = face.scale.standard_error_pct, face.scale.rim_error_mm
    at_rim = "" if rim is None else f", {rim:.2g} mm at the far rim"
    lines = [
        f"Scale       {face.scale.kind}, {face.scale.mm_per_px:.4g} mm per pixel, standard error {se:.2g} %{at_rim}",
        f"Diameter    {across(size.mean_diameter)} mean ({size.min_diameter:.1f} to {size.max_diameter:.1f}), "
        f"ovality {size.ovality_pct:.1f} %; ± is twice the standard error",
    ]
    lines[1:1] = [f"            {note}" for note in face.scale.notes]
    if size.under_bark is not None:
        lines.append(f"Under bark  {across(size.under_bark.mean_diameter)} mean")
    if face.pith is None or size.pith_offset is None:
        lines.append("Pith        not found")
    else:
        where = "" if face.pith.inside else ", outside the piece"
        offset = length(size.pith_offset, twice_error(face, size.pith_offset, face.pith.standard_error))
        lines.append(f"Pith        {offset} off centre ({size.eccentricity_pct:.1f} %){where}")
    lines.append(f"Cracks      {len(face.cracks) or 'none seen'}")
    for crack in face.cracks:
        depth = "" if crack.depth is None else f", {crack.depth:.0f} mm deep"
        lines.append(
            f"  {crack.id:<4} {crack.kind:<7} {crack.length:6.1f} mm long, up to {crack.width:.1f} mm wide, "
            f"{crack.status} ({crack.confidence:.0%}){depth}"
        )
    if face.defects:
        lines.append(f"Defects     {len(face.defects)} other than cracks")
    for defect in face.defects:
        long, wide = defect_size(defect)
        depth = "" if defect.depth is None else f", {defect.depth:.0f} mm deep"
        lines.append(
            f"  {defect.id:<4} {DEFECT_NAMES[defect.kind]}, {long:.1f} x {wide:.1f} mm, {defect.status} "
            f"({defect.confidence:.0%}){depth}"
        )
    if size.clear_circle is not None:
        lines.append(f"Clear       circle of {2 * size.clear_circle.radius:.1f} mm without crack, pith or other defect")
    return "\n".join(lines)


def describe_plan(plan: Plan) -> str:
    """Return a plan in a few lines."""
    from photonest.report.words import counted, proof, runners_up

    many, across = plan.score.bowls, f"{plan.score.total_rim_diameter:.0f} mm"
    lines = [f"{many} bowls, rim diameters {across} in all." if many > 1 else f"1 bowl, rim diameter {across}."]
    lines[0] += f" {proof(plan)}"
    for number, nest in enumerate(plan.nests, 1):
        lines += [f"Half {number}"] if len(plan.nests) > 1 else []
        lines += _nest_lines(nest, plan.stock.kind == "log")
    lines += [
        f"Or {counted(other.bowls)}, {'rim' if other.bowls == 1 else 'rims'} "
        f"{', '.join(f'{rim:.0f}' for rim in other.rim_diameters)} mm: {other.note}"
        for other in plan.alternatives
    ]
    return "\n".join([*lines, *runners_up(plan), *plan.reasons])


def _nest_lines(nest: Nest, log: bool) -> list[str]:
    from photonest.report.words import what_limits

    x, y, z = (round(each, 1) + 0.0 for each in nest.axis.point)  # no minus before a nought
    lines = [f"Axis at {x:.1f}, {y:.1f} mm from the middle of the face" + (f", {z:.0f} mm in" if log else "")]
    lines += [f"  mark: {text}" for text in nest.marking]
    for bowl in nest.bowls:
        lines.append(
            f"  bowl {bowl.number}: rim {bowl.rim_diameter:.1f}, depth {bowl.depth:.1f}, wall {bowl.wall_min:.1f}, "
            f"base {bowl.base_min:.1f}, foot {bowl.foot_diameter:.1f} mm, {bowl.capacity_ml / 1000:.2f} l"
        )
        lines += [f"    limited by {reason}" for reason in what_limits(bowl)]
    lines += [
        f"  cut {cut.number}: {cut.cutter}, pivot {-cut.pivot[1]:.1f} mm in front of the rim plane and "
        f"{abs(cut.pivot[0]):.1f} {'toward' if cut.pivot[0] > 0 else 'away from'} the cut, entry radius "
        f"{cut.entry_radius:.1f}, depth {cut.axis_depth:.1f} mm, start at {cut.start_rpm:.0f}, "
        f"never over {cut.top_rpm:.0f} rpm"
        for cut in nest.cuts
    ]
    if nest.may_be_off >= 0.05:
        lines.append(f"  The axis may be off by {nest.may_be_off:.1f} mm with every bowl as planned.")
    return lines


def describe_check(checked: Precheck) -> str:
    """Return the answer before coring in a few lines."""
    x, y, _ = (round(each, 1) + 0.0 for each in checked.axis.point)
    lines = [f"On the axis at {x:.1f}, {y:.1f} mm from the middle of the face:"]
    for name, meetings in (("bowl", checked.bowls), ("cut", checked.cuts)):
        for meeting in meetings:
            line = f"  {name} {meeting.number}: {meeting.verdict}"
            if meeting.verdict == "hit":
                line += f" by {meeting.defect}" + (
                    f", {meeting.inside:.0f} mm inside its rim" if meeting.inside else ""
                )
            elif meeting.defect:
                line += f", {meeting.distance:.1f} mm from {meeting.defect} ({meeting.needed:.1f} needed)"
            lines.append(line)
    return "\n".join([*lines, *checked.advice])
