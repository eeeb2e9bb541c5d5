"""Bringing filed sheets back, withdrawing sheets for good, and taking in again what came back: one, or many from a list."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import DataRequired, InputRequired, Length

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.language import mark, say
from app.domain.leaving import BACK, WITHDRAWN, back_reason, withdrawn_reason
from app.queries.withdrawn import seen_again, withdrawn_sheets
from app.services.coming_again import AS_WHAT, come_again_by_number
from app.services.desk import Desk
from app.services.leaving import bring_back_many, withdraw_many
from app.web.asking import asked, done_once, numbers_in
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("leaving", __name__)
NUMBERS = [DataRequired(mark("Name the sheets.")), Length(max=20_000)]
BOX = {"rows": 8, "spellcheck": "false"}
MORE = [Length(max=400)]


class BackForm(FlaskForm):  # type: ignore[misc]
    """Filed sheets that come back to be worked on, and why."""

    numbers = TextAreaField(mark("Sheets, one a line: typed, or scanned into this field"), NUMBERS, render_kw=BOX)
    why = SelectField(mark("Why do they come back?"), [InputRequired()], choices=list(BACK.items()))
    more = StringField(mark("In words"), MORE)


class WithdrawForm(FlaskForm):  # type: ignore[misc]
    """Sheets that leave for good, why, and where they went."""

    numbers = TextAreaField(mark("Sheets, one a line: typed, or scanned into this field"), NUMBERS, render_kw=BOX)
    why = SelectField(mark("What becomes of them?"), [InputRequired()], choices=list(WITHDRAWN.items()))
    more = StringField(mark("To whom, or in words"), MORE)


class AgainForm(FlaskForm):  # type: ignore[misc]
    """A withdrawn sheet that is here again."""

    number = StringField(mark("Its number"), [DataRequired(mark("Type or scan its number.")), Length(max=40)])
    comes_as = RadioField(mark("How is it?"), [InputRequired(mark("Say whether it is mounted."))],
                          choices=[(value, words) for words, value in AS_WHAT])  # fmt: skip
    reason = StringField(
        mark("Why is it here again?"), [DataRequired(mark("Say why; it stays in its log.")), Length(max=500)]
    )


@bp.route("/filing/back", methods=["GET", "POST"])
def back() -> AnyResponse:
    """Bring filed sheets back."""
    return _many(BackForm, "filing/back.html", back_reason, bring_back_many, say("Say in words why they come back."))


@bp.route("/filing/withdraw", methods=["GET", "POST"])
def withdraw() -> AnyResponse:
    """Withdraw sheets for good."""
    return _many(
        WithdrawForm,
        "filing/withdraw.html",
        withdrawn_reason,
        withdraw_many,
        say("Say to whom they went, or what else it is."),
    )


@bp.get("/filing/withdrawn")
def withdrawn() -> Response:
    """What was withdrawn, and what of it was scanned here since."""
    with reading(house().database) as session:
        found = withdrawn_sheets(session, by_names=visitor().sees_names())
        here = seen_again(session, now())
    roles = visitor().roles
    return page("filing/withdrawn.html", found=found, here=here, may_again=bool(roles & PERMISSIONS["leaving.again"]),
                may_withdraw=bool(roles & PERMISSIONS["leaving.withdraw"]))  # fmt: skip


@bp.route("/filing/again", methods=["GET", "POST"])
def again() -> AnyResponse:
    """Take a withdrawn sheet in again."""
    form = AgainForm()
    if request.method == "GET":
        form.number.data = request.args.get("number", "")[:40]
        return _page("filing/again.html", form)
    if not form.validate():
        return _page("filing/again.html", form, 422)
    wanted = replace(asked(_bare(form.number.data), form.reason.data), facts={"comes_as": form.comes_as.data})
    answer = done_once(wanted, come_again_by_number, "come again")
    if answer.kind != "done" or answer.sheet is None:
        form.number.errors = [*answer.lines, *filter(None, [answer.next])]
        return _page("filing/again.html", form, 422)
    flash(" ".join((answer.word, *answer.lines, answer.next)))
    return redirect(url_for("sheets.one", number=answer.sheet.number))


def _many(form_of: Callable[[], Any], template: str, said: Callable[[str, str], str],
          act: Callable[[Desk, list[str]], Answer], unsaid: str) -> AnyResponse:  # fmt: skip
    form = form_of()
    if request.method == "GET":
        form.numbers.data = "\n".join(number.strip()[:40] for number in request.args.getlist("number")[:500])
        return _page(template, form)
    if not form.validate():
        return _page(template, form, 422)
    reason, numbers = said(str(form.why.data), form.more.data or ""), numbers_in(form.numbers.data)
    if not reason:
        form.more.errors = [unsaid]
        return _page(template, form, 422)
    answer = done_once(asked("", reason), lambda desk: act(desk, numbers), f"{template} {' '.join(numbers)}")
    if answer.kind != "done":
        form.numbers.errors = [*answer.lines, *filter(None, [answer.next])]
        return _page(template, form, 422)
    flash(" ".join((answer.word, *answer.lines, answer.next)))
    one = len(answer.moved) == 1
    return redirect(url_for("sheets.one", number=answer.moved[0]) if one else url_for("filing.show"))


def _page(template: str, form: FlaskForm, status: int = 200) -> Response:
    sent = request.form.get("scan_id", "") if status != 200 else ""
    return page(template, status, form=form, fresh=sent or secrets.token_urlsafe(16))


def _bare(text: str | None) -> str:
    return "".join(each for each in (text or "") if each.isalnum()).upper()
