"""Lines about the freezer: a load that came out too early, a freezer without power, a clean cabinet in doubt, what is due."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import select

from app.db.models import Cabinet, Entry, table_of
from app.db.standing import STANDS
from app.domain.day import day_of
from app.domain.freezing import FREEZER_STEPS
from app.domain.language import say
from app.domain.stages import Step
from app.domain.words import sheets_said
from app.queries.freezers import INSIDE, LoadView, load_views
from app.queries.need import Asked, Need, NeedKind

CABINET = table_of(Cabinet)
ENTRY = table_of(Entry)


def out_too_early(asked: Asked, kind: NeedKind) -> list[Need]:
    """Loads that came out of the freezer too early and were neither put back nor opened."""
    return [_of_load(kind, view, view.out_at) for view in _loads(asked, "early")]


def without_power(asked: Asked, kind: NeedKind) -> list[Need]:
    """Freezers of which the last word is that they have no power, or are being defrosted, while nobody knows until when."""
    rows = _happened(asked)
    last = {row.subject_id: row for row in rows}
    off = [row for row in last.values() if row.step in (Step.POWER_CUT, Step.DEFROSTED) and not row.facts.get("ends")]
    words = {Step.POWER_CUT: say("has no power by the log"), Step.DEFROSTED: say("is being defrosted by the log")}
    return [
        Need(kind.name, row.name, words[Step(row.step)], row.happened_at, say(kind.do), "freezer", row.name, "",
             about=f"cabinet {row.name}")
        for row in off
    ]  # fmt: skip


def clean_in_doubt(asked: Asked, kind: NeedKind) -> list[Need]:
    """Clean cabinets to which an untreated sheet was brought, or into which one was put, until somebody says how it is."""
    found = select(CABINET.c.name, CABINET.c.is_clean, CABINET.c.unclean_at).where(CABINET.c.unclean_at.is_not(None))
    rows = asked.session.execute(found.order_by(CABINET.c.unclean_at, CABINET.c.name))
    return [
        Need(kind.name, row.name, say(kind.words) if row.is_clean else say("is no longer clean"), row.unclean_at,
             say(kind.do), "clean", row.name, "", about=f"cabinet {row.name}")
        for row in rows
    ]  # fmt: skip


def load_due(asked: Asked, kind: NeedKind) -> list[Need]:
    """Loads that may come out, or be opened, before the room opens again after today."""
    until = day_of(asked.judged.now, asked.judged.calendar).opens_at
    due = [view for view in _loads(asked, "ready", "warm", "in", "out") if view.at is not None and view.at < until]
    return [_of_load(kind, view, view.at, _due_words(view)) for view in due]


def _due_words(view: LoadView) -> str:
    sheets = sheets_said(view.sheets)
    if view.state in INSIDE:
        return say("{sheets}: may come out", sheets=sheets)
    return say("{sheets}: may be opened", sheets=sheets)


def _happened(asked: Asked) -> list[Any]:
    """The standing entries of the freezers, in the order in which they happened."""
    freezers = select(CABINET.c.id).where(CABINET.c.freezes_to_c.is_not(None), CABINET.c.closed_at.is_(None))
    ids = list(asked.session.execute(freezers).scalars())
    if not ids:
        return []
    found = (
        select(ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.facts, ENTRY.c.happened_at, CABINET.c.name)
        .join(CABINET, CABINET.c.id == ENTRY.c.subject_id)
        .where(ENTRY.c.subject_kind == "cabinet", ENTRY.c.subject_id.in_(ids), STANDS)
        .where(ENTRY.c.step.in_([step for step in FREEZER_STEPS if step is not Step.STAYED_COLD]))
        .order_by(ENTRY.c.happened_at, ENTRY.c.id)
    )
    return list(asked.session.execute(found))


def _loads(asked: Asked, *states: str) -> list[LoadView]:
    return [view for view in load_views(asked.session, asked.judged.now) if view.state in states]


def _of_load(kind: NeedKind, view: LoadView, since: datetime | None, what: str = "") -> Need:
    return Need(kind.name, view.name, what or say(kind.words), since, say(kind.do), "load", view.code, "", many=max(view.sheets, 1),
                about=f"load {view.code}", is_grave=kind.is_grave)  # fmt: skip
