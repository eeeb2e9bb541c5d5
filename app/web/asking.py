"""What a page asks for by whoever is signed in at this browser, and the doing of it: once, however often its form is sent."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable

from flask import request

from app.db.engine import transaction
from app.domain.answer import Answer
from app.services.desk import Desk, ScanRequest
from app.services.scanning import once
from app.web.render import house
from app.web.scans import LONGEST_ID, occasion
from app.web.security import visitor


def sent_id() -> str:
    """The id under which the form was sent: what is sent again is answered as before. A fresh one where it brings none."""
    sent = request.form.get("scan_id", "")
    return sent if 0 < len(sent) <= LONGEST_ID else secrets.token_urlsafe(16)


def asked(code: str, reason: str | None) -> ScanRequest:
    """What the page asks for by the worker who is signed in at this browser, of the sheet or thing with this code ("": of none
    alone); with the rights of a manager where they are one.
    """
    who = visitor()
    assert who.worker_id is not None
    return ScanRequest(
        sent_id(), code, worker_ids=(who.worker_id,), reason=(reason or "").strip(), manages="manager" in who.rights
    )


def done_once(wanted: ScanRequest, act: Callable[[Desk], Answer], what: str) -> Answer:
    """The answer to what is asked for: done now in a transaction of its own, or kept from the first time it was sent. `what`
    tells apart requests that are alike in all else.
    """
    with transaction(house().database) as session:
        return once(session, wanted, occasion(), act, what)


def numbers_in(text: str | None) -> list[str]:
    """The numbers that were typed into a field, one a line or parted by commas; each once, in the order of typing."""
    return list(dict.fromkeys(each.strip() for each in re.split(r"[\n\r,;]+", text or "") if each.strip()))
