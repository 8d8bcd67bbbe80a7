"""The bench book: appending, superseding, asking; what the file itself refuses."""

from __future__ import annotations

import sqlite3
import threading
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from pydantic import ValidationError
from tests.support.books import random_book, spectrum_bytes, ticking_clock

from truekev.book.body import InputRecord, Value
from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.book.kinds import KINDS, body_from_mapping
from truekev.book.layout import metadata
from truekev.book.records import NewFile
from truekev.book.run_readings import NewReading, add_readings, last_readings, readings_of
from truekev.book.spectra import add_spectrum, stored_spectrum
from truekev.book.things import Departure, Find, Stock, Upkeep
from truekev.book.work import Batch, Note, Picture, Result, SpectrumFile, Withdrawn
from truekev.errors import FileFormatError, InputError, OutOfRangeError, RefusedError, StoreError, UnknownNameError
from truekev.spectra.read import spectra_of_bytes
from truekev.tables.loader import table_versions


@pytest.fixture
def book(tmp_path):
    with Book.create(tmp_path / "lab.book", "Teaching lab", clock=ticking_clock()) as book:
        yield book


def _find(name: str = "Lens", **more: object) -> Find:
    return Find(name=name, what="old lens", place="shelf 1", found_on=date(2026, 2, 1), **more)


def test_a_record_comes_back_as_it_was(book):
    added = book.add(_find(mass_g=Value(value=120.5, u=0.1, unit="g")))
    found = book.get(added.id)
    assert found == added
    assert found.body.mass_g.measured.u == 0.1
    assert found.program.startswith("truekev ")
    assert found.tables == table_versions()
    assert found.current
    assert found.first_id == found.id == 1


def test_superseding_keeps_the_old(book):
    first = book.add(_find())
    second = book.add(_find("Lens, Thoriated"), supersedes=first.id)
    assert [r.id for r in book.history(second.id)] == [1, 2]
    assert book.get(1).superseded_by == 2
    assert book.newest(1).name == "Lens, Thoriated"
    assert [r.id for r in book.current(Find)] == [2]
    assert book.current(Find, "Lens") == ()
    with pytest.raises(RefusedError, match="superseded by record 2"):
        book.add(_find(), supersedes=1)
    with pytest.raises(InputError, match="cannot take its place"):
        book.add(Note(name="x", text="y"), supersedes=2)
    with pytest.raises(InputError, match="none to supersede"):
        book.add(_find(), supersedes=99)


def test_withdrawn_and_taken_up_again(book):
    first = book.add(_find())
    gone = book.withdraw(first.id, "twice in the book")
    assert book.current(Find) == ()
    assert isinstance(book.newest(first.id).body, Withdrawn)
    with pytest.raises(InputError, match="is a find; a note"):
        book.add(Note(name="x", text="y"), supersedes=gone.id)
    book.add(_find(), supersedes=gone.id)
    assert [r.id for r in book.current(Find)] == [3]


def test_references_are_checked(book):
    with pytest.raises(InputError, match="record 7 is not in the book"):
        book.add(Upkeep(name="look", thing_id=7, on=date(2026, 3, 1)))
    note = book.add(Note(name="n", text="t"))
    with pytest.raises(InputError, match="is a note; stock or source"):
        book.add(Upkeep(name="look", thing_id=note.id, on=date(2026, 3, 1)))
    wrong = InputRecord(id=note.id, sha256="0" * 64)
    with pytest.raises(InputError, match="another sha256"):
        book.add(Result(name="r", question="q", inputs=(wrong,), answer={}))
    with pytest.raises(InputError, match="holds no file"):
        book.add(Picture(name="p", file_sha256="0" * 64, file_name="p.png"))
    assert book.count() == {"note": 1}, "nothing of a refused record is there"


def test_about_finds_what_refers_to_any_version(book):
    first = book.add(_find())
    look = book.add(Upkeep(name="look", thing_id=first.id, on=date(2026, 3, 1), looked=True))
    second = book.add(_find("Lens 2"), supersedes=first.id)
    later = book.add(Upkeep(name="look", thing_id=second.id, on=date(2027, 3, 1), looked=True))
    assert [r.id for r in book.about(first.id, Upkeep)] == [look.id, later.id]
    assert [r.id for r in book.about(second.id, Upkeep)] == [look.id, later.id]


def test_files_are_kept_once_and_as_they_came(book):
    data = bytes(range(256)) * 3
    file = NewFile(data, "image/png")
    for name in ("one", "two"):
        book.add(Picture(name=name, file_sha256=file.sha256, file_name="a.png"), files=[file])
    assert book.file(file.sha256).data == data
    assert check_book(book).n_files == 1
    with pytest.raises(InputError, match="holds none"):
        book.file("f" * 64)


def test_a_refused_record_leaves_no_file(book):
    file = NewFile(b"x")
    with pytest.raises(InputError):
        book.add(Picture(name="p", file_sha256=file.sha256, file_name="a", about_ids=(5,)), files=[file])
    assert check_book(book).n_files == 0


def test_lists_are_paged(book):
    for i in range(7):
        book.add(_find(f"find {i}"))
    assert [line.name for line in book.lines("find", limit=3)] == ["find 6", "find 5", "find 4"]
    assert [line.name for line in book.lines(limit=3, skip=6)] == ["find 0"]
    assert [r.name for r in book.current(Find, limit=2, skip=1)] == ["find 5", "find 4"]
    with pytest.raises(UnknownNameError, match="did you mean find"):
        book.lines("fynd")


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    with random_book(tmp_path_factory.mktemp("book") / "a.book", np.random.default_rng(5), 60) as book:
        return book.path


@pytest.mark.parametrize("table", sorted(metadata.tables))
@pytest.mark.parametrize(
    "statement", ["UPDATE {0} SET {1} = {1}", "DELETE FROM {0}", "INSERT OR REPLACE INTO {0} SELECT * FROM {0}"]
)
def test_the_file_itself_refuses_changes(filled, table, statement):
    connection = sqlite3.connect(filled)
    column = next(iter(metadata.tables[table].columns)).name
    assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
    with pytest.raises(sqlite3.IntegrityError, match="never overwritten"):
        connection.execute(statement.format(table, column))
    connection.close()


def test_check_sees_what_was_changed_by_other_means(tmp_path):
    with random_book(tmp_path / "a.book", np.random.default_rng(6), 60) as book:
        path = book.path
        assert check_book(book).whole
    connection = sqlite3.connect(path)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("UPDATE records SET name = 'other' WHERE id = 2")
    connection.execute("UPDATE blobs SET data = x'00' WHERE rowid = (SELECT min(rowid) FROM blobs)")
    connection.execute("DELETE FROM refs WHERE record_id = (SELECT min(record_id) FROM refs)")
    connection.execute("DELETE FROM readings WHERE id = (SELECT max(id) FROM readings)")
    connection.commit()
    connection.close()
    with Book.open(path) as book:
        faults = " ".join(check_book(book).faults)
    for word in ("record 2", "bytes have changed", "not written down", "some are missing"):
        assert word in faults


def test_migrations_make_the_tables_of_the_layout(book):
    with book.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_every_kind_has_its_own_word_and_fields():
    assert len(KINDS) == 19
    for kind, model in KINDS.items():
        assert model.kind == kind
        assert set(model.refers) | set(model.files) <= set(model.model_fields)


@pytest.mark.parametrize(
    ("how", "more", "asked"),
    [
        ("disposed of", {"to": "disposer"}, "reference_no"),
        ("disposed of", {"reference_no": "1"}, "licensed disposer"),
        ("handed over", {}, "who has it now"),
        ("used up", {}, "batch_id"),
    ],
)
def test_a_departure_says_where_to(how, more, asked):
    with pytest.raises(ValidationError, match=asked):
        Departure(name="d", thing_id=1, how=how, on=date(2026, 1, 1), **more)


def test_rods_must_be_known():
    entries = {"name": "rods", "what": "rods", "place": "drawer"}
    with pytest.raises(FileFormatError, match="electrode_class"):
        body_from_mapping("stock", entries)
    with pytest.raises(FileFormatError, match="u_thoria_percent"):
        body_from_mapping("stock", entries | {"thoria_percent": 2.0})
    with pytest.raises(FileFormatError, match="diameter_mm"):
        body_from_mapping("stock", entries | {"electrode_class": "WT20"})
    assert isinstance(body_from_mapping("stock", entries | {"what": "reagent"}), Stock)


@pytest.mark.parametrize("name", ["", "   ", "two\nlines", "nul\0", "\ud800"])
def test_names_are_one_plain_line(name):
    with pytest.raises(ValidationError):
        Note(name=name, text="t")


def test_values_must_be_finite():
    with pytest.raises(ValidationError):
        Value(value=float("nan"), u=0.1)
    with pytest.raises(ValidationError):
        Value(value=1.0, u=-0.1)


def test_spectra_keep_their_bytes(book):
    rng = np.random.default_rng(3)
    for _ in range(4):
        data, name = spectrum_bytes(rng)
        record = add_spectrum(book, data, f"../../{name}")
        assert record.body.file_name == name
        assert book.file(record.body.file_sha256).data == data
        assert stored_spectrum(book, record.id) == spectra_of_bytes(data, file=name)[0]
    assert len(book.current(SpectrumFile)) == 4
    with pytest.raises(FileFormatError):
        add_spectrum(book, b"no spectrum", "x.csv")
    assert len(book.current(SpectrumFile)) == 4


def _batch(book: Book) -> int:
    return book.add(Batch(name="batch", settings={})).id


def test_readings_are_corrected_by_later_ones(book):
    batch_id = _batch(book)
    at = [datetime(2026, 5, 1, 9, minute) for minute in (0, 10, 20)]
    numbers = add_readings(book, batch_id, [NewReading(t, current_a=1.0, voltage_v=3.0) for t in at])
    assert numbers == range(1, 4)
    add_readings(book, batch_id, [NewReading(at[1], current_a=1.2, supersedes=2)])
    add_readings(book, batch_id, [NewReading(at[2], supersedes=3, remark="meter off")])
    np.testing.assert_array_equal(readings_of(book, batch_id).current_a, [1.0, 1.2])
    assert [r.id for r in last_readings(book, batch_id, 2)] == [5, 4]
    with pytest.raises(RefusedError, match="superseded already"):
        add_readings(book, batch_id, [NewReading(at[1], current_a=1.3, supersedes=2)])
    with pytest.raises(InputError, match="none of that number"):
        add_readings(book, _batch(book), [NewReading(at[1], current_a=1.3, supersedes=1)])
    with pytest.raises(InputError, match="a batch is needed"):
        add_readings(book, book.add(Note(name="n", text="t")).id, [NewReading(at[0], current_a=1.0)])
    assert check_book(book).n_readings == 5


def test_readings_follow_the_batch_when_it_is_superseded(book):
    old = _batch(book)
    add_readings(book, old, [NewReading(datetime(2026, 5, 1), current_a=1.0)])
    new = book.add(Batch(name="batch, corrected", settings={}), supersedes=old)
    add_readings(book, new.id, [NewReading(datetime(2026, 5, 2), current_a=2.0)])
    np.testing.assert_array_equal(readings_of(book, old).current_a, [1.0, 2.0])


def test_thinned_readings_keep_what_is_rare(book):
    batch_id = _batch(book)
    start = datetime(2026, 5, 1)
    new = [NewReading(start + timedelta(minutes=i), current_a=float(i)) for i in range(100)]
    new[33] = NewReading(start + timedelta(minutes=33), mass_g=12.0)
    new[44] = NewReading(start + timedelta(minutes=44), current_a=44.0, remark="gas at the anode")
    add_readings(book, batch_id, new)
    thin = readings_of(book, batch_id, thin_to_every=10)
    assert thin.n_readings == 12
    assert 12.0 in thin.mass_g
    assert 44.0 in thin.current_a


@pytest.mark.parametrize("bad", [{"current_a": -1.0}, {"current_a": float("nan")}, {"temperature_degc": 151.0}])
def test_impossible_readings(bad):
    with pytest.raises(OutOfRangeError):
        NewReading(datetime(2026, 5, 1), **bad)
    with pytest.raises(InputError):
        NewReading(datetime(2026, 5, 1))


def test_threads_share_a_book(book):
    failures: list[Exception] = []

    def work() -> None:
        try:
            for _ in range(20):
                book.add(_find())
                book.lines(limit=5)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures
    assert book.count() == {"find": 80}
    assert check_book(book).whole


def test_open_for_reading_only_refuses_to_write(book):
    book.add(_find())
    with Book.open(book.path, write=False) as other:
        assert other.count() == {"find": 1}
        with pytest.raises(StoreError, match="reading only"):
            other.add(_find())


def test_create_never_writes_over(tmp_path):
    path = tmp_path / "a.book"
    path.write_text("mine")
    with pytest.raises(InputError, match="already"):
        Book.create(path, "Title")
    assert path.read_text() == "mine"
    with pytest.raises(InputError, match="title"):
        Book.create(tmp_path / "b.book", " ")
    with pytest.raises(StoreError, match="another folder"):
        Book.create(tmp_path / "no" / "b.book", "Title")
    assert [p.name for p in tmp_path.iterdir()] == ["a.book"]


def test_closing_leaves_one_file(tmp_path: Path):
    with Book.create(tmp_path / "a.book", "Title") as book:
        book.add(_find())
    assert [p.name for p in tmp_path.iterdir()] == ["a.book"]
