"""The sheets that lie under press by a shorter minimum than a raised house rule asks, for those who write and who read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select, text
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Sheet, table_of
from app.db.rules import house_at, room_house
from app.domain.press import raised_minimum_s
from app.domain.stages import Stage

SHEET = table_of(Sheet)
ASKED = "sheets under press"  # what the changes call the question about them, and its answer
# A sheet that was found out of its stack keeps its gluing, and is laid in again by the same minimum.
_GLUED: Select[Any] = (
    select(SHEET.c.id, SHEET.c.number, SHEET.c.minimum_s, SHEET.c.rule_version, SHEET.c.bulk, SHEET.c.stack_id,
           Adhesive.class_.label("adhesive_class"))
    .outerjoin(Adhesive, Adhesive.id == SHEET.c.adhesive_id)
    .where(SHEET.c.stage.in_((Stage.UNDER_PRESS, Stage.MOUNTED)), text("sheet.in_queue"), SHEET.c.minimum_s.is_not(None))
    .order_by(SHEET.c.stack_id, SHEET.c.layer, SHEET.c.id)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Shorter:
    """A glued sheet that lies for less than the house rules now ask; both in seconds. No stack: found out of it."""

    sheet_id: int
    number: str
    bulk: str
    stack_id: int | None
    lies_for_s: int
    asks_s: int


def lying_shorter(session: Session, name: str) -> list[Shorter]:
    """The sheets whose minimum this house rule, raised since they were laid in, now asks to be longer; by their stacks."""
    now, then = room_house(session)[0], {}
    found = []
    for row in session.execute(_GLUED):
        version = row.rule_version or 0
        if version not in then:
            then[version] = house_at(session, version)
        asks_s = raised_minimum_s(name, then[version], now, row.adhesive_class, row.bulk, row.minimum_s)
        if asks_s is not None:
            found.append(Shorter(row.id, row.number, row.bulk, row.stack_id, row.minimum_s, asks_s))
    return found
