"""The doors: the first manager, signing in and out, and whether the clock is right."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, flash, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say
from app.queries.doors import known_worker
from app.services.backup_places import name_place
from app.services.browsers import sign_out_browser
from app.services.first import become_first_manager
from app.services.people import has_manager, log_in, password_fits, set_password
from app.services.tries import name_lock, own_lock
from app.web.forms import FirstForm, OwnPasswordForm, SignInForm
from app.web.proving import proved
from app.web.render import house, now, page
from app.web.security import browser_mark, remember, visitor

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
        ready = has_manager(database)
    return redirect(url_for("doors.sign_in" if ready else "doors.first"))


@bp.route("/first", methods=["GET", "POST"])
def first() -> AnyResponse:
    """Make the first manager, with the code that the console shows."""
    with reading(house().database) as database:
        if has_manager(database):
            return redirect(url_for("doors.sign_in"))
    form = FirstForm()
    if not form.validate_on_submit():
        return page("doors/first.html", 422 if form.errors else 200, form=form)
    try:
        with transaction(house().database) as database:
            worker_id = become_first_manager(
                database, form.code.data or "", form.name.data or "", form.password.data or "", now()
            )
            # Only then: whoever does not know the code learns nothing of the folders here.
            wrong = _second_place(database, form.folder.data or "", worker_id)
    except ValueError as error:
        form.password.errors = [str(error)]
        return page("doors/first.html", 422, form=form)
    answer = _welcome(worker_id, url_for("room.show"))
    if wrong:
        # After the welcome, which begins the session anew.
        flash(say("The second place of the backups is not named yet: {why}", why=wrong))
    return answer


@bp.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> AnyResponse:
    """Sign in with a name and a password."""
    form = SignInForm()
    if not form.validate_on_submit():
        return page("doors/sign_in.html", 422 if form.errors else 200, form=form)
    name, said = form.name.data or "", form.password.data or ""
    worker_id = proved(name_lock(name), lambda database: log_in(database, name, said))
    if worker_id is None:
        form.password.errors = [say("The name and the password do not fit together. Type both again.")]
        return page("doors/sign_in.html", 422, form=form)
    return _welcome(worker_id, _safe(request.args.get("next", "")) or url_for("board.show"))


@bp.post("/sign-out")
def sign_out() -> AnyResponse:
    """Sign out of this browser."""
    if visitor().worker_id is not None:
        with transaction(house().database) as database:
            sign_out_browser(database, browser_mark(), now())
    session.clear()
    return redirect(url_for("doors.front"))


@bp.route("/password", methods=["GET", "POST"])
def password() -> AnyResponse:
    """Choose a new password of one's own, with the old one; every other browser is signed out by it."""
    form, worker_id = OwnPasswordForm(), visitor().worker_id
    if not form.validate_on_submit() or worker_id is None:
        return page("doors/password.html", 422 if form.errors else 200, form=form)
    if not _knows_the_old(worker_id, form.old.data or ""):
        form.old.errors = [say("That is not your password until now. Type it again.")]
        return page("doors/password.html", 422, form=form)
    try:
        with transaction(house().database) as database:
            set_password(database, worker_id, form.password.data or "", now(), by=worker_id)
    except ValueError as error:
        form.password.errors = [str(error)]
        return page("doors/password.html", 422, form=form)
    answer = _welcome(worker_id, url_for("board.show"))
    flash(say("Your password is changed."))
    return answer


@bp.post("/clock")
def clock_is_right() -> AnyResponse:
    """Somebody says that the date and the time on the screen are right."""
    house().watch.confirm()
    flash(say("Thank you. The clock is taken as right."))
    return redirect(_safe(request.form.get("next", "")) or url_for("doors.front"))


def _second_place(database: Any, folder: str, worker_id: int) -> str:
    """Name the second place of the backups, where one was given; what is wrong with it. The room is opened all the same."""
    try:
        if folder.strip():
            name_place(database, folder, house().config.data, now(), by=worker_id)
    except ValueError as error:
        return str(error)
    return ""


def _knows_the_old(worker_id: int, said: str) -> bool:
    return bool(proved(own_lock(worker_id), lambda database: password_fits(database, worker_id, said) or None))


def _welcome(worker_id: int, where: str) -> AnyResponse:
    with reading(house().database) as database:
        worker = known_worker(database, worker_id)
    remember(worker)
    return redirect(where)


def _safe(target: str) -> str:
    # A browser leaves control characters out before it looks where an address leads, and takes a backslash for a slash.
    if not target.startswith("/") or target.startswith("//") or "\\" in target or not target.isprintable():
        return ""
    try:
        return "" if urlsplit(target).netloc else target
    except ValueError:
        return ""
