"""What lies in a cabinet: shelf by shelf, narrowed and sorted, a page at a time, and in the order in which one walks."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.db.engine import reading, transaction
from app.db.models import Cabinet, PlantName, Sheet, table_of
from app.domain.hazards import CAUTIONS
from app.domain.stages import Stage, Step
from app.queries.cabinets import CabinetSummary, cabinet_names, cabinet_summary, cabinets
from app.queries.listing import SheetList, count_like, sheets_like
from app.queries.picks import PickList, pick_list
from app.queries.sheet_table import COLUMNS, table_rows
from app.queries.sieve import Sieve
from app.services.room import add_cabinet, add_hazard, add_shelf
from tests.queries.looking import filed, label, own_limit
from tests.queries.plans import full_scans, plans_of
from tests.room import LONDON, Room

SHEET = table_of(Sheet)
PLANTS = (
    ("Rumex acetosa", "Polygonaceae"), ("Carex nigra", "Cyperaceae"), ("× Agropogon littoralis", "Poaceae"),
    ("Carex nigra", "Cyperaceae"), ("Ábies alba", "Pinaceae"), ("", ""),
)  # fmt: skip


def summary_of(room: Room, name: str, now: datetime | None = None) -> CabinetSummary:
    with reading(room.database) as session:
        found = cabinet_summary(session, name, now or room.now, room.zone)
    assert found is not None
    return found


def listed(room: Room, now: datetime | None = None, after: str = "", limit: int = 50, **asked: Any) -> SheetList:
    with reading(room.database) as session:
        return sheets_like(session, Sieve(**asked), now or room.now, room.zone, after=after, limit=limit)


def pages(room: Room, limit: int = 3, **asked: Any) -> Iterator[list[str]]:
    after = ""
    while True:
        found = listed(room, after=after, limit=limit, **asked)
        yield [row.number for row in found.rows]
        after = found.next_after
        if not after:
            return


def whole(room: Room, **asked: Any) -> list[str]:
    return [number for page in pages(room, **asked) for number in page]


def picked(room: Room, most: int = 2000, now: datetime | None = None, **asked: Any) -> PickList:
    with reading(room.database) as session:
        return pick_list(session, Sieve(**asked), now or room.now, room.zone, most)


def family(room: Room, plant: str, name: str) -> None:
    with transaction(room.database) as session:
        session.execute(update(PlantName).where(PlantName.name == plant).values(family=name))


def onto(room: Room, number: str, cabinet: str, shelf: str = "") -> str:
    answer = room.scans(number, who="hedda", step=Step.SHELVE, cabinet=cabinet, shelf=shelf)
    assert answer.kind == "done", answer
    return number


@pytest.fixture
def meadow(room: Room) -> list[str]:
    """Twelve sheets on M1, shelf 1: each plant twice, in pairs that came at the same moment."""
    numbers = []
    for place in range(12):
        room.wait(minutes=0 if place % 2 else 7)
        plant, of_family = PLANTS[place % len(PLANTS)]
        numbers.append(room.sheet_ready())
        label(room, numbers[-1], plant=plant, collector="Tamsin Oxley", record_number=str(30 + place))
        if plant:
            family(room, plant, of_family)
    return numbers


def test_a_cabinet_is_told_shelf_by_shelf(room: Room) -> None:
    oldest, since = room.sheet_ready(), room.now
    room.wait(days=3)
    held, _ = room.sheet_ready(label=False), room.sheet_ready()
    onto(room, room.sheet_ready(), "M1", "3")
    onto(room, room.sheet_ready(), "M1")
    own_limit(room, "M1", 1)
    room.wait(days=1)
    found = summary_of(room, "M1")
    told = [(line.name, line.count, line.stalled, line.held) for line in found.shelves]
    # The limit is one open day: only the sheet of Wednesday is past it on Sunday, and the held one would not count.
    assert told == [("1", 3, 1, 1), ("2", 0, 0, 0), ("3", 1, 0, 0), ("4", 0, 0, 0), ("", 1, 0, 0)]
    assert found.shelves[0].oldest_since == since and found.shelves[0].oldest_age == "4 days"
    assert (found.cabinet.count, found.cabinet.loose) == (5, 1)
    for line in found.shelves:
        at = {"shelf": line.name} if line.name else {"loose": True}
        assert len(whole(room, cabinet="M1", stalled=True, **at)) == line.stalled
        assert len(whole(room, cabinet="M1", held="any", **at)) == line.held
        assert len(whole(room, cabinet="M1", **at)) == line.count
    assert whole(room, cabinet="M1", stalled=True) == [oldest] and whole(room, cabinet="M1", held="label-to-come") == [
        held
    ]


def test_a_cabinet_of_filed_sheets_waits_for_nothing(room: Room) -> None:
    filed(room)
    found = summary_of(room, "F1", room.now + timedelta(days=900))
    assert (found.shelves[0].count, found.shelves[0].oldest_since, found.shelves[0].stalled) == (1, None, 0)
    with reading(room.database) as session:
        assert cabinet_summary(session, "Z9", room.now, room.zone) is None


def test_the_room_in_a_cabinet_is_its_own_or_that_of_all_its_shelves(room: Room) -> None:
    with transaction(room.database) as session:
        add_cabinet(session, "K1", None, room.now, capacity=90)
        k2, k3 = (add_cabinet(session, name, None, room.now) for name in ("K2", "K3"))
        for cabinet, capacity in ((k2, 40), (k2, 30), (k3, 40), (k3, None)):
            add_shelf(session, cabinet, f"{cabinet}-{capacity}", capacity)
    with reading(room.database) as session:
        rooms = {each.name: each.room for each in cabinets(session)}
        names = cabinet_names(session)
    assert (rooms["K1"], rooms["K2"], rooms["K3"], rooms["M1"]) == (90, 70, None, None)
    assert names == tuple(rooms)


# The keys are worked out here, from the tables as they were filled, and sorted by Python alone.
SORTED_BY = {
    "number": lambda number, at: number,
    "waited": lambda number, at: (at // 2, number),
    "plant": lambda number, at: (_letters(PLANTS[at % 6][0]), number),
    "family": lambda number, at: (PLANTS[at % 6][1] or "~", _letters(PLANTS[at % 6][0]), number),
}


def _letters(name: str) -> str:
    return {"× Agropogon littoralis": "agropogon littoralis", "Ábies alba": "abies alba", "": "~"}.get(
        name, name.lower()
    )


@pytest.mark.parametrize("sort", SORTED_BY)
@pytest.mark.parametrize("limit", [1, 2, 5, 12])
def test_every_order_gives_every_sheet_once_also_over_ties(
    room: Room, meadow: list[str], sort: str, limit: int
) -> None:
    places = {number: at for at, number in enumerate(meadow)}
    expected = sorted(meadow, key=lambda number: SORTED_BY[sort](number, places[number]))
    assert [n for page in pages(room, limit, cabinet="M1", sort=sort) for n in page] == expected


@pytest.mark.parametrize("sort", SORTED_BY)
def test_sheets_that_stay_come_once_whatever_goes_and_comes_meanwhile(room: Room, meadow: list[str], sort: str) -> None:
    seen: list[str] = []
    gone: set[str] = set()
    chance = random.Random(sort)
    for page in pages(room, 2, cabinet="M1", sort=sort):
        seen += page
        goes = chance.choice([number for number in meadow if number not in gone])
        onto(room, goes, "M1", str(chance.randint(2, 4)))
        room.scans(goes, "table-1", step=Step.TAKE_UP)
        gone.add(goes)
        room.wait(minutes=1)
        room.sheet_ready()
    assert len(seen) == len(set(seen))
    assert set(meadow) - gone <= set(seen)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"cabinet": "M1", "shelf": "9"}, "Cabinet M1 has no shelf 9"),
        ({"shelf": "1"}, "together with its cabinet"),
        ({"cabinet": "M1", "sort": "colour"}, "not sorted by colour"),
        ({"cabinet": "M1", "held": "moths"}, "no hold called moths"),
        ({"sort": "plant"}, "one cabinet is listed at a time"),
        ({"stage": "filed", "held": "any"}, "one cabinet at a time"),
        ({"stage": "pressed"}, "no stage called pressed"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(room: Room, asked: dict[str, str], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        listed(room, **asked)


@pytest.mark.parametrize("sort", ["plant", "family"])
@pytest.mark.parametrize("after", ["nonsense", "[]", '[0, "a"]', '[7, "a", "b", "c", "d"]', '[2, "a", "b"]', '[0, "\\ud800", "b"]',
                                   '[0, "f", 0, "\\ud800", "b"]', "[" * 5000, "null", '{"a": 1}', '[true, "a", "b"]'])  # fmt: skip
def test_a_mark_that_no_page_gave_is_refused_in_a_sentence(room: Room, sort: str, after: str) -> None:
    with pytest.raises(ValueError, match="no place in the list"):
        listed(room, cabinet="M1", sort=sort, after=after)


def test_inside_a_cabinet_names_are_found_however_many_bear_them_elsewhere(
    room: Room, meadow: list[str], monkeypatch: Any
) -> None:
    monkeypatch.setattr("app.queries.sieve.MOST_FOUND", 1)
    assert whole(room, cabinet="M1", q="car nig", sort="number") == [meadow[1], meadow[3], meadow[7], meadow[9]]
    assert whole(room, cabinet="M1", q="oxley", sort="number") == meadow
    assert whole(room, cabinet="M1", q="33") == [meadow[3]]
    assert whole(room, cabinet="M1", q=meadow[5]) == [meadow[5]]
    assert whole(room, cabinet="D1", q="oxley") == [] == whole(room, cabinet="M1", q="nothing like it")


def test_wanted_sheets_are_listed_longest_waiting_first(room: Room, meadow: list[str]) -> None:
    for number in (meadow[6], meadow[2]):
        label(room, number, wanted_at=room.now)
    assert whole(room, cabinet="M1", wanted=True) == [meadow[2], meadow[6]] == whole(room, wanted=True)


def test_held_sheets_are_listed_by_kind_and_filed_ones_with_their_cabinet(room: Room) -> None:
    held, lies = room.sheet_ready(label=False), filed(room)
    room.scans(lies, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="to look at")
    assert whole(room, held="any") == [held] and whole(room, held="name-query") == []
    assert whole(room, cabinet="F1", held="any") == [lies] == whole(room, cabinet="F1", held="name-query")
    with reading(room.database) as session:
        assert count_like(session, Sieve(cabinet="F1", held="label-to-come"), room.now, room.zone) == 0


def test_filed_sheets_are_asked_for_by_how_long_they_lie_only_in_one_cabinet(room: Room) -> None:
    later = filed(room)
    with transaction(room.database) as session:
        session.execute(update(SHEET).where(SHEET.c.number == later).values(came_at=room.now + timedelta(hours=1)))
    first = filed(room)
    assert whole(room, cabinet="F1", sort="waited") == [first, later]
    assert whole(room, stage="filed", sort="waited") == [later, first], "all of them together are listed by number"


# -- the pick list ------------------------------------------------------------------------------------------------


def _natural(text: str) -> tuple[Any, ...]:
    return tuple(part.zfill(9) if part.isdigit() else part for part in re.findall(r"\d+|\D+", text))


def test_a_pick_list_is_walked_along_without_going_back(room: Room) -> None:
    chance = random.Random(5)
    with transaction(room.database) as session:
        for name, walk in (("M10", 1), ("M2", 1), ("X1", 0), ("M3", 2)):
            add_cabinet(session, name, Stage.READY, room.now, shelves=11)
            session.execute(update(Cabinet).where(Cabinet.name == name).values(walk=walk))
    lies: dict[str, tuple[str, str]] = {}
    walks = {"M10": 1, "M2": 1, "X1": 0, "M3": 2, "M1": 0}
    for _ in range(40):
        cabinet = chance.choice(["M10", "M2", "X1", "M3"])
        shelf = chance.choice(["1", "2", "10", "11", ""])
        lies[onto(room, room.sheet_ready(), cabinet, shelf)] = (cabinet, shelf)
    lies[room.sheet_ready()] = ("M1", "1")
    at_table = room.sheet_ready()
    room.scans(at_table, "table-1", step=Step.TAKE_UP)
    expected = sorted(lies, key=lambda number: (
        walks[lies[number][0]], _natural(lies[number][0]), lies[number][1] == "", _natural(lies[number][1]), number))  # fmt: skip
    found = picked(room, stage="ready-for-mounting")
    assert [line.number for group in found.groups for line in group.lines] == [*expected, at_table]
    assert found.groups[0].where == "Cabinet M1 · shelf 1" and found.groups[-1].where == "Mounting table 1"
    assert len({group.where for group in found.groups}) == len(found.groups), "each place is one group"
    assert any(group.where.endswith("· on no shelf") for group in found.groups)
    cut = picked(room, 10, stage="ready-for-mounting")
    assert [line.number for group in cut.groups for line in group.lines] == expected[:10]
    assert (cut.count, cut.matching, found.count, found.matching) == (10, 42, 42, 42)


def test_a_pick_line_says_what_to_mind_and_why_it_is_picked(room: Room) -> None:
    number, other = room.sheet_ready(label=False), room.sheet_ready()
    label(room, number, plant="Urtica dioica", collector="A. Brackwater", record_number="12", consignment="Bequest")
    label(room, other, wanted_at=room.now)
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, consignment_id=room.row(number)["consignment_id"])
        add_hazard(session, "irritant", room.now, sheet_id=room.row(number)["id"])
        session.execute(update(Cabinet).where(Cabinet.name == "M1").values(note="Mothballs: air it first"))
    own_limit(room, "M1", 2)
    (group,) = picked(room, now=room.now + timedelta(days=30), cabinet="M1").groups
    first, second = group.lines
    assert group.sign == "Mothballs: air it first"
    assert first.cautions == (CAUTIONS["historic"], CAUTIONS["irritant"]) and second.cautions == ()
    assert (first.collected, first.holds, first.stalled_since) == ("A. Brackwater no. 12", ("label to come",), None)
    # Came on Wednesday at nine; two open days later it is Friday at nine.
    assert second.stalled_since == room.now + timedelta(days=2) and second.is_wanted and not first.is_wanted


@pytest.mark.parametrize("asked", [{}, {"stage": "filed"}])
def test_a_pick_list_without_end_is_refused_in_a_sentence(room: Room, asked: dict[str, str]) -> None:
    with pytest.raises(ValueError, match="Choose a"):
        picked(room, **asked)
    assert picked(room, **asked, cabinet="F1").groups == ()


# -- the table ----------------------------------------------------------------------------------------------------


def table(room: Room, **asked: Any) -> list[dict[str, str]]:
    with reading(room.database) as session:
        heads, *rows = table_rows(session, Sieve(**asked), room.now, room.zone)
    assert heads == COLUMNS
    return [dict(zip(heads, row, strict=True)) for row in rows]


def test_a_table_holds_every_sheet_of_the_list_in_its_order(room: Room, meadow: list[str], monkeypatch: Any) -> None:
    monkeypatch.setattr("app.queries.sheet_table.AT_ONCE", 5)
    rows = table(room, cabinet="M1", sort="plant")
    assert [row["catalogNumber"] for row in rows] == whole(room, cabinet="M1", sort="plant")
    carex = next(row for row in rows if row["catalogNumber"] == meadow[1])
    came = room.row(meadow[1])["came_at"].astimezone(LONDON).isoformat(timespec="seconds")
    assert carex == {
        "catalogNumber": meadow[1], "scientificName": "Carex nigra", "family": "Cyperaceae", "recordedBy": "Tamsin Oxley",
        "recordNumber": "31", "stage": "ready-for-mounting", "since": came, "cabinet": "M1", "shelf": "1", "holds": "",
        "stalled": "no",
    }  # fmt: skip
    assert came.endswith("+00:00")


def test_a_table_says_what_is_held_and_stalled_and_no_place_of_gathering(room: Room) -> None:
    held = room.sheet_ready(label=False)
    label(room, held, locality="Quillmoor beck, by the third gate")
    room.scans(held, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="to look at")
    mounted = room.sheet_mounted()
    room.wait(hours=3)
    rows = {row["catalogNumber"]: row for row in table(room)}
    assert (rows[held]["holds"], rows[mounted]["stalled"], rows[mounted]["cabinet"]) == (
        "label to come; name query",
        "yes",
        "",
    )
    assert "Quillmoor" not in repr(rows)


# -- what it costs ------------------------------------------------------------------------------------------------

LARGE = ("sheet", "entry", "hold", "inspection", "layer")
READINGS = {
    "a cabinet's shelves": lambda room, session: cabinet_summary(session, "M1", room.now, room.zone),
    "a filing cabinet's shelves": lambda room, session: cabinet_summary(session, "F1", room.now, room.zone),
    "a pick list": lambda room, session: pick_list(session, Sieve(cabinet="M1"), room.now, room.zone),
    "a pick list of a stage": lambda room, session: pick_list(session, Sieve(stage="dry"), room.now, room.zone),
    "a table": lambda room, session: list(table_rows(session, Sieve(cabinet="F1"), room.now, room.zone)),
    "a count": lambda room, session: count_like(session, Sieve(cabinet="F1", q="carex"), room.now, room.zone),
}
NARROWED = [
    {"cabinet": "M1"}, {"cabinet": "M1", "shelf": "1"}, {"cabinet": "M1", "loose": True}, {"cabinet": "F1", "stage": "filed"},
    {"cabinet": "M1", "stage": "ready-for-mounting"}, {"cabinet": "M1", "stalled": True}, {"cabinet": "M1", "held": "any"},
    {"cabinet": "M1", "wanted": True}, {"cabinet": "M1", "q": "carex"},
]  # fmt: skip


@pytest.fixture
def large(room: Room, meadow: list[str]) -> Room:
    """A room with something of each kind."""
    filed(room)
    onto(room, room.sheet_ready(label=False), "M1")
    room.wait(days=200)
    return room


@pytest.mark.parametrize("read", READINGS.values(), ids=READINGS.keys())
def test_a_cabinet_never_costs_the_collection(large: Room, read: Any) -> None:
    assert_no_full_scan(large, lambda session: read(large, session))


@pytest.mark.parametrize("sort", ["", *SORTED_BY])
@pytest.mark.parametrize("asked", NARROWED, ids=repr)
def test_no_page_of_a_cabinet_costs_the_collection(large: Room, asked: dict[str, Any], sort: str) -> None:
    sieve = Sieve(**asked, sort=sort)
    first = listed(large, limit=1, **asked, sort=sort)
    for after in dict.fromkeys(("", first.next_after)):
        assert_no_full_scan(
            large, lambda session, after=after: sheets_like(session, sieve, large.now, large.zone, after=after, limit=1)
        )


@pytest.mark.parametrize("asked", [{"held": "any"}, {"wanted": True}, {"sort": "waited"}, {"stage": "dry", "sort": "number"},
                                   {"stalled": True, "sort": "number"}, {"q": "carex", "sort": "family"}], ids=repr)  # fmt: skip
def test_no_page_of_what_waits_costs_the_collection(large: Room, asked: dict[str, Any]) -> None:
    assert_no_full_scan(large, lambda session: sheets_like(session, Sieve(**asked), large.now, large.zone))


def assert_no_full_scan(room: Room, read: Callable[[Session], object]) -> None:
    with reading(room.database) as session:
        read(session)
    lines = plans_of(room.database, read)
    assert lines and full_scans(lines, *LARGE) == []
