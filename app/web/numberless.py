"""A sheet without a number, from a desk: what its label says, which sheets it may be, and a new number where it is none."""

from __future__ import annotations

import secrets
from typing import Any

from flask import Blueprint, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.errors import Refused
from app.domain.language import say
from app.queries.furniture import consignments
from app.services.desk import ScanRequest
from app.services.numberless import CARD, NEW, give_new_number, which_it_may_be
from app.services.opening import open_desk
from app.web.asking import asked, done_once
from app.web.parting_forms import LONGEST_LABEL, LabelForm
from app.web.permissions import TEACH
from app.web.render import house, page, teller
from app.web.scans import occasion, whole
from app.web.security import visitor

bp = Blueprint("numberless", __name__)


@bp.get("/no-number")
def show() -> AnyResponse:
    """Ask what the label says; with an answer to that, the sheets that it may be."""
    form = _form(request.args)
    label = " ".join((form.on_label.data or "").split())[:LONGEST_LABEL]
    return _drawn(form, label)


@bp.post("/no-number")
def give() -> AnyResponse:
    """It is none of them: give it the next number."""
    form = _form(request.form)
    if not form.validate():
        return _drawn(form, "", status=422)
    label, consignment = form.on_label.data or "", whole(form.consignment.data or "")
    act = lambda desk: give_new_number(desk, label, consignment)  # noqa: E731
    try:
        answer = done_once(asked(CARD, ""), act, f"no number {label} {consignment}")
    except Refused as refused:
        return _drawn(
            form,
            label,
            status=422,
            wrong=[f"{each.said(teller())} {each.next_said(teller())}" for each in refused.refusals],
        )
    if answer.kind != "done":
        return _drawn(form, label, status=422, wrong=[*answer.lines, answer.next])
    flash(" ".join((answer.word, *answer.lines, answer.next)))
    return redirect(url_for("sheets.one", number=answer.slip))


def _form(sent: Any) -> LabelForm:
    form = LabelForm(sent if request.method == "POST" else None)
    with reading(house().database) as session:
        found = [each for each in consignments(session) if each.closed_at is None]
    form.consignment.choices = [
        ("", say("nobody knows")),
        *((str(each.consignment_id), f"{each.name} ({each.code})") for each in found),
    ]
    if request.method == "GET":
        form.on_label.data = sent.get("on_label", "")[:LONGEST_LABEL]
        form.consignment.data = sent.get("consignment", "")
    return form


def _drawn(form: LabelForm, label: str, *, status: int = 200, wrong: list[str] | None = None) -> AnyResponse:
    answer = _which(label, whole(form.consignment.data or "")) if label else None
    found = [choice for choice in answer.choices if choice.value != NEW] if answer else []
    return page("sheets/numberless.html", status, form=form, label=label, answer=answer, found=found, wrong=wrong or [],
                may_give=bool(visitor().rights & TEACH), fresh=secrets.token_urlsafe(16))  # fmt: skip


def _which(label: str, consignment: int | None) -> Answer:
    with reading(house().database) as session:
        desk, _refusal = open_desk(session, ScanRequest("", CARD), occasion())
        return which_it_may_be(desk, label, consignment)
