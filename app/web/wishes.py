"""A sheet is asked for, let go, or sent out, from its own page."""

from __future__ import annotations

from flask import flash, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.errors import Refused
from app.domain.language import mark, say
from app.queries.sheets import SheetPage
from app.services.away import send_out
from app.services.wanted import ask_for, give_up
from app.web.asking import asked, done_once
from app.web.deeds import told
from app.web.permissions import TEACH
from app.web.render import house, now, teller
from app.web.security import visitor
from app.web.sheet_page import Refusing, draw, no_such_sheet, seen_by_visitor
from app.web.wish_forms import LetGoForm, OutForm, WantedForm, today

ASKED = mark("It is wanted: it stands first in what the tables fetch.")


def wanted(number: str) -> AnyResponse:
    """Ask that a sheet be done soon."""
    form, sheet = WantedForm(), _sheet(number)
    if sheet is None:
        return no_such_sheet()
    if not form.validate():
        return draw(number, 422, Refusing("wanted", form))
    try:
        with transaction(house().database) as session:
            words = ask_for(session, sheet.sheet_id, form.why.data or "", now(), today(), needed_on=form.needed_on.data,
                            by=_who(), teaches=teaches())  # fmt: skip
    except ValueError as error:
        form.why.errors = [str(error)]
        return draw(number, 422, Refusing("wanted", form))
    flash(words or ASKED)
    return redirect(url_for("sheets.one", number=sheet.number))


def let_go(number: str) -> AnyResponse:
    """Say that a sheet is no longer wanted."""
    form, sheet = LetGoForm(), _sheet(number)
    if sheet is None:
        return no_such_sheet()
    if not form.validate():
        return draw(number, 422, Refusing("let_go", form))
    try:
        with transaction(house().database) as session:
            was = give_up(session, sheet.sheet_id, form.how.data or "", now(), by=_who(), teaches=teaches())
    except Refused as refused:
        form.how.errors = [f"{each.said(teller())} {each.next_said(teller())}" for each in refused.refusals]
        return draw(number, 422, Refusing("let_go", form))
    except ValueError as error:
        form.how.errors = [str(error)]
        return draw(number, 422, Refusing("let_go", form))
    flash(say("It is no longer wanted.") if was else say("It was not wanted any more."))
    return redirect(url_for("sheets.one", number=sheet.number))


def out(number: str) -> AnyResponse:
    """Send a sheet out to somebody."""
    form = OutForm()
    if not form.validate():
        return draw(number, 422, Refusing("out", form))
    whom, due = form.with_whom.data or "", form.due_on.data
    request = asked(number, form.reason.data)
    answer = done_once(request, lambda desk: send_out(desk, whom, due), f"out {whom} {due}")
    return told(number, answer, Refusing("out", form))


def teaches() -> bool:
    """Whether this visitor may settle what others asked for."""
    return bool(visitor().rights & TEACH)


def _sheet(number: str) -> SheetPage | None:
    with reading(house().database) as session:
        return seen_by_visitor(session, number)


def _who() -> int:
    who = visitor().worker_id
    assert who is not None
    return who
