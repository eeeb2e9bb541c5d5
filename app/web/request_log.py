"""A line for every request: who, what, how it ended, how long it took; no name, and nothing of what was asked or sent."""

from __future__ import annotations

import logging
from time import perf_counter
from urllib.parse import quote

from flask import Flask, Response, g, request

from app.services.people import Holder
from app.web.security import visitor

LOG = logging.getLogger("blotter.requests")
SLOW_MS = 1000
# A page that looks whether anything is new, and a file that the browser has already.
UNCHANGED = (204, 304)


def set_up(app: Flask) -> None:
    """Write the line when everything else is done; to be called before all who look at a request."""
    app.before_request(_begin)
    app.after_request(_write)


def _begin() -> None:
    g.begun_at_s = perf_counter()


def _write(response: Response) -> Response:
    if not LOG.isEnabledFor(logging.INFO):
        return response
    took_ms = (perf_counter() - g.get("begun_at_s", perf_counter())) * 1000
    is_slow = took_ms >= SLOW_MS
    if is_slow or not (request.endpoint == "static" or response.status_code in UNCHANGED):
        level, slow = (logging.WARNING, " slow") if is_slow else (logging.INFO, "")
        LOG.log(
            level, "%s %s %s %d %.0f ms%s", _who(), request.method, _what(response), response.status_code, took_ms, slow
        )
    return response


def _who() -> str:
    """A worker's number, the id of a station or of a script's key; a dash for nobody."""
    who, holder = visitor(), g.get("holder")
    if who.number:
        return who.number
    if who.station_id is not None:
        return f"station-{who.station_id}"
    return f"key-{holder.token_id}" if isinstance(holder, Holder) else "-"


def _what(response: Response) -> str:
    """The address, without what was asked for behind it; of one that leads nowhere only its pattern, for it may be anything."""
    if request.url_rule is None:
        return "(no such address)"
    return request.url_rule.rule if response.status_code == 404 else quote(request.path, safe="/:@~")
