"""Times at a station: how they begin and end, who is idle, and what the manager puts right."""

from __future__ import annotations

import threading
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select

from app import background
from app.clock import Watch
from app.db.engine import Database, reading, transaction
from app.db.models import Attendance, Change, EntryWorker, Heartbeat, table_of
from app.db.rules import room_house
from app.domain.answer import Answer
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.services import attendance
from app.services.desk import ScanRequest
from app.services.people import Holder, retire_worker
from app.services.room import set_house_rule
from app.services.scripts import Sent, answer_once
from tests.databases import Rooms
from tests.queries.plans import statements_of
from tests.room import Room
from tests.services.days import new_room

TIMES = table_of(Attendance)
OUT = COMMANDS["done"]


def settled(room: Room) -> Room:
    """A room in which nobody is signed in yet and the rule is the usual one."""
    with transaction(room.database) as session:
        session.execute(delete(TIMES))
        set_house_rule(session, "idle_sign_out_min", 120, "as usual", room.now)
    return room


@pytest.fixture
def quiet(room: Room) -> Room:
    """A settled room."""
    return settled(room)


def times(room: Room, who: str) -> list[Any]:
    """A worker's times, the first first."""
    with reading(room.database) as session:
        mine = TIMES.c.worker_id == room.worker[who]
        return list(session.execute(select(TIMES).where(mine).order_by(TIMES.c.id)))


def time_of(room: Room, who: str) -> Any:
    """A worker's only time."""
    (found,) = times(room, who)
    return found


def comes(room: Room, who: str, at: str = "table-1") -> Answer:
    """Somebody scans their badge."""
    return room.scans(room.code("badge", who), at)


def minute_passes(room: Room) -> int:
    """The background looks who is idle."""
    with transaction(room.database) as session:
        return attendance.sign_out_idle(session, room.now, room_house(session)[0])


def did(room: Room, number: str) -> list[tuple[str, str]]:
    """Who took which step with a sheet, last step only."""
    names = {worker_id: who for who, worker_id in room.worker.items()}
    entry = room.log(number)[-1]
    with reading(room.database) as session:
        rows = session.execute(select(EntryWorker.worker_id).where(EntryWorker.entry_id == entry["id"])).scalars()
        return [(entry["step"], names[each]) for each in rows]


# -- how a time ends ----------------------------------------------------------------------------------------------
def test_the_done_card_signs_out(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(minutes=40)
    quiet.scans(OUT, "table-1")
    time = time_of(quiet, "olwen")
    assert (time.signed_out_at, time.ended_how) == (quiet.now, "out")
    assert time.signed_out_at - time.signed_in_at == timedelta(minutes=40)


def test_a_badge_at_another_station_signs_out_here(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(minutes=40)
    comes(quiet, "olwen", "press")
    here, there = times(quiet, "olwen")
    assert (here.signed_out_at, here.ended_how) == (quiet.now, "elsewhere")
    assert (there.signed_out_at, there.ended_how) == (None, None)


def test_somebody_else_takes_the_place(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(minutes=40)
    comes(quiet, "piet")
    assert (time_of(quiet, "olwen").signed_out_at, time_of(quiet, "olwen").ended_how) == (quiet.now, "replaced")
    assert time_of(quiet, "piet").signed_out_at is None


def test_whoever_leaves_the_room_for_good_is_signed_out(quiet: Room) -> None:
    comes(quiet, "olwen")
    number = quiet.new_number()
    quiet.wait(minutes=40)
    with transaction(quiet.database) as session:
        retire_worker(session, quiet.worker["olwen"], quiet.now, by=quiet.worker["hedda"])
    assert (time_of(quiet, "olwen").signed_out_at, time_of(quiet, "olwen").ended_how) == (quiet.now, "left")
    answer = quiet.scans(number, "table-1", step=Step.TAKE_IN)
    assert [each["code"] for each in answer.refusals] == ["not-signed-in"]


# -- two at one station -------------------------------------------------------------------------------------------
def test_two_together_both_stay_and_a_third_may_not_come(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.signs_in("piet", "table-1", "together")
    assert [time_of(quiet, who).signed_out_at for who in ("olwen", "piet")] == [None, None]
    with pytest.raises(Exception, match="not-signed-in"):
        quiet.signs_in("rosamund", "table-1", "together")
    assert time_of(quiet, "olwen").signed_out_at is None and times(quiet, "rosamund") == []


def test_one_of_two_may_say_again_how_they_work(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.signs_in("piet", "table-1", "together")
    quiet.wait(minutes=5)
    quiet.signs_in("piet", "table-1", "beside")
    before, now = times(quiet, "piet")
    assert before.signed_out_at == quiet.now and now.beside_id == quiet.worker["olwen"]


def test_nobody_learns_beside_themselves_or_beside_nobody(quiet: Room) -> None:
    with pytest.raises(Exception, match="not-signed-in"):
        quiet.signs_in("piet", "table-1", "beside")
    comes(quiet, "piet")
    with pytest.raises(Exception, match="not-signed-in"):
        quiet.signs_in("piet", "table-1", "beside")
    assert time_of(quiet, "piet").beside_id is None and time_of(quiet, "piet").signed_out_at is None


def test_the_sheet_is_the_learners(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.signs_in("piet", "intake", "beside")
    number = quiet.new_number()
    quiet.scans(number, "intake", step=Step.TAKE_IN)
    with reading(quiet.database) as session:
        found = select(EntryWorker.worker_id, EntryWorker.role).where(
            EntryWorker.entry_id == quiet.log(number)[0]["id"]
        )
        roles = {worker: role for worker, role in session.execute(found)}
    assert roles[quiet.worker["piet"]] == "did" and roles[quiet.worker["rosamund"]] != "did"


# -- idle ---------------------------------------------------------------------------------------------------------
def test_after_two_hours_without_a_scan_everybody_there_is_signed_out_as_of_the_last_one(quiet: Room) -> None:
    comes(quiet, "olwen", "intake")
    quiet.signs_in("piet", "intake", "together")
    comes(quiet, "rosamund", "press")
    quiet.wait(minutes=30)
    quiet.scans(quiet.new_number(), "intake", step=Step.TAKE_IN)
    last = quiet.now
    quiet.wait(minutes=60)
    quiet.scans(COMMANDS["help"], "press")
    quiet.wait(minutes=60)
    assert minute_passes(quiet) == 0
    quiet.wait(seconds=1)
    assert minute_passes(quiet) == 2
    for who in ("olwen", "piet"):
        assert (time_of(quiet, who).signed_out_at, time_of(quiet, who).ended_how) == (last, "idle")
    assert time_of(quiet, "rosamund").signed_out_at is None
    assert minute_passes(quiet) == 0


def test_whoever_never_scanned_has_no_hours(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=9)
    assert minute_passes(quiet) == 1
    time = time_of(quiet, "olwen")
    assert time.signed_out_at == time.signed_in_at


def test_a_refused_scan_shows_that_somebody_is_there(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(minutes=100)
    assert quiet.scans("NONSENSE", "table-1").kind == "stop"
    quiet.wait(minutes=100)
    assert minute_passes(quiet) == 0


def test_the_next_scan_finds_nobody_and_the_badge_goes_on(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    number = quiet.new_number()
    began = quiet.now
    quiet.wait(hours=3)
    answer = quiet.scans(number, "intake", step=Step.TAKE_IN)
    assert answer.refusals[0]["code"] == "not-signed-in"
    assert answer.lines == ("Nobody is signed in here.",) and "badge" in answer.next
    assert (time_of(quiet, "rosamund").signed_out_at, time_of(quiet, "rosamund").ended_how) == (began, "idle")
    comes(quiet, "rosamund", "intake")
    assert quiet.scans(number, "intake", step=Step.TAKE_IN).kind == "done"
    assert did(quiet, number) == [("take-in", "rosamund")]
    assert times(quiet, "rosamund")[1].signed_in_at == quiet.now


def test_what_was_asked_of_those_before_is_not_answered_by_whoever_comes(quiet: Room) -> None:
    comes(quiet, "piet", "filing")
    quiet.scans(COMMANDS["round"], "filing")
    assert quiet.station_row("filing")["in_round"]
    quiet.wait(hours=3)
    minute_passes(quiet)
    row = quiet.station_row("filing")
    assert (row["in_round"], row["pending"], row["last_sheet_id"], row["stack_id"]) == (False, None, None, None)


def test_a_rule_of_0_signs_nobody_out(quiet: Room) -> None:
    with transaction(quiet.database) as session:
        set_house_rule(session, "idle_sign_out_min", 0, "one of us is always here", quiet.now)
    comes(quiet, "rosamund", "intake")
    quiet.wait(days=3)
    assert minute_passes(quiet) == 0
    assert quiet.scans(quiet.new_number(), "intake", step=Step.TAKE_IN).kind == "done"


def test_a_clock_in_doubt_signs_nobody_out(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(days=3)
    answer = quiet.scans(quiet.new_number(), "intake", step=Step.TAKE_IN, clock_doubtful=True)
    assert answer.kind == "done" and time_of(quiet, "rosamund").signed_out_at is None


@pytest.mark.parametrize("doubtful", [True, False])
def test_the_background_signs_out_unless_the_clock_is_in_doubt(quiet: Room, doubtful: bool) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=5)
    watch = Watch()
    if doubtful:
        watch.wall_at -= timedelta(hours=1)
    background.each_minute(quiet.database, watch, quiet.now)
    assert (time_of(quiet, "olwen").signed_out_at is None) is doubtful
    with reading(quiet.database) as session:
        assert session.execute(select(Heartbeat.beat_at)).scalar_one() == quiet.now


def test_the_background_tells_the_stations_how_far_the_clock_may_run_ahead(quiet: Room) -> None:
    watch = Watch()
    watch.wall_at -= timedelta(minutes=10)
    assert watch.is_doubtful()
    with transaction(quiet.database) as session:
        set_house_rule(session, "clock_ahead_min", 30, "an old computer", quiet.now)
    background.each_minute(quiet.database, watch, quiet.now)
    assert not watch.is_doubtful()
    watch.wall_at -= timedelta(minutes=25)
    assert watch.is_doubtful()


def test_it_goes_round_as_soon_as_the_room_is_served(quiet: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=5)
    stopped, done = threading.Event(), threading.Event()

    def forget(_session: Any, _now: datetime, _zone: Any) -> int:
        stopped.set()
        done.set()
        return 0

    monkeypatch.setattr(background, "utc_now", lambda: quiet.now)
    monkeypatch.setattr(background, "forget_old", forget)
    background.keep_going(quiet.database, Watch(), quiet.zone, stopped)
    assert done.wait(10)
    assert time_of(quiet, "olwen").ended_how == "idle"


def test_a_busy_station_is_asked_nothing_more_for_it(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(minutes=10)
    quiet.scans(quiet.new_number(), "intake", step=Step.TAKE_IN)
    row = quiet.station_row("intake")
    with transaction(quiet.database) as session:
        house = room_house(session)[0]
        with statements_of(quiet.database) as sent:
            assert not attendance.leave_if_idle(session, row, quiet.now + timedelta(minutes=120), house)
            assert sent == []
            assert attendance.leave_if_idle(session, row, quiet.now + timedelta(minutes=121), house)
            assert len(sent) > 0


def test_a_script_cannot_name_somebody_who_is_idle(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(hours=3)
    holder = Holder(1, "scan", quiet.station["intake"], None)
    sent = Sent(ScanRequest("s-1", quiet.new_number(), quiet.station["intake"], step=Step.TAKE_IN), workers=("W04",))
    with transaction(quiet.database) as session:
        answer = answer_once(session, sent, holder, quiet.occasion)
    assert [each["code"] for each in answer.refusals] == ["not-signed-in"]
    assert time_of(quiet, "rosamund").ended_how == "idle"


# -- while the line is down ---------------------------------------------------------------------------------------
def kept_scan(room: Room, minutes_ago: int) -> tuple[str, Answer]:
    """A sheet glued some minutes ago, of which the server hears only now."""
    number = room.new_number()
    told = room.now - timedelta(minutes=minutes_ago)
    room.scans(number, who="hedda", manages=True, step=Step.TAKE_IN, happened_at=told - timedelta(minutes=1))
    return number, room.scans(number, "intake", step=Step.MOUNT, already_done=True, happened_at=told, held=1)


def test_scans_kept_while_the_line_was_down_belong_to_whoever_made_them(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    began = quiet.now
    quiet.wait(hours=5)
    assert minute_passes(quiet) == 1
    assert time_of(quiet, "rosamund").signed_out_at == began
    for minutes_ago in (250, 200, 150):
        number, answer = kept_scan(quiet, minutes_ago)
        assert answer.kind == "done" and did(quiet, number)[-1] == ("mount", "rosamund")
        time = time_of(quiet, "rosamund")
        assert (time.signed_out_at, time.ended_how) == (quiet.now - timedelta(minutes=minutes_ago), "idle")
    number, answer = kept_scan(quiet, 60)
    assert answer.kind == "done"
    assert (time_of(quiet, "rosamund").signed_out_at, time_of(quiet, "rosamund").ended_how) == (None, None)
    assert quiet.scans(quiet.new_number(), "intake", step=Step.TAKE_IN).kind == "done"


def test_a_learner_and_the_one_beside_are_called_back_as_they_were(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.signs_in("piet", "intake", "beside")
    quiet.wait(hours=5)
    minute_passes(quiet)
    number, _ = kept_scan(quiet, 250)
    with reading(quiet.database) as session:
        found = select(EntryWorker.worker_id, EntryWorker.role).where(
            EntryWorker.entry_id == quiet.log(number)[-1]["id"]
        )
        roles = {worker: role for worker, role in session.execute(found)}
    assert roles[quiet.worker["piet"]] == "did" and roles[quiet.worker["rosamund"]] != "did"


def test_a_kept_scan_longer_after_the_last_one_is_nobodys(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(hours=5)
    minute_passes(quiet)
    _, answer = kept_scan(quiet, 179)
    assert [each["code"] for each in answer.refusals] == ["not-signed-in"]
    _, answer = kept_scan(quiet, 180)
    assert answer.kind == "done"


@pytest.mark.parametrize("where", ["press", "intake"])
def test_a_kept_scan_is_not_theirs_who_had_moved_on_nor_once_others_had_come(quiet: Room, where: str) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(hours=4)
    minute_passes(quiet)
    held = {"held": 1}  # the station still has something to tell, so that its earlier time may be believed
    if where == "press":
        comes(quiet, "rosamund", "press")
    else:
        quiet.scans(quiet.code("badge", "piet"), "intake", **held)
        quiet.scans(OUT, "intake", **held)
    quiet.wait(hours=1)
    _, answer = kept_scan(quiet, 30)
    assert [each["code"] for each in answer.refusals] == ["not-signed-in"]
    # What was made before that is theirs all the same.
    number, answer = kept_scan(quiet, 185)
    assert answer.kind == "done" and did(quiet, number)[-1] == ("mount", "rosamund")
    assert times(quiet, "rosamund")[0].signed_out_at == quiet.now - timedelta(minutes=185)


def test_whoever_signed_out_is_not_called_back(quiet: Room) -> None:
    comes(quiet, "rosamund", "intake")
    quiet.wait(minutes=1)
    quiet.scans(OUT, "intake", held=1)
    quiet.wait(minutes=20)
    _, answer = kept_scan(quiet, 10)
    assert [each["code"] for each in answer.refusals] == ["not-signed-in"]


# -- what the manager puts right ----------------------------------------------------------------------------------
def corrected(room: Room, at: datetime, why: str = "she left for the bus", which: int = 0) -> Any:
    """The manager writes in when Olwen really left."""
    with transaction(room.database) as session:
        attendance.set_end(session, times(room, "olwen")[which].id, at, why, room.now, by=room.worker["hedda"])
    return times(room, "olwen")[which]


def test_a_forgotten_sign_out_is_written_in_with_its_reason(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=8)
    left = quiet.now - timedelta(hours=5)
    time = corrected(quiet, left)
    assert (time.signed_out_at, time.ended_how) == (left, "out")
    with reading(quiet.database) as session:
        change = session.execute(select(Change).order_by(Change.id.desc()).limit(1)).scalar_one()
    assert (change.subject, change.subject_id, change.what) == ("worker", quiet.worker["olwen"], "signed out")
    assert (change.old, change.new, change.why) == (None, left.isoformat(), "she left for the bus")
    assert change.changed_by == quiet.worker["hedda"]
    corrected(quiet, left + timedelta(minutes=5))
    with reading(quiet.database) as session:
        change = session.execute(select(Change).order_by(Change.id.desc()).limit(1)).scalar_one()
    assert change.old == left.isoformat()


def test_hours_cut_short_as_idle_may_be_lengthened(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=8)
    minute_passes(quiet)
    left = quiet.now - timedelta(hours=6)
    assert corrected(quiet, left, "labels were cut, nothing scanned").signed_out_at == left


def test_the_same_again_changes_nothing(quiet: Room) -> None:
    comes(quiet, "olwen")
    quiet.wait(hours=8)
    with reading(quiet.database) as session:
        before = len(session.execute(select(Change.id)).all())
    for _ in range(2):
        corrected(quiet, quiet.now - timedelta(hours=5))
    with reading(quiet.database) as session:
        assert len(session.execute(select(Change.id)).all()) == before + 1


@pytest.mark.parametrize(
    ("hours", "why", "said"),
    [
        (-1, "why", "before the sign-in"),
        (9, "why", "not come yet"),
        (5, "  ", "Say why"),
        (7, "why", "signed in again"),
    ],
)
def test_an_end_that_cannot_be_is_refused(quiet: Room, hours: int, why: str, said: str) -> None:
    comes(quiet, "olwen")
    began = quiet.now
    quiet.wait(hours=6)
    comes(quiet, "olwen", "press")
    quiet.wait(hours=2)
    before = times(quiet, "olwen")
    with pytest.raises(ValueError, match=said):
        corrected(quiet, began + timedelta(hours=hours), why)
    assert times(quiet, "olwen") == before


def test_hours_that_are_gone_are_not_put_right(quiet: Room) -> None:
    with transaction(quiet.database) as session, pytest.raises(ValueError, match="no longer kept"):
        attendance.set_end(session, 999, quiet.now, "why", quiet.now, by=None)


# -- whatever happens ---------------------------------------------------------------------------------------------
DEEDS = st.lists(
    st.tuples(
        st.sampled_from(["badge", "together", "beside", "done", "scan", "minute"]),
        st.sampled_from(["olwen", "piet", "rosamund"]),
        st.sampled_from(["table-1", "intake"]),
        st.sampled_from([1, 30, 90, 121, 300]),
    ),
    max_size=14,
)


@settings(max_examples=40)
@given(DEEDS)
def test_nobody_is_at_two_places_and_no_idle_hour_is_counted(
    tmp_path_factory: pytest.TempPathFactory, rooms: Rooms, deeds: list[tuple[str, str, str, int]]
) -> None:
    room = settled(new_room(rooms, tmp_path_factory.mktemp("hours")))
    heard: dict[str, list[datetime]] = {"table-1": [], "intake": []}
    for deed, who, at, minutes in deeds:
        room.wait(minutes=minutes)
        if deed != "minute":
            heard[at].append(room.now)
        _do(room, deed, who, at)
    room.wait(minutes=121)
    minute_passes(room)
    _look(room, heard)
    room.database.engine.dispose()


def _do(room: Room, deed: str, who: str, at: str) -> None:
    if deed == "minute":
        minute_passes(room)
    elif deed in ("together", "beside"):
        try:
            room.signs_in(who, at, deed)
        except Exception as refused:
            assert str(refused) == "not-signed-in", refused
        room.scans(COMMANDS["help"], at)
    else:
        codes = {"badge": room.code("badge", who), "done": OUT, "scan": COMMANDS["help"]}
        room.scans(codes[deed], at)


def _look(room: Room, heard: dict[str, list[datetime]]) -> None:
    slugs = {station_id: slug for slug, station_id in room.station.items()}
    for who in ("olwen", "piet", "rosamund"):
        found = times(room, who)
        assert all(each.signed_out_at is not None and each.ended_how for each in found)
        for one, following in zip(found, found[1:], strict=False):
            assert one.signed_out_at <= following.signed_in_at
        for each in found:
            marks = [each.signed_in_at, *(at for at in heard[slugs[each.station_id]] if at > each.signed_in_at)]
            within = [at for at in marks if at <= each.signed_out_at]
            assert all(b - a <= timedelta(minutes=120) for a, b in zip(within, within[1:], strict=False))
            if each.ended_how == "idle":
                assert each.signed_out_at == within[-1]
            else:
                assert each.signed_out_at - within[-1] <= timedelta(minutes=120)


def test_the_station_says_who_is_there_since_when_and_how(quiet: Room) -> None:
    from app.queries.attendance import times_of
    from app.queries.stations import station_view

    comes(quiet, "rosamund", "intake")
    quiet.wait(minutes=20)
    quiet.signs_in("piet", "intake", "beside")
    with reading(quiet.database) as session:
        view = station_view(session, quiet.station["intake"], quiet.now, quiet.zone)
        kept = times_of(session, quiet.worker["piet"])
    assert view is not None
    here = [(each.name, each.since, each.began, each.beside) for each in view.workers]
    assert here == [
        ("Piet Lindqvist", quiet.now, "by badge", "Rosamund Ashgill"),
        ("Rosamund Ashgill", quiet.now - timedelta(minutes=20), "by badge", ""),
    ]
    assert [(each.station, each.beside, each.ended, each.until) for each in kept] == [
        ("Intake", "Rosamund Ashgill", "", None)
    ]


def test_an_old_time_whose_end_was_not_written_down_was_signed_out(quiet: Room, database: Database) -> None:
    from app.queries.attendance import times_of

    with transaction(database) as session:
        session.add(
            Attendance(
                worker_id=quiet.worker["piet"],
                station_id=1,
                signed_in_at=quiet.now,
                signed_out_at=quiet.now,
                how="name",
            )
        )
    with reading(database) as session:
        (time,) = times_of(session, quiet.worker["piet"])
    assert (time.began, time.ended) == ("by name", "signed out")
