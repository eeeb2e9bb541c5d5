"""What is known of a sheet for whoever mounts it, for those who write (its answer when taken up) and who read (its page)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Cabinet,
    Consignment,
    Entry,
    Finding,
    Hold,
    Inspection,
    Sheet,
    Shelf,
    Specimen,
    Stack,
    Station,
    table_of,
)
from app.db.prepared import Question, prepared
from app.db.standing import STANDS
from app.domain.brief import Before, BriefFacts, OtherSheet, Query
from app.domain.findings import kind_words
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.domain.stages import STAGES, Stage, Step

SHEET, SPECIMEN, CONSIGNMENT = table_of(Sheet), table_of(Specimen), table_of(Consignment)
ENTRY, HOLD, FINDING, INSPECTION = table_of(Entry), table_of(Hold), table_of(Finding), table_of(Inspection)
CABINET, SHELF, STACK, STATION = table_of(Cabinet), table_of(Shelf), table_of(Stack), table_of(Station)
ADHESIVE = table_of(Adhesive)
LABEL_TO_COME = "label-to-come"
QUERIES = ("label-query", "number-query", "name-query")
JUDGED = (Step.INSPECT.value, Step.BACK_TO_TABLE.value)

_SHEET = prepared(
    select(
        SHEET.c.id, SHEET.c.stage, SHEET.c.has_label, SHEET.c.bulk, SHEET.c.pieces, SHEET.c.notes, SHEET.c.part, SHEET.c.holds,
        SHEET.c.specimen_id, SPECIMEN.c.sheets.label("parts"), SPECIMEN.c.exchange_at, SPECIMEN.c.exchange_why,
        CONSIGNMENT.c.note.label("of_consignment"),
    )
    .select_from(SHEET)
    .outerjoin(SPECIMEN, SPECIMEN.c.id == SHEET.c.specimen_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(SHEET.c.id == bindparam("sheet"))
)  # fmt: skip
_OTHERS = prepared(
    select(SHEET.c.part, SHEET.c.number, SHEET.c.stage, CABINET.c.name.label("cabinet"), SHELF.c.name.label("shelf"),
           STACK.c.name.label("stack"), STATION.c.name.label("on_table"))
    .select_from(SHEET)
    .outerjoin(CABINET, CABINET.c.id == SHEET.c.cabinet_id)
    .outerjoin(SHELF, SHELF.c.id == SHEET.c.shelf_id)
    .outerjoin(STACK, STACK.c.id == SHEET.c.stack_id)
    .outerjoin(STATION, STATION.c.id == SHEET.c.table_id)
    .where(SHEET.c.specimen_id == bindparam("specimen"), SHEET.c.id != bindparam("sheet"), SHEET.c.closed_as.is_(None))
    .order_by(SHEET.c.part, SHEET.c.number)
)  # fmt: skip
_HOLDS = prepared(
    select(HOLD.c.kind, HOLD.c.why)
    .where(HOLD.c.sheet_id == bindparam("sheet"), HOLD.c.lifted_at.is_(None))
    .order_by(HOLD.c.put_at, HOLD.c.id)
)
_MOUNTED = prepared(
    select(ENTRY.c.happened_at, ENTRY.c.facts)
    .where(
        ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == bindparam("sheet"), ENTRY.c.step == Step.MOUNT.value,
        STANDS,
    )
    .order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc()).limit(1)
)  # fmt: skip
_ADHESIVE = prepared(select(ADHESIVE.c.name).where(ADHESIVE.c.id == bindparam("adhesive")))
_FOUND = (
    select(FINDING.c.kind, FINDING.c.note)
    .join(INSPECTION, INSPECTION.c.id == FINDING.c.inspection_id)
    .where(INSPECTION.c.sheet_id == bindparam("sheet"), INSPECTION.c.inspected_at >= bindparam("since"))
    .order_by(FINDING.c.id)
)
_REASONS = (
    select(ENTRY.c.reason)
    .where(
        ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == bindparam("sheet"), ENTRY.c.happened_at >= bindparam("since"),
        ENTRY.c.step.in_(JUDGED), ENTRY.c.reason.is_not(None),
        STANDS,
    )
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)  # fmt: skip


def brief_ahead(sheet_id: int) -> Iterator[Question]:
    """What is asked for the brief of a sheet that waits to be mounted."""
    yield _SHEET, {"sheet": sheet_id}
    yield _MOUNTED, {"sheet": sheet_id}


def facts_for_brief(session: Session, sheet_id: int, patterns: Sequence[Pattern]) -> BriefFacts:
    """What is known of one sheet for its brief. An earlier mounting is told of a sheet that waits to be mounted again."""
    row = session.execute(_SHEET, {"sheet": sheet_id}).one()
    parts, held = row.parts or 1, frozenset((row.holds or "").split())
    return BriefFacts(
        has_label=bool(row.has_label) and LABEL_TO_COME not in held, bulk=row.bulk, pieces=row.pieces, notes=row.notes or "",
        part=row.part, parts=parts, others=_others(session, row, patterns) if parts > 1 else (),
        queries=_queries(session, sheet_id) if held & set(QUERIES) else (), decided=tuple(_decided(row)),
        before=_before(session, sheet_id) if row.stage == Stage.READY else None,
    )  # fmt: skip


def _others(session: Session, row: Any, patterns: Sequence[Pattern]) -> tuple[OtherSheet, ...]:
    found = session.execute(_OTHERS, {"specimen": row.specimen_id, "sheet": row.id})
    return tuple(OtherSheet(each.part, shown(each.number, patterns), _where(each)) for each in found)


def _where(row: Any) -> str:
    if row.cabinet:
        if not row.shelf:
            return say("in {cabinet}", cabinet=row.cabinet)
        return say("in {cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf)
    if row.stack:
        return say("in stack {stack}", stack=row.stack)
    if row.on_table:
        return say("at {table}", table=row.on_table)
    return say(STAGES[Stage(row.stage)].words).lower() if row.stage else say("not taken in yet")


def _queries(session: Session, sheet_id: int) -> tuple[Query, ...]:
    rows = session.execute(_HOLDS, {"sheet": sheet_id})
    return tuple(Query(HOLDS[row.kind].words, row.why or "") for row in rows if row.kind in QUERIES)


def _decided(row: Any) -> list[str]:
    """What was settled about a sheet, or about all that came with it."""
    found = [say("Of its consignment: {decision}", decision=row.of_consignment)] if row.of_consignment else []
    if row.exchange_at is not None:
        found.append(say("Free to go in exchange: {why}", why=row.exchange_why or say("no reason given")))
    return found


def _before(session: Session, sheet_id: int) -> Before | None:
    mounted = session.execute(_MOUNTED, {"sheet": sheet_id}).one_or_none()
    if mounted is None:
        return None
    since = {"sheet": sheet_id, "since": mounted.happened_at}
    found = session.execute(_FOUND, since).all()
    notes = [row.note for row in found if row.note] + list(session.execute(_REASONS, since).scalars())
    kinds = tuple(dict.fromkeys(kind_words(row.kind) for row in found))
    glue = session.execute(_ADHESIVE, {"adhesive": mounted.facts.get("sets", {}).get("adhesive_id")}).scalar()
    return Before(mounted.happened_at, str(glue or ""), kinds, tuple(dict.fromkeys(notes)))
