"""The freezer: its loads with what is due, one load, and which cabinets are clean."""

from __future__ import annotations

import secrets
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.freezing import CAUTIONS, celsius
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.domain.stages import Step
from app.queries.cabinets import cabinet_summary
from app.queries.freezers import freezer_names, freezer_page
from app.queries.load_page import LoadPage, load_page
from app.queries.people import workers
from app.services.desk import Desk, ScanRequest
from app.services.loads import make_load
from app.services.scanning import scan
from app.services.treating import set_clean
from app.web.asking import asked, done_once
from app.web.freezer_forms import (
    CleanForm,
    EventForm,
    LateLoadForm,
    NewLoadForm,
    event_form,
    late_load_form,
)
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import occasion
from app.web.security import visitor

bp = Blueprint("freezer", __name__)


@bp.get("/freezer")
def show() -> Response:
    """The freezers, the loads and what is due, and what waits to be frozen."""
    return _room()


@bp.post("/freezer")
def begin() -> AnyResponse:
    """Begin a load."""
    form = NewLoadForm()
    if not form.validate():
        return _room(422, new=form)
    made = done_once(asked("", ""), lambda desk: _begun(desk, form.name.data or ""), f"load {form.name.data}")
    flash(" ".join((made.word, *made.lines)))
    return redirect(url_for("freezer.one", code=made.carry["code"]))


@bp.post("/freezer/event")
def event() -> AnyResponse:
    """Write what happened to a freezer."""
    with reading(house().database) as session:
        form = event_form(freezer_page(session, now(), house().zone).freezers)
    begins = form.moment() if form.validate() else None
    if begins is None:
        return _room(422, happened=form)
    facts = {"begins": begins.isoformat()}
    ends = form.ending()
    if ends is not None:
        facts["ends"] = ends.isoformat()
    wanted = replace(
        asked(form.freezer.data, form.reason.data), step=Step(form.step.data), facts=facts, happened_at=begins
    )
    answer = _scanned(wanted)
    if answer.kind != "done":
        form.happened_at.errors = list(answer.lines)
        return _room(422, happened=form)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("freezer.show"))


@bp.get("/freezer/<code>")
def one(code: str) -> Response:
    """One load."""
    return _load(code)


@bp.post("/freezer/<code>")
def deed(code: str) -> AnyResponse:
    """Something is done with a load now: put in, read as cold, taken out, opened."""
    step = {each.value: each for each in NOW}.get(request.form.get("step", ""))
    if step is None:
        return _load(code, 422, wrong=(say("Say what is done with it."),))
    facts = {name: request.form.get(name, "")[:80] for name in ("freezer", "reading_c") if request.form.get(name)}
    wanted = replace(asked(code, ""), step=step, facts=facts, already_done=request.form.get("already_done") == "1")
    answer = _scanned(wanted)
    if answer.refusals:
        return _load(
            code, 422, wrong=(answer.word, *answer.lines, answer.next), already=answer.already_done, step=step.value
        )
    flash(" ".join(filter(None, (answer.word, *answer.lines, answer.next))))
    return redirect(url_for("freezer.one", code=code))


@bp.post("/freezer/<code>/late")
def late(code: str) -> AnyResponse:
    """Write up what was done with a load while nobody could scan."""
    form = _late_form()
    moment = form.moment() if form.validate() else None
    if moment is None:
        return _load(code, 422, form=form)
    wanted = replace(asked(code, form.reason.data), step=Step(form.step.data), facts=form.facts(), happened_at=moment,
                     worker_ids=(int(form.worker.data),), written_by=visitor().worker_id)  # fmt: skip
    answer = _scanned(wanted)
    if answer.refusals:
        form.happened_at.errors = list(answer.lines)
        return _load(code, 422, form=form)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("freezer.one", code=code))


@bp.get("/cabinets/<name>/clean")
def clean(name: str) -> Response:
    """Whether a cabinet is clean, and to say otherwise."""
    return _clean(name, CleanForm(formdata=None))


@bp.post("/cabinets/<name>/clean")
def say_clean(name: str) -> AnyResponse:
    """Say that a cabinet is clean, or is not, and why."""
    form = CleanForm()
    with reading(house().database) as session:
        found = cabinet_summary(session, name, now(), house().zone)
    if found is None or not form.validate():
        return _clean(name, form, 422)
    wanted, is_clean, cabinet_id = asked("", form.reason.data), form.clean.data == "yes", found.cabinet.cabinet_id
    answer = done_once(wanted, lambda desk: set_clean(desk, cabinet_id, is_clean), f"clean {name} {is_clean}")
    if answer.refusals:
        form.reason.errors = list(answer.lines)
        return _clean(name, form, 422)
    flash(" ".join((answer.word, *answer.lines)))
    return redirect(url_for("cabinets.one", name=name))


def _begun(desk: Desk, name: str) -> Answer:
    load = make_load(desk.session, desk.now, name)
    return Answer(
        "done",
        say("Begun."),
        (say("{name}: print its card and put it in the bag.", name=load["name"]),),
        carry={"code": load["code"]},
    )


def _scanned(wanted: ScanRequest) -> Answer:
    with transaction(house().database) as session:
        return scan(session, wanted, occasion())


def _room(status: int = 200, new: FlaskForm | None = None, happened: EventForm | None = None) -> Response:
    with reading(house().database) as session:
        found = freezer_page(session, now(), house().zone)
    fresh: dict[str, Any] = {
        "fresh_id": secrets.token_urlsafe(16),
        "cautions": CAUTIONS,
        "defers": DEFERS,
        "celsius": celsius,
    }
    return page("freezer/show.html", status, found=found, new=new or NewLoadForm(formdata=None),
                happened=happened or event_form(found.freezers, fresh=True), **fresh, **_may())  # fmt: skip


def _load(code: str, status: int = 200, *, wrong: tuple[str, ...] = (), already: str = "", step: str = "",
          form: LateLoadForm | None = None) -> Response:  # fmt: skip
    with reading(house().database) as session:
        found = load_page(session, code, now(), house().zone, by_names=visitor().worker_id is not None)
        freezers = freezer_names(session)
    if found is None:
        return page("doors/error.html", 404, code=say("No such load"), what=say("There is no load with this card."),
                    do=say("Look at the freezer."))  # fmt: skip
    more: dict[str, Any] = {
        "wrong": wrong,
        "already": already,
        "step": step,
        "freezers": freezers,
        "steps": _steps(found),
    }
    more |= {"form": form or _late_form(fresh=True), "cautions": CAUTIONS, "defers": DEFERS, "celsius": celsius}
    more["fresh_id"] = secrets.token_urlsafe(16)
    return page("freezer/one.html", status, found=found, view=found.view, **more, **_may())  # fmt: skip


def _steps(found: LoadPage) -> tuple[str, ...]:
    """What may be said to be done with a load now, by how it stands."""
    state = found.view.state
    if state == "in" and not found.view.is_cold:
        return (Step.LOAD_OUT, Step.LOAD_COLD)
    return STEPS[state]


def _clean(name: str, form: CleanForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        found = cabinet_summary(session, name, now(), house().zone)
    if found is None:
        return page(
            "doors/error.html",
            404,
            code=say("No such place"),
            what=say("There is no such cabinet."),
            do=say("Look at the cabinets."),
        )
    return page("freezer/clean.html", status, cabinet=found.cabinet, form=form, fresh_id=secrets.token_urlsafe(16))


def _late_form(fresh: bool = False) -> LateLoadForm:
    with reading(house().database) as session:
        return late_load_form(workers(session), freezer_names(session), fresh=fresh)


def _may() -> dict[str, bool]:
    """What whoever looks may do on these pages."""
    roles = visitor().roles
    named = {"may_begin": "freezer.begin", "may_work": "freezer.deed", "may_write": "freezer.late"}
    return {may: bool(roles & PERMISSIONS[endpoint]) for may, endpoint in named.items()}


NOW = (Step.LOAD_IN, Step.LOAD_COLD, Step.LOAD_OUT, Step.LOAD_OPENED)
STEPS: dict[str, tuple[Step, ...]] = {
    "filling": (Step.LOAD_IN,), "in": (Step.LOAD_OUT,), "ready": (Step.LOAD_OUT,), "early": (Step.LOAD_IN, Step.LOAD_OPENED),
    "out": (Step.LOAD_OPENED,), "warm": (Step.LOAD_OPENED,), "opened": (),
}  # fmt: skip
