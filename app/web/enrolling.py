"""Setting stations up: which there are, and which browser is the screen of which."""

from __future__ import annotations

import secrets
from typing import Any

from flask import Response, flash, make_response, redirect, url_for
from flask import session as of_browser
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say
from app.domain.stations import KINDS
from app.queries.people import station_list
from app.services.browsers import sign_out_browser
from app.services.people import enrol_station
from app.services.practice import make_practice_pattern
from app.services.room import add_station, close_browser
from app.web.forms import StationForm
from app.web.render import house, now, page
from app.web.security import STATION_COOKIE, browser_mark, visitor
from app.web.stations import bp


@bp.get("/stations")
def every() -> Response:
    """All stations; the manager enrols this browser as one of them."""
    with reading(house().database) as session:
        found = station_list(session)
    form = StationForm()
    form.kind.choices = [(kind, words) for kind, (words, _) in KINDS.items()]
    return page("stations/every.html", stations=found, form=form, here=visitor().station_id)


@bp.post("/stations")
def add() -> AnyResponse:
    """Add a station."""
    form = StationForm()
    form.kind.choices = [(kind, words) for kind, (words, _) in KINDS.items()]
    if form.validate_on_submit():
        try:
            with transaction(house().database) as session:
                slug = f"{form.kind.data}-{secrets.token_hex(3)}"
                _add(session, slug, form)
            flash(
                say(
                    "{name} is set up. At the computer that stands there, press “Make this browser {name}”.",
                    name=form.name.data,
                )
            )
        except ValueError as error:
            flash(str(error))
    else:
        flash(" ".join(words for errors in form.errors.values() for words in errors))
    return redirect(url_for("stations.every"))


def _add(session: Any, slug: str, form: StationForm) -> None:
    by, practises = visitor().worker_id, bool(form.practises.data)
    if practises:
        make_practice_pattern(session, now(), by=by)
    add_station(session, slug, form.name.data or "", KINDS[form.kind.data][1], now(), by=by, is_practice=practises)


@bp.post("/stations/<slug>/enrol")
def enrol(slug: str) -> AnyResponse:
    """Make this browser the screen of that station, and sign the manager out of it: volunteers stand at it from now on."""
    manager = visitor().worker_id
    with transaction(house().database) as session:
        found = [each for each in station_list(session) if each.slug == slug]
        if not found or manager is None:
            return make_response(
                page("doors/error.html", 404, code=404, what=say("There is no such station."), do=say("Go back."))
            )
        secret = enrol_station(session, found[0].station_id, manager, now())
        sign_out_browser(session, browser_mark(), now())
    of_browser.clear()
    response = redirect(url_for("stations.here"))
    secure = house().config.secure_cookies
    response.set_cookie(STATION_COOKIE, secret, max_age=315_360_000, httponly=True, samesite="Lax", secure=secure)
    return response


@bp.post("/stations/leave")
def leave() -> AnyResponse:
    """This browser is no longer a station."""
    station_id = visitor().station_id
    if station_id is not None:
        with transaction(house().database) as session:
            close_browser(session, station_id, now(), by=visitor().worker_id)
    response = redirect(url_for("stations.every"))
    response.delete_cookie(STATION_COOKIE)
    return response
