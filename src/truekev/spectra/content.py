"""The bytes of a spectrum file: bounded in size, and what kind of content they are."""

from __future__ import annotations

import re
import stat
from pathlib import Path

from truekev.errors import FileFormatError
from truekev.spectra.limits import MAX_BYTES

__all__ = ["bytes_of_file", "is_xml", "text_of_bytes"]

_PACKED = {
    b"PK\x03\x04": "a zip archive",
    b"PK\x05\x06": "a zip archive",
    b"\x1f\x8b": "a gzip file",
    b"BZh": "a bzip2 file",
    b"\xfd7zXZ\x00": "an xz file",
    b"7z\xbc\xaf": "a 7-zip archive",
    b"Rar!": "an archive",
    b"\x28\xb5\x2f\xfd": "a zstandard file",
}
_CONTROL = re.compile("[\x00-\x08\x0e-\x19\x1b-\x1f\x7f]")


def bytes_of_file(path: str | Path) -> bytes:
    """The bytes of a regular file of at most MAX_BYTES.

    Raises
    ------
    FileFormatError
        Missing, a directory or device, not readable, empty, or too large (which is told from its size, unread).
    """
    file = Path(path)
    try:
        mode = file.stat().st_mode
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileFormatError(f"there is no such file ({reason}); check the name and the folder.", file=file) from error
    if stat.S_ISDIR(mode):
        raise FileFormatError("this is a folder; give one file in it.", file=file)
    if not stat.S_ISREG(mode):
        raise FileFormatError("this is not a regular file; give a file on disk.", file=file)
    try:
        size = file.stat().st_size
        if size <= MAX_BYTES:
            with file.open("rb") as stream:
                data = stream.read(MAX_BYTES + 1)
            size = len(data)
    except OSError as error:
        raise FileFormatError(f"the file cannot be read ({error.strerror}).", file=file) from error
    if size > MAX_BYTES:
        raise FileFormatError(
            f"the file has {size / 2**20:.0f} MiB; the limit is {MAX_BYTES // 2**20} MiB, far above any spectrum.",
            file=file,
        )
    if not data.strip(b"\x00 \t\r\n"):
        raise FileFormatError("the file is empty.", file=file)
    return data


def text_of_bytes(data: bytes, *, file: str = "") -> str:
    """`data` as text: UTF-8, UTF-16 with byte order mark, else Windows-1252.

    Raises
    ------
    FileFormatError
        Packed, binary, or damaged text.
    """
    for mark, what in _PACKED.items():
        if data.startswith(mark):
            raise FileFormatError(f"this is {what}; unpack it and give the file inside.", file=file)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            text = data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise FileFormatError("the text is damaged: it starts as UTF-16 and is not.", file=file) from error
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    control = _CONTROL.search(text)
    if control is not None:
        line = text.count("\n", 0, control.start()) + 1
        raise FileFormatError("this is not text; N42.42 and plain columns can be read.", file=file, line=line)
    return text


def is_xml(data: bytes) -> bool:
    """True where the content starts as XML, in UTF-8 or UTF-16."""
    start = data[:400]
    if start.startswith((b"\xff\xfe", b"\xfe\xff")) or start[:2] in (b"<\x00", b"\x00<"):
        start = start.replace(b"\x00", b"").lstrip(b"\xff\xfe")
    return start.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"<"
