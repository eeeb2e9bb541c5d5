"""The audit: silent after days of work that were only written by the services, and naming whatever was planted."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
from sqlalchemy import text

from app.db.engine import Database, reading, transaction
from app.services.audit import audit, dated_ahead, in_question
from app.services.recount import rebuild_tallies
from tests.databases import lawless, unguard
from tests.room import LONDON, WEDNESDAY, Room
from tests.services.days import busy_days, differences, sentences

Sheets = dict[str, str]


@pytest.fixture
def worked(room: Room) -> Iterator[tuple[Room, Sheets]]:
    """A room after three busy days, with the guards of its log taken off, as somebody with the file could."""
    sheets = busy_days(room)
    unguard(room.database)
    yield room, sheets


def planted(database: Database, statement: str, **values: object) -> str:
    """What the audit says after one statement was run behind the program's back, which must have changed something."""
    with database.engine.begin() as connection:
        assert connection.execute(text(statement), values).rowcount > 0
    return sentences(database)


def test_the_audit_is_silent_after_busy_days(room: Room) -> None:
    busy_days(room)
    assert differences(room.database) == []


# (a) The standing entries of each sheet against its row.
@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("stage", "'filed'", "stage: dry by the log, filed by the table"),
        ("stage", "'nonsense'", "nonsense by the table"),
        ("came_at", "'2020-01-01 00:00:00.000000'", "came at:"),
        ("last_at", "NULL", "last at:"),
        ("cabinet_id", "2", "cabinet:"),
        ("shelf_id", "2", "shelf:"),
        ("bulk", "'bulky'", "bulk: ordinary by the log, bulky by the table"),
        ("adhesive_id", "2", "adhesive: 1 by the log, 2 by the table"),
        ("minimum_s", "1", "minimum s: 86400 by the log, 1 by the table"),
        ("glued_at", "NULL", "glued at:"),
        ("outcome", "NULL", "outcome: passed by the log, nothing by the table"),
        ("mounted_by", "'[1]'", "mounted by: [2] by the log, [1] by the table"),
        ("holds", "'quarantine'", "holds: nothing by the log, quarantine by the table"),
        ("closed_as", "'gone'", "closed as: nothing by the log, gone by the table"),
        ("in_queue", "FALSE", "in queue: yes by the log, no by the table"),
    ],
)
def test_a_row_that_was_changed_is_named_by_column(
    worked: tuple[Room, Sheets], column: str, value: str, said: str
) -> None:
    room, sheets = worked
    number = sheets["straight"]
    found = planted(room.database, f"UPDATE sheet SET {column} = {value} WHERE number = :number", number=number)
    assert f"Sheet {number}, " in found and said in found and len(found.splitlines()) == 1


def test_an_entry_that_vanished_is_missed_by_row_stays_and_chain(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    entry = room.log(sheets["doubted"])[-1]
    planted(room.database, "DELETE FROM entry_worker WHERE entry_id = :id", id=entry["id"])
    planted(room.database, "DELETE FROM doubt WHERE entry_id = :id", id=entry["id"])
    with lawless(room.database) as connection:
        connection.exec_driver_sql(f"DELETE FROM entry WHERE id = {entry['id']}")
    found = sentences(room.database)
    assert f"Sheet {sheets['doubted']}, stage: under-press by the log, dry by the table." in found
    assert "stay in a stack" in found and "Tally" in found


# (b) The log's own chain.
@pytest.mark.parametrize("change", ["from_stage = 'intake'", "came_at = recorded_at", "from_stack_id = 3"])
def test_an_entry_that_says_it_came_from_elsewhere_is_named(worked: tuple[Room, Sheets], change: str) -> None:
    room, sheets = worked
    entry = room.log(sheets["undone"])[-1]["id"]
    found = planted(room.database, f"UPDATE entry SET {change} WHERE id = :id", id=entry)
    column = change.split(" = ")[0].replace("_", " ").removesuffix(" id")
    assert f"entry {entry}, {column}: " in found


def test_an_entry_that_was_changed_breaks_all_that_follows_it(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    mount = next(entry for entry in room.log(sheets["straight"]) if entry["step"] == "mount")
    found = planted(room.database, "UPDATE entry SET to_stage = 'dry' WHERE id = :id", id=mount["id"])
    assert f"entry {mount['id']}" not in found
    assert "from stage: dry by the log, mounted by the table" in found


def test_a_correction_of_what_does_not_stand_is_named(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    correction = next(entry for entry in room.log(sheets["undone"]) if entry["step"] == "correct")
    other = room.log(sheets["moved"])[0]["id"]
    found = planted(
        room.database, "UPDATE entry SET corrects = :other WHERE id = :id", other=other, id=correction["id"]
    )
    assert (
        f"entry {correction['id']} corrects: an entry that does not stand by the log, entry {other} by the table"
        in found
    )


def test_an_entry_that_cannot_be_read_is_named_and_the_rest_is_still_read(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    entry = room.log(sheets["straight"])[2]
    planted(room.database, "UPDATE sheet SET bulk = 'thin' WHERE number = :number", number=sheets["doubted"])
    found = planted(room.database, "UPDATE entry SET step = 'juggle' WHERE id = :id", id=entry["id"])
    assert f"Sheet {sheets['straight']}, its entries: cannot be read" in found
    assert f"Sheet {sheets['doubted']}, bulk" in found


def test_an_entry_of_a_sheet_that_is_not_there_is_named(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    entry = room.log(sheets["straight"])[-1]
    found = planted(room.database, "UPDATE entry SET subject_id = 999 WHERE id = :id", id=entry["id"])
    assert f"Entry {entry['id']}, its subject: sheet 999 by the log, nothing by the table." in found


# (c) Stays and holds.
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE layer SET laid_at = '2026-11-24 08:00:00.000000' WHERE sheet_id = 1",
        "UPDATE layer SET out_at = NULL, out_entry_id = NULL WHERE sheet_id = 1",
        "UPDATE layer SET stack_id = 3, layer = 90 WHERE sheet_id = 1",
        "DELETE FROM layer WHERE sheet_id = 1",
        "INSERT INTO layer (sheet_id, stack_id, layer, laid_at, laid_entry_id) VALUES (1, 3, 77, '2026-11-25 09:00:00', 1)",
    ],
)
def test_a_stay_that_the_log_does_not_know_is_named(worked: tuple[Room, Sheets], statement: str) -> None:
    room, sheets = worked
    found = planted(room.database, statement)
    assert f"Sheet {sheets['straight']}, stay in a stack: " in found


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE hold SET lifted_at = NULL, lifted_entry_id = NULL WHERE sheet_id = 1",
        "UPDATE hold SET kind = 'quarantine' WHERE sheet_id = 1",
        "DELETE FROM hold WHERE sheet_id = 1",
    ],
)
def test_a_hold_that_the_log_does_not_know_is_named(worked: tuple[Room, Sheets], statement: str) -> None:
    room, sheets = worked
    found = planted(room.database, statement)
    assert f"Sheet {sheets['straight']}, hold: " in found and len(found.splitlines()) == 1


# (d) Stacks.
@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (
            "UPDATE stack SET weights_on = FALSE WHERE name = 'P1'",
            "Stack P1, weights on: yes by the log, no by the table.",
        ),
        ("UPDATE stack SET turned_at = NULL WHERE name = 'P1'", "Stack P1, turned at:"),
        ("UPDATE stack SET last_at = NULL WHERE name = 'P1'", "Stack P1, last at:"),
        ("UPDATE stack SET next_layer = 3 WHERE name = 'P1'", "Stack P1, next layer: above "),
        ("DELETE FROM weight_span WHERE stack_id = 2", "Stack P2, weights lay on it: from "),
        (
            "UPDATE weight_span SET on_at = '2026-11-25 08:00:00' WHERE stack_id = 3",
            "Stack P3, weights lay on it: nothing",
        ),
    ],
)
def test_a_stack_that_differs_from_its_log_is_named(worked: tuple[Room, Sheets], statement: str, said: str) -> None:
    assert said in planted(worked[0].database, statement)


# (e) Sums.
@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (
            "UPDATE tally_day SET sheets = sheets + 1 WHERE step = 'mount'",
            "Olwen Tarrant mount, sheets: 6 by the log, 7",
        ),
        (
            "UPDATE tally_day SET credit_60 = 1 WHERE step = 'mount'",
            "credit in sixtieths: 360 by the log, 1 by the table",
        ),
        ("DELETE FROM tally_day WHERE step = 'mount'", "mount, sheets: 6 by the log, 0 by the table"),
        ("UPDATE tally_stay SET stays = 99 WHERE stage = 'intake'", ", stays: "),
        (
            "INSERT INTO tally_stay VALUES ('2026-W01', 'dry', 0, 5, 2)",
            "2026-W01 dry 5 h, stays: 0 by the log, 2 by the table",
        ),
    ],
)
def test_a_sum_that_a_recount_does_not_give_is_named_and_made_anew(
    worked: tuple[Room, Sheets], statement: str, said: str
) -> None:
    database = worked[0].database
    assert said in planted(database, statement)
    with transaction(database) as session:
        rebuild_tallies(session, LONDON)
    assert differences(database) == []


# (f) Take-outs below their minimum.
def test_moves_in_question_are_told_apart_from_differences(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    with reading(room.database) as session:
        found = in_question(session)
        assert list(audit(session, LONDON)) == []
    assert {each.number for each in found} == {sheets[name] for name in ("straight", "glued-again", "doubted")}
    assert all("taken out" in each.sentence and "short of its minimum" in each.sentence for each in found)


def test_a_take_out_below_its_minimum_that_nobody_questions_is_named(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    entry = room.log(sheets["doubted"])[-1]["id"]
    found = planted(room.database, "DELETE FROM doubt WHERE entry_id = :id", id=entry)
    assert f"Sheet {sheets['doubted']}, taken out too early (entry {entry}): " in found
    assert "not in question by the table" in found and len(found.splitlines()) == 1


def test_an_early_release_whose_mark_was_taken_off_is_named(worked: tuple[Room, Sheets]) -> None:
    room, sheets = worked
    entry = room.log(sheets["moved"])[-1]
    assert entry["early_by_s"] > 0
    found = planted(room.database, "UPDATE entry SET early_by_s = NULL WHERE id = :id", id=entry["id"])
    assert f"taken out too early (entry {entry['id']}): {entry['early_by_s']} s short by the log" in found


# (g) Entries dated ahead.
def test_entries_dated_after_now_are_listed_apart(worked: tuple[Room, Sheets]) -> None:
    room, _ = worked
    with reading(room.database) as session:
        assert dated_ahead(session, room.now) == []
        ahead = dated_ahead(session, WEDNESDAY + timedelta(minutes=1))
        assert list(audit(session, LONDON)) == []
    assert ahead and all(each.happened_at > WEDNESDAY + timedelta(minutes=1) for each in ahead)
    assert "ahead of now" in ahead[0].sentence
