"""One day in the room: when it ends, when the room opens again, and what falls due until then."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from app.domain.calendar import DAY, DAYS_LOOKED_AHEAD, LAST, Calendar, day_bounds, local_day, next_open
from app.domain.drying import papers_due as papers_due_at
from app.domain.drying import usual_from
from app.domain.freezing import CHILLS, WARMS
from app.domain.holds import stopping
from app.domain.house import House
from app.domain.language import say
from app.domain.stages import Step
from app.domain.words import NO_YEAR_WITHIN_DAYS, date_said, weekday_said

Tell = Callable[[datetime], str]
FIRST_IN_ORDER = 3


class Kind(StrEnum):
    """What a closing or a morning may name."""

    BARE = "bare"
    GLUED = "glued"
    TABLE = "table"
    PAPERS = "papers"
    KEPT = "kept"
    LOAD_OUT = "load-out"
    LOAD_OPEN = "load-open"
    LOAD_BACK = "load-back"
    SIGNED_IN = "signed-in"
    SILENT = "silent"
    PRESS = "press"
    FEEL = "feel"
    WANTED = "wanted"
    ORDER = "order"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to name: how many sheets (or people) it is about, and since or from when; `later` counts those of a
    stack that may come out only later today, the last of them `at`.
    """

    kind: Kind
    name: str
    count: int = 1
    at: datetime | None = None
    later: int = 0


@dataclass(frozen=True, slots=True)
class Day:
    """The local day of one moment, from `begins` to `ends` (UTC, its midnights).

    `last_open` and `opens_on` are the open dates before and after it, None where the calendar has none within 400 days;
    `opens_at` is when that date begins, and the end of all time where there is none.
    """

    now: datetime
    today: date
    begins: datetime
    ends: datetime
    last_open: date | None
    opens_on: date | None
    opens_at: datetime

    @property
    def closed_before(self) -> bool:
        """Whether closed days lie between this day and the last open one."""
        return self.last_open is not None and self.today - self.last_open > DAY


def day_of(now: datetime, calendar: Calendar) -> Day:
    """The day of this moment in the room. ValueError for a naive moment."""
    today = local_day(now, calendar.zone)
    begins, ends = day_bounds(today, calendar.zone)
    opens_on = next_open(calendar, today + DAY)
    opens_at = day_bounds(opens_on, calendar.zone)[0] if opens_on else LAST
    return Day(now, today, begins, ends, _last_open(calendar, today), opens_on, opens_at)


def _last_open(calendar: Calendar, today: date) -> date | None:
    before = (today - ago * DAY for ago in range(1, DAYS_LOOKED_AHEAD + 1))
    return next((day for day in before if calendar.is_open(day)), None)


def date_words(day: date, today: date) -> str:
    """A date with its weekday, "Monday 30 Nov", with its year when it is far away."""
    date_ = date_said(day, with_year=abs((day - today).days) > NO_YEAR_WITHIN_DAYS)
    return say("{weekday} {date}", weekday=weekday_said(day), date=date_)


@dataclass(frozen=True, slots=True)
class Drying:
    """Sheets that dry in one place alike: by which method, since when between these papers, and when they were pressed."""

    place: str
    count: int
    method: str | None
    papers_at: datetime
    pressed_at: datetime | None


def place_of_drying(bundle: str | None, cabinet: str | None, shelf: str | None) -> str:
    """Where one goes to change papers: a bundle goes before the shelf that it lies on."""
    on_shelf = say("{cabinet}, shelf {shelf}", cabinet=cabinet, shelf=shelf) if shelf else cabinet
    return bundle or on_shelf or say("the dryer")


def papers_due(drying: Iterable[Drying], house: House, until: datetime) -> list[Item]:
    """The places whose papers fall due before `until`, closed days or not, the first due first; at the very moment
    they do not yet. Each counts its sheets.
    """
    return _by_place(Kind.PAPERS, drying, lambda each: papers_due_at(each.papers_at, each.method, house), until)


def may_be_felt(drying: Iterable[Drying], house: House, until: datetime) -> list[Item]:
    """The places with plants that will have dried for their method's usual time before `until`."""
    return _by_place(Kind.FEEL, drying, lambda each: _felt_at(each, house), until)


def _by_place(
    kind: Kind, drying: Iterable[Drying], due: Callable[[Drying], datetime | None], until: datetime
) -> list[Item]:
    found: dict[str, Item] = {}
    for each in drying:
        at = due(each)
        if at is not None and at < until:
            before = found.get(each.place)
            first = min(at, before.at) if before and before.at else at
            found[each.place] = Item(kind, each.place, each.count + (before.count if before else 0), first)
    return sorted(found.values(), key=_first_due)


def _first_due(item: Item) -> tuple[datetime, str]:
    return item.at or LAST, item.name


def _felt_at(each: Drying, house: House) -> datetime | None:
    return usual_from(each.pressed_at, each.method, house) if each.pressed_at is not None else None


@dataclass(frozen=True, slots=True)
class Load:
    """A freezer load: when it was put in, cold, taken out and opened, each None while it is not or nobody knows.

    `days` is how many it has to be cold, where its own rule says so; `is_told`, whether its times were folded from its log,
    so that one without a moment since when it is cold is none that may be reckoned.
    """

    name: str
    put_in_at: datetime | None
    cold_at: datetime | None
    out_at: datetime | None
    opened_at: datetime | None
    days: int | None = None
    is_told: bool = False


def loads_due(loads: Iterable[Load], house: House, until: datetime) -> list[Item]:
    """The loads that have been cold long enough, or that may be opened, before `until`, the first due first."""
    found = [item for load in loads if (item := _load_due(load, house)) is not None]
    return sorted((item for item in found if item.at and item.at < until), key=_first_due)


def _load_due(load: Load, house: House) -> Item | None:
    if load.put_in_at is None or load.opened_at is not None:
        return None
    cold_at = load.cold_at or (None if load.is_told else load.put_in_at + CHILLS)
    due = cold_at + timedelta(days=load.days or house.treat_cold_days) if cold_at else None
    if load.out_at is None:
        return Item(Kind.LOAD_OUT, load.name, at=due) if due else None
    if load.is_told and (due is None or due > load.out_at):
        return Item(Kind.LOAD_BACK, load.name, at=load.out_at)
    return Item(Kind.LOAD_OPEN, load.name, at=load.out_at + WARMS)


@dataclass(frozen=True, slots=True)
class Contact:
    """When a station was last heard from, when it last had nothing left to send, and since when a browser is enrolled."""

    station: str
    seen_at: datetime | None
    clear_at: datetime | None
    enrolled_at: datetime | None


def contacts_left(contacts: Iterable[Contact], day: Day) -> list[Item]:
    """The stations that said that they still keep scans, and those whose browser has not been heard from today."""
    found = [item for contact in contacts if (item := _contact_left(contact, day)) is not None]
    return sorted(found, key=lambda item: item.name)


def _contact_left(contact: Contact, day: Day) -> Item | None:
    seen, clear = contact.seen_at, contact.clear_at
    if seen is not None and (clear is None or clear < seen):
        return Item(Kind.KEPT, contact.station, at=seen)
    if contact.enrolled_at is None:
        return None
    since = max(moment for moment in (seen, clear, contact.enrolled_at) if moment is not None)
    return Item(Kind.SILENT, contact.station, at=since) if since < day.begins else None


def press_due(stack: str, ready: Iterable[datetime | None], day: Day) -> Item | None:
    """What may come out of a stack now and before the day ends, by when its sheets are ready (None: no clock runs)."""
    moments = [at for at in ready if at is not None]
    now, later = sum(at <= day.now for at in moments), [at for at in moments if day.now < at < day.ends]
    return Item(Kind.PRESS, stack, now, max(later, default=None), len(later)) if now or later else None


@dataclass(frozen=True, slots=True)
class Ready:
    """Sheets of one consignment that are ready for mounting and held alike; `place` is its place in the room's order."""

    consignment_id: int
    name: str
    place: int
    holds: str
    count: int


def first_in_order(ready: Iterable[Ready]) -> list[Item]:
    """The first few consignments in the room's order with sheets that no hold keeps from the table."""
    free: dict[tuple[bool, int, int], Item] = {}
    for each in ready:
        if not stopping(frozenset(each.holds.split()), Step.TAKE_UP):
            key = (each.place <= 0, each.place, each.consignment_id)
            free[key] = Item(Kind.ORDER, each.name, each.count + (free[key].count if key in free else 0))
    return [free[key] for key in sorted(free)][:FIRST_IN_ORDER]
