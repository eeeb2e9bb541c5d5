"""The files that sheets were taken in from: how far each is, by whom and when it was sent, and taking one back."""

from __future__ import annotations

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say
from app.queries.files import file_by_id, files
from app.services.files_in import withdraw_file
from app.web.forms import ReasonForm
from app.web.render import house, page
from app.web.scans import occasion
from app.web.security import visitor

bp = Blueprint("files", __name__)


@bp.get("/intake/files")
def every() -> Response:
    """The latest files, newest first."""
    with reading(house().database) as session:
        found = files(session)
    return page("intake/files.html", files=found)


@bp.get("/intake/files/<int:file_id>")
def one(file_id: int) -> AnyResponse:
    """How far one file is; for the page that asks again, only what changes of it."""
    return _drawn(file_id, ReasonForm(formdata=None))


@bp.post("/intake/files/<int:file_id>/withdraw")
def withdraw(file_id: int) -> AnyResponse:
    """Take no more of a file in, and take back what is in."""
    form, who = ReasonForm(), visitor()
    if not form.validate() or who.worker_id is None:
        return _drawn(file_id, form, 422)
    with transaction(house().database) as session:
        withdraw_file(session, file_id, who.worker_id, form.reason.data or "", occasion())
    flash(say("Withdrawn. What was in of it is being taken back."))
    return redirect(url_for("files.one", file_id=file_id))


def _drawn(file_id: int, form: ReasonForm, status: int = 200) -> AnyResponse:
    with reading(house().database) as session:
        found = file_by_id(session, file_id)
    if found is None:
        abort(404)
    template = "intake/_file.html" if request.headers.get("HX-Request") else "intake/file.html"
    answer = page(template, status, file=found, form=form)
    answer.headers["Vary"] = "HX-Request"
    return answer
