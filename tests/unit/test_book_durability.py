"""Nothing acknowledged is lost, nothing half is there, and a clear sentence: thinned; all of it in a study."""

from __future__ import annotations

import shutil
import sqlite3

import numpy as np
import pytest
from tests.support.book_trials import cut_short, fill_up, new_book, survive_kills, two_writers
from tests.support.books import random_book

from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.book.work import Note
from truekev.errors import FileFormatError, InputError, StoreError


def test_killed_while_writing(tmp_path):
    found = survive_kills(tmp_path, np.random.default_rng(1), n_writes=30, longest_s=0.05)
    assert found.n_kills > 0
    assert (found.lost, found.faults) == (0, ())


def test_disk_refuses(tmp_path):
    path = tmp_path / "full.book"
    new_book(path)
    found = fill_up(path, n_writes=200, file_limit=600_000)
    assert found.acknowledged < 200
    assert found.lost == 0
    assert found.faults == ()
    assert found.said.startswith("exit 1: ")
    assert "all that was written before is safe" in found.said


def test_full_disk_by_pages(tmp_path):
    with Book.create(tmp_path / "a.book", "Title") as book:
        book.add(Note(name="n", text="kept"))
        with book.writing() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 40")
        with pytest.raises(StoreError, match="the disk is full; nothing of this was written"):
            book.add(Note(name="n", text="x" * 190_000))
        assert book.count() == {"note": 1}
        assert check_book(book).whole


def test_two_writers_on_one_book(tmp_path):
    found = two_writers(tmp_path, n_writes=30)
    assert (found.acknowledged, found.lost, found.faults, found.said) == (60, 0, (), "")


def test_a_writer_that_does_not_end(tmp_path, monkeypatch):
    monkeypatch.setattr("truekev.book.engine._WAIT_S", 0.05)
    with Book.create(tmp_path / "a.book", "Title") as book:
        other = sqlite3.connect(book.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program"):
            book.add(Note(name="n", text="t"))
        assert book.count() == {}
        other.execute("ROLLBACK")
        other.close()
        book.add(Note(name="n", text="t"))


def test_read_only_disk(tmp_path, monkeypatch):
    with random_book(tmp_path / "a.book", np.random.default_rng(3), 20) as book:
        n = book.count()
    monkeypatch.setattr("truekev.book.book.can_write", lambda path: False)
    monkeypatch.setattr("truekev.book.engine.can_write", lambda path: False)
    before = book.path.read_bytes()
    with Book.open(book.path) as read_only:
        assert read_only.count() == n
        assert check_book(read_only).whole
        with pytest.raises(StoreError, match="cannot be written; nothing was written"):
            read_only.add(Note(name="n", text="t"))
    assert book.path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.book"]


def test_book_from_a_newer_version(tmp_path):
    with random_book(tmp_path / "a.book", np.random.default_rng(3), 5):
        pass
    connection = sqlite3.connect(tmp_path / "a.book")
    connection.execute("PRAGMA user_version = 7")
    connection.close()
    before = (tmp_path / "a.book").read_bytes()
    with pytest.raises(InputError, match=r"newer truekev \(layout 7; this version knows up to 1\)"):
        Book.open(tmp_path / "a.book")
    assert (tmp_path / "a.book").read_bytes() == before


@pytest.mark.parametrize("part", [0.0, 0.001, 0.02, 0.3, 0.9, 0.999])
def test_cut_short(tmp_path, part):
    with random_book(tmp_path / "a.book", np.random.default_rng(3), 20) as book:
        pass
    said = cut_short(book.path, int(part * book.path.stat().st_size))
    assert said.startswith("FileFormatError: ")
    assert "cut short" in said
    assert "take a copy" in said


def test_bytes_written_over(tmp_path):
    with random_book(tmp_path / "a.book", np.random.default_rng(3), 30) as book:
        pass
    data = bytearray(book.path.read_bytes())
    data[4096 : len(data) - 4096] = bytes(len(data) - 8192)
    book.path.write_bytes(data)
    with pytest.raises(FileFormatError, match="damaged"):
        Book.open(book.path)


@pytest.mark.parametrize(("name", "content"), [("a.txt", b"hello " * 50), ("b.book", None)])
def test_not_a_book(tmp_path, name, content):
    if content is None:
        other = sqlite3.connect(tmp_path / name)
        other.execute("CREATE TABLE t (x)")
        other.close()
    else:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(FileFormatError, match="not a bench book"):
        Book.open(tmp_path / name)
    with pytest.raises(InputError, match="no book to open"):
        Book.open(tmp_path / "absent.book")


def test_copy_taken_with_its_log(tmp_path):
    with Book.create(tmp_path / "a.book", "Title") as book:
        book.add(Note(name="n", text="t"))
        for ending in ("", "-wal"):
            shutil.copyfile(f"{book.path}{ending}", tmp_path / f"copy.book{ending}")
    with Book.open(tmp_path / "copy.book") as copy:
        assert copy.count() == {"note": 1}
        assert check_book(copy).whole
