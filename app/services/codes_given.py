"""The codes of cards, and the numbers on slips, of workers and of hand-overs that were given out: the next of each kind, and
how far each has come.

What was printed lies about in the room, so none is given out a second time, whatever backup was put back meanwhile.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from sqlalchemy import Column, Integer, cast, func, select, update
from sqlalchemy.orm import Session

from app.db.models import (
    Bundle,
    Cabinet,
    FreezerLoad,
    HandOver,
    Lot,
    NumberPattern,
    Setting,
    Shelf,
    Stack,
    Station,
    Worker,
    table_of,
)
from app.db.rules import room_house
from app.db.settings import PASSED_OVER
from app.db.upsert import replacing
from app.domain.numbers import Kind, Pattern, Shape, card_shapes, mint
from app.services.changes import changed

PATTERN, SETTING = table_of(NumberPattern), table_of(Setting)
WHY = "since the backup that was put back"
# Where the codes that were made of each kind are kept. A badge's is drawn by lot from so many that none comes twice.
CODES_IN: dict[Kind, Column[str]] = {
    Kind.CABINET: table_of(Cabinet).c.code, Kind.SHELF: table_of(Shelf).c.code, Kind.STACK_ON: table_of(Stack).c.code_on,
    Kind.STACK_OFF: table_of(Stack).c.code_off, Kind.STATION: table_of(Station).c.code, Kind.BUNDLE: table_of(Bundle).c.code,
    Kind.LOAD: table_of(FreezerLoad).c.code, Kind.LOT: table_of(Lot).c.code,
}  # fmt: skip
# What is numbered without a card. Such a number stands in the logs and tables that went out: nobody else is to have it.
WORKERS, HAND_OVERS = Shape("worker", 0, check=False), Shape("hand-over", 0, check=False)
_LAST_OF = {
    WORKERS: select(func.max(cast(func.substr(table_of(Worker).c.number, 2), Integer))),
    HAND_OVERS: select(func.max(table_of(HandOver).c.id)),
}
# A prefix and its digits, and the last serial of them that was given out.
Given = dict[tuple[str, int], int]


def next_code(session: Session, kind: Kind) -> str:
    """The next code of this kind; ValueError when all are used up."""
    shape = card_shapes(room_house(session)[1])[kind]
    return mint(shape, _last(session, kind, shape, _spans(session)))[1]


def next_number(session: Session, of: Shape) -> int:
    """The next number of a worker (WORKERS) or of a hand-over (HAND_OVERS)."""
    return _last_number(session, of, _spans(session)) + 1


def given_out(session: Session) -> Given:
    """How far the room has come with its numbers and with the codes of its cards."""
    spans = _spans(session)
    found = {(row.prefix, row.width): row.minted for row in session.execute(select(PATTERN))}
    shapes = card_shapes(room_house(session)[1])
    found |= {(shapes[kind].prefix, shapes[kind].width): _last(session, kind, shapes[kind], spans) for kind in CODES_IN}
    found |= {(each.prefix, each.width): _last_number(session, each, spans) for each in _LAST_OF}
    return {key: last for key, last in found.items() if last}


def never_mint_again(session: Session, given: Mapping[tuple[str, int], int], now: datetime) -> int:
    """Go on after the last numbers that the room gave out since the backup, by prefix and digits; how many are passed over.

    Their slips are printed, and lie on plants.
    """
    passed = 0
    for row in session.execute(select(PATTERN)).mappings().all():
        last = given.get((row["prefix"], row["width"]), 0)
        if last > row["minted"]:
            passed += last - row["minted"]
            session.execute(update(PATTERN).where(PATTERN.c.id == row["id"]).values(minted=last))
            _pass_over(session, Shape(row["prefix"], row["width"]), row["minted"], last)
            changed(session, now, None, "number pattern", row["id"], "numbers passed over", old=str(row["minted"]),
                    new=str(last), why=WHY)  # fmt: skip
    return passed


def never_make_again(session: Session, given: Mapping[tuple[str, int], int], now: datetime) -> int:
    """Go on after the last codes of cards that were made since the backup; how many are passed over. The cards hang there."""
    here, passed = given_out(session), 0
    for shape in card_shapes(room_house(session)[1]).values():
        first, last = (each.get((shape.prefix, shape.width), 0) for each in (here, given))
        if last > first:
            passed += last - first
            _pass_over(session, shape, first, last)
            changed(session, now, None, "room", None, f"cards {shape.prefix} passed over", old=str(first), new=str(last),
                    why=WHY)  # fmt: skip
    return passed


def never_number_again(session: Session, given: Mapping[tuple[str, int], int], now: datetime) -> None:
    """Go on after the last numbers that workers and hand-overs got since the backup."""
    for each in _LAST_OF:
        first, last = _last_number(session, each, _spans(session)), given.get((each.prefix, each.width), 0)
        if last > first:
            _pass_over(session, each, first, last)
            changed(session, now, None, "room", None, f"numbers {each.prefix} passed over", old=str(first), new=str(last),
                    why=WHY)  # fmt: skip


def was_passed_over(session: Session, text: str, patterns: Sequence[Pattern]) -> bool:
    """Whether a number or code was given out after a backup that was put back, so that nothing here knows of it."""
    spans = _spans(session)
    for shape in (*patterns, *card_shapes(tuple(patterns)).values()) if spans else ():
        serial = shape.serial_of(text)
        if serial is not None and any(first < serial <= last for first, last in _of(spans, shape)):
            return True
    return False


def _last(session: Session, kind: Kind, shape: Shape, spans: Sequence[Sequence[object]]) -> int:
    """The last serial of this kind, in the room or passed over; 0 for none."""
    column = CODES_IN[kind]
    # Of one width, so the last by the alphabet is the last by number; a place of practice has a code of another kind.
    code = session.execute(select(func.max(column)).where(column.between(shape.prefix, f"{shape.prefix}Z"))).scalar()
    return max((shape.serial_of(code or "") or 0, *(last for _, last in _of(spans, shape))))


def _last_number(session: Session, of: Shape, spans: Sequence[Sequence[object]]) -> int:
    return max(session.execute(_LAST_OF[of]).scalar() or 0, *(last for _, last in _of(spans, of)), 0)


def _spans(session: Session) -> list[list[object]]:
    kept = session.execute(select(SETTING.c.value).where(SETTING.c.name == PASSED_OVER)).scalar()
    return json.loads(kept) if kept else []


def _of(spans: Sequence[Sequence[object]], shape: Shape) -> Iterator[tuple[int, int]]:
    for prefix, width, first, last in spans:
        if (prefix, width) == (shape.prefix, shape.width):
            yield int(str(first)), int(str(last))


def _pass_over(session: Session, shape: Shape, first: int, last: int) -> None:
    spans = [*_spans(session), [shape.prefix, shape.width, first, last]]
    keep = replacing(session.get_bind().dialect.name, SETTING, ("value",))
    session.execute(keep, {"name": PASSED_OVER, "value": json.dumps(spans)})
