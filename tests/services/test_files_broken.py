"""Broken archives: each is answered with one clear sentence, unpacks nothing, and leaves every table as it was.

With the lists of test_intake_broken they are more than a hundred broken files.
"""

from __future__ import annotations

import io
import struct
import zipfile

import pytest

from app.bringing_in import BadList
from tests.room import Room
from tests.services.archives import DWC, HEADED, archive, part, table, zipped
from tests.services.bringing import bring
from tests.services.parcels import consign, counts, listed, number, plan, rows, run
from tests.services.test_intake_broken import BROKEN, HERE, check_sentences

HEAD = ["id", "catalogNumber", "scientificName", "eventDate"]
ROWS = [[f"a{place}", number(place), "Carex nigra", "2024-06-18"] for place in range(4)]
FIELDS = [(1, "catalogNumber", None), (2, "scientificName", None), (3, "eventDate", None)]
CORE = part("core", FIELDS)
TEXT = table([HEAD, *ROWS])
ADDED = part(
    "extension", [(1, "identifiedBy", None)], ["identified.txt"], f"{DWC}Identification", ignoreHeaderLines="0"
)
GOOD = archive(CORE, {"occurrence.txt": TEXT, "identified.txt": "a0\tAshgill\n"}, ADDED)


def of_core(core: str) -> bytes:
    return archive(core, {"occurrence.txt": TEXT})


def of_text(text: str | bytes) -> bytes:
    return archive(CORE, {"occurrence.txt": text})


def of_meta(meta: str | bytes) -> bytes:
    return zipped({"meta.xml": meta, "occurrence.txt": TEXT})


def of_extension(text: str, **more: str) -> bytes:
    told = part(
        "extension",
        [(1, "identifiedBy", None)],
        ["identified.txt"],
        f"{DWC}Identification",
        ignoreHeaderLines="0",
        **more,
    )
    return archive(CORE, {"occurrence.txt": TEXT, "identified.txt": text}, told)


def named(name: str, mode: int = 0) -> bytes:
    """An archive with one file more, of that name and mode."""
    kept = io.BytesIO(GOOD)
    with zipfile.ZipFile(kept, "a") as found:
        entry = zipfile.ZipInfo("x" * len(name))
        entry.external_attr = mode << 16
        found.writestr(entry, "x")
    return kept.getvalue().replace(b"x" * len(name), name.encode())


def patched(data: bytes, at: int, value: int, width: str = "<H") -> bytes:
    """An archive with a number put into each entry of its directory."""
    found, place = bytearray(data), data.find(b"PK\x01\x02")
    while place >= 0:
        struct.pack_into(width, found, place + at, value)
        place = data.find(b"PK\x01\x02", place + 4)
    return bytes(found)


def damaged() -> bytes:
    """A stored archive with one letter of its core changed, so that its sum no longer fits."""
    files = {"meta.xml": HEADED.format(CORE), "occurrence.txt": TEXT}
    return zipped(files, zipfile.ZIP_STORED).replace(b"Carex nigra", b"Carex nigrA", 1)


def laughs() -> str:
    """A billion laughs: entities that multiply one another."""
    names = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    return f'<!DOCTYPE archive [<!ENTITY l0 "ha">{names}]><archive>&l9;</archive>'


# What is broken: the archive, the file within it, the line, and words of the reason.
ARCHIVES: dict[str, tuple[bytes, str, int, str]] = {
    "cut in the middle": (GOOD[: len(GOOD) // 2], "", 0, "cut off or damaged"),
    "cut before its directory": (GOOD[: GOOD.index(b"PK\x01\x02")], "", 0, "cut off or damaged"),
    "one byte short": (GOOD[:-1], "", 0, "cut off or damaged"),
    "only its first bytes": (b"PK\x03\x04", "", 0, "cut off or damaged"),
    "an empty archive": (zipped({}), "", 0, "no meta.xml"),
    "a byte changed": (damaged(), "occurrence.txt", 0, "is damaged"),
    "a bomb of zeros": (archive(CORE, {"occurrence.txt": b"\0" * 200_000_000}), "occurrence.txt", 0, "far more than a table"),
    "a bomb beside the list": (archive(CORE, {"occurrence.txt": TEXT, "z": b"0" * 20_000_000}), "z", 0, "far more than a table"),
    "a bomb by its directory": (patched(GOOD, 24, 4_000_000_000, "<I"), "", 0, "Unpacked, the archive has"),
    "files that lie over one another": (patched(GOOD, 20, len(GOOD), "<I"), "", 0, "lie over one another"),
    "a thousand files": (archive(CORE, {f"f{n}": "" for n in range(1000)}), "", 0, "holds 1,002 files"),
    "a path out of it": (named("../../evil.txt"), "", 0, "leads out of the archive"),
    "a path within it and out": (named("a/../../evil.txt"), "", 0, "leads out of the archive"),
    "a path from the root": (named("/etc/cron.d/x"), "", 0, "from the root of a disk"),
    "a path from a drive": (named("C:/evil.txt"), "", 0, "from the root of a disk"),
    "a path with backslashes": (named("..\\..\\evil.txt"), "", 0, "leads out of the archive"),
    "a backslash": (named("a\\evil.txt"), "", 0, "a backslash"),
    "a name with a line in it": (named("a\nevil.txt"), "", 0, "a character that no name has"),
    "a link": (named("link", 0o120777), "link", 0, "a link to another file"),
    "locked with a password": (patched(GOOD, 8, 1), "meta.xml", 0, "locked with a password"),
    "packed in another way": (patched(GOOD, 10, 98), "meta.xml", 0, "packed in a way"),
    "an archive of a list that is no list": (zipped({"list.csv": "a,b\n1,2\n"}), "list.csv", 1, "No column is headed catalogNumber"),
    "two lists and no metafile": (zipped({"a.csv": "catalogNumber\n1", "b.csv": "catalogNumber\n1"}), "", 0, "no meta.xml"),
    "a spreadsheet": (zipped({"[Content_Types].xml": "<Types/>", "xl/workbook.xml": "<w/>"}), "", 0, "This is a spreadsheet"),
    "an archive in the archive": (zipped({"inner.zip": GOOD}), "", 0, "no meta.xml"),
    "a metafile that is no XML": (of_meta("this is no XML"), "meta.xml", 1, "no well-formed XML"),
    "a metafile cut in the middle": (of_meta(HEADED.format(CORE)[:-30]), "meta.xml", 3, "no well-formed XML"),
    "an empty metafile": (of_meta(""), "meta.xml", 1, "no well-formed XML"),
    "a metafile of an unknown encoding": (of_meta('<?xml version="1.0" encoding="klingon"?><archive/>'), "meta.xml", 0, "in an encoding"),
    "another root": (of_meta("<html/>"), "meta.xml", 0, "no Darwin Core archive"),
    "a billion laughs": (of_meta(laughs()), "meta.xml", 1, "declares a document type"),
    "an entity that names a file": (
        of_meta('<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><archive>&x;</archive>'), "meta.xml", 1, "document type",
    ),
    "a document type elsewhere": (
        of_meta('<!DOCTYPE archive SYSTEM "http://example.org/x.dtd"><archive/>'), "meta.xml", 1, "document type",
    ),
    "an entity in what describes it": (
        zipped({"meta.xml": HEADED.format(CORE), "eml.xml": '<!DOCTYPE a [<!ENTITY x "y">]><eml/>', "occurrence.txt": TEXT}),
        "eml.xml", 1, "document type",
    ),
    "elements a thousand deep": (of_meta("<archive>" + "<a>" * 1000 + "</a>" * 1000 + "</archive>"), "meta.xml", 1, "deeper"),
    "a metafile of five megabytes": (of_meta(f"<archive>{'<!-- -->' * 700_000}</archive>"), "meta.xml", 0, "far more"),
    "no core": (of_core(""), "meta.xml", 0, "no <core>, or more than one"),
    "two cores": (of_core(CORE + CORE), "meta.xml", 0, "no <core>, or more than one"),
    "a core of names": (of_core(CORE.replace("Occurrence", "Taxon")), "meta.xml", 0, "is Taxon, not Occurrence"),
    "a core of no kind": (of_core(CORE.replace(f"{DWC}Occurrence", "")), "meta.xml", 0, "of no kind"),
    "no field": (of_core(part("core", [])), "meta.xml", 0, "names no field"),
    "a field without a term": (of_core(CORE.replace(f"{DWC}eventDate", "")), "meta.xml", 0, "without a term"),
    "a term twice": (of_core(part("core", [*FIELDS, (4, "eventDate", None)])), "meta.xml", 0, "for two columns"),
    "a place that is no number": (of_core(CORE.replace('index="2"', 'index="two"')), "meta.xml", 0, "no place in a row"),
    "a place below nothing": (of_core(CORE.replace('index="2"', 'index="-1"')), "meta.xml", 0, "no place in a row"),
    "a column of a thousand": (of_core(CORE.replace('index="2"', 'index="1000"')), "meta.xml", 0, "up to 400 columns"),
    "no numbers": (of_core(part("core", FIELDS[1:])), "", 0, "No column is headed catalogNumber"),
    "no file named": (of_core(CORE.replace("<location>occurrence.txt</location>", "")), "meta.xml", 0, "names no file"),
    "a file elsewhere": (of_core(part("core", FIELDS, ["http://example.org/x.txt"])), "meta.xml", 0, "lies elsewhere"),
    "a file that is not there": (of_core(part("core", FIELDS, ["other.txt"])), "other.txt", 0, "does not hold this file"),
    "a file out of the archive": (of_core(part("core", FIELDS, ["../../etc/passwd"])), "../../etc/passwd", 0, "does not hold this file"),
    "fields that end at nothing": (of_core(CORE.replace('TerminatedBy="\\t"', 'TerminatedBy=""')), "meta.xml", 0, "Fields that end at"),
    "fields that end at two": (of_core(CORE.replace('TerminatedBy="\\t"', 'TerminatedBy="||"')), "meta.xml", 0, "Fields that end at"),
    "lines that end at a bar": (of_core(CORE.replace('linesTerminatedBy="\\n"', 'linesTerminatedBy="|"')), "meta.xml", 0, "Lines that end at"),
    "an encoding nobody knows": (of_core(CORE.replace("UTF-8", "klingon")), "occurrence.txt", 0, "encoding “klingon”"),
    "another encoding than it says": (of_text("id\n\xe9\t1\t2\t3\n".encode("latin-1")), "occurrence.txt", 2, "not UTF-8 (byte E9"),
    "a NUL byte": (of_text(TEXT.replace("nigra", "ni\0gra", 1)), "occurrence.txt", 2, "a NUL byte"),
    "only headings": (of_text("\t".join(HEAD)), "", 0, "no row in its core"),
    "an empty core": (of_text(""), "", 0, "no row in its core"),
    "a row too short": (of_text(TEXT + "a9\tTQX\n"), "occurrence.txt", 6, "too short: it has 2 cells"),
    "a number that is none": (of_text(TEXT.replace(number(1), "TQX000000")), "occurrence.txt", 3, "check character"),
    "a number twice": (of_text(TEXT.replace(number(1), number(2))), "occurrence.txt", 4, "stands in line 3 already"),
    "a day of no calendar": (of_text(TEXT.replace("2024-06-18", "2024-06-31", 1)), "occurrence.txt", 2, "no day of any calendar"),
    "a cell as long as a book": (of_text(TEXT.replace("nigra", "x" * 10_001, 1)), "occurrence.txt", 2, "characters"),
    "an extension without an id": (archive(CORE, {"occurrence.txt": TEXT, "identified.txt": ""}, ADDED.replace('<coreid index="0"/>', "")),
                                   "meta.xml", 0, "has no <coreid>"),
    "an extension and no id in the core": (archive(part("core", FIELDS, key=None), {"occurrence.txt": TEXT}, ADDED), "meta.xml", 0, "no <id>"),
    "a row of an extension that is nobody's": (of_extension("a77\tx\n"), "identified.txt", 1, "No row of the core has this id"),
    "a row of an extension too short": (of_extension("a0\tx\na1\n"), "identified.txt", 2, "too short"),
    "an extension that is not there": (archive(CORE, {"occurrence.txt": TEXT}, ADDED), "identified.txt", 0, "does not hold this file"),
    "six hundred rows for one": (of_extension("a0\tx\n" * 600), "identified.txt", 501, "More than 500 rows"),
}  # fmt: skip


@pytest.fixture
def receiving(room: Room) -> Room:
    consign(room)
    return room


def test_there_are_a_hundred_broken_files_and_the_archive_that_is_broken_here_is_right(receiving: Room) -> None:
    assert len(BROKEN) + len(ARCHIVES) > 120 and plan(receiving, GOOD).said == "4 new, 0 already here."


@pytest.mark.parametrize(("data", "file", "line", "words"), ARCHIVES.values(), ids=ARCHIVES.keys())
def test_a_broken_archive_is_named_by_file_and_line_and_writes_nothing(
    receiving: Room, data: bytes, file: str, line: int, words: str
) -> None:
    before = counts(receiving.database)
    found = plan(receiving, data)
    check_sentences(found)
    (bad,) = found.bad
    assert (bad.file, bad.line) == (file, line) and words in bad.reason, bad
    with pytest.raises(BadList) as raised:
        bring(receiving, data)
    (bad,) = raised.value.bad
    assert words in bad.reason
    assert counts(receiving.database) == before


@pytest.mark.parametrize("data", [each[0] for each in BROKEN.values()], ids=BROKEN.keys())
def test_a_broken_list_leaves_nothing_of_the_file_either(receiving: Room, data: bytes) -> None:
    consign(receiving, "OLD")
    run(receiving, listed([[HERE, *rows(1)[0][1:]]]), "OLD")
    before = counts(receiving.database)
    with pytest.raises(BadList) as raised:
        bring(receiving, data)
    assert len(raised.value.bad) == 1 and raised.value.refusals[0].words.startswith("Nothing is imported. ")
    assert counts(receiving.database) == before


def test_two_hundred_thousand_rows_are_read_and_one_more_is_said_to_be_too_many(receiving: Room) -> None:
    """The limit itself is held in tests/domain/test_table.py; here it is said before anything is written."""
    before = counts(receiving.database)
    lines = [f"{number(place)}\n" for place in range(200_001)]
    found = plan(receiving, ("catalogNumber\n" + "".join(lines)).encode())
    assert [each.reason for each in found.bad] == ["There are more than 200,000 rows: part the file into several."]
    assert counts(receiving.database) == before


def test_of_bad_rows_there_is_an_end_and_nothing_is_read_after_it(receiving: Room) -> None:
    before = counts(receiving.database)
    data = b"catalogNumber\n" + f"{number(0)}\n".encode() * 12_000
    with pytest.raises(BadList) as raised:
        bring(receiving, data)
    for bad in (plan(receiving, data).bad, raised.value.bad):
        # The first row is right, ten thousand after it are not; what is looked at together, some hundreds, is told together.
        assert 10_000 < len(bad) <= 10_501 and bad[0].line == 3, bad[:2]
        assert bad[-1].reason.startswith("10,000 rows or more cannot be imported; from here on nobody looked"), bad[-1]
    assert counts(receiving.database) == before
