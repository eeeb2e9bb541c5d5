"""Looks at mounted sheets: what was found is written with the gluing it belongs to, and the seal comes after."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Finding, Inspection, table_of
from app.domain.answer import Answer
from app.domain.stages import Step
from app.queries.inspections import looks_at
from app.services.room import set_house_rule
from tests.room import Room
from tests.services.days import differences, done

MARKS = ["loose-part@400,300 the lowest leaf", "label-crooked@810,900"]


def dry(room: Room, table: str = "table-1", number: str = "") -> str:
    """A sheet that was glued, lay its time and is dry."""
    number = number or room.sheet_mounted(table)
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    room.weights("on", "P1")
    room.wait(hours=25)
    room.weights("off", "P1")
    room.wait(minutes=1)
    done(room.takes_out(number))
    return number


def looks(room: Room, number: str, outcome: str = "to-be-mended", marks: Any = (), **more: Any) -> Answer:
    facts = {"outcome": outcome, "findings": marks, **more.pop("facts", {})}
    return room.scans(number, "inspection", step=Step.INSPECT, facts=facts, **more)


def rows(room: Room) -> list[tuple[Any, ...]]:
    """The looks written, oldest first: outcome, and the step and workers of the entry that is credited."""
    with reading(room.database) as session:
        return [
            (row.outcome, row.mount_entry_id)
            for row in session.execute(select(table_of(Inspection)).order_by(Inspection.id))
        ]


def found(room: Room) -> list[tuple[Any, ...]]:
    with reading(room.database) as session:
        table = table_of(Finding)
        return [tuple(row) for row in session.execute(select(table.c.kind, table.c.at_x, table.c.at_y, table.c.note))]


def entry_of(room: Room, number: str, step: str) -> int:
    return max(entry["id"] for entry in room.log(number) if entry["step"] == step)


def rule(room: Room, **values: int) -> None:
    with transaction(room.database) as session:
        for name, value in values.items():
            set_house_rule(session, name, value, "tried", room.now, by=room.worker["hedda"])


def test_what_was_found_is_written_with_its_place_and_the_mounting(room: Room) -> None:
    number = dry(room)
    done(looks(room, number, marks=MARKS))
    assert rows(room) == [("to-be-mended", entry_of(room, number, "mount"))]
    assert found(room) == [("loose-part", 400, 300, "the lowest leaf"), ("label-crooked", 810, 900, None)]
    with reading(room.database) as session:
        (look,) = looks_at(session, room.row(number)["id"])
    assert (look.words, [mark.text for mark in look.marks]) == ("to be mended", MARKS)
    assert differences(room.database) == []


def test_an_unknown_finding_is_refused_and_nothing_is_written(room: Room) -> None:
    number = dry(room)
    answer = looks(room, number, marks=["loose-part", "a-hair"])
    assert answer.status == 422 and "There is no finding called a-hair." in answer.lines
    assert rows(room) == [] and room.row(number)["outcome"] is None


def test_a_look_taken_back_takes_its_findings_along(room: Room) -> None:
    number = dry(room)
    answer = done(looks(room, number, marks=MARKS))
    assert answer.entry is not None
    done(room.undoes(answer.entry, "inspection"))
    assert rows(room) == [] and found(room) == []
    assert differences(room.database) == []


def test_glued_again_here_is_a_look_that_failed_and_a_gluing_of_its_own(room: Room) -> None:
    number = dry(room)
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"findings": MARKS, "adhesive": "pva"}))
    mount, again = entry_of(room, number, "mount"), entry_of(room, number, "re-glue")
    assert rows(room) == [("re-glued", mount)]
    room.wait(minutes=5)
    dry(room, number=number)
    assert looks(room, number, "passed").status == 422  # whoever mended it does not pass it
    room.signs_in("hedda", "inspection")
    done(looks(room, number, "passed"))
    assert rows(room) == [("re-glued", mount), ("passed", again)]
    assert differences(room.database) == []


def test_glued_again_away_from_where_sheets_are_inspected_is_no_look(room: Room) -> None:
    number = dry(room)
    done(room.scans(number, "press", step=Step.RE_GLUE, facts={"adhesive": "pva"}))
    assert rows(room) == []


def test_sent_back_to_the_table_is_a_look_too(room: Room) -> None:
    number = dry(room)
    facts = {"findings": ["over-the-edge@500,995"]}
    done(room.scans(number, "inspection", step=Step.BACK_TO_TABLE, facts=facts, reason="over the edge"))
    assert rows(room) == [("back-to-table", entry_of(room, number, "mount"))]
    assert room.stage(number) == "ready-for-mounting"


def test_mended_here_waits_for_other_eyes_unless_own_work_may_be_passed(room: Room) -> None:
    one, other = dry(room), dry(room)
    done(looks(room, one, "mended-here", ["loose-part"]))
    assert room.row(one)["outcome"] == "mended-here"
    assert room.row(one)["mended_by"] == [room.worker["rosamund"]]
    rule(room, not_own_work=0)
    done(looks(room, other, "mended-here", ["loose-part"]))
    assert room.row(other)["outcome"] == "passed"
    # It passed, but not as it was: the look says so.
    assert [outcome for outcome, _ in rows(room)] == ["mended-here", "mended-here"]


def test_what_arrived_mounted_is_nobodys_even_where_the_look_glued_it_anew(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    done(room.scans(number, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True}))
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"findings": ["loose-part"], "adhesive": "pva"}))
    assert rows(room) == [("re-glued", None)]


def test_the_seal_is_asked_for_once_it_is_passed_and_said_by_one_touch(room: Room) -> None:
    number = dry(room)
    answer = done(looks(room, number, "passed"))
    assert "Now the seal, top right." in answer.lines
    (choice,) = answer.choices
    assert (choice.label, answer.carry["code"]) == ("The seal is on", number)
    room.wait(minutes=1)
    sealed = done(looks(room, number, "passed", facts={"sealed": True}))
    assert "Now the seal, top right." not in sealed.lines
    # It is no second look.
    assert len(rows(room)) == 1 and room.log(number)[-1]["facts"].get("sealed") is True
    filed = done(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    assert filed.lines == ()
    assert differences(room.database) == []


def test_passed_and_sealed_in_one_touch_is_a_look_all_the_same(room: Room) -> None:
    number = dry(room)
    done(looks(room, number, "passed", facts={"sealed": True}))
    assert room.row(number)["outcome"] == "passed"
    assert [outcome for outcome, _ in rows(room)] == ["passed"]


@pytest.mark.parametrize(("asks", "said"), [(1, True), (0, False)])
def test_a_sheet_filed_without_its_seal_is_only_remarked_on(room: Room, asks: int, said: bool) -> None:
    rule(room, seal_after_passing=asks)
    number = dry(room)
    done(looks(room, number, "passed"))
    filed = done(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    assert ("No seal is written down for it: look at the top right corner." in filed.lines) is said


def test_a_seal_does_not_outlive_a_new_gluing(room: Room) -> None:
    number = dry(room)
    done(looks(room, number, "passed", facts={"sealed": True}))
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"adhesive": "pva"}))
    dry(room, number=number)
    room.signs_in("hedda", "inspection")
    assert "Now the seal, top right." in done(looks(room, number, "passed")).lines
    filed = done(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    assert "No seal is written down for it: look at the top right corner." in filed.lines


def test_not_me_keeps_the_findings_of_the_look(room: Room) -> None:
    number = dry(room)
    done(looks(room, number, marks=MARKS))
    from tests.services.test_not_me import not_me

    done(not_me(room, "inspection", "piet"))
    assert [kind for kind, *_ in found(room)] == ["loose-part", "label-crooked"]
    assert rows(room) == [("to-be-mended", entry_of(room, number, "mount"))]
