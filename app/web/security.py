"""Who stands at the door, and who may do what: one table for every address."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Any, cast

from flask import Flask, Response, abort, g, jsonify, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading
from app.queries.doors import known_worker, station_by_secret
from app.services.people import Holder, secret_hash
from app.web.headers import HEADERS
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
    "week.this": PEOPLE,
    "week.one": PEOPLE,
    "week.table": TEACH,
    "week.workbook": TEACH,
    "cabinets.every": READ,
    "cabinets.one": READ,
    "cabinets.picks": READ,
    "cabinets.table": PEOPLE,
    "day.closing": READ,
    "day.morning": READ,
    "scanner.check": READ, "paper.form": READ, "paper.show": MANAGE, "paper.write": MANAGE,
    "intake.page": MANAGE,
    "teaching.show": TEACH,
    "teaching.one": TEACH,
    "teaching.sign_off": TEACH,
    "teaching.end": TEACH,
    "people.every": MANAGE,
    "people.add": MANAGE,
    "people.one": TEACH,
    "people.badge": MANAGE,
    "people.retire": MANAGE,
    "people.set_password": MANAGE,
    "people.pin": MANAGE,
    "people.rights": MANAGE,
    "people.signed_out": MANAGE,
    "people.tokens": MANAGE,
    "people.revoke": MANAGE,
    "own.show": PEOPLE,
    "own.kept": PEOPLE,
    "own.kept_of": MANAGE,
    "own.name": MANAGE,
    "own.replace": MANAGE,
    "refusals.show": TEACH,
    "refusals.table": TEACH,
    "room.show": MANAGE,
    "room.add": MANAGE,
    "rules.one": MANAGE,
    "rules.change": MANAGE,
    "rules.lying": MANAGE,
    "rules.answer": MANAGE,
    "rules.one_person": MANAGE,
    "rules.set_one_person": MANAGE,
    "printing.badges": MANAGE, **{f"printing.{each}": READ for each in ("choose", "slips", "shelves", "stacks", "cards")},
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
    "api.week": frozenset({"read", "scan", "manage"}),
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
        mark = browser_mark()
        worker = known_worker(database, worker_id, mark) if isinstance(worker_id, int) and mark else None
    if worker is None or worker.password_mark != session.get("since"):
        # Not carried on, so that it does not outlive what is remembered of signed-out browsers.
        for name in ("worker", "since", "browser"):
            session.pop(name, None)
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
