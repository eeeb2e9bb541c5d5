"""The room as the design describes it, in plain Python: sheets, stacks, stations and the log. Nothing of the program is used here.

Times are moments in UTC. A sheet is what its log makes of it; every entry keeps how the sheet stood before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

INTAKE, DRYING, READY, MOUNTED, UNDER_PRESS, DRY, FILED = STAGES = (
    "intake", "drying", "ready-for-mounting", "mounted", "under-press", "dry", "filed",
)  # fmt: skip
# What a station may tell of later than a minute after it was done, when the line was down.
SAFE_LATE, STILL_THERE = (
    frozenset({"take-up", "mount", "put-under-weight", "weights-on", "weights-off"}),
    timedelta(minutes=1),
)
HOURS = {"pva": 24, "paste": 48, "mc": 48, "straps": 2, None: 48}
BULKY_HOURS = 24
DOUBLE_READ, UNDO_WEIGHTS, UNDO_CARD = timedelta(seconds=20), timedelta(minutes=2), timedelta(hours=12)
QUARANTINE_STOPS = frozenset({"pass-as-dry", "take-up", "arrive-dry", "arrive-mounted", "file", "inspect", "back-to-table",
                              "bring-back", "shelve", "goes-unmounted", "put-back", "tie", "another-sheet"})  # fmt: skip
STOPS: dict[str, frozenset[str]] = {
    "label-to-come": frozenset({"take-up", "file"}), "label-query": frozenset({"take-up", "file"}),
    "number-query": frozenset({"take-up", "file"}), "name-query": frozenset({"file"}), "to-be-repaired": frozenset({"file"}),
    "against-a-rule": frozenset({"file"}), "quarantine": QUARANTINE_STOPS, "not-found": frozenset(),
}  # fmt: skip
MANAGER_LIFTS = frozenset({"label-query", "number-query", "against-a-rule", "quarantine"})
RIGHTS: dict[str, frozenset[str]] = {
    "hedda": frozenset({"manager", "trainer", "volunteer"}), "olwen": frozenset({"volunteer"}), "piet": frozenset({"volunteer"}),
    "rosamund": frozenset({"trainer", "volunteer"}), "ines": frozenset({"reader"}), "tove": frozenset({"volunteer"}),
}  # fmt: skip
NUMBERS = {"hedda": "W01", "olwen": "W02", "piet": "W03", "rosamund": "W04", "ines": "W05", "tove": "W06"}
RETIRED = frozenset({"tove"})
CABINETS = {"A1": INTAKE, "M1": READY, "D1": DRY, "F1": FILED}
CAPACITY = 8
BUNDLES = ("B1", "B2")
DONE = {
    "intake": ("take-in", "arrive-dry", "arrive-mounted", "lay-to-dry", "shelve"),
    "drying": ("lay-to-dry", "papers-changed", "pass-as-dry"), "table-1": ("take-up", "mount", "put-back", "another-sheet"),
    "table-2": ("take-up", "mount", "put-back", "another-sheet"),
    "press": ("put-under-weight", "take-out", "weights-on", "weights-off"),
    "inspection": ("inspect", "re-glue", "back-to-table"), "filing": ("file", "bring-back", "shelve"),
}  # fmt: skip
ADHESIVE_AT = {"table-1": "pva", "table-2": "pva"}
Place = tuple[str, ...] | None


@dataclass(frozen=True)
class Sheet:
    """How a sheet stands. `stays` are (stack, from, until or None), those of this gluing and of earlier ones."""

    number: str
    stage: str | None = None
    place: Place = None
    last_at: datetime | None = None
    holds: frozenset[str] = frozenset()
    bulk: str = "ordinary"
    adhesive: str | None = None
    minimum: timedelta | None = None
    glued_at: datetime | None = None
    mounted_by: frozenset[str] = frozenset()
    mended_by: frozenset[str] = frozenset()
    outcome: str | None = None
    method: str | None = None
    pressed_at: datetime | None = None
    is_closed: bool = False
    layer: int = 0
    treated_until: datetime | None = None
    stays: tuple[tuple[str, datetime, datetime | None], ...] = ()

    @property
    def stack(self) -> str | None:
        return self.place[1] if self.place is not None and self.place[0] == "stack" else None

    @property
    def bundle(self) -> str | None:
        return self.place[1] if self.place is not None and self.place[0] == "bundle" else None

    @property
    def table(self) -> str | None:
        return self.place[1] if self.place is not None and self.place[0] == "table" else None


@dataclass
class Entry:
    """One line of the log: whose, which step, who did it where and when, and how the sheet stood before."""

    subject: tuple[str, str]
    step: str
    by: frozenset[str]
    at: str | None
    scan: str
    happened_at: datetime
    recorded_at: datetime
    before: Sheet | None = None
    after: Sheet | None = None
    corrects: Entry | None = None
    stands: bool = True
    id: int = 0
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass
class Stack:
    """A stack: whether weights lie on it is folded from its log; `seen_on_at` is when they were last seen there."""

    name: str
    log: list[Entry] = field(default_factory=list)
    seen_on_at: datetime | None = None

    @property
    def turns(self) -> list[Entry]:
        """The standing entries of weights, in the order in which they happened."""
        stand = (each for each in self.log if each.stands and each.step in ("weights-on", "weights-off"))
        return sorted(stand, key=lambda each: (each.happened_at, each.id or 10**9))

    @property
    def spans(self) -> list[tuple[datetime, datetime | None]]:
        """From when until when weights lay on it."""
        found: list[tuple[datetime, datetime | None]] = []
        for turn in self.turns:
            is_on = bool(found) and found[-1][1] is None
            if turn.step == "weights-on" and not is_on:
                found.append((turn.happened_at, None))
            elif turn.step == "weights-off" and is_on:
                found[-1] = (found[-1][0], turn.happened_at)
        return found

    @property
    def is_on(self) -> bool:
        return bool(self.spans) and self.spans[-1][1] is None

    @property
    def last_at(self) -> datetime | None:
        return max((turn.happened_at for turn in self.turns), default=None)

    @property
    def turned_at(self) -> datetime | None:
        turned, state = None, ""
        for turn in self.turns:
            if turn.step != state:
                turned, state = turn.happened_at, turn.step
        return turned

    def was_on(self, at: datetime) -> bool:
        """Whether weights lay on it then."""
        if self.last_at is None or at >= self.last_at:
            return self.is_on
        return any(on <= at and (off is None or off > at) for on, off in self.spans)


@dataclass
class Station:
    """A station: who works there (and beside whom they learn), and what is in hand."""

    slug: str
    here: list[tuple[str, str | None]] = field(default_factory=list)
    came: dict[str, datetime] = field(default_factory=dict)
    gone: list[tuple[str, str | None, datetime, datetime]] = field(default_factory=list)
    seen_at: datetime | None = None
    clear_at: datetime | None = None
    pending: dict[str, Any] | None = None
    stack: str | None = None
    shelf: tuple[str, str] | None = None
    bundle: str | None = None
    check: Any = None
    last_sheet: str | None = None
    last_code: tuple[str, datetime] | None = None
    last_said: Any = None

    @property
    def by(self) -> tuple[str, ...]:
        """Those who do the work; whoever only teaches is not among them."""
        teachers = {beside for _, beside in self.here}
        return tuple(who for who, _ in self.here if who not in teachers)

    def then(self, at: datetime) -> tuple[str, ...]:
        """Those who did the work here at that moment; gone is whoever left since, from when until when they were here."""
        here = [(who, beside) for who, beside, came, until in self.gone if came <= at < until]
        here += [(who, beside) for who, beside in self.here if self.came[who] <= at]
        return tuple(who for who, _ in here if who not in {beside for _, beside in here})

    def go(self, going: Iterable[str], now: datetime) -> None:
        """These go, at this moment."""
        for who, beside in [each for each in self.here if each[0] in set(going)]:
            self.gone.append((who, beside, self.came[who], now))
            self.here.remove((who, beside))

    def put_down(self) -> None:
        """What was in hand belongs to those who have gone; a shelf that was scanned is no question."""
        self.pending = self.stack = self.bundle = self.last_sheet = None


class World:
    """Everything that stands in the room."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone
        self.sheets: dict[str, Sheet] = {}
        self.stacks = {name: Stack(name) for name in ("P1", "P2", "P3")}
        self.stations = {slug: Station(slug) for slug in DONE}
        self.log: list[Entry] = []
        self.layers = 0
        self.idle: timedelta | None = None
        self.loads: list[str] = []
        self.specimens: dict[str, str] = {}
        self.minted = 0

    # -- reading ------------------------------------------------------------------------------------------------
    def of(self, subject: tuple[str, str]) -> list[Entry]:
        """The standing entries of one sheet or stack, in the order in which they happened."""
        mine = [each for each in self.log if each.subject == subject and each.stands and each.corrects is None]
        return sorted(mine, key=lambda each: (each.happened_at, each.id or 10**9))

    def in_stack(self, name: str) -> list[Sheet]:
        """What lies in a stack, from the bottom."""
        return sorted((each for each in self.sheets.values() if each.stack == name), key=lambda each: each.layer)

    def under_weight(self, sheet: Sheet, now: datetime) -> timedelta:
        """How long its gluing has really lain under weight."""
        assert sheet.glued_at is not None
        mine = [stay for stay in sheet.stays if stay[1] >= sheet.glued_at]
        return sum((self._overlap(stay, now) for stay in mine), timedelta(0))

    def last_seen(self, name: str, now: datetime) -> datetime:
        """The last moment at which anybody is on record as having had this stack before their eyes."""
        stack = self.stacks[name]
        stays = [stay for sheet in self.sheets.values() for stay in sheet.stays if stay[0] == name]
        seen = [stack.last_at, stack.seen_on_at, *(stay[1] for stay in stays), *(stay[2] for stay in stays)]
        return max((each for each in seen if each is not None), default=now)

    def _overlap(self, stay: tuple[str, datetime, datetime | None], now: datetime) -> timedelta:
        until = min(stay[2] or now, now)
        pieces = (min(off or now, until) - max(on, stay[1]) for on, off in self.stacks[stay[0]].spans)
        return sum((max(piece, timedelta(0)) for piece in pieces), timedelta(0))

    def standing(self) -> Iterator[Entry]:
        """Every entry that stands and is no correction."""
        return (each for each in self.log if each.stands and each.corrects is None)

    # -- writing ------------------------------------------------------------------------------------------------
    def write(self, entry: Entry) -> None:
        """Put an entry into the log; what it is about stands as it says."""
        self.log.append(entry)
        kind, name = entry.subject
        if kind == "stack":
            self.stacks[name].log.append(entry)
        elif entry.after is not None:
            self.sheets[name] = entry.after

    def is_used(self, slug: str | None, now: datetime) -> None:
        """Before a station is used, whoever was idle there too long has gone."""
        station = self.stations.get(slug or "")
        if station is None or (station.seen_at is not None and now - station.seen_at <= (self.idle or timedelta(0))):
            return
        self.end_idle(now, [(slug, who) for who, _ in station.here])

    def end_idle(self, now: datetime, times: Iterable[tuple[str | None, str]]) -> None:
        """Those of these times at a station end in which nothing was scanned there any more."""
        for slug, who in list(times):
            station = self.stations[slug or ""]
            last = max(each for each in (station.came[who], station.seen_at) if each is not None)
            if self.idle is not None and now - last > self.idle:
                station.go([who], last)
                if not station.here:
                    station.put_down()

    def take_back(self, tail: Iterable[Entry], made: Entry) -> None:
        """Correct these entries, the last first; `made` is what all the corrections have in common."""
        for entry in reversed(list(tail)):
            entry.stands = False
            if entry.subject[0] == "sheet":
                assert entry.before is not None
                self.sheets[entry.subject[1]] = entry.before
            self.log.append(replace(made, subject=entry.subject, corrects=entry))

    def next_layer(self) -> int:
        self.layers += 1
        return self.layers


def minimum_of(adhesive: str | None, bulk: str) -> timedelta:
    """How long a gluing has to lie under weight; the longest where nobody knows the adhesive."""
    return timedelta(hours=HOURS[adhesive] + (BULKY_HOURS if bulk == "bulky" else 0))


def ends_stay(sheet: Sheet, until: datetime) -> tuple[tuple[str, datetime, datetime | None], ...]:
    """Its stays when it has left its stack; nothing ends before it began."""
    return tuple((stack, laid, max(laid, until) if out is None else out) for stack, laid, out in sheet.stays)
