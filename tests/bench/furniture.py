"""The room that the bench works in: fifty stations, twenty-four stacks, and cabinets for every stage."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.orm import Session

from app.db.engine import open_database, sqlite_url, transaction
from app.db.models import Attendance, Collector, PlantName
from app.db.upgrade import upgrade
from app.domain.folding import folded
from app.domain.numbers import Pattern
from app.domain.stages import Stage, Step
from app.services import people, room
from app.services.near_names import learn_all

PATTERN = Pattern("TQX", 7)
STATIONS = 50
STACKS = 24
CAPACITY = 40
PLANTS = 400
COLLECTORS = 90
CONSIGNMENTS = 40
CABINETS = {Stage.INTAKE: 4, Stage.READY: 20, Stage.DRY: 6, Stage.FILED: 60}
SHELVES = 12
STEPS = [Step.TAKE_UP, Step.MOUNT, Step.PUT_BACK, Step.PUT_UNDER_WEIGHT]


@dataclass(frozen=True, slots=True)
class Keys:
    """What opens the doors of the room's server: a browser's secret and a script's key for each station."""

    cookies: tuple[str, ...]
    tokens: tuple[str, ...]


def furnish(path: Path, now: datetime) -> Keys:
    """Make an empty room with people signed in at every station, through the program's own migrations and services."""
    upgrade(sqlite_url(path))
    database = open_database(sqlite_url(path))
    with transaction(database) as session:
        _names(session, now)
        _cabinets(session, now)
        manager = people.add_worker(session, "Hedda Brackwater", ("manager", "trainer"), now)[0]
        # They signed in when the room was furnished, long before the first scan that is timed.
        room.set_house_rule(session, "idle_sign_out_min", 0, "everybody stays", now)
        keys = [_station(session, number, manager, now) for number in range(1, STATIONS + 1)]
    database.engine.dispose()
    cookies, tokens = zip(*keys, strict=True)
    return Keys(cookies, tokens)


def _names(session: Session, now: datetime) -> None:
    room.add_pattern(session, PATTERN.prefix, PATTERN.width, now, mints=True)
    room.add_adhesive(session, "pva", "PVA, acid-free", "pva", now)
    for number in range(1, CONSIGNMENTS + 1):
        room.add_consignment(session, f"QM-{number}", f"Quillmoor Fells, trip {number}")
    for number in range(PLANTS):
        name = f"{GENERA[number % len(GENERA)]} {EPITHETS[number // len(GENERA) % len(EPITHETS)]}"
        session.add(PlantName(name=name, family=FAMILIES[number % len(FAMILIES)], search_key=folded(name)))
    for number in range(COLLECTORS):
        name = f"{chr(65 + number % 26)}. {SURNAMES[number % len(SURNAMES)]} {number}"
        session.add(Collector(name=name, search_key=folded(name)))
    session.flush()
    learn_all(session)


def _cabinets(session: Session, now: datetime) -> None:
    for stage, count in CABINETS.items():
        for number in range(1, count + 1):
            room.add_cabinet(session, f"{stage.name.title()} {number}", stage, now, shelves=SHELVES)
    for number in range(1, STACKS + 1):
        room.add_stack(session, f"P{number}", now, capacity=CAPACITY, mass_kg=12)


def _station(session: Session, number: int, manager: int, now: datetime) -> tuple[str, str]:
    """A station for three steps, so that one worker there can take up, mount and lay in."""
    name = f"Table {number}"
    made = room.add_station(session, f"table-{number}", name, STEPS, now)
    room.set_at_station(session, made, adhesive_id=1, stack_id=1 + number % STACKS)
    worker, _ = people.add_worker(session, f"Volunteer {number}", ("volunteer",), now)
    session.add(Attendance(worker_id=worker, station_id=made, signed_in_at=now, how="badge"))
    session.flush()
    cookie = people.enrol_station(session, made, manager, now)
    return cookie, people.make_token(session, "scan", name, now, station_id=made)


GENERA = ("Quercus", "Salix", "Carex", "Ranunculus", "Hieracium", "Rubus", "Potentilla", "Viola", "Galium", "Trifolium",
          "Euphrasia", "Juncus", "Poa", "Festuca", "Veronica", "Saxifraga", "Epilobium", "Geranium", "Vicia", "Rumex")  # fmt: skip
EPITHETS = ("alba", "nigra", "vulgaris", "montana", "palustris", "arvensis", "repens", "hirsuta", "minor",
            "major", "officinalis", "sylvatica", "pratensis", "rotundifolia", "alpina", "maritima", "annua", "odorata", "aquatica",
            "glabra")  # fmt: skip
FAMILIES = ("Fagaceae", "Salicaceae", "Cyperaceae", "Ranunculaceae", "Asteraceae", "Rosaceae", "Rosaceae", "Violaceae")
SURNAMES = ("Brackwater", "Tarrant", "Lindqvist", "Ashgill", "Caldwell", "Fenwick", "Oxenholme", "Ravenglass")
