"""How a treatment reaches the sheets of a load, and leaves them; and which cabinets are clean."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Cabinet, Entry, Sheet, table_of
from app.db.standing import STANDS
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.freezing_rules import why_not_frozen
from app.domain.language import say, say_n
from app.domain.limits import treatment_holds
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.domain.treatment import NOT_TREATED, begun
from app.services.changes import changed
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk
from app.services.loads import sheets_of
from app.services.log import standing_rows
from app.services.wearing import is_clean

SHEET = table_of(Sheet)
CABINET = table_of(Cabinet)
ENTRY = table_of(Entry)


def unbag(desk: Desk, load: RowMapping) -> int:
    """Write of every sheet in a load that its bag was opened, and that it is treated if the load was; how many are."""
    rows = sheets_of(desk.session, load)
    frozen = _frozen_with(desk, load, rows)
    treatment = begun(desk.house, desk.calendar, desk.happened_at).sets() if load["treated"] else {}
    going = []
    for row in rows:
        stands = standing_of(row)
        counts = row["id"] in frozen and stands.stage is not None and why_not_frozen(stands.stage) is None
        facts = {"load": load["id"], "load_name": load["name"], "treated": bool(treatment and counts)}
        sets = treatment if counts else {}
        # Told late, or by a clock that was set back: a sheet of which more was written since hears of it behind that.
        at = max(desk.happened_at, row["last_at"] or desk.happened_at)
        writing = Writing(Step.UNBAG, stands.stage, stands.place, sets, facts=facts, happened_at=at)
        going.append((row["id"], stands, writing))
    if going:
        enter_many(desk, going)
    return sum(bool(writing.facts["treated"]) for _, _, writing in going)


def tell_again(desk: Desk, load: RowMapping, but_for: Collection[int] = ()) -> int:
    """What became known of a load that was opened: its sheets are treated by it, or no longer; how many heard of it."""
    treatment = begun(desk.house, desk.calendar, load["opened_at"]) if load["treated"] else NOT_TREATED
    facts = {"load": load["id"], "load_name": load["name"], "treated": bool(load["treated"])}
    going = []
    for row in _unbagged_from(desk, load):
        stands = standing_of(row)
        if row["id"] not in but_for and (load["treated"] or stands.treated_until is not None):
            writing = Writing(Step.TREATMENT, stands.stage, stands.place, treatment.sets(), facts=facts)
            going.append((row["id"], stands, replace(writing, happened_at=max(desk.now, row["last_at"] or desk.now))))
    if going:
        enter_many(desk, going)
    return len(going)


def set_clean(desk: Desk, cabinet_id: int, clean: bool) -> Answer:
    """The manager says that a cabinet is clean, or is not, and why. Refused: no-cabinet, manager-only, reason-needed."""
    if not desk.request.manages:
        raise Refused(
            Refusal("manager-only", say("Only the manager says whether a cabinet is clean."), say("Ask the manager."))
        )
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("A reason is needed; it stays with what was changed."), say("Say why."))
        )
    cabinet = _cabinet(desk, cabinet_id)
    many = mark_clean(desk, cabinet, clean, desk.request.reason, None if clean else desk.now)
    words = (
        say("{name} is clean: only treated sheets go into it.", name=cabinet["name"])
        if clean
        else say("{name} is not clean.", name=cabinet["name"])
    )
    return Answer("done", say("Written."), (words, *_treatment_said(many, clean)))


def _treatment_said(many: int, clean: bool) -> tuple[str, ...]:
    if not many:
        return ()
    if clean:
        return (
            say_n(
                "The treatment of {n} sheet in it stands still.",
                "The treatment of {n} sheets in it stands still.",
                many,
            ),
        )
    return (say_n("The treatment of {n} sheet in it runs on.", "The treatment of {n} sheets in it runs on.", many),)


def mark_clean(desk: Desk, cabinet: RowMapping, clean: bool, why: str, unclean_at: datetime | None) -> int:
    """Write whether a cabinet is clean, since when it no longer is, and what follows for the treated sheets in it."""
    by = desk.by[0].worker_id if desk.by else None
    said = {True: "clean", False: "not clean"}
    values = {"is_clean": clean, "unclean_at": unclean_at}
    desk.session.execute(update(CABINET).where(CABINET.c.id == cabinet["id"]).values(**values))
    changed(desk.session, desk.now, by, "cabinet", cabinet["id"], f"cleanness of {cabinet['name']}",
            old=said[bool(cabinet["is_clean"])], new=said[clean], why=why)  # fmt: skip
    if bool(cabinet["is_clean"]) == clean:
        return 0
    mine = (SHEET.c.cabinet_id == cabinet["id"], SHEET.c.treated_until > desk.now, SHEET.c.closed_as.is_(None))
    rows = desk.session.execute(select(SHEET).where(*mine).order_by(SHEET.c.id).with_for_update()).mappings().all()
    # Where such a sheet stands does not change; its entry says whether its open time runs, which the cabinet tells.
    going = [
        (row["id"], stands, Writing(Step.TREATMENT, stands.stage, stands.place, happened_at=desk.now))
        for row in rows
        if (stands := standing_of(row)).last_at is None or stands.last_at <= desk.now
    ]
    if going:
        enter_many(desk, going)
    return len(going)


def lose_clean(desk: Desk, row: RowMapping, was: Standing, now: Standing) -> None:
    """An untreated sheet was written into a clean cabinet: it is no longer clean, until somebody says why it is."""
    cabinet_id, treats = now.place.cabinet_id, desk.house.treat_before_mounting or desk.house.treat_before_filing
    if not treats or cabinet_id is None or cabinet_id == was.place.cabinet_id:
        return
    if not treatment_holds(now.treated_until, desk.happened_at) and is_clean(desk, now.place):
        why = f"{row['number']} was put into it and is not treated"
        mark_clean(desk, _cabinet(desk, cabinet_id), False, why, desk.happened_at)


def doubt_clean(desk: Desk, answer: Answer) -> None:
    """An untreated sheet was stopped at the door of a clean cabinet: it needs somebody to say that it is not in there."""
    cabinet_id = desk.in_hand("cabinet_id")
    if cabinet_id is None or "not-clean" not in {refusal["code"] for refusal in answer.refusals}:
        return
    asked = (CABINET.c.id == cabinet_id, CABINET.c.is_clean, CABINET.c.unclean_at.is_(None))
    desk.session.execute(update(CABINET).where(*asked).values(unclean_at=desk.now))


def _cabinet(desk: Desk, cabinet_id: int) -> RowMapping:
    found = select(CABINET).where(CABINET.c.id == cabinet_id).with_for_update()
    row = desk.session.execute(found).mappings().one_or_none()
    if row is None:
        raise Refused(Refusal("no-cabinet", say("There is no such cabinet."), say("Look at the cabinets.")))
    return row


def _frozen_with(desk: Desk, load: RowMapping, rows: Sequence[RowMapping]) -> set[int]:
    """The sheets that lay in the load when it was put in: the log says of each when it was put into it."""
    ids = [row["id"] for row in rows]
    mine = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(ids), ENTRY.c.step == Step.FREEZE, STANDS)
    found = desk.session.execute(select(ENTRY.c.subject_id, ENTRY.c.facts, ENTRY.c.happened_at).where(*mine))
    return {
        row.subject_id for row in found
        if row.facts.get("load") == load["id"] and load["put_in_at"] and row.happened_at <= load["put_in_at"]
    }  # fmt: skip


def _unbagged_from(desk: Desk, load: RowMapping) -> list[RowMapping]:
    """The sheets whose treatment, by the last word of their log on it, is that of this load."""
    # Since it was begun, so that the log is not gone through from its first day.
    told = (ENTRY.c.subject_kind == "sheet", ENTRY.c.step == Step.UNBAG, ENTRY.c.happened_at >= load["made_at"])
    found = desk.session.execute(select(ENTRY.c.subject_id, ENTRY.c.facts).where(*told)).all()
    ids = sorted({row.subject_id for row in found if row.facts.get("load") == load["id"]})
    return [_locked(desk, each) for each in ids if _last_of_load(desk, each) == load["id"]]


def _last_of_load(desk: Desk, sheet_id: int) -> Any:
    loads = [
        row.facts.get("load") if row.step in (Step.UNBAG, Step.TREATMENT) else None
        for row in standing_rows(desk.session, "sheet", sheet_id)
        if row.step == Step.UNBAG or (row.step == Step.TREATMENT and "load" in row.facts) or _ends_it(row)
    ]
    return loads[-1] if loads else None


def _ends_it(row: Any) -> bool:
    sets = row.facts.get("sets", {})
    return "treated_until" in sets and sets["treated_until"] is None


def _locked(desk: Desk, sheet_id: int) -> RowMapping:
    return desk.session.execute(select(SHEET).where(SHEET.c.id == sheet_id).with_for_update()).mappings().one()
