"""The press room: every stack as it stands, what may come out of it now, and what next."""

from __future__ import annotations

import secrets
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.hazards import DEFERS
from app.domain.numbers import shown
from app.queries.people import workers
from app.queries.press import StackView, press_room, stack_view
from app.services.scanning import scan
from app.web.deeds import asked
from app.web.drawing import full_stack, stack
from app.web.late import LateWeightsForm, late_weights_form
from app.web.render import house, now, page, teller
from app.web.scans import occasion
from app.web.security import visitor

bp = Blueprint("press", __name__)
LIFTING = "Lift one piece at a time, and never move a stack with its weights on."


@bp.get("/press")
def every() -> Response:
    """All stacks, and what may come out when."""
    with reading(house().database) as session:
        views = press_room(session, now(), house().zone)
    drawn = [stack(view, _address(view), _warning(view), _sheet_address) for view in views]
    ready = [view for view in views if view.ready_now]
    coming = sorted((view.next_ready_at, view.name, view) for view in views if view.next_ready_at)
    next_ = [view for *_, view in coming]
    return page("press/every.html", stacks=drawn, ready=ready, coming=next_, lifting=LIFTING, defers=DEFERS)


@bp.get("/press/<name>")
def one(name: str) -> Response:
    """One stack, large."""
    with reading(house().database) as session:
        view = stack_view(session, name, now(), house().zone)
        people = workers(session) if "manager" in visitor().rights else ()
    return _drawn(view, late_weights_form(people) if people else None)


@bp.post("/press/<name>/late")
def late(name: str) -> AnyResponse:
    """Write up weights that went on or came off while nobody could scan."""
    with reading(house().database) as session:
        view = stack_view(session, name, now(), house().zone)
        form = late_weights_form(workers(session))
    moment = form.moment() if view is not None and form.validate() else None
    if view is None or moment is None:
        return _drawn(view, form, 422)
    code = view.code_on if form.state.data == "on" else view.code_off
    wanted = replace(asked(code, form.reason.data), happened_at=moment, worker_ids=(int(form.worker.data),),
                     written_by=visitor().worker_id)  # fmt: skip
    with transaction(house().database) as session:
        answer = scan(session, wanted, occasion())
    if answer.refusals:
        form.happened_at.errors = list(answer.lines)
        return _drawn(view, form, 422)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(_address(view))


def _drawn(view: StackView | None, form: LateWeightsForm | None, status: int = 200) -> Response:
    if view is None:
        what = "There is no stack with this name."
        return page("doors/error.html", 404, code="No such stack", what=what, do="Look at the press room.")
    drawn = full_stack(view, _address(view), _warning(view), _sheet_address)
    codes: dict[str, Any] = {"code_on": shown(view.code_on, ()), "code_off": shown(view.code_off, ())}
    return page("press/one.html", status, view=view, stack=drawn, lifting=LIFTING, defers=DEFERS, form=form,
                fresh_id=secrets.token_urlsafe(16), **codes)  # fmt: skip


def _address(view: StackView) -> str:
    return url_for("press.one", name=view.name)


def _sheet_address(number: str) -> str:
    return url_for("sheets.one", number=number)


def _warning(view: StackView) -> str:
    if view.off_too_long:
        return f"Weights off since {teller()(view.since)}" if view.since else "The weights are not on yet"
    return f"{view.counted} counted, {view.counted_of} by the log" if view.count_differs else ""
