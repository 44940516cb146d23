"""Folders and backups: everything comes back, on either database; damage and strangers are refused."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import pytest

from photonest.catalogue.entries import Details, Wanted
from photonest.catalogue.store import Catalogue
from photonest.catalogue.transfer import back_up, export_folder, take_in, to_csv, to_document
from photonest.model import CatalogueError, OutputError, read_face
from tests.catalogue.pieces import THUMBNAIL, add, face_of, photo


def filled(catalogue: Catalogue) -> Catalogue:
    one = add(catalogue, 1, Details(species="black walnut", place='behind "the" stove, <left>', note="a\nb"))
    catalogue.weigh(one.code, 1850)
    catalogue.weigh(one.code, 18500)
    catalogue.undo(one.code)
    catalogue.set_state(one.code, "drying")
    add(catalogue, 2, Details("blank", thickness=90.0, code="ELM-7"))
    catalogue.undo(add(catalogue, 3).code)
    return catalogue


@pytest.fixture
def other(tmp_path: Path) -> Catalogue:
    return Catalogue(str(tmp_path / "other.sqlite"), make=True)


@pytest.mark.parametrize("as_backup", [False, True])
def test_everything_comes_back(catalogue: Catalogue, other: Catalogue, tmp_path: Path, as_backup: bool) -> None:
    filled(catalogue)
    source = tmp_path / ("yard.zip" if as_backup else "yard")
    count = back_up(catalogue, source) if as_backup else export_folder(catalogue, source)
    assert count == 3
    taken = take_in(other, source)
    assert (len(taken.new), taken.known, taken.renamed) == (3, (), ())
    assert to_document(other) == to_document(catalogue)
    for entry in [*catalogue.find(), *catalogue.find(Wanted(withdrawn=True))]:
        assert other.entry(entry.code) == entry
        assert other.face(entry.code) == catalogue.face(entry.code)
        assert other.history(entry.code) == catalogue.history(entry.code)
        assert other.photos.trouble(entry.photo_sha256, entry.photo_file) is None
    assert take_in(other, source).known == taken.new  # a second time changes nothing
    assert to_document(other) == to_document(catalogue)


def test_a_code_taken_by_another_photo_is_changed_and_said(
    catalogue: Catalogue, other: Catalogue, tmp_path: Path
) -> None:
    filled(catalogue)
    add(other, 9, Details(code="ELM-7"))
    back_up(catalogue, tmp_path / "yard.zip")
    taken = take_in(other, tmp_path / "yard.zip")
    assert [old for old, _ in taken.renamed] == ["ELM-7"]
    assert len(other.find()) == 3


def test_the_folder_can_be_read_without_us(other: Catalogue, tmp_path: Path) -> None:
    filled(other)
    folder = tmp_path / "yard"
    export_folder(other, folder)
    with (folder / "entries.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    walnut = next(row for row in rows if row["species"] == "black walnut")
    assert walnut["place"] == 'behind "the" stove, <left>'
    assert walnut["note"] == "a\nb"
    assert float(walnut["weight"]) == 1850
    assert (folder / "photos" / f"{walnut['code']}.jpg").read_bytes() == photo(1)
    assert (folder / "thumbnails" / f"{walnut['code']}.jpg").read_bytes() == THUMBNAIL
    assert read_face(folder / "faces" / f"{walnut['code']}.json") == face_of(photo(1), "piece-1.jpg")
    page = _Page((folder / "index.html").read_text(encoding="utf-8"))
    assert 'behind "the" stove, <left>' in page.words
    assert all((folder / link).is_file() for link in page.links)


class _Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.feed(text)

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value for name, value in attrs if name in ("src", "href") and value]


def test_pandas_reads_the_table(other: Catalogue) -> None:
    pandas = pytest.importorskip("pandas")
    filled(other)
    table = pandas.read_csv(io.StringIO(to_csv(other.find())), parse_dates=["added_day"])
    assert list(table["code"]) == [entry.code for entry in other.find()]
    assert table["max_diameter"].dtype == float


def test_the_zip_tool_reads_the_backup(other: Catalogue, tmp_path: Path) -> None:
    back_up(filled(other), tmp_path / "yard.zip")
    with zipfile.ZipFile(tmp_path / "yard.zip") as archive:
        assert archive.testzip() is None
        assert "entries.csv" in archive.namelist()


def test_a_backup_is_replaced_only_by_a_whole_one(other: Catalogue, tmp_path: Path) -> None:
    filled(other)
    file = tmp_path / "yard.zip"
    back_up(other, file)
    before = file.read_bytes()
    entry = other.find()[0]
    other.photos.photo(entry.photo_sha256, entry.photo_file).unlink()
    with pytest.raises(CatalogueError, match="is missing"):
        back_up(other, file)
    assert file.read_bytes() == before
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".yard")]


def test_a_folder_in_use_is_not_written_over(other: Catalogue, tmp_path: Path) -> None:
    (tmp_path / "yard").mkdir()
    (tmp_path / "yard" / "letter.txt").write_text("mine")
    with pytest.raises(OutputError, match="is there already"):
        export_folder(other, tmp_path / "yard")


def change(folder: Path, **fields: object) -> None:
    document = json.loads((folder / "catalogue.json").read_text())
    (folder / "catalogue.json").write_text(json.dumps({**document, **fields}))


def test_damage_is_refused(catalogue: Catalogue, other: Catalogue, tmp_path: Path) -> None:
    folder = tmp_path / "yard"
    export_folder(filled(other), folder)
    whole = json.loads((folder / "catalogue.json").read_text())
    record = whole["entries"][0]
    wrong: list[tuple[dict[str, object], str]] = [
        ({"format": "songs"}, "is no catalogue"),
        ({"version": 2}, "newer photonest"),
        ({"entries": [{"code": "A"}]}, "can't be read"),
        ({"entries": 4}, "can't be read"),
        ({"entries": [{**record, "history": []}]}, "must begin with adding"),
        ({"entries": [{**record, "history": [{**record["history"][0], "day": "yesterday"}]}]}, "history can't be read"),
        ({"entries": [{**record, "history": [{**record["history"][0], "facts": {}}]}]}, "history can't be read"),
        ({"entries": [{**record, "photo": {**record["photo"], "sha256": "0" * 64}}]}, "not what it was"),
        ({"entries": [{**record, "photo": {**record["photo"], "path": "../secret"}}]}, "outside itself"),
        ({"entries": [{**record, "photo": {**record["photo"], "path": "photos/none"}}]}, "can't be read"),
    ]
    for fields, problem in wrong:
        change(folder, **{**whole, **fields})
        with pytest.raises(CatalogueError, match=problem):
            take_in(catalogue, folder)
    assert catalogue.find() == []


@pytest.mark.parametrize("content", [b"", b"Dear turner,"])
def test_a_file_that_is_no_backup(other: Catalogue, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "yard.zip").write_bytes(content)
    with pytest.raises(CatalogueError, match="neither an exported folder nor a backup"):
        take_in(other, tmp_path / "yard.zip")
