"""What becomes known too late: the move stands, is called in question, and is told apart from a difference."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial

from app.db.engine import reading, transaction
from app.services.audit import in_question
from app.services.desk import ScanRequest
from app.services.regluing import put_gluing_right
from app.services.scanning import once
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


def test_an_adhesive_put_right_after_the_sheet_came_out_calls_the_move_in_question(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=30)
    room.weights("off", "P1")
    done(room.takes_out(number))
    room.wait(hours=1)
    entry = _put_right(room, number, "paste")
    with reading(room.database) as session:
        assert [(each.number, each.short_s, each.by_entry_id) for each in in_question(session)] == [
            (number, 18 * 3600, entry)
        ]
    assert room.stage(number) == "dry" and differences(room.database) == []
    done(room.undoes(entry, "inspection", worker_ids=(room.worker["hedda"],), manages=True))
    with reading(room.database) as session:
        assert in_question(session) == [], "it was PVA after all"
    assert differences(room.database) == []


def _put_right(room: Room, number: str, adhesive: str) -> int:
    request = ScanRequest(
        room.next_id(), number, worker_ids=(room.worker["hedda"],), reason="the other pot", manages=True
    )
    with transaction(room.database) as session:
        act = partial(put_gluing_right, adhesive=adhesive, bulk="ordinary")
        return int(done(once(session, request, room.occasion, act, "put right")).entry)
