"""What every reader of strangers' bytes promises: an answer or one plain sentence, soon, whatever comes."""

from __future__ import annotations

import random
import struct
import time
from collections.abc import Sequence
from datetime import date

from stdnum.iso7064 import mod_37_2

from app.domain.archive_meta import read_meta
from app.domain.archive_xml import read_xml
from app.domain.listing import open_headings, open_listing
from app.domain.numbers import Kind, Pattern
from app.domain.parcel import listed_sheet, parcel_of
from app.domain.reading import MOST_CANDIDATES, Exact, Misread, Partial, Unreadable, read
from app.domain.table import NUMBER_TERM, Row
from app.domain.table_faults import BadRow, BadTable
from tests.services.archives import DWC, HEADED, archive, part, table

ROOM = (Pattern("TQX", 6), Pattern("OLD", 5, False), Pattern("Q", 3))
# A cell can be long, and is clipped where it is quoted.
LONGEST_SENTENCE = 1_000
# CPU time for a case of at most some hundred kilobytes; a machine of any speed needs far less.
LONGEST_S = 3.0


def is_plain(said: str) -> None:
    """A sentence for a person: something, not endless, and nothing in it that no screen can show."""
    assert said.strip() and len(said) < LONGEST_SENTENCE, said[:200]
    assert all(each.isprintable() for each in said), repr(said)
    assert "Traceback" not in said and "Error(" not in said, said


def reads_number(text: str, patterns: Sequence[Pattern] = ROOM) -> str:
    """Read what was scanned or typed; which of the four it was."""
    found = read(text, patterns)
    if isinstance(found, Exact):
        assert found.text.isascii() and found.text.isalnum()
        if found.kind is Kind.SHEET and not any(
            found.text.startswith(each.prefix) and not each.check for each in patterns
        ):
            assert mod_37_2.is_valid(found.text), found.text
    elif isinstance(found, (Misread, Partial)):
        assert 0 < len(found.could_be) <= MOST_CANDIDATES and len(set(found.could_be)) == len(found.could_be)
    else:
        assert isinstance(found, Unreadable) and found.length == len(text)
        # What may be a password is never kept.
        assert found.kept is None or any(each.isdigit() for each in found.kept)
    return type(found).__name__


def reads_listing(data: bytes) -> str:
    """Read a file as the import does, mapped and unmapped; what came of it."""
    begun, ended = time.process_time(), "rows"
    for opens in (open_listing, open_headings):
        try:
            listing = opens(data)
            parcel = parcel_of(listing.columns, ROOM, date(2026, 11, 25))
            for row in listing.rows():
                # Where no column holds numbers, nobody reads a row as a sheet: it is said of the file.
                told = listed_sheet(row, parcel) if isinstance(row, Row) and NUMBER_TERM in parcel.used else row
                if isinstance(told, BadRow):
                    is_plain(told.said)
            listing.samples()
        except BadTable as fault:
            is_plain(fault.bad.said)
            ended = "refused"
    assert time.process_time() - begun < LONGEST_S, f"{len(data)} bytes took too long"
    return ended


def reads_xml(data: bytes) -> str:
    """Read a metafile; what came of it."""
    try:
        read_meta(read_xml(data, "meta.xml"))
    except BadTable as fault:
        is_plain(fault.bad.said)
        return "refused"
    return "read"


# -- what is spoilt -----------------------------------------------------------------------------------------------
_A, _B, _C = (f"TQX{serial:06d}{mod_37_2.calc_check_digit(f'TQX{serial:06d}')}" for serial in (1, 2, 3))
_ROWS = [["occurrenceID", "catalogNumber", "scientificName", "eventDate"], ["a", _A, "Drosera rotundifolia L.", "1997-06-02"],
         ["b", _B, "Bellis perennis L.", "1998"], ["c", _C, "", ""]]  # fmt: skip
_CORE = part(
    "core", [(0, "occurrenceID", None), (1, "catalogNumber", None), (2, "scientificName", None), (3, "eventDate", None)]
)
_SHOTS = part("extension", [(1, "identifiedBy", None)], ["identified.txt"], f"{DWC}Identification")
META = HEADED.format(_CORE + _SHOTS).encode()
WHOLE: dict[str, list[bytes]] = {
    "archive": [
        archive(_CORE, {"occurrence.txt": table(_ROWS)}),
        archive(_CORE, {"occurrence.txt": table(_ROWS), "identified.txt": "id\twho\na\tH. Brackwater\n"}, _SHOTS),
    ],
    "table": [
        f"catalogNumber,scientificName,recordedBy,eventDate\n{_A},Drosera rotundifolia L.,M. Fenwick,1997-06-02\n".encode(),
        f'\ufeffcatalogNumber;scientificName\r\n{_B};"Bellis; perennis ""L."""\r\n'.encode(),
        f"catalogNumber\tlocality\n{_C}\tÄhtäri\n".encode("latin-1"), "Barcode,Van\n1,x\n".encode("utf-16"),
    ],
    "xml": [META],
}  # fmt: skip
_NUMBERS = (0, 1, 0x7F, 0xFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF)
_PIECES = (b'"', b",", b"\n", b"\r", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"<", b"&", b"]]>", b"PK\x01\x02", b"PK\x05\x06", b"\t", b"''", b"{",
           b'index="-1"', b'index="99999999999"', b'encoding="utf-7"', b"<!DOCTYPE a>", b"../", b"TQX0000017", "ß\u2028".encode())  # fmt: skip


def spoilt(whole: bytes, chance: random.Random) -> bytes:
    """The same bytes with a few things wrong with them: turned, cut out, doubled, put in, numbers at their ends."""
    data = bytearray(whole)
    for _ in range(chance.choice((1, 1, 2, 3, 6))):
        chance.choice(_WAYS)(data, chance.randrange(len(data) + 1), chance)
    return bytes(data)


def _turn(data: bytearray, place: int, chance: random.Random) -> None:
    if place:
        data[place - 1] ^= 1 << chance.randrange(8)


def _cut_out(data: bytearray, place: int, chance: random.Random) -> None:
    del data[place : place + chance.choice((1, 2, 4, 30))]


def _put_in(data: bytearray, place: int, chance: random.Random) -> None:
    data[place:place] = chance.choice(_PIECES)


def _double(data: bytearray, place: int, chance: random.Random) -> None:
    data[place:place] = data[place : place + chance.choice((4, 20, 200))]


def _number(data: bytearray, place: int, chance: random.Random) -> None:
    size, form = chance.choice(((4, "<I"), (2, "<H")))
    data[place : place + size] = struct.pack(form, chance.choice(_NUMBERS) & (256**size - 1))


def _break_off(data: bytearray, place: int, chance: random.Random) -> None:
    if chance.random() < 0.3:
        del data[place:]


_WAYS = (_turn, _cut_out, _put_in, _double, _number, _break_off)


def random_text(chance: random.Random) -> str:
    """A text as scanners, fingers and other programs make them: near a number, or nothing like one."""
    near = chance.choice(
        (
            _A,
            f"TQX 000001·{_A[-1]}",
            "tqx1",
            "1",
            "OLD00012",
            "]C1TQX0000017\r",
            "WN0001R",
            "VB45786097254",
            "",
            "q12",
            "Q012",
        )
    )
    pool = "TQXOLDW0123456789IOl*·.- \t\u200b\uff11\u0661ßİǅ\U0001d7d8\x00\ud800" + chr(chance.randrange(0x110000))
    text = list(near)
    for _ in range(chance.choice((0, 1, 1, 2, 5, 40))):
        text.insert(chance.randrange(len(text) + 1), chance.choice(pool))
        if text and chance.random() < 0.5:
            del text[chance.randrange(len(text))]
    return "".join(text) * chance.choice((1, 1, 1, 1, 3, 20))
