"""A worker's own weeks: what they did and how long they were here, held against their own weeks and nobody else's."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import delete, insert

from app.db.engine import reading, transaction
from app.db.models import Attendance, HoursSum, TallyDay, table_of
from app.queries.own_weeks import OwnLine, OwnWeeks, own_weeks
from tests.room import WEDNESDAY, Room

MONDAY = date(2026, 11, 23)


@pytest.fixture
def quiet(room: Room) -> Room:
    """A room in which nobody was signed in yet."""
    with transaction(room.database) as session:
        session.execute(delete(table_of(Attendance)))
    return room


def did(room: Room, who: str, weeks_ago: int, sheets: float, step: str = "mount", day: int = 0) -> None:
    values = {"day": MONDAY - timedelta(weeks=weeks_ago) + timedelta(days=day), "worker_id": room.worker[who], "step": step,
              "sheets": 1, "credit_60": round(sheets * 60)}  # fmt: skip
    with transaction(room.database) as session:
        session.execute(insert(table_of(TallyDay)), values)


def was_here(room: Room, who: str, start: datetime, hours: float, beside: str = "") -> None:
    values = {"worker_id": room.worker[who], "station_id": room.station["table-1"], "signed_in_at": start,
              "signed_out_at": start + timedelta(hours=hours), "how": "badge",
              "beside_id": room.worker[beside] if beside else None}  # fmt: skip
    with transaction(room.database) as session:
        session.execute(insert(table_of(Attendance)), values)


def weeks_of(room: Room, who: str = "olwen", now: datetime | None = None) -> OwnWeeks:
    with reading(room.database) as session:
        return own_weeks(session, room.worker[who], now or room.now, room.zone)


def line_of(found: OwnWeeks, what: str) -> OwnLine:
    return next(line for line in (*found.steps, *found.hours) if line.what == what)


def test_sheets_are_told_by_step_and_week_in_whole_sheets_and_fractions(quiet: Room) -> None:
    did(quiet, "olwen", 0, 2.5)
    did(quiet, "olwen", 3, 1 / 3, day=1)
    did(quiet, "olwen", 3, 4, day=6)
    did(quiet, "olwen", 25, 7)
    did(quiet, "olwen", 26, 99)  # before the 26 weeks
    did(quiet, "olwen", 3, 6, step="take-up")
    did(quiet, "piet", 3, 50)
    found = weeks_of(quiet)
    assert [line.what for line in found.steps] == ["taken up", "mounted"]
    mounted = line_of(found, "mounted").values
    assert [(place, value) for place, value in enumerate(mounted) if value is not None] == [
        (0, Fraction(7)), (22, Fraction(13, 3)), (25, Fraction(5, 2))]  # fmt: skip
    assert found.here == 3 and len(found.weeks) == 26 and found.weeks[-1].name == "2026-W48"


def test_a_week_away_is_no_week_of_nothing(quiet: Room) -> None:
    # Seven full weeks of 10, each second week away, and one of nothing in which they were here all the same.
    for ago in range(2, 16, 2):
        did(quiet, "olwen", ago, 10)
    chart = line_of(weeks_of(quiet), "mounted").chart
    assert (chart.mean, chart.low, chart.high, chart.weeks) == (10, 10, 10, 7)
    was_here(quiet, "olwen", datetime(2026, 11, 17, 9, tzinfo=UTC), 2)  # last week: here, and mounted nothing
    chart = line_of(weeks_of(quiet), "mounted").chart
    assert (chart.mean, chart.weeks) == (70 / 8, 8)


def test_mean_and_limits_are_those_of_the_published_chart_of_individuals(quiet: Room) -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten flow rates; mean 50.81, limits 45.8159 and 55.8041
    # (from moving ranges with a mean of 1.8778). Here as tenths of a sheet, rounded to sixtieths of a sheet.
    rates = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
    for ago, rate in enumerate(reversed(rates), 1):
        did(quiet, "olwen", ago, rate)
    line = line_of(weeks_of(quiet), "mounted")
    assert line.chart.mean == pytest.approx(50.81) and line.chart.weeks == 10
    assert line.chart.low == pytest.approx(45.8159, abs=5e-4) and line.chart.high == pytest.approx(55.8041, abs=5e-4)
    assert line.beyond == ()


def test_a_week_outside_their_own_limits_is_named_and_the_running_one_never_as_too_little(quiet: Room) -> None:
    for ago in range(1, 13):
        did(quiet, "olwen", ago, 30 if ago == 5 else 10 + ago % 2)
    did(quiet, "olwen", 0, 1)
    assert line_of(weeks_of(quiet), "mounted").beyond == ((20, "more"),)
    did(quiet, "olwen", 0, 60, day=1)
    assert line_of(weeks_of(quiet), "mounted").beyond == ((20, "more"), (25, "more"))


def test_with_too_few_weeks_nothing_is_said_of_what_is_usual(quiet: Room) -> None:
    for ago in range(1, 6):
        did(quiet, "olwen", ago, 10 * ago)
    line = line_of(weeks_of(quiet), "mounted")
    assert line.chart.mean is None and line.beyond == () and "5 weeks to compare with" in line.chart.words


def test_what_is_done_now_and_then_has_no_usual_week(quiet: Room) -> None:
    for ago in range(1, 21):
        did(quiet, "olwen", ago, 10)
    for ago in (0, 3, 9):
        did(quiet, "olwen", ago, 1, step="put-hold")
    line = line_of(weeks_of(quiet), "held")
    assert line.chart.mean is None and line.beyond == () and "2 weeks to compare with" in line.chart.words
    assert line_of(weeks_of(quiet), "mounted").chart.weeks == 20


def test_hours_are_told_apart_and_clipped_to_now(quiet: Room) -> None:
    was_here(quiet, "rosamund", datetime(2026, 11, 17, 9, tzinfo=UTC), 4)
    was_here(quiet, "olwen", datetime(2026, 11, 17, 10, tzinfo=UTC), 2, beside="rosamund")
    was_here(quiet, "olwen", datetime(2026, 11, 25, 8, tzinfo=UTC), 5)  # until after now, 9:00
    found = weeks_of(quiet)
    assert {line.what: line.values[-2:] for line in found.hours} == {
        "all hours": (2, 1), "own work": (0, 1), "learning": (2, 0)}  # fmt: skip
    assert {line.what: line.values[-2:] for line in weeks_of(quiet, "rosamund").hours} == {
        "all hours": (4, None), "own work": (2, None), "teaching": (2, None)}  # fmt: skip
    assert found.hours_kept_since is None


def test_what_is_no_longer_kept_by_person_is_said(quiet: Room) -> None:
    was_here(quiet, "olwen", datetime(2026, 11, 17, 9, tzinfo=UTC), 2)
    with transaction(quiet.database) as session:
        session.execute(insert(HoursSum), {"month": "2025-10", "station_id": quiet.station["table-1"], "seconds": 7200})
    assert weeks_of(quiet).hours_kept_since == datetime(2026, 11, 17, 9, tzinfo=UTC)


def test_somebody_who_did_nothing_has_no_lines(quiet: Room) -> None:
    found = weeks_of(quiet, "ines")
    assert (found.steps, found.hours, found.here) == ((), (), 0)


def test_real_work_is_told_and_nobody_else_is_in_it(room: Room) -> None:
    room.sheet_mounted("table-1")
    room.sheet_mounted("table-2")
    room.wait(hours=2)
    found = weeks_of(room)
    assert line_of(found, "mounted").values[-1] == 1 and line_of(found, "taken up").values[-1] == 1
    alone = repr(found)
    for _ in range(5):
        room.sheet_mounted("table-2")
    assert repr(weeks_of(room)) == alone
    assert not any(name in alone for name in ("Piet", "Olwen", "Hedda", "Rosamund"))
    assert room.now > WEDNESDAY
