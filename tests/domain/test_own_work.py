"""One's own work is passed on a later day, where the house has it so."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.attempt import Attempt, WorkerFacts
from app.domain.calendar import Calendar
from app.domain.house import House
from app.domain.moves import refusals
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step

LONDON = Calendar(ZoneInfo("Europe/London"), frozenset(range(5)))
OLWEN = WorkerFacts(2, "W02", "Olwen Tarrant", frozenset({"volunteer"}))
PIET = WorkerFacts(3, "W03", "Piet Lindqvist", frozenset({"volunteer"}))
ALONE = House(not_own_work=False, own_work_next_day=True)
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
YESTERDAY = NOON - timedelta(days=1)


def inspection(at: datetime = NOON, house: House = ALONE, **sheet: object) -> Attempt:
    stands = Standing(
        stage=Stage.DRY, came_at=YESTERDAY, last_at=YESTERDAY, glued_at=YESTERDAY, mounted_by=(OLWEN.worker_id,)
    )
    return Attempt(replace(stands, **sheet), Step.INSPECT, at, house, LONDON, by=(OLWEN,), facts={"outcome": "passed"})  # type: ignore[arg-type]


def codes(attempt: Attempt) -> list[tuple[str, str]]:
    return [(refusal.code, refusal.answer) for refusal in refusals(attempt)]


WAITS = [("own-work", "not-yet")]


# Europe/London lies at UTC in winter and an hour ahead of it in summer: midnight there is 23:00 UTC on 1 July.
@pytest.mark.parametrize(
    ("glued", "looked_at", "found"),
    [
        (datetime(2026, 11, 25, 0, 0, tzinfo=UTC), datetime(2026, 11, 25, 23, 59, tzinfo=UTC), WAITS),
        (datetime(2026, 11, 25, 23, 59, tzinfo=UTC), datetime(2026, 11, 26, 0, 0, tzinfo=UTC), []),
        (datetime(2026, 7, 1, 9, 0, tzinfo=UTC), datetime(2026, 7, 1, 22, 59, tzinfo=UTC), WAITS),
        (datetime(2026, 7, 1, 9, 0, tzinfo=UTC), datetime(2026, 7, 1, 23, 0, tzinfo=UTC), []),
    ],
)
def test_the_later_day_begins_at_midnight_in_the_room(
    glued: datetime, looked_at: datetime, found: list[tuple[str, str]]
) -> None:
    assert codes(inspection(looked_at, glued_at=glued, last_at=glued)) == found


@pytest.mark.parametrize(
    ("house", "found"),
    [
        (House(not_own_work=False), []),
        (ALONE, WAITS),
        (House(), [("own-work", "stop")]),
        # Where nobody passes their own work at all, a later day does not help, and it is said once.
        (House(own_work_next_day=True), [("own-work", "stop")]),
    ],
)
def test_the_two_rules_about_own_work_go_together(house: House, found: list[tuple[str, str]]) -> None:
    assert codes(inspection(house=house, glued_at=NOON - timedelta(hours=2))) == found


def test_somebody_elses_work_and_what_is_not_passed_do_not_wait() -> None:
    today = inspection(glued_at=NOON - timedelta(hours=2))
    assert codes(today) == WAITS
    assert codes(replace(today, by=(PIET,))) == []
    assert codes(replace(today, by=(PIET, OLWEN))) == WAITS
    assert codes(replace(today, facts={"outcome": "to-be-mended"})) == []


def test_it_is_the_gluing_that_counts_and_not_what_was_scanned_today() -> None:
    # Taken out of the press this morning: the hands were on it yesterday.
    assert codes(inspection(last_at=NOON - timedelta(hours=1))) == []


def test_a_sheet_mended_here_today_without_glue_waits_for_whoever_mended_it() -> None:
    mended = {"outcome": "mended-here", "last_at": NOON - timedelta(hours=1)}
    assert codes(inspection(**mended, mended_by=(OLWEN.worker_id,))) == WAITS
    assert codes(inspection(**mended, mended_by=(PIET.worker_id,))) == []
    assert codes(inspection(NOON + timedelta(days=1), **mended, mended_by=(OLWEN.worker_id,))) == []


def test_a_sheet_glued_again_yesterday_by_somebody_may_be_passed_by_them_today() -> None:
    assert codes(inspection(mended_by=(OLWEN.worker_id,), mounted_by=(), last_at=NOON - timedelta(hours=1))) == []
