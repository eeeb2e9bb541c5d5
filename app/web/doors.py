"""The doors: the first manager, signing in and out, and whether the clock is right."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, flash, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.queries.doors import known_worker, room_has_manager
from app.services.first import become_first_manager
from app.services.people import log_in, set_password
from app.web.forms import FirstForm, PasswordForm, SignInForm
from app.web.render import house, now, page
from app.web.security import remember, visitor

bp = Blueprint("doors", __name__)


@bp.get("/")
def front() -> AnyResponse:
    """The first address: the station of this browser, the board, or the door."""
    who = visitor()
    if who.worker_id is not None:
        return redirect(url_for("board.show"))
    if who.station_id is not None:
        return redirect(url_for("stations.here"))
    with reading(house().database) as database:
        ready = room_has_manager(database)
    return redirect(url_for("doors.sign_in" if ready else "doors.first"))


@bp.route("/first", methods=["GET", "POST"])
def first() -> AnyResponse:
    """Make the first manager, with the code that the console shows."""
    with reading(house().database) as database:
        if room_has_manager(database):
            return redirect(url_for("doors.sign_in"))
    form = FirstForm()
    if not form.validate_on_submit():
        return page("doors/first.html", 422 if form.errors else 200, form=form)
    try:
        with transaction(house().database) as database:
            worker_id = become_first_manager(
                database, form.code.data or "", form.name.data or "", form.password.data or "", now()
            )
    except ValueError as error:
        form.password.errors = [str(error)]
        return page("doors/first.html", 422, form=form)
    return _welcome(worker_id, url_for("room.show"))


@bp.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> AnyResponse:
    """Sign in with a name and a password."""
    form = SignInForm()
    if not form.validate_on_submit():
        return page("doors/sign_in.html", 422 if form.errors else 200, form=form)
    with transaction(house().database) as database:
        worker_id = log_in(database, form.name.data or "", form.password.data or "", now())
    if worker_id is None:
        form.password.errors = ["The name and the password do not fit together. Type both again."]
        return page("doors/sign_in.html", 422, form=form)
    return _welcome(worker_id, _safe(request.args.get("next", "")) or url_for("board.show"))


@bp.post("/sign-out")
def sign_out() -> AnyResponse:
    """Sign out of this browser."""
    session.clear()
    return redirect(url_for("doors.front"))


@bp.route("/password", methods=["GET", "POST"])
def password() -> AnyResponse:
    """Choose a new password of one's own; every other browser is signed out by it."""
    form, who = PasswordForm(), visitor()
    if not form.validate_on_submit() or who.worker_id is None:
        return page("doors/password.html", 422 if form.errors else 200, form=form)
    try:
        with transaction(house().database) as database:
            set_password(database, who.worker_id, form.password.data or "", now(), by=who.worker_id)
    except ValueError as error:
        form.password.errors = [str(error)]
        return page("doors/password.html", 422, form=form)
    flash("Your password is changed.")
    return _welcome(who.worker_id, url_for("board.show"))


@bp.post("/clock")
def clock_is_right() -> AnyResponse:
    """Somebody says that the date and the time on the screen are right."""
    house().watch.confirm()
    flash("Thank you. The clock is taken as right.")
    return redirect(_safe(request.form.get("next", "")) or url_for("doors.front"))


def _welcome(worker_id: int, where: str) -> AnyResponse:
    with reading(house().database) as database:
        worker = known_worker(database, worker_id)
    remember(worker)
    return redirect(where)


def _safe(target: str) -> str:
    parts = urlsplit(target)
    return (
        target
        if target.startswith("/") and not target.startswith("//") and not parts.netloc and "\\" not in target
        else ""
    )
