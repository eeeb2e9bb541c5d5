"""Cabinet checks: beginning one, watching it while it goes on, its result on screen, on paper and as a table, and closing it."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.domain.answer import Answer
from app.domain.cells import BOM, csv_line
from app.domain.hazards import DEFERS
from app.domain.language import say
from app.queries.cabinets import CabinetView, cabinets
from app.queries.check_page import CheckPage, check_page, check_rows, drawn_ids
from app.queries.checks import checks, checks_version, last_check
from app.queries.picks import picks_of
from app.services.checks import begin_check, check_by_id, end_check
from app.services.closed_checks import break_off, close_check, write_there
from app.services.desk import Desk, ScanRequest
from app.services.places import place_by_name
from app.web.asking import done_once, sent_id
from app.web.check_forms import BeginForm, CloseForm, begin_form
from app.web.press_kept import KeptParts, Part
from app.web.render import house, kept_here, now, page
from app.web.scans import whole
from app.web.security import visitor

bp = Blueprint("checks", __name__)
MOST_WRITTEN = 500


@bp.get("/checks")
def every() -> Response:
    """Every check: first those that are not closed."""
    with reading(house().database) as session:
        found = checks(session, names=visitor().sees_names())
    return page("checks/every.html", checks=found)


@bp.route("/cabinets/<name>/check", methods=["GET", "POST"])
def begin(name: str) -> AnyResponse:
    """Begin a check of a cabinet, of one shelf, or of some sheets drawn by chance."""
    with reading(house().database) as session:
        cabinet = next((each for each in cabinets(session) if each.name == name), None)
        last = last_check(session, name)
    if cabinet is None:
        return _no_such(say("There is no such cabinet."))
    form = begin_form([shelf.name for shelf in cabinet.shelves])
    if request.method == "GET" or not form.validate():
        return _asking(cabinet, form, last, 200 if request.method == "GET" else 422)
    answer = _does(
        lambda desk: _begin(desk, cabinet, form), f"check {name} {form.shelf.data} {form.sample.data}", here=True
    )
    if answer.kind != "done":
        return _asking(cabinet, form, last, 422, answer)
    flash(" ".join((answer.word, *answer.lines, answer.next)))
    return redirect(url_for("stations.here") if visitor().station_id is not None else url_for("checks.every"))


@bp.get("/checks/<int:check_id>")
def one(check_id: int) -> AnyResponse:
    """One check, as far as it has come; with `shown`, only what has changed since that mark."""
    if "shown" not in request.args:
        return _drawn(check_id)
    part = _parts().drawn_now(_kept_as(check_id), lambda session: _body(session, check_id))
    return make_response("", 204) if part.mark == request.args["shown"] else make_response(_live(part, check_id))


@bp.get("/checks/<int:check_id>.csv")
def table(check_id: int) -> Response:
    """A check as a CSV file."""
    names = visitor().sees_names()
    with reading(house().database) as session:
        try:
            lines = [csv_line(row) for row in check_rows(session, check_id, now(), house().zone, names=names)]
        except ValueError as error:
            return _no_such(str(error))
    response = Response(BOM + "".join(lines), mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="check {check_id}.csv"'
    return response


@bp.get("/checks/<int:check_id>/drawn")
def drawn(check_id: int) -> Response:
    """The sheets that were drawn by chance, in the order in which one walks past them."""
    with reading(house().database) as session:
        found = check_page(session, check_id, now(), house().zone, names=False)
        if found is None or found.line.sample is None:
            return _no_such(say("No sheets were drawn for such a check."))
        picks = picks_of(session, drawn_ids(session, check_id), now(), house().zone)
    return page("checks/drawn.html", check=found, picks=picks, now=now(), defers=DEFERS if picks.has_cautions else "")


@bp.post("/checks/<int:check_id>/done")
def done(check_id: int) -> AnyResponse:
    """Somebody says that all of it was scanned."""
    return _told(
        check_id, lambda desk: end_check(desk, check_by_id(desk, check_id), surely=True), f"check {check_id} done"
    )


@bp.post("/checks/<int:check_id>/close")
def close(check_id: int) -> AnyResponse:
    """Close a check that is through, or break one off."""
    form = CloseForm()
    reason = (form.reason.data or "").strip()
    deed = break_off if request.form.get("deed") == "break-off" else close_check
    if not form.validate():
        return _drawn(check_id, 422, form)
    return _told(check_id, lambda desk: deed(desk, check_id), f"check {check_id} {deed.__name__}", reason, form)


@bp.post("/checks/<int:check_id>/write")
def write(check_id: int) -> AnyResponse:
    """Write the sheets that were ticked where they were found."""
    ticked = [each for each in map(whole, request.form.getlist("sheet")[:MOST_WRITTEN]) if each is not None]
    if not ticked:
        flash(say("Tick the sheets that shall be written where they were found."))
        return redirect(url_for("checks.one", check_id=check_id))
    return _told(check_id, lambda desk: write_there(desk, check_id, ticked), f"check {check_id} writes {ticked}")


def _begin(desk: Desk, cabinet: CabinetView, form: BeginForm) -> Answer:
    place = place_by_name(desk.session, cabinet.name, form.shelf.data or "")
    return begin_check(desk, place, form.sample.data, secrets.randbelow(2**31))


def _asking(cabinet: CabinetView, form: BeginForm, last: Any, status: int, answer: Answer | None = None) -> Response:
    return page("checks/begin.html", status, cabinet=cabinet, form=form, last=last, answer=answer,
                fresh_id=secrets.token_urlsafe(16))  # fmt: skip


def _does(act: Callable[[Desk], Answer], what: str, reason: str = "", *, here: bool = False) -> Answer:
    """Do something once, by whoever is signed in at this browser; `here`, else by those who work at its station."""
    who = visitor()
    wanted = ScanRequest(
        sent_id(), "", who.station_id if here else None, reason=reason, manages="manager" in who.rights
    )
    if who.worker_id is not None:
        wanted = replace(wanted, worker_ids=(who.worker_id,))
    return done_once(wanted, act, what)


def _told(
    check_id: int, act: Callable[[Desk], Answer], what: str, reason: str = "", form: CloseForm | None = None
) -> AnyResponse:
    answer = _does(act, what, reason)
    if answer.kind != "done":
        return _drawn(check_id, 422, form, answer)
    flash(" ".join(filter(None, (answer.word, *answer.lines, answer.next))))
    return redirect(url_for("checks.one", check_id=check_id))


def _drawn(check_id: int, status: int = 200, form: CloseForm | None = None, answer: Answer | None = None) -> Response:
    with reading(house().database) as session:
        found = check_page(session, check_id, now(), house().zone, names=visitor().sees_names())
    if found is None:
        return _no_such(say("There is no such check."))
    part = _parts().drawn_anew(_kept_as(check_id), lambda session: _body(session, check_id))
    rights = visitor().rights
    return page("checks/one.html", status, check=found, drawn=_live(part, check_id), form=form or CloseForm(), answer=answer,
                fresh_id=secrets.token_urlsafe(16), teaches=visitor().sees_names(), manages="manager" in rights,
                is_person=bool(rights))  # fmt: skip


def _body(session: Any, check_id: int) -> str:
    found: CheckPage | None = check_page(session, check_id, now(), house().zone, names=visitor().sees_names())
    return render_template("checks/_result.html", check=found)


def _live(part: Part, check_id: int) -> Markup:
    asks = url_for("checks.one", check_id=check_id, shown=part.mark)
    return Markup(render_template("checks/_live.html", body=Markup(part.body), asks=asks))


def _kept_as(check_id: int) -> str:
    # Names are drawn for the trainer and the manager only, and must never be kept for anybody else.
    return f"{check_id} {'with' if visitor().sees_names() else 'without'} names"


class KeptChecks(KeptParts):
    """The pages of checks as they were drawn last; they also change with scans that write no entry."""

    def _state(self, session: Any) -> tuple[int, str]:
        minute, entries = super()._state(session)
        return minute, f"{entries} {checks_version(session)}"


def _parts() -> KeptChecks:
    kept: KeptChecks = kept_here().setdefault("blotter-checks", KeptChecks(house()))
    return kept


def _no_such(what: str) -> Response:
    return page("doors/error.html", 404, code=say("No such check"), what=what, do=say("Look at the list of checks."))
