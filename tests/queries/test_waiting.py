"""The flag on one sheet, the list and the board's count are one and the same limit: just before, at, and just after it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import set_house_rule
from tests.queries.looking import brought_dry, listed, own_limit, page_of, stage_of
from tests.room import Room

SECOND = timedelta(seconds=1)


def _fresh_intake(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True})
    return number


def _dry_intake(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": False})
    return number


def _drying(room: Room, method: str = "unheated") -> str:
    number = _fresh_intake(room)
    room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": method})
    return number


def _heated(room: Room) -> str:
    return _drying(room, "heated")


def _ready(room: Room) -> str:
    return room.sheet_ready()


def _mounted(room: Room) -> str:
    return room.sheet_mounted()


def _under_press(room: Room) -> str:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    return number


def _to_mend(room: Room) -> str:
    number = brought_dry(room)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "to-be-mended"})
    return number


def _to_file(room: Room) -> str:
    number = brought_dry(room)
    room.wait(days=2)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    return number


def _utc(month: int, day: int, hour: int = 9, year: int = 2026) -> datetime:
    return datetime(year, month, day, hour, tzinfo=UTC)


# The room begins on Wednesday 25 November 2026 at 9:00 in London, and is open from Monday to Friday. Each limit was
# counted by hand on a calendar.
AT_THE_LIMIT = [
    ("fresh plants at intake, 24 h", _fresh_intake, _utc(11, 26)),
    ("dry plants at intake, 10 open days", _dry_intake, _utc(12, 9)),
    ("papers without heat, 1 day", _drying, _utc(11, 26)),
    ("papers with heat, 2 days", _heated, _utc(11, 27)),
    ("ready for mounting, 60 open days", _ready, _utc(2, 17, year=2027)),
    ("mounted, 1 h", _mounted, _utc(11, 25, 10)),
    ("ready under press on Thursday 9:00, 2 open days", _under_press, _utc(11, 30)),
    ("to inspect, 5 open days", brought_dry, _utc(12, 2)),
    ("to mend, 10 open days", _to_mend, _utc(12, 9)),
    ("passed on Friday, to file, 5 open days", _to_file, _utc(12, 4)),
]


@pytest.mark.parametrize(("made", "limit"), [row[1:] for row in AT_THE_LIMIT], ids=[row[0] for row in AT_THE_LIMIT])
def test_flag_list_and_board_agree_at_the_limit(room: Room, made: Callable[[Room], str], limit: datetime) -> None:
    number = made(room)
    for now, stalled in ((limit - SECOND, False), (limit, False), (limit + SECOND, True)):
        page = page_of(room, number, now)
        assert page.stalled is stalled, now
        assert [row.number for row in listed(room, now, stalled=True).rows] == ([number] if stalled else [])
        assert [row.stalled for row in listed(room, now, stage=page.stage).rows] == [stalled]
        assert stage_of(room, page.stage, now).stalled == int(stalled)


def test_the_page_says_until_when_a_sheet_may_wait(room: Room) -> None:
    page = page_of(room, _mounted(room))
    assert page.limit_words == "1 hour" and page.stalls_at == room.now + timedelta(hours=1)


def test_a_cabinet_with_a_limit_of_its_own_is_kept_to_by_all_three(room: Room) -> None:
    number = _ready(room)
    own_limit(room, "M1", 1)
    limit = _utc(11, 26)
    for now, stalled in ((limit - SECOND, False), (limit, False), (limit + SECOND, True)):
        assert page_of(room, number, now).stalled is stalled
        assert bool(listed(room, now, stalled=True, stage="ready-for-mounting").rows) is stalled
        assert stage_of(room, "ready-for-mounting", now).stalled == int(stalled)


def test_another_cabinet_keeps_the_limit_of_the_stage(room: Room) -> None:
    number = _ready(room)
    own_limit(room, "D1", 1)
    assert not page_of(room, number, _utc(12, 20)).stalled
    assert stage_of(room, "ready-for-mounting", _utc(12, 20)).stalled == 0


def test_a_held_sheet_is_counted_apart_and_is_not_stalled(room: Room) -> None:
    held, free = room.sheet_ready(label=False), room.sheet_ready()
    stage = stage_of(room, "ready-for-mounting", _utc(3, 1, year=2027))
    assert (stage.count, stage.held, stage.may_go_on, stage.stalled) == (2, 1, 1, 1)
    assert [row.number for row in listed(room, _utc(3, 1, year=2027), stalled=True).rows] == [free]
    assert not page_of(room, held, _utc(3, 1, year=2027)).stalled


def test_a_hold_that_stops_only_filing_does_not_hold_a_sheet_for_mounting(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="is it palustris?")
    assert stage_of(room, "ready-for-mounting").held == 0
    assert stage_of(room, "ready-for-mounting", _utc(3, 1, year=2027)).stalled == 1


def test_nothing_that_is_glued_is_ever_held_up(room: Room) -> None:
    number = room.sheet_mounted()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "quarantine"}, reason="beetle seen")
    later = room.now + timedelta(hours=2)
    assert page_of(room, number, later).stalled and stage_of(room, "mounted", later).stalled == 1


def test_papers_changed_begin_the_wait_anew(room: Room) -> None:
    number = _drying(room)
    room.wait(hours=20)
    room.scans(number, "drying", step=Step.PAPERS_CHANGED)
    assert not page_of(room, number, room.now + timedelta(hours=24)).stalled
    assert stage_of(room, "drying", room.now + timedelta(hours=24, seconds=1)).stalled == 1


def test_a_changed_house_rule_is_kept_to_at_once(room: Room) -> None:
    number = room.sheet_mounted()
    now = room.now + timedelta(hours=2)
    assert page_of(room, number, now).stalled
    with transaction(room.database) as session:
        set_house_rule(session, "limit_mounted_h", 3, "the press room is upstairs", room.now)
    assert not page_of(room, number, now).stalled and stage_of(room, "mounted", now).stalled == 0
