"""Scans that a station kept while the line was down: what is written of them, when, by whom, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Attendance, Entry, EntryWorker, Sheet, table_of
from app.domain.calendar import Calendar
from app.domain.day import Contact, Kind, contacts_left, day_of
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.queries.sentences import sentence
from app.queries.telling import Hands, Telling
from app.services.kept_times import hear_of
from app.services.room import add_bundle
from tests.databases import Rooms
from tests.room import TQX, Room
from tests.services.days import differences, done, minutes_left, new_room

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)


def clear(room: Room, *slugs: str) -> datetime:
    """These stations are heard of with nothing to send; from now on the line is down."""
    with transaction(room.database) as session:
        for slug in slugs:
            hear_of(session, room.station[slug], 0, room.now)
    return room.now


def did(room: Room, entry_id: int) -> list[str]:
    names = {worker_id: name for name, worker_id in room.worker.items()}
    with reading(room.database) as session:
        found = select(EntryWorker.worker_id).where(EntryWorker.entry_id == entry_id, EntryWorker.role == "did")
        return [names[worker] for worker in session.execute(found).scalars()]


def codes(answer: Any) -> list[str]:
    return [each["code"] for each in answer.refusals]


# -- what may be told late ---------------------------------------------------------------------------------------------
def ready_in(room: Room) -> str:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=30)
    room.weights("off", "P1")
    return number


def passed(room: Room) -> str:
    number = room.sheet_mounted()
    room.weights("off", "P1")
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    room.weights("on", "P1")
    room.wait(hours=30)
    room.weights("off", "P1")
    done(room.takes_out(number))
    room.wait(minutes=1)
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    return number


def drying(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "drying", step=Step.LAY_TO_DRY)
    room.wait(days=9)
    return number


DRY = {"dryness": True, "label": True}
UNSAFE: dict[str, tuple[Callable[[Room], str], str, dict[str, Any]]] = {
    "take-out": (ready_in, "press", {"step": Step.TAKE_OUT}),
    "take-out by a bare scan": (ready_in, "press", {}),
    "out already": (ready_in, "press", {"step": Step.TAKE_OUT, "already_done": True}),
    "pass-as-dry": (drying, "drying", {"step": Step.PASS_AS_DRY, "facts": DRY}),
    "papers-changed": (drying, "drying", {"step": Step.PAPERS_CHANGED}),
    "inspect": (lambda room: passed(room), "inspection", {"step": Step.INSPECT, "facts": {"outcome": "to-be-mended"}}),
    "file": (passed, "filing", {"step": Step.FILE, "cabinet": "F1", "shelf": "1"}),
    "take-in": (lambda room: room.new_number(), "intake", {"step": Step.TAKE_IN}),
    "take-in by a bare scan": (lambda room: room.new_number(), "intake", {}),
    "shelve": (passed, "filing", {"step": Step.SHELVE, "cabinet": "D1", "shelf": "1"}),
}


def entries(room: Room) -> int:
    with reading(room.database) as session:
        return len(session.execute(select(Entry.id)).all())


@pytest.mark.parametrize(("seconds", "may"), [(60, True), (61, False)])
@pytest.mark.parametrize("what", UNSAFE)
def test_what_rests_on_the_moment_is_not_written_more_than_a_minute_late(
    room: Room, what: str, seconds: int, may: bool
) -> None:
    make, slug, fields = UNSAFE[what]
    number = make(room)
    clear(room, slug)
    room.wait(minutes=5)
    told, before = room.now, entries(room)
    room.wait(seconds=seconds)
    answer = room.scans(number, slug, happened_at=told, held=1, **fields)
    assert (entries(room) == before + 1) is may, answer
    if not may:
        assert codes(answer) == ["too-old"] and answer.kind == "not-yet" and answer.status == 422
        assert "was scanned at" in answer.lines[0] and "scan it again" in answer.next
    assert differences(room.database) == []


def test_a_number_taken_in_too_late_leaves_no_row_behind(room: Room) -> None:
    number = room.new_number()
    told = clear(room, "intake")
    room.wait(hours=1)
    assert codes(room.scans(number, "intake", happened_at=told)) == ["too-old"]
    with reading(room.database) as session:
        assert session.execute(select(Sheet.id).where(Sheet.number == number)).first() is None
    assert done(room.scans(number, "intake")).step == "take-in"


def test_nothing_is_asked_late_that_nobody_is_there_to_answer(room: Room) -> None:
    """How is it, is it dry: online these are questions; an hour later they are answered by leaving it."""
    damp, dry = drying(room), passed(room)
    told = clear(room, "drying", "inspection")
    room.wait(hours=1)
    for number, slug in ((damp, "drying"), (dry, "inspection")):
        step = {"drying": Step.PASS_AS_DRY, "inspection": Step.INSPECT}[slug]
        answer = room.scans(number, slug, step=step, happened_at=told)
        assert (answer.kind, codes(answer), answer.choices) == ("not-yet", ["too-old"], ())
        assert room.scans(number, slug, step=step).kind == "which-one"


def test_a_bundle_does_not_go_by_a_card_that_was_kept(room: Room) -> None:
    """Its sheets are not asked for one by one: it is stopped where entries are written."""
    with transaction(room.database) as session:
        add_bundle(session, "Press 1")
    card, number = room.code("bundle", "Press 1"), room.new_number()
    for code in (card, number):
        room.scans(code, "intake")
    told, moved = clear(room, "drying"), {"step": Step.LAY_TO_DRY, "facts": {"all": True}}
    room.wait(hours=1)
    assert codes(room.scans(card, "drying", happened_at=told, held=1, **moved)) == ["too-old"]
    assert room.steps(number) == ["take-in"]
    done(room.scans(card, "drying", **moved))
    assert room.steps(number) == ["take-in", "lay-to-dry"]


def test_a_whole_shelf_does_not_go_by_a_card_that_was_kept(room: Room) -> None:
    number = room.sheet_ready()
    for code in (COMMANDS["whole-shelf"], room.code("shelf", "M1/1")):
        room.scans(code, "filing")
    told = clear(room, "filing")
    room.wait(minutes=2)
    before = entries(room)
    answer = room.scans(room.code("shelf", "M1/2"), "filing", happened_at=told, held=1)
    assert codes(answer) == ["too-old"] and entries(room) == before and room.steps(number)[-1] == "arrive-dry"


def test_before_the_last_clear_word_it_is_too_old_whatever_it_is(room: Room) -> None:
    number = room.sheet_ready()
    since = clear(room, "table-1")
    room.wait(hours=1)
    for seconds, kept in ((-1, ["too-old"]), (0, [])):
        answer = room.scans(number, "table-1", step=Step.TAKE_UP, happened_at=since + seconds * SECOND, held=1)
        assert codes(answer) == kept


def test_taking_back_is_not_told_late_but_the_same_scan_may_be_asked_for_again(room: Room) -> None:
    number = room.sheet_ready()
    entry = done(room.scans(number, "table-1", step=Step.TAKE_UP)).entry
    told = clear(room, "table-1")
    room.wait(minutes=2)
    late = room.undoes(entry, happened_at=told, held=1)
    assert codes(late) == ["too-old"] and room.steps(number)[-1] == "take-up"
    card = room.scans(COMMANDS["undo"], "table-1", happened_at=told, held=1)
    assert codes(card) == ["too-old"] and room.steps(number)[-1] == "take-up"


def test_a_scan_whose_answer_was_lost_is_sent_again_with_its_time_and_gets_that_answer(room: Room) -> None:
    """The first try tells no time; the second does, because it waited: it is the same scan all the same."""
    number = ready_in(room)
    clear(room, "press")
    made = room.now
    first = done(room.scans(number, "press", step=Step.TAKE_OUT, scan_id="s-1"))
    room.wait(hours=1)
    again = room.scans(number, "press", step=Step.TAKE_OUT, scan_id="s-1", happened_at=made, not_before=made, held=3)
    assert again == first and room.steps(number).count("take-out") == 1


def test_the_same_sheet_twice_in_one_outage_is_no_double_read(room: Room) -> None:
    """Sent in one breath, made half an hour apart: taken up, and mounted."""
    number = room.sheet_ready()
    since = clear(room, "table-1")
    room.wait(hours=2)
    for minutes, held in ((10, 1), (40, 0)):
        done(room.scans(number, "table-1", happened_at=since + minutes * MINUTE, held=held))
    assert room.steps(number)[-2:] == ["take-up", "mount"]
    assert [entry["happened_at"] for entry in room.log(number)[-2:]] == [since + 10 * MINUTE, since + 40 * MINUTE]


# -- uncertain times ------------------------------------------------------------------------------------------------------
def test_an_uncertain_time_is_marked_with_its_bounds_and_said(room: Room) -> None:
    number = room.sheet_ready()
    since = clear(room, "table-1")
    room.wait(hours=3)
    later = since + 2 * HOUR
    for earliest in (since - HOUR, since + HOUR):
        done(room.scans(number, "table-1", happened_at=later, not_before=earliest, held=1))
    up, mounted = room.log(number)[-2:]
    assert (up["step"], mounted["step"]) == ("take-up", "mount"), (
        "of an uncertain time nobody knows that it is a double read"
    )
    assert up["time_from"] == mounted["time_from"] == "station-uncertain"
    assert [entry["happened_at"] for entry in (up, mounted)] == [later, later]
    kept = [datetime.fromisoformat(entry["facts"]["not_before"]) for entry in (up, mounted)]
    assert kept == [since, since + HOUR], "not before the station was last heard of with nothing to send"
    told = Telling(room.zone, room.now, [TQX])
    entry = Row(
        {**mounted, "station": "Mounting table 1", "cabinet": None, "shelf": None, "bundle": None, "stack": None}
    )
    assert "Its time is uncertain: between 10:00 and 11:00." in sentence(entry, Hands(), told).replace(
        "Wed 25 Nov ", ""
    )
    assert differences(room.database) == []


class Row(dict[str, Any]):
    """An entry as a query gives it."""

    def __getattr__(self, name: str) -> Any:
        return self[name]


def test_an_unsafe_deed_of_uncertain_time_is_judged_by_the_earliest(room: Room) -> None:
    number = ready_in(room)
    clear(room, "press")
    room.wait(minutes=10)
    bounds = {"happened_at": room.now, "not_before": room.now - 61 * SECOND}
    assert codes(room.scans(number, "press", step=Step.TAKE_OUT, held=1, **bounds)) == ["too-old"]
    bounds["not_before"] += SECOND
    assert done(room.scans(number, "press", step=Step.TAKE_OUT, held=1, **bounds)).step == "take-out"


def test_press_time_counts_from_the_later_bound_and_ends_at_the_earlier(room: Room) -> None:
    """Laid in and weighed down between 9:00 and 11:00, heard of at 12:00; lifted the next day between 15:00 and 17:00."""
    number = room.sheet_mounted()
    nine = clear(room, "press")
    room.wait(hours=3)
    bounds = {"happened_at": nine + 2 * HOUR, "not_before": nine, "held": 1}
    done(room.weights("off", "P1", **bounds))
    done(room.scans(number, "press", stack="P1", step=Step.PUT_UNDER_WEIGHT, **bounds))
    done(room.weights("on", "P1", **bounds))
    clear(room, "press")
    noon = room.now
    room.wait(hours=30)
    done(room.weights("off", "P1", happened_at=noon + 29 * HOUR, not_before=noon + 23 * HOUR, held=1))
    answer = room.takes_out(number)
    # 24 hours for PVA (house rule): it is sure of the 23 between noon and the earliest that the weights came off.
    assert codes(answer) == ["too-early"] and minutes_left(answer) == 60
    assert differences(room.database) == []


def test_a_laying_in_that_is_heard_of_late_counts_from_then(room: Room) -> None:
    """Laid in between 9:00 and 10:00, by the press; the weights were put on at 10:30, which is known; heard of at 11:00."""
    number = room.sheet_mounted(adhesive="straps")
    room.weights("off", "P1")
    nine = clear(room, "press")
    room.wait(minutes=90)
    done(room.scans(room.code("on", "P1"), "inspection"))
    room.wait(minutes=30)
    bounds = {"happened_at": nine + HOUR, "not_before": nine, "held": 0}
    done(room.scans(number, "press", stack="P1", step=Step.PUT_UNDER_WEIGHT, **bounds))
    room.wait(minutes=119)
    done(room.weights("off", "P1"))
    # Straps lie for two hours (house rule).
    assert minutes_left(room.takes_out(number)) == 1 and differences(room.database) == []


def test_take_outs_after_the_earliest_are_called_in_question(room: Room) -> None:
    """At 13:00 the sheet is taken out; at 14:00 it is heard of that its weights were off at some time since 10:00."""
    from app.services.audit import in_question

    room.weights("off", "P1")
    number = room.sheet_in("P1", adhesive="straps")
    room.weights("on", "P1")
    room.wait(hours=1)
    clear(room, "inspection")
    room.wait(hours=3)
    done(room.weights("off", "P1"))
    done(room.takes_out(number))
    room.wait(hours=1)
    bounds = {"happened_at": room.now - HOUR / 2, "not_before": room.now - 4 * HOUR}
    done(room.scans(room.code("off", "P1"), "inspection", **bounds))
    with reading(room.database) as session:
        found = in_question(session)
    # Straps lie for two hours (house rule), and of the four that it lay only the first is certain.
    assert [(each.number, each.short_s) for each in found] == [(number, 3600)] and differences(room.database) == []


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    turns=st.lists(
        st.tuples(st.sampled_from(["on", "off"]), st.integers(0, 90), st.integers(0, 90), st.booleans()),
        min_size=1, max_size=8,
    ),
    wait=st.integers(0, 600),
)  # fmt: skip
def test_whatever_a_station_tells_late_of_weights_never_adds_time(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, turns: list[tuple[str, int, int, bool]], wait: int
) -> None:
    """A station that was cut off tells of cards at any times it likes: no sheet has more time than the server saw pass."""
    room = new_room(rooms, tmp_path_factory.mktemp("late"))
    room.weights("off", "P1")
    number = room.sheet_in("P1", adhesive="straps")
    began = clear(room, "press")
    room.wait(hours=2)
    moment = began
    for side, later, spread, uncertain in turns:
        moment = min(moment + later * MINUTE, room.now)
        more = {"not_before": moment - spread * MINUTE} if uncertain else {}
        room.weights(side, "P1", happened_at=moment, held=1, **more)
    heard = room.now
    room.wait(minutes=wait)
    room.weights("off", "P1")
    answer = room.takes_out(number)
    # Two hours for straps (house rule).
    assert (answer.kind == "done") <= (room.now - heard >= 2 * HOUR)
    assert differences(room.database) == []
    room.database.engine.dispose()


# -- who ------------------------------------------------------------------------------------------------------------------
def times(room: Room, who: str) -> list[tuple[str, datetime, datetime | None, str | None]]:
    table = table_of(Attendance)
    slugs = {station_id: slug for slug, station_id in room.station.items()}
    with reading(room.database) as session:
        rows = session.execute(select(table).where(table.c.worker_id == room.worker[who]).order_by(table.c.id))
        return [(slugs[row.station_id], row.signed_in_at, row.signed_out_at, row.ended_how) for row in rows]


def test_a_kept_badge_credits_what_follows_it_and_nothing_before(room: Room) -> None:
    one, two, three = (room.sheet_ready() for _ in range(3))
    since = clear(room, "table-1")
    room.wait(hours=2)
    told = [since + minutes * MINUTE for minutes in (5, 10, 15, 20, 25)]
    queue = [one, room.code("badge", "piet"), two, COMMANDS["done"], three]
    answers = [
        room.scans(code, "table-1", happened_at=at, held=4 - place)
        for place, (code, at) in enumerate(zip(queue, told, strict=True))
    ]
    assert [did(room, room.log(number)[-1]["id"]) for number in (one, two)] == [["olwen"], ["piet"]]
    assert codes(answers[-1]) == ["not-signed-in"] and room.steps(three)[-1] == "arrive-dry"
    assert ("table-1", told[1], told[3], "out") in times(room, "piet")
    assert ("table-1", since, told[1], "replaced") in times(room, "olwen")


def test_whoever_went_on_elsewhere_keeps_both_what_they_did_here_and_their_place_there(room: Room) -> None:
    """Rosamund's badge is kept at table 1 at 9:05, and scanned at the filing station, with a line, at 9:30."""
    number, after = room.sheet_ready(), room.sheet_ready()
    since = clear(room, "table-1")
    room.wait(minutes=30)
    done(room.scans(room.code("badge", "rosamund"), "filing"))
    moved = room.now
    room.wait(hours=1)
    done(room.scans(room.code("badge", "rosamund"), "table-1", happened_at=since + 5 * MINUTE, held=2))
    done(room.scans(number, "table-1", happened_at=since + 10 * MINUTE, held=1))
    assert did(room, room.log(number)[-1]["id"]) == ["rosamund"]
    assert codes(room.scans(after, "table-1", happened_at=moved + MINUTE, held=0)) == ["not-signed-in"]
    assert ("table-1", since + 5 * MINUTE, moved, "elsewhere") in times(room, "rosamund")
    assert ("filing", moved, None, None) in times(room, "rosamund")


def test_who_signed_in_here_since_is_not_credited_with_what_was_made_before(room: Room) -> None:
    number = room.sheet_ready()
    since = clear(room, "table-1")
    room.wait(hours=1)
    room.signs_in("piet", "table-1")
    done(room.scans(number, "table-1", happened_at=since + 5 * MINUTE, held=0))
    assert did(room, room.log(number)[-1]["id"]) == ["olwen"]
    done(room.scans(number, "table-1"))
    assert did(room, room.log(number)[-1]["id"]) == ["piet"]


# -- two stations without a line ------------------------------------------------------------------------------------------
def a_table_and_the_press(room: Room) -> tuple[str, dict[str, list[tuple[str, datetime]]]]:
    number = room.sheet_ready()
    since = clear(room, "table-1", "press")
    room.wait(hours=3)
    at = [since + minutes * MINUTE for minutes in (5, 20, 25, 30, 35)]
    table = [(number, at[0]), (number, at[1])]
    press = [(room.code("off", "P1"), at[2]), (number, at[3]), (room.code("on", "P1"), at[4])]
    return number, {"table-1": table, "press": press}


@pytest.mark.parametrize("first", ["table-1", "press"])
def test_two_stations_tell_of_one_sheet_in_either_order(room: Room, first: str) -> None:
    number, queues = a_table_and_the_press(room)
    answers: dict[str, list[Any]] = {}
    for slug in sorted(queues, key=lambda slug: slug != first):
        left = len(queues[slug])
        answers[slug] = [
            room.scans(code, slug, happened_at=at, held=left - place)
            for place, (code, at) in enumerate(queues[slug], start=1)
        ]
    assert [answer.kind for answer in answers["table-1"]] == ["done", "done"]
    if first == "table-1":
        assert [answer.kind for answer in answers["press"]] == ["done"] * 3 and room.stage(number) == "under-press"
    else:
        # The press cannot know who glued it: it asks, and writes nothing of the sheet; the weights it writes.
        assert [answer.kind for answer in answers["press"]] == ["done", "which-one", "done"]
        assert room.stage(number) == "mounted"
        room.weights("off", "P1")
        assert done(room.scans(number, "press")).step == "put-under-weight"
    assert differences(room.database) == []


@pytest.mark.parametrize("first", ["table-1", "table-2"])
def test_two_tables_that_took_up_one_sheet_are_told_so_in_either_order(room: Room, first: str) -> None:
    number = room.sheet_ready()
    since = clear(room, "table-1", "table-2")
    room.wait(hours=1)
    told = {"table-1": since + 5 * MINUTE, "table-2": since + 10 * MINUTE}
    slugs = sorted(told, key=lambda slug: slug != first)
    early, late = (room.scans(number, slug, happened_at=told[slug], held=0) for slug in slugs)
    assert early.kind == "done" and late.kind == "stop" and late.next
    assert codes(late) == (["on-another-table"] if first == "table-1" else ["out-of-order"])
    assert room.steps(number).count("take-up") == 1 and differences(room.database) == []


# -- heard of --------------------------------------------------------------------------------------------------------------
def test_a_contact_says_whether_scans_are_held_and_the_closing_tells_it(room: Room) -> None:
    since = clear(room, "press")
    room.wait(hours=1)
    with transaction(room.database) as session:
        hear_of(session, room.station["press"], 3, room.now)
    row = room.station_row("press")
    assert (row["clear_at"], row["seen_at"]) == (since, room.now)
    day = day_of(room.now, Calendar(room.zone, frozenset(range(7))))
    (item,) = contacts_left([Contact("Press", row["seen_at"], row["clear_at"], since)], day)
    assert (item.kind, item.at) == (Kind.KEPT, room.now)
    clear(room, "press")
    row = room.station_row("press")
    assert contacts_left([Contact("Press", row["seen_at"], row["clear_at"], since)], day) == []


def test_a_page_that_was_opened_today_is_not_silent(room: Room) -> None:
    """Nothing was scanned there since yesterday, but its page has said that it holds nothing."""
    yesterday = room.now - 24 * HOUR
    day = day_of(room.now, Calendar(room.zone, frozenset(range(7))))
    kinds = [
        [item.kind for item in contacts_left([Contact("Press", yesterday, at, yesterday)], day)]
        for at in (yesterday, room.now)
    ]
    assert kinds == [[Kind.SILENT], []]


def test_a_contact_does_not_keep_anybody_signed_in(room: Room) -> None:
    seen = room.station_row("press")["seen_at"]
    room.wait(hours=1)
    clear(room, "press")
    assert room.station_row("press")["seen_at"] == seen
