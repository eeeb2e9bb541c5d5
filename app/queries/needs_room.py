"""Lines about the room's own book-keeping: entries dated after now, a backup that is due, and backups in one place only."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, func, select

from app.db.models import Entry, Sheet, Stack, table_of
from app.db.standing import STANDS
from app.domain.language import say, say_n
from app.domain.stages import STEP_WORDS, Step
from app.domain.stalls import Limit, is_stalled
from app.domain.words import age
from app.queries.backups import BackupsKept, backups_kept
from app.queries.need import Asked, Need, NeedKind, of_sheet, of_stack

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
_AFTER_NOW = (
    select(ENTRY.c.step, ENTRY.c.happened_at, SHEET.c.number, Stack.name.label("stack"))
    .outerjoin(SHEET, (ENTRY.c.subject_kind == "sheet") & (SHEET.c.id == ENTRY.c.subject_id))
    .outerjoin(Stack, (ENTRY.c.subject_kind == "stack") & (Stack.id == ENTRY.c.subject_id))
    .where(ENTRY.c.happened_at > bindparam("now"), ENTRY.c.step != Step.CORRECT, STANDS)
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)
_FIRST = select(ENTRY.c.recorded_at).where(ENTRY.c.id == select(func.min(Entry.id)).scalar_subquery())


def after_now(asked: Asked, kind: NeedKind) -> list[Need]:
    """Entries that stand and are dated after now."""
    return [_dated_after(asked, kind, row) for row in asked.session.execute(_AFTER_NOW, {"now": asked.judged.now})]


def backup_due(asked: Asked, kind: NeedKind) -> list[Need]:
    """The room itself, when it was last backed up too long ago, or never since its first entry; else its backups, when the
    last one failed, or found log and room to differ; and those, too, when they lie in one place only.
    """
    kept, judged = backups_kept(asked.session), asked.judged
    since = kept.last_at or asked.session.execute(_FIRST).scalar()
    if since is None:
        return []
    found = []
    if is_stalled(Limit(hours=judged.house.backup_h), since, judged.now, judged.calendar):
        never = say("was never backed up")
        what = say("{what} {age} ago", what=kind.words, age=age(since, judged.now)) if kept.last_at else never
        found.append(Need(kind.name, say("The room's data"), what, since, say(kind.do), "backup", "", "", about="room"))
    elif words := _wrong_with(kept):
        found.append(_of_backups(kind, words, kept.last_at, "last backup"))
    if kept.last_at is not None and kept.words:
        found.append(_of_backups(kind, say(kept.words), kept.since, f"second place {kept.state}"))
    return found


def _wrong_with(kept: BackupsKept) -> str:
    if kept.failed:
        return say("could not be made: {why}", why=kept.failed)
    if not kept.differences:
        return ""
    return say_n(
        "found {n:,} difference between log and room", "found {n:,} differences between log and room", kept.differences
    )


def _of_backups(kind: NeedKind, what: str, since: datetime | None, about: str) -> Need:
    return Need(kind.name, say("The backups"), what, since, say("see to it"), "backup", "", "", about=about)


def _dated_after(asked: Asked, kind: NeedKind, row: Any) -> Need:
    what = say("“{deed}” {what}", deed=STEP_WORDS[Step(row.step)][1], what=kind.words)
    if row.number is not None:
        return of_sheet(asked, kind, row.number, row.happened_at, "", what)
    return of_stack(kind, row.stack or "", row.happened_at, what)
