"""How long a sheet may wait: the numbers are the house's own defaults; that they are such is common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.calendar import Calendar
from app.domain.house import House
from app.domain.limits import limit_of, limit_words, thirds, waits_for, waits_since
from app.domain.stages import Stage
from app.domain.stalls import Limit

HOUSE = House()
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
WEEK = Calendar(ZoneInfo("Europe/London"), frozenset(range(5)))


@pytest.mark.parametrize(
    ("stage", "facts", "limit"),
    [
        (Stage.INTAKE, {"fresh": True}, Limit(hours=24)),
        (Stage.INTAKE, {}, Limit(open_days=10)),
        (Stage.DRYING, {"method": "heated"}, Limit(hours=48)),
        (Stage.DRYING, {"method": "unheated"}, Limit(hours=24)),
        (Stage.DRYING, {}, Limit(hours=24)),
        (Stage.READY, {}, Limit(open_days=60)),
        (Stage.MOUNTED, {}, Limit(hours=1)),
        (Stage.UNDER_PRESS, {}, Limit(open_days=2)),
        (Stage.DRY, {}, Limit(open_days=5)),
        (Stage.DRY, {"outcome": "mended-here"}, Limit(open_days=5)),
        (Stage.DRY, {"outcome": "to-be-mended"}, Limit(open_days=10)),
        (Stage.DRY, {"outcome": "passed"}, Limit(open_days=5)),
        (Stage.FILED, {}, None),
    ],
)
def test_each_stage_has_the_limit_that_the_house_gives_it(
    stage: Stage, facts: dict[str, object], limit: Limit | None
) -> None:
    assert limit_of(stage, HOUSE, **facts) == limit  # type: ignore[arg-type]


@pytest.mark.parametrize("stage", [Stage.INTAKE, Stage.READY, Stage.DRY])
def test_a_cabinet_with_a_limit_of_its_own_wins_over_the_stage(stage: Stage) -> None:
    assert limit_of(stage, HOUSE, cabinet_days=3) == Limit(open_days=3)


def test_no_cabinet_lets_fresh_plants_or_wet_glue_wait_longer() -> None:
    assert limit_of(Stage.INTAKE, HOUSE, fresh=True, cabinet_days=90) == Limit(hours=24)
    assert limit_of(Stage.DRYING, HOUSE, cabinet_days=90) == Limit(hours=24)
    assert limit_of(Stage.MOUNTED, HOUSE, cabinet_days=90) == Limit(hours=1)


def test_a_changed_house_rule_changes_the_limit() -> None:
    assert limit_of(Stage.MOUNTED, House(limit_mounted_h=3)) == Limit(hours=3)
    assert limit_of(Stage.DRY, House(limit_mend_days=20), outcome="to-be-mended") == Limit(open_days=20)


def test_a_dry_sheet_waits_for_what_its_inspection_left_to_do() -> None:
    assert [waits_for(each) for each in (None, "mended-here", "to-be-mended", "passed")] == [
        "to inspect", "to inspect", "to mend", "to file",
    ]  # fmt: skip


def test_the_wait_of_a_passed_sheet_begins_when_it_was_passed() -> None:
    came, passed = NOW - timedelta(days=4), NOW - timedelta(days=1)
    assert waits_since(Stage.DRY, came, inspected_at=passed) == passed
    assert waits_since(Stage.DRY, came) == came


def test_an_inspection_of_an_earlier_gluing_does_not_begin_the_wait() -> None:
    assert waits_since(Stage.DRY, NOW, inspected_at=NOW - timedelta(days=9)) == NOW


def test_papers_begin_the_wait_of_a_drying_sheet_anew() -> None:
    came, papers = NOW - timedelta(days=4), NOW - timedelta(hours=3)
    assert waits_since(Stage.DRYING, came, papers_at=papers) == papers
    assert waits_since(Stage.DRYING, came) == came


def test_under_press_nothing_waits_before_it_is_ready() -> None:
    assert waits_since(Stage.UNDER_PRESS, NOW, ready_at=None) is None
    assert waits_since(Stage.UNDER_PRESS, NOW, ready_at=NOW) == NOW


def test_thirds_of_an_hours_limit_are_hours_of_the_clock() -> None:
    assert thirds(Limit(hours=24), NOW, WEEK) == (
        NOW - timedelta(hours=8),
        NOW - timedelta(hours=16),
        NOW - timedelta(hours=24),
    )


def test_thirds_of_an_open_days_limit_leave_the_weekend_out() -> None:
    # Counted by hand on a calendar, back from Wednesday 25 November at 9:00; 21 and 22 November are a weekend.
    monday, thursday, tuesday = (datetime(2026, 11, day, 9, tzinfo=UTC) for day in (23, 19, 17))
    assert thirds(Limit(open_days=6), NOW, WEEK) == (monday, thursday, tuesday)


def test_a_limit_is_said_in_its_own_unit() -> None:
    said = [limit_words(each) for each in (Limit(hours=1), Limit(hours=24), Limit(hours=48), Limit(open_days=60), None)]
    assert said == ["1 hour", "24 hours", "2 days", "60 open days", ""]
