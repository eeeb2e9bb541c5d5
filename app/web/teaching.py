"""Teaching: who may do which step alone, for the trainer; signing off, and ending it with a reason."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import SelectField, StringField

from app.db.engine import reading, transaction
from app.domain.language import mark, say
from app.domain.sign_off_rules import DIFFICULTIES, ORDINARY, TAUGHT, sheets_words
from app.domain.stages import Step
from app.queries.first_looks import first_looks_of, passed_first_by_worker
from app.queries.teaching import WEEKS_LOOKED_BACK, Learner, learner_by_id, sign_offs_told, teaching
from app.services import sign_offs
from app.web.forms import REASON
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("teaching", __name__)
GONE = mark("That sign-off does not hold any more. Choose one that does.")


class EndForm(FlaskForm):  # type: ignore[misc]
    """A sign-off that ends, and why."""

    sign_off = SelectField(mark("No longer alone"), validate_choice=False)
    reason = StringField(mark("Why?"), REASON)


@bp.get("/teaching")
def show() -> Response:
    """Who may do what alone, who has not done it for long, and what was found."""
    with reading(house().database) as session:
        found = teaching(session, now(), house().zone)
        first = passed_first_by_worker(session, now() - timedelta(weeks=WEEKS_LOOKED_BACK), now())
    return page("teaching/show.html", found=found, weeks=WEEKS_LOOKED_BACK, first=first)


@bp.get("/teaching/<int:worker_id>")
def one(worker_id: int) -> Response:
    """One worker: what they are signed off for, with its history."""
    return _one(worker_id, None)


@bp.post("/teaching/<int:worker_id>/sign-off")
def sign_off(worker_id: int) -> AnyResponse:
    """Say that a worker may do a step alone with sheets of one difficulty."""
    learner = _known(worker_id)
    step = next((step for step in TAUGHT if step.value == request.form.get("step")), None)
    difficulty = request.form.get("difficulty", "")
    if step is None or difficulty not in DIFFICULTIES:
        return _one(worker_id, None, 422, say("Choose a step and what kind of sheets."))
    try:
        with transaction(house().database) as session:
            is_new = sign_offs.sign_off(session, worker_id, step, difficulty, now(), visitor().worker_id)
    except ValueError as error:
        return _one(worker_id, None, 422, str(error))
    deed = sheets_words(step, difficulty)
    flash(
        say("{name} may {deed} alone now.", name=learner.name, deed=deed)
        if is_new
        else say("{name} might {deed} alone already.", name=learner.name, deed=deed)
    )
    return redirect(url_for("teaching.one", worker_id=worker_id))


@bp.post("/teaching/<int:worker_id>/end")
def end(worker_id: int) -> AnyResponse:
    """A worker may no longer do something alone."""
    learner, form = _known(worker_id), EndForm()
    chosen = next((value for value, _ in _in_force(learner) if value == form.sign_off.data), None)
    if not form.validate() or chosen is None:
        if chosen is None:
            form.sign_off.errors = [GONE]
        return _one(worker_id, form, 422)
    with transaction(house().database) as session:
        ended = sign_offs.end(session, int(chosen), str(form.reason.data), now(), visitor().worker_id)
    flash(
        say("{name} no longer does this alone: {ended}.", name=learner.name, ended=", ".join(map(say, ended)))
        if ended
        else GONE
    )
    return redirect(url_for("teaching.one", worker_id=worker_id))


def _one(worker_id: int, form: EndForm | None, status: int = 200, wrong: str = "") -> Response:
    learner = _known(worker_id)
    form = form or EndForm(formdata=None)
    form.sign_off.choices = _in_force(learner)
    with reading(house().database) as session:
        history = sign_offs_told(session, worker_id)
        looks = first_looks_of(session, worker_id, now(), house().zone)
    return page("teaching/one.html", status, learner=learner, form=form, wrong=wrong, history=history, ordinary=ORDINARY,
                difficulties=DIFFICULTIES, weeks=WEEKS_LOOKED_BACK, looks=looks)  # fmt: skip


def _in_force(learner: Learner) -> list[tuple[str, str]]:
    return [(str(mark.sign_off_id), sheets_words(Step(cell.step), mark.difficulty).capitalize())
            for cell in learner.cells for mark in cell.marks]  # fmt: skip


def _known(worker_id: int) -> Learner:
    with reading(house().database) as session:
        learner = learner_by_id(teaching(session, now(), house().zone), worker_id)
    if learner is None:
        abort(404)
    return learner
