"""Stations: the main screen, where sheets are scanned one after the other."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, abort, flash, jsonify, redirect, request, url_for
from flask_wtf.csrf import generate_csrf
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.language import say
from app.domain.numbers import COMMANDS
from app.queries.fetching import fetch_next
from app.queries.house import house_now, patterns_now
from app.queries.people import workers as all_workers
from app.queries.stations import StationView, answered_view, station_view
from app.services.corrections import step_of
from app.services.corrections import undo as take_back
from app.services.desk import Desk, ScanRequest, workers_named
from app.services.people import pin_fits
from app.services.room import set_at_station
from app.services.scanning import once
from app.services.scanning import scan as scan_once
from app.services.signing import hello, sign_out_all
from app.services.signing import sign_in as sign_in_here
from app.services.tries import pin_locks
from app.services.undoable import newest_undoable
from app.web.frame import clock_words
from app.web.line import station_here, told_to_the_script
from app.web.practising import cards_to_try, made_elsewhere, practice_now
from app.web.proving import proved
from app.web.render import house, now, page
from app.web.scans import answer_view, occasion, scan_request, whole
from app.web.spoken import speak_as_here, speak_to_badge, speak_to_worker
from app.web.station_buttons import BUTTONS
from app.web.work_tables import of_table, pots_here, set_by, takes_of, used_here

bp = Blueprint("stations", __name__)


@bp.get("/station")
def here() -> AnyResponse:
    """This browser's station, ready for a scan."""
    return _screen(None)


@bp.post("/station/scan")
def scan() -> AnyResponse:
    """One scan: an answer in the one place where the worker looks."""
    sent = {name: value for name, value in request.form.items() if isinstance(value, str)}
    _made_here(sent)
    if (elsewhere := made_elsewhere(sent)) is not None:
        return _screen(elsewhere)
    wanted = scan_request(sent, station_here(), secrets.token_urlsafe(16))
    if sent.get("find"):
        return redirect(url_for("search.results", q=sent.get("q", "")))
    with transaction(house().database) as session:
        speak_to_badge(session, wanted.code)
        answer = scan_once(session, wanted, occasion())
    return _screen(answer)


@bp.post("/station/undo")
def undo() -> AnyResponse:
    """Take a scan back: wrong sheet, not done yet, or not me."""
    entry, why = request.form.get("entry", ""), request.form.get("reason", "")
    entry_id = whole(entry) or 0
    sent = dict(request.form)
    _made_here(sent)
    if (elsewhere := made_elsewhere(sent)) is not None:
        return _screen(elsewhere)
    when: dict[str, str] = {
        name: sent[name] for name in ("scan_id", "held", "happened_ms", "not_before_ms") if name in sent
    }
    wanted = scan_request(when, station_here(), secrets.token_urlsafe(16))
    with transaction(house().database) as session:
        answer = once(session, wanted, occasion(), lambda desk: _undo(desk, entry_id, why), f"undo {entry_id} {why}")
    return _screen(answer)


@bp.post("/station/sign-in")
def sign_in() -> AnyResponse:
    """Sign in here by name."""
    worker_id = whole(request.form.get("worker", "")) or 0
    wanted = ScanRequest(secrets.token_urlsafe(16), "", station_here())
    if not _pin_is_right(worker_id, request.form.get("pin", "")[:200]):
        flash(say("The PIN does not fit the name. Try again, or scan your badge."))
        return redirect(url_for("stations.here"))
    with transaction(house().database) as session:
        speak_to_worker(session, worker_id)
        others = request.form.get("with", "")
        answer = once(
            session, wanted, occasion(), lambda desk: _sign_in(desk, worker_id, others), f"sign in {worker_id}"
        )
    return _screen(answer)


@bp.post("/station/sign-out")
def sign_out() -> AnyResponse:
    """Whoever works here goes."""
    wanted = ScanRequest(secrets.token_urlsafe(16), "", station_here())
    with transaction(house().database) as session:
        once(session, wanted, occasion(), _sign_out, "sign out")
    return redirect(url_for("stations.here"))


@bp.post("/station/defaults")
def set_defaults() -> AnyResponse:
    """What the table uses until it is changed again."""
    try:
        with transaction(house().database) as session:
            set_at_station(session, station_here(), **_defaults())
    except ValueError as error:
        flash(str(error))
        return redirect(url_for("stations.here"))
    if not request.headers.get("HX-Request"):
        return redirect(url_for("stations.here"))
    with reading(house().database) as session:
        view = station_view(session, station_here(), now(), house().zone)
        return page("stations/_uses.html", takes=takes_of(session, view) if view else ())


@bp.get("/station/side")
def side() -> Response:
    """What to fetch next, what the room did today, and who works here now, by themselves."""
    with reading(house().database) as session:
        view = station_view(session, station_here(), now(), house().zone)
        fetch = fetch_next(session, station_here(), now(), house().zone, house_now(session))
        used, pots = used_here(session, view), pots_here(session, view)
    return page("stations/_minute.html", view=view, fetch=fetch, used=used, pots=pots)


@bp.get("/station/token")
def token() -> Response:
    """A fresh token for scans that waited longer than the page."""
    return jsonify(token=generate_csrf())


def _screen(answer: Answer | None) -> Response:
    fragment = bool(request.headers.get("X-Station"))
    shown = answer_view(answer) if answer else None
    with reading(house().database) as session:
        if practice_now() or (answer is not None and answer.sheet is None):
            # A badge or a card may have changed who works here, and a room to practise in is not asked at the door.
            speak_as_here(session, station_here())
        context = _context(session, fragment)
        is_on_card = shown is not None and shown.undo_entry is not None
        undo_entry = None if fragment or is_on_card else _undoable(session, context["view"])
    fresh = secrets.token_urlsafe(16)
    status = answer.status if answer else 200
    template = "stations/_screen.html" if fragment else "stations/here.html"
    response = page(template, status, answer=shown, fresh_scan_id=fresh, undo_entry=undo_entry, **context)
    response.headers["Vary"] = "X-Station"
    if answer is not None:
        response.headers["X-Answer"] = answer.kind
    return response


def _context(session: Any, fragment: bool) -> dict[str, Any]:
    if fragment:
        return {"view": answered_view(session, station_here(), now(), house().zone)}
    view = station_view(session, station_here(), now(), house().zone)
    rules = house_now(session)
    workers = [each for each in all_workers(session) if each.retired_at is None and set(each.rights) != {"reader"}]
    return {"view": view, "fetch": fetch_next(session, station_here(), now(), house().zone, rules),
            "workers": workers, "pin": rules.pin_at_stations, "cards": _cards(view.steps if view else ()),
            "doubtful": occasion().clock_doubtful, "clock_words": clock_words(with_year=True), **of_table(session, view, rules),
            "to_try": cards_to_try(session) if practice_now() else [],
            "for_script": told_to_the_script(view, rules, patterns_now(session))}  # fmt: skip


def _undoable(session: Any, view: StationView | None) -> int | None:
    """The entry that the list of the last scans offers to take back; only a whole page asks for it."""
    entries = [scan.entry for scan in view.last if scan.entry is not None] if view else []
    return newest_undoable(session, station_here(), entries, occasion())


def _cards(steps: tuple[str, ...]) -> list[tuple[str, str]]:
    """The command cards that are buttons too at a station with these steps: label and code."""
    return [(label, COMMANDS[name]) for name, label, step in BUTTONS if not step or step in steps]


def _made_here(sent: Mapping[str, str]) -> None:
    """A scan that was kept when this browser was another station is not written here: it stays where it is kept."""
    if sent.get("made_at", str(station_here())) != str(station_here()):
        abort(403)


def _undo(desk: Desk, entry_id: int, why: str) -> Answer:
    words = WHY.get(why, "taken back")
    if why == "not-me":
        desk.keep(pending={"not_me": entry_id})
        return Answer("which-one", say("Whose?"), (say("Everything scanned here since the sign-in is put right."),),
                      say("Scan the badge of whoever it really was."))  # fmt: skip
    step = step_of(desk, entry_id)
    answer = take_back(desk, entry_id, words)
    desk.keep(pending={"next_step": step} if why == "wrong-sheet" and step else None)
    if why == "wrong-sheet":
        return Answer("done", answer.word, answer.lines, say("{next} Now scan the sheet in your hands.", next=answer.next),
                      answer.sheet, entry=answer.entry)  # fmt: skip
    return answer


def _sign_in(desk: Desk, worker_id: int, others: str) -> Answer:
    sign_in_here(desk, worker_id, how="name", with_others=others if others in ("together", "beside") else "")
    return hello(desk, workers_named(desk.session, (worker_id,), desk.house)[0])


def _pin_is_right(worker_id: int, said: str) -> bool:
    with reading(house().database) as session:
        if not house_now(session).pin_at_stations:
            return True
    return bool(
        proved(pin_locks(worker_id, station_here()), lambda session: pin_fits(session, worker_id, said) or None)
    )


def _sign_out(desk: Desk) -> Answer:
    sign_out_all(desk)
    desk.keep(pending=None, last_sheet_id=None, bundle_id=None)
    return Answer("done", say("Thank you."))


def _defaults() -> dict[str, Any]:
    sent = request.form
    values: dict[str, Any] = set_by(sent)
    for name in ("adhesive_id", "consignment_id"):
        if name in sent:
            values[name] = whole(sent[name])
    if sent.get("bulk") in ("", "thin", "ordinary", "bulky"):
        values["bulk"] = sent["bulk"] or None
    if sent.get("method") in ("heated", "unheated"):
        values["method"] = sent["method"]
    return values


# Kept as the reason in the log, so in the words of the program.
WHY = {"wrong-sheet": "wrong sheet", "not-done-yet": "not done yet", "not-me": "not me"}
