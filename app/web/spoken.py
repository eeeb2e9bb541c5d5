"""Choosing the language in which one reads, and speaking it to whoever signs in at a station."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from app.db.engine import reading, transaction
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.queries.spoken import language_at, language_of_badge, language_of_worker
from app.queries.stations import signed_in_here
from app.services.spoken import choose_language
from app.web.languages import available, speak_as_asked, speak_to
from app.web.render import house, now
from app.web.scans import whole
from app.web.security import visitor

bp = Blueprint("spoken", __name__)


@bp.post("/me/language")
def mine() -> AnyResponse:
    """The language of whoever is signed in with a password."""
    worker_id = visitor().worker_id
    _choose(worker_id if worker_id is not None else abort(404), by=worker_id)
    return redirect(url_for("own.show"))


@bp.post("/station/language")
def here() -> AnyResponse:
    """The language of somebody who works at this station now."""
    worker_id = whole(request.form.get("worker", "")) or 0
    with reading(house().database) as session:
        here_now = signed_in_here(session, visitor().station_id or 0)
    if worker_id not in {each.worker_id for each in here_now}:
        flash(say("Only whoever works here now chooses a language here. Scan your badge first."))
    else:
        _choose(worker_id, by=worker_id)
    return redirect(url_for("stations.here"))


def speak_to_badge(session: Any, code: str) -> None:
    """If this is a badge, speak as its worker reads: they are greeted in their own language."""
    found = read(code, ())
    if isinstance(found, Exact) and found.kind is Kind.BADGE:
        _speak(language_of_badge(session, found.text))


def speak_to_worker(session: Any, worker_id: int) -> None:
    """Speak as this worker reads."""
    _speak(language_of_worker(session, worker_id))


def speak_as_here(session: Any, station_id: int) -> None:
    """Speak as whoever works at this station now reads."""
    _speak(language_at(session, station_id))


def _speak(code: str | None) -> None:
    speak_as_asked()
    speak_to(code)


def _choose(worker_id: int, *, by: int | None) -> None:
    code = request.form.get("language", "")[:20] or None
    try:
        with transaction(house().database) as session:
            choose_language(session, worker_id, code, available(), now(), by=by)
    except ValueError as error:
        flash(str(error))
        return
    _speak(code)
    flash(say("From now on you read this in the language that you chose."))
