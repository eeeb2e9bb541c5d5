"""One day of the demo room in the making: its date, its crew, its sheets, and the dice that make days differ."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from app.domain.calendar import Calendar, local_day
from app.domain.house import House
from seed_demo.hands import Hands, Work
from seed_demo.people import Crew, crew_of
from seed_demo.sheets import Shelves

DAYS = 70
# What is left lying on the last day is left by this hour, so that by the next one it has lain too long.
LAST_LEFT = time(11, 10)
NEWCOMER_CAME = -22


@dataclass(slots=True)
class Life:
    """The room on one day. `day` counts open days: 0 is the last that is well under way, -1 the one before, and so on."""

    hands: Hands
    shelves: Shelves
    zone: ZoneInfo
    dates: dict[int, date]
    small: bool = False
    day: int = 0
    dice: Random = field(default_factory=lambda: Random("Quillmoor"))
    sheets_today: tuple[int, int, int, int] = (0, 0, 0, 0)
    doubted: int = 0
    filling: dict[str, str] = field(default_factory=dict)
    records: dict[str, int] = field(default_factory=dict)
    consignments: dict[str, int] = field(default_factory=dict)

    @property
    def date(self) -> date:
        """The date of this day."""
        return self.dates[self.day]

    @property
    def crew(self) -> Crew:
        """Who works on this day."""
        return crew_of(self.date, self.day >= NEWCOMER_CAME)

    @property
    def moment(self) -> datetime:
        """This moment."""
        return self.hands.moment

    def at(self, hour: int, minute: int, second: int = 0) -> datetime:
        """A time of this day, by the clock on the wall."""
        return datetime.combine(self.date, time(hour, minute, second), self.zone).astimezone(UTC)

    def plans(self, hour: int, minute: int, work: Work) -> None:
        """A piece of work of this day begins at this time."""
        self.hands.begin(self.at(hour, minute), work)

    def size(self, full: int, small: int) -> int:
        """How many: in the whole room, and in the small one for tests."""
        return small if self.small else full

    def between(self, low: int, high: int) -> int:
        """Some number of seconds, or whatever is counted, from low to high."""
        return self.dice.randint(low, high)


def days_until(now: datetime, zone: ZoneInfo) -> dict[int, date]:
    """The open days of the story: 0 is the last one that was under way by mid-morning, 1 the one that just began."""
    calendar = Calendar(zone, House().open_weekdays)
    today = local_day(now, zone)
    underway = datetime.combine(today, LAST_LEFT, zone).astimezone(UTC) <= now
    last = today if underway and calendar.is_open(today) else _open_before(calendar, today)
    dates = {0: last}
    for number in range(-1, -DAYS, -1):
        dates[number] = _open_before(calendar, dates[number + 1])
    if last != today and calendar.is_open(today):
        dates[1] = today
    return dict(sorted(dates.items()))


def _open_before(calendar: Calendar, day: date) -> date:
    day -= timedelta(days=1)
    while not calendar.is_open(day):
        day -= timedelta(days=1)
    return day
