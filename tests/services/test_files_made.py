"""What SQLite makes of checked rows by itself is what Python would have written of them, to the last column."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from app.db.bulk_made import makes_rows
from app.db.engine import transaction
from app.db.models.base import Base
from app.domain.parcel import ListedSheet, as_json
from app.services import files_in
from app.services.files import Staged, begin_file, let_go, stage
from app.services.files_in import take_in_some
from app.services.list_rows import right_rows
from app.services.naming import Names
from app.services.parcels import open_consignment, open_parcel
from app.services.staged_rows import listed as listed_again
from app.services.staged_rows import said
from tests.room import Room
from tests.services.archives import archive, part, table
from tests.services.bringing import sent
from tests.services.parcels import consign, listed, number, rows

WRITTEN = ("sheet", "entry", "entry_worker", "hazard", "plant_name", "collector", "near_name", "tally_day", "change")
# Names that are there twice or not at all, dates as labels have them, quotation marks, line ends and letters of every kind.
DATES = [
    "",
    "2024-06-18",
    "1951-05-01",
    "1979-12-31",
    "1980",
    "18 June 1911",
    "s.d.",
    "1950/1990",
    "1200-01-01",
    "9999",
]


def odd(many: int) -> list[list[str]]:
    found = rows(many)
    for place, row in enumerate(found):
        row[1] = ["", 'Carex "nigra"', "Salix ×rubens", "Carex nigra"][place % 4]
        row[2] = ["", "L.", "L."][place % 3]
        row[4] = ["", "Séguin", "O'Tarrant", "Лена", "\U0001f33f x"][place % 5]
        row[6] = DATES[place % len(DATES)] if DATES[place % len(DATES)] != "9999" else "s.d. 1890 or 1910"
        row[7] = ["two\nlines", "a\\b", "{line}", "", ":upto ?1 %s"][place % 5]
    return found


ARCHIVE = archive(
    part("core", [(1, "catalogNumber", None), (2, "scientificName", None), (3, "eventDate", None), (4, "country", "Elsewhere")]),
    {"occurrence.txt": table([["id", "n", "s", "d", "c"], *[[f"a{each}", number(each), "Carex nigra", "1899", ""] for each in range(40)]])},
)  # fmt: skip


@pytest.mark.parametrize("hands", [("hedda",), ()], ids=["by one", "by nobody"])
@pytest.mark.parametrize("kind", ["gift", "fieldwork", "bequest"])
@pytest.mark.parametrize("data", [listed(odd(120)), ARCHIVE], ids=["list", "archive"])
def test_both_ways_write_the_same_rows(
    room: Room, monkeypatch: pytest.MonkeyPatch, data: bytes, kind: str, hands: tuple[str, ...]
) -> None:
    consign(room, "MADE", kind=kind)
    with transaction(room.database) as session:
        if not makes_rows(session):
            pytest.skip("Only SQLite makes rows by itself.")
        file_id = begin_file(session, sent(room, data, "MADE"), room.occasion)
        session.execute(files_in.FILE.update().values(sent_by=room.worker[hands[0]] if hands else None))
        listing, parcel = open_parcel(session, data, room.occasion)
        staged = Staged(file_id, open_consignment(session, "MADE")["id"], parcel, 0, 0, [])
        sheets = list(right_rows(listing, parcel, staged.bad))
        assert stage(session, staged, sheets, [said(each) for each in sheets]) and not staged.bad
        let_go(session, file_id, staged.new, room.occasion)
        written = []
        for by_itself in (True, False):
            monkeypatch.setattr(files_in, "makes_rows", lambda session, by_itself=by_itself: by_itself)
            tried = session.begin_nested()
            for _ in range(3):
                take_in_some(session, file_id, room.occasion, Names(), many=50)
            written.append(found(session))
            tried.rollback()
    assert written[0] == written[1]
    assert len(written[0]["sheet"]) == staged.new and len(written[0]["entry_worker"]) == staged.new * len(hands)
    # Of a bequest every sheet starts as suspected, of the others those of which a year says so.
    suspected = len(written[0]["hazard"])
    assert suspected == staged.new if kind == "bequest" else 0 < suspected <= staged.new


def found(session: Any) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of the tables; what was numbered on the way may be numbered in another order, so names stand for numbers."""
    tables = {name: Base.metadata.tables[name] for name in WRITTEN if name in Base.metadata.tables}
    named = {
        name: {row.id: tuple(row)[1:] for row in session.execute(select(tables[name]))} for name in ("plant_name", "collector")
    }  # fmt: skip
    told: dict[str, list[tuple[Any, ...]]] = {}
    for name, each in tables.items():
        columns = [column for column in each.columns if not (column.primary_key and name in named)]
        lines = []
        for row in session.execute(select(*columns)):
            values = dict(row._mapping)
            for column, over in (("plant_name_id", "plant_name"), ("collector_id", "collector")):
                if values.get(column) is not None:
                    values[column] = named[over][values[column]]
            lines.append(tuple(repr(value) for value in values.values()))
        told[name] = sorted(lines)
    return told


@given(st.dictionaries(st.text(max_size=8), st.text(max_size=12), max_size=4))
def test_texts_are_written_as_json_writes_them(told: dict[str, str]) -> None:
    assert as_json(told) == json.dumps(told)


@given(
    st.lists(st.text(max_size=12), min_size=6, max_size=6),
    st.dictionaries(st.text(max_size=5), st.text(max_size=9)),
    st.booleans(),
)
def test_what_a_row_says_is_read_back_as_it_was(texts: list[str], kept: dict[str, str], is_sensitive: bool) -> None:
    name, authorship, family, collector, notes, file = texts
    known = {"record_number": None, "event_date": "1890", "locality": None, "notes": notes or None, "kept": kept or None,
             "is_sensitive": is_sensitive}  # fmt: skip
    sheet = ListedSheet(7, "TQX000001T", (name, authorship, family), collector, known, "0123456789abcdef", file)
    again = listed_again(7, sheet.number, json.loads(said(sheet)))
    as_text = again.known["kept"]
    assert again == ListedSheet(
        7, sheet.number, sheet.plant, collector, {**known, "kept": as_text}, sheet.content, file
    )
    assert (json.loads(as_text) if as_text is not None else None) == known["kept"]
