"""What the manager does about a pest that was seen: its neighbours into quarantine at once, and closing it with what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select, update

from app.db.models import Entry, PestSeen, table_of
from app.db.neighbours import Neighbour, neighbours
from app.db.standing import STANDS
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say, say_n
from app.domain.numbers import shown
from app.domain.stages import STEP_WORDS, Step
from app.services.changes import changed
from app.services.desk import Desk
from app.services.quarantine import AT_ONCE, Quarantined, quarantine, rows_of

PEST = table_of(PestSeen)
ENTRY = table_of(Entry)


def quarantine_neighbours(desk: Desk, pest_id: int, since: datetime, all_but: Mapping[str, str]) -> Answer:
    """Put every neighbour of a sighting in quarantine with the reason of the request; `all_but` are the numbers that are
    left out, each with why. Nobody has to name the others: they are found again in the same transaction.

    Refused: manager-only, reason-needed, already-corrected for one that was closed.
    """
    pest = _open(desk, pest_id)
    _by_manager_with_reason(desk)
    if any(not why.strip() for why in all_but.values()):
        raise Refused(
            Refusal("reason-needed", say("It must be said why a sheet is left out."), say("Say why."), "which-one")
        )
    found = neighbours(desk.session, pest, since)
    rows = rows_of(desk, (each.sheet_id for each in found))
    going = [row for row in rows if row["number"] not in all_but]
    out = [row for row in rows if row["number"] in all_but]
    done = quarantine(desk, going, desk.request.reason, {"pest": pest_id}, _treated_since(desk, found))
    for row in out:
        _change(desk, pest_id, f"{row['number']} left out", why=all_but[row["number"]])
    _change(desk, pest_id, "neighbours in quarantine", new=str(len(done.held)), why=desk.request.reason)
    values = {"since_at": since, "quarantined": (pest.quarantined or 0) + len(done.held)}
    desk.session.execute(update(PEST).where(PEST.c.id == pest_id).values(values))
    return _answer(desk, done, [{"number": row["number"], "why": all_but[row["number"]]} for row in out])


def close_sighting(desk: Desk, pest_id: int) -> Answer:
    """Say what was done about a sighting; it needs nobody any more. Refused as putting its neighbours in quarantine is."""
    _open(desk, pest_id)
    _by_manager_with_reason(desk)
    by = desk.by[0].worker_id if desk.by else None
    values = {"closed_at": desk.now, "closed_by": by, "why": desk.request.reason}
    desk.session.execute(update(PEST).where(PEST.c.id == pest_id).values(values))
    _change(desk, pest_id, "closed", why=desk.request.reason)
    return Answer("done", say("Closed."), (say("What is in quarantine stays in it until its hold is lifted."),))


def _open(desk: Desk, pest_id: int) -> Any:
    pest = desk.session.execute(select(PEST).where(PEST.c.id == pest_id).with_for_update()).one_or_none()
    if pest is None:
        raise Refused(Refusal("unknown-number", say("There is no such sighting."), say("Look at the list of them.")))
    if pest.closed_at is not None:
        raise Refused(
            Refusal("already-corrected", say("This was closed."), say("If a pest is seen again, say so anew."))
        )
    return pest


def _by_manager_with_reason(desk: Desk) -> None:
    if not desk.request.manages:
        raise Refused(Refusal("manager-only", say("Only the manager does this."), say("Tell the manager.")))
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("A reason is needed; it stays in the log."), say("Say why."), "which-one")
        )


def _treated_since(desk: Desk, found: Sequence[Neighbour]) -> set[int]:
    """Those whose load was opened, treated, after they were last together with it: that treatment still counts."""
    last = {
        each.sheet_id: max(filter(None, ends))
        for each in found
        if (ends := [how.ends for how in each.shared]) and all(ends)
    }
    ids, treated = sorted(last), set[int]()
    for at in range(0, len(ids), AT_ONCE):
        entries = select(ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.facts).where(
            ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(ids[at : at + AT_ONCE]), ENTRY.c.step == Step.UNBAG,
            STANDS,
        )  # fmt: skip
        rows = desk.session.execute(entries)
        treated |= {row.subject_id for row in rows if row.happened_at >= last[row.subject_id] and _treats(row.facts)}
    return treated


def _treats(facts: Mapping[str, Any]) -> bool:
    return facts.get("sets", {}).get("treated_until") is not None


def _change(desk: Desk, pest_id: int, what: str, *, new: str | None = None, why: str) -> None:
    by = desk.by[0].worker_id if desk.by else None
    changed(desk.session, desk.now, by, "pest", pest_id, what, new=new, why=why)


def _answer(desk: Desk, done: Quarantined, out: list[dict[str, str]]) -> Answer:
    lines = [say_n("{n:,} sheet put in quarantine.", "{n:,} sheets put in quarantine.", len(done.held))]
    lines += [
        say("{number} was not: {why}", number=shown(each["number"], desk.patterns), why=each["why"])
        for each in (*done.left, *out)
    ][:20]
    lines += [say("{name} is no longer clean.", name=name) for name in done.cabinets]
    entry = desk.written[-1] if desk.written else None
    return Answer(
        "done",
        say(STEP_WORDS[Step.QUARANTINE][1]).capitalize() + ".",
        tuple(lines),
        say("Print the list, and walk along it."),
        entry=entry,
        moved=done.held,
        left=(*done.left, *out),
    )
