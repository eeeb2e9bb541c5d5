"""In which encoding a list was saved: UTF-8, UTF-16 by its mark, or Windows-1252, which is said so that somebody looks."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from io import BytesIO

from app.domain.table_faults import BadTable

UTF_8, UTF_16, WINDOWS = "UTF-8", "UTF-16", "Windows-1252"
# The names of encodings as metafiles write them (IANA), and Python's; others are asked for as CSV is.
KNOWN: dict[str, str] = {
    "utf-8": "utf-8", "utf8": "utf-8", "us-ascii": "ascii", "ascii": "ascii", "utf-16": "utf-16", "utf16": "utf-16",
    "utf-16le": "utf-16-le", "utf-16be": "utf-16-be", "iso-8859-1": "latin-1", "latin1": "latin-1", "latin-1": "latin-1",
    "iso-8859-15": "iso8859-15", "windows-1252": "cp1252", "cp1252": "cp1252", "windows-1250": "cp1250",
    "iso-8859-2": "iso8859-2",
}  # fmt: skip
AGAIN = "save the list as “CSV UTF-8”"

_BOM = codecs.BOM_UTF8
_LETTER = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_BEGINS = 400
# Text in UTF-16 has a NUL byte beside every plain letter; a file with a stray one has few.
_SHARE_OF_NULS = 0.25
_AROUND = 30


@dataclass(frozen=True, slots=True)
class Letters:
    """A file as UTF-8 without a mark. `look` is a part of line `look_line` with its first letter that is not plain, where
    the encoding is only a guess; else empty.
    """

    data: bytes
    encoding: str = UTF_8
    look: str = ""
    look_line: int = 0


def lettered(data: bytes) -> Letters:
    """Find the encoding of a file and give it as UTF-8; BadTable where it is none that is known, or holds NUL bytes."""
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)) and len(data) % 4 == 0:
        raise BadTable(0, "", f"This is text in UTF-32: {AGAIN} first.")
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return Letters(_without_nul(_from_utf_16(data)), UTF_16)
    _without_nul(data)
    fault = _first_fault(data)
    if fault is None:
        return Letters(data.removeprefix(_BOM))
    return _windows(data, *fault)


def in_encoding(data: bytes, name: str) -> bytes:
    """A file in the encoding that a metafile names, as UTF-8; BadTable where it is unknown or does not fit."""
    codec = KNOWN.get(name.strip().lower() or "utf-8")
    if codec is None:
        raise BadTable(0, "", f"The encoding “{name[:40]}” is not read here: save the archive in UTF-8.")
    if codec == "utf-8":
        if (fault := _first_fault(_without_nul(data))) is not None:
            raise _not_utf_8(*fault)
        return data.removeprefix(_BOM)
    try:
        return _without_nul(data.decode(codec).removeprefix("\ufeff").encode())
    except UnicodeError:
        raise BadTable(0, "", f"It is not {name}, as its metafile says: save the archive in UTF-8.") from None


def _from_utf_16(data: bytes) -> bytes:
    try:
        return data.decode("utf-16").encode()
    except UnicodeError:
        words = "The text in UTF-16 is cut or damaged: choose the whole file, or save the list as “CSV UTF-8”."
        raise BadTable(0, "", words) from None


def _without_nul(data: bytes) -> bytes:
    if b"\0" not in data:
        return data
    begins = data[:_BEGINS]
    if begins.count(b"\0") > len(begins) * _SHARE_OF_NULS and len(begins) > 1:
        raise BadTable(0, "", f"This looks like text in UTF-16 without its mark: {AGAIN} first.")
    line = data.count(b"\n", 0, data.index(b"\0")) + 1
    raise BadTable(line, "", f"It holds a NUL byte, which no text does: {AGAIN} again.")


def _first_fault(data: bytes) -> tuple[int, bytes, UnicodeDecodeError] | None:
    """The first line that is not UTF-8: its number, its bytes, and what is wrong."""
    if data.isascii():
        return None
    for line, raw in enumerate(BytesIO(data), 1):
        try:
            raw.decode("utf-8")
        except UnicodeDecodeError as error:
            return line, raw, error
    return None


def _not_utf_8(line: int, raw: bytes, error: UnicodeDecodeError) -> BadTable:
    byte = f"byte {raw[error.start]:02X}"
    return BadTable(line, "", f"It is not UTF-8 ({byte} at place {error.start + 1}): {AGAIN}.")


def _windows(data: bytes, line: int, raw: bytes, error: UnicodeDecodeError) -> Letters:
    """Text of Windows-1252; not where parts of it are UTF-8, or the file ends in the middle of a letter."""
    if data.endswith(raw) and error.reason == "unexpected end of data" and error.end == len(raw):
        raise BadTable(line, "", "The file ends in the middle of a letter: it is cut off; choose the whole file.")
    if _LETTER.search(data):
        raise _not_utf_8(line, raw, error)
    try:
        text = data.decode("cp1252").encode()
    except UnicodeDecodeError:
        raise _not_utf_8(line, raw, error) from None
    shown = "".join(each if each.isprintable() else " " for each in raw.decode("cp1252").strip())
    at = next((place for place, each in enumerate(shown) if not each.isascii()), 0)
    return Letters(text, WINDOWS, shown[max(0, at - _AROUND) : at + _AROUND], line)
