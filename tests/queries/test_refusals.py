"""What is refused where: by station and kind, week by week, never by person."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import insert, inspect

from app.db.engine import reading, transaction
from app.db.models import RefusedScan, Scan, table_of
from app.domain.stages import Step
from app.queries.last_weeks import last_weeks
from app.queries.refusals import Refusals, RefusedLine, refusal_rows, refusals
from tests.room import LONDON, WEDNESDAY, Room


def found_in(room: Room, now: datetime | None = None) -> Refusals:
    with reading(room.database) as session:
        return refusals(session, now or room.now, room.zone)


def refuse(room: Room, at: str | None, codes: str, when: datetime, step: str | None = None, times: int = 1) -> None:
    """Refused scans, as the scan path writes them: the scan and its refusal."""
    station = room.station[at] if at else None
    with transaction(room.database) as session:
        for _ in range(times):
            values = {"refused_at": when, "station_id": station, "step": step, "codes": codes, "length": 11}
            session.execute(insert(table_of(RefusedScan)), values)
            accept(room, session, station, when)


def accept(room: Room, session: object, station: int | None, when: datetime) -> None:
    values = {"scan_id": room.next_id(), "fingerprint": "f", "answer": {}, "station_id": station, "received_at": when}
    session.execute(insert(table_of(Scan)), values)  # type: ignore[attr-defined]


def test_real_refusals_are_told_by_station_kind_and_step(room: Room) -> None:
    number, other = room.sheet_in("P1"), room.sheet_ready()
    room.weights("on", "P1")
    room.scans(number, "press", step=Step.TAKE_OUT)
    room.wait(minutes=5)
    room.scans(number, "press", step=Step.TAKE_OUT)
    room.scans(other, "filing", step=Step.FILE)
    found = found_in(room)
    press = [line for line in found.lines if line.station == "Press"]
    early = next(line for line in press if line.code == "too-early")
    assert (early.times, early.by_week, early.steps) == (2, (0,) * 7 + (2,), (("take out", 2),))
    assert early.lesson.words == "Before its time under weight was over"
    assert [line.station for line in found.lines if line.code == "wrong-stage"] == ["Filing"]


def test_the_commonest_comes_first_and_each_week_has_its_own_figure(room: Room) -> None:
    refuse(room, "press", "weights-on", WEDNESDAY - timedelta(weeks=2), times=3)
    refuse(room, "press", "weights-on", WEDNESDAY - timedelta(weeks=7))
    refuse(room, "table-1", "no-label", WEDNESDAY, times=5)
    refuse(room, "press", "no-label", WEDNESDAY, times=1)
    lines = found_in(room).lines
    assert [(line.station, line.code, line.by_week) for line in lines] == [
        ("Mounting table 1", "no-label", (0, 0, 0, 0, 0, 0, 0, 5)),
        ("Press", "weights-on", (1, 0, 0, 0, 0, 3, 0, 0)),
        ("Press", "no-label", (0, 0, 0, 0, 0, 0, 0, 1)),
    ]


def test_a_scan_refused_for_two_reasons_counts_under_both_and_once_in_the_share(room: Room) -> None:
    refuse(room, "press", "too-early weights-on", WEDNESDAY, "take-out", times=2)
    with transaction(room.database) as session:
        for _ in range(6):
            accept(room, session, room.station["press"], WEDNESDAY)
    found = found_in(room)
    assert {(line.code, line.times) for line in found.lines} == {("too-early", 2), ("weights-on", 2)}
    assert [(share.station, share.in_all) for share in found.shares] == [("Press", (2, 8))]
    assert found.shares[0].by_week[-1] == (2, 8) and found.shares[0].by_week[0] == (0, 0)


def test_questions_are_told_apart_and_are_in_no_share(room: Room) -> None:
    refuse(room, "press", "no-stack", WEDNESDAY, "put-under-weight", times=4)
    refuse(room, "press", "no-stack", WEDNESDAY, None)
    found = found_in(room)
    assert [(line.code, line.times) for line in found.questions] == [("no-stack", 4)]
    assert [(line.code, line.times) for line in found.lines] == [("no-stack", 1)]
    assert found.shares[0].in_all == (1, 5)


def test_what_no_station_sent_is_told_as_such(room: Room) -> None:
    refuse(room, None, "unknown-number", WEDNESDAY, times=2)
    found = found_in(room)
    assert [(line.station, line.times) for line in found.lines] == [("At no station", 2)]
    assert [(share.station, share.in_all) for share in found.shares] == [("At no station", (2, 2))]


def test_a_code_or_step_of_an_older_version_is_still_shown(room: Room) -> None:
    refuse(room, "press", "too-warm", WEDNESDAY, "steamed")
    line = found_in(room).lines[0]
    assert (line.lesson.words, line.steps) == ("Too warm", (("steamed", 1),))


def test_weeks_are_those_of_the_room_and_its_zone(room: Room) -> None:
    # ISO 8601: 2026 has 53 weeks; week 53 runs from Monday 28 December to Sunday 3 January.
    weeks = last_weeks(datetime(2027, 1, 5, 12, tzinfo=UTC), LONDON, 8)
    assert [week.name for week in weeks] == [
        "2026-W47", "2026-W48", "2026-W49", "2026-W50", "2026-W51", "2026-W52", "2026-W53", "2027-W01"]  # fmt: skip
    assert [week.so_far for week in weeks] == [False] * 7 + [True]
    assert (str(weeks[6].first), str(weeks[6].last)) == ("2026-12-28", "2027-01-03")


@pytest.mark.parametrize(("minute", "place"), [(29, 5), (30, 6)])
def test_a_week_begins_at_the_rooms_own_midnight(room: Room, minute: int, place: int) -> None:
    from zoneinfo import ZoneInfo

    # In Kolkata (UTC+5:30) Monday 16 November begins on Sunday at 18:30 UTC.
    refuse(room, "press", "too-early", datetime(2026, 11, 15, 18, minute, tzinfo=UTC))
    with reading(room.database) as session:
        by_week = refusals(session, WEDNESDAY, ZoneInfo("Asia/Kolkata")).lines[0].by_week
    assert [week for week, many in enumerate(by_week) if many] == [place]


def test_what_is_older_than_eight_weeks_is_not_told(room: Room) -> None:
    monday = datetime(2026, 10, 5, tzinfo=UTC) - timedelta(hours=1)  # midnight in London in summer time
    refuse(room, "press", "too-early", monday)
    refuse(room, "press", "too-early", monday - timedelta(seconds=1))
    assert found_in(room).lines[0].by_week == (1, 0, 0, 0, 0, 0, 0, 0)
    assert found_in(room).shares[0].in_all == (1, 1)


def test_a_room_in_which_nothing_was_refused_says_nothing(room: Room) -> None:
    found = found_in(room)
    assert (found.lines, found.questions, found.shares) == ((), (), ())


def test_nothing_in_it_names_a_person(room: Room) -> None:
    room.scans(room.sheet_ready(), "filing", step=Step.FILE, who="olwen")
    assert "Olwen" not in repr(found_in(room))
    assert not [each.name for each in fields(RefusedLine) if "worker" in each.name]


def test_the_table_has_a_row_for_each_week_station_step_and_code(room: Room) -> None:
    refuse(room, "press", "too-early weights-on", WEDNESDAY, "take-out", times=2)
    refuse(room, "press", "too-early", WEDNESDAY - timedelta(weeks=1), "take-out")
    with reading(room.database) as session:
        rows = list(refusal_rows(session, room.now, room.zone))
    assert rows == [
        ("week", "station", "step", "code", "words", "refused", "scans at the station"),
        ("2026-W47", "Press", "take-out", "too-early", "Before its time under weight was over", "1", "1"),
        ("2026-W48", "Press", "take-out", "too-early", "Before its time under weight was over", "2", "2"),
        ("2026-W48", "Press", "take-out", "weights-on", "The weights were on", "2", "2"),
    ]


@pytest.mark.sqlite_only("the plans of SQLite: PostgreSQL chooses by what it counted, so a small room tells nothing")
def test_the_scans_of_a_week_are_counted_off_the_index(room: Room) -> None:
    asked: list[str] = []
    from sqlalchemy import event

    event.listen(room.database.engine, "before_cursor_execute", lambda *args: asked.append(args[2]))
    found_in(room)
    counted = [sql for sql in asked if "FROM scan" in sql]
    refused = [sql for sql in asked if "FROM refusal" in sql]
    assert len(counted) == 2 and len(refused) == 1
    with room.database.engine.connect() as connection:
        for sql, index in [*((sql, "ix_scan_station_received") for sql in counted), (refused[0], "ix_refusal_refused")]:
            marks = tuple("2026-11-20 00:00:00" for _ in range(sql.count("?")))
            plan = " ".join(row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}", marks))
            assert index in plan and "SCAN scan" not in plan and "SCAN refusal" not in plan, plan


def test_text_is_what_the_refusal_table_is_made_of(room: Room) -> None:
    with reading(room.database) as session:
        columns = {column["name"] for column in inspect(session.connection()).get_columns("refusal")}
    assert not [name for name in columns if "worker" in name or name.endswith("_by")]
