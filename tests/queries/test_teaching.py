"""The trainer's page: who may do what, what has lain for long, and what was found in whose mountings."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import insert, select, update

from app.db.engine import reading, transaction
from app.db.models import Finding, Inspection, table_of
from app.domain.stages import Step
from app.queries.findings import LookedAt
from app.queries.teaching import Cell, Learner, Teaching, learner_by_id, sign_offs_told, teaching
from app.services.people import retire_worker
from app.services.room import set_house_rule
from tests.room import Room
from tests.services.test_sign_offs import ends, signs

INSPECTION = table_of(Inspection)


def looked(room: Room) -> Teaching:
    with reading(room.database) as session:
        return teaching(session, room.now, room.zone)


def of(room: Room, who: str) -> Learner:
    found = learner_by_id(looked(room), room.worker[who])
    assert found is not None
    return found


def cell(room: Room, who: str, step: Step = Step.TAKE_UP) -> Cell:
    return next(each for each in of(room, who).cells if each.step is step)


def inspected(room: Room, table: str, *kinds: str, outcome: str = "to-be-mended", number: str = "") -> str:
    """A sheet mounted at a table, pressed, taken out and inspected, with these findings."""
    number = number or room.sheet_mounted(table)
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", who="rosamund")
    room.weights("on", "P1", who="rosamund")
    room.wait(hours=25)
    room.weights("off", "P1", who="rosamund")
    room.wait(minutes=1)
    assert room.takes_out(number, who="rosamund").kind == "done"
    return looked_at(room, number, *kinds, outcome=outcome)


def looked_at(room: Room, number: str, *kinds: str, outcome: str = "to-be-mended", **columns: Any) -> str:
    answer = room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": outcome})
    assert answer.kind == "done", answer
    with transaction(room.database) as session:
        made = session.execute(select(INSPECTION.c.id).where(INSPECTION.c.entry_id == answer.entry)).scalar_one()
        if columns:
            session.execute(update(INSPECTION).where(INSPECTION.c.id == made).values(**columns))
        for kind in kinds:
            session.execute(insert(table_of(Finding)).values(inspection_id=made, kind=kind))
    return number


def found(seen: LookedAt) -> list[tuple[str, int, int]]:
    return [(each.kind, each.times, each.learning) for each in seen.found]


def test_everybody_at_the_stations_is_there_by_name_and_readers_are_not(room: Room) -> None:
    names = [learner.name for learner in looked(room).learners]
    assert names == ["Hedda Brackwater", "Olwen Tarrant", "Piet Lindqvist", "Rosamund Ashgill"]
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=None)
    assert "Piet Lindqvist" not in [learner.name for learner in looked(room).learners]


def test_a_mark_says_since_when_and_by_whom_until_it_ends(room: Room) -> None:
    signs(room, "olwen")
    signs(room, "olwen", "historic")
    signs(room, "olwen", "bulky")
    marks = cell(room, "olwen").marks
    assert [(mark.difficulty, mark.since, mark.by) for mark in marks] == [
        (difficulty, room.now, "Rosamund Ashgill") for difficulty in ("ordinary", "bulky", "historic")
    ]
    assert not cell(room, "olwen", Step.INSPECT).marks and not cell(room, "piet").marks
    room.wait(hours=1)
    ends(room, "olwen", "bulky")
    assert cell(room, "olwen").may == {"ordinary", "historic"}


def test_the_page_says_what_nobody_may_do_and_whether_it_is_asked_for(room: Room) -> None:
    assert not looked(room).is_asked
    signs(room, "olwen")
    with transaction(room.database) as session:
        set_house_rule(session, "sign_offs", 1, "we teach by steps", room.now)
    seen = looked(room)
    assert seen.is_asked and seen.uncovered == (
        "pass ordinary sheets as dry",
        "inspect ordinary sheets",
        "file ordinary sheets",
    )


def test_the_last_day_is_the_rooms_own_and_what_was_taken_back_was_never_done(room: Room) -> None:
    assert cell(room, "olwen").last_on is None
    number = room.sheet_ready()
    room.now = datetime(2027, 7, 25, 23, 30, tzinfo=UTC)  # past midnight in London, which has summer time then
    entry = room.scans(number, "table-1", step=Step.TAKE_UP).entry
    assert entry is not None and cell(room, "olwen").last_on == date(2027, 7, 26)
    room.undoes(entry)
    assert cell(room, "olwen").last_on is None


def test_a_sign_off_lies_too_long_from_the_day_after_the_house_weeks(room: Room) -> None:
    signs(room, "olwen")
    signs(room, "piet")
    room.wait(weeks=4)
    room.scans(room.sheet_ready(), "table-1", step=Step.TAKE_UP)
    assert not cell(room, "olwen").is_stale
    room.wait(weeks=8)
    assert not cell(room, "piet").is_stale, "twelve weeks to the day"
    room.wait(days=1)
    assert cell(room, "piet").is_stale and cell(room, "piet").last_on is None
    assert not cell(room, "olwen").is_stale
    room.wait(weeks=4)
    assert cell(room, "olwen").is_stale
    assert not cell(room, "hedda").is_stale, "whoever is not signed off has nothing to lose"


def test_the_house_says_how_long_is_long(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "sign_off_stale_weeks", 2, "small room", room.now)
    signs(room, "olwen")
    room.wait(days=15)
    assert cell(room, "olwen").is_stale and looked(room).stale_weeks == 2


def test_findings_are_told_by_whose_mounting_it_was(room: Room) -> None:
    inspected(room, "table-1", "loose-part", "loose-part", "label-crooked")
    inspected(room, "table-1", "loose-part")
    inspected(room, "table-2", outcome="passed")
    olwen, piet = of(room, "olwen").looked_at, of(room, "piet").looked_at
    assert olwen.sheets == 2 and found(olwen) == [("loose-part", 3, 0), ("label-crooked", 1, 0)]
    assert (piet.sheets, piet.found) == (1, ())
    assert of(room, "rosamund").looked_at.sheets == 0, "whoever inspects did not mount"


def test_two_together_have_it_both_and_a_learners_is_marked(room: Room) -> None:
    room.signs_in("piet", "table-1", "together")
    inspected(room, "table-1", "loose-part")
    room.signs_in("hedda", "table-1")
    room.signs_in("olwen", "table-1", "beside")
    inspected(room, "table-1", "too-much-glue")
    assert found(of(room, "piet").looked_at) == [("loose-part", 1, 0)]
    olwen = of(room, "olwen").looked_at
    assert (olwen.sheets, olwen.learning) == (2, 1) and found(olwen) == [("loose-part", 1, 0), ("too-much-glue", 1, 1)]
    assert of(room, "hedda").looked_at.sheets == 0


def test_the_gluing_before_the_look_counts_whoever_glued_it_again_later(room: Room) -> None:
    number = inspected(room, "table-1", "loose-part")
    room.wait(minutes=5)
    room.scans(number, "inspection", step=Step.RE_GLUE, who="piet", facts={"adhesive": "pva"})
    assert found(of(room, "olwen").looked_at) == [("loose-part", 1, 0)] and not of(room, "piet").looked_at.sheets
    inspected(room, "table-1", "label-crooked", number=number)
    assert found(of(room, "olwen").looked_at) == [("loose-part", 1, 0)]
    assert found(of(room, "piet").looked_at) == [("label-crooked", 1, 0)]


def test_the_mounting_that_an_inspection_names_goes_before_the_last(room: Room) -> None:
    number = inspected(room, "table-1", outcome="passed")
    mounted = next(entry["id"] for entry in room.log(number) if entry["step"] == "mount")
    other = inspected(room, "table-2", outcome="passed")
    looked_at(room, other, "loose-part", mount_entry_id=mounted)
    assert found(of(room, "olwen").looked_at) == [("loose-part", 1, 0)]


def test_what_is_older_than_eight_weeks_is_not_told(room: Room) -> None:
    inspected(room, "table-1", "loose-part")
    room.wait(weeks=8)
    assert found(of(room, "olwen").looked_at) == [("loose-part", 1, 0)]
    room.wait(seconds=1)
    assert of(room, "olwen").looked_at == LookedAt(0, 0, ())


def test_a_look_or_a_gluing_that_was_taken_back_counts_for_nobody(room: Room) -> None:
    number = inspected(room, "table-1", outcome="passed")
    room.wait(minutes=1)
    assert room.undoes(room.log(number)[-1]["id"], at="inspection").kind == "done"
    assert of(room, "olwen").looked_at == LookedAt(0, 0, ())
    glued = room.scans(number, "inspection", step=Step.RE_GLUE, who="piet", facts={"adhesive": "pva"}).entry
    assert glued is not None and room.takes_back(glued, "the wrong sheet").kind == "done"
    room.wait(minutes=1)
    looked_at(room, number, "loose-part")
    assert found(of(room, "olwen").looked_at) == [("loose-part", 1, 0)] and not of(room, "piet").looked_at.sheets


def test_the_history_has_both_ends_with_the_reason(room: Room) -> None:
    signs(room, "olwen")
    room.wait(minutes=1)
    ends(room, "olwen", why="too much glue")
    with reading(room.database) as session:
        told = sign_offs_told(session, room.worker["olwen"])
        nothing = sign_offs_told(session, room.worker["piet"])
    assert [(past.what, past.words, past.by, past.why) for past in told] == [
        ("sign-off ended", "take up ordinary sheets", "Hedda Brackwater", "too much glue"),
        ("signed off", "take up ordinary sheets", "Rosamund Ashgill", ""),
    ]
    assert nothing == ()
