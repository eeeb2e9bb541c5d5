"""The audit of cabinet checks: each has the entries of its cabinet that it was begun and closed by, and what it expected."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, CabinetCheck, CheckExpected, Entry, table_of
from app.domain.stages import Step
from app.services.differences import Difference, plainly

CHECK, CABINET, ENTRY, EXPECTED = table_of(CabinetCheck), table_of(Cabinet), table_of(Entry), table_of(CheckExpected)


def check_differences(session: Session) -> Iterator[Difference]:
    """Name whatever a check's row says otherwise than its cabinet's log."""
    named = select(CHECK, CABINET.c.name).outerjoin(CABINET, CABINET.c.id == CHECK.c.cabinet_id).order_by(CHECK.c.id)
    for row in session.execute(named).all():
        for what, by_log, by_row in (*_begun(session, row), *_closed(session, row)):
            yield Difference("check", row.id, row.name or str(row.id), what, plainly(by_log), plainly(by_row))


def _begun(session: Session, row: Any) -> Iterator[tuple[str, Any, Any]]:
    mine = (ENTRY.c.id == row.begun_entry_id, ENTRY.c.step == Step.BEGIN_CHECK.value)
    entry = session.execute(select(ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.facts).where(*mine)).one_or_none()
    counted = select(func.count()).select_from(EXPECTED).where(EXPECTED.c.check_id == row.id)
    kept = (row.cabinet_id, row.begun_at, session.execute(counted).scalar_one())
    told = (entry.subject_id, entry.happened_at, entry.facts.get("expected")) if entry else (None, None, None)
    for what, by_log, by_row in zip(("its cabinet", "begun at", "expected"), told, kept, strict=True):
        if by_log != by_row:
            yield what, by_log, by_row


def _closed(session: Session, row: Any) -> Iterator[tuple[str, Any, Any]]:
    closed_at, cabinet_id = row.closed_at, row.cabinet_id
    mine = (ENTRY.c.subject_kind == "cabinet", ENTRY.c.subject_id == cabinet_id, ENTRY.c.step == Step.CLOSE_CHECK.value)
    closings = session.execute(select(ENTRY.c.happened_at, ENTRY.c.facts).where(*mine))
    at = next((entry.happened_at for entry in closings if entry.facts.get("check") == row.id), None)
    if at != closed_at:
        yield "closed at", at, closed_at
