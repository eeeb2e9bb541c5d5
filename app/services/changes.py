"""What is changed besides sheets is written down too: who, when, what, old, new, why."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.db.models import Change, table_of
from app.domain.language import mark, say

CHANGE = table_of(Change)
# What is written of changes, and by itself as a reason, is kept in these words and said when it is read.
WORDS = (
    mark("adhesive"), mark("bundle"), mark("cabinet"), mark("calendar"), mark("consignment"), mark("file"), mark("filing"),
    mark("hazard"), mark("house rule"), mark("needs a person"), mark("number pattern"), mark("pest"), mark("room"),
    mark("specimen"), mark("stack"), mark("station"), mark("token"), mark("worker"),
    mark("added"), mark("backed up"), mark("browser enrolled"), mark("browser left"), mark("closed"), mark("dates"),
    mark("how it dries"), mark("made"), mark("name replaced by the number"), mark("named for suspected sheets"),
    mark("neighbours in quarantine"), mark("new badge"), mark("no longer named for suspected sheets"),
    mark("order of families"), mark("password set"), mark("PIN set"), mark("place in the order"), mark("practice slips"),
    mark("practises"), mark("pressed"), mark("retired"), mark("revoked"), mark("rights"), mark("sign-off ended"),
    mark("signed off"), mark("signed out"), mark("taken up again"),
    mark("by the alphabet"), mark("clean"), mark("cleared"), mark("free"), mark("no"), mark("no place"), mark("no text"),
    mark("not clean"), mark("open"), mark("practice"), mark("real work"), mark("said"), mark("stays here"), mark("yes"),
    mark("asked for anew"), mark("Found there in the cabinet check."), mark("Found without a number or a label."),
    mark("no longer wanted"), mark("not me: credited to the right worker"), mark("put together"), mark("undone by card"),
)  # fmt: skip


def changed(session: Session, now: datetime, by: int | None, subject: str, subject_id: int | None, what: str, *,
            old: str | None = None, new: str | None = None, why: str | None = None) -> None:  # fmt: skip
    """Write down one change."""
    values = {"changed_at": now, "changed_by": by, "subject": subject, "subject_id": subject_id, "what": what, "old": old,
              "new": new, "why": why}  # fmt: skip
    session.execute(insert(CHANGE), values)
    session.info["changes the room"] = True


def reason_given(why: str) -> str:
    """A reason, without the space around it. ValueError, in a sentence, where there is none."""
    if not why.strip():
        raise ValueError(say("Say why; it stays in the history."))
    return why.strip()
