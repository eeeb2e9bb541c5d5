"""Out again: a table and an archive of the room's sheets, taken into an empty room, are the same sheets there."""

from __future__ import annotations

import csv
import io
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from app.db.engine import reading
from app.domain.numbers import mint
from app.domain.stages import Step
from app.queries.out_sheets import Asked, outgoing, table_out
from app.queries.sieve import Sieve
from tests.queries.looking import brought_dry, filed, label
from tests.room import TQX, Room
from tests.services.archives import DWC, archive, part
from tests.services.archives import table as rows_of
from tests.services.going_out import archived, sheets_of, table, taken_in
from tests.services.parcels import HEAD, consign, listed, number, rows, run
from tests.services.test_numbers_given import joins

# OWASP, "CSV Injection": what may begin a formula; then what looks as if it had been guarded already.
AWKWARD = ("=1+1", "+44 20", "-5 m", "@home", "'=1+1", "''-5", "'twas here", "'", "＝A1", 'said "so"', "two\nlines", "a,b;c\td",
           " led by a blank", "café ½ 葉")  # fmt: skip


@pytest.fixture
def collection(room: Room) -> Room:
    """A room with sheets of all kinds: from lists, from an archive with extensions, by hand, and in many places."""
    consign(room)
    odd = [
        [number(place), f"Carex {text}", "L.", "Cyperaceae", text, text, "2024", text, text, text]
        for place, text in enumerate(AWKWARD)
    ]
    run(room, listed(odd))
    named = [[number(100 + place), text, text, text, text] for place, text in enumerate(AWKWARD)]
    head = ("catalogNumber", "Van", "preparations", "=Fach", "Box 3: shelf")
    run(room, listed(named, head))
    core = part("core", [(0, "catalogNumber", None), (1, "habitat", None), (2, "http://rs.gbif.org/terms/1.0/verbatimLabel", None),
                         (3, "modified", None), (None, "country", "Norway")])  # fmt: skip
    facts = part("extension", [(1, "measurementType", None), (2, "measurementValue", None)], ("facts.txt",),
                 f"{DWC}MeasurementOrFact")  # fmt: skip
    run(room, archive(core, {"occurrence.txt": rows_of([["n", "h", "l", "m"], [number(200), "fen", "L. s.n.", "1931"]]),
                             "facts.txt": rows_of([["c", "t", "v"], [number(200), "height", "3"], [number(200), "width", "=2"]])}, facts))  # fmt: skip
    label(room, filed(room), "Drosera rotundifolia", "M. Fenwick", locality="Quillmoor Fells, by the well", is_sensitive=True,
          notes="two steps left of the stile", kept={"country": "Norway", "decimalLatitude": "61.2", "my map": "p. 7"})  # fmt: skip
    brought_dry(room)
    room.sheet_in("P1")
    return room


@pytest.mark.parametrize("made", [table, archived], ids=["table", "archive"])
def test_an_empty_room_has_the_same_sheets_afterwards(collection: Room, migrated: Path, tmp_path: Path, made) -> None:
    there, _ = taken_in(collection, migrated, tmp_path, made(collection, exact_places=True))
    assert len(there) == 2 * len(AWKWARD) + 4
    assert there == sheets_of(collection)


def test_the_same_from_an_archive_with_extensions_is_the_same_again(
    collection: Room, migrated: Path, tmp_path: Path
) -> None:
    first = archived(collection, exact_places=True)
    _, second = taken_in(collection, migrated, tmp_path, first)
    one, other = (zipfile.ZipFile(io.BytesIO(each)) for each in (first, second))
    assert one.read("measurementorfact.txt") == other.read("measurementorfact.txt") == (
        f'coreid,measurementType,measurementValue\n{number(200)},height,3\n{number(200)},width,=2\n'.encode())  # fmt: skip
    known = [{row["id"]: (row["occurrenceID"], row["materialEntityID"], row["preparations"], row["habitat"])
              for row in csv.DictReader(io.StringIO(each.read("occurrence.txt").decode()))} for each in (one, other)]  # fmt: skip
    assert known[0] == known[1] and len(known[0]) == 2 * len(AWKWARD) + 4


def test_a_table_of_another_program_is_read_as_it_is(room: Room) -> None:
    """Only what a room wrote is taken for guarded."""
    consign(room)
    run(room, listed([[number(1), "'=1+1"]], ("catalogNumber", "Van")))
    assert sheets_of(room)[0]["kept"] == {"Van": "'=1+1"}


def test_no_cell_of_the_table_could_begin_a_formula(collection: Room) -> None:
    cells = [cell for row in csv.reader(io.StringIO(table(collection, bom=False).decode())) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝"))]
    assert "'=1+1" in cells and "''=1+1" in cells and "'twas here" in cells


def test_the_mark_of_the_letters_is_there_or_not(room: Room) -> None:
    room.sheet_ready()
    assert table(room).startswith(b"\xef\xbb\xbfcatalogNumber") and table(room, bom=False).startswith(b"catalogNumber,")


def test_what_is_asked_for_comes_and_nothing_else(room: Room) -> None:
    consign(room)
    ready, done = room.sheet_ready(), filed(room)
    run(room, listed(rows(2)))
    label(room, ready, consignment="Gale parcel")

    def numbers(**asked: object) -> set[str]:
        return {row["catalogNumber"] for row in csv.DictReader(io.StringIO(table(room, bom=False, **asked).decode()))}

    assert numbers() == {ready, done, number(0), number(1)}
    assert numbers(consignment="GIFT-1") == {number(0), number(1)}
    assert numbers(sieve=Sieve(cabinet="F1")) == numbers(sieve=Sieve(stage="filed")) == {done}
    assert numbers(sieve=Sieve(cabinet="M1", shelf="1")) == {ready}
    room.scans(done, "filing", step=Step.BRING_BACK, who="hedda", reason="damage was seen", manages=True)
    room.scans(ready, step=Step.WITHDRAW, who="hedda", reason="destroyed: mould", manages=True)
    assert numbers() == {done, number(0), number(1)} and numbers(withdrawn=True) == {ready, done, number(0), number(1)}
    for wrong in ({"consignment": "NONE"}, {"sieve": Sieve(cabinet="Z9")}):
        with pytest.raises(ValueError, match="There is no c"):
            numbers(**wrong)


def test_a_number_that_was_given_up_is_no_sheet_of_its_own(room: Room) -> None:
    kept, given_up = room.sheet_ready(), room.sheet_ready()
    joins(room, kept, given_up)
    found = list(csv.DictReader(io.StringIO(table(room, bom=False, withdrawn=True).decode())))
    assert [row["catalogNumber"] for row in found] == [kept]


def test_many_sheets_take_no_more_room_than_few(room: Room) -> None:
    consign(room)
    run(room, listed(rows(600)))
    few = _most_held(room)
    run(room, listed(rows(3000, first=600)))
    assert sum(1 for _ in table(room).splitlines()) == 3601
    # Five times six hundred sheets more, and the same at once: some hundreds of rows, whatever the room has.
    assert _most_held(room) < few * 1.5


def _most_held(room: Room) -> int:
    with reading(room.database) as session:
        lines = table_out(outgoing(session, Asked(), room.now, room.zone))
        next(lines)
        tracemalloc.start()
        try:
            for _ in lines:
                pass
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()


def test_the_table_has_the_terms_that_the_room_reads(room: Room) -> None:
    room.sheet_ready()
    head = table(room, bom=False).decode().splitlines()[0].split(",")
    assert set(HEAD) - {"habitat"} <= set(head) and mint(TQX, 0)[1] in table(room).decode()
