"""Lines about holds and wishes: what was held or is out for too long, what somebody must look at, and what is wanted late."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, bindparam, case, literal, or_, select

from app.db.models import Hold, Sheet, Wanted, table_of
from app.domain.calendar import local_day
from app.domain.holds import HOLDS, HoldRow
from app.domain.language import say
from app.domain.limits import limit_words
from app.domain.stages import STAGES, Stage
from app.domain.stalls import Limit, cutoff
from app.domain.words import day_said, sheets_said
from app.queries.kinds import IN_QUEUE, MOMENT
from app.queries.need import SINGLY, Asked, Need, NeedKind, of_sheet
from app.queries.remembered import remembered

SHEET = table_of(Sheet)
HOLD = table_of(Hold)
WANTED = table_of(Wanted)
WISH = WANTED.alias("wish")
# Somebody must look at these at once, however long they have stood.
LOOKED_AT = ("against-a-rule", "not-found")


def _past(name: str) -> ColumnElement[bool]:
    """The condition that a hold of this kind has stood too long; what has a day of its own is late after that day."""
    by_rule = and_(HOLD.c.due_on.is_(None), HOLD.c.put_at < bindparam(f"since {name}", type_=MOMENT))
    by_day = and_(HOLD.c.due_on.is_not(None), HOLD.c.due_on < bindparam("today", type_=HOLD.c.due_on.type))
    return and_(HOLD.c.kind == name, or_(by_rule, by_day))


# Asked of the holds that stand, which have an index of their own: what was ever held and lifted costs nothing.
_LATE = or_(*map(_past, HOLDS))
_HELD = (
    select(
        SHEET.c.number,
        SHEET.c.stage,
        HOLD.c.kind,
        HOLD.c.put_at,
        HOLD.c.due_on,
        case((_LATE, 1), else_=0).label("late"),
    )
    .select_from(HOLD)
    .join(SHEET, (SHEET.c.id == HOLD.c.sheet_id) & IN_QUEUE)
    .where(HOLD.c.lifted_at.is_(None), HOLD.c.kind.in_(list(HOLDS)), or_(HOLD.c.kind.in_(LOOKED_AT), _LATE))
    .order_by(HOLD.c.put_at, HOLD.c.id)
)
_WANTED = (
    select(SHEET.c.number, SHEET.c.stage, WANTED.c.asked_at, WANTED.c.needed_on)
    .join(WANTED, (WANTED.c.sheet_id == SHEET.c.id) & WANTED.c.ended_at.is_(None))
    .where(IN_QUEUE, SHEET.c.id.in_(select(WISH.c.sheet_id).where(WISH.c.ended_at.is_(None))))
)


def held_too_long(asked: Asked, kind: NeedKind) -> list[Need]:
    """Holds that have stood longer than the house allows for their kind, and sheets that are out past their day."""
    late = [each for each in _holds(asked) if each.late]
    return [need for name, row in HOLDS.items()
            for need in _of_hold(asked, kind, row, [each for each in late if each.kind == name])]  # fmt: skip


def to_be_looked_at(asked: Asked, kind: NeedKind) -> list[Need]:
    """The holds of one kind, named like the line, that wait for somebody to look and have not done so for too long."""
    mine = [each for each in _holds(asked) if each.kind == kind.name and not each.late]
    return [of_sheet(asked, kind, each.number, each.put_at, each.stage or "") for each in mine]


def wanted_late(asked: Asked, kind: NeedKind) -> list[Need]:
    """Wanted sheets still in the queue after the day on which they were needed, or long after they were asked for."""
    judged, today = asked.judged, _today(asked)
    long_ago = cutoff(Limit(open_days=judged.house.wanted_days), judged.now, judged.calendar)
    late = or_(WANTED.c.needed_on < today, and_(WANTED.c.needed_on.is_(None), WANTED.c.asked_at < _moment(long_ago)))
    rows = asked.session.execute(_WANTED.where(late)).all()
    first = sorted(rows, key=lambda row: (row.needed_on or local_day(row.asked_at, judged.calendar.zone), row.number))
    return [of_sheet(asked, kind, row.number, row.asked_at, row.stage, _wish_said(row, kind, today)) for row in first]


def _holds(asked: Asked) -> Sequence[Any]:
    """The holds in the queue that somebody must look at, and those that are late; read once for all lines."""

    def read() -> Sequence[Any]:
        judged = asked.judged
        days = {name: getattr(judged.house, row.ages_by) for name, row in HOLDS.items()}
        since = {
            f"since {name}": cutoff(Limit(open_days=many), judged.now, judged.calendar) for name, many in days.items()
        }
        return asked.session.execute(_HELD, {**since, "today": _today(asked)}).all()

    return remembered(asked.session, "holds", asked.judged.now, read)


def _of_hold(asked: Asked, kind: NeedKind, row: HoldRow, late: Sequence[Any]) -> list[Need]:
    if len(late) <= SINGLY:
        return [of_sheet(asked, kind, each.number, each.put_at, each.stage or "", _hold_said(asked, row, each), each.kind)
                for each in late]  # fmt: skip
    name = late[0].kind
    parts = {"sheets": sheets_said(len(late)), "hold": row.words, "too_long": _too_long(asked, row)}
    what = (
        say("{sheets}: {hold} {too_long} or past their day", **parts)
        if name == "out"
        else say("{sheets}: {hold} {too_long}", **parts)
    )
    return [Need(kind.name, say(row.words).capitalize(), what, late[0].put_at, say("see the list"), "holds", name, "",
                 many=len(late), about=name)]  # fmt: skip


def _hold_said(asked: Asked, row: HoldRow, each: Any) -> str:
    if each.due_on is not None:
        return say("{hold}, and was due back {day}", hold=row.words, day=day_said(each.due_on, _today(asked)))
    return say("{hold} {too_long}", hold=row.words, too_long=_too_long(asked, row))


def _too_long(asked: Asked, row: HoldRow) -> str:
    return say("for more than {limit}", limit=limit_words(Limit(open_days=getattr(asked.judged.house, row.ages_by))))


def _wish_said(row: Any, kind: NeedKind, today: date) -> str:
    stands = STAGES[Stage(row.stage)].stands
    if row.needed_on:
        return say(
            "{wanted} by {day}, and {stands}", wanted=kind.words, day=day_said(row.needed_on, today), stands=stands
        )
    return say("{wanted}, and {stands}", wanted=kind.words, stands=stands)


def _today(asked: Asked) -> date:
    return local_day(asked.judged.now, asked.judged.calendar.zone)


def _moment(moment: datetime) -> ColumnElement[Any]:
    return literal(moment, HOLD.c.put_at.type)
