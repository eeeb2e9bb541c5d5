"""Consignments from parcel to answer: the list, each of them with all that is done to it, and the letter for the giver."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.cells import BOM, csv_line
from app.domain.hazards import CAUTIONS, DEFERS
from app.domain.language import say
from app.queries.consignments import ConsignmentPage, consignment_list, consignment_page
from app.queries.given import answer_rows, answer_to_giver
from app.services.consignments import (
    begin_consignment,
    change_consignment,
    close_consignment,
    confirm_count,
    open_again,
)
from app.services.hazards import clear_hazard, put_hazard
from app.web.consignment_forms import ChangeForm, ClearForm, CloseForm, CountForm, DangerForm, NewForm
from app.web.fields import own_ids
from app.web.permissions import PERMISSIONS
from app.web.render import house, now, page
from app.web.scans import whole
from app.web.security import visitor

bp = Blueprint("consignments", __name__)
DEEDS = ("change", "count", "close", "danger", "clear")


@bp.get("/consignments")
def every() -> Response:
    """All of them, those that are open first."""
    return _every(NewForm(formdata=None))


@bp.post("/consignments")
def add() -> AnyResponse:
    """A parcel has come."""
    form = NewForm()
    if not form.validate():
        return _every(form, 422)
    code = str(form.code.data)
    try:
        with transaction(house().database) as session:
            begin_consignment(session, code, form.told(), now(), visitor().worker_id)
    except ValueError as error:
        form.code.errors = [str(error)]
        return _every(form, 422)
    flash(say("It is on the list. Now its sheets can be taken in: by a list, or one by one at the intake station."))
    return redirect(url_for("consignments.one", code=code))


@bp.get("/consignments/<path:code>")
def one(code: str) -> Response:
    """One of them."""
    return _one(code)


@bp.post("/consignments/<path:code>/change")
def change(code: str) -> AnyResponse:
    """Put right what is said of it."""
    form = ChangeForm()

    def act(session: Any) -> str:
        what = change_consignment(session, code, form.told(), form.why.data or "", now(), visitor().worker_id)
        return say("Put right: {what}.", what=", ".join(map(say, what))) if what else say("Nothing was changed.")

    return _done(code, "change", form, act, "why")


@bp.post("/consignments/<path:code>/count")
def count(code: str) -> AnyResponse:
    """Somebody has counted the parcel."""
    form = CountForm()

    def act(session: Any) -> str:
        return confirm_count(session, code, form.counted.data or 0, now(), visitor().worker_id)

    return _done(code, "count", form, act, "counted")


@bp.post("/consignments/<path:code>/close")
def close(code: str) -> AnyResponse:
    """Close it, or open it again."""
    form = CloseForm()
    act, said = (
        (open_again, say("It is open again."))
        if request.form.get("deed") == "open"
        else (close_consignment, say("It is closed."))
    )

    def do(session: Any) -> str:
        act(session, code, form.why.data or "", now(), visitor().worker_id)
        return said

    return _done(code, "close", form, do, "why")


@bp.post("/consignments/<path:code>/danger")
def danger(code: str) -> AnyResponse:
    """Say that all of it carries a danger."""
    form, kind = DangerForm(), str(request.form.get("kind", ""))

    def act(session: Any) -> str:
        found = _found(code, session)
        is_new = put_hazard(
            session, kind, form.why.data or "", now(), visitor().worker_id, consignment_id=found.row.consignment_id
        )
        known = say("It travels with all of it from now on.") if is_new else say("That was known already.")
        return f"{known} {say(CAUTIONS[kind])}"

    return _done(code, "danger", form, act, "kind")


@bp.post("/consignments/<path:code>/clear")
def clear(code: str) -> AnyResponse:
    """Say with a reason that a danger is none."""
    form, hazard_id = ClearForm(), whole(request.form.get("hazard", ""))

    def act(session: Any) -> str:
        if hazard_id not in [each.hazard_id for each in _found(code, session).dangers if each.cleared_at is None]:
            raise ValueError(say("Choose which danger is none."))
        assert hazard_id is not None
        clear_hazard(session, hazard_id, form.why.data or "", now(), visitor().worker_id)
        return say("Cleared. The reason stays in the history.")

    return _done(code, "clear", form, act, "why")


@bp.get("/consignments/<path:code>/answer")
def answer(code: str) -> Response:
    """What became of it, as a letter for the giver."""
    with reading(house().database) as session:
        found = answer_to_giver(session, code)
    if found is None:
        abort(404)
    return page("consignments/answer.html", found=found, today=now().astimezone(house().zone).date())


@bp.get("/consignments/<path:code>/answer.csv")
def answer_table(code: str) -> Response:
    """What became of it, as a table for other programs."""
    with reading(house().database) as session:
        found = answer_to_giver(session, code)
    if found is None:
        abort(404)
    response = Response(BOM + "".join(csv_line(row) for row in answer_rows(found)), mimetype="text/csv")
    name = re.sub("[^a-z0-9]+", "-", f"{found.code} {now().astimezone(house().zone):%Y %m %d}".casefold())
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return response


def _every(form: NewForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        found = consignment_list(session, now(), request.args.get("after", "")[:40])
    return page("consignments/every.html", status, found=found, form=form, may_add=_may("add"), begun=status != 200)


def _one(code: str, status: int = 200, deed: str = "", form: FlaskForm | None = None) -> Response:
    with reading(house().database) as session:
        found = _found(code, session)
    forms: dict[str, Any] = {"change": _change_form(found), "count": CountForm(formdata=None), "close": CloseForm(formdata=None),
                             "danger": DangerForm(formdata=None), "clear": ClearForm(formdata=None)}  # fmt: skip
    if form is not None:
        forms[deed] = form
    for name, each in forms.items():
        own_ids(each, name)
    may = {each for each in (*DEEDS, "answer") if _may(each)}
    return page("consignments/one.html", status, found=found, row=found.row, forms=forms, may=may, opened=deed,
                defers=DEFERS)  # fmt: skip


def _change_form(found: ConsignmentPage) -> ChangeForm:
    row = found.row
    return ChangeForm(formdata=None, name=row.name, source=row.source, kind=found.kind, arrived_on=row.arrived_on,
                      sheets_said=row.said, papers=found.papers, note=found.note)  # fmt: skip


def _found(code: str, session: Any) -> ConsignmentPage:
    found = consignment_page(session, code, now(), by_names=visitor().sees_names())
    if found is None:
        abort(404)
    return found


def _done(code: str, deed: str, form: FlaskForm, act: Callable[[Any], str], field: str) -> AnyResponse:
    """Do one deed to a consignment; what is wrong is said beside its field, and what was typed stays."""
    if not form.validate():
        return _one(code, 422, deed, form)
    try:
        with transaction(house().database) as session:
            _found(code, session)
            said = act(session)
    except ValueError as error:
        form[field].errors = [str(error)]
        return _one(code, 422, deed, form)
    flash(said)
    return redirect(url_for("consignments.one", code=code))


def _may(deed: str) -> bool:
    return bool(visitor().roles & PERMISSIONS[f"consignments.{deed}"])
