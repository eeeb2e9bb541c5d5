"""Labels to come: which sheets wait for one, to be printed by consignment; and those that are here, ticked."""

from __future__ import annotations

import secrets

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.language import say
from app.queries.labels import labels_to_come
from app.services.holding import lift_many
from app.services.labels import HOLD
from app.services.many_sheets import MOST
from app.web.asking import asked, done_once
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("labels", __name__)


@bp.get("/labels")
def show() -> Response:
    """What waits for a label: of the whole room, or of one consignment."""
    return _show()


@bp.post("/labels")
def here() -> AnyResponse:
    """The labels of those that were ticked are here."""
    numbers = [number.strip()[:40] for number in request.form.getlist("number")[:MOST]]
    if not numbers:
        return _show(422, say("Tick the sheets whose labels are here."))
    wanted = asked("", "The label is here")
    answer = done_once(wanted, lambda desk: lift_many(desk, HOLD, numbers), f"labels {' '.join(numbers)}")
    if answer.kind != "done":
        return _show(422, " ".join(answer.lines))
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("labels.show", consignment=_code()))


def _show(status: int = 200, wrong: str = "") -> Response:
    code = _code()
    with reading(house().database) as session:
        found = labels_to_come(session, now(), code)
    name = next((group.name for group in found.groups if group.code == code), "")
    ticked = frozenset(request.form.getlist("number"))
    may_say = bool(visitor().roles & PERMISSIONS["labels.here"])
    return page("consignments/labels.html", status, found=found, code=code, name=name, wrong=wrong, now=now(), may_say=may_say,
                ticked=ticked, fresh=secrets.token_urlsafe(16))  # fmt: skip


def _code() -> str | None:
    """The consignment that the address asks for: "" for what came with none, None for all."""
    asked = request.args.get("consignment")
    return asked[:80] if asked is not None else None
