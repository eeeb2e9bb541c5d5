"""A glued sheet that nobody scanned as mounted: it is asked who glued it, and written as it is."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Entry, EntryWorker, Worker, table_of
from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.attempt import Attempt, WorkerFacts
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import refusals
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.services.custody import enter
from app.services.describing import describe
from app.services.desk import Desk, workers_named
from app.services.facts import make_attempt
from app.services.writers import writing_for

WORKER = table_of(Worker)


def ask_who_glued(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    """Ask by whom a sheet was glued: whoever took it up is offered first, then those signed in here, or a badge."""
    sheet = describe(desk.session, row, desk.patterns)
    offered = {worker.worker_id: worker for worker in (*_took_it_up(desk, row, standing), *desk.by)}
    choices = tuple(Choice(worker.name, "facts.glued_by", worker.number) for worker in offered.values())
    carry = {"code": row["number"], "step": Step.PUT_UNDER_WEIGHT.value, "already_done": "1"}
    if desk.request.stack:
        carry["stack"] = desk.request.stack
    desk.keep(pending=dict(carry))
    line = say("Just re-glued? By whom?") if standing.stage is Stage.DRY else say("Just glued? By whom?")
    return Answer(
        "which-one", WORDS["which-one"], (line,), say(
"Choose, or scan the badge of whoever glued it. If there is no glue on it, put it back where it "
"was."
), sheet, Step.PUT_UNDER_WEIGHT.value, choices=choices,
        ask=Ask("facts.glued_by", say("Another worker's number")), carry=carry,
    )  # fmt: skip


def write_gluing(desk: Desk, row: RowMapping, standing: Standing) -> Standing:
    """Write that a sheet was mounted or re-glued, after the fact; held where a rule would have refused it."""
    step = Step.RE_GLUE if standing.stage is Stage.DRY else Step.MOUNT
    glued_by = _glued_by(desk, row, standing)
    attempt = make_attempt(desk, row, standing, step, by=glued_by, other_table="")
    broken = _broken(attempt)
    was_by, desk.by = desk.by, glued_by
    writing = writing_for(desk, row, attempt)
    desk.by = was_by
    holds = ("against-a-rule",) if broken else ()
    facts = {name: writing.facts[name] for name in ("used",) if name in writing.facts}
    facts |= {"broke": sorted({refusal.code for refusal in broken})} if broken else {}
    writing = replace(writing, after_the_fact=True, holds=holds, by=glued_by, facts=facts)
    return enter(desk, row["id"], standing, writing)[1]


def _broken(attempt: Attempt) -> list[Refusal]:
    """What mounting would have been refused for; one that was taken up has answered for the rest already."""
    found = refusals(attempt)
    if attempt.step is Step.MOUNT and (found or attempt.unnamed):
        found += refusals(replace(attempt, step=Step.TAKE_UP))
    return found


def _took_it_up(desk: Desk, row: RowMapping, standing: Standing) -> tuple[WorkerFacts, ...]:
    if standing.place.table_id is None:
        return ()
    last = (
        select(EntryWorker.worker_id)
        .join(Entry, Entry.id == EntryWorker.entry_id)
        .where(Entry.subject_kind == "sheet", Entry.subject_id == row["id"], Entry.step == Step.TAKE_UP)
        .order_by(Entry.id.desc(), EntryWorker.worker_id)
    )
    found = desk.session.execute(last).scalars().all()
    return workers_named(desk.session, tuple(found[:1]), desk.house)


def _glued_by(desk: Desk, row: RowMapping, standing: Standing) -> tuple[WorkerFacts, ...]:
    named = desk.request.facts.get("glued_by")
    if named is None:
        return _took_it_up(desk, row, standing) or desk.by
    found = desk.session.execute(select(WORKER.c.id).where(WORKER.c.number == str(named).upper())).scalars().all()
    workers = workers_named(desk.session, tuple(found), desk.house)
    if not workers:
        words = say("There is no worker with the number {number} here.", number=named)
        raise Refused(
            Refusal("unknown-worker", words, say("Lay the sheet under weight all the same, and scan their badge."))
        )
    return workers
