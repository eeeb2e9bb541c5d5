"""What becomes known too late: the move stands, is called in question, and is told apart from a difference."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.db.engine import reading
from app.services.audit import in_question
from tests.room import Room
from tests.services.days import card, differences, done, pressed

HOUR = timedelta(hours=1)


def test_weights_off_that_arrive_after_the_take_outs_leave_them_standing_and_in_question(room: Room) -> None:
    short, enough = _two_taken_out_at_eleven(room)
    room.wait(hours=1)  # noon
    at_1005 = room.now - timedelta(hours=1, minutes=55)
    late = done(room.scans(room.code("off", "P1"), "inspection", happened_at=at_1005))
    assert late.kind == "done" and room.stage(short) == room.stage(enough) == "dry"
    with reading(room.database) as session:
        found = in_question(session)
    assert [(each.number, each.short_s) for each in found] == [(short, 55 * 60)]
    assert "55 min short" in found[0].sentence
    assert differences(room.database) == []


def _two_taken_out_at_eleven(room: Room) -> tuple[str, str]:
    """Straps for two hours: one sheet laid in at 9, one a day before; taken out at 11:00 with a card for off at 11:00."""
    room.weights("off", "P1")
    enough = room.sheet_in("P1", adhesive="straps")
    done(room.weights("on", "P1"))
    room.wait(hours=24, minutes=-1)
    done(room.weights("off", "P1"))
    short = room.sheet_in("P1", adhesive="straps")
    room.wait(minutes=1)
    done(room.weights("on", "P1"))  # 9:00
    room.wait(hours=1)
    done(room.scans(card("help"), "inspection"))
    room.wait(hours=1)
    # The card of 10:05 lies in the other station's browser, without a line; the sheets go by what is known.
    done(room.weights("off", "P1"))
    for number in (short, enough):
        done(room.takes_out(number))
    return short, enough


def test_a_late_pair_that_leaves_it_long_enough_lays_the_doubt_to_rest(room: Room) -> None:
    number = pressed(room)
    began: datetime = room.now
    room.wait(hours=26)
    room.weights("off", "P1")
    done(room.takes_out(number))
    for side, hours in (("off", 3), ("on", 4)):
        late = {"happened_at": began + hours * HOUR, "manages": True, "who": "hedda"}
        done(room.scans(room.code(side, "P1"), "press", **late))
    with reading(room.database) as session:
        assert in_question(session) == []
    assert differences(room.database) == []
