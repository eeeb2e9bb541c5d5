"""The furniture of the demo room: stations, cabinets, stacks, adhesives, bundles, and its people with their badges."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.domain.numbers import Pattern
from app.domain.stages import Stage, Step
from app.queries.furniture import bundles
from app.queries.people import worker_by_id
from app.queries.press import press_room
from app.services import people, room
from seed_demo.people import CAST, Person
from seed_demo.uses import TAKES

PATTERN = Pattern("TQX", 6)
TABLE_STEPS = [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.ANOTHER_SHEET, Step.GOES_UNMOUNTED]
STATIONS: dict[str, tuple[str, list[Step]]] = {
    "intake": ("Intake", [Step.TAKE_IN, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED, Step.LAY_TO_DRY, Step.SHELVE]),
    "drying": ("Drying", [Step.LAY_TO_DRY, Step.PAPERS_CHANGED, Step.PASS_AS_DRY]),
    "table-1": ("Mounting table 1", TABLE_STEPS),
    "table-2": ("Mounting table 2", TABLE_STEPS),
    "press": ("Press", [Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.WEIGHTS_ON, Step.WEIGHTS_OFF]),
    "inspection": ("Inspection", [Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE, Step.SHELVE]),
    "filing": ("Filing", [Step.FILE, Step.BRING_BACK, Step.SHELVE]),
    "freezer": ("Freezer", [Step.FREEZE]),
}
# Name, stage, shelves, and how many sheets it holds; drying and glued plants lie in presses and stacks.
CABINETS: tuple[tuple[str, Stage, int, int], ...] = (
    ("A1", Stage.INTAKE, 4, 60),
    ("M1", Stage.READY, 6, 150),
    ("M2", Stage.READY, 6, 150),
    ("H1", Stage.READY, 4, 80),
    ("D1", Stage.DRY, 4, 80),
    ("F1", Stage.FILED, 8, 400),
    ("F2", Stage.FILED, 8, 400),
    ("F3", Stage.FILED, 8, 400),
)
ADHESIVES: tuple[tuple[str, str, str, str], ...] = (
    ("pva", "PVA, acid-free", "pva", "1:1 with water"),
    ("paste", "Wheat starch paste", "starch-paste", "1:4"),
    ("mc", "Methyl cellulose", "methyl-cellulose", "4 %"),
    ("straps", "Gummed linen straps", "straps", ""),
    ("spot", "PVA, one spot", "spot", ""),
)
FREEZES_TO_C = -22.0
STACKS = ("P1", "P2", "P3", "P4", "P5")
PRESSES = ("Plant press 1", "Plant press 2", "Plant press 3", "Plant press 4", "Plant press 5", "Plant press 6")
TRAYS = ("Tray 1", "Tray 2", "Tray 3")


@dataclass(frozen=True, slots=True)
class StackCards:
    """A stack: its row, its name, and the codes on the two sides of its card."""

    stack_id: int
    name: str
    on: str
    off: str


@dataclass(slots=True)
class Worker:
    """A worker: the row, the number, the full name and the code on the badge."""

    worker_id: int
    number: str
    name: str
    badge: str


@dataclass(slots=True)
class Furniture:
    """What stands in the room, by the names that its people use."""

    stations: dict[str, int] = field(default_factory=dict)
    adhesives: dict[str, int] = field(default_factory=dict)
    stacks: dict[str, StackCards] = field(default_factory=dict)
    bundles: dict[str, str] = field(default_factory=dict)
    workers: dict[str, Worker] = field(default_factory=dict)


def furnish(session: Any, now: datetime, zone: ZoneInfo) -> Furniture:
    """Set up an empty room, as it stood before the first day."""
    found = Furniture()
    room.add_pattern(session, PATTERN.prefix, PATTERN.width, now, mints=True)
    for person in CAST:
        add_person(session, found, person, now)
    for code, name, class_, dilution in ADHESIVES:
        found.adhesives[code] = room.add_adhesive(session, code, name, class_, now, lot="B 117", dilution=dilution)
    for name, stage, shelves, capacity in CABINETS:
        room.add_cabinet(session, name, stage, now, shelves=shelves, capacity=capacity)
    room.add_cabinet(session, "Freezer", None, now, freezes_to_c=FREEZES_TO_C)
    room.add_cabinet(session, "Dryer 1", None, now, is_dryer=True)
    _set_up_stations(session, found, now)
    _make_cards(session, found, now, zone)
    return found


def add_person(session: Any, found: Furniture, person: Person, now: datetime) -> None:
    """Somebody begins to work here and is given a badge."""
    worker_id, badge = people.add_worker(session, person.name, person.rights, now)
    line = worker_by_id(session, worker_id)
    assert line is not None
    found.workers[person.who] = Worker(worker_id, line.number, line.name, badge)


def _set_up_stations(session: Any, found: Furniture, now: datetime) -> None:
    for slug, (name, steps) in STATIONS.items():
        found.stations[slug] = room.add_station(session, slug, name, steps, now)
    for table in ("table-1", "table-2"):
        room.set_at_station(session, found.stations[table], adhesive_id=found.adhesives["pva"], uses=dict(TAKES))
    room.set_at_station(session, found.stations["drying"], method="unheated")


def _make_cards(session: Any, found: Furniture, now: datetime, zone: ZoneInfo) -> None:
    for name in STACKS:
        room.add_stack(session, name, now, capacity=20, mass_kg=12.0)
    for view in press_room(session, now, zone):
        found.stacks[view.name] = StackCards(view.stack_id, view.name, view.code_on, view.code_off)
    for name in PRESSES:
        room.add_bundle(session, name, "plant press")
    for name in TRAYS:
        room.add_bundle(session, name)
    found.bundles.update((line.name, line.code) for line in bundles(session))
