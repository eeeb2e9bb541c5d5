"""Lines about glue and weights: what must be under weight and is not, and what may come out and does not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import bindparam, not_, select

from app.db.models import Doubt, Entry, Sheet, table_of
from app.db.standing import STANDS
from app.domain.holds import AWAY
from app.domain.language import say
from app.domain.limits import limit_of
from app.domain.stages import Stage, Step
from app.domain.stalls import is_stalled
from app.domain.words import duration, sheets_said
from app.queries.kinds import IN_QUEUE, among
from app.queries.need import Asked, Need, NeedKind, of_sheet, of_stack

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
# How it came to be glued and not under weight: not what else was done to it since.
_LAST_STEP = (
    select(ENTRY.c.step)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == SHEET.c.id,
           ENTRY.c.step.in_((Step.MOUNT, Step.RE_GLUE, Step.FOUND_OUT)), STANDS)
    .order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())
    .limit(1)
    .correlate(SHEET)
    .scalar_subquery()
)  # fmt: skip
_MOUNTED = (
    select(SHEET.c.number, SHEET.c.came_at, _LAST_STEP.label("last_step"))
    .where(IN_QUEUE, SHEET.c.stage == Stage.MOUNTED, not_(among(SHEET.c.holds, AWAY)))
    .order_by(SHEET.c.came_at, SHEET.c.id)
)
# In two readings, because nothing says to the database that doubts are few and entries many.
_DOUBTS = (
    select(Doubt.entry_id, Doubt.short_s, Doubt.raised_at)
    .where(Doubt.settled_at.is_(None))
    .order_by(Doubt.raised_at, Doubt.id)
)
_DOUBTED = (
    select(ENTRY.c.id, SHEET.c.number)
    .join(SHEET, SHEET.c.id == ENTRY.c.subject_id)
    .where(ENTRY.c.id.in_(bindparam("entries", expanding=True)), SHEET.c.closed_as.is_(None))
)


def mounted_too_long(asked: Asked, kind: NeedKind) -> list[Need]:
    """Sheets that were glued and have not been laid under weight for longer than the house allows."""
    limit = limit_of(Stage.MOUNTED, asked.judged.house)
    assert limit is not None
    rows = [row for row in _mounted(asked) if row.last_step != Step.FOUND_OUT]
    late = [row for row in rows if is_stalled(limit, row.came_at, asked.judged.now, asked.judged.calendar)]
    return [of_sheet(asked, kind, row.number, row.came_at, "mounted") for row in late]


def out_early(asked: Asked, kind: NeedKind) -> list[Need]:
    """Sheets that were found out of their stack before their time."""
    rows = [row for row in _mounted(asked) if row.last_step == Step.FOUND_OUT]
    return [of_sheet(asked, kind, row.number, row.came_at, "mounted") for row in rows]


def weights_off(asked: Asked, kind: NeedKind) -> list[Need]:
    """Stacks with sheets in them that have stood without weights for longer than the house allows."""
    bare = [stack for stack in asked.stacks if stack.off_too_long]
    said = [say("{sheets} {what}", sheets=sheets_said(stack.sheets), what=kind.words) for stack in bare]
    found = [of_stack(kind, stack.name, stack.bare_since, what, stack.sheets)
             for stack, what in zip(bare, said, strict=True)]  # fmt: skip
    return sorted(found, key=lambda need: str(need.since))


def called_in_question(asked: Asked, kind: NeedKind) -> list[Need]:
    """Take-outs that would have been refused by what is known now, of sheets that were not withdrawn since."""
    doubts = asked.session.execute(_DOUBTS).all()
    entries = {"entries": [doubt.entry_id for doubt in doubts]}
    numbers = {row.id: row.number for row in asked.session.execute(_DOUBTED, entries)} if doubts else {}
    return [
        of_sheet(asked, kind, numbers[doubt.entry_id], doubt.raised_at, "",
                 say("came out {time} {what}", time=duration(doubt.short_s), what=kind.words))
        for doubt in doubts if doubt.entry_id in numbers
    ]  # fmt: skip


def ready_forgotten(asked: Asked, kind: NeedKind) -> list[Need]:
    """Stacks in which sheets lie that were ready longer ago than the house allows."""
    found = []
    for stack in asked.stacks:
        since = [layer.ready_since for layer in stack.layers if layer.forgotten and layer.ready_since is not None]
        if since:
            what = say("{sheets} {what}", sheets=sheets_said(len(since)), what=kind.words)
            found.append(of_stack(kind, stack.name, min(since), what, len(since)))
    return sorted(found, key=lambda need: str(need.since))


def count_differs(asked: Asked, kind: NeedKind) -> list[Need]:
    """Stacks in which somebody counted another number of sheets than lie there by the log."""
    differing = [stack for stack in asked.stacks if stack.count_differs]
    said = [
        say("{counted} counted, {expected} {by}", counted=stack.counted, expected=stack.counted_of, by=kind.words)
        for stack in differing
    ]
    return [of_stack(kind, stack.name, stack.counted_at, what)
            for stack, what in zip(differing, said, strict=True)]  # fmt: skip


def _mounted(asked: Asked) -> Sequence[Any]:
    return asked.session.execute(_MOUNTED).all()
