"""The press room: every stack as it stands, what may come out of it now, and what next."""

from __future__ import annotations

import secrets
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.domain.laying import materials
from app.domain.numbers import shown
from app.domain.weights import LIFTING
from app.queries.people import workers
from app.queries.press import StackView, stack_view
from app.queries.press_glance import press_glance
from app.services.scanning import scan
from app.web.asking import asked
from app.web.drawing import full_stack, stack
from app.web.late import LateWeightsForm, late_weights_form
from app.web.press_kept import Part, kept_parts
from app.web.render import house, now, page, teller
from app.web.scans import occasion
from app.web.security import visitor

bp = Blueprint("press", __name__)
EVERY = ""  # the name that the page of all stacks is kept under; a stack has a longer one


@bp.get("/press")
def every() -> Response:
    """All stacks, and what may come out when; with `shown`, only what has changed since that mark."""
    if "shown" in request.args:
        return _news(kept_parts().drawn_now(EVERY, _room_part), url_for("press.every"))
    part = kept_parts().drawn_anew(EVERY, _room_part)
    return page("press/every.html", drawn=_live(part, url_for("press.every")), lifting=LIFTING, defers=DEFERS)


@bp.get("/press/<name>")
def one(name: str) -> Response:
    """One stack, large; with `shown`, only what has changed since that mark."""
    if "shown" in request.args:
        return _news(kept_parts().drawn_now(name, lambda session: _stack_part(session, name)), _address(name))
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
    return redirect(_address(name))


def _drawn(view: StackView | None, form: LateWeightsForm | None, status: int = 200) -> Response:
    if view is None:
        what = say("There is no stack with this name.")
        return page("doors/error.html", 404, code=say("No such stack"), what=what, do=say("Look at the press room."))
    part = kept_parts().drawn_anew(view.name, lambda session: _stack_part(session, view.name))
    codes: dict[str, Any] = {"code_on": shown(view.code_on, ()), "code_off": shown(view.code_off, ())}
    return page("press/one.html", status, view=view, drawn=_live(part, _address(view.name)), lifting=LIFTING,
                defers=DEFERS, form=form, fresh_id=secrets.token_urlsafe(16), **codes)  # fmt: skip


def _news(part: Part, address: str) -> Response:
    """Nothing (204) for a page that shows this part already."""
    return make_response("", 204) if part.mark == request.args["shown"] else make_response(_live(part, address))


def _live(part: Part, address: str) -> Markup:
    asks = f"{address}?shown={part.mark}"
    return Markup(render_template("press/_live.html", body=Markup(part.body), asks=asks))


def _room_part(session: Any) -> str:
    glance = press_glance(session, now(), house().zone)
    drawn = [stack(view, _address(view.name), _warning(view), _sheet_address) for view in glance.stacks]
    return render_template("press/_room.html", glance=glance, stacks=drawn, materials=materials)


def _stack_part(session: Any, name: str) -> str:
    view = stack_view(session, name, now(), house().zone)
    drawn = full_stack(view, _address(name), _warning(view), _sheet_address) if view else None
    return render_template("press/_one.html", view=view, stack=drawn, needs=materials(view.sheets if view else 0))


def _address(name: str) -> str:
    return url_for("press.one", name=name)


def _sheet_address(number: str) -> str:
    return url_for("sheets.one", number=number)


def _warning(view: StackView) -> str:
    if view.off_too_long:
        return say("Without weights since {bare_since}", bare_since=teller()(view.bare_since))
    return (
        say("{counted} counted, {counted_of} by the log", counted=view.counted, counted_of=view.counted_of)
        if view.count_differs
        else ""
    )
