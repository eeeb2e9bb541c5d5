"""Who stands at the door, and who may do what: one table for every address."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from flask import Flask, Response, abort, g, jsonify, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.queries.doors import known_worker, station_by_secret
from app.services.people import Holder, secret_hash
from app.web.render import house, now

STATION_COOKIE = "blotter-station"
ANYONE = frozenset({"anyone"})
READ = frozenset({"station", "reader", "volunteer", "trainer", "manager"})
PEOPLE = frozenset({"reader", "volunteer", "trainer", "manager"})
STATIONS = frozenset({"station"})
TEACH = frozenset({"trainer", "manager"})
MANAGE = frozenset({"manager"})

# Who may ask for which address. A test walks every route in every role; an address that is not here is not served.
PERMISSIONS: dict[str, frozenset[str]] = {
    "static": ANYONE,
    "doors.first": ANYONE,
    "doors.sign_in": ANYONE,
    "doors.sign_out": ANYONE,
    "doors.front": ANYONE,
    "doors.password": PEOPLE,
    "doors.clock_is_right": READ,
    "stations.here": STATIONS,
    "stations.scan": STATIONS,
    "stations.undo": STATIONS,
    "stations.sign_in": STATIONS,
    "stations.sign_out": STATIONS,
    "stations.set_defaults": STATIONS,
    "stations.side": STATIONS,
    "stations.token": STATIONS,
    "stations.every": PEOPLE,
    "stations.add": MANAGE,
    "stations.enrol": MANAGE,
    "stations.leave": MANAGE,
    "sheets.every": READ,
    "sheets.picks": READ,
    "sheets.table": PEOPLE,
    "sheets.one": READ,
    "sheets.early": MANAGE,
    "sheets.late": MANAGE,
    "sheets.hold": TEACH,
    "sheets.lift": TEACH,
    "sheets.withdraw": MANAGE,
    "sheets.renumber": TEACH,
    "sheets.together": TEACH,
    "sheets.tail": MANAGE,
    "sheets.take_back": MANAGE,
    "sheets.regluing": TEACH,
    "sheets.doubt": MANAGE,
    "sheets.out": TEACH,
    "sheets.wanted": PEOPLE,
    "sheets.let_go": PEOPLE,
    "search.results": READ,
    "search.suggest": READ,
    "board.show": READ,
    "board.live": READ,
    "board.wall": READ,
    "board.back_up": MANAGE,
    "aside.page": TEACH,
    "aside.put": TEACH,
    "aside.again": TEACH,
    "ahead.show": READ,
    "usual.show": READ,
    "usual.set_limit": MANAGE,
    "order.show": READ,
    "order.move": TEACH,
    "press.every": READ,
    "press.one": READ,
    "press.late": MANAGE,
    "cabinets.every": READ,
    "cabinets.one": READ,
    "cabinets.picks": READ,
    "cabinets.table": PEOPLE,
    "day.closing": READ,
    "day.morning": READ,
    "intake.page": MANAGE,
    "people.every": MANAGE,
    "people.add": MANAGE,
    "people.one": MANAGE,
    "people.badge": MANAGE,
    "people.retire": MANAGE,
    "people.set_password": MANAGE,
    "people.pin": MANAGE,
    "people.rights": MANAGE,
    "people.tokens": MANAGE,
    "people.revoke": MANAGE,
    "room.show": MANAGE,
    "room.add": MANAGE,
    "room.rule": MANAGE,
    "calendar.show": MANAGE,
    "calendar.weekdays": MANAGE,
    "calendar.dates": MANAGE,
    "calendar.take_back": MANAGE,
    "calendar.holidays": MANAGE,
    "calendar.accept": MANAGE,
    "api.health": ANYONE,
}  # fmt: skip
TOKEN_SCOPES: dict[str, frozenset[str]] = {
    "api.scans": frozenset({"scan", "manage"}),
    "api.weights": frozenset({"scan", "manage"}),
    "api.add_sheets": frozenset({"manage"}),
    "api.correction": frozenset({"scan", "manage"}),
    "api.sheet": frozenset({"read", "scan", "manage"}),
    "api.sheets": frozenset({"read", "scan", "manage"}),
    "api.board": frozenset({"read", "scan", "manage"}),
}
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Frame-Options": "DENY",
}


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever asks: a worker who signed in with a password, an enrolled station's browser, both, or nobody."""

    worker_id: int | None = None
    name: str = ""
    rights: frozenset[str] = frozenset()
    station_id: int | None = None

    @property
    def roles(self) -> frozenset[str]:
        """All that this visitor counts as."""
        return self.rights | ({"station"} if self.station_id is not None else set()) | {"anyone"}

    @property
    def rights_words(self) -> str:
        """The highest right, in a word."""
        return next((right for right in ("manager", "trainer", "volunteer", "reader") if right in self.rights), "")

    def sees_names(self) -> bool:
        """Whether logs show who did what: for the trainer and the manager."""
        return bool(self.rights & {"trainer", "manager"})


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
    """Sign a worker in at this browser, in a fresh session."""
    session.clear()
    session.permanent = True
    session["worker"], session["since"] = worker.worker_id, worker.password_mark


def _at_the_door() -> AnyResponse | None:
    endpoint = request.endpoint
    if endpoint is None or endpoint in TOKEN_SCOPES:
        return None
    if endpoint == "static":
        return None
    g.visitor = _recognise()
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
        return Response(str(jsonify(error="Sign in first.").get_data(as_text=True)), 401, mimetype="application/json")
    abort(403)


def _recognise() -> Visitor:
    secret, worker_id = request.cookies.get(STATION_COOKIE), session.get("worker")
    if secret is None and worker_id is None:
        return NOBODY
    with reading(house().database) as database:
        station_id = station_by_secret(database, secret_hash(secret)) if secret else None
        worker = known_worker(database, worker_id) if isinstance(worker_id, int) else None
    if worker is None or worker.password_mark != session.get("since"):
        return Visitor(station_id=station_id)
    return Visitor(worker.worker_id, worker.name, worker.rights, station_id)


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
