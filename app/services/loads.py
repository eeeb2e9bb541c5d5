"""Loads for the freezer: made, found by their card, and folded anew from what the log says of them and of their freezers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, func, insert, or_, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Entry, FreezerLoad, LoadBundle, Sheet, table_of
from app.domain.attempt import LoadFacts
from app.domain.errors import Refusal, Refused
from app.domain.freezing import LOAD_STEPS, WARMING, ColdRule, Mark, Times, Warming, times_of
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.stages import Step
from app.services.codes_given import next_code
from app.services.desk import Desk
from app.services.log import standing_rows
from app.services.room import add_bundle

LOAD = table_of(FreezerLoad)
TIED = table_of(LoadBundle)
SHEET = table_of(Sheet)
CABINET = table_of(Cabinet)
ENTRY = table_of(Entry)
# A bag that somebody walked away from must not take in what the next one scans here (no source).
FILLING = timedelta(minutes=30)


def make_load(session: Session, now: datetime, name: str = "") -> RowMapping:
    """Begin a load: a bag or box with a card of its own, and a bundle for what lies loose in it."""
    serial = session.execute(select(func.count()).select_from(LOAD)).scalar_one() + 1
    named = " ".join(name.split())[:80] or f"Load {serial}"
    values = {
        "code": next_code(session, Kind.LOAD),
        "name": named,
        "bundle_id": add_bundle(session, named, "bag"),
        "made_at": now,
    }
    load_id = session.execute(insert(LOAD).values(values).returning(LOAD.c.id)).scalar_one()
    return load_by_id(session, load_id)


def load_by_code(session: Session, code: str) -> RowMapping:
    """The load with this card, locked; refused with unknown-number when there is none."""
    row = session.execute(select(LOAD).where(LOAD.c.code == code).with_for_update()).mappings().one_or_none()
    if row is None:
        raise Refused(
            Refusal("unknown-number", say("No load here has this card."), say("Look for it on the freezer's page."))
        )
    return row


def load_by_id(session: Session, load_id: int) -> RowMapping:
    """The load's row, locked until the transaction ends."""
    return session.execute(select(LOAD).where(LOAD.c.id == load_id).with_for_update()).mappings().one()


def load_facts(desk: Desk) -> LoadFacts | None:
    """The load that a sheet is to go in: the one that was named, or whose card was scanned last here."""
    code = desk.request.facts.get("load")
    row = load_by_code(desk.session, str(code)) if code is not None else being_filled(desk)
    if row is None:
        return None
    return LoadFacts(row["id"], row["name"], row["bundle_id"], row["put_in_at"] is not None)


def fill(desk: Desk, load: RowMapping) -> None:
    """What is scanned next at this station goes in this load, for as long as somebody goes on with it."""
    desk.keep(pending={"load": load["id"], "at": desk.now.isoformat()}, last_sheet_id=None)


def being_filled(desk: Desk) -> RowMapping | None:
    """The load that is being filled here; None when none is, or somebody walked away from it."""
    pending = desk.in_hand("pending") or {}
    if "load" not in pending or desk.now - datetime.fromisoformat(pending["at"]) > FILLING:
        return None
    return load_by_id(desk.session, pending["load"])


def untie(desk: Desk, rows: Sequence[Any]) -> None:
    """Entries no longer stand by which tied bundles were put into loads: they do not lie in them any more."""
    for row in rows:
        if row.step == Step.FREEZE and row.facts.get("tied"):
            mine = (TIED.c.load_id == row.facts["load"], TIED.c.bundle_id == row.facts["tied"])
            desk.session.execute(delete(TIED).where(*mine))


def sheets_of(session: Session, load: RowMapping) -> list[RowMapping]:
    """The sheets in a load, loose ones and those in tied bundles; their rows are locked."""
    tied = select(TIED.c.bundle_id).where(TIED.c.load_id == load["id"])
    mine = or_(SHEET.c.bundle_id == load["bundle_id"], SHEET.c.bundle_id.in_(tied))
    found = select(SHEET).where(mine, SHEET.c.closed_as.is_(None)).order_by(SHEET.c.number)
    return list(session.execute(found.with_for_update()).mappings())


def load_of_bundle(session: Session, bundle_id: int | None) -> RowMapping | None:
    """The load that was put into a freezer and not opened yet in which a bundle lies, or is; None when there is none."""
    tied = select(TIED.c.load_id).where(TIED.c.bundle_id == bundle_id)
    inside = (or_(LOAD.c.bundle_id == bundle_id, LOAD.c.id.in_(tied)), LOAD.c.put_in_at.is_not(None))
    return session.execute(select(LOAD).where(*inside, LOAD.c.opened_at.is_(None))).mappings().first()


def lying_in(session: Session, freezer_id: int) -> list[RowMapping]:
    """The loads that lie in a freezer now, the first put in first."""
    inside = (LOAD.c.freezer_id == freezer_id, LOAD.c.put_in_at.is_not(None), LOAD.c.out_at.is_(None))
    found = select(LOAD).where(*inside, LOAD.c.opened_at.is_(None)).order_by(LOAD.c.put_in_at, LOAD.c.id)
    return list(session.execute(found.with_for_update()).mappings())


def freezer_by_id(session: Session, cabinet_id: int) -> RowMapping | None:
    """The cabinet, if it is a freezer."""
    mine = (CABINET.c.id == cabinet_id, CABINET.c.freezes_to_c.is_not(None))
    return session.execute(select(CABINET).where(*mine).with_for_update()).mappings().one_or_none()


def times_by_log(session: Session, load_id: int) -> Times:
    """A load's times as its standing entries and those of its freezers tell them."""
    marks = [mark_of(row) for row in standing_rows(session, "load", load_id) if row.step in LOAD_STEPS]
    return times_of(marks, {each: warmings_of(session, each) for each in {mark.freezer_id for mark in marks} - {0}})


def warmings_of(session: Session, freezer_id: int) -> list[Warming]:
    """What warmed a freezer, by its standing entries, in the order in which it began."""
    rows = standing_rows(session, "cabinet", freezer_id)
    read = {row.facts["of"]: row.facts["highest_c"] for row in rows if row.step == Step.STAYED_COLD}
    runs = [row.happened_at for row in rows if row.step == Step.FREEZER_RUNS]
    found = (_warming(row, runs, read.get(row.id)) for row in rows if row.step in WARMING)
    return sorted(found, key=lambda each: each.begins)


def mark_of(row: Any) -> Mark:
    """One entry of a load, as the fold reads it."""
    facts, heard = row.facts, row.facts.get("counts_from")
    at = datetime.fromisoformat(heard) if heard else row.happened_at
    reading = facts.get("reading_c")
    if row.step != Step.LOAD_IN:
        return Mark(at, row.id, Step(row.step), reading_c=reading)
    rule = ColdRule(facts["rule_c"], facts["rule_days"])
    return Mark(at, row.id, Step.LOAD_IN, facts["freezer"], rule, facts["freezes_to_c"] <= rule.c, reading)


def row_of(times: Times) -> dict[str, Any]:
    """What a load's row holds by its times."""
    rule = times.rule
    return {
        "freezer_id": times.freezer_id, "put_in_at": times.put_in_at, "cold_at": times.cold_at, "cold_from": times.cold_from,
        "out_at": times.out_at, "opened_at": times.opened_at, "lowest_c": times.lowest_c, "treated": times.treated,
        "rule_c": rule.c if rule else None, "rule_days": rule.days if rule else None,
    }  # fmt: skip


def refold(desk: Desk, load_id: int) -> RowMapping:
    """Fold a load's log anew and write its row; how it stands then."""
    rows = standing_rows(desk.session, "load", load_id)
    last = max((row.happened_at for row in rows), default=None)
    values = {**row_of(times_by_log(desk.session, load_id)), "last_at": last}
    desk.session.execute(update(LOAD).where(LOAD.c.id == load_id).values(**values))
    return load_by_id(desk.session, load_id)


def touched_since(session: Session, freezer_id: int, since: datetime) -> Sequence[int]:
    """The loads to which it can matter what happened in a freezer at this moment."""
    told = select(ENTRY.c.subject_id, ENTRY.c.facts).where(ENTRY.c.subject_kind == "load", ENTRY.c.step == Step.LOAD_IN)
    may = select(LOAD.c.id).where(
        LOAD.c.put_in_at.is_not(None), or_(LOAD.c.opened_at.is_(None), LOAD.c.opened_at > since)
    )
    rows = session.execute(told.where(ENTRY.c.subject_id.in_(may)))
    return sorted({row.subject_id for row in rows if row.facts.get("freezer") == freezer_id})


def name_of(rows: Iterable[RowMapping]) -> str:
    """Loads by their names."""
    return ", ".join(row["name"] for row in rows)


def _warming(row: Any, runs: Sequence[datetime], highest_c: float | None) -> Warming:
    facts = row.facts
    begins = datetime.fromisoformat(facts["begins"]) if facts.get("begins") else row.happened_at
    ends = datetime.fromisoformat(facts["ends"]) if facts.get("ends") else None
    if row.step == Step.FREEZER_OPENED:
        ends = row.happened_at
    if ends is None:
        ends = next((at for at in runs if at >= begins), None)
    return Warming(begins, ends, highest_c)
