"""When each stage is done: what is counted on which day, the dates, the stage that holds the others back, one more worker."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import insert

from app.db.engine import Database, reading, transaction
from app.db.models import CalendarDay, TallyDay, table_of
from app.domain.calendar import DAY
from app.domain.forecast import Days
from app.domain.stages import Stage, Step
from app.queries.board_stages import StageView
from app.queries.forecast import Forecast, StageAhead, StageForecast, forecast, forecast_lines
from app.queries.pace import COMING, LEAVING, Pace, pace, worker_days
from app.queries.waiting import judge
from app.services.room import set_house_rule
from tests.queries.looking import board_of
from tests.queries.plans import full_scans, plans_of
from tests.room import WEDNESDAY, Room

TODAY = WEDNESDAY.date()
# The ten open days before that Wednesday, Mondays to Fridays.
OPEN = [date(2026, 11, day) for day in (11, 12, 13, 16, 17, 18, 19, 20, 23, 24)]


@pytest.fixture
def long_open(database: Database) -> Room:
    """A room whose first entry was written three weeks ago, and that looks back over two."""
    room = Room(database, WEDNESDAY - timedelta(weeks=3))
    first = room.sheet_ready()
    room.wait(weeks=3)
    rule(room, "forecast_weeks", 2)
    room.scans(first, step=Step.WITHDRAW, who="hedda", manages=True, reason="sent in exchange")
    return room


def rule(room: Room, name: str, value: int) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, name, value, "as agreed", room.now)


def set_day(room: Room, day: date, is_open: bool) -> None:
    with transaction(room.database) as session:
        session.execute(insert(CalendarDay).values(day=day, is_open=is_open, why="as agreed"))


def tallied(room: Room, days: Iterable[date], step: Step, sheets: int, who: str = "olwen", shares: int = 1) -> None:
    """Somebody did so many sheets on each of these days, alone or with others."""
    rows = [{"day": day, "worker_id": room.worker[who], "step": step.value, "sheets": sheets,
             "credit_60": sheets * 60 // shares} for day in days]  # fmt: skip
    with transaction(room.database) as session:
        session.execute(insert(table_of(TallyDay)), rows)


def pace_of(room: Room) -> Pace:
    with reading(room.database) as session:
        return pace(session, judge(session, room.now, room.zone))


def ahead_of(room: Room, backlogs: dict[Stage, int] | None = None, asked: Stage | None = None) -> Forecast:
    """The forecast of the board's own stages, or with these backlogs in their place."""
    with reading(room.database) as session:
        return forecast(session, judge(session, room.now, room.zone), stages_of(room, backlogs), asked)


def stages_of(room: Room, backlogs: dict[Stage, int] | None) -> list[StageView]:
    stages = board_of(room).stages
    if backlogs is None:
        return list(stages)
    given = {stage.value: many for stage, many in backlogs.items()}
    return [replace(each, count=given.get(each.slug, 0), may_go_on=given.get(each.slug, 0)) for each in stages]


def stage_in(found: Forecast, stage: Stage) -> StageAhead:
    return next(each for each in found.stages if each.when.slug == stage)


def when_of(found: Forecast, stage: Stage) -> StageForecast:
    return stage_in(found, stage).when


def test_each_open_day_counts_what_left_and_what_came_by_real_scans(room: Room) -> None:
    for _ in range(2):
        room.sheet_ready()  # Wednesday
    room.wait(days=1)
    wrong = room.sheet_mounted()  # Thursday; nobody comes on Friday
    room.wait(days=2)
    for _ in range(3):
        room.sheet_ready()  # Saturday, when the room is closed
    room.wait(days=2)
    room.sheet_mounted()  # Monday
    room.wait(days=1)
    room.sheet_ready()  # Tuesday is today, and not over
    found = pace_of(room)
    assert found.days == (date(2026, 11, 25), date(2026, 11, 26), date(2026, 11, 27), date(2026, 11, 30))
    assert found.of(LEAVING[Stage.INTAKE]) == found.of(COMING[Stage.READY]) == (2, 1, 0, 4)
    assert found.of(LEAVING[Stage.READY]) == (0, 1, 0, 1)
    room.takes_back(room.log(wrong)[-1]["id"], "another sheet")
    assert pace_of(room).of(LEAVING[Stage.READY]) == (0, 0, 0, 1)


def test_days_before_the_first_entry_are_no_days_of_the_room(room: Room) -> None:
    assert pace_of(room).days == ()
    room.sheet_ready()
    assert pace_of(room).days == ()
    room.wait(days=2)
    tallied(room, [TODAY - DAY], Step.MOUNT, 7)  # told late, of a day on which the log was not kept yet
    found = pace_of(room)
    assert found.days == (TODAY, TODAY + DAY) and found.of(LEAVING[Stage.READY]) == (0, 0)


def test_what_was_done_on_a_closed_day_waits_for_the_next_open_day_to_be_over(long_open: Room) -> None:
    saturday, sunday = date(2026, 11, 14), date(2026, 11, 15)
    tallied(long_open, [saturday, sunday], Step.TAKE_OUT, 2)
    tallied(long_open, [OPEN[3]], Step.TAKE_OUT, 5)
    assert pace_of(long_open).of(LEAVING[Stage.UNDER_PRESS]) == (0, 0, 0, 9, 0, 0, 0, 0, 0, 0)
    # With its last Tuesday closed, that day's work belongs to Wednesday, and Wednesday is not over.
    set_day(long_open, OPEN[-1], is_open=False)
    tallied(long_open, [OPEN[-1]], Step.TAKE_OUT, 4)
    assert sum(pace_of(long_open).of(LEAVING[Stage.UNDER_PRESS])) == 9
    long_open.wait(days=1)
    assert pace_of(long_open).of(LEAVING[Stage.UNDER_PRESS])[-1] == 4


def test_the_days_before_the_first_looked_at_are_left_out_but_for_closed_ones_just_before_it(long_open: Room) -> None:
    long_open.wait(days=5)  # Monday 30 November: two weeks back is Monday the 16th
    tallied(long_open, [date(2026, 11, 13)], Step.FILE, 50)
    tallied(long_open, [date(2026, 11, 15)], Step.FILE, 3)
    found = pace_of(long_open)
    assert found.days[0] == date(2026, 11, 16) and found.of(LEAVING[Stage.DRY]) == (3, *[0] * 9)


def test_a_sheet_that_several_did_together_is_one_sheet(long_open: Room) -> None:
    for who in ("olwen", "piet", "rosamund"):
        tallied(long_open, [OPEN[2]], Step.MOUNT, 4, who, shares=3)
    tallied(long_open, [OPEN[2]], Step.GOES_UNMOUNTED, 1, "piet")
    tallied(long_open, [TODAY], Step.MOUNT, 9)  # today is not over
    found = pace_of(long_open)
    assert found.of(LEAVING[Stage.READY])[2] == 5 == sum(found.of(LEAVING[Stage.READY]))
    with reading(long_open.database) as session:
        single = worker_days(session, judge(session, long_open.now, long_open.zone), found, Stage.READY)
    # A third of four is 1⅓, said as 1; Piet's other sheet makes it 2⅓, said as 2.
    assert single == Days.of([1, 1, 2])


@pytest.mark.parametrize(
    ("backlog", "day"),
    # Two sheets a day from Thursday 26 November on: the 28th and 29th are a weekend.
    [
        (1, date(2026, 11, 26)),
        (2, date(2026, 11, 26)),
        (3, date(2026, 11, 27)),
        (6, date(2026, 11, 30)),
        (14, date(2026, 12, 4)),
    ],
)
def test_with_days_that_are_all_alike_the_date_is_counted_on_the_calendar(
    long_open: Room, backlog: int, day: date
) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    found = ahead_of(long_open, {Stage.READY: backlog})
    assert when_of(found, Stage.READY).dates == (day, day, day)


def test_a_day_on_which_the_room_is_closed_moves_the_date(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    set_day(long_open, date(2026, 11, 27), is_open=False)
    assert when_of(ahead_of(long_open, {Stage.READY: 3}), Stage.READY).dates == (date(2026, 11, 30),) * 3
    set_day(long_open, date(2026, 11, 28), is_open=True)
    assert when_of(ahead_of(long_open, {Stage.READY: 3}), Stage.READY).dates == (date(2026, 11, 28),) * 3


def test_the_three_dates_lie_apart_where_the_days_differ(long_open: Room) -> None:
    # Nothing on five days and one sheet on five: one sheet is done with 1/2, 3/4, 7/8, 15/16, 31/32.
    tallied(long_open, OPEN[::2], Step.FILE, 1)
    when = when_of(ahead_of(long_open, {Stage.DRY: 1}), Stage.DRY)
    assert when.dates == (date(2026, 11, 26), date(2026, 11, 30), date(2026, 12, 2))
    assert when.words == "even chance by 26 Nov 2026, 95 % by 2 Dec 2026"


def test_what_it_rests_on_is_said(long_open: Room) -> None:
    tallied(long_open, OPEN[:6], Step.MOUNT, 3)
    tallied(long_open, OPEN[6:7], Step.MOUNT, 5)
    found = ahead_of(long_open, {Stage.READY: 4})
    assert found.rests_on == "the last 10 open days, 11 Nov to 24 Nov"
    stage = stage_in(found, Stage.READY)
    assert stage.rests_on == "the last 10 open days, 11 Nov to 24 Nov, 2.3 sheets a day on average, 3 days without any"
    assert (stage.mean, stage.idle) == (pytest.approx(2.3), 3)


def test_days_of_last_year_are_said_with_their_year(long_open: Room) -> None:
    long_open.wait(days=45)  # 9 January 2027
    tallied(long_open, [date(2026, 12, 28)], Step.MOUNT, 3)
    assert ahead_of(long_open).rests_on == "the last 10 open days, 28 Dec 2026 to 8 Jan"


def test_with_too_few_days_nothing_is_said_but_that(room: Room) -> None:
    room.sheet_ready()
    room.wait(days=7)
    room.sheet_ready()
    found = ahead_of(room)
    words = "too few days to say: 5 of 10 open days are on record"
    assert when_of(found, Stage.READY) == StageForecast("ready-for-mounting", 2, None, words)
    assert (found.too_few, found.holds_back, found.holds_back_words, found.one_more) == (words, "", "", None)
    assert stage_in(found, Stage.READY).rests_on == ""
    assert when_of(found, Stage.DRY).words == "nothing waits"
    rule(room, "forecast_least_days", 5)
    assert when_of(ahead_of(room), Stage.READY).words == "nothing has left here on the last 5 open days"


def test_what_is_held_or_withdrawn_is_not_counted(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 1)
    long_open.sheet_ready(label=False)
    assert when_of(ahead_of(long_open), Stage.READY).words == "none may go on now"
    gone = [long_open.sheet_ready() for _ in range(3)][0]
    assert when_of(ahead_of(long_open), Stage.READY).backlog == 3
    long_open.scans(gone, step=Step.WITHDRAW, who="hedda", manages=True, reason="sent in exchange")
    stage = stage_in(ahead_of(long_open), Stage.READY)
    assert (stage.waits, stage.when.backlog, stage.when.dates) == (3, 2, (date(2026, 11, 27),) * 3)


def test_the_stage_that_is_done_last_holds_the_others_back(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    tallied(long_open, OPEN, Step.PASS_AS_DRY, 4)
    tallied(long_open, OPEN, Step.FILE, 1)
    found = ahead_of(long_open, {Stage.READY: 8, Stage.DRYING: 12, Stage.DRY: 1})
    assert found.holds_back == Stage.READY
    # Passed as dry are four a day, mounted are two.
    assert found.holds_back_words == (
        "Ready for mounting holds the others back: its 8 sheets are done last, with an even chance by 1 Dec 2026. "
        "It grows: 4.0 sheets a day come in, 2.0 go out."
    )
    assert (
        ahead_of(long_open, {Stage.DRYING: 12, Stage.DRY: 3}).holds_back == Stage.DRYING
    )  # of two the first in the work
    one = ahead_of(long_open, {Stage.DRY: 1}).holds_back_words
    assert one == "Dry holds the others back: its 1 sheet is done last, with an even chance by 26 Nov 2026."


def test_a_stage_that_nobody_works_at_is_the_last_of_all(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    found = ahead_of(long_open, {Stage.READY: 9000, Stage.DRY: 1})
    assert found.holds_back == Stage.READY  # beyond ten years, and before the other in the work
    assert when_of(found, Stage.READY).words == "more than ten years at this pace"
    assert "9,000 sheets are done last, not within ten years at this pace." in found.holds_back_words
    assert when_of(found, Stage.DRY).dates == (None, None, None)
    found = ahead_of(long_open, {Stage.READY: 100, Stage.DRY: 1})
    assert found.holds_back == Stage.DRY


def test_what_goes_back_has_gone_too(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.TAKE_OUT, 3)
    tallied(long_open, OPEN, Step.FILE, 2)
    assert stage_in(ahead_of(long_open), Stage.DRY).growing == "It grows: 3.0 sheets a day come in, 2.0 go out."
    tallied(long_open, OPEN, Step.RE_GLUE, 1)
    assert stage_in(ahead_of(long_open), Stage.DRY).growing == ""


def test_one_more_worker_brings_the_dates_forward(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    # Two a day are twenty after ten days; with two more on the fifth day twenty after nine (18 + 2).
    more = ahead_of(long_open, {Stage.READY: 20}).one_more
    assert more is not None and more.slug == Stage.READY
    assert (more.today, more.dates) == ((date(2026, 12, 9),) * 3, (date(2026, 12, 8),) * 3)
    assert more.words == "One worker did 2.0 sheets a day here on average, on 10 days of single workers."


def test_one_more_worker_is_reckoned_with_where_it_is_asked(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    tallied(long_open, OPEN[:9], Step.FILE, 40)
    backlogs = {Stage.READY: 20, Stage.DRY: 30}
    more = ahead_of(long_open, backlogs, Stage.DRY).one_more
    assert more is not None and (more.slug, more.dates) == (Stage.DRY, None)
    assert more.words == "Too few days of single workers to say: 9 of 10 are on record."
    assert ahead_of(long_open, backlogs, Stage.DRYING).one_more is None


def test_the_lines_for_the_board_say_the_same(long_open: Room) -> None:
    tallied(long_open, OPEN[::2], Step.MOUNT, 2)
    long_open.sheet_ready()
    with reading(long_open.database) as session:
        lines = forecast_lines(session, judge(session, long_open.now, long_open.zone), board_of(long_open).stages)
    assert lines == tuple(stage.when for stage in ahead_of(long_open).stages)
    assert [line.slug for line in lines] == [stage.value for stage in Stage if stage is not Stage.FILED]


def test_looking_ahead_goes_through_no_log_and_no_collection(long_open: Room) -> None:
    tallied(long_open, OPEN, Step.MOUNT, 2)
    stages = stages_of(long_open, {Stage.READY: 20})
    lines = plans_of(
        long_open.database,
        lambda session: forecast(session, judge(session, long_open.now, long_open.zone), stages),
    )
    assert lines and full_scans(lines, "sheet", "entry", "tally_day") == []
