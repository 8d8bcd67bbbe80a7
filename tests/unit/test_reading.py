"""Reading by content: what is refused, in one clear sentence with file, line and field; which spectrum is given."""

from __future__ import annotations

import gzip
import os
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from studies.mutated_files import mutated, outcome_of, seed_files

from truekev.errors import FileFormatError, InputError, StoreError
from truekev.record import Record, sha256_of
from truekev.spectra import read_spectra, read_spectrum, write_spectrum
from truekev.spectra.limits import MAX_BYTES, MAX_CHANNELS
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import ClaimedScale, Spectrum

START = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    ("content", "line", "match"),
    [
        (b"", None, "empty"),
        (b"\r\n  \n", None, "empty"),
        (b"# live time: 5 s\n", None, "no line of counts"),
        (b"0,5\n1,-3\n", 2, "field counts: -3 counts"),
        (b"0,5\n1,nan\n", 2, "must be finite"),
        (b"0,5\n1,inf\n", 2, "must be finite"),
        (b"0,5\n1,1e300\n", 2, "2\\^53"),
        (b"0,5\n1,1e999\n", 2, "must be finite"),
        (b"0,5\n1," + b"9" * 500 + b"\n", 2, "500 digits"),
        (b"0,5\n1\n", 2, "1 columns where 2 are expected"),
        (b"0,5\n1,2,3\n", 2, "3 columns where 2"),
        (b"0,5\n,3\n", 2, "field axis: the field is empty"),
        (b"0,5\n1,x\n", 2, "'x' is not a number"),
        (b"0,5\n1,1_0\n", 2, "'1_0' is not a number"),
        (b"0,5\n1,0x10\n", 2, "'0x10' is not a number"),
        ("0,5\n1,٣\n".encode(), 2, "is not a number"),
        (b"1,2,3\n", 1, "columns without names"),
        (b"channel,energy_nm,counts\n0,1,2\n", 1, "'nm' is not a unit of energy"),
        (b"channel,cps\n0,1\n", 1, "not a rate"),
        (b"channel,colour,counts\n0,1,2\n", 1, "unknown name"),
        (b"channel,channel,counts\n0,1,2\n", 1, "do not make a spectrum"),
        (b"energy_low_kev,energy_high_mev,counts\n0,1,2\n", 1, "two units"),
        (b"energy,counts\n1,5\n3,5\n2,5\n", 4, "must rise"),
        (b"energy,counts\n1,5\n1e9,5\n", 3, "Check the unit"),
        (b"channel,energy_low_kev,energy_high_kev,counts\n0,1,2,5\n1,3,4,5\n", 3, "not the high edge of the channel"),
        (b"channel,energy_low_kev,energy_high_kev,counts\n0,2,1,5\n", 2, "not above the low edge"),
        (b"channel,counts\n5,5\n4,5\n", 3, "must rise, each once"),
        (b"channel,counts\n1.5,5\n", 2, "not a channel number"),
        (b"channel,counts\n-1,5\n", 2, "not a channel number"),
        (b"channel,counts\n0,1\n262144,5\n", 3, "above the limit of 262143"),
        (b"1.5;2\n2,5;3\n", 2, "decimal mark"),
        (b"# live time: 5 parsec\n0,5\n", 1, "field live time: .* not a unit of time"),
        (b"# live time: -5 s\n0,5\n", 1, "cannot be right"),
        (b"# live time: 1e99 s\n0,5\n", 1, "cannot be right"),
        (b"# live time: P1Y\n0,5\n", 1, "not an ISO 8601"),
        (b"# live time: 5 s\n# live time: 6 s\n0,5\n", 2, "a second live time"),
        (b"# energy scale, keV: 1 + 2 ch\n# energy scale, keV: 1 + 3 ch\n0,5\n", 2, "a second energy scale"),
        (b"Once upon a time\n", 1, "neither numbers nor names"),
        (b"0,5\n" + b"1" * 10_000_000, 2, "a line of 10000000 characters"),
        (b"5\n" * (MAX_CHANNELS + 1), MAX_CHANNELS + 1, "more than 262144 channels"),
        (b"#\n" * 30_000, 20_001, "comment lines"),
        (b"5" + b"\n" * 200_000, 100_002, "empty lines"),
        (b"0,5\n1,\x003\n", 2, "not text"),
        (bytes(range(256)), 1, "not text"),
        (b"\xff\xfe0", None, "starts as UTF-16"),
        (gzip.compress(b"0,5\n", mtime=0), None, "gzip file; unpack"),
        (b"PK\x03\x04rest", None, "zip archive; unpack"),
        (b"<a", 1, "damaged or cut short"),
    ],
)
def test_bad_content_is_refused(tmp_path: Path, content: bytes, line: int | None, match: str) -> None:
    file = tmp_path / "bench.dat"
    file.write_bytes(content)
    with pytest.raises(FileFormatError, match=match) as caught:
        read_spectrum(file)
    assert caught.value.line == line
    message = str(caught.value)
    assert message.startswith(str(file))
    assert message.endswith(".") or "\n" not in message
    assert len(message) < 500


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match="no such file"):
        read_spectrum(tmp_path / "absent.csv")
    with pytest.raises(FileFormatError, match="no such file"):
        read_spectrum("bad\x00name.csv")
    with pytest.raises(FileFormatError, match="folder"):
        read_spectrum(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileFormatError, match="not a regular file"):
        read_spectrum(tmp_path / "pipe")


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    file = tmp_path / "huge.csv"
    with file.open("wb") as stream:
        stream.truncate(2**30)
    with pytest.raises(FileFormatError, match="1024 MiB; the limit is 64 MiB"):
        read_spectrum(file)
    assert MAX_BYTES == 64 * 2**20


def test_a_real_zip_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "packed.csv"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("a.csv", "0,5\n")
    with pytest.raises(FileFormatError, match="unpack it"):
        read_spectrum(file)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_text_encodings(tmp_path: Path, encoding: str, ending: str) -> None:
    file = tmp_path / "bench.txt"
    file.write_bytes(f"# title: Kühlraum{ending}channel,counts{ending}0,5{ending}1,6  {ending}".encode(encoding))
    spectrum = read_spectrum(file)
    assert spectrum.title == "Kühlraum"
    assert spectrum.counts.tolist() == [5, 6]
    assert spectrum.sha256 == sha256_of(file.read_bytes())


@pytest.mark.parametrize("ending", ["csv", "n42", "CSV"])
def test_written_files_read_back(tmp_path: Path, ending: str) -> None:
    spectrum = Spectrum(np.arange(30), live_time_s=5.5, claimed_scale=ClaimedScale((1.0, 9.5), "as found"))
    file = write_spectrum(spectrum, tmp_path / f"bench.{ending}", record=Record.make())
    back = read_spectrum(file)
    assert back.file == str(file)
    assert replace(back, file="", sha256="", notes=()) == spectrum
    # content decides, not the ending
    renamed = file.rename(tmp_path / "bench.data")
    assert replace(read_spectrum(renamed), file=back.file) == back


def test_only_two_endings_are_written(tmp_path: Path) -> None:
    spectrum = Spectrum(np.arange(3))
    for name in ("bench.txt", "bench", "bench.xml"):
        with pytest.raises(InputError, match=r"\.n42 or \.csv"):
            write_spectrum(spectrum, tmp_path / name)
    with pytest.raises(InputError, match="corrected scale"):
        write_spectrum(spectrum, tmp_path / "bench.n42", energy_edges_kev=[1, 2, 3, 4])
    with pytest.raises(StoreError):
        write_spectrum(spectrum, tmp_path / "absent" / "bench.n42")
    assert list(tmp_path.iterdir()) == []


def _slice(minute: int, **changes: object) -> Spectrum:
    base = Spectrum(
        np.full(4, minute + 1.0), real_time_s=60.0, start=START + timedelta(minutes=minute), role="foreground"
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def _file(folder: Path, *spectra: Spectrum) -> Path:
    # without the program's own extension, as another program would write it
    data = n42_bytes(list(spectra)).replace(b"urn:truekev", b"urn:another")
    file = folder / "several.n42"
    file.write_bytes(data)
    return file


def test_one_foreground_takes_its_background(tmp_path: Path) -> None:
    file = _file(tmp_path, _slice(9, role="background"), _slice(0))
    assert [s.role for s in read_spectra(file)] == ["background", "foreground"]
    spectrum = read_spectrum(file)
    assert spectrum.role == "foreground"
    assert spectrum.background is not None
    assert spectrum.background.counts.tolist() == [10] * 4
    assert read_spectrum(file, number=1).role == "background"
    with pytest.raises(FileFormatError, match="holds 1 to 2"):
        read_spectrum(file, number=3)


def test_slices_are_added(tmp_path: Path) -> None:
    spectrum = read_spectrum(_file(tmp_path, _slice(0), _slice(1), _slice(2), _slice(5, role="background")))
    assert spectrum.counts.tolist() == [6] * 4
    assert spectrum.real_time_s == 180
    assert len(spectrum.slices) == 3
    assert spectrum.background is not None


@pytest.mark.parametrize(
    ("spectra", "match"),
    [
        ((_slice(0), _slice(0)), "still counts"),
        ((_slice(0), _slice(1, start=None)), "starts are not given"),
        ((_slice(0), _slice(1, counts=np.ones(5))), "has 5 channels"),
        ((_slice(0), _slice(1, detector="other"), _slice(2)), "slice 2 is of detector"),
        ((_slice(0, role="background"), _slice(1, role="background")), "nothing else"),
    ],
)
def test_an_open_choice_is_refused(tmp_path: Path, spectra: tuple[Spectrum, ...], match: str) -> None:
    if match.startswith("slice 2"):
        spectra = (replace(spectra[0], detector="one"), *spectra[1:])
    with pytest.raises(FileFormatError, match=match):
        read_spectrum(_file(tmp_path, *spectra))


@pytest.mark.parametrize("name", seed_files())
def test_damaged_files_are_read_or_refused(name: str) -> None:
    # thinned from studies/mutated_files.py, which makes 50,000
    seeds = seed_files()
    assert outcome_of(seeds[name]) == "read"
    outcomes = [outcome_of(mutated(seeds[name], np.random.default_rng((7, i)))) for i in range(45)]
    assert outcomes.count("refused") > 10
    assert outcomes.count("read") > 0
