"""A changed pace on the room's own record: one more afternoon, somebody away, a bigger press, and the published rate."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from sqlalchemy import insert, select

from app.db.engine import reading, transaction
from app.db.models import Stack, TallyStay, table_of
from app.domain.changed_pace import Change
from app.domain.stages import Stage, Step
from app.queries.changed_pace import Changed, changed_pace, may_be_away
from app.queries.forecast import forecast
from app.queries.waiting import judge
from tests.queries.test_forecast import OPEN, long_open, stages_of, tallied
from tests.room import Room

__all__ = ["long_open"]
STACKS = select(table_of(Stack).c.capacity)


def asked(room: Room, change: Change, backlogs: dict[Stage, int]) -> Changed:
    with reading(room.database) as session:
        return changed_pace(session, judge(session, room.now, room.zone), stages_of(room, backlogs), change)


def dates(found: Changed, stage: Stage) -> tuple[date | None, date | None]:
    (line,) = (each for each in found.stages if each.slug == stage)
    return line.today[2], line.then[2]


def test_one_more_afternoon_a_week_brings_one_more_day_in_five(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 4)
    # Four a day: 48 take twelve open days (Fri 11 Dec). With four more on each fifth day: 5 x 4 + 4 = 24 in five days, 48 in ten.
    found = asked(long_open, Change(afternoons=1), {Stage.READY: 48})
    assert dates(found, Stage.READY) == (date(2026, 12, 11), date(2026, 12, 9))
    # Half of it: 5 x 4 + 2 = 22 in five days, 44 in ten, 48 in eleven.
    assert dates(asked(long_open, Change(1, Fraction(1, 2)), {Stage.READY: 48}), Stage.READY)[1] == date(2026, 12, 10)
    # Three of them: 5 x 4 + 12 = 32 in five days, and four days more for the last 16.
    assert dates(asked(long_open, Change(3), {Stage.READY: 48}), Stage.READY)[1] == date(2026, 12, 8)
    assert found.rests_on == (
        "The last 10 open days on record.",
        "One more afternoon a week does what a usual open day here did: as many people come for as long.",
    )


def test_who_is_away_takes_their_own_work_with_them(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 3, "olwen")
    tallied(long_open, OPEN, Step.MOUNT, 1, "piet")
    olwen = long_open.worker["olwen"]
    # One a day for good: 12 take twelve days, not three; for one week: 5 x 1, then 4 and 3 more in two days.
    good = asked(long_open, Change(away=olwen), {Stage.READY: 12})
    assert dates(good, Stage.READY) == (date(2026, 11, 30), date(2026, 12, 11))
    week = asked(long_open, Change(away=olwen, weeks=1), {Stage.READY: 12})
    assert dates(week, Stage.READY)[1] == date(2026, 12, 4)
    assert week.rests_on[1] == (
        "What Olwen Tarrant did on those days is left out for one week, and nobody takes it over."
    )
    assert dates(asked(long_open, Change(away=long_open.worker["hedda"]), {Stage.READY: 12}), Stage.READY)[1] == date(
        2026, 11, 30
    )


def test_only_who_did_something_and_is_here_still_can_be_away(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 3, "olwen")
    with reading(long_open.database) as session:
        names = dict(may_be_away(session, judge(session, long_open.now, long_open.zone)))
    assert long_open.worker["olwen"] in names and long_open.worker["piet"] not in names


def stays(room: Room, hours: int, many: int) -> None:
    """So many sheets came out of the press after so many hours."""
    values = {"week": "2026-W46", "stage": Stage.UNDER_PRESS.value, "cabinet_id": 0, "hours": hours, "stays": many}
    with transaction(room.database) as session:
        session.execute(insert(table_of(TallyStay)).values(values))


def test_a_bigger_press_helps_where_the_press_holds_the_room_back(long_open: Room) -> None:
    with reading(long_open.database) as session:
        places = sum(row.capacity for row in session.execute(STACKS))
    laid = places * 65 // 100
    tallied(long_open, OPEN, Step.MOUNT, 2 * places)
    tallied(long_open, OPEN, Step.PUT_UNDER_WEIGHT, laid)
    # Stays of 48 to 49 hours on five days of seven: at most 0.69 of the places a day, and 0.65 are laid in. With twice the
    # places 1.38 of them, 2.1 times as many as now: what takes ten days takes five.
    stays(long_open, 48, 40)
    found = asked(long_open, Change(places=places), {Stage.MOUNTED: 10 * laid, Stage.READY: 90})
    assert dates(found, Stage.MOUNTED) == (date(2026, 12, 9), date(2026, 12, 2))
    assert dates(found, Stage.READY)[0] == dates(found, Stage.READY)[1]
    assert found.rests_on[1].startswith("The press takes at most ")


def test_a_press_that_is_half_empty_is_not_helped_by_more_places(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 1)
    tallied(long_open, OPEN, Step.PUT_UNDER_WEIGHT, 1)
    stays(long_open, 24, 10)
    found = asked(long_open, Change(places=50), {Stage.MOUNTED: 5})
    assert dates(found, Stage.MOUNTED)[0] == dates(found, Stage.MOUNTED)[1]
    assert "does not hold the room back" in found.rests_on[1]


def test_where_too_few_days_are_on_record_that_is_said(room: Room) -> None:
    found = asked(room, Change(afternoons=1), {Stage.READY: 5})
    assert (found.stages, found.rests_on) == ((), ("There are too few days to say: 0 of 10 open days are on record.",))


def test_a_room_that_mounts_at_the_published_rate_is_done_when_that_rate_says(long_open: Room) -> None:
    # 4 sheets an hour on average, prepared plants with labels supplied: the Florida Museum's page of costs. That is one in
    # 15 minutes, and 28 in a day of 7 hours, so that 280 sheets are ten days of work.
    tallied(long_open, OPEN, Step.MOUNT, 28)
    with reading(long_open.database) as session:
        judged = judge(session, long_open.now, long_open.zone)
        found = forecast(session, judged, stages_of(long_open, {Stage.READY: 280}))
    (ready,) = (each for each in found.stages if each.when.slug == Stage.READY)
    assert ready.mean == 4 * 7
    tenth = OPEN[-1] + timedelta(days=1 + 14)  # Wednesday the 25th is today; ten open days on is a Wednesday again
    assert ready.when.dates == (tenth,) * 3
    # A second table of that rate on one afternoon of 3.5 hours a week: 14 more in five days, 280 in nine and a half.
    more = asked(long_open, Change(1, Fraction(1, 2)), {Stage.READY: 280})
    assert dates(more, Stage.READY) == (tenth, tenth)
    assert dates(asked(long_open, Change(1, Fraction(1, 2)), {Stage.READY: 266}), Stage.READY) == (
        tenth,
        tenth - timedelta(days=1),
    )
