"""The first manager: asked for with a code that only the console shows, until there is one."""

from __future__ import annotations

import secrets
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.db.models import Setting, table_of
from app.db.upsert import replacing
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.services.people import add_worker, has_manager, secret_hash, set_password

SETTING = table_of(Setting)
NAME = "first-manager-code"
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"


def make_first_code(session: Session) -> str | None:
    """A new code for the first manager, to be shown on the console; None when the room has a manager already."""
    if has_manager(session):
        return None
    code = "-".join("".join(secrets.choice(LETTERS) for _ in range(4)) for _ in range(3))
    dialect = session.get_bind().dialect.name
    session.execute(replacing(dialect, SETTING, ("value",)), {"name": NAME, "value": secret_hash(code)})
    return code


def become_first_manager(session: Session, code: str, name: str, password: str, now: datetime) -> int:
    """Make the first manager; refused with a wrong code, or once there is a manager. ValueError for a weak password."""
    kept = session.execute(select(SETTING.c.value).where(SETTING.c.name == NAME)).scalar()
    tidy = code.strip().upper()
    if kept is None or has_manager(session) or not secrets.compare_digest(kept, secret_hash(tidy)):
        raise Refused(
            Refusal(
                "manager-only",
                say("That is not the code in the window."),
                say("Read it off the window where Blotter runs."),
            )
        )
    worker_id, _badge = add_worker(session, name, ("manager", "trainer", "volunteer"), now)
    set_password(session, worker_id, password, now, by=worker_id)
    session.execute(delete(SETTING).where(SETTING.c.name == NAME))
    return worker_id
