"""What a person sets overrules what was measured, is recorded, and outlives a new measurement."""

import math
from dataclasses import replace
from typing import Literal, cast

import numpy as np
import pytest

from photonest.adjust import Changes, NewCrack, NewDefect, adjusted, crack_kind, with_end
from photonest.asking import Choices
from photonest.gates import merge_marks
from photonest.marks import hand_marks
from photonest.model import Crack, Defect, Face, MarksError, Pith, face_from_document, face_to_document
from photonest.pipeline import measure
from photonest.rectify import mm_to_photo
from photonest.registry import BUILT_IN, Listing
from photonest.report.marking import seen_ends
from photonest.spec import Stage
from tests.test_pipeline import GOOD, Chain, photo


def by_hand_first() -> Chain:
    """The fakes of the pipeline's tests, behind the by-hand finders."""
    listings = []
    for stage, classes in GOOD.items():
        if stage != "scale":
            _, target = BUILT_IN[cast(Stage, stage)]["by-hand"]
            listings.append(Listing(cast(Stage, stage), "by-hand", "built in", target, 0))
        listings += [Listing(cast(Stage, stage), "fake", "tests", f"tests.plugins.fakes:{cls}", 5) for cls in classes]
    return Chain(listings)


@pytest.fixture
def face() -> Face:
    return measure(photo(), by_hand_first())


def test_the_pith_moves_and_is_recorded(face: Face) -> None:
    changed = adjusted(face, Changes(pith=(-20.0, 5.0), pith_error=0.7))
    assert changed.pith == Pith((-20.0, 5.0), 0.7, inside=True, set_by="person")
    assert changed.size.pith_offset == pytest.approx(425**0.5)
    assert changed.provenance[-1].reason == "pith set by a person"


def test_a_dismissed_crack_no_longer_limits_the_clear_circle(face: Face) -> None:
    before = face.size.clear_circle
    changed = adjusted(face, Changes(dismissed=("c1",), pith=(-39.0, -39.0)))
    after = changed.size.clear_circle
    assert before is not None and after is not None
    assert after.radius > before.radius
    assert changed.cracks[0].status == "dismissed"
    back = adjusted(changed, Changes(restored=("c1",)))
    assert back.cracks[0].status == "added"


def test_an_added_crack_gets_the_next_number_and_its_kind(face: Face) -> None:
    changed = adjusted(face, Changes(added=(NewCrack(((-10.0, 0.0), (-35.0, 0.0)), depth=20.0),)))
    new = changed.cracks[-1]
    assert (new.id, new.kind, new.status, new.set_by, new.depth) == ("c2", "radial", "added", "person", 20.0)
    assert new.length == pytest.approx(25.0)


def test_depth_and_end_are_set(face: Face) -> None:
    changed = adjusted(face, Changes(depths={"c1": 12.5}, ends={"c1": (36.0, 1.0)}))
    assert changed.cracks[0].depth == 12.5
    assert changed.cracks[0].path[-1] == (36.0, 1.0)
    assert changed.cracks[0].length > face.cracks[0].length


def test_a_moved_end_is_where_the_crack_is_seen_to_end(face: Face) -> None:
    """Marks on the wood are told from there; the other end keeps its margin, in which the crack opens nowhere."""
    path = ((-10.0, 0.0), (-12.0, 0.0), (-30.0, 0.0), (-33.0, 0.0))
    crack = replace(face.cracks[0], path=path, width=0.8, widths=(0.0, 0.5, 0.8, 0.0), tip_margin=3.0)
    face = replace(face, cracks=(crack,))
    for end, ends in (
        ((-36.0, 0.0), ((-12.0, 0.0), (-36.0, 0.0))),
        ((-25.0, 0.0), ((-12.0, 0.0), (-25.0, 0.0))),
        ((-4.0, 0.0), ((-4.0, 0.0), (-30.0, 0.0))),
        ((-15.0, 0.0), ((-15.0, 0.0), (-30.0, 0.0))),
    ):
        moved = adjusted(face, Changes(ends={"c1": end})).cracks[0]
        assert seen_ends(moved) == ends
        assert min(moved.openings) >= 0.0 and max(moved.openings) == 0.8


def test_another_outline_moves_the_origin_to_its_centroid(face: Face) -> None:
    outline = ((-40.0, -40.0), (20.0, -40.0), (20.0, 40.0), (-40.0, 40.0))
    changed = adjusted(face, Changes(outline=outline))
    assert changed.size.area == pytest.approx(60 * 80)
    assert changed.pith is not None and face.pith is not None
    assert changed.pith.point == pytest.approx((face.pith.point[0] + 10, face.pith.point[1]))
    assert changed.outline.set_by == "person"


def test_all_positions_of_one_call_are_in_the_frame_as_it_was(face: Face) -> None:
    outline = ((-40.0, -40.0), (20.0, -40.0), (20.0, 40.0), (-40.0, 40.0))  # its centroid lies 10 mm to the left
    new, knot = NewCrack(((-10.0, 0.0), (-35.0, 0.0))), NewDefect("knot", KNOT)
    changed = adjusted(face, Changes(outline=outline, pith=(-20.0, 5.0), added=(new,), added_defects=(knot,)))
    assert changed.pith is not None
    for asked, marks in ((((-20.0, 5.0),), (changed.pith.point,)), (new.path, changed.cracks[-1].path)):
        assert np.allclose(mm_to_photo(face.scale, asked), mm_to_photo(changed.scale, marks))
    assert np.allclose(mm_to_photo(face.scale, KNOT), mm_to_photo(changed.scale, changed.defects[-1].outline))
    assert changed.size.pith_offset == pytest.approx(math.hypot(-20 + 10, 5))


def test_what_was_dismissed_may_lie_outside_an_outline_drawn_by_hand(face: Face) -> None:
    outline = ((-40.0, -40.0), (10.0, -40.0), (10.0, 40.0), (-40.0, 40.0))  # c1 lies to the right of it
    dismissed = adjusted(face, Changes(dismissed=("c1",)))
    for changed in (adjusted(dismissed, Changes(outline=outline)), adjusted(face, Changes(outline, dismissed=("c1",)))):
        assert [crack.status for crack in changed.cracks] == ["dismissed"]
        assert measure(photo(), by_hand_first(), Choices(cracks="by-hand"), hand_marks(changed)).cracks
    with pytest.raises(MarksError, match="leaves the wood"):
        adjusted(adjusted(face, Changes(depths={"c1": 9.0})), Changes(outline=outline))


def test_a_finder_asked_for_by_name_does_not_lose_what_a_person_marked(face: Face) -> None:
    marks = hand_marks(adjusted(face, Changes(added=(NewCrack(((-10.0, 20.0), (-30.0, 20.0))),))))
    for name, count in (("fake", 2), ("none", 1)):
        cracks = measure(photo(), by_hand_first(), Choices(cracks=name), marks).cracks
        assert [crack.set_by for crack in cracks].count("person") == 1 and len(cracks) == count
    assert measure(photo(), by_hand_first(), Choices(cracks="none"), hand_marks(face)).cracks == ()


def test_marks_that_no_longer_fit_are_refused_aloud(face: Face) -> None:
    added = adjusted(face, Changes(added=(NewCrack(((-10.0, 20.0), (-30.0, 20.0))),)))
    marks = hand_marks(added)
    moved = replace(marks.cracks_px[0], path=tuple((x + 1e4, y) for x, y in marks.cracks_px[0].path))
    with pytest.raises(MarksError, match="no longer fits"):
        measure(photo(), by_hand_first(), Choices(), replace(marks, cracks_px=(moved,)))


@pytest.mark.parametrize(
    "changes",
    [
        Changes(dismissed=("c9",)),
        Changes(ends={"d1": (0.0, 0.0)}),
        Changes(depths={"c1": -3.0}),
        Changes(pith=(1e5, 0.0)),
        Changes(added=(NewCrack(((0.0, 0.0), (500.0, 0.0))),)),
        Changes(outline=((0.0, 0.0), (1.0, 1.0))),
        Changes(outline=((0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 9.0))),
    ],
)
def test_a_change_that_makes_no_sense_is_refused(face: Face, changes: Changes) -> None:
    with pytest.raises(MarksError):
        adjusted(face, changes)


def test_measuring_the_photo_again_keeps_what_a_person_set(face: Face) -> None:
    changes = Changes(pith=(-20.0, 5.0), dismissed=("c1",), added=(NewCrack(((-10.0, 20.0), (-30.0, 20.0))),))
    changed = face_from_document(face_to_document(adjusted(face, changes)))
    again = measure(photo(), by_hand_first(), Choices(), hand_marks(changed))
    assert again.pith is not None
    assert again.pith.point == pytest.approx((-20.0, 5.0))
    assert again.pith.set_by == "person"
    # the automatic finder sees c1 again: the person's dismissal of it stands
    assert sorted((crack.status, round(crack.length)) for crack in again.cracks) == [("added", 20), ("dismissed", 10)]


def test_a_replaced_outline_outlives_a_new_measurement(face: Face) -> None:
    outline = ((-40.0, -40.0), (20.0, -40.0), (20.0, 40.0), (-40.0, 40.0))
    changed = adjusted(face, Changes(outline=outline))
    again = measure(photo(), by_hand_first(), Choices(), hand_marks(changed))
    assert again.outline.set_by == "person"
    assert again.size.area == pytest.approx(60 * 80)


def test_kinds_of_cracks() -> None:
    pith = Pith((0.0, 0.0), 0.5)
    assert crack_kind(((-5.0, 0.0), (0.5, 0.0), (30.0, 0.0)), pith) == "heart"
    assert crack_kind(((0.0, 30.0), (8.0, 29.0), (15.0, 26.0)), pith) == "ring"
    assert crack_kind(((0.0, 30.0), (15.0, 46.0)), replace(pith, point=(-30.0, 60.0))) in ("ring", "other")
    assert crack_kind(((0.0, 30.0), (15.0, 46.0)), None) == "other"


def test_a_path_is_cut_back_at_either_end() -> None:
    path = ((0.0, 0.0), (10.0, 0.0), (20.0, 0.0))
    assert with_end(path, (4.0, 1.0)) == ((4.0, 1.0), (10.0, 0.0), (20.0, 0.0))
    assert with_end(path, (15.0, 0.0)) == ((0.0, 0.0), (10.0, 0.0), (15.0, 0.0))


KNOT = ((-12.0, 20.0), (-4.0, 20.0), (-4.0, 28.0), (-12.0, 28.0))


def test_an_added_defect_is_kept_in_the_wood_and_in_new_measurements(face: Face) -> None:
    first = adjusted(face, Changes(added_defects=(NewDefect("knot", KNOT, depth=15.0),)))
    new = first.defects[-1]
    assert (new.kind, new.status, new.set_by, new.depth) == ("knot", "added", "person", 15.0)
    assert first.provenance[-1].reason == "knot added by a person"
    assert face_from_document(face_to_document(first)) == first
    again = measure(photo(), by_hand_first(), Choices(), hand_marks(first))
    kept = next(defect for defect in again.defects if defect.set_by == "person")
    for there, back in zip(new.outline, kept.outline, strict=True):
        assert back == pytest.approx(there, abs=1e-6)  # there and back through pixels, rounding alone
    with pytest.raises(MarksError, match="leaves the wood"):
        adjusted(face, Changes(added_defects=(NewDefect("hole", tuple((x + 900, y) for x, y in KNOT)),)))
    with pytest.raises(MarksError, match="not a simple polygon"):
        adjusted(face, Changes(added_defects=(NewDefect("hole", (KNOT[0], KNOT[2], KNOT[1], KNOT[3])),)))


def test_what_a_person_dismissed_does_not_come_back_as_another_kind(face: Face) -> None:
    dismissed = Defect("d1", "knot", KNOT, 0.9, "dismissed", set_by="person")
    seen = Defect("", "bark", KNOT, 0.95, "seen")
    _, defects = merge_marks([seen, dismissed])
    assert [defect.status for defect in defects] == ["dismissed"]


def test_a_possible_crack_seen_only_in_a_hole_is_the_hole() -> None:
    hole = Defect("", "hole", KNOT, 0.95, "seen")
    through = Crack("", ((-20.0, 24.0), (4.0, 24.0)), 3.0, 24.0, "radial", 0.4, "possible", tip_margin=7.0)
    cracks, defects = merge_marks([hole, through])  # between its margins it runs from x = -13 to -3, the hole to -4
    assert cracks == () and len(defects) == 1
    longer = replace(through, path=((-20.0, 24.0), (14.0, 24.0)), length=34.0)
    for kept in (longer, replace(through, status="seen", confidence=0.9), replace(through, set_by="person")):
        assert len(merge_marks([hole, kept])[0]) == 1
    assert len(merge_marks([replace(hole, status="possible"), through])[0]) == 1


@pytest.mark.parametrize("status", ["added", "dismissed"])
def test_a_crack_that_runs_farther_than_what_a_person_set_is_kept(status: Literal["added", "dismissed"]) -> None:
    """Cracks grow between two photos; by a little more, the tips are only seen otherwise."""
    known = Crack("c1", ((0.0, 0.0), (60.0, 0.0)), 1.0, 60.0, "radial", 1.0, status, set_by="person")
    for length, kept in ((58.0, 1), (70.0, 1), (95.0, 2), (300.0, 2)):
        found = Crack("", ((0.0, 0.4), (length, 0.4)), 1.0, length, "radial", 0.9, "seen", tip_margin=6.0)
        assert len(merge_marks([known, found])[0]) == kept
        assert len(merge_marks([known, replace(found, path=found.path[::-1])])[0]) == kept
