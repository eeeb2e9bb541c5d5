"""The practice sheets as they lie when practice begins: some at each stage, brought there by the same scans as any other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Bundle,
    Cabinet,
    Consignment,
    Sheet,
    Shelf,
    SignOff,
    Stack,
    Station,
    Worker,
    table_of,
)
from app.domain.numbers import COMMANDS, Pattern
from app.domain.practice import PracticeSheet, Start, practice_sheets
from app.domain.sign_off_rules import DIFFICULTIES, TAUGHT
from app.domain.stages import Stage, Step
from app.services.desk import Occasion, ScanRequest
from app.services.naming import Names, learn_collectors, learn_plants
from app.services.scanning import scan

WORKER = table_of(Worker)
STATION = table_of(Station)
STACK = table_of(Stack)
SHEET = table_of(Sheet)
# Rows of the practice room's own, far from any that are copied in.
OWN_ID = 1_000_000_000
# Nobody passes their own work, so somebody else looks at what was mounted.
LOOKS_ID = OWN_ID + 1
WHO_LAYS_OUT = (OWN_ID, LOOKS_ID)
GLUED = (Start.MOUNTED, Start.PRESS_READY, Start.PRESS_NOT_YET, Start.INSPECT, Start.FILE, Start.FILED)
LAIN = (Start.INSPECT, Start.FILE, Start.FILED)
ADDED_AGO_H = 240.0


@dataclass
class Hand:
    """Whoever laid the practice sheets out: scans with earlier times, and leaves a sheet where a step is refused."""

    session: Session
    now: datetime
    zone: ZoneInfo
    by_start: dict[Start, list[str]] = field(default_factory=dict)
    scans: int = 0

    def does(self, hours_ago: float, starts: Sequence[Start], step: Step, **more: Any) -> None:
        """Take a step with every sheet that begins in one of these places."""
        for start in starts:
            for number in self.by_start.get(start, ()):
                self.scans_code(hours_ago, number, step=step, **more)

    def in_bundle(self, hours_ago: float, card: str, starts: Sequence[Start], step: Step) -> None:
        """Take a step with sheets that are put in a bundle by it: its card first, and the station's hands empty after it."""
        self.scans_code(hours_ago, card, at=OWN_ID)
        self.does(hours_ago, starts, step, at=OWN_ID)
        self.scans_code(hours_ago, COMMANDS["done"], at=OWN_ID)

    def scans_code(self, hours_ago: float, code: str, **more: Any) -> None:
        """Scan one code: at the practice room's own table what is done at a table, all else at none, with nothing in hand."""
        self.scans += 1
        at = more.pop("at", None) or (OWN_ID if more.get("step") in (Step.TAKE_UP, Step.MOUNT) else None)
        by = LOOKS_ID if more.get("step") is Step.INSPECT else OWN_ID
        request = ScanRequest(f"laid-out-{self.scans:04}", code, at, worker_ids=(by,), **more)
        scan(self.session, request, Occasion(self.now - timedelta(hours=hours_ago), self.zone))


def lay_out(session: Session, pattern: Pattern, now: datetime, zone: ZoneInfo) -> None:
    """Put the practice sheets in their places in a practice room that is furnished and has no sheets yet.

    What the room has no place for, without a stack or a cabinet, stays in the stage before.
    """
    hand = Hand(session, now, zone)
    _who_lays_out(session, now)
    _register(hand, practice_sheets(pattern))
    _until_ready(hand)
    _until_glued(hand)
    _through_the_press(hand)
    _look_and_file(hand)
    _leave(session, now)


def _who_lays_out(session: Session, now: datetime) -> None:
    long_ago = now - timedelta(hours=ADDED_AGO_H)
    workers = [{"id": worker_id, "number": f"PRACTICE-{number}", "name": "The practice room", "name_key": f"practice {number}",
                "rights": "volunteer", "added_at": long_ago} for number, worker_id in enumerate(WHO_LAYS_OUT, 1)]  # fmt: skip
    session.execute(insert(WORKER), workers)
    steps = [step.value for step in Step]
    station = {"id": OWN_ID, "slug": "practice-table", "code": "practice table", "name": "the practice table", "steps": steps,
               "is_practice": True, "in_round": False}  # fmt: skip
    session.execute(insert(STATION), station)
    signed = [{"worker_id": worker_id, "step": step.value, "difficulty": name, "signed_at": long_ago}
              for worker_id in WHO_LAYS_OUT for step in TAUGHT for name in DIFFICULTIES]  # fmt: skip
    session.execute(insert(table_of(SignOff)), signed)


def _register(hand: Hand, sheets: Sequence[PracticeSheet]) -> None:
    session, added_at = hand.session, hand.now - timedelta(hours=ADDED_AGO_H)
    names, consignments = Names(), _consignments(session)
    learn_plants(session, names, ((sheet.plant, "", sheet.family) for sheet in sheets))
    learn_collectors(session, names, (sheet.collector for sheet in sheets))
    for sheet in sheets:
        hand.by_start.setdefault(sheet.start, []).append(sheet.number)
    rows = [
        {"number": sheet.number, "consignment_id": consignments[sheet.start], "added_at": added_at, "bulk": sheet.bulk,
         "plant_name_id": names.plants[sheet.plant, "", sheet.family], "collector_id": names.collectors[sheet.collector],
         "record_number": sheet.record_number}
        for sheet in sheets
    ]  # fmt: skip
    session.execute(insert(SHEET), rows)


def _consignments(session: Session) -> dict[Start, int]:
    table, found = table_of(Consignment), {}
    for number, start in enumerate(Start, 1):
        values = {"code": f"PRACTICE-{number}", "name": f"Practice: {start.value}", "kind": "fieldwork"}
        found[start] = session.execute(insert(table).values(values).returning(table.c.id)).scalar_one()
    return found


def _until_ready(hand: Hand) -> None:
    hand.does(200, [start for start in Start if start is not Start.ANNOUNCED], Step.TAKE_IN)
    if press := _a_plant_press(hand.session):
        hand.in_bundle(190, press, (Start.DRYING,), Step.LAY_TO_DRY)
    else:
        hand.does(190, (Start.DRYING,), Step.LAY_TO_DRY)
    hand.does(20, (Start.JUST_PRESSED,), Step.LAY_TO_DRY)
    shelf = _a_shelf(hand.session, Stage.READY)
    came_dry: dict[str, Any] = {"facts": {"dryness": True, "label": True}, **shelf}
    hand.does(199, (Start.READY, *GLUED), Step.ARRIVE_DRY, **came_dry)
    came_dry["facts"] = {"dryness": True, "label": False}
    hand.does(199, (Start.NO_LABEL,), Step.ARRIVE_DRY, **came_dry)


def _until_glued(hand: Hand) -> None:
    glue = _an_adhesive(hand.session)
    facts = {"adhesive": glue} if glue else {}
    for hours_ago, starts in (
        (152.0, LAIN),
        (62.0, (Start.PRESS_READY,)),
        (4.0, (Start.PRESS_NOT_YET,)),
        (0.6, (Start.MOUNTED,)),
    ):
        hand.does(hours_ago, starts, Step.TAKE_UP)
        hand.does(hours_ago - 0.2, starts, Step.MOUNT, facts=facts)


def _through_the_press(hand: Hand) -> None:
    """One stack is worked off and filled again days ago, another was filled today."""
    stacks = (
        hand.session.execute(select(STACK).where(STACK.c.closed_at.is_(None)).order_by(STACK.c.id)).mappings().all()
    )
    if not stacks:
        return
    first = stacks[0]
    hand.does(150, LAIN, Step.PUT_UNDER_WEIGHT, stack=first["name"])
    hand.scans_code(149, first["code_on"])
    hand.scans_code(61, first["code_off"])
    hand.does(60.9, LAIN, Step.TAKE_OUT)
    hand.does(60, (Start.PRESS_READY,), Step.PUT_UNDER_WEIGHT, stack=first["name"])
    hand.scans_code(59, first["code_on"])
    if len(stacks) > 1:
        hand.does(3, (Start.PRESS_NOT_YET,), Step.PUT_UNDER_WEIGHT, stack=stacks[1]["name"])
        hand.scans_code(2.9, stacks[1]["code_on"])


def _look_and_file(hand: Hand) -> None:
    shelf = _a_shelf(hand.session, Stage.DRY)
    hand.does(36, (Start.FILE, Start.FILED), Step.INSPECT, facts={"outcome": "passed"}, **shelf)
    if shelf := _a_shelf(hand.session, Stage.FILED):
        hand.does(35, (Start.FILED,), Step.FILE, **shelf)


def _leave(session: Session, now: datetime) -> None:
    """Whoever laid it all out is not there to be chosen, and their table is no station."""
    session.execute(update(WORKER).where(WORKER.c.id.in_(WHO_LAYS_OUT)).values(retired_at=now))
    session.execute(update(STATION).where(STATION.c.id == OWN_ID).values(closed_at=now))


def _a_shelf(session: Session, stage: Stage) -> dict[str, str]:
    """The first shelf of the room's first cabinet for a stage, as a script would name it; nothing where there is none."""
    found = (
        select(Cabinet.name, Shelf.name.label("shelf"))
        .outerjoin(Shelf, Shelf.cabinet_id == Cabinet.id)
        .where(Cabinet.stage == stage, Cabinet.closed_at.is_(None))
        .order_by(Cabinet.walk, Cabinet.id, Shelf.id)
    )
    row = session.execute(found.limit(1)).one_or_none()
    return {"cabinet": row.name, "shelf": row.shelf or ""} if row is not None else {}


def _a_plant_press(session: Session) -> str:
    """The card of the room's first plant press; nothing where it has none."""
    found = (
        select(Bundle.code)
        .where(Bundle.kind.in_(("press", "plant press")), Bundle.closed_at.is_(None))
        .order_by(Bundle.id)
    )
    return session.execute(found.limit(1)).scalar() or ""


def _an_adhesive(session: Session) -> str:
    found = select(Adhesive.code).where(Adhesive.ended_at.is_(None)).order_by(Adhesive.class_ != "pva", Adhesive.id)
    return session.execute(found.limit(1)).scalar() or ""
