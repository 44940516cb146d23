"""The store on SQLite and PostgreSQL: nothing is lost, nothing is there twice, mistakes are taken back."""

from __future__ import annotations

import concurrent.futures
import dataclasses
import hashlib
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from photonest.catalogue.entries import Details, Wanted
from photonest.catalogue.history import face_hash
from photonest.catalogue.store import Catalogue
from photonest.model import CatalogueError, FaceFacts, Plan
from tests.catalogue.conftest import Opener
from tests.catalogue.pieces import THUMBNAIL, add, face_of, photo
from tests.nest.examples import plain_blank

DAY = date(2031, 4, 2)


def test_what_was_added_is_there(catalogue: Catalogue) -> None:
    told = Details("blank", thickness=90.0, species="black walnut", place="loft", note="from the old mill")
    content = photo(1)
    face = face_of(content)
    found = catalogue.add(content, face, THUMBNAIL, told, DAY)
    assert found == catalogue.entry(found.code.lower())
    assert (found.kind, found.species, found.place, found.state) == ("blank", "black walnut", "loft", "fresh")
    assert (found.max_diameter, found.clear_diameter, found.warnings) == (155.6, 200.0, 1)
    assert found.added_day == found.state_day == DAY
    assert catalogue.face(found.code) == face
    assert catalogue.photos.photo(found.photo_sha256, found.photo_file).read_bytes() == content
    assert catalogue.photos.thumbnail(found.photo_sha256).read_bytes() == THUMBNAIL


def test_a_photo_already_there_is_recognised(catalogue: Catalogue) -> None:
    first = add(catalogue, 1)
    again = catalogue.add(photo(1), face_of(photo(1), "renamed.jpg"), THUMBNAIL, Details(place="elsewhere"))
    assert again == first
    assert len(catalogue.find()) == 1


def test_two_entries_with_one_code_are_refused(catalogue: Catalogue) -> None:
    add(catalogue, 1, Details(code="ELM-7"))
    with pytest.raises(CatalogueError, match="code ELM-7 is taken"):
        add(catalogue, 2, Details(code="ELM-7"))
    assert [entry.code for entry in catalogue.find()] == ["ELM-7"]
    assert not catalogue.photos.photo(hashlib.sha256(photo(2)).hexdigest(), "x.jpg").exists()


@pytest.mark.parametrize("code", ["", "elm", "A B", "X" * 17, "Ä1", "-A"])
def test_a_code_must_fit_a_label(catalogue: Catalogue, code: str) -> None:
    with pytest.raises(CatalogueError, match="can't be a code"):
        add(catalogue, 1, Details(code=code))


def test_history_is_kept_and_the_entry_follows(catalogue: Catalogue) -> None:
    code = add(catalogue).code
    catalogue.weigh(code, 1850.5, DAY)
    catalogue.move(code, "loft, left", DAY)
    catalogue.set_state(code, "drying", DAY)
    catalogue.describe(code, {"species": "white ash", "thickness": 88.0}, DAY)
    catalogue.record_result(code, [{"rim": 210.0, "depth": 70.0}], "one lost", DAY)
    found = catalogue.weigh(code, 1702, DAY + timedelta(days=20))
    assert (found.weight, found.weight_day) == (1702, DAY + timedelta(days=20))
    assert (found.place, found.state, found.state_day) == ("loft, left", "drying", DAY)
    assert (found.species, found.thickness) == ("white ash", 88.0)
    happened = catalogue.history(code)
    assert [h.kind for h in happened] == ["added", "weighed", "moved", "state", "described", "result", "weighed"]
    assert happened[1].facts == {"grams": 1850.5}
    assert happened[5].facts == {"bowls": [{"rim": 210.0, "depth": 70.0}], "note": "one lost"}


def test_what_is_recorded_late_does_not_undo_what_came_after(catalogue: Catalogue) -> None:
    code = add(catalogue).code
    catalogue.weigh(code, 1500, DAY)
    catalogue.set_state(code, "drying", DAY)
    found = catalogue.weigh(code, 1850, DAY - timedelta(days=30))
    assert (found.weight, found.weight_day) == (1500, DAY)
    assert catalogue.set_state(code, "sealed", DAY - timedelta(days=40)).state == "drying"
    assert catalogue.set_state(code, "dry", DAY).state == "dry"  # of one day the last recorded


def test_a_mistake_is_taken_back_but_not_forgotten(catalogue: Catalogue) -> None:
    before = add(catalogue)
    catalogue.move(before.code, "loft")
    catalogue.weigh(before.code, 18500)
    assert catalogue.undo(before.code).facts == {"grams": 18500}
    assert catalogue.entry(before.code) == dataclasses.replace(before, place="loft")
    assert catalogue.undo(before.code).kind == "moved"
    assert catalogue.entry(before.code) == before
    assert [h.undone_at is not None for h in catalogue.history(before.code)] == [False, True, True]


def test_adding_can_be_taken_back_and_done_again(catalogue: Catalogue) -> None:
    first = add(catalogue, 1, Details(place="loft"))
    catalogue.undo(first.code)
    assert catalogue.find() == []
    assert [entry.code for entry in catalogue.find(Wanted(withdrawn=True))] == [first.code]
    with pytest.raises(CatalogueError, match="nothing left to take back"):
        catalogue.undo(first.code)
    again = add(catalogue, 1, Details(place="yard"))
    assert (again.code, again.place, again.withdrawn) == (first.code, "yard", False)


steps = st.lists(
    st.one_of(
        st.tuples(st.just("weigh"), st.floats(1, 1e5)),
        st.tuples(st.just("move"), st.sampled_from(["loft", "yard"])),
        st.tuples(st.just("set_state"), st.sampled_from(["drying", "dry"])),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps)
def test_undoing_walks_back_through_every_state(catalogue: Catalogue, steps: list[tuple[str, object]]) -> None:
    code = add(catalogue).code
    seen = [catalogue.entry(code)]
    seen += [getattr(catalogue, name)(code, value) for name, value in steps]
    for expected in reversed(seen):
        assert catalogue.entry(code) == expected
        if expected is not seen[0]:
            catalogue.undo(code)


def test_finding(catalogue: Catalogue) -> None:
    rows = [
        (1, Details(species="black walnut", place="loft", thickness=90.0), 150.0),
        (2, Details(species="white ash", place="loft 100%", note="spalted, from Anna"), 120.0),
        (3, Details(species="black cherry", place="yard", state="drying"), None),
    ]
    codes = [add(catalogue, number, told, clear).code for number, told, clear in rows]

    def found(wanted: Wanted) -> set[int]:
        return {codes.index(entry.code) + 1 for entry in catalogue.find(wanted)}

    assert found(Wanted()) == {1, 2, 3}
    assert found(Wanted(species=["black"])) == {1, 3}
    assert found(Wanted(species=["walnut", "ash"])) == {1, 2}
    assert found(Wanted(place="LOFT")) == {1, 2}
    assert found(Wanted(place="100%")) == {2}  # % and _ mean themselves
    assert found(Wanted(place="l_ft")) == set()
    assert found(Wanted(states=["drying"])) == {3}
    assert found(Wanted(fits=250)) == {1}  # circles of 300 and 240 mm; the third has none
    assert found(Wanted(text="anna ash")) == {2}
    assert found(Wanted(text="piece-3")) == {3}
    assert found(Wanted(codes=[codes[0].lower()])) == {1}
    assert found(Wanted(since=date.today())) == {1, 2, 3}
    assert found(Wanted(until=date.today() - timedelta(days=1))) == set()
    with pytest.raises(CatalogueError, match="'mouldy' is not a state"):
        found(Wanted(states=["mouldy"]))


def test_letters_with_accents_are_found_small_and_capital(catalogue: Catalogue) -> None:
    code = add(catalogue, 1, Details(species="Érable", thickness=90.0)).code
    for wanted in (Wanted(species=["érable"]), Wanted(text="ÉRABLE")):
        assert [entry.code for entry in catalogue.find(wanted)] == [code]


@pytest.mark.parametrize("place", ["O'Brien's \"barn\"", "left\nshelf", "🪵 loft", "'; DROP TABLE entry; --", "%_\\"])
def test_a_place_with_odd_characters(catalogue: Catalogue, place: str) -> None:
    code = add(catalogue).code
    assert catalogue.move(code, place).place == place
    assert [entry.code for entry in catalogue.find(Wanted(place=place))] == [code]


def test_what_no_database_keeps_is_refused(catalogue: Catalogue) -> None:
    code = add(catalogue).code
    for place in ("a\x00b", "\udcff"):
        with pytest.raises(CatalogueError, match="no text"):
            catalogue.move(code, place)
    with pytest.raises(CatalogueError, match="needs a name"):
        catalogue.move(code, "  ")
    for grams in (0.0, -5.0, float("nan")):
        with pytest.raises(CatalogueError, match="more than 0"):
            catalogue.weigh(code, grams)
    with pytest.raises(CatalogueError, match="more than 0"):
        add(catalogue, 2, Details(thickness=-90.0))
    with pytest.raises(CatalogueError, match="more than 0"):
        catalogue.record_result(code, [{"rim": -1.0}])
    assert [h.kind for h in catalogue.history(code)] == ["added"]


def test_a_file_name_that_is_no_text_is_mended(catalogue: Catalogue) -> None:
    content = photo(1)
    found = catalogue.add(content, face_of(content, "elm\udcff.jpg"), THUMBNAIL, Details())
    assert found.photo_file == "elm?.jpg"


def test_unknown_codes_and_states(catalogue: Catalogue) -> None:
    code = add(catalogue).code
    for call in (catalogue.entry, catalogue.face, catalogue.history, catalogue.undo):
        with pytest.raises(CatalogueError, match="No entry has the code 'NOPE'"):
            call("NOPE")
    with pytest.raises(CatalogueError, match="is not a state"):
        catalogue.set_state(code, "mouldy")
    with pytest.raises(CatalogueError, match="Nothing to record"):
        catalogue.describe(code, {"colour": "brown"})


def test_a_photo_changed_after_measuring_is_refused(catalogue: Catalogue) -> None:
    with pytest.raises(CatalogueError, match="changed after it was measured"):
        catalogue.add(b"another", face_of(photo(1)), THUMBNAIL, Details())
    assert catalogue.find() == []


def plan_for(catalogue: Catalogue, code: str) -> Plan:
    _, plan = plain_blank()
    return dataclasses.replace(plan, face=FaceFacts("face.json", face_hash(catalogue.face(code))))


def test_a_plan_is_attached_to_its_own_face_only(catalogue: Catalogue) -> None:
    one, two = add(catalogue, 1), add(catalogue, 2)
    catalogue.attach_plan(one.code, plan_for(catalogue, one.code))
    assert catalogue.history(one.code)[-1].facts["plan"]["format"] == "photonest-plan"
    with pytest.raises(CatalogueError, match="not made for the face"):
        catalogue.attach_plan(two.code, plan_for(catalogue, one.code))


def test_a_face_corrected_by_hand_comes_with_its_plan(catalogue: Catalogue) -> None:
    before = add(catalogue)
    corrected = dataclasses.replace(face_of(photo(1), "piece-1.jpg", clear=60.0), warnings=())
    plan = dataclasses.replace(plain_blank()[1], face=FaceFacts("face.json", face_hash(corrected)))
    found = catalogue.attach_plan(before.code, plan, corrected)
    assert (found.clear_diameter, found.warnings) == (120.0, 0)
    assert catalogue.face(before.code) == corrected
    catalogue.undo(before.code)
    catalogue.undo(before.code)
    assert catalogue.entry(before.code) == before
    with pytest.raises(CatalogueError, match="another photo"):
        catalogue.attach_plan(before.code, plan, face_of(photo(2)))


def test_two_programs_adding_at_once_both_succeed(opener: Opener) -> None:
    catalogues = [opener(), opener()]

    def work(index: int) -> list[str]:
        return [add(catalogues[index], number).code for number in range(10 * index, 10 * index + 12)]

    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        first, second = pool.map(work, range(2))
    assert len({*first, *second}) == 22  # numbers 10 and 11 are added by both
    assert len(catalogues[0].find()) == 22
    assert first[10:] == second[:2]
