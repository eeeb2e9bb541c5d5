"""The board: the whole room in one look, kept up to date while somebody looks at it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, Response, current_app, make_response, request, url_for

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
    """The board as it was last read: one request reads it, those that come meanwhile wait for that and share it."""

    turn: threading.Lock = field(default_factory=threading.Lock)
    found: Board | None = None
    at: datetime | None = None


@bp.get("/board")
def show() -> Response:
    """The board."""
    return page("board/show.html", **_context(board_now()))


@bp.get("/board/live")
def live() -> Response:
    """The board again for a page that shows it already; nothing (204) while nothing has changed in this minute."""
    with reading(house().database) as session:
        version = board_version(session)
    if request.args.get("shown", "") == _mark(version, now()):
        return make_response("", 204)
    return page("board/_live.html", **_context(board_now()))


def board_now() -> Board:
    """The board, read at most once a second however many look at it."""
    kept: Kept = current_app.extensions.setdefault("blotter-board", Kept())
    with kept.turn:
        if kept.found is None or kept.at is None or abs(now() - kept.at) >= SECOND:
            kept.at = now()
            with reading(house().database) as session:
                kept.found = board(session, kept.at, house().zone)
        return kept.found


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
