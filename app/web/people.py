"""The people of the room: who works here, with which badge and rights, and which keys were given to scripts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import mark, say
from app.domain.numbers import shown
from app.queries.attendance import times_of
from app.queries.furniture import badge_of
from app.queries.house import house_now
from app.queries.own_weeks import own_weeks
from app.queries.people import WorkerLine, station_list, tokens, worker_by_id, workers
from app.services.attendance import set_end
from app.services.people import (
    add_worker,
    make_token,
    new_badge,
    retire_worker,
    revoke_token,
    set_password,
    set_pin,
    set_rights,
)
from app.web.forms import PasswordForm, PinForm, RightsForm, TokenForm, WorkerForm
from app.web.hours_forms import hours_form
from app.web.own import drawn
from app.web.permissions import MANAGE
from app.web.render import house, now, page
from app.web.security import visitor

bp = Blueprint("people", __name__)
# What a key may do, as the list of keys says it.
SCOPES = {"read": mark("read"), "scan": mark("scan"), "manage": mark("manage")}


@bp.get("/people")
def every() -> Response:
    """Everybody who works here, and who has left."""
    return _everybody(WorkerForm())


@bp.post("/people")
def add() -> AnyResponse:
    """Add a worker."""
    form = WorkerForm()
    if not form.validate():
        return _everybody(form, 422)
    try:
        with transaction(house().database) as session:
            worker_id, _badge = add_worker(
                session, str(form.name.data), form.rights.data or [], now(), by=visitor().worker_id
            )
    except ValueError as error:
        form.name.errors = [str(error)]
        return _everybody(form, 422)
    flash(say("{name} works here now. Print the badge.", name=form.name.data))
    return redirect(url_for("people.one", worker_id=worker_id))


@bp.get("/people/<int:worker_id>")
def one(worker_id: int) -> Response:
    """One worker: their own weeks for those who teach, and everything about them for the manager."""
    return _worker(worker_id)


@bp.post("/people/<int:worker_id>/badge")
def badge(worker_id: int) -> AnyResponse:
    """A new badge; the old one opens nothing any more."""
    _known(worker_id)
    with transaction(house().database) as session:
        new_badge(session, worker_id, now(), by=visitor().worker_id)
    flash(say("There is a new badge. The old one no longer signs anybody in."))
    return redirect(url_for("people.one", worker_id=worker_id))


@bp.post("/people/<int:worker_id>/retire")
def retire(worker_id: int) -> AnyResponse:
    """A worker leaves."""
    worker = _known(worker_id)
    try:
        with transaction(house().database) as session:
            retire_worker(session, worker_id, now(), by=visitor().worker_id)
    except ValueError as error:
        flash(str(error))
        return redirect(url_for("people.one", worker_id=worker_id))
    flash(say("{name} has left. The log stays whole.", name=worker.name))
    return redirect(url_for("people.every"))


@bp.post("/people/<int:worker_id>/password", endpoint="set_password")
def password(worker_id: int) -> AnyResponse:
    """A password for a worker who signs in at a browser of their own; one's own is changed where the old one is asked for."""
    form = PasswordForm()
    if worker_id == visitor().worker_id:
        form.password.errors = [
            say("Your own is changed on a page of its own, which asks for the old one: press your name, above.")
        ]
        return _worker(worker_id, 422, password=form)
    setting = lambda session: set_password(session, worker_id, str(form.password.data), now(), by=visitor().worker_id)  # noqa: E731
    return _set(
        worker_id, "password", form, setting, say("The password is set. Every browser with the old one is signed out.")
    )


@bp.post("/people/<int:worker_id>/pin")
def pin(worker_id: int) -> AnyResponse:
    """A PIN for signing in by name at a station."""
    form = PinForm()
    setting = lambda session: set_pin(session, worker_id, str(form.pin.data), now(), by=visitor().worker_id)  # noqa: E731
    return _set(worker_id, "pin", form, setting, say("The PIN is set."))


@bp.post("/people/<int:worker_id>/rights")
def rights(worker_id: int) -> AnyResponse:
    """What a worker may do."""
    form = RightsForm()
    setting = lambda session: set_rights(session, worker_id, form.rights.data or [], now(), by=visitor().worker_id)  # noqa: E731
    return _set(worker_id, "rights", form, setting, say("The rights are changed."))


@bp.post("/people/<int:worker_id>/signed-out")
def signed_out(worker_id: int) -> AnyResponse:
    """When somebody really left, where they forgot to sign out."""
    with reading(house().database) as session:
        form = hours_form(times_of(session, worker_id))
    moment = form.moment() if form.validate() else None
    if moment is None:
        return _worker(worker_id, 422, hours=form)
    by, time, why = visitor().worker_id, int(form.time.data), str(form.reason.data)
    setting = lambda session: set_end(session, time, moment, why, now(), by=by)  # noqa: E731
    return _set(worker_id, "hours", form, setting, say("The hours are put right."), field="happened_at")


@bp.route("/people/tokens", endpoint="tokens", methods=["GET", "POST"])
def keys() -> AnyResponse:
    """The keys for scripts and scanners; a new one is shown once."""
    form = TokenForm()
    with reading(house().database) as session:
        stations = [each for each in station_list(session) if not each.closed_at]
    form.station.choices = [("", "–"), *[(str(each.station_id), each.name) for each in stations]]
    if not form.validate_on_submit():
        return _keys(form, 422 if form.errors else 200)
    if form.scope.data == "scan" and not form.station.data:
        form.station.errors = [say("A key that scans belongs to a station. Choose one.")]
        return _keys(form, 422)
    flash(say("This key is shown once, so write it down now: {key}", key=_new_key(form)))
    return redirect(url_for("people.tokens"))


@bp.post("/people/tokens/<int:token_id>/revoke")
def revoke(token_id: int) -> AnyResponse:
    """A key opens nothing from now on."""
    with transaction(house().database) as session:
        revoke_token(session, token_id, now(), by=visitor().worker_id)
    flash(say("The key opens nothing any more."))
    return redirect(url_for("people.tokens"))


def _new_key(form: TokenForm) -> str:
    by = visitor().worker_id
    scans = form.scope.data == "scan"
    with transaction(house().database) as session:
        return make_token(session, form.scope.data, str(form.name.data), now(), days=form.days.data, by=by,
                          station_id=int(form.station.data) if scans else None, worker_id=None if scans else by)  # fmt: skip


def _set(worker_id: int, what: str, form: FlaskForm, setting: Callable[[Any], None], words: str, *,
         field: str = "") -> AnyResponse:  # fmt: skip
    _known(worker_id)
    if not form.validate():
        return _worker(worker_id, 422, **{what: form})
    try:
        with transaction(house().database) as session:
            setting(session)
    except ValueError as error:
        form[field or what].errors = [str(error)]
        return _worker(worker_id, 422, **{what: form})
    flash(words)
    return redirect(url_for("people.one", worker_id=worker_id))


def _everybody(form: WorkerForm, status: int = 200) -> Response:
    with reading(house().database) as session:
        found = workers(session)
    here = [worker for worker in found if not worker.retired_at]
    return page("people/every.html", status, here=here, left=[each for each in found if each.retired_at], form=form)


def _worker(worker_id: int, status: int = 200, **sent: FlaskForm) -> Response:
    worker = _known(worker_id)
    with reading(house().database) as session:
        code, times, rules = badge_of(session, worker_id), times_of(session, worker_id), house_now(session)
        own = own_weeks(session, worker_id, now(), house().zone)
    forms = {"password": PasswordForm(), "pin": PinForm(), "rights": RightsForm(), "hours": hours_form(times), **sent}
    if "rights" not in sent:
        forms["rights"].rights.process_data(list(worker.rights))
    may_manage = bool(visitor().roles & MANAGE)
    return page("people/one.html", status, worker=worker, badge=shown(code, ()) if code and may_manage else "", forms=forms,
                times=times, keep_months=rules.keep_hours_months, may_manage=may_manage, **drawn(own))  # fmt: skip


def _keys(form: TokenForm, status: int) -> Response:
    with reading(house().database) as session:
        found = tokens(session)
    return page("people/tokens.html", status, tokens=found, form=form, now=now(), scopes=SCOPES)


def _known(worker_id: int) -> WorkerLine:
    with reading(house().database) as session:
        worker = worker_by_id(session, worker_id)
    if worker is None:
        abort(404)
    return worker
