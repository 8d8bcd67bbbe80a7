"""Export to plain files and import: identical, or a sentence and no book."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.support.books import random_book

from truekev.book.check import check_book
from truekev.book.dump import dump_lines
from truekev.book.export import export_book
from truekev.book.import_folder import import_folder
from truekev.errors import FileFormatError, InputError, StoreError
from truekev.spectra.read import read_spectra


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("export")
    with random_book(folder / "a.book", np.random.default_rng(11), 60) as book:
        return export_book(book, folder / "out").folder


@pytest.fixture
def exported(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "out"))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_import_is_identical(tmp_path, seed):
    with random_book(tmp_path / "a.book", np.random.default_rng(seed), 50) as book:
        done = export_book(book, tmp_path / "out")
        with import_folder(done.folder, tmp_path / "b.book") as again:
            assert list(dump_lines(book)) == list(dump_lines(again))
            found = check_book(again)
            assert found.whole
            assert (found.n_records, found.n_files, found.n_readings) == (
                done.n_records,
                done.n_files,
                done.n_readings,
            )
            twice = export_book(again, tmp_path / "out2").folder
    first = {p.relative_to(done.folder): p.read_bytes() for p in done.folder.rglob("*") if p.is_file()}
    assert {p.relative_to(twice): p.read_bytes() for p in twice.rglob("*") if p.is_file()} == first


def test_every_spectrum_is_there_as_n42(exported):
    records = [json.loads(p.read_text()) for p in (exported / "records").iterdir()]
    spectra = {r["id"]: r["body"] for r in records if r["kind"] == "spectrum"}
    assert spectra
    for id_, body in spectra.items():
        (spectrum,) = read_spectra(exported / "spectra" / f"{id_:06d}.n42")
        assert spectrum.counts.sum() == body["counts"]


def _damage(folder: Path, what: str) -> None:
    first = min((folder / "records").iterdir())
    match what:
        case "changed record":
            first.write_text(first.read_text().replace('"name": "', '"name": "X'))
        case "missing file":
            min((folder / "files").iterdir()).unlink()
        case "link":
            file = min((folder / "files").iterdir())
            file.rename(folder / "elsewhere")
            file.symlink_to(folder / "elsewhere")
        case "cut manifest":
            (folder / "manifest.json").write_text((folder / "manifest.json").read_text()[:-30])
        case "name that points elsewhere":
            manifest = json.loads((folder / "manifest.json").read_text())
            (folder / "manifest.json").write_text(json.dumps(manifest | {"records/../../../etc/passwd": "0" * 64}))
        case "record left out":
            manifest = json.loads((folder / "manifest.json").read_text())
            manifest.pop(f"records/{first.name}")
            (folder / "manifest.json").write_text(json.dumps(manifest))


DAMAGES = ["changed record", "missing file", "link", "cut manifest", "name that points elsewhere", "record left out"]


@pytest.mark.parametrize("what", DAMAGES)
def test_a_damaged_export_makes_no_book(exported, tmp_path, what):
    _damage(exported, what)
    with pytest.raises(FileFormatError):
        import_folder(exported, tmp_path / "b.book")
    assert not (tmp_path / "b.book").exists()
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_newer_export(exported, tmp_path):
    from truekev.record import sha256_of

    head = json.loads((exported / "book.json").read_text()) | {"layout": 99}
    (exported / "book.json").write_text(json.dumps(head))
    manifest = json.loads((exported / "manifest.json").read_text())
    manifest["book.json"] = sha256_of((exported / "book.json").read_bytes())
    (exported / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(FileFormatError, match="newer truekev"):
        import_folder(exported, tmp_path / "b.book")


def test_nothing_is_written_over(exported, tmp_path):
    with pytest.raises(InputError, match="already"):
        import_folder(exported, exported / "book.json")
    with random_book(tmp_path / "c.book", np.random.default_rng(1), 3) as book:
        with pytest.raises(InputError, match="already"):
            export_book(book, exported)
        with pytest.raises(StoreError, match="another place"):
            export_book(book, tmp_path / "no" / "out")


def test_no_export(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(FileFormatError, match="missing"):
        import_folder(tmp_path / "empty", tmp_path / "b.book")
    shutil.rmtree(tmp_path / "empty")
