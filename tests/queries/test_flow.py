"""The flow told truly: what may go on, what is held, out or in the freezer, and what a dry sheet waits for.

Every figure is asked twice: of many sheets by the board, and of each sheet by itself.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import FreezerLoad, Sheet, table_of
from app.domain.house import House
from app.domain.limits import limit_of, must_freeze, waits_for
from app.domain.stages import Stage, Step
from app.domain.stalls import Limit
from app.queries.fetching import fetch_next
from app.queries.kinds import KINDS
from app.queries.lines import line_rows, waits_of
from app.queries.stalled import cabinet_days, waiting_in
from app.queries.waiting import judge
from app.services.room import add_bundle, set_house_rule
from tests.queries.looking import board_of, brought_dry, filed, listed, own_limit, page_of, passed, stage_of
from tests.room import WEDNESDAY, Room

SHEET = table_of(Sheet)
SECOND = timedelta(seconds=1)


def rules(room: Room, **values: int) -> None:
    """Set house rules."""
    with transaction(room.database) as session:
        for name, value in values.items():
            set_house_rule(session, name, value, "as this room has it", room.now)


def holds(room: Room, number: str, kind: str) -> str:
    """The manager puts a hold from the sheet's page."""
    facts = {"hold": kind, "with_whom": "N. Varley"}
    assert (
        room.scans(number, who="hedda", manages=True, step=Step.PUT_HOLD, facts=facts, reason="so it is").kind == "done"
    )
    return number


def treated(room: Room, number: str, until: datetime) -> str:
    """A sheet came out of the freezer, and counts as treated until then."""
    with transaction(room.database) as session:
        session.execute(update(SHEET).where(SHEET.c.number == number).values(treated_until=until))
    return number


def load(room: Room, name: str, *numbers: str, opened: bool = False, put_in: bool = True) -> None:
    """These sheets are a load; it is put in, and may be opened again."""
    with transaction(room.database) as session:
        bundle = add_bundle(session, name, "bag")
        session.add(FreezerLoad(code=name, name=name, bundle_id=bundle, put_in_at=room.now if put_in else None,
                                opened_at=room.now if opened else None))  # fmt: skip
        session.execute(update(SHEET).where(SHEET.c.number.in_(numbers)).values(bundle_id=bundle))


def dried(room: Room, method: str) -> str:
    """A plant that was laid to dry."""
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True})
    room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": method})
    return number


def taken_in(room: Room, *, fresh: bool) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": fresh})
    return number


def everything(room: Room) -> dict[str, str]:
    """A sheet of every kind, by what is so with it; nothing is in the queue twice."""
    made = {
        "fresh": taken_in(room, fresh=True), "came dry": taken_in(room, fresh=False),
        "came dry, held": holds(room, taken_in(room, fresh=False), "quarantine"),
        "fresh, in quarantine": holds(room, taken_in(room, fresh=True), "quarantine"),
        "fresh, out": holds(room, taken_in(room, fresh=True), "out"),
        "with heat": dried(room, "heated"), "without heat": dried(room, "unheated"),
        "drying, not found": holds(room, dried(room, "unheated"), "not-found"),
        "ready": room.sheet_ready(), "no label": room.sheet_ready(label=False),
        "ready, not found": holds(room, room.sheet_ready(), "not-found"),
        "ready, out": holds(room, room.sheet_ready(), "out"),
        "ready, name query": holds(room, room.sheet_ready(), "name-query"),
        "ready, frozen": room.sheet_ready(), "ready, frozen and held": room.sheet_ready(label=False),
        "ready, treated": treated(room, room.sheet_ready(), room.now + timedelta(days=20)),
        "mounted": room.sheet_mounted(), "mounted, not found": holds(room, room.sheet_mounted(), "not-found"),
        "under press": room.sheet_in("P1"), "under press, not found": holds(room, room.sheet_in("P1"), "not-found"),
        "to inspect": brought_dry(room), "to inspect, quarantine": holds(room, brought_dry(room), "quarantine"),
        "to mend": brought_dry(room), "passed": passed(room), "passed, name query": holds(room, passed(room), "name-query"),
        "passed, treated": treated(room, passed(room), room.now + timedelta(days=20)),
        "passed, treated, name query": holds(room, treated(room, passed(room), room.now + timedelta(days=20)), "name-query"),
        "passed, out": holds(room, passed(room), "out"), "passed, frozen": passed(room), "passed, opened": passed(room),
        "filed": filed(room), "withdrawn": holds(room, room.sheet_ready(), "name-query"),
    }  # fmt: skip
    taken = made["taken up"] = room.sheet_ready()
    room.scans(taken, "table-1", step=Step.TAKE_UP)
    room.scans(made["to mend"], "inspection", step=Step.INSPECT, facts={"outcome": "to-be-mended"})
    room.scans(made["withdrawn"], who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    load(room, "L1", made["ready, frozen"], made["ready, frozen and held"], made["passed, frozen"])
    load(room, "L2", made["passed, opened"], opened=True)
    load(room, "L3", made["to inspect"], put_in=False)
    room.weights("on", "P1")
    return made


TREATING = [
    {},
    {"treat_before_filing": 1},
    {"treat_before_mounting": 1},
    {"treat_before_filing": 1, "treat_before_mounting": 1},
]
LATER = [
    timedelta(0),
    timedelta(hours=2),
    timedelta(days=4),
    timedelta(days=9),
    timedelta(days=21),
    timedelta(days=130),
]


@pytest.mark.parametrize("treating", TREATING, ids=["no freezer", "filing", "mounting", "both"])
def test_the_board_and_each_sheet_by_itself_say_the_same(room: Room, treating: dict[str, int]) -> None:
    everything(room)
    rules(room, **treating)
    own_limit(room, "M1", 20)
    for now in (room.now + later for later in LATER):
        with reading(room.database) as session:
            judged = judge(session, now, room.zone)
            ids = list(session.execute(select(SHEET.c.id).order_by(SHEET.c.id)).scalars())
            rows = line_rows(session, ids)
            waits = waits_of(session, rows, judged)
        asked = list(zip(rows, waits, strict=True))
        late = {row.number for row, wait in asked if wait.stalled}
        assert {row.number for row in listed(room, now, stalled=True, limit=200).rows} == late
        for view in board_of(room, now).stages[:-1]:
            mine = [(row, wait) for row, wait in asked if row.stage == view.slug and row.in_queue]
            free = Counter(judged.waits_for(row) for row, wait in mine if not wait.held)
            assert view.count == len(mine)
            assert view.held + view.out + view.in_freezer == sum(wait.held for _, wait in mine), view.slug
            assert view.stalled == sum(wait.stalled for _, wait in mine), (view.slug, now)
            assert view.may_go_on == sum(free.values())
            if view.slug == "dry":
                counts = (view.to_inspect, view.to_mend, view.to_freeze, view.to_file)
                assert counts == tuple(free[what] for what in ("to inspect", "to mend", "to freeze", "to file"))


@pytest.mark.parametrize("treating", TREATING, ids=["no freezer", "filing", "mounting", "both"])
def test_every_sheet_in_the_queue_is_of_one_kind(room: Room, treating: dict[str, int]) -> None:
    everything(room)
    rules(room, **treating)
    with reading(room.database) as session:
        judged = judge(session, room.now, room.zone)
        found = [each for kind in KINDS for each in waiting_in(session, judged, kind, cabinet_days(session))]
        pressed = select(SHEET.c.id).where(SHEET.c.stage == Stage.UNDER_PRESS)
        queued = select(SHEET.c.id).where(SHEET.c.in_queue, SHEET.c.id.not_in(pressed))
        assert sum(each.count for each in found) == len(session.execute(queued).all())
    assert all(each.free == each.count - each.held - each.out - each.in_freezer >= 0 for each in found)


def test_the_lines_of_a_room_in_which_everything_occurs(room: Room) -> None:
    """Counted by hand from the list above; the house treats before filing and before mounting."""
    everything(room)
    rules(room, treat_before_filing=1, treat_before_mounting=1)
    said = {view.slug: [line.words for line in view.lines] for view in board_of(room).stages}
    assert said["intake"][0].startswith("3 fresh, 2 dry, oldest")
    assert said["intake"][1:] == ["1 held, 1 out", "limit 10 open days"]
    assert "1 held" in said["drying"] and "1 held" in said["mounted"] and "1 held" in said["under-press"]
    # Ready: free are ready, name query and treated, of which one is treated; one lies on a table.
    assert said["ready-for-mounting"] == [
        "1 may be taken up, 1 on a table, 2 to freeze, 2 held, 1 out, 2 in the freezer"
    ]
    # Dry: the name query stops filing, not freezing; what was opened and never treated is to be frozen again.
    assert said["dry"] == ["1 to inspect, 1 to mend, 3 to freeze, 1 to file, 2 held, 1 out, 1 in the freezer"]


def test_without_a_freezer_in_the_house_rules_nothing_is_to_be_frozen(room: Room) -> None:
    everything(room)
    said = {view.slug: view.lines[0].words for view in board_of(room).stages}
    assert said["ready-for-mounting"] == "3 may be taken up, 1 on a table, 2 held, 1 out, 2 in the freezer"
    assert said["dry"] == "1 to inspect, 1 to mend, 3 to file, 3 held, 1 out, 1 in the freezer"


def test_what_is_filed_or_withdrawn_is_never_in_the_queue(room: Room) -> None:
    made = everything(room)
    load(room, "L4", made["filed"], made["withdrawn"])
    rules(room, treat_before_filing=1)
    for now in (room.now, room.now + timedelta(days=400)):
        assert not {made["filed"], made["withdrawn"]} & {
            row.number for row in listed(room, now, stalled=True, limit=200).rows
        }
        for name in ("filed", "withdrawn"):
            page = page_of(room, made[name], now)
            assert (page.stalled, page.waits_for) == (False, "")
    before = {view.slug: view.count for view in board_of(room).stages[:-1]}
    assert sum(before.values()) == len(made) - 2


@pytest.mark.parametrize(("apart", "waits"), [(-SECOND, "to file"), (timedelta(0), "to freeze"), (SECOND, "to freeze")])
def test_a_treatment_that_no_longer_holds_sends_a_sheet_to_the_freezer(
    room: Room, apart: timedelta, waits: str
) -> None:
    ends = room.now + timedelta(days=1)
    number = treated(room, passed(room), ends)
    rules(room, treat_before_filing=1)
    page, stage = page_of(room, number, ends + apart), stage_of(room, "dry", ends + apart)
    assert page.waits_for == waits and page.treated is (waits == "to file")
    assert (stage.to_freeze, stage.to_file) == ((0, 1) if waits == "to file" else (1, 0))
    # The rule of the filing station says the same.
    room.now = ends + apart
    answer = room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1")
    assert (answer.kind == "done") is (waits == "to file")


def test_what_waits_for_the_freezer_has_a_limit_of_its_own(room: Room) -> None:
    number = passed(room)
    rules(room, treat_before_filing=1, limit_freeze_days=2)
    # Passed on Wednesday 25 November at 9:00; two open days later is Friday at 9:00, by the calendar.
    limit = datetime(2026, 11, 27, 9, tzinfo=UTC)
    for now, stalled in ((limit - SECOND, False), (limit, False), (limit + SECOND, True)):
        assert page_of(room, number, now).stalled is stalled
        assert stage_of(room, "dry", now).stalled == int(stalled)
        assert bool(listed(room, now, stalled=True).rows) is stalled


def test_only_what_is_passed_is_sent_to_the_freezer_before_it_is_filed() -> None:
    house, now = House(treat_before_filing=True), WEDNESDAY
    assert [must_freeze(Stage.DRY, house, outcome, None, now) for outcome in (None, "mended-here", "to-be-mended", "passed")] == [
        False, False, False, True,
    ]  # fmt: skip
    assert not must_freeze(Stage.READY, house, None, None, now) and not must_freeze(
        Stage.DRY, House(), "passed", None, now
    )
    assert must_freeze(Stage.READY, House(treat_before_mounting=True), None, None, now)
    assert [waits_for(outcome, to_freeze=True) for outcome in (None, "to-be-mended", "passed")] == [
        "to inspect",
        "to mend",
        "to freeze",
    ]
    assert limit_of(Stage.DRY, House(limit_freeze_days=3), outcome="passed", to_freeze=True) == Limit(open_days=3)


def test_in_the_freezer_nothing_is_stalled_and_nothing_is_fetched_until_the_bag_is_opened(room: Room) -> None:
    inside, beside = room.sheet_ready(), room.sheet_ready()
    load(room, "L1", inside)
    late = room.now + timedelta(days=130)
    stage = stage_of(room, "ready-for-mounting", late)
    assert (stage.count, stage.in_freezer, stage.held, stage.may_go_on, stage.stalled) == (2, 1, 0, 1, 1)
    assert page_of(room, inside, late).waits_for == "in the freezer" and not page_of(room, inside, late).stalled
    assert fetched(room) == [beside]
    with transaction(room.database) as session:
        session.execute(update(table_of(FreezerLoad)).values(opened_at=room.now))
    room.wait(days=1)
    assert stage_of(room, "ready-for-mounting", late).stalled == 2 and set(fetched(room)) == {inside, beside}


def test_what_is_out_is_not_fetched(room: Room) -> None:
    away, here = room.sheet_ready(), room.sheet_ready()
    holds(room, away, "out")
    assert fetched(room) == [here]


def test_a_missing_sheet_under_press_is_not_called_forgotten(room: Room) -> None:
    found, missing = room.sheet_in("P1"), room.sheet_in("P1")
    room.weights("on", "P1")
    holds(room, missing, "not-found")
    late = room.now + timedelta(days=9)
    stage = stage_of(room, "under-press", late)
    assert (stage.count, stage.held, stage.stalled, stage.may_go_on) == (2, 1, 1, 1)
    assert "1 may come out now" in [line.words for line in stage.lines]
    assert (
        stage.ages is not None and stage.ages.stalled == 1 and stage.ages.fresh + stage.ages.fair + stage.ages.old == 0
    )
    assert [row.number for row in listed(room, late, stalled=True).rows] == [found]


def test_a_sheet_on_a_table_may_not_be_taken_up_again(room: Room) -> None:
    number, _ = room.sheet_ready(), room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    stage = stage_of(room, "ready-for-mounting")
    assert (stage.count, stage.may_be_taken_up, stage.may_go_on) == (2, 1, 2)
    assert stage.lines[0].words == "1 may be taken up, 1 on a table"


def fetched(room: Room) -> list[str]:
    """What the first table is sent for."""
    with reading(room.database) as session:
        return [
            line.number
            for line in fetch_next(
                session, room.station["table-1"], room.now, room.zone, judge(session, room.now, room.zone).house
            )
        ]
