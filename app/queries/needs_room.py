"""Lines about the room's own book-keeping: entries dated after now, and a backup that is due."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, func, select

from app.db.fitness import LAST_BACKUP
from app.db.models import Entry, Setting, Sheet, Stack, table_of
from app.domain.calendar import as_utc
from app.domain.stages import STEP_WORDS, Step
from app.domain.stalls import Limit, is_stalled
from app.domain.words import age
from app.queries.need import Asked, Need, NeedKind, of_sheet, of_stack
from app.queries.needs_press import CORRECTED

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
_AFTER_NOW = (
    select(ENTRY.c.step, ENTRY.c.happened_at, SHEET.c.number, Stack.name.label("stack"))
    .outerjoin(SHEET, (ENTRY.c.subject_kind == "sheet") & (SHEET.c.id == ENTRY.c.subject_id))
    .outerjoin(Stack, (ENTRY.c.subject_kind == "stack") & (Stack.id == ENTRY.c.subject_id))
    .where(ENTRY.c.happened_at > bindparam("now"), ENTRY.c.step != Step.CORRECT, ~CORRECTED)
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)
_BACKUP = select(Setting.value).where(Setting.name == LAST_BACKUP)
_FIRST = select(ENTRY.c.recorded_at).where(ENTRY.c.id == select(func.min(Entry.id)).scalar_subquery())


def after_now(asked: Asked, kind: NeedKind) -> list[Need]:
    """Entries that stand and are dated after now."""
    return [_dated_after(asked, kind, row) for row in asked.session.execute(_AFTER_NOW, {"now": asked.judged.now})]


def backup_due(asked: Asked, kind: NeedKind) -> list[Need]:
    """The room itself, when it was last backed up too long ago, or never since its first entry."""
    last = _moment(asked.session.execute(_BACKUP).scalar())
    since = last or asked.session.execute(_FIRST).scalar()
    limit, judged = Limit(hours=asked.judged.house.backup_h), asked.judged
    if since is None or not is_stalled(limit, since, judged.now, judged.calendar):
        return []
    what = f"{kind.words} {age(last, judged.now)} ago" if last else "was never backed up"
    return [Need(kind.name, "The room's data", what, since, kind.do, "backup", "", "", about="room")]


def _dated_after(asked: Asked, kind: NeedKind, row: Any) -> Need:
    what = f"“{STEP_WORDS[Step(row.step)][1]}” {kind.words}"
    if row.number is not None:
        return of_sheet(asked, kind, row.number, row.happened_at, "", what)
    return of_stack(kind, row.stack or "", row.happened_at, what)


def _moment(kept: str | None) -> datetime | None:
    """A moment as it was kept; None for none, and for what is none: then nobody knows of a backup."""
    try:
        return as_utc(datetime.fromisoformat(kept)) if kept else None
    except ValueError:
        return None
