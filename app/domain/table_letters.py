"""In which encoding a list was saved: UTF-8, UTF-16 by its mark, or Windows-1252, which is said so that somebody looks."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import TextIOWrapper

from app.domain.language import mark, say
from app.domain.source import Source, begins, pieces
from app.domain.table_faults import BadTable

UTF_8, UTF_16, WINDOWS = "UTF-8", "UTF-16", "Windows-1252"
# The names of encodings as metafiles write them (IANA), and Python's; others are asked for as CSV is.
KNOWN: dict[str, str] = {
    "utf-8": "utf-8", "utf8": "utf-8", "us-ascii": "ascii", "ascii": "ascii", "utf-16": "utf-16", "utf16": "utf-16",
    "utf-16le": "utf-16-le", "utf-16be": "utf-16-be", "iso-8859-1": "latin-1", "latin1": "latin-1", "latin-1": "latin-1",
    "iso-8859-15": "iso8859-15", "windows-1252": "cp1252", "cp1252": "cp1252", "windows-1250": "cp1250",
    "iso-8859-2": "iso8859-2",
}  # fmt: skip
AGAIN = mark("save the list as “CSV UTF-8”")

_LETTER = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_BEGINS = 400
# Text in UTF-16 has a NUL byte beside every plain letter; a file with a stray one has few.
_SHARE_OF_NULS = 0.25
_AROUND = 30


@dataclass(frozen=True, slots=True)
class Letters:
    """A file and how its letters are read, which was tried on all of it. `look` is a part of line `look_line` with its first
    letter that is not plain, where the encoding is only a guess; else empty.
    """

    source: Source
    encoding: str = UTF_8
    look: str = ""
    look_line: int = 0
    codec: str = "utf-8"

    def lines(self, ends: str = "\n") -> Iterator[str]:
        """Every line with its end, without the mark that tells the encoding; it is read as it is asked for."""
        with TextIOWrapper(self.source.open(), self.codec, newline=ends) as file:
            if first := file.readline():
                yield first.removeprefix("\ufeff")
            yield from file


def lettered(source: Source) -> Letters:
    """Find the encoding of a file; BadTable where it is none that is known, or holds NUL bytes."""
    first = begins(source, 4)
    if first in (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE) and source.size % 4 == 0:
        raise BadTable(0, "", say("This is text in UTF-32: {do} first.", do=AGAIN))
    if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        if not _reads_as(source, "utf-16"):
            words = say("The text in UTF-16 is cut or damaged: choose the whole file, or save the list as “CSV UTF-8”.")
            raise BadTable(0, "", words)
        return Letters(source, UTF_16, codec="utf-16")
    fault = None if _reads_as(source, "utf-8") else _first_fault(source)
    return Letters(source) if fault is None else _windows(source, *fault)


def in_encoding(source: Source, name: str) -> Letters:
    """A file in the encoding that a metafile names; BadTable where it is unknown or does not fit."""
    codec = KNOWN.get(name.strip().lower() or "utf-8")
    if codec is None:
        raise BadTable(0, "", say("The encoding “{name}” is not read here: save the archive in UTF-8.", name=name[:40]))
    if _reads_as(source, codec):
        return Letters(source, name or UTF_8, codec=codec)
    if codec == "utf-8" and (fault := _first_fault(source)) is not None:
        raise _not_utf_8(*fault)
    raise BadTable(0, "", say("It is not {name}, as its metafile says: save the archive in UTF-8.", name=name))


def _reads_as(source: Source, codec: str) -> bool:
    """Whether all of a file is text in this encoding; BadTable where that text has NUL bytes in it, as no text does."""
    decoder, lines, fits, is_wide = codecs.getincrementaldecoder(codec)(), 1, True, codec.startswith("utf-16")
    for place, piece in enumerate(pieces(source)):
        try:
            text = decoder.decode(piece) if fits else ""
        except UnicodeError:
            text, fits = "", False
        plain = text.encode() if is_wide else piece
        if b"\0" in plain:
            raise _has_nul(plain, lines, is_first=not place)
        lines += plain.count(b"\n")
    try:
        decoder.decode(b"", final=True)
    except UnicodeError:
        return False
    return fits


def _has_nul(piece: bytes, lines: int, *, is_first: bool) -> BadTable:
    first = piece[:_BEGINS] if is_first else b""
    if first.count(b"\0") > len(first) * _SHARE_OF_NULS and len(first) > 1:
        return BadTable(0, "", say("This looks like text in UTF-16 without its mark: {do} first.", do=AGAIN))
    line = lines + piece.count(b"\n", 0, piece.index(b"\0"))
    return BadTable(line, "", say("It holds a NUL byte, which no text does: {do} again.", do=AGAIN))


def _first_fault(source: Source) -> tuple[int, bytes, UnicodeDecodeError] | None:
    """The first line that is not UTF-8: its number, its bytes, and what is wrong."""
    with source.open() as file:
        for line, raw in enumerate(file, 1):
            try:
                raw.decode("utf-8")
            except UnicodeDecodeError as error:
                return line, raw, error
    return None


def _not_utf_8(line: int, raw: bytes, error: UnicodeDecodeError) -> BadTable:
    byte = say("byte {code}", code=f"{raw[error.start]:02X}")
    return BadTable(
        line,
        "",
        say("It is not UTF-8 ({byte} at place {place}): {do}.", byte=byte, place=error.start + 1, do=AGAIN),
    )


def _windows(source: Source, line: int, raw: bytes, error: UnicodeDecodeError) -> Letters:
    """Text of Windows-1252; not where parts of it are UTF-8, or the file ends in the middle of a letter."""
    if error.reason == "unexpected end of data" and error.end == len(raw):
        raise BadTable(line, "", say("The file ends in the middle of a letter: it is cut off; choose the whole file."))
    if _has_letters_of_utf_8(source) or not _reads_as(source, "cp1252"):
        raise _not_utf_8(line, raw, error)
    shown = "".join(each if each.isprintable() else " " for each in raw.decode("cp1252").strip())
    at = next((place for place, each in enumerate(shown) if not each.isascii()), 0)
    return Letters(source, WINDOWS, shown[max(0, at - _AROUND) : at + _AROUND], line, "cp1252")


def _has_letters_of_utf_8(source: Source) -> bool:
    with source.open() as file:
        return any(_LETTER.search(raw) for raw in file)
