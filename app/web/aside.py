"""Putting a line of what needs a person aside: "seen, until Friday, because …", and taking it up again."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import HiddenField, StringField
from wtforms.validators import DataRequired, InputRequired, Length

from app.db.engine import reading, transaction
from app.domain.aside import day_offered, last_day
from app.domain.calendar import Calendar, local_day
from app.domain.language import mark, say
from app.domain.words import day_said
from app.queries.board import Board
from app.queries.house import calendar_now, house_now
from app.queries.need import Need
from app.services.aside import LONGEST, put_aside, take_again
from app.web.board import kept_board
from app.web.fields import Day
from app.web.need_links import href_of
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("aside", __name__)
GONE = mark("That line needs nobody any more.")


class AsideForm(FlaskForm):  # type: ignore[misc]
    """Until when a line is put aside, and why."""

    key = HiddenField()
    until = Day(mark("Until"), [InputRequired(mark("Say until which day."))])
    why = StringField(
        mark("Why?"), [DataRequired(mark("Say why; whoever asks next wants to know.")), Length(max=LONGEST)]
    )


@bp.get("/board/aside", endpoint="page")
def ask() -> AnyResponse:
    """The form for one line, and all that is put aside."""
    key = request.args.get("key", "")
    if not key:
        return _page(None, None)
    need = _need(key)
    if need is None:
        return _gone()
    form = AsideForm(formdata=None, key=key, until=day_offered(need.kind, _today(), _calendar()))
    return _page(need, form)


@bp.post("/board/aside")
def put() -> AnyResponse:
    """Put a line aside until a day begins."""
    form = AsideForm()
    need = _need(form.key.data or "")
    if need is None:
        return _gone()
    if not form.validate():
        return _page(need, form, 422)
    until = form.until.data or _today()
    try:
        with transaction(house().database) as session:
            put_aside(
                session, need.key, need.many, until, str(form.why.data), now(), house().zone, by=visitor().worker_id
            )
    except ValueError as error:
        form.until.errors = [str(error)]
        return _page(need, form, 422)
    flash(say("{subject}: put aside until {until}.", subject=need.subject, until=day_said(until, _today())))
    return _to_the_board()


@bp.post("/board/aside/<int:aside_id>/again")
def again(aside_id: int) -> AnyResponse:
    """Take a line up again before its day."""
    with transaction(house().database) as session:
        was_aside = take_again(session, aside_id, now(), by=visitor().worker_id)
    if not was_aside:
        abort(404)
    flash(say("It stands on the board again."))
    return _to_the_board()


def _page(need: Need | None, form: AsideForm | None, status: int = 200) -> Response:
    latest: dict[str, Any] = {} if need is None else {"latest": last_day(need.kind, _today(), _calendar())}
    lines = [(line, href_of(line.need)) for line in _board().aside]
    return page("board/aside.html", status, need=need, form=form, lines=lines, **{"latest": None, **latest})


def _need(key: str) -> Need | None:
    """The line with this key as it stands now, also when it is put aside already."""
    found = _board()
    return next(
        (need for need in (*found.needs, *(line.need for line in found.aside)) if key and need.key == key), None
    )


def _board() -> Board:
    return kept_board().board_now()


def _to_the_board() -> AnyResponse:
    # What was just put aside, or taken up, is not shown as it was a moment ago.
    kept_board().read_at = None
    return redirect(url_for("board.show"))


def _gone() -> AnyResponse:
    flash(GONE)
    return redirect(url_for("board.show"))


def _today() -> date:
    return local_day(now(), house().zone)


def _calendar() -> Calendar:
    with reading(house().database) as session:
        return calendar_now(session, house_now(session), house().zone)
