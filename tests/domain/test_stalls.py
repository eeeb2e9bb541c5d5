"""Stalled: the question for one sheet and the cutoff for many choose alike, on both sides of every limit."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.calendar import BEGINNING, Calendar
from app.domain.stalls import Limit, cutoff, is_stalled, stalls_at

LONDON, LORD_HOWE = ZoneInfo("Europe/London"), ZoneInfo("Australia/Lord_Howe")
WEEKDAYS, EVERY_DAY = frozenset(range(5)), frozenset(range(7))
CHRISTMAS = frozenset({date(2026, 12, 25), date(2026, 12, 28)})
ROOM = Calendar(LONDON, WEEKDAYS, closed=CHRISTMAS)
SEVEN_DAYS = Calendar(LONDON, EVERY_DAY)
ISLAND = Calendar(LORD_HOWE, EVERY_DAY)
SECOND, TICK = timedelta(seconds=1), timedelta(microseconds=1)

A_DAY, TWO_DAYS, FIVE_DAYS = Limit(open_days=1), Limit(open_days=2), Limit(open_days=5)
HOUR, DAY_AND_NIGHT = Limit(hours=1), Limit(hours=24)

# Since when, and the last moment that is not yet stalled, both on the room's wall (+ and - fold: 1 in the second hour).
EDGES = [
    ("an hour", ROOM, HOUR, "2026-11-25T16:30", "2026-11-25T17:30"),
    ("24 h over a closed Saturday", ROOM, DAY_AND_NIGHT, "2026-11-27T16:00", "2026-11-28T16:00"),
    ("24 h when the clocks go forward", ROOM, DAY_AND_NIGHT, "2026-03-28T12:00", "2026-03-29T13:00"),
    ("24 h when the clocks go back", ROOM, DAY_AND_NIGHT, "2026-10-24T12:00", "2026-10-25T11:00"),
    ("24 h when the island goes back", ISLAND, DAY_AND_NIGHT, "2026-04-04T12:00", "2026-04-05T11:30"),
    ("24 h when the island goes forward", ISLAND, DAY_AND_NIGHT, "2026-10-03T12:00", "2026-10-04T12:30"),
    ("two open days", ROOM, TWO_DAYS, "2026-11-23T10:00", "2026-11-25T10:00"),
    ("an open day over a weekend", ROOM, A_DAY, "2026-11-27T10:00", "2026-11-30T10:00"),
    ("five open days over a weekend", ROOM, FIVE_DAYS, "2026-11-25T10:00", "2026-12-02T10:00"),
    ("two open days over Christmas", ROOM, TWO_DAYS, "2026-12-24T10:00", "2026-12-30T10:00"),
    ("laid there on a closed Saturday", ROOM, TWO_DAYS, "2026-11-28T10:00", "2026-12-02T00:00"),
    ("an open day from a Friday's midnight", ROOM, A_DAY, "2026-11-27T00:00", "2026-11-30T00:00"),
    ("an open day over a closed change", ROOM, A_DAY, "2026-10-23T12:00", "2026-10-26T12:00"),
    # half a Saturday, then half of a Sunday of 23 h (11:30 after midnight: 12:30), of 25 h (12:30: 11:30)
    ("an open day when the clocks go forward", SEVEN_DAYS, A_DAY, "2026-03-28T12:00", "2026-03-29T12:30"),
    ("an open day when the clocks go back", SEVEN_DAYS, A_DAY, "2026-10-24T12:00", "2026-10-25T11:30"),
    # half of a day of 24.5 h is 12:15 (11:45 on the wall), of 23.5 h 11:45 (12:15)
    ("an open day when the island goes back", ISLAND, A_DAY, "2026-04-04T12:00", "2026-04-05T11:45"),
    ("an open day when the island goes forward", ISLAND, A_DAY, "2026-10-03T12:00", "2026-10-04T12:15"),
    ("no open day at all", ROOM, Limit(open_days=0), "2026-11-25T10:00", "2026-11-25T10:00"),
]


def at(wall: str, cal: Calendar) -> datetime:
    return datetime.fromisoformat(wall).replace(tzinfo=cal.zone).astimezone(UTC)


@pytest.mark.parametrize(("cal", "limit", "since", "last"), [edge[1:] for edge in EDGES], ids=[e[0] for e in EDGES])
def test_stalled_begins_just_after_the_limit(cal: Calendar, limit: Limit, since: str, last: str) -> None:
    came, edge = at(since, cal), at(last, cal)
    for away, stalled in ((-SECOND, False), (-TICK, False), (0 * TICK, False), (TICK, True), (SECOND, True)):
        assert is_stalled(limit, came, edge + away, cal) is stalled
        assert (came < cutoff(limit, edge + away, cal)) is stalled
    assert stalls_at(limit, came, cal) == edge


@pytest.mark.parametrize(("cal", "limit", "since", "last"), [edge[1:] for edge in EDGES], ids=[e[0] for e in EDGES])
def test_what_came_just_before_the_cutoff_is_stalled(cal: Calendar, limit: Limit, since: str, last: str) -> None:
    now = at(last, cal)
    edge = cutoff(limit, now, cal)
    for away, stalled in ((-SECOND, True), (-TICK, True), (0 * TICK, False), (TICK, False), (SECOND, False)):
        assert is_stalled(limit, edge + away, now, cal) is stalled


def test_what_came_on_friday_night_is_cut_off_with_what_came_at_the_weekend() -> None:
    monday_noon = at("2026-11-30T12:00", ROOM)
    assert cutoff(A_DAY, monday_noon, ROOM) == at("2026-11-27T12:00", ROOM)
    saturday = at("2026-11-28T00:00", ROOM)
    for now in ("2026-11-29T18:00", "2026-11-30T00:00"):  # no open time has passed since Friday's end
        assert cutoff(Limit(open_days=0), at(now, ROOM), ROOM) == saturday


def test_the_hour_that_comes_twice_counts_twice() -> None:
    first, second = (datetime(2026, 10, 25, 1, 30, fold=fold, tzinfo=LONDON) for fold in (0, 1))
    assert not is_stalled(HOUR, first, second, ROOM)
    assert is_stalled(HOUR, first, second.astimezone(UTC) + TICK, ROOM)
    assert cutoff(HOUR, second, ROOM) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert stalls_at(HOUR, first, ROOM) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_the_wall_clock_of_the_room_does_not_shorten_a_night() -> None:
    since, now = datetime(2026, 3, 28, 12, tzinfo=LONDON), datetime(2026, 3, 29, 12, 30, tzinfo=LONDON)
    assert now - since > timedelta(hours=24)  # the trap: one zone, wall time
    assert not is_stalled(DAY_AND_NIGHT, since, now, ROOM)


def test_what_comes_only_later_is_not_stalled() -> None:
    now = at("2026-11-25T10:00", ROOM)
    for limit in (A_DAY, HOUR, Limit(hours=0), Limit(open_days=0)):
        assert not is_stalled(limit, now + timedelta(days=9), now, ROOM)


def test_in_a_room_that_never_opens_nothing_stalls_by_open_days() -> None:
    closed, now = Calendar(LONDON, frozenset()), at("2026-11-25T10:00", ROOM)
    assert not is_stalled(A_DAY, now - timedelta(days=20_000), now, closed)
    assert cutoff(A_DAY, now, closed) == BEGINNING
    assert stalls_at(A_DAY, now, closed) is None


@pytest.mark.parametrize("limit", [Limit(hours=100_000_000), Limit(open_days=100_000_000)])
def test_a_limit_longer_than_any_time_never_stalls(limit: Limit) -> None:
    now = at("2026-11-25T10:00", ROOM)
    assert cutoff(limit, now, ROOM) == BEGINNING
    assert stalls_at(limit, now, ROOM) is None
    assert not is_stalled(limit, BEGINNING, now, ROOM)


@pytest.mark.parametrize("given_limits", [{}, {"hours": 1, "open_days": 1}])
def test_a_limit_is_given_exactly_once(given_limits: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="Give exactly one of them"):
        Limit(**given_limits)


@pytest.mark.parametrize("given_limits", [{"hours": -1}, {"open_days": -1}])
def test_a_limit_is_not_below_nothing(given_limits: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="A limit of -1 is below nothing. Give 0 or more."):
        Limit(**given_limits)


@pytest.mark.parametrize("limit", [A_DAY, HOUR])
def test_a_moment_without_a_zone_is_refused(limit: Limit) -> None:
    aware = datetime(2026, 11, 25, 9, tzinfo=UTC)
    naive = aware.replace(tzinfo=None)
    for ask in (
        lambda: is_stalled(limit, naive, aware, ROOM),
        lambda: is_stalled(limit, aware, naive, ROOM),
        lambda: cutoff(limit, naive, ROOM),
        lambda: stalls_at(limit, naive, ROOM),
    ):
        with pytest.raises(ValueError, match="has no time zone"):
            ask()


calendars = st.builds(
    Calendar,
    st.sampled_from(["Europe/London", "Australia/Lord_Howe", "America/Santiago", "Pacific/Apia"]).map(ZoneInfo),
    st.frozensets(st.integers(0, 6)),
    st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=60),
    st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=10),
)
limits = st.one_of(st.builds(Limit, hours=st.integers(0, 3000)), st.builds(Limit, open_days=st.integers(0, 90)))
moments = st.one_of(
    st.timedeltas(timedelta(0), timedelta(days=400)).map(lambda later: datetime(2026, 1, 1, tzinfo=UTC) + later),
    st.timedeltas(timedelta(0), timedelta(days=56_000)).map(lambda later: datetime(1946, 1, 1, tzinfo=UTC) + later),
)


@settings(deadline=None)
@given(calendars, limits, moments, moments)
def test_question_and_cutoff_choose_alike(cal: Calendar, limit: Limit, since: datetime, now: datetime) -> None:
    assert is_stalled(limit, since, now, cal) == (since < cutoff(limit, now, cal))
    last = stalls_at(limit, since, cal)
    assert is_stalled(limit, since, now, cal) == (last is not None and now > last)


@settings(deadline=None)
@given(calendars, limits, moments, st.sampled_from([-SECOND, -TICK, 0 * TICK, TICK, SECOND]))
def test_question_and_cutoff_choose_alike_at_the_edge(
    cal: Calendar, limit: Limit, now: datetime, away: timedelta
) -> None:
    edge = cutoff(limit, now, cal)
    since = edge if edge == BEGINNING else edge + away
    assert is_stalled(limit, since, now, cal) == (since < edge)
