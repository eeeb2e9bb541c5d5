"""What is answered while the room's database cannot be written or asked: it is held, its disk is full, or may only be read.

Stations and scripts keep what they sent on a 503, and send it again with the same id.
"""

from __future__ import annotations

import logging

from flask import Flask, Response

from app.db.engine import NotNow
from app.domain.language import mark, say
from app.web.problems import is_for_scripts, problem
from app.web.render import page

LOG = logging.getLogger("blotter.database")
AGAIN_AFTER_S = 5
DO = mark("Nothing was written. Try again in a moment; if it goes on, tell whoever looks after the computer.")
OTHERWISE = mark("The room's database does not answer.")
# What SQLite says, and what it means to whoever stands before the screen.
SIGNS: dict[str, str] = {
    "is locked": mark("Another program holds the room's database."),
    "is full": mark("The disk of the room's computer is full."),
    "readonly": mark("The room's database may only be read."),
}


def set_up(app: Flask) -> None:
    """Answer so wherever the database could not be used."""
    app.register_error_handler(NotNow, not_now)


def not_now(error: NotNow) -> Response:
    """What is the matter, and that nothing was written; in the log, where it was."""
    LOG.error("The database could not be used: %s", error.orig, exc_info=error)
    what = say(next((words for sign, words in SIGNS.items() if sign in str(error.orig)), OTHERWISE))
    response = problem(503, f"{what} {say(DO)}") if is_for_scripts() else _page(what)
    response.headers["Retry-After"] = str(AGAIN_AFTER_S)
    return response


def _page(what: str) -> Response:
    try:
        return page("doors/error.html", 503, code=503, what=what, do=say(DO))
    except NotNow:
        # What stands around a page is asked of the same database.
        return Response(f"{what} {say(DO)}\n", 503, mimetype="text/plain")
