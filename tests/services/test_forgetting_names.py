"""A name is replaced by a number throughout: the log stays whole, the audit is silent, and answers are given again."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import inspect, select, text

from app.db.engine import reading, transaction
from app.db.models import Collector, Entry, Scan, Worker, table_of
from app.domain.named_text import NamedText
from app.domain.stages import Step
from app.queries.named_texts import named_texts
from app.services.forgetting_names import replace_name
from app.services.people import add_worker, retire_worker, set_password
from app.services.room import set_house_rule
from app.services.wanted import want
from tests.db.test_guarded import guards, refuses_everything
from tests.queries.looking import label
from tests.room import Room
from tests.services.days import differences
from tests.services.test_not_me import not_me

WORKER = table_of(Worker)
BADGE = "scan-of-the-badge"


@pytest.fixture
def named(room: Room) -> tuple[Room, str]:
    """A room in which Piet has worked and is named wherever a name can be; he has left."""
    room.worker_badge = room.code("badge", "piet")  # type: ignore[attr-defined]
    room.scans(room.worker_badge, "table-2", scan_id=BADGE)  # type: ignore[attr-defined]
    numbers = [room.sheet_mounted("table-1") for _ in range(2)]
    not_me(room, "table-1", "piet")
    room.scans(
        numbers[0],
        who="hedda",
        step=Step.PUT_HOLD,
        reason="Piet Lindqvist glued it crooked",
        facts={"hold": "name-query"},
    )
    room.scans(numbers[1], who="hedda", step=Step.PUT_HOLD, reason="ask Piet", facts={"hold": "name-query"})
    with transaction(room.database) as session:
        want(session, room.row(numbers[0])["id"], "for PIET LINDQVIST's talk", room.now, by=room.worker["hedda"])
        set_house_rule(session, "run_sheets", 5, "Lindqvist's trolley is small", room.now, by=room.worker["hedda"])
        set_password(session, room.worker["piet"], "a-long-enough-one", room.now)
    label(room, numbers[0], plant="Rosa canina", collector="Piet Lindqvist")
    room.wait(minutes=1)
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
    return room, numbers[0]


def look(room: Room, who: str = "piet") -> tuple[NamedText, ...]:
    with reading(room.database) as session:
        return named_texts(session, room.worker[who])


def replaced(room: Room, texts: tuple[NamedText, ...] | list[NamedText], who: str = "piet") -> int:
    with transaction(room.database) as session:
        return replace_name(session, room.worker[who], room.now, room.worker["hedda"], texts)


def everywhere(room: Room) -> str:
    """Every text of the whole database, but for what labels say."""
    with room.database.engine.connect() as connection:
        tables = inspect(connection).get_table_names()
        rows = [str(tuple(row)) for table in tables if table not in ("collector",)
                for row in connection.execute(text(f'SELECT * FROM "{table}"'))]  # noqa: S608  # fmt: skip
    return "\n".join(rows)


def test_each_text_that_names_somebody_is_shown_once_with_its_rows(named: tuple[Room, str]) -> None:
    room, _ = named
    assert [(each.where, each.text, each.whole, each.always) for each in look(room)] == [
        ("change.new", "Piet Lindqvist", True, True),
        ("change.why", "for PIET LINDQVIST's talk", True, False),
        ("entry.reason", "Piet Lindqvist glued it crooked", True, False),
        ("hold.why", "Piet Lindqvist glued it crooked", True, False),
        ("scan.answer", "4 scans are credited to Piet Lindqvist now.", True, False),
        ("scan.answer", "Piet Lindqvist is working here now.", True, False),
        ("wanted.why", "for PIET LINDQVIST's talk", True, False),
        ("change.why", "Lindqvist's trolley is small", False, False),
        ("entry.reason", "ask Piet", False, False),
        ("hold.why", "ask Piet", False, False),
        ("house_rule.reason", "Lindqvist's trolley is small", False, False),
        ("scan.answer", "Hello, Piet.", False, False),
    ]
    assert {len(each.rows) for each in look(room)} == {1}


def test_a_text_that_was_written_twice_is_shown_once(named: tuple[Room, str]) -> None:
    room, number = named
    for _ in range(2):
        room.scans(
            number, who="hedda", step=Step.LIFT_HOLD, reason="Piet says it is right", facts={"hold": "name-query"}
        )
        room.scans(number, who="hedda", step=Step.PUT_HOLD, reason="Piet is wrong", facts={"hold": "name-query"})
    rows = {each.text: len(each.rows) for each in look(room) if each.where == "entry.reason"}
    assert rows["Piet says it is right"] == 2 and rows["Piet is wrong"] == 2


def test_the_name_is_nowhere_afterwards_and_the_log_is_whole(named: tuple[Room, str]) -> None:
    room, number = named
    before, entries = guards(room.database), without_reasons(room)
    # Three texts of changes and one of a rule, two reasons, two holds, a wish, and two answers, one of
    # which holds two of the sentences.
    assert replaced(room, look(room)) == 11
    left = everywhere(room)
    assert "piet" not in left.lower() and "lindqvist" not in left.lower()
    with reading(room.database) as session:
        row = session.execute(select(WORKER).where(WORKER.c.id == room.worker["piet"])).mappings().one()
    assert (row["name"], row["name_key"], row["number"]) == ("W03", "w03", "W03") and row["name_gone_at"] == room.now
    assert [row[each] for each in ("badge_code", "badge_since_at", "pin_hash", "password_hash")] == [None] * 4
    assert without_reasons(room) == entries
    assert [entry["reason"] for entry in room.log(number) if entry["step"] == "put-hold"] == ["W03 glued it crooked"]
    assert guards(room.database) == before and differences(room.database) == []
    refuses_everything(room.database)


def without_reasons(room: Room) -> list[Any]:
    with reading(room.database) as session:
        table = table_of(Entry)
        columns = [column for column in table.c if column.name != "reason"]
        return [tuple(row) for row in session.execute(select(*columns).order_by(table.c.id))]


def test_a_scan_that_is_sent_again_gets_its_answer_with_the_number(named: tuple[Room, str]) -> None:
    room, _ = named
    replaced(room, look(room))
    entries, badge = without_reasons(room), room.worker_badge  # type: ignore[attr-defined]
    again = room.scans(badge, "table-2", scan_id=BADGE)
    assert (again.kind, again.word) == ("done", "Hello, W03.")
    assert without_reasons(room) == entries


def test_how_many_texts_it_was_is_written_down_without_the_name(named: tuple[Room, str]) -> None:
    room, _ = named
    replaced(room, look(room))
    with room.database.engine.connect() as connection:
        statement = text(
            "SELECT changed_by, subject_id, old, new FROM change WHERE what = 'name replaced by the number'"
        )
        assert connection.execute(statement).all() == [(room.worker["hedda"], room.worker["piet"], None, "11 texts")]


def test_what_the_screen_greeted_with_says_the_number_and_the_sheets_label_stays(named: tuple[Room, str]) -> None:
    room, number = named
    shown = room.scans(number, "table-1")
    assert shown.sheet is not None and "Piet Lindqvist" in shown.sheet.detail
    replaced(room, look(room))
    with reading(room.database) as session:
        answer = session.execute(select(Scan.answer).where(Scan.scan_id == BADGE)).scalar_one()
        kept = session.execute(select(Scan.answer).order_by(Scan.id.desc()).limit(1)).scalar_one()
        assert session.execute(select(Collector.name)).scalars().all() == ["Piet Lindqvist"]
    assert answer["word"] == "Hello, W03." and "Piet Lindqvist" in kept["sheet"]["detail"]


def test_what_was_not_ticked_stays_as_it_was_written(named: tuple[Room, str]) -> None:
    room, number = named
    replaced(room, [each for each in look(room) if each.whole])
    left = everywhere(room)
    assert (
        "ask Piet" in left and "Lindqvist's trolley" in left and "Piet Lindqvist" not in left.replace(f"{number}", "")
    )
    assert differences(room.database) == []


def test_a_text_that_was_changed_since_the_look_is_left(named: tuple[Room, str]) -> None:
    room, _ = named
    texts = look(room)
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE wanted SET why = 'for the open day, and Piet'"))
    replaced(room, texts)
    assert "for the open day, and Piet" in everywhere(room)


def test_a_name_with_accents_is_found_in_answers_too(room: Room) -> None:
    with transaction(room.database) as session:
        worker_id, badge = add_worker(session, "Jörg Ångström", ("volunteer",), room.now)
    room.worker["jorg"] = worker_id
    room.scans(badge, "table-2")
    room.sheet_mounted("table-1")
    not_me(room, "table-1", "jorg")
    with transaction(room.database) as session:
        retire_worker(session, worker_id, room.now, by=None)
    texts = look(room, "jorg")
    assert {"Hello, Jörg.", "Jörg Ångström is working here now."} <= {each.text for each in texts}
    replaced(room, texts, "jorg")
    left = everywhere(room)
    assert "Jörg" not in left and "J\\u00f6rg" not in left and "Hello, W06." in left


@pytest.mark.parametrize(("who", "said"), [("olwen", "who has left"), ("nobody", "no such worker")])
def test_only_somebody_who_has_left_loses_the_name(room: Room, who: str, said: str) -> None:
    room.worker["nobody"] = 999
    with pytest.raises(ValueError, match=said):
        replaced(room, [], who)


def test_a_name_goes_once(named: tuple[Room, str]) -> None:
    room, _ = named
    replaced(room, look(room))
    assert look(room) == ()
    with pytest.raises(ValueError, match="gone already"):
        replaced(room, [])


def test_when_it_fails_half_way_everything_is_as_before(named: tuple[Room, str]) -> None:
    room, _ = named
    before, standing = everywhere(room), guards(room.database)
    with pytest.raises(RuntimeError, match="power"), transaction(room.database) as session:
        replace_name(session, room.worker["piet"], room.now, room.worker["hedda"], look(room))
        raise RuntimeError("the power went")
    assert everywhere(room) == before and guards(room.database) == standing


def test_tries_at_the_door_by_that_name_are_gone_as_well(named: tuple[Room, str]) -> None:
    room, _ = named
    with room.database.engine.begin() as connection:
        for key in ("piet lindqvist", "name piet lindqvist", "name olwen tarrant"):
            connection.execute(text("INSERT INTO log_in VALUES (:key, 1, '2026-11-25 09:00:00.000000')"), {"key": key})
    replaced(room, [])
    with room.database.engine.connect() as connection:
        assert connection.execute(text("SELECT name_key FROM log_in")).scalars().all() == ["name olwen tarrant"]


def test_somebody_with_a_like_name_keeps_theirs(named: tuple[Room, str]) -> None:
    room, _ = named
    with transaction(room.database) as session:
        add_worker(session, "Piet Lindqvist-Holm", ("volunteer",), room.now)
    told = [each.text for each in look(room) if "Holm" in each.text]
    replaced(room, [each for each in look(room) if each.text not in told])
    with reading(room.database) as session:
        assert "Piet Lindqvist-Holm" in session.execute(select(WORKER.c.name)).scalars().all()
