"""Sheets that are out: with whom, why, and when they are due back. The next scan of one here ends it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import select

from app.db.models import Hold, table_of
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.holds import OUT
from app.domain.language import say
from app.services import saying
from app.services.custody import standing_of
from app.services.deeds import put_hold, sheet_asked
from app.services.desk import Desk
from app.services.loads import load_of_bundle

HOLD = table_of(Hold)


def send_out(desk: Desk, with_whom: str, due_on: date | None) -> Answer:
    """Write that a sheet goes out, with whom and until when; the reason is the request's.

    Refused: on-hold for one that is out already or in quarantine, wrong-stage for one that is glued and not yet dry, in
    the freezer, or filed, on-another-table, out-of-order for a day that has passed, reason-needed, manager-only.
    """
    row = sheet_asked(desk)
    if OUT in standing_of(row).holds:
        raise Refused(_out_already(desk, row["id"]))
    if (load := _load_of(desk, row["bundle_id"])) is not None:
        raise Refused(
            Refusal(
                "wrong-stage",
                say("It is in the freezer, in {load}.", load=load),
                say("Send it out when the load is opened."),
            )
        )
    facts: dict[str, Any] = {"with_whom": " ".join(with_whom.split())}
    if due_on is not None:
        facts["due_on"] = due_on.isoformat()
    desk.request = replace(desk.request, facts={**desk.request.facts, **facts})
    answer = put_hold(desk, OUT)
    if answer.kind != "done":
        return answer
    return replace(
        saying.with_lines(answer, say("It is out with {with_whom}.", with_whom=facts["with_whom"])),
        word=say("Sent out."),
    )


def _out_already(desk: Desk, sheet_id: int) -> Refusal:
    mine = (HOLD.c.sheet_id == sheet_id, HOLD.c.kind == OUT, HOLD.c.lifted_at.is_(None))
    out = desk.session.execute(select(HOLD.c.with_whom, HOLD.c.put_at).where(*mine)).one()
    words = (
        say("It is out already, with {with_whom}, since {{since}}.", with_whom=out.with_whom)
        if out.with_whom
        else say("It is out already.")
    )
    return Refusal("on-hold", words, say("When it is here, scan it, or lift the hold."), facts={"since": out.put_at})


def _load_of(desk: Desk, bundle_id: int | None) -> str | None:
    load = load_of_bundle(desk.session, bundle_id)
    return load["name"] if load is not None else None
