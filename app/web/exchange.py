"""Duplicates of a gathering, and those of them that go in exchange: set free, listed to be fetched, sent in one act."""

from __future__ import annotations

import secrets
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import BooleanField, StringField
from wtforms.validators import DataRequired, Length

from app.db.engine import reading, transaction
from app.domain.language import mark, say, say_n
from app.domain.numbers import shown
from app.queries.duplicates import Duplicates, duplicates, free_sheet_ids, free_to_go
from app.queries.house import patterns_now
from app.queries.picks import picks_of
from app.services.exchange import MOST, SetFree, keep_here, set_free
from app.services.sending import send as send_away
from app.web.asking import asked, done_once
from app.web.fields import own_ids
from app.web.lists import picks_page
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("exchange", __name__)
TOLD = mark("The receiver is told that some may carry mercury or arsenic")


class FreeForm(FlaskForm):  # type: ignore[misc]
    """Specimens set free to go in exchange."""

    why = StringField(
        mark("Why, or for whom?"), [DataRequired(mark("Say why; it stays in the history.")), Length(max=300)]
    )
    told = BooleanField(TOLD)


class KeepForm(FlaskForm):  # type: ignore[misc]
    """Specimens that stay here after all."""

    why = StringField(
        mark("Why do they stay?"), [DataRequired(mark("Say why; it stays in the history.")), Length(max=300)]
    )


class SendForm(FlaskForm):  # type: ignore[misc]
    """Specimens sent away."""

    whom = StringField(
        mark("Sent to"), [DataRequired(mark("Say to whom: it stands in the log of each.")), Length(max=200)]
    )
    told = BooleanField(TOLD)


@bp.get("/duplicates", endpoint="duplicates")
def every() -> Response:
    """The gatherings of which there are several specimens."""
    return _duplicates(FreeForm(formdata=None))


@bp.post("/duplicates", endpoint="free")
def free() -> AnyResponse:
    """Set those free that were ticked."""
    form, numbers = FreeForm(), _ticked()
    if not form.validate():
        return _duplicates(form, 422)
    try:
        with transaction(house().database) as session:
            found = set_free(session, numbers, form.why.data or "", now(), visitor().worker_id, told=form.told.data)
            words = _said(session, found, say("set free to go in exchange"))
    except ValueError as error:
        form.why.errors = [str(error)]
        return _duplicates(form, 422)
    if not found.done:
        form.why.errors = [words]
        return _duplicates(form, 422)
    flash(words)
    return redirect(url_for("exchange.show"))


@bp.get("/exchange")
def show() -> Response:
    """What is free to go."""
    return _show()


@bp.get("/exchange/picks")
def picks() -> Response:
    """What is free to go, in walking order, to be fetched."""
    with reading(house().database) as session:
        found = picks_of(session, free_sheet_ids(session), now(), house().zone)
    return picks_page(found, say("free to go in exchange"))


@bp.post("/exchange/keep")
def keep() -> AnyResponse:
    """Those that were ticked stay here after all."""
    form = KeepForm()
    if not form.validate():
        return _show(422, keep_form=form)
    try:
        with transaction(house().database) as session:
            found = keep_here(session, _ticked(), form.why.data or "", now(), visitor().worker_id)
            words = _said(session, found, say("kept here"))
    except ValueError as error:
        form.why.errors = [str(error)]
        return _show(422, keep_form=form)
    flash(words)
    return redirect(url_for("exchange.show"))


@bp.post("/exchange/send")
def send() -> AnyResponse:
    """Those that were ticked are sent away: withdrawn in one act."""
    form, numbers = SendForm(), _ticked()
    if not form.validate():
        return _show(422, send_form=form)
    whom, told = str(form.whom.data), bool(form.told.data)
    what = f"send to {whom} {told} {' '.join(numbers)}"
    answer = done_once(asked("", ""), lambda desk: send_away(desk, numbers, whom, told=told), what)
    if answer.kind != "done":
        form.whom.errors = [*answer.lines, *filter(None, [answer.next])]
        return _show(422, send_form=form)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("exchange.show"))


def _duplicates(form: FreeForm, status: int = 200) -> Response:
    code, after = request.args.get("consignment", "")[:80], request.args.get("after", "")[:200]
    wrong, found = "", Duplicates((), "")
    with reading(house().database) as session:
        try:
            found = duplicates(session, code, after)
        except ValueError as error:
            wrong, status = str(error), 422
    return page("consignments/duplicates.html", status, found=found, code=code, after=after, wrong=wrong, form=form,
                may_free=_may("free"), ticked=frozenset(request.form.getlist("number")))  # fmt: skip


def _show(status: int = 200, keep_form: KeepForm | None = None, send_form: SendForm | None = None) -> Response:
    with reading(house().database) as session:
        found = free_to_go(session)
    forms: dict[str, Any] = {"keep": keep_form or KeepForm(formdata=None), "send": send_form or SendForm(formdata=None)}
    for name, form in forms.items():
        own_ids(form, name)
    # All that is free stands ticked until somebody has chosen.
    ticked = frozenset(request.form.getlist("number")) if status != 200 else frozenset(each.number for each in found)
    return page("consignments/exchange.html", status, found=found, forms=forms, ticked=ticked, may_keep=_may("keep"),
                may_send=_may("send"), fresh=request.form.get("scan_id", "") or secrets.token_urlsafe(16))  # fmt: skip


def _ticked() -> list[str]:
    return [number.strip()[:40] for number in request.form.getlist("number")[: MOST + 1]]


def _said(session: Any, found: SetFree, deed: str) -> str:
    patterns = patterns_now(session)
    many = say_n("{n:,} specimen", "{n:,} specimens", len(found.done))
    left = [f"{shown(number, patterns)}: {say(why)}" for number, why in found.left[:20]]
    return " ".join([say("{specimens} {deed}.", specimens=many, deed=deed), *left])


def _may(deed: str) -> bool:
    return bool(visitor().roles & PERMISSIONS[f"exchange.{deed}"])
