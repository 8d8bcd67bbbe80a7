"""N42.42: from bytes to a tree of elements without entities, DTD or network, and bounded in size."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
from lxml import etree

from truekev.errors import FileFormatError
from truekev.spectra.limits import shown

__all__ = ["child_text", "children", "first_child", "line_of", "local_name", "numbers_of", "tree_of_bytes"]

# An element takes some hundred bytes of memory; 86,400 slices with ten elements each fit.
_MAX_ELEMENTS = 2_000_000
_DTD = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)


def tree_of_bytes(data: bytes, *, file: str) -> etree._Element:
    """The root element of an XML file.

    Raises
    ------
    FileFormatError
        Damaged or cut short, or with a document type declaration (where entity bombs and references to other
        files live; N42.42 needs none), or too many elements.
    """
    if _DTD.search(data) or _DTD.search(data.replace(b"\x00", b"")):
        raise _dtd_refused(file)
    if data.count(b"<") > 2 * _MAX_ELEMENTS or data.count(b"=") > 4 * _MAX_ELEMENTS:
        raise FileFormatError(f"more than {_MAX_ELEMENTS} elements or attributes; split the file.", file=file)
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line = error.lineno or None
        reason = (
            re.sub(r",? ?line \d+, column \d+.*", "", (error.msg or "").partition("\n")[0]).strip()
            or "no element found"
        )
        raise FileFormatError(
            f"the XML is damaged or cut short ({reason[:120]}); export the file again.", file=file, line=line
        ) from error
    except (ValueError, LookupError) as error:
        raise FileFormatError(f"the XML cannot be read ({str(error)[:120]}).", file=file) from error
    if root is None:
        raise FileFormatError("the XML holds no element.", file=file)
    if root.getroottree().docinfo.internalDTD is not None:
        raise _dtd_refused(file)
    return root


def _dtd_refused(file: str) -> FileFormatError:
    return FileFormatError(
        "the XML declares a document type or entities; N42.42 needs neither and they can do harm. Export it without.",
        file=file,
    )


def local_name(element: etree._Element) -> str:
    """The element's name without its namespace."""
    return str(element.tag).rpartition("}")[2] if isinstance(element.tag, str) else ""


def line_of(element: etree._Element) -> int | None:
    """The line of the file that the element starts on."""
    line: Any = element.sourceline
    return line if isinstance(line, int) else None


def children(element: etree._Element, *names: str) -> Iterator[etree._Element]:
    """Child elements of one of the local `names`, in the file's order."""
    return (child for child in element if local_name(child) in names)


def first_child(element: etree._Element, *names: str) -> etree._Element | None:
    """The first child of one of the local `names`; None if there is none."""
    return next(children(element, *names), None)


def child_text(element: etree._Element, *names: str) -> str:
    """Text of the first child of one of the local `names`, trimmed; empty if there is none."""
    child = first_child(element, *names)
    return (child.text or "").strip() if child is not None else ""


def numbers_of(element: etree._Element, *, limit: int, file: str) -> npt.NDArray[np.float64]:
    """The numbers, separated by blanks, in the element's text; shape (n,), n at most `limit`.

    Raises
    ------
    FileFormatError
        A word that is no number, or more than `limit` of them.
    """
    name, line = local_name(element), line_of(element)
    words = (element.text or "").split(None, limit)
    if len(words) > limit:
        raise FileFormatError(f"more than {limit} values.", file=file, line=line, field=name)
    try:
        if any("_" in word for word in words):
            raise ValueError
        return np.array(words, dtype=np.float64)
    except ValueError:
        bad = next(word for word in words if not _is_number(word))
    raise FileFormatError(
        f"{shown(bad)} is not a number; values are separated by blanks.", file=file, line=line, field=name
    )


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return "_" not in word
