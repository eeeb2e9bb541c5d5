"""Lines about cabinet checks: one that nobody goes on with, one that is through and not closed, and what one missed."""

from __future__ import annotations

from sqlalchemy import func, select

from app.domain.language import say
from app.domain.limits import limit_words
from app.domain.stalls import Limit, is_stalled
from app.domain.words import sheets_said
from app.queries.checks import CHECK, EXPECTED, HOLD, PUT_BY_IT, CheckLine, check_line, open_checks
from app.queries.need import Asked, Need, NeedKind


def check_left(asked: Asked, kind: NeedKind) -> list[Need]:
    """Checks that were begun and are not through after the open days that the house gives them."""
    limit, judged = Limit(open_days=asked.judged.house.check_open_days), asked.judged
    late = [line for line in open_checks(asked.session)
            if line.state == "open" and is_stalled(limit, line.begun_at, judged.now, judged.calendar)]  # fmt: skip
    return [_of_check(kind, line, say("{what} for more than {limit}: {seen} of {expected} seen",
                                  what=kind.words, limit=limit_words(limit), seen=line.seen, expected=line.expected))
            for line in late]  # fmt: skip


def check_to_close(asked: Asked, kind: NeedKind) -> list[Need]:
    """Checks that are through: the manager looks at the result and closes them."""
    return [_of_check(kind, line) for line in open_checks(asked.session) if line.state == "done"]


def check_missed(asked: Asked, kind: NeedKind) -> list[Need]:
    """Closed checks by which sheets are held as not found that nobody has scanned since."""
    found = (
        select(CHECK.c.id, func.count())
        .select_from(HOLD)
        .join(EXPECTED, EXPECTED.c.sheet_id == HOLD.c.sheet_id)
        .join(CHECK, (CHECK.c.id == EXPECTED.c.check_id) & PUT_BY_IT)
        .where(HOLD.c.kind == "not-found", HOLD.c.lifted_at.is_(None))
        .group_by(CHECK.c.id)
        .order_by(CHECK.c.id)
    )
    lines = [
        (check_line(asked.session, check_id, names=False), many) for check_id, many in asked.session.execute(found)
    ]
    return [
        _of_check(kind, line[0], say("{sheets} {what}", sheets=sheets_said(many), what=kind.words), many)
        for line, many in lines
        if line is not None
    ]


def _of_check(kind: NeedKind, line: CheckLine, what: str = "", many: int = 1) -> Need:
    return Need(kind.name, say("Check of {place}", place=line.place), what or say(kind.words), line.done_at or line.begun_at,
                say(kind.do), "check", str(line.check_id), "", many=many, about=f"check {line.check_id}")  # fmt: skip
