"""Taking in at the table: one plant after the other with what its label says, or a run of new numbers with their slips."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.drying import SIGNS, THICKEST
from app.domain.errors import Refused
from app.domain.hazards import DEFERS
from app.queries.taking_in import SaidBefore, names_offered, open_bundles, open_consignments, said_last, said_of
from app.services.desk import Desk, ScanRequest
from app.services.taking_in import take_in, take_in_run
from app.web.asking import asked, done_once, sent_id
from app.web.render import house, page, teller
from app.web.security import visitor
from app.web.taking_in_forms import PlantForm, RunForm, plant_form, run_form

bp = Blueprint("taking_in", __name__)


@bp.route("/intake/plant", methods=["GET", "POST"])
def plant() -> AnyResponse:
    """Take in one plant; what was said of the last one is offered again."""
    if request.method == "GET":
        return _plant(None)
    with reading(house().database) as session:
        form = plant_form(open_consignments(session))
    if not form.validate():
        return _plant(form, 422)
    answer, wrong = _done(
        form.facts(), lambda desk: take_in(desk, form.told()), f"take in {sorted(form.data.items(), key=str)}"
    )
    if answer is None:
        form.number.errors = list(wrong)
        return _plant(form, 422)
    flash(" ".join(filter(None, (answer.word, *answer.lines, answer.next))))
    after = answer.moved[0] if answer.moved else (answer.sheet.number if answer.sheet else None)
    return redirect(url_for("taking_in.plant", after=after, slips=answer.slip or None))


@bp.route("/intake/run", methods=["GET", "POST"])
def run() -> AnyResponse:
    """Take in a run of new numbers, and go to the page of their slips."""
    with reading(house().database) as session:
        found, bundles = open_consignments(session), open_bundles(session)
        last = said_last(session, visitor().station_id, visitor().worker_id)
    form = run_form(found, bundles, last.consignment if last and request.method == "GET" else None)
    if request.method == "GET":
        return _run(form)
    if not form.validate():
        return _run(form, 422)
    answer, wrong = _done(
        {}, lambda desk: take_in_run(desk, form.told()), f"run {form.many.data} {form.consignment.data}"
    )
    if answer is None:
        form.many.errors = list(wrong)
        return _run(form, 422)
    flash(" ".join((answer.word, *answer.lines, answer.next)))
    return redirect(url_for("printing.slips", numbers=",".join(answer.moved), paper=form.paper.data))


def _done(facts: dict[str, Any], act: Callable[[Desk], Answer], what: str) -> tuple[Answer | None, tuple[str, ...]]:
    """The answer to what was sent, or every reason why nothing was written."""
    tell = teller()
    try:
        answer = done_once(replace(_asked(), facts=facts), act, what)
    except Refused as refused:
        # Something was written before the last of its sheets was refused, and is taken back with the transaction.
        return None, tuple(each.said(tell) for each in refused.refusals)
    if answer.kind != "done":
        return None, tuple(filter(None, (*answer.lines, answer.next)))
    return answer, ()


def _asked() -> ScanRequest:
    """By whoever is signed in at this browser; at a station by those who work there."""
    station_id = visitor().station_id
    return ScanRequest(sent_id(), "", station_id) if station_id is not None else asked("", "")


def _plant(form: PlantForm | None, status: int = 200) -> Response:
    after, who = request.args.get("after", "")[:40], visitor()
    with reading(house().database) as session:
        found = open_consignments(session)
        last = said_last(session, who.station_id, who.worker_id)
        taken = said_of(session, after) if after else None
        shown = form or plant_form(found, _offered(taken or last))
        plants, collectors = names_offered(session, str(shown.consignment.data or ""))
    return page("intake/plant.html", status, form=shown, taken=taken, slips=request.args.get("slips", "")[:4000], plants=plants,
                collectors=collectors, signs=SIGNS, thickest=THICKEST, defers=DEFERS, **_frame(found))  # fmt: skip


def _offered(said: SaidBefore | None) -> dict[str, Any]:
    if said is None:
        return {"number": request.args.get("number", "")[:40]}
    told: dict[str, Any] = said.offered(same=request.args.get("same") == "1")
    return {**told, "number": request.args.get("number", "")[:40]}


def _run(form: RunForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        found = open_consignments(session)
    return page("intake/run.html", status, form=form, **_frame(found))


def _frame(found: list[tuple[str, str]]) -> dict[str, Any]:
    return {
        "fresh_id": secrets.token_urlsafe(16),
        "can_take_in": bool(found),
        "at_station": visitor().station_id is not None,
    }
