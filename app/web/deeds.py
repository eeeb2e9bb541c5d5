"""Deeds with one sheet from its own page: each is written once, however often the button is pressed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.language import say
from app.domain.stages import Step
from app.services.corrections import take_back_from
from app.services.deeds import give_number, join_number, lift_hold, put_hold, settle_doubt
from app.services.desk import Desk, ScanRequest
from app.services.late import write_late
from app.services.regluing import put_gluing_right
from app.services.scanning import scan
from app.web.asking import asked, done_once
from app.web.forms import ReasonForm, RenumberForm, TogetherForm
from app.web.late import LateForm, late_form
from app.web.render import house
from app.web.scans import occasion
from app.web.security import visitor
from app.web.sheet_page import Refusing, choices_of, draw, gluing_form, hold_form


def early(number: str) -> AnyResponse:
    """Let a sheet out before its time."""
    form = ReasonForm()
    if not form.validate():
        return draw(number, 422, Refusing("early", form))
    wanted = replace(asked(number, form.reason.data), step=Step.TAKE_OUT, early=True)
    with transaction(house().database) as session:
        answer = scan(session, wanted, occasion())
    return told(number, answer, Refusing("early", form), with_next=True)


def withdraw(number: str) -> AnyResponse:
    """Take a sheet out of the queue for good."""
    form = ReasonForm()
    if not form.validate():
        return draw(number, 422, Refusing("withdraw", form))
    wanted = replace(asked(number, form.reason.data), step=Step.WITHDRAW)
    with transaction(house().database) as session:
        answer = scan(session, wanted, occasion())
    return told(number, answer, Refusing("withdraw", form))


def hold(number: str) -> AnyResponse:
    """Put a hold on a sheet."""
    form = hold_form()
    kind = form.hold.data or ""
    return _done("hold", asked(number, form.reason.data), form, lambda desk: put_hold(desk, kind), f"hold {kind}")


def lift(number: str) -> AnyResponse:
    """Lift a hold."""
    kind = request.form.get("hold", "")[:40]
    wanted = asked(number, request.form.get("reason", "")[:500])
    return _done("lift", wanted, None, lambda desk: lift_hold(desk, kind), f"lift {kind}")


def renumber(number: str) -> AnyResponse:
    """Give a sheet another number."""
    form = RenumberForm()
    text = form.number.data or ""
    return _done(
        "renumber", asked(number, form.reason.data), form, lambda desk: give_number(desk, text), f"number {text}"
    )


def together(number: str) -> AnyResponse:
    """Say that another number is this same sheet."""
    form = TogetherForm()
    text = form.other.data or ""
    return _done(
        "together", asked(number, form.reason.data), form, lambda desk: join_number(desk, text), f"with {text}"
    )


def regluing(number: str) -> AnyResponse:
    """Put the adhesive and the bulk of a gluing right."""
    with reading(house().database) as session:
        form = gluing_form(choices_of(session))
    adhesive, bulk = form.adhesive.data or "", form.bulk.data or ""
    what = f"gluing {adhesive} {bulk}"
    return _done(
        "regluing", asked(number, form.reason.data), form, lambda desk: put_gluing_right(desk, adhesive, bulk), what
    )


def doubt(number: str) -> AnyResponse:
    """Somebody has looked at what was called in question."""
    form = ReasonForm()
    return _done("doubt", asked(number, form.reason.data), form, settle_doubt, "doubt")


def take_back(number: str, entry: int) -> AnyResponse:
    """Take back an entry and everything after it."""
    form = ReasonForm()
    if not form.validate():
        flash(say("Say why; it stays in the log."))
        return redirect(url_for("sheets.tail", number=number, entry=entry))
    wanted = asked(number, form.reason.data)
    return _done("take-back", wanted, form, lambda desk: take_back_from(desk, entry, wanted.reason), f"back {entry}")


def late(number: str) -> AnyResponse:
    """Write an entry of what was done while nobody could scan."""
    with reading(house().database) as session:
        choices = choices_of(session)
    form = late_form(choices)
    moment = form.moment() if form.validate() else None
    if moment is None:
        return draw(number, 422, Refusing("late", form))
    cabinet, shelf = choices.place(form.shelf.data or "")
    wanted = replace(asked(number, form.reason.data), happened_at=moment, worker_ids=(int(form.worker.data),),
                     written_by=visitor().worker_id, cabinet=cabinet,
                     shelf=shelf, stack=form.stack.data or "", facts=form.facts())  # fmt: skip
    answer = done_once(wanted, lambda desk: _late(desk, form), f"late {form.step.data} {form.station.data}")
    return told(number, answer, Refusing("late", form))


def told(number: str, answer: Answer, refusing: Refusing, *, with_next: bool = False) -> AnyResponse:
    """Back to the sheet's page once it is done; the page again, with every reason, when it was refused."""
    if answer.kind != "done":
        return draw(number, 422, replace(refusing, answer=answer))
    flash(" ".join(filter(None, (answer.word, *answer.lines, answer.next if with_next else ""))))
    return redirect(url_for("sheets.one", number=answer.sheet.number if answer.sheet else number))


def _done(
    deed: str, wanted: ScanRequest, form: FlaskForm | None, act: Callable[[Desk], Answer], what: str
) -> AnyResponse:
    refusing = Refusing(deed, form)
    if form is not None and not form.validate():
        return draw(wanted.code, 422, refusing)
    return told(wanted.code, done_once(wanted, act, what), refusing)


def _late(desk: Desk, form: LateForm) -> Answer:
    station: Any = form.station.data
    return write_late(desk, Step(form.step.data), int(station) if station else None)
