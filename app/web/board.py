"""The board: the whole room in one look, kept up to date while somebody looks at it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, Response, current_app, make_response, render_template, request, url_for
from markupsafe import Markup

from app.db.engine import reading
from app.queries.board import Board, StackLine, board, board_version
from app.queries.need import Need
from app.web.drawing import flow, place, small_stack
from app.web.render import house, now, page, teller

bp = Blueprint("board", __name__)
SECOND = timedelta(seconds=1)
HREFS = {"sheet": ("sheets.one", "number"), "stack": ("press.one", "name"), "cabinet": ("cabinets.one", "name"),
         "stage": ("sheets.every", "stage")}  # fmt: skip


@dataclass
class Kept:
    """The board as it was last read and drawn: one request does it anew, those that come meanwhile get what there is.

    Nobody waits for the board but the first who asks: a viewer who waits would keep a thread from the scans.
    """

    turn: threading.Lock = field(default_factory=threading.Lock)
    found: Board | None = None
    at: datetime | None = None
    drawn: str = ""
    drawn_of: Board | None = None


@bp.get("/board")
def show() -> Response:
    """The board."""
    return page("board/show.html", drawn=Markup(drawn_now()))


@bp.get("/board/live")
def live() -> Response:
    """The board again for a page that shows it already; nothing (204) while nothing has changed in this minute."""
    with reading(house().database) as session:
        version = board_version(session)
    if request.args.get("shown", "") == _mark(version, now()):
        return make_response("", 204)
    return make_response(drawn_now())


def board_now() -> Board:
    """The board, read at most once a second however many look at it."""
    kept = _kept()
    found = kept.found
    if found is not None and not _is_old(kept):
        return found
    if not kept.turn.acquire(blocking=found is None):
        assert found is not None
        return found
    try:
        return _read_anew(kept) if _is_old(kept) or kept.found is None else kept.found
    finally:
        kept.turn.release()


def drawn_now() -> str:
    """The board as the page swaps it in, drawn once however many look at it."""
    kept, found = _kept(), board_now()
    drawn, drawn_of = kept.drawn, kept.drawn_of
    if drawn_of is found:
        return drawn
    drawn = render_template("board/_live.html", **_context(found))
    kept.drawn, kept.drawn_of = drawn, found
    return drawn


def _kept() -> Kept:
    kept: Kept = current_app.extensions.setdefault("blotter-board", Kept())
    return kept


def _is_old(kept: Kept) -> bool:
    return kept.at is None or abs(now() - kept.at) >= SECOND


def _read_anew(kept: Kept) -> Board:
    moment = now()
    with reading(house().database) as session:
        found = board(session, moment, house().zone)
    kept.found, kept.at = found, moment
    return found


def _context(found: Board) -> dict[str, Any]:
    waiting = sum(stage.count for stage in found.stages if stage.slug != "filed")
    return {
        "board": flow(found, lambda slug: url_for("sheets.every", stage=slug)),
        "stacks": [small_stack(line, url_for("press.one", name=line.name), _warning(line)) for line in found.stacks],
        "places": [place(line, url_for("cabinets.one", name=line.name)) for line in found.cabinets],
        "needs": [(need, _href(need)) for need in found.needs],
        "waiting": waiting, "is_empty": not waiting and not found.stages[-1].count,
        "drawn_at": found.drawn_at, "shown": _mark(found.version, found.drawn_at),
    }  # fmt: skip


def _warning(line: StackLine) -> str:
    if not line.is_bad:
        return ""
    return f"Weights off since {teller()(line.since)}" if line.since else "The weights are not on yet"


def _href(need: Need) -> str:
    endpoint, name = HREFS[need.href_kind]
    values: dict[str, Any] = {name: need.href_id}
    return url_for(endpoint, **values)


def _mark(version: str, at: datetime) -> str:
    # Ages are said in minutes, so the same room looks otherwise a minute later.
    return f"{version}-{int(at.timestamp()) // 60}"
