"""Intake by list: a file of sheets, shown as a plan first, then written whole or not at all."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.queries.furniture import ConsignmentLine, consignments
from app.services.intake import ImportPlan, plan_import, run_import
from app.web.forms import ImportForm
from app.web.render import house, page
from app.web.scans import occasion
from app.web.security import visitor
from app.web.uploads import held, hold, let_go

bp = Blueprint("intake", __name__)
BAD_SHOWN = 200
GONE = "The file is no longer held here. If it was written, its sheets are in the list; otherwise choose it again."


@bp.route("/intake", endpoint="page", methods=["GET", "POST"])
def choose() -> AnyResponse:
    """Choose a file and a consignment, look at the plan, write it."""
    form, found = _form()
    if request.method == "GET":
        return _show(form, found)
    key = request.form.get("held", "")
    if key:
        del form.file
    if not form.validate():
        return _show(form, found, status=422)
    return _write(form, key) if key and form.write.data else _plan(form, found, key)


def _plan(form: ImportForm, found: tuple[ConsignmentLine, ...], key: str) -> AnyResponse:
    data = held(key) if key else form.file.data.read()
    if data is None:
        flash(GONE)
        return redirect(url_for("intake.page"))
    with reading(house().database) as session:
        plan = plan_import(session, data, form.consignment.data, occasion())
    key = "" if plan.bad else hold(data)
    return _show(form, found, plan=plan, key=key, status=422 if plan.bad else 200)


def _write(form: ImportForm, key: str) -> AnyResponse:
    data, who = held(key), visitor()
    if data is None or who.worker_id is None:
        flash(GONE)
        return redirect(url_for("intake.page"))
    with transaction(house().database) as session:
        done = run_import(session, data, form.consignment.data, occasion(), (who.worker_id,))
    let_go(key)
    flash(f"Written: {done.said}")
    return redirect(url_for("intake.page"))


def _form() -> tuple[ImportForm, tuple[ConsignmentLine, ...]]:
    form = ImportForm()
    with reading(house().database) as session:
        found = consignments(session)
    open_ = [each for each in found if each.closed_at is None]
    form.consignment.choices = [(each.code, f"{each.name} ({each.code})") for each in open_]
    return form, found


def _show(form: ImportForm, found: tuple[ConsignmentLine, ...], *, plan: ImportPlan | None = None, key: str = "",
          status: int = 200) -> AnyResponse:  # fmt: skip
    return page("intake/page.html", status, form=form, consignments=found, plan=plan, key=key, most=BAD_SHOWN,
                can_import=bool(form.consignment.choices))  # fmt: skip
