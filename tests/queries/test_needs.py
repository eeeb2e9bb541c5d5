"""What needs a person: each kind of line, when it appears and when it goes, and that the worst stands first."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import delete, insert, update

from app.db.engine import transaction
from app.db.fitness import LAST_BACKUP
from app.db.models import Hold, Setting, Sheet, table_of
from app.domain.holds import HOLDS
from app.domain.house import RULES, House
from app.domain.stages import Stage, Step
from app.queries.need import Need
from app.queries.needs import KINDS
from app.services.away import send_out
from app.services.backup import Backup, backup_failed, keep_backup, keep_place
from app.services.desk import ScanRequest
from app.services.room import add_bundle, set_house_rule
from app.services.scanning import once
from app.services.wanted import let_go
from tests.queries.looking import board_of, brought_dry, filed, own_limit, wanted
from tests.room import Room

SECOND, DAY = timedelta(seconds=1), timedelta(days=1)
WITHIN, AT, PAST = -SECOND, 0 * SECOND, SECOND


def _needs(room: Room, after: timedelta = timedelta(0), *, without: str = "backup") -> tuple[Need, ...]:
    """The lines after a while; but for the backup, which nobody makes in these rooms."""
    return tuple(need for need in board_of(room, room.now + after).needs if need.kind != without)


def _kinds(room: Room, after: timedelta = timedelta(0)) -> list[str]:
    return [need.kind for need in _needs(room, after)]


def _only(room: Room, kind: str, after: timedelta = timedelta(0)) -> Need:
    (need,) = (need for need in _needs(room, after, without="") if need.kind == kind)
    return need


def _held(room: Room, kind: str) -> str:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": kind}, reason="to be looked at")
    return number


def _out(room: Room, due: date | None) -> str:
    number = room.sheet_ready()
    asked = ScanRequest(room.next_id(), number, worker_ids=(room.worker["hedda"],), reason="to be named", manages=True)
    with transaction(room.database) as session:
        assert once(session, asked, room.occasion, lambda desk: send_out(desk, "N. Varley", due), "out").kind == "done"
    return number


@pytest.mark.parametrize(("apart", "kinds"), [(WITHIN, []), (AT, []), (PAST, ["mounted-too-long"])])
def test_a_glued_sheet_needs_a_person_after_an_hour(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.sheet_mounted()
    assert _kinds(room, timedelta(hours=1) + apart) == kinds


def test_a_line_names_the_sheet_and_links_to_it(room: Room) -> None:
    number = room.sheet_mounted()
    need = _needs(room, timedelta(hours=2))[0]
    assert (need.subject, need.what, need.since) == ("TQX 000001·N", "glued, and not under weight", room.now)
    assert (need.do, need.href_kind, need.href_id) == ("where seen", "sheet", number)
    assert (need.key, need.many, need.is_grave) == (f"mounted-too-long sheet {number}", 1, True)


def test_a_glued_sheet_that_is_laid_under_weight_needs_nobody_any_more(room: Room) -> None:
    number = room.sheet_mounted()
    room.wait(hours=2)
    assert _kinds(room) == ["mounted-too-long"]
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert _kinds(room) == []


@pytest.mark.parametrize(("apart", "kinds"), [(AT, []), (PAST, ["weights-off"])])
def test_a_stack_with_sheets_needs_its_weights_after_an_hour(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.sheet_in("P1")
    found = _needs(room, timedelta(hours=1) + apart)
    assert [(need.kind, need.many, need.key) for need in found] == [(kind, 2, f"{kind} stack P1") for kind in kinds]
    room.weights("on", "P1")
    assert _kinds(room, timedelta(hours=1) + apart) == []


def _found_out(room: Room) -> str:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=3)
    room.scans(number, "press", step=Step.TAKE_OUT, already_done=True)
    return number


def test_a_sheet_found_out_of_its_stack_needs_a_person_at_once_and_until_it_lies_under_weight_again(room: Room) -> None:
    number = _found_out(room)
    assert _kinds(room) == _kinds(room, timedelta(hours=5)) == ["out-early"]
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="which?")
    assert _kinds(room) == ["out-early"], "a hold put on it meanwhile changes nothing of that"
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2")
    assert _kinds(room) == []


def test_a_glued_sheet_that_is_not_here_has_the_line_of_what_is_not_found(room: Room) -> None:
    number = room.sheet_mounted()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="cabinet check")
    assert _kinds(room, timedelta(hours=2)) == ["not-found"]


def _called_in_question(room: Room) -> str:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=23)
    off = room.now
    room.wait(hours=2)
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.takes_out(number)
    room.wait(hours=1)
    room.scans(room.code("off", "P1"), who="hedda", manages=True, happened_at=off, reason="from the paper log")
    return number


def test_a_take_out_called_in_question_says_how_much_it_was_short(room: Room) -> None:
    number = _called_in_question(room)
    need = _only(room, "called-in-question")
    assert (need.href_id, need.what) == (number, "came out 1 h short, by what is known now")


def test_nobody_asks_about_a_take_out_of_a_sheet_that_was_withdrawn(room: Room) -> None:
    number = _called_in_question(room)
    room.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="destroyed")
    assert "called-in-question" not in _kinds(room)


@pytest.mark.parametrize(("apart", "kinds"), [(AT, []), (PAST, ["ready-forgotten"])])
def test_what_was_ready_two_open_days_ago_is_forgotten(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1")
    # Ready on Thursday at 9:00; two open days later it is Monday at 9:00.
    assert _kinds(room, timedelta(days=5) + apart) == kinds
    if kinds:
        need = _needs(room, timedelta(days=5) + apart)[0]
        assert (need.subject, need.since, need.many) == ("Stack P1", room.now + timedelta(days=1), 1)


def _drying(room: Room, bundle: str = "") -> str:
    if bundle:
        room.scans(room.code("bundle", bundle), "intake")
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True})
    room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "unheated"})
    return number


def _bundles(room: Room, *names: str) -> None:
    with transaction(room.database) as session:
        for name in names:
            add_bundle(session, name)


def test_papers_that_were_not_changed_are_told_by_bundle(room: Room) -> None:
    _bundles(room, "Press 12", "Press 7")
    for bundle in ("Press 12", "Press 12", "Press 7"):
        _drying(room, bundle)
    assert _kinds(room, DAY) == []
    found = _needs(room, DAY + PAST)
    assert [(need.kind, need.subject, need.what, need.many) for need in found] == [
        ("papers", "Bundle Press 12", "2 sheets whose papers have not been changed", 2),
        ("papers", "Bundle Press 7", "1 sheet whose papers have not been changed", 1),
    ]
    room.wait(days=1, seconds=1)
    room.scans(room.code("bundle", "Press 12"), "drying", step=Step.PAPERS_CHANGED, facts={"all": True})
    assert [need.subject for need in _needs(room)] == ["Bundle Press 7"]


def test_papers_of_what_lies_in_no_bundle_are_told_singly_while_they_are_few(room: Room) -> None:
    numbers = [_drying(room) for _ in range(3)]
    found = _needs(room, DAY + PAST)
    assert [(need.kind, need.href_id, need.since) for need in found] == [
        ("papers", number, room.now) for number in numbers
    ]
    _drying(room)
    need = _only(room, "papers", DAY + PAST)
    assert (need.subject, need.many, need.href_kind, need.href_id) == ("Drying", 4, "stalled", "drying")


@pytest.mark.parametrize(("apart", "kinds"), [(AT, []), (PAST, ["fresh-too-long"])])
def test_fresh_plants_have_a_line_of_their_own(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.scans(room.code("shelf", "A1/2"), "intake")
    numbers = [room.new_number() for _ in range(4)]
    for number in numbers:
        room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True})
    room.scans(room.new_number(), "intake", step=Step.TAKE_IN, facts={"fresh": False})
    found = _needs(room, DAY + apart)
    assert [(need.kind, need.subject, need.what) for need in found] == [
        (kind, "A1, shelf 2, intake", "4 sheets are fresh, and wait at intake too long") for kind in kinds
    ]
    for number in numbers:
        room.scans(number, "drying", step=Step.LAY_TO_DRY)
    assert _kinds(room, DAY + apart) == ["papers"] * len(kinds)


def test_a_few_stalled_sheets_stand_singly_and_many_as_a_shelf(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(3)]
    late = timedelta(days=100)
    assert [need.href_id for need in _needs(room, late)] == numbers
    room.sheet_ready()
    need = _needs(room, late)[0]
    assert (need.subject, need.what) == ("M1, shelf 1, ready for mounting", "4 sheets wait for mounting too long")
    assert (need.href_kind, need.href_id, need.shelf, need.many) == ("cabinet", "M1", "1", 4)
    assert (need.stage, need.since) == ("ready-for-mounting", room.now)


def test_each_shelf_of_a_cabinet_is_told_by_itself(room: Room) -> None:
    for _ in range(4):
        room.sheet_ready()
    room.wait(minutes=5)
    moved = [room.sheet_ready() for _ in range(5)]
    for number in moved:
        room.scans(number, "filing", step=Step.SHELVE, cabinet="M1", shelf="3")
    found = _needs(room, timedelta(days=100))
    assert [(need.subject, need.many) for need in found] == [
        ("M1, shelf 1, ready for mounting", 4), ("M1, shelf 3, ready for mounting", 5),
    ]  # fmt: skip
    assert len({need.key for need in found}) == 2


@pytest.mark.parametrize(("apart", "count"), [(AT, 0), (PAST, 4)])
def test_a_shelf_is_stalled_by_the_second(room: Room, apart: timedelta, count: int) -> None:
    """Asked again without anything written meanwhile, as when time alone has gone by."""
    for _ in range(4):
        room.sheet_ready()
    own_limit(room, "M1", 1)
    assert sum(need.many for need in _needs(room, DAY - PAST)) == 0
    assert sum(need.many for need in _needs(room, DAY + apart)) == count
    assert sum(need.many for need in _needs(room, DAY)) == 0


def test_a_line_of_a_shelf_grows_with_time_alone(room: Room) -> None:
    for _ in range(5):
        room.sheet_ready()
        room.wait(hours=1)
    own_limit(room, "M1", 1)
    # Each has had its day an hour after the one before it.
    found = [sum(need.many for need in _needs(room, timedelta(hours=19 + hour, seconds=1))) for hour in (3, 4, 5, 3)]
    assert found == [4, 5, 5, 4]


def test_a_line_of_a_shelf_shrinks_as_sheets_are_taken_up(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(6)]
    room.wait(days=100)
    before = _only(room, "stalled")
    room.scans(numbers[0], "table-1", step=Step.TAKE_UP)
    room.scans(numbers[0], "table-1", step=Step.MOUNT)
    after = _only(room, "stalled")
    assert (before.many, after.many) == (6, 5) and before.key == after.key


def _left_behind(room: Room) -> list[str]:
    forgotten = [room.sheet_ready() for _ in range(2)]
    room.wait(days=1)
    for _ in range(11):
        number = room.sheet_mounted()
        room.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="exchange")
    return forgotten


def test_what_is_left_behind_is_told_by_the_shelf_however_few_it_is(room: Room) -> None:
    forgotten = _left_behind(room)
    need = _only(room, "left-behind")
    assert (need.subject, need.what) == (
        "M1, shelf 1, ready for mounting", "2 sheets left behind: nine in ten that came later have gone on",
    )  # fmt: skip
    assert (need.do, need.href_kind, need.href_id, need.shelf, need.many) == ("print list", "picks", "M1", "1", 2)
    for number in forgotten:
        room.scans(number, "table-1", step=Step.TAKE_UP)
        room.scans(number, "table-1", step=Step.MOUNT)
    assert "left-behind" not in _kinds(room)


def test_nobody_is_sent_to_the_same_shelf_twice_for_what_is_left_behind_and_stalled_too(room: Room) -> None:
    _left_behind(room)
    with transaction(room.database) as session:
        set_house_rule(session, "limit_ready_days", 1, "tried out", room.now)
    room.wait(days=6)
    assert [need.kind for need in board_of(room).needs if need.stage == Stage.READY] == ["stalled", "stalled"]
    one_more = room.sheet_ready()
    assert "left-behind" not in _kinds(room) and room.stage(one_more) == Stage.READY


def test_a_house_with_another_share_says_so(room: Room) -> None:
    _left_behind(room)
    with transaction(room.database) as session:
        set_house_rule(session, "left_behind_share", 87, "we are slow", room.now)
    assert _only(room, "left-behind").what == "2 sheets left behind: more than 87 % that came later have gone on"


# The room stands on Wednesday 25 November 2026 at 9:00 in London.
@pytest.mark.parametrize(
    ("needed", "now", "found"),
    [(date(2026, 11, 27), datetime(2026, 11, 27, 23, 59, 59, tzinfo=UTC), False),
     (date(2026, 11, 27), datetime(2026, 11, 28, tzinfo=UTC), True),
     # Ten open days after Wednesday 9:00 it is Wednesday 9 December at 9:00.
     (None, datetime(2026, 12, 9, 9, tzinfo=UTC), False), (None, datetime(2026, 12, 9, 9, 0, 1, tzinfo=UTC), True)],
)  # fmt: skip
def test_what_is_wanted_is_late_after_its_day_or_after_ten_open_days(
    room: Room, needed: date | None, now: datetime, found: bool
) -> None:
    number = room.sheet_ready()
    wanted(room, number, needed_on=needed)
    assert [need.href_id for need in _needs(room, now - room.now) if need.kind == "wanted-late"] == [number] * found


def test_a_wish_says_by_when_and_where_the_sheet_stands_and_not_whose_it_is(room: Room) -> None:
    numbers = [room.sheet_ready(), room.sheet_ready()]
    wanted(room, numbers[0], why="for Dr Nettlefold")
    wanted(room, numbers[1], why="for Dr Nettlefold", needed_on=date(2026, 11, 26))
    found = [need.what for need in _needs(room, timedelta(days=30)) if need.kind == "wanted-late"]
    assert found == ["was wanted, and is ready for mounting", "was wanted by 26 Nov, and is ready for mounting"]


def test_a_wish_ends_with_the_queue_and_when_it_is_let_go(room: Room) -> None:
    away, done, let = room.sheet_ready(), brought_dry(room), room.sheet_ready()
    for number in (away, done, let):
        wanted(room, number, needed_on=date(2026, 11, 25))
    assert [need.href_id for need in _needs(room, DAY)] == sorted((away, done, let))
    room.scans(away, who="hedda", step=Step.WITHDRAW, manages=True, reason="exchange")
    room.scans(done, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    assert room.scans(done, "filing", step=Step.FILE, cabinet="F1", shelf="1").kind == "done"
    assert [need.href_id for need in _needs(room, DAY)] == [let]
    with transaction(room.database) as session:
        let_go(session, room.row(let)["id"], "seen as a picture", room.now)
    assert _kinds(room, DAY) == []


# Open days from Wednesday 25 November 2026, 9:00, counted by hand on a calendar; the room is open Monday to Friday.
LIMITS = {
    "label-to-come": datetime(2027, 2, 17, 9, tzinfo=UTC), "label-query": datetime(2026, 12, 9, 9, tzinfo=UTC),
    "number-query": datetime(2026, 12, 2, 9, tzinfo=UTC), "name-query": datetime(2026, 12, 23, 9, tzinfo=UTC),
    "to-be-repaired": datetime(2026, 12, 9, 9, tzinfo=UTC), "against-a-rule": datetime(2026, 12, 2, 9, tzinfo=UTC),
    "quarantine": datetime(2026, 12, 9, 9, tzinfo=UTC), "not-found": datetime(2026, 12, 9, 9, tzinfo=UTC),
    "out": datetime(2026, 12, 23, 9, tzinfo=UTC),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOLDS)
def test_each_kind_of_hold_has_its_own_time(room: Room, kind: str) -> None:
    number = _out(room, None) if kind == "out" else _held(room, kind)
    for apart, found in ((WITHIN, []), (AT, []), (PAST, [number])):
        late = [need for need in _needs(room, LIMITS[kind] + apart - room.now) if need.kind == "held-too-long"]
        assert [need.href_id for need in late] == found, apart
    assert late[0].what.startswith(f"{HOLDS[kind].words} for more than ") and late[0].since == room.now


def test_every_hold_names_a_rule_of_the_house() -> None:
    assert {row.ages_by for row in HOLDS.values()} <= set(RULES)
    assert {kind: getattr(House(), row.ages_by) for kind, row in HOLDS.items()} == {
        "label-to-come": 60, "label-query": 10, "number-query": 5, "name-query": 20, "to-be-repaired": 10,
        "against-a-rule": 5, "quarantine": 10, "not-found": 10, "out": 20,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("now", "found"),
    [(datetime(2026, 12, 4, 23, 59, 59, tzinfo=UTC), False), (datetime(2026, 12, 5, tzinfo=UTC), True)],
)
def test_what_is_out_with_a_day_named_is_late_after_that_day(room: Room, now: datetime, found: bool) -> None:
    number = _out(room, date(2026, 12, 4))
    late = [need for need in _needs(room, now - room.now) if need.kind == "held-too-long"]
    assert [(need.href_id, need.what) for need in late] == [(number, "out, and was due back Friday")] * found


def test_what_is_out_until_a_later_day_is_not_late_before_it(room: Room) -> None:
    _out(room, date(2027, 6, 1))
    assert _kinds(room, timedelta(days=150)) == []


def test_a_hold_that_is_lifted_or_a_sheet_that_is_back_needs_nobody(room: Room) -> None:
    held, away = _held(room, "number-query"), _out(room, date(2026, 11, 25))
    room.wait(days=20)
    assert _kinds(room) == ["held-too-long"] * 2
    room.scans(held, who="hedda", step=Step.LIFT_HOLD, facts={"hold": "number-query"}, reason="settled", manages=True)
    room.scans(away, "table-1")
    assert _kinds(room) == []


def test_many_holds_of_a_kind_are_told_as_one(room: Room) -> None:
    for _ in range(3):
        _held(room, "name-query")
    assert _kinds(room, timedelta(days=60)) == ["held-too-long"] * 3
    _held(room, "name-query")
    need = _only(room, "held-too-long", timedelta(days=60))
    assert (need.subject, need.what) == ("Name query", "4 sheets: name query for more than 20 open days")
    assert (need.href_kind, need.href_id, need.many) == ("holds", "name-query", 4)


def test_a_sheet_mounted_against_a_rule_waits_for_the_manager(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(number, "table-1", step=Step.MOUNT, already_done=True)
    need = _needs(room)[0]
    assert (need.kind, need.href_id, need.what, need.since) == (
        "against-a-rule",
        number,
        "mounted against a rule",
        room.now,
    )


def test_a_sheet_that_is_not_found_is_looked_for(room: Room) -> None:
    number = _held(room, "not-found")
    assert _kinds(room) == ["not-found"]
    room.wait(minutes=1)
    room.scans(number, "table-1")
    assert _kinds(room) == []


def test_a_count_that_differs_is_checked(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1", facts={"counted": 3})
    need = _needs(room)[0]
    assert (need.kind, need.what, need.href_kind, need.href_id) == (
        "count-differs",
        "3 counted, 1 by the log",
        "stack",
        "P1",
    )


def test_entries_dated_after_now_are_named(room: Room) -> None:
    number = room.sheet_ready()
    kinds = [(need.kind, need.href_id) for need in _needs(room, -timedelta(hours=1))]
    assert kinds == [("after-now", number)] * 2


def _backed_up(room: Room, value: str) -> None:
    with transaction(room.database) as session:
        session.execute(delete(Setting).where(table_of(Setting).c.name == LAST_BACKUP))
        session.execute(insert(Setting).values(name=LAST_BACKUP, value=value))


@pytest.mark.parametrize(("apart", "found"), [(AT, False), (PAST, True)])
def test_a_room_needs_a_backup_after_a_day_and_a_half(room: Room, apart: timedelta, found: bool) -> None:
    filed(room)
    after = timedelta(hours=36) + apart
    assert [need.what for need in _needs(room, after, without="") if need.kind == "backup"] == [
        "was never backed up"
    ] * found
    _backed_up(room, (room.now + DAY).isoformat())
    _second_place(room, "good")
    assert [need.kind for need in _needs(room, after, without="")] == []
    assert [need.what for need in _needs(room, DAY + after, without="")] == ["last backed up 36 h ago"] * found


def _second_place(room: Room, state: str) -> None:
    with transaction(room.database) as session:
        keep_place(session, state, room.now)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "what"),
    [("good", []), ("same-disk", ["lie on one disk only: their second place is on the same disk"]),
     ("gone", ["are not copied: their second place is out of reach"]),
     ("other", ["are not copied: their second place belongs to another room"]),
     ("failed", ["could not be copied to their second place"]), ("", ["lie on one disk only: no second place is named"]),
     ("upside-down", ["lie on one disk only: no second place is named"])],
)  # fmt: skip
def test_backups_in_one_place_only_are_named_once_there_are_any(room: Room, state: str, what: list[str]) -> None:
    filed(room)
    if state:
        _second_place(room, state)
    assert [need.kind for need in _needs(room, DAY, without="")] == []
    _backed_up(room, room.now.isoformat())
    found = _needs(room, DAY, without="")
    assert [need.what for need in found] == what
    for need in found:
        assert (need.subject, need.do, need.href_kind) == ("The backups", "see to it", "backup")
        # It comes back when the place stands otherwise, though it was put aside as it stood.
        assert need.key.startswith("backup second place ") and (
            not state or state in need.key or state == "upside-down"
        )


def test_a_backup_that_failed_or_found_a_difference_is_named_until_there_is_a_good_one(room: Room) -> None:
    filed(room)
    _second_place(room, "good")
    _backed_up(room, room.now.isoformat())
    with transaction(room.database) as session:
        backup_failed(session, "The disk is full.")
    assert [need.what for need in _needs(room, DAY, without="")] == ["could not be made: The disk is full."]
    for many, what in ((1, ["found 1 difference between log and room"]), (0, [])):
        with transaction(room.database) as session:
            keep_backup(session, Backup(Path("x"), 1, many, "good"), room.now)
        assert [need.what for need in _needs(room, DAY, without="")] == what


def test_an_empty_room_needs_no_backup_and_nobody_trusts_a_moment_that_is_none(room: Room) -> None:
    assert _needs(room, timedelta(days=400), without="") == ()
    filed(room)
    _backed_up(room, "yesterday")
    need = _only(room, "backup", 3 * DAY)
    assert (need.what, need.since, need.href_kind, need.do) == (
        "was never backed up",
        room.now,
        "backup",
        "back up now",
    )


def test_more_than_a_dozen_of_a_kind_are_told_as_a_number(room: Room) -> None:
    for _ in range(15):
        room.sheet_mounted()
    needs = _needs(room, timedelta(hours=2))
    assert len(needs) == 13 and needs[-1].subject == "3 more"
    assert (needs[-1].href_kind, needs[-1].href_id, needs[-1].many, needs[-1].key) == ("stage", "mounted", 3, "")


def test_filed_and_withdrawn_sheets_are_in_no_line(room: Room) -> None:
    """Each of them stands where a line would be made of it, but for being out of the queue."""
    put_away, gone = filed(room), [room.sheet_ready(), room.sheet_mounted(), _held(room, "label-query"), _drying(room)]
    wanted(room, gone[0], needed_on=date(2026, 11, 25))
    for number in gone:
        room.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="exchange")
    with transaction(room.database) as session:
        session.execute(update(Sheet).where(table_of(Sheet).c.number == put_away).values(holds="not-found"))
        session.execute(update(Hold).values(lifted_at=None))
    for after in (DAY, timedelta(days=400)):
        assert _needs(room, after) == ()


def test_the_worst_stands_first(room: Room) -> None:
    _bundles(room, "Press 12")
    _drying(room, "Press 12")
    room.scans(room.code("shelf", "A1/1"), "intake")
    room.scans(room.new_number(), "intake", step=Step.TAKE_IN, facts={"fresh": True})
    room.sheet_ready()
    wanted(room, room.sheet_ready())
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1", facts={"counted": 2})
    room.weights("off", "P2")
    room.sheet_in("P2")
    room.sheet_mounted()
    room.wait(days=100)
    _held(room, "not-found")
    _held(room, "against-a-rule")
    found = [need.kind for need in _needs(room, 3 * SECOND, without="")]
    assert found == [
        "mounted-too-long", "weights-off", "ready-forgotten", "papers", "fresh-too-long", "stalled", "stalled", "wanted-late",
        "against-a-rule", "not-found", "count-differs", "backup",
    ]  # fmt: skip
    assert [kind.name for kind in KINDS if kind.name in found] == list(dict.fromkeys(found))


def test_only_what_glue_cold_heat_or_pests_do_meanwhile_is_grave() -> None:
    grave = {"mounted-too-long", "weights-off", "out-early", "load-too-early", "freezer-off", "pest-seen", "dryer-hot"}
    assert {kind.name for kind in KINDS if kind.is_grave} == grave
    assert len({kind.name for kind in KINDS}) == len(KINDS)


def test_the_lines_of_a_stage_are_of_that_stage(room: Room) -> None:
    for _ in range(4):
        brought_dry(room)
    need = _only(room, "stalled", timedelta(days=30))
    assert (need.stage, need.subject, need.what) == (Stage.DRY, "Dry", "4 sheets are dry, and wait too long")
