"""How the move of a whole shelf is said: what to know before it is touched, what went, and what stayed and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.engine import RowMapping

from app.db.models import Hazard, Shelf, table_of
from app.domain.answer import WORDS, Answer
from app.domain.hazards import CAUTIONS
from app.domain.language import say, say_n
from app.domain.numbers import shown
from app.domain.sheet import Place
from app.domain.stages import STEP_WORDS, Step
from app.services.desk import Desk
from app.services.facts import place_words

SHELF = table_of(Shelf)
HAZARD = table_of(Hazard)
NAMED_IN_A_LINE = 20
Left = list[dict[str, str]]


def moved(desk: Desk, names: tuple[str, str], numbers: Sequence[str], left: Left) -> Answer:
    """The answer when the sheets of a shelf went to another, both named; or when none of them might."""
    emptied, to = names
    lines = [say_n("{n} sheet from {emptied} is in {to} now.", "{n} sheets from {emptied} are in {to} now.", len(numbers),
                   emptied=emptied, to=to)]  # fmt: skip
    next_ = say("Put them in {to} as they lay.", to=to)
    next_ += " " + say("What is named stays on {emptied}.", emptied=emptied) if left else ""
    if not numbers:
        lines, next_ = [], say("Scan another shelf for them, or leave them where they are.")
    word = say(STEP_WORDS[Step.SHELVE][1]).capitalize() + "." if numbers else WORDS["stop"]
    return Answer("done" if numbers else "stop", word, (*lines, *_left_lines(desk, left)), next_, step=Step.SHELVE.value,
                  entry=desk.written[-1] if desk.written else None, moved=tuple(numbers), left=tuple(left),
                  status=200 if numbers else 422)  # fmt: skip


def caution_lines(desk: Desk, rows: Sequence[RowMapping]) -> list[str]:
    """What to know before a shelf is touched: each caution once, with how many of its sheets it is for."""
    sheets, came_with = [row["id"] for row in rows], {row["consignment_id"] for row in rows} - {None}
    mine = or_(HAZARD.c.sheet_id.in_(sheets), HAZARD.c.consignment_id.in_(came_with))
    found = desk.session.execute(select(HAZARD).where(HAZARD.c.cleared_at.is_(None), mine).order_by(HAZARD.c.id)).all()
    for_whom: dict[str, set[int]] = {}
    for hazard in found:
        for_whom.setdefault(hazard.kind, set()).update(row["id"] for row in rows if _travels_with(hazard, row))
    return [
        say("Caution, {count} of them: {caution}", count=len(ids), caution=CAUTIONS.get(kind, kind))
        for kind, ids in for_whom.items()
    ]


def shelf_name(desk: Desk, shelf_id: int) -> str:
    """A shelf as one would walk there: "M1, shelf 2"."""
    cabinet_id = desk.session.execute(select(SHELF.c.cabinet_id).where(SHELF.c.id == shelf_id)).scalar_one()
    return place_words(desk.session, Place(cabinet_id, shelf_id))


def _travels_with(hazard: Any, row: RowMapping) -> bool:
    came_with = hazard.consignment_id is not None and hazard.consignment_id == row["consignment_id"]
    return came_with or bool(hazard.sheet_id == row["id"])


def _left_lines(desk: Desk, left: Left) -> list[str]:
    """One line for each reason, with the sheets that it keeps; a long row of numbers is cut, the stored answer has all."""
    by_why: dict[str, list[str]] = {}
    for each in left:
        by_why.setdefault(each["why"], []).append(shown(each["number"], desk.patterns))
    lines = []
    for why, numbers in by_why.items():
        more = len(numbers) - NAMED_IN_A_LINE
        named = ", ".join(numbers[:NAMED_IN_A_LINE])
        if more > 0:
            named = say("{numbers} and {more} more", numbers=named, more=more)
        lines.append(f"{named}: {why}")
    return lines
