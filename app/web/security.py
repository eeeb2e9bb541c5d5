"""Who stands at the door, and who may do what: one table for every address."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Any, cast

from flask import Flask, Response, abort, g, jsonify, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import glance
from app.domain.language import mark, say
from app.queries.doors import known_worker, station_by_secret
from app.services.people import Holder, secret_hash
from app.web.headers import HEADERS
from app.web.languages import speak_to
from app.web.permissions import PERMISSIONS, TOKEN_SCOPES
from app.web.render import house, now

STATION_COOKIE = "blotter-station"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever asks: a worker who signed in with a password, an enrolled station's browser, both, or nobody."""

    worker_id: int | None = None
    name: str = ""
    rights: frozenset[str] = frozenset()
    station_id: int | None = None
    practises: bool = False
    language: str | None = None
    number: str = ""

    @property
    def roles(self) -> frozenset[str]:
        """All that this visitor counts as."""
        return self.rights | ({"station"} if self.station_id is not None else set()) | {"anyone"}

    @property
    def rights_words(self) -> str:
        """The highest right, in a word."""
        return say(next((right for right in RIGHTS if right in self.rights), ""))

    def sees_names(self) -> bool:
        """Whether logs show who did what: for the trainer and the manager."""
        return bool(self.rights & {"trainer", "manager"})


# The highest first.
RIGHTS = (mark("manager"), mark("trainer"), mark("volunteer"), mark("reader"))
NOBODY = Visitor()


def visitor() -> Visitor:
    """Whoever asks."""
    return cast(Visitor, g.get("visitor", NOBODY))


def holder() -> Holder:
    """Whoever holds the key that came with this request."""
    return cast(Holder, g.holder)


def set_up(app: Flask) -> None:
    """Check every request at the door, and send safe headers with every answer."""
    app.before_request(_at_the_door)
    app.after_request(_with_headers)


def remember(worker: Any) -> None:
    """Sign a worker in at this browser, in a fresh session with a mark of its own."""
    session.clear()
    session.permanent = True
    session["worker"], session["since"] = worker.worker_id, worker.password_mark
    session["browser"] = secrets.token_urlsafe(16)


def browser_mark() -> str:
    """The mark of the browser that is signed in; a sign-out keeps it, so that no copy of the cookie opens anything more."""
    mark = session.get("browser")
    return mark if isinstance(mark, str) else ""


def _at_the_door() -> AnyResponse | None:
    endpoint = request.endpoint
    if endpoint is None or endpoint in TOKEN_SCOPES:
        return None
    if endpoint == "static":
        return None
    g.visitor = _recognise()
    speak_to(g.visitor.language)
    allowed = PERMISSIONS.get(endpoint)
    if allowed is None:
        abort(404)
    if g.visitor.roles & allowed:
        return None
    return _turned_away(g.visitor)


def _turned_away(who: Visitor) -> AnyResponse:
    if who.roles == {"anyone"} and request.method == "GET" and not request.headers.get("HX-Request"):
        return redirect(url_for("doors.sign_in", next=request.full_path.rstrip("?")))
    if who.roles == {"anyone"}:
        return Response(
            str(jsonify(error=say("Sign in first.")).get_data(as_text=True)), 401, mimetype="application/json"
        )
    abort(403)


def _recognise() -> Visitor:
    secret, worker_id = request.cookies.get(STATION_COOKIE), session.get("worker")
    if secret is None and worker_id is None:
        return NOBODY
    with glance(house().database) as database:
        found = station_by_secret(database, secret_hash(secret)) if secret else None
        mark = browser_mark()
        worker = known_worker(database, worker_id, mark) if isinstance(worker_id, int) and mark else None
    station = (found.station_id, found.practises, found.language) if found is not None else (None, False, None)
    if worker is None or worker.password_mark != session.get("since"):
        # Not carried on, so that it does not outlive what is remembered of signed-out browsers.
        for name in ("worker", "since", "browser"):
            session.pop(name, None)
        return Visitor(None, "", frozenset(), *station)
    station_id, practises, spoken_there = station
    # A station's own pages speak to whoever works at the station, the others to whoever signed in with a password.
    first = (spoken_there, worker.language) if request.blueprint == "stations" else (worker.language, spoken_there)
    told = (station_id, practises, first[0] or first[1], worker.number)
    return Visitor(worker.worker_id, worker.name, worker.rights, *told)


def _with_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if request.is_secure:
        # Browsers heed it only over https, and warn about it elsewhere.
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    if request.endpoint != "static":
        response.headers.setdefault("Cache-Control", "no-store")
    response.headers["X-Now"] = str(int(now().timestamp() * 1000))
    return response
